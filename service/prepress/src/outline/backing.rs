//! The through cut around a kiss cut.

use super::circle::smallest_circle;
use super::plate::{Form, Plate};
use super::{Drawn, FLATNESS, contour};
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::{CutLine, Point, Rect, Region, Ring};
use crate::order::{Backing, Design, Parts, Shape, Stock};
use crate::units::Mm;

/// Draws the backing's lines around the kiss cut, at least the margin from it everywhere.
pub(super) fn around(
    drawn: &Drawn,
    design: &Design,
    backing: &Backing,
    stock: &Stock,
    cancel: &Cancel,
) -> Result<Vec<CutLine>, Fault> {
    let rings: Vec<Ring> =
        drawn.lines[..drawn.outer_lines].iter().map(|line| clockwise(line.flattened(FLATNESS))).collect();
    let hull = Ring::hull_of(&rings);
    let hull = hull.points();
    let bounds = super::box_of(&drawn.lines)?;
    let margin = backing.margin.mm();
    let line = match backing.shape {
        Shape::Contour => return contour_around(rings, design, backing.margin, stock, cancel),
        Shape::Rectangle => grown_box(bounds, margin, 0.0).line(bounds.center()),
        Shape::RoundedRectangle { corner_radius } => {
            widened(hull, bounds, grown_box(bounds, margin, corner_radius.mm()), margin).line(bounds.center())
        }
        Shape::Circle => {
            let disc = smallest_circle(hull).ok_or_else(nothing_to_back)?;
            let side = 2.0 * (disc.radius + margin);
            Plate { form: Form::Ellipse, width: side, height: side }.line(disc.centre)
        }
        Shape::Ellipse => ellipse_around(hull, bounds, margin).line(bounds.center()),
    };
    Ok(vec![line])
}

fn nothing_to_back() -> Fault {
    Fault::CutLineBroken { reason: "there is no kiss cut to back".to_owned() }
}

fn clockwise(ring: Ring) -> Ring {
    if ring.signed_area() < 0.0 { ring.reversed() } else { ring }
}

fn contour_around(
    rings: Vec<Ring>,
    design: &Design,
    margin: Mm,
    stock: &Stock,
    cancel: &Cancel,
) -> Result<Vec<CutLine>, Fault> {
    let (parts, lines) = contour::around(&Region::new(rings), margin, stock, cancel)?;
    let separate = design.outline.parts == Parts::Separate || design.accept.has("shape.parts");
    if parts > 1 && !separate { Err(Fault::ShapeParts { parts }) } else { Ok(lines) }
}

fn grown_box(bounds: Rect, margin: f64, radius: f64) -> Plate {
    let (width, height) = (bounds.width() + 2.0 * margin, bounds.height() + 2.0 * margin);
    Plate { form: Form::Rectangle(radius), width, height }
}

/// The plate with both sides lengthened alike until every point keeps the margin: corners rounder than the margin would
/// come too near to a kiss cut that fills its box.
fn widened(hull: &[Point], bounds: Rect, plate: Plate, margin: f64) -> Plate {
    let wider = |by: f64| Plate { width: plate.width + by, height: plate.height + by, ..plate };
    smallest(plate.width + plate.height, wider, |plate| keeps_all(plate, hull, bounds, margin))
}

/// The smallest ellipse in the aspect of the box whose edge keeps the margin from every point.
fn ellipse_around(hull: &[Point], bounds: Rect, margin: f64) -> Plate {
    let sized = |by: f64| {
        let scale = 1.0 + by;
        Plate { form: Form::Ellipse, width: bounds.width() * scale, height: bounds.height() * scale }
    };
    // Of a box with aspect k the ellipse through its corners is sqrt(2) larger; the margin at the narrow ends asks for
    // margin over the shorter half side more, and a little for the parallel being no ellipse.
    let most = 2.0 + 8.0 * margin / bounds.width().min(bounds.height());
    smallest(most, sized, |plate| keeps_all(plate, hull, bounds, margin))
}

fn keeps_all(plate: &Plate, hull: &[Point], bounds: Rect, margin: f64) -> bool {
    hull.iter().all(|point| plate.keeps(*point - bounds.center(), margin))
}

/// The first of a family of growing plates that passes, by bisection on `0..=most`.
fn smallest(most: f64, plate: impl Fn(f64) -> Plate, passes: impl Fn(&Plate) -> bool) -> Plate {
    if passes(&plate(0.0)) {
        return plate(0.0);
    }
    let (mut low, mut high) = (0.0, most);
    while !passes(&plate(high)) && high < most * 1024.0 {
        high *= 2.0;
    }
    for _ in 0..50 {
        let middle = (low + high) / 2.0;
        if passes(&plate(middle)) { high = middle } else { low = middle }
    }
    plate(high)
}
