//! What is painted on the page, in order.

use kurbo::{Circle, Shape};

use super::Contents;
use super::pictures::Pictures;
use super::separations::{KISS, OVERPRINT, THROUGH, WHITE};
use crate::geom::{Affine, BezPath, Rect};
use crate::output::pdf::{Canvas, Ink};
use crate::sheet::{Placement, Sheet};
use crate::sticker::PlacedPrint;
use crate::units::Mm;

/// Width of a stroked cut line: seen by an eye and a camera, within what a knife covers. Common practice, no source.
const CUT_LINE_WIDTH: Mm = Mm::of(0.25);

/// Radial error of discs, far below what a printer resolves.
const DISC_ACCURACY_MM: f64 = 1e-4;

/// Paints the sheet.
pub(super) fn paint(sheet: &Sheet, contents: &Contents, pictures: &Pictures<'_>) -> Canvas {
    let mut canvas = Canvas::new(sheet.frame.height);
    let takes_white = sheet.stock.face.takes_white_ink() || pictures.have_white();
    // On stock that takes white the layer is there even where nothing needs it today.
    if takes_white {
        canvas.on_layer(WHITE, |canvas| paint_white(canvas, sheet, pictures));
    }
    canvas.scoped(|canvas| {
        if takes_white {
            canvas.state(OVERPRINT);
        }
        for_each_placement(canvas, sheet, |canvas, placement| {
            for print in &placement.sticker.prints {
                let (name, state) = pictures.colour_name(&print.print, takes_white);
                canvas.picture(&name, state.as_deref(), unit_square_to_sheet(placement, print));
            }
        });
        let furniture = &contents.furniture;
        for path in furniture.marks.iter().chain(&furniture.lettering) {
            canvas.fill(path, Ink::Black);
        }
    });
    for (layer, lines) in [(KISS, &contents.kiss), (THROUGH, &contents.through)] {
        if !lines.is_empty() {
            canvas.on_layer(layer, |canvas| paint_cuts(canvas, layer, lines));
        }
    }
    canvas
}

fn paint_white(canvas: &mut Canvas, sheet: &Sheet, pictures: &Pictures<'_>) {
    for_each_placement(canvas, sheet, |canvas, placement| {
        for print in placement.sticker.prints.iter().filter(|print| print.print.white.is_some()) {
            canvas.picture(&pictures.white_name(&print.print), None, unit_square_to_sheet(placement, print));
        }
    });
    if !sheet.stock.face.takes_white_ink() || sheet.frame.marks.is_empty() {
        return;
    }
    canvas.scoped(|canvas| {
        canvas.clip(&printable(sheet).to_path(DISC_ACCURACY_MM));
        for mark in &sheet.frame.marks {
            let radius = (mark.diameter / 2.0 + mark.clear).mm();
            canvas.fill(&Circle::new(mark.centre, radius).to_path(DISC_ACCURACY_MM), Ink::Spot(WHITE));
        }
    });
}

/// As far as the printer reaches.
fn printable(sheet: &Sheet) -> Rect {
    let edge = &sheet.stock.unprintable;
    Rect::new(
        edge.left.mm(),
        edge.top.mm(),
        (sheet.frame.width - edge.right).mm(),
        (sheet.frame.height - edge.bottom).mm(),
    )
}

fn paint_cuts(canvas: &mut Canvas, separation: &str, lines: &[BezPath]) {
    canvas.scoped(|canvas| {
        canvas.state(OVERPRINT);
        for line in lines {
            canvas.stroke(line, CUT_LINE_WIDTH, Ink::Spot(separation));
        }
    });
}

/// Paints each placement inside its clip.
fn for_each_placement(canvas: &mut Canvas, sheet: &Sheet, paint: impl Fn(&mut Canvas, &Placement)) {
    for placement in &sheet.placements {
        match &placement.clip {
            None => paint(canvas, placement),
            // Nothing is left to print on.
            Some(clip) if clip.elements().is_empty() => {}
            Some(clip) => canvas.scoped(|canvas| {
                canvas.clip(clip);
                paint(canvas, placement);
            }),
        }
    }
}

/// From the picture's unit square (y down) by its pixels and the sticker's millimetres to the sheet: turned stickers are
/// placed by this matrix, their pixels are never computed anew.
fn unit_square_to_sheet(placement: &Placement, placed: &PlacedPrint) -> Affine {
    let (width, height) = (f64::from(placed.print.width_px), f64::from(placed.print.height_px));
    placement.pose.to_affine() * placed.to_mm * Affine::scale_non_uniform(width, height)
}
