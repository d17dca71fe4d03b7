//! What is printed and cut for one finished sticker.
//!
//! The frame of a sticker: millimetres, y down, upright, origin at the centre of the outermost line's bounding box.

mod art;
mod compose;
mod digest;
mod grid;
mod ink;
mod nearest;
mod plan;
mod plane;

use std::sync::Arc;

pub use digest::hex;
pub use plane::Plane;

use crate::cancel::Cancel;
use crate::cutline;
use crate::fault::Fault;
use crate::geom::{Affine, CutLine, Point, Pose, Rect, Ring};
use crate::order::{Backing, Design, Page, Stock};
use crate::outline::{FLATNESS, Outlined};
use crate::silhouette::CutOut;
use crate::units::{Mm, Ppi};
use grid::Grid;
use plan::Plan;

/// A printed picture, compressed once and embedded as it is.
#[derive(Clone, Debug)]
pub struct Print {
    /// Width.
    pub width_px: u32,
    /// Height.
    pub height_px: u32,
    /// Its resolution.
    pub ppi: Ppi,
    /// RGB, three channels. Colour under transparent pixels is the nearest edge colour, so that resampling shows no rim.
    pub colour: Plane,
    /// Alpha, one channel.
    pub alpha: Plane,
    /// White ink coverage, one channel; only on clear and metallic stock.
    pub white: Option<Plane>,
}

/// A picture in a sticker's frame.
#[derive(Clone, Debug)]
pub struct PlacedPrint {
    /// The picture; several places may share one.
    pub print: Arc<Print>,
    /// From the picture's pixels (x right, y down, (0, 0) its top-left corner) to the sticker's millimetres.
    pub to_mm: Affine,
}

/// A cut line with the piece it belongs to.
#[derive(Clone, Debug)]
pub struct Cut {
    /// The line.
    pub line: CutLine,
    /// On a sticker sheet, the piece's id.
    pub piece: Option<String>,
}

/// A finished sticker, upright.
#[derive(Clone, Debug)]
pub struct Sticker {
    /// Kiss cuts.
    pub kiss: Vec<Cut>,
    /// Through cuts.
    pub through: Vec<Cut>,
    /// The outermost line of each part, as polylines within 0.005 mm of the true line: what ganging keeps apart.
    pub outermost: Vec<Ring>,
    /// What is printed, in painting order.
    pub prints: Vec<PlacedPrint>,
    /// How far print reaches past the outermost line: the stock's bleed, or zero where nothing is printed there.
    pub reach: Mm,
    /// Box of the outermost lines, centred on the origin.
    pub overall: Rect,
    /// Finished width, of the kiss cut for a kiss cut.
    pub finished_width: Mm,
    /// Finished height.
    pub finished_height: Mm,
    /// Area inside the outermost lines, holes not subtracted.
    pub area_mm2: f64,
}

/// Makes the sticker of a fitted design (`backing` as given to [`crate::outline::fit`]).
///
/// # Errors
/// `run.cancelled`.
pub fn make(
    cut_out: &CutOut,
    outlined: &Outlined,
    design: &Design,
    backing: Option<&Backing>,
    stock: &Stock,
    cancel: &Cancel,
) -> Result<Sticker, Fault> {
    let plan = Plan::new(cut_out, outlined, design, backing, stock);
    let grid = Grid::covering(plan.area(), stock.print_ppi);
    let painted = compose::paint(&plan, &grid, cancel)?;
    let width_px = grid.width as u32;
    let print = Print {
        width_px,
        height_px: grid.height as u32,
        ppi: grid.ppi,
        colour: Plane::pack(&painted.colour, width_px, 3),
        alpha: Plane::pack(&painted.alpha, width_px, 1),
        white: painted.white.map(|white| Plane::pack(&white, width_px, 1)),
    };
    // A backing has no holes: every line of it is outermost.
    let outer = if outlined.kiss.is_empty() { outlined.outer_lines } else { outlined.through.len() };
    let outermost_lines = &outlined.through[..outer.min(outlined.through.len())];
    Ok(Sticker {
        kiss: cuts(&outlined.kiss),
        through: cuts(&outlined.through),
        outermost: outermost_lines.iter().map(|line| line.flattened(FLATNESS)).collect(),
        prints: vec![PlacedPrint { print: Arc::new(print), to_mm: grid.to_mm() }],
        reach: outlined.reach,
        overall: outlined.overall,
        finished_width: outlined.finished_width,
        finished_height: outlined.finished_height,
        area_mm2: outermost_lines.iter().map(CutLine::area_mm2).sum(),
    })
}

fn cuts(lines: &[CutLine]) -> Vec<Cut> {
    lines.iter().map(|line| Cut { line: line.clone(), piece: None }).collect()
}

/// A piece where it stands on its page.
#[derive(Clone, Debug)]
pub struct PlacedPiece {
    /// The piece's id.
    pub piece: String,
    /// The piece, made as a die cut of its own.
    pub sticker: Arc<Sticker>,
    /// In the page's frame: origin at its centre.
    pub pose: Pose,
}

/// Makes a sticker sheet of its pieces: their through lines become kiss cuts, the page's edge is the through cut.
pub fn assemble_page(page: &Page, pieces: &[PlacedPiece]) -> Sticker {
    let edge = cutline::rounded_rectangle(Point::ORIGIN, page.width, page.height, page.corner_radius);
    let mut kiss = Vec::new();
    let mut prints = Vec::new();
    for placed in pieces {
        let pose = placed.pose.to_affine();
        let lines = placed.sticker.kiss.iter().chain(&placed.sticker.through);
        kiss.extend(lines.map(|cut| Cut { line: cut.line.transformed(pose), piece: Some(placed.piece.clone()) }));
        prints.extend(placed.sticker.prints.iter().map(|placed_print| PlacedPrint {
            print: Arc::clone(&placed_print.print),
            to_mm: pose * placed_print.to_mm,
        }));
    }
    Sticker {
        kiss,
        outermost: vec![edge.flattened(FLATNESS)],
        prints,
        reach: page_reach(page, pieces),
        overall: edge.bounds(),
        finished_width: page.width,
        finished_height: page.height,
        area_mm2: edge.area_mm2(),
        through: vec![Cut { line: edge, piece: None }],
    }
}

/// How far the pieces' bleeds reach past the page's edge: not at all while they keep their distance from it.
fn page_reach(page: &Page, pieces: &[PlacedPiece]) -> Mm {
    let (half_width, half_height) = (page.width.mm() / 2.0, page.height.mm() / 2.0);
    let past = pieces.iter().flat_map(|placed| {
        let pose = placed.pose.to_affine();
        let reach = placed.sticker.reach.mm();
        placed.sticker.through.iter().map(move |cut| {
            let bounds = cut.line.transformed(pose).bounds().inflate(reach, reach);
            let sides = [bounds.x1 - half_width, -half_width - bounds.x0, bounds.y1 - half_height];
            sides.into_iter().fold(-half_height - bounds.y0, f64::max)
        })
    });
    Mm::of(past.fold(0.0, f64::max))
}

#[cfg(test)]
mod tests;
