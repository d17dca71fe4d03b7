//! Packing instances as frames and lots. Their schema: see `load/README.md`.

use std::error::Error;

use quoin_prepress::frame::Frame;
use quoin_prepress::gang::{Claim, Lot};
use quoin_prepress::geom::{Point, Rect, Ring};
use quoin_prepress::order::{FeedEdge, Rotate};
use quoin_prepress::units::Mm;
use serde_json::Value;

/// The container of an instance in the sheet's frame.
pub(crate) struct Container {
    pub(crate) frame: Frame,
    pub(crate) roll: bool,
    pub(crate) feed_edge: FeedEdge,
    pub(crate) gutter: Mm,
}

fn number(value: &Value, name: &str) -> f64 {
    value[name].as_f64().unwrap_or(0.0)
}

/// The container that an instance names.
pub(crate) fn container(instance: &Value) -> Result<Container, Box<dyn Error>> {
    let (size, roll, feed_edge) = if let Some(height) = instance["strip_height"].as_f64() {
        // A strip has no end: as long as all boxes in one row.
        let length: f64 = lots(instance)?.iter().map(|lot| longest(lot) * f64::from(lot.claims[0].copies)).sum();
        ((length + 1.0, height), true, FeedEdge::Left)
    } else if instance["bin"].is_object() {
        ((number(&instance["bin"], "width"), number(&instance["bin"], "height")), false, FeedEdge::Top)
    } else if instance["sheet"].is_object() {
        ((number(&instance["sheet"], "width_mm"), number(&instance["sheet"], "height_mm")), false, FeedEdge::Top)
    } else {
        ((number(&instance["roll"], "width_mm"), number(&instance["roll"], "max_length_mm")), true, FeedEdge::Top)
    };
    let margins = &instance["margins_mm"];
    let margin = |name: &str| number(margins, name);
    let window = Rect::new(margin("left"), margin("top"), size.0 - margin("right"), size.1 - margin("bottom"));
    let frame = frame(size, window);
    Ok(Container {
        frame,
        roll,
        feed_edge,
        gutter: Mm::of(number(instance, "gutter_mm").max(number(instance, "gutter"))),
    })
}

/// A frame with nothing in it but its window.
pub(crate) fn frame((width, height): (f64, f64), window: Rect) -> Frame {
    Frame {
        width: Mm::of(width),
        height: Mm::of(height),
        window,
        keep_outs: Vec::new(),
        marks: Vec::new(),
        scale_bars: Vec::new(),
        label: None,
    }
}

fn longest(lot: &Lot) -> f64 {
    let bounds = lot.outermost[0].bounds();
    bounds.width().hypot(bounds.height())
}

/// The most turns that are all allowed.
fn rotate(item: &Value) -> Rotate {
    let Some(angles) = item["allowed_rotations_deg"].as_array() else { return Rotate::Free };
    let allows = |angle: f64| {
        let off = |allowed: &Value| allowed.as_f64().is_some_and(|allowed| (allowed - angle).rem_euclid(360.0) < 1e-9);
        angles.iter().any(off)
    };
    let [half, quarter] = [&[0.0, 180.0][..], &[0.0, 90.0, 180.0, 270.0]].map(|turns| turns.iter().all(|a| allows(*a)));
    match (half, quarter) {
        (_, true) => Rotate::QuarterTurns,
        (true, false) => Rotate::HalfTurns,
        (false, false) => Rotate::None,
    }
}

/// Its items, each wanted by an order of its own.
pub(crate) fn lots(instance: &Value) -> Result<Vec<Lot>, Box<dyn Error>> {
    let mut lots = Vec::new();
    for (index, item) in instance["items"].as_array().ok_or("no items")?.iter().enumerate() {
        let corner = |point: &Value| Some(Point::new(point[0].as_f64()?, point[1].as_f64()?));
        let outline: Option<Vec<Point>> = item["outline"].as_array().ok_or("no outline")?.iter().map(corner).collect();
        let copies = u32::try_from(item["demand"].as_u64().ok_or("no demand")?)?;
        lots.push(Lot {
            outermost: vec![Ring::new(outline.ok_or("a point is not two numbers")?)],
            reach: Mm::ZERO,
            rotate: rotate(item),
            claims: vec![Claim { order: index, item: index, copies, due: None }],
            filler: false,
        });
    }
    Ok(lots)
}
