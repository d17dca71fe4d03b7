//! Sheets made by hand for tests of this stage.

use std::sync::Arc;

use kurbo::{Circle, Shape};

use crate::frame::{Frame, Mark};
use crate::geom::{Affine, BezPath, CutLine, PathEl, Point, Pose, Rect, Ring};
use crate::order::{CutLinesInPrint, Face, Form, LabelPlace, RegisterMarks, Stock};
use crate::sheet::{Placement, Sheet};
use crate::sticker::{Cut, PlacedPrint, Plane, Print, Sticker};
use crate::units::{Mm, Ppi};

/// A closed circle of cubics, mm.
pub(crate) fn circle(x: f64, y: f64, radius: f64) -> BezPath {
    Circle::new((x, y), radius).to_path(1e-4)
}

/// A stock of A5.
pub(crate) fn stock(face: Face, cut_lines_in_print: CutLinesInPrint) -> Stock {
    Stock {
        face,
        finish: "removable, gloss laminate".to_owned(),
        register_marks: Some(RegisterMarks { diameter: Mm::of(5.0), clear: Mm::of(3.0), at: None }),
        label: LabelPlace::None,
        cut_lines_in_print,
        ..Stock::with_defaults("specimen", Form::Sheet { width: Mm::of(148.0), height: Mm::of(210.0), media: None })
    }
}

/// A disc of colour, lighter to the right and darker to the foot, with soft edges.
pub(crate) fn print(side_px: u32, hue: [u8; 3], white: bool) -> Arc<Print> {
    let (mut colour, mut alpha) = (Vec::new(), Vec::new());
    let half = f64::from(side_px) / 2.0;
    for y in 0..side_px {
        for x in 0..side_px {
            let shade = |channel: u8| {
                let lit = f64::from(channel) * (1.0 - f64::from(y) / half / 4.0) + f64::from(x) / half * 30.0;
                lit.clamp(0.0, 255.0) as u8
            };
            colour.extend(hue.map(shade));
            let from_edge = half - (f64::from(x) + 0.5 - half).hypot(f64::from(y) + 0.5 - half);
            alpha.push((from_edge.clamp(0.0, 1.0) * 255.0) as u8);
        }
    }
    let mask = Plane::pack(&alpha, side_px, 1);
    Arc::new(Print {
        width_px: side_px,
        height_px: side_px,
        ppi: Ppi::of(300.0),
        colour: Plane::pack(&colour, side_px, 3),
        white: white.then(|| mask.clone()),
        alpha: mask,
    })
}

/// A round sticker of this diameter, a kiss cut inside a through cut, printed 1 mm past the outer line.
pub(crate) fn sticker(print: &Arc<Print>, diameter: f64) -> Arc<Sticker> {
    let cut = |radius: f64| Cut { line: CutLine::new(circle(0.0, 0.0, radius)).expect("a circle"), piece: None };
    let outer = diameter / 2.0;
    let reach = outer + 1.0;
    let scale = 2.0 * reach / f64::from(print.width_px);
    Arc::new(Sticker {
        kiss: vec![cut(outer - 3.0)],
        through: vec![cut(outer)],
        outermost: vec![cut(outer).line.flattened(Mm::of(0.005))],
        prints: vec![PlacedPrint {
            print: Arc::clone(print),
            to_mm: Affine::translate((-reach, -reach)) * Affine::scale(scale),
        }],
        reach: Mm::of(1.0),
        overall: Rect::new(-outer, -outer, outer, outer),
        finished_width: Mm::of(diameter),
        finished_height: Mm::of(diameter),
        area_mm2: std::f64::consts::PI * outer * outer,
    })
}

/// A placement of order `order`.
pub(crate) fn placement(number: u32, order: &str, sticker: &Arc<Sticker>, pose: Pose) -> Placement {
    Placement {
        placement: number,
        order: Some(order.to_owned()),
        item: Some("1".to_owned()),
        copy: number,
        product: "die_cut",
        filler: false,
        pose,
        sticker: Arc::clone(sticker),
        tags: vec!["fox".to_owned()],
        clip: None,
    }
}

/// A sheet of A5 with three marks and these placements.
pub(crate) fn sheet(stock: Stock, placements: Vec<Placement>) -> Sheet {
    let mark = |x, y| Mark { centre: Point::new(x, y), diameter: Mm::of(5.0), clear: Mm::of(3.0) };
    Sheet {
        number: 1,
        of: 1,
        run: "tuesday-night".to_owned(),
        date: Some("2026-11-25T20:05:09+01:00".to_owned()),
        stock: Arc::new(stock),
        frame: Frame {
            width: Mm::of(148.0),
            height: Mm::of(210.0),
            window: Rect::new(16.0, 16.0, 132.0, 194.0),
            keep_outs: Vec::new(),
            marks: vec![mark(6.5, 6.5), mark(141.5, 6.5), mark(6.5, 203.5)],
            scale_bars: Vec::new(),
            label: None,
        },
        placements,
    }
}

/// Grows a ring's corners into a star, for outlines that are not round.
pub(crate) fn star(points: usize, outer: f64, inner: f64) -> Ring {
    let corner = |n: usize| {
        let radius = if n.is_multiple_of(2) { outer } else { inner };
        let angle = n as f64 * std::f64::consts::PI / points as f64;
        Point::new(radius * angle.sin(), -radius * angle.cos())
    };
    Ring::new((0..points * 2).map(corner).collect())
}

/// Every path element's points in a row.
pub(crate) fn points_of(path: &BezPath) -> Vec<Point> {
    let of = |element: &PathEl| match *element {
        PathEl::MoveTo(a) | PathEl::LineTo(a) => vec![a],
        PathEl::QuadTo(a, b) => vec![a, b],
        PathEl::CurveTo(a, b, c) => vec![a, b, c],
        PathEl::ClosePath => Vec::new(),
    };
    path.elements().iter().flat_map(of).collect()
}
