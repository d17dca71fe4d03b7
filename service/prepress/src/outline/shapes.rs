//! Rectangles, circles and ellipses: their size from the order, and the largest art that keeps the border inside.

use super::circle::smallest_circle;
use super::plate::{Form, Plate};
use super::{ArtEdge, Drawn, about, refuse_size};
use crate::fault::Fault;
use crate::geom::{CutLine, Point, Rect, Ring};
use crate::order::{ArtFit, Design, Shape, Size};
use crate::units::Mm;

/// Draws the shape about the origin and sets the art in it.
pub(super) fn fit(art: &ArtEdge<'_>, design: &Design, least_side: Mm) -> Result<Drawn, Fault> {
    let border = design.outline.border.mm();
    let plate = plate_for(art.bounds, design);
    refuse_size(plate.width, plate.height, design.outline.border, least_side)?;
    let (centre, scale) = match design.outline.art_fit {
        ArtFit::Contain => contained(art, &plate, border),
        ArtFit::Cover => covering(art.bounds, &plate, border),
    };
    if !(scale.is_finite() && scale > 0.0) {
        return Err(Fault::SizeTooSmall {
            measured: Mm::of(plate.width.min(plate.height)),
            limit: design.outline.border * 2.0,
        });
    }
    let crop: Option<CutLine> = match design.outline.art_fit {
        ArtFit::Contain => None,
        ArtFit::Cover => plate.inset_line(border),
    };
    let lines = vec![plate.line(Point::ORIGIN)];
    Ok(Drawn { art_to_mm: about(centre, scale), lines, outer_lines: 1, crop, grown: None })
}

/// The ordered shape.
fn plate_for(art: Rect, design: &Design) -> Plate {
    let border = design.outline.border.mm();
    let form = match design.outline.shape {
        Shape::RoundedRectangle { corner_radius } => Form::Rectangle(corner_radius.mm()),
        Shape::Rectangle | Shape::Contour => Form::Rectangle(0.0),
        Shape::Circle | Shape::Ellipse => Form::Ellipse,
    };
    // One length: a containing rectangle has the art's aspect with the border around it; cover and ellipses that of the
    // art alone.
    let around = match (form, design.outline.art_fit) {
        (Form::Rectangle(_), ArtFit::Contain) => 2.0 * border,
        (Form::Rectangle(_) | Form::Ellipse, _) => 0.0,
    };
    let (width, height) = match design.outline.shape {
        Shape::Circle => {
            let diameter = diameter(design.size);
            (diameter, diameter)
        }
        Shape::Contour | Shape::Rectangle | Shape::RoundedRectangle { .. } | Shape::Ellipse => {
            sides(art, design.size, around)
        }
    };
    Plate { form, width, height }
}

/// A circle's diameter: each of the lengths means it.
fn diameter(size: Size) -> f64 {
    match size {
        Size::Width(length) | Size::Height(length) | Size::Longest(length) => length.mm(),
        Size::Both { width, height } => width.min(height).mm(),
    }
}

/// Both sides, `around` of which are not art.
fn sides(art: Rect, size: Size, around: f64) -> (f64, f64) {
    let scaled = |scale: f64| (art.width() * scale + around, art.height() * scale + around);
    let by_width = |length: Mm| (length.mm(), scaled((length.mm() - around) / art.width()).1);
    let by_height = |length: Mm| (scaled((length.mm() - around) / art.height()).0, length.mm());
    match size {
        Size::Width(length) => by_width(length),
        Size::Height(length) => by_height(length),
        Size::Longest(length) if art.width() >= art.height() => by_width(length),
        Size::Longest(length) => by_height(length),
        Size::Both { width, height } => (width.mm(), height.mm()),
    }
}

/// The art as large as fits with the border kept everywhere: the pixel that lands on the origin, and mm per pixel.
fn contained(art: &ArtEdge<'_>, plate: &Plate, border: f64) -> (Point, f64) {
    let hull = Ring::hull_of(&art.region.rings);
    let hull = hull.points();
    let middle = art.bounds.center();
    let is_circle = plate.form == Form::Ellipse && (plate.width - plate.height).abs() < 1e-9;
    if is_circle && let Some(disc) = smallest_circle(hull) {
        return (disc.centre, (plate.width / 2.0 - border) / disc.radius);
    }
    let box_scale =
        ((plate.width - 2.0 * border) / art.bounds.width()).min((plate.height - 2.0 * border) / art.bounds.height());
    let in_middle = plate.largest_scale(hull, middle, border);
    if in_middle >= box_scale * (1.0 - 1e-9) {
        return (middle, in_middle);
    }
    plate.best_centre(hull, middle, border)
}

/// The art's box over the box of what the border leaves.
fn covering(art: Rect, plate: &Plate, border: f64) -> (Point, f64) {
    let across = (plate.width - 2.0 * border) / art.width();
    let down = (plate.height - 2.0 * border) / art.height();
    (art.center(), across.max(down))
}
