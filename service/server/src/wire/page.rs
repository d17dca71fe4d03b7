//! A sticker sheet: its page, its pieces, what fills its gaps.

use std::collections::BTreeSet;

use quoin_prepress::order::{Fill, Page, Piece};
use quoin_prepress::units::Mm;

use super::ids;
use super::item::Reader;
use super::mistake::{MistakeCode, Mistakes};
use super::node::Node;
use super::outline;
use super::range;

/// Fields of `page`.
pub(super) const PAGE_FIELDS: [&str; 4] = ["width_mm", "height_mm", "corner_radius_mm", "gap_mm"];

/// Fields of a piece.
pub(super) const PIECE_FIELDS: [&str; 8] = ["piece", "art", "size", "copies", "outline", "backdrop", "white", "accept"];

/// Fields of `fill`.
pub(super) const FILL_FIELDS: [&str; 2] = ["with", "smallest_mm"];

/// Words of `fill.with`: whether there are smaller copies.
pub(super) const FILLS: [(&str, bool); 2] = [("none", false), ("smaller_copies", true)];

/// A page's measures without what stands on it.
pub(super) struct PageSize {
    width: Option<Mm>,
    height: Option<Mm>,
    corner_radius: Mm,
    gap: Mm,
}

/// Reads the sticker sheet of an item on a stock with this bleed.
pub(super) fn read_page(item: &Node<'_>, bleed: Option<Mm>, reader: &mut Reader<'_>) -> Option<Page> {
    if item.get("page").is_none() {
        item.missing(reader.mistakes, "page");
    }
    let size = read_page_size(item, bleed, true, reader.mistakes);
    let fill = read_fill(item, reader.mistakes);
    if item.choice("pieces").is_none() {
        item.missing(reader.mistakes, "pieces");
    }
    let pieces = read_pieces(item, reader)?;
    Some(Page {
        width: size.width?,
        height: size.height?,
        corner_radius: size.corner_radius,
        gap: size.gap,
        pieces,
        fill,
    })
}

/// The page's measures. In `defaults` nothing is required.
pub(super) fn read_page_size(
    item: &Node<'_>,
    bleed: Option<Mm>,
    all_required: bool,
    mistakes: &mut Mistakes,
) -> PageSize {
    let section = item.section(mistakes, "page");
    section.only_fields(mistakes, &PAGE_FIELDS);
    if all_required && section.value().is_some() {
        for field in ["width_mm", "height_mm"] {
            if section.get(field).is_none() {
                section.missing(mistakes, field);
            }
        }
    }
    let twice = bleed.unwrap_or(Mm::ZERO) * 2.0;
    PageSize {
        width: section.length(mistakes, "width_mm", &range::ORDERED),
        height: section.length(mistakes, "height_mm", &range::ORDERED),
        corner_radius: section.length(mistakes, "corner_radius_mm", &range::CORNER_RADIUS).unwrap_or(Mm::of(3.0)),
        gap: section
            .length(mistakes, "gap_mm", &range::SPACING.at_least(range::PAGE_GAP_LEAST_MM))
            .unwrap_or(Mm::of(2.0).max(twice)),
    }
}

/// The pieces; `None` when there are none or one is broken.
pub(super) fn read_pieces(item: &Node<'_>, reader: &mut Reader<'_>) -> Option<Vec<Piece>> {
    let list = item.list(reader.mistakes, "pieces")?;
    if list.is_empty() || list.len() > range::PIECES {
        let pointer = item.choice("pieces").map(|node| node.pointer()).unwrap_or_default();
        let message = format!("a sticker sheet has 1 to {} pieces, not {}", range::PIECES, list.len());
        reader.mistakes.add(MistakeCode::OutOfRange, &pointer, message);
        return None;
    }
    let mut seen = BTreeSet::new();
    let mut pieces = Vec::with_capacity(list.len());
    for own in &list {
        let piece = read_piece(own, item, reader);
        if let Some(name) = own.get("piece")
            && let Some(text) = name.value().and_then(|value| value.as_str())
            && !seen.insert(text)
        {
            let message = format!("there is another piece \"{text}\" on this page");
            reader.mistakes.add(MistakeCode::DuplicateId, &name.pointer(), message);
        }
        pieces.push(piece);
    }
    pieces.into_iter().collect()
}

fn read_piece(own: &Node<'_>, item: &Node<'_>, reader: &mut Reader<'_>) -> Option<Piece> {
    if !own.expect_object(reader.mistakes) {
        return None;
    }
    own.only_fields(reader.mistakes, &PIECE_FIELDS);
    if own.get("piece").is_none() {
        own.missing(reader.mistakes, "piece");
    }
    let piece = own.ruled_text(reader.mistakes, "piece", ids::id);
    let copies = own.whole(reader.mistakes, "copies", &range::PIECE_COPIES).unwrap_or(1);
    let design = outline::read_design(own, &own.over(item), None, reader);
    Some(Piece { piece: piece?.to_owned(), design: design?, copies: u32::try_from(copies).ok()? })
}

/// What fills the gaps.
pub(super) fn read_fill(item: &Node<'_>, mistakes: &mut Mistakes) -> Fill {
    let Some(fill) = item.choice("fill").filter(|node| node.expect_object(mistakes)) else { return Fill::None };
    fill.only_fields(mistakes, &FILL_FIELDS);
    if fill.get("with").is_none() {
        fill.missing(mistakes, "with");
    }
    match fill.word(mistakes, "with", &FILLS) {
        Some(true) => {
            if fill.get("smallest_mm").is_none() {
                fill.missing(mistakes, "smallest_mm");
            }
            let smallest = fill.length(mistakes, "smallest_mm", &range::ORDERED);
            smallest.map_or(Fill::None, |smallest| Fill::SmallerCopies { smallest })
        }
        Some(false) => {
            fill.refuse_own(mistakes, &["smallest_mm"], "a page without filling");
            Fill::None
        }
        None => Fill::None,
    }
}
