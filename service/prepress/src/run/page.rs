//! Makes a sticker sheet: its pieces, smaller copies for the gaps, their arrangement.

use std::collections::BTreeMap;
use std::sync::Arc;

use rayon::prelude::*;

use super::prepare::{Bench, Made, Opened, Source, make_design};
use super::shelf::{self, Shelf};
use crate::fault::Fault;
use crate::finding::Finding;
use crate::gang::{self, PagePiece, PagePlan};
use crate::order::{ArtInput, Design, Fill, Page, Piece, Size, Stock};
use crate::sticker::{self, PlacedPiece, Sticker};
use crate::units::Mm;

/// Sizes between a piece's own and the smallest, evenly spaced in proportion: enough that every gap finds one that fits
/// it closely, few enough that making them stays cheap.
const SMALLER_SIZES: u32 = 4;

/// Least distance from kiss cuts to the page's edge (contract, `page.gap_mm`).
const LEAST_EDGE: Mm = Mm::of(2.0);

/// One size of a piece.
struct Cut {
    piece: String,
    sticker: Arc<Sticker>,
    copies: u32,
}

/// Makes the page, or sets it aside with the findings of its pieces.
pub(super) fn make(page: &Page, stock: &Stock, shelf: &Shelf, bench: Bench<'_>) -> Result<Made, Fault> {
    make_opened(page, &open_pieces(page, stock, shelf, bench)?, stock, bench)
}

/// The picture of every source that a page opens before it renders drawings for their pieces.
pub(super) fn pictures(page: &Page) -> Vec<&ArtInput> {
    first_pieces(page).0.into_iter().map(|first| &first.design.art).collect()
}

/// The first piece of each picture with one treatment of its backdrop, and for each piece which of these it starts from.
fn first_pieces(page: &Page) -> (Vec<&Piece>, Vec<usize>) {
    let mut firsts: Vec<&Piece> = Vec::new();
    let mut first_of: Vec<usize> = Vec::new();
    for piece in &page.pieces {
        let known = firsts.iter().position(|first| first.design.shares_picture_with(&piece.design));
        first_of.push(known.unwrap_or(firsts.len()));
        if known.is_none() {
            firsts.push(piece);
        }
    }
    (firsts, first_of)
}

/// The pictures of all pieces, each opened once. A drawing is rendered for each piece, in its size.
pub(super) fn open_pieces(page: &Page, stock: &Stock, shelf: &Shelf, bench: Bench<'_>) -> Result<Vec<Opened>, Fault> {
    let (firsts, first_of) = first_pieces(page);
    let pictures: Vec<Vec<&ArtInput>> = firsts.iter().map(|first| vec![&first.design.art]).collect();
    let open_batch = |batch: &Vec<usize>| {
        let open = |number: &usize| Ok((*number, open_and_look(&firsts[*number].design, stock, shelf, bench)?));
        batch.iter().map(open).collect::<Result<Vec<_>, Fault>>()
    };
    let batches = shelf::sharing(&pictures, bench.cancel)?;
    let opened: Vec<Vec<(usize, Opened)>> = batches.par_iter().map(open_batch).collect::<Result<_, Fault>>()?;
    let shared: BTreeMap<usize, Opened> = opened.into_iter().flatten().collect();
    let open = |(piece, first): (&Piece, usize)| match &shared[&first] {
        Ok(source) if source.is_vector() && !std::ptr::eq(firsts[first], piece) => {
            open_and_look(&piece.design, stock, shelf, bench)
        }
        opened => Ok(opened.clone()),
    };
    page.pieces.par_iter().zip(first_of).map(open).collect()
}

/// Opens a picture and looks at it at once: it waits for all others, and their grounds must not take memory meanwhile.
fn open_and_look(design: &Design, stock: &Stock, shelf: &Shelf, bench: Bench<'_>) -> Result<Opened, Fault> {
    let opened = Source::open(design, stock.print_ppi, shelf, bench)?;
    if let Ok(source) = &opened {
        source.facts(bench);
    }
    Ok(opened)
}

