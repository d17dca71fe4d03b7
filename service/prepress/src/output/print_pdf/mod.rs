//! The print PDF of a sheet.
//!
//! In: a [`Sheet`] with its placements, in sheet millimetres. Out: the bytes of a one-page PDF 1.6 whose boxes are all the
//! sheet, with every picture embedded once however often it stands there.
//!
//! Painting order: white ink, then art, then marks and lettering, then cut lines. White comes first because a viewer that
//! does not know overprint would otherwise hide the art behind it; where there is white, everything on top overprints, so
//! that no plate knocks another out. Cut lines come last and overprint.
//!
//! Guarantees: cut lines keep their Béziers and agree with the SVG to 0.001 mm; nothing of a placement is printed outside
//! its clip; the bytes follow from the sheet alone.
//!
//! Sources: ISO 32000-1 (PDF); ISO 19593-1 (processing steps) as the Arlington model of PDF lists its keys. What has to be
//! mended in what `printpdf` writes stands in `output::pdf`.

mod pages;
mod pictures;
mod separations;

#[cfg(test)]
mod tests;

use std::collections::BTreeSet;

use super::pdf::{Document, Group, Leaf, Meta, Resources};
use crate::fault::Fault;
use crate::geom::BezPath;
use crate::order::CutLinesInPrint;
use crate::sheet::{Furniture, Sheet};
use pictures::Pictures;
use separations::Separation;

/// The name in faults.
const FILE: &str = "print.pdf";

/// What stands on a sheet beside the placements' pictures.
struct Contents {
    furniture: Furniture,
    /// In cutting order; empty where the print carries no cut lines.
    kiss: Vec<BezPath>,
    through: Vec<BezPath>,
}

impl Contents {
    fn of(sheet: &Sheet) -> Contents {
        let furniture = sheet.furniture();
        if sheet.stock.cut_lines_in_print == CutLinesInPrint::None {
            return Contents { furniture, kiss: Vec::new(), through: Vec::new() };
        }
        let (kiss, through) = sheet.cuts();
        let paths = |cuts: Vec<crate::sheet::SheetCut<'_>>| cuts.iter().map(|cut| cut.line.path().clone()).collect();
        Contents { furniture, kiss: paths(kiss), through: paths(through) }
    }
}

/// `print.pdf`.
///
/// # Errors
/// `output.broken`.
pub fn write(sheet: &Sheet) -> Result<Vec<u8>, Fault> {
    compose(sheet, &Contents::of(sheet))
}

fn compose(sheet: &Sheet, contents: &Contents) -> Result<Vec<u8>, Fault> {
    let pictures = Pictures::of(sheet);
    let canvas = pages::paint(sheet, contents, &pictures);
    let separations = separations::of(sheet, contents, &pictures);
    let groups: Vec<Group<'_>> = separations.iter().map(Separation::group).collect();
    let leaf = Leaf { width: sheet.frame.width, height: sheet.frame.height, canvas };
    let mut document = Document::of(vec![leaf], &groups, FILE);
    let srgb = pictures::embed_srgb(&mut document);
    let mut resources = Resources::default();
    if separations.is_empty() {
        // For a desktop driver: a reader left alone with transparency may blend in CMYK and dull the colours.
        resources.blend_in = Some(srgb.clone());
    } else {
        // For a printer with plates: blended in its own colours, or RGB 0 would be rich black and a group in RGB would lose
        // overprint, so that art knocks white out (seen in Ghostscript).
        resources.states = separations::states();
    }
    for separation in &separations {
        let space = document.add(separation.colour_space());
        resources.colour_spaces.set(separation.key, space);
    }
    pictures.embed(&mut document, &srgb, &mut resources);
    document.finish(&resources, &groups, &meta(sheet))
}

/// Order ids, items and tags are what somebody will look for years later.
fn meta(sheet: &Sheet) -> Meta {
    let tags: BTreeSet<String> = sheet.placements.iter().flat_map(|placement| placement.tags.iter().cloned()).collect();
    let finish = Some(sheet.stock.finish.as_str()).filter(|finish| !finish.is_empty());
    Meta {
        title: format!("{} / sheet {}", sheet.run, sheet.number),
        subject: [Some(sheet.stock.stock.as_str()), finish].into_iter().flatten().collect::<Vec<_>>().join(", "),
        keywords: tags,
        date: sheet.date.clone(),
    }
}