/// Makes the page of pictures that were opened, one for each piece.
pub(super) fn make_opened(page: &Page, opened: &[Opened], stock: &Stock, bench: Bench<'_>) -> Result<Made, Fault> {
    let made: Vec<(Made, Vec<Cut>)> = page
        .pieces
        .par_iter()
        .zip(opened)
        .map(|(piece, opened)| make_piece(piece, opened, page.fill, stock, bench))
        .collect::<Result<_, _>>()?;
    let refused = made.iter().any(|(piece, _)| piece.sticker.is_none());
    let findings: Vec<Finding> =
        made.iter().zip(&page.pieces).flat_map(|((made, _), piece)| labelled(&made.findings, piece)).collect();
    if refused {
        return Ok(Made { sticker: None, findings, rejected: None });
    }
    let cuts: Vec<Cut> = made.into_iter().flat_map(|(_, cuts)| cuts).collect();
    let pieces = cuts.iter().map(|cut| PagePiece {
        outermost: cut.sticker.outermost.clone(),
        copies: cut.copies,
        fills: cut.copies == 0,
    });
    let plan = plan(page, stock, pieces.collect());
    let poses = match gang::arrange_page(&plan, bench.cancel) {
        Ok(poses) => poses,
        Err(fault) => return Made::refused(fault, findings),
    };
    let placed: Vec<PlacedPiece> = poses
        .into_iter()
        .map(|(index, pose)| PlacedPiece {
            piece: cuts[index].piece.clone(),
            sticker: Arc::clone(&cuts[index].sticker),
            pose,
        })
        .collect();
    Ok(Made { sticker: Some(Arc::new(sticker::assemble_page(page, &placed))), findings, rejected: None })
}

pub(super) fn labelled<'a>(findings: &'a [Finding], piece: &'a Piece) -> impl Iterator<Item = Finding> + 'a {
    findings.iter().map(|finding| Finding { piece: Some(piece.piece.clone()), ..finding.clone() })
}

/// What is to be arranged on a page.
pub(super) fn plan(page: &Page, stock: &Stock, pieces: Vec<PagePiece>) -> PagePlan {
    PagePlan {
        width: page.width,
        height: page.height,
        corner_radius: page.corner_radius,
        gap: page.gap,
        edge: page.gap.max(LEAST_EDGE).max(stock.bleed * 2.0),
        pieces,
    }
}

/// The piece in its own size, then in smaller ones. A smaller one that cannot be made is left out: nobody ordered it.
fn make_piece(
    piece: &Piece,
    opened: &Opened,
    fill: Fill,
    stock: &Stock,
    bench: Bench<'_>,
) -> Result<(Made, Vec<Cut>), Fault> {
    let own = make_design(opened, &piece.design, None, stock, bench)?;
    let Some(sticker) = own.sticker.clone() else { return Ok((own, Vec::new())) };
    let mut cuts = vec![Cut { piece: piece.piece.clone(), sticker: Arc::clone(&sticker), copies: piece.copies }];
    for longest in smaller_sizes(&sticker, fill) {
        let design = Design { size: Size::Longest(longest), ..piece.design.clone() };
        let made = make_design(opened, &design, None, stock, bench)?;
        cuts.extend(made.sticker.map(|sticker| Cut { piece: piece.piece.clone(), sticker, copies: 0 }));
    }
    Ok((own, cuts))
}

fn smaller_sizes(sticker: &Sticker, fill: Fill) -> Vec<Mm> {
    let own = sticker.finished_width.max(sticker.finished_height);
    let Fill::SmallerCopies { smallest } = fill else { return Vec::new() };
    if smallest >= own {
        return Vec::new();
    }
    let step = |k: u32| own * (smallest / own).powf(f64::from(k) / f64::from(SMALLER_SIZES));
    (1..=SMALLER_SIZES).map(step).collect()
}
