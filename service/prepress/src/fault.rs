//! One error for the whole library. `code()` never changes once published.
//!
//! A fault that an item causes (its picture, its size) also has a [`Finding`]: the item is set
//! aside with it and the run goes on. See [`Fault::finding`].

use std::error::Error;

use crate::finding::{Code, Finding, SetAside};
use crate::units::Mm;

/// What went wrong, with what a caller needs to mend it.
#[derive(Debug, thiserror::Error)]
pub enum Fault {
    /// NaN or an infinity where a number was asked for.
    #[error("not a finite number")]
    NotFinite,
    /// The caller raised the cancel flag.
    #[error("cancelled")]
    Cancelled,

    /// The bytes are damaged or no picture.
    #[error("the picture cannot be read: {reason}")]
    ArtUnreadable {
        /// What the decoder said, in words fit for a report.
        reason: String,
    },
    /// A picture of a kind that this door does not take.
    #[error("pictures of this kind are not taken: {kind}")]
    ArtUnsupported {
        /// The kind that was recognised.
        kind: String,
    },
    /// A picture over one of the intake limits.
    #[error("the picture has {measured} {unit}, more than the limit of {limit}")]
    ArtOverLimit {
        /// What was measured.
        measured: f64,
        /// The limit that it breaks.
        limit: f64,
        /// The unit of both, e.g. `bytes` or `px`.
        unit: &'static str,
    },
    /// Nothing visible in the picture.
    #[error("nothing is visible in the picture")]
    ArtBlank,
    /// A picture too small to be art.
    #[error("the picture is only {longest_px} pixels on its longest side")]
    ArtTiny {
        /// Its longest side.
        longest_px: u32,
        /// What it must have.
        least_px: f64,
    },

    /// The finished size leaves no room for the art, or is under what can be cut and peeled.
    #[error("finished size {measured:?} is under the least possible {limit:?}")]
    SizeTooSmall {
        /// Shortest or ordered side.
        measured: Mm,
        /// What it must exceed.
        limit: Mm,
    },
    /// The outermost line with its bleed is larger than the window in every allowed rotation.
    #[error("the sticker needs {measured:?}, the window gives {limit:?}")]
    SizeTooLarge {
        /// The side that does not fit.
        measured: Mm,
        /// What the window has.
        limit: Mm,
        /// The longest finished side that would fit in proportion, if any.
        would_fit: Option<Mm>,
    },
    /// Floating parts are out of reach of border and bridge and the order does not let them be separate.
    #[error("{parts} parts float out of reach of each other")]
    ShapeParts {
        /// How many parts would fall apart.
        parts: usize,
    },
    /// A sticker sheet's page cannot hold its pieces.
    #[error("the page cannot hold its pieces")]
    PageFull {
        /// A page size (width, height) that would hold them, where one was found.
        would_fit: Option<(Mm, Mm)>,
    },

    /// No sticker can be made of an item, so that there is no proof of it.
    #[error("no sticker can be made of this item")]
    NoSticker {
        /// Everything found, with at least one reject.
        findings: Vec<Finding>,
    },
    /// A picture that was kept elsewhere is gone: our fault.
    #[error("a picture that was sent is lost")]
    ArtLost {
        /// Why.
        source: std::io::Error,
    },

    /// A stock whose parts contradict each other.
    #[error("stock {stock}: {reason}")]
    StockBroken {
        /// Its name.
        stock: String,
        /// The field at fault as an RFC 6901 pointer below the stock, e.g. `/margins_mm/left`.
        field: String,
        /// What is wrong and what would be right, in words.
        reason: String,
    },

    /// A layout failed the last gate: our fault, never shipped.
    #[error("a layout broke its promise: {reason}")]
    LayoutBroken {
        /// Which promise and by how much.
        reason: String,
    },
    /// Copies were lost or invented: our fault, never shipped.
    #[error("copies do not add up for order {order}, item {item}: {ordered} ordered, {accounted} accounted for")]
    CopiesLost {
        /// The order.
        order: String,
        /// The item.
        item: String,
        /// Copies ordered.
        ordered: u32,
        /// Copies placed and set aside.
        accounted: u32,
    },
    /// Nothing of the job could be placed.
    #[error("nothing in this job can be printed")]
    NothingPlaced {
        /// Every item, with why.
        set_aside: Vec<SetAside>,
    },
    /// A cut line could not be drawn within its promises.
    #[error("the cut line could not be drawn: {reason}")]
    CutLineBroken {
        /// Which promise.
        reason: String,
    },
    /// A file could not be made from a sheet.
    #[error("could not write {file}")]
    OutputBroken {
        /// Which file.
        file: &'static str,
        /// Why.
        source: Box<dyn Error + Send + Sync>,
    },
    /// The caller's place for finished files refused one.
    #[error("could not store {path}")]
    StoreFailed {
        /// The file's path in the run.
        path: String,
        /// Why.
        source: std::io::Error,
    },
}

impl Fault {
    /// Art over a limit by nobody knows how much, because whoever stopped it does not say: one more than it may have.
    pub fn art_just_over(limit: f64, unit: &'static str) -> Fault {
        Fault::ArtOverLimit { measured: limit + 1.0, limit, unit }
    }

    /// The stable code, `stage.what_happened`.
    pub fn code(&self) -> &'static str {
        match self {
            Fault::NotFinite => "order.not_finite",
            Fault::Cancelled => "run.cancelled",
            Fault::ArtUnreadable { .. } => "art.unreadable",
            Fault::ArtUnsupported { .. } => "art.unsupported",
            Fault::ArtOverLimit { .. } => "art.over_limit",
            Fault::ArtBlank => "art.blank",
            Fault::ArtTiny { .. } => "art.tiny",
            Fault::SizeTooSmall { .. } => "size.too_small",
            Fault::SizeTooLarge { .. } => "size.too_large",
            Fault::ShapeParts { .. } => "shape.parts",
            Fault::PageFull { .. } => "page.full",
            Fault::NoSticker { .. } => "proof.no_sticker",
            Fault::ArtLost { .. } => "run.art_lost",
            Fault::StockBroken { .. } => "stock.broken",
            Fault::LayoutBroken { .. } => "gang.layout_broken",
            Fault::CopiesLost { .. } => "run.copies_lost",
            Fault::NothingPlaced { .. } => "run.nothing_placed",
            Fault::CutLineBroken { .. } => "cutline.broken",
            Fault::OutputBroken { .. } => "output.broken",
            Fault::StoreFailed { .. } => "run.store_failed",
        }
    }

    /// The finding with which the item that caused this fault is set aside; `None` for faults that no item causes.
    pub fn finding(&self) -> Option<Finding> {
        match self {
            Fault::ArtUnreadable { reason } => Some(Finding::art_unreadable(reason)),
            Fault::ArtUnsupported { kind } => Some(Finding::art_unsupported(kind)),
            Fault::ArtOverLimit { measured, limit, unit } => Some(Finding::art_over_limit(*measured, *limit, unit)),
            Fault::ArtBlank => Some(Finding::new(Code::ArtBlank)),
            Fault::ArtTiny { longest_px, least_px } => Some(Finding::art_tiny(*longest_px, *least_px)),
            Fault::SizeTooSmall { measured, limit } => Some(Finding::size_too_small(*measured, *limit)),
            Fault::SizeTooLarge { measured, limit, would_fit } => {
                Some(Finding::size_too_large(*measured, *limit, *would_fit))
            }
            Fault::ShapeParts { parts } => Some(Finding::shape_parts_out_of_reach(*parts)),
            Fault::PageFull { would_fit } => Some(Finding::page_full(*would_fit)),
            Fault::CutLineBroken { .. } => Some(Finding::new(Code::ShapeUndrawable)),
            Fault::NotFinite
            | Fault::Cancelled
            | Fault::NoSticker { .. }
            | Fault::ArtLost { .. }
            | Fault::StockBroken { .. }
            | Fault::LayoutBroken { .. }
            | Fault::CopiesLost { .. }
            | Fault::NothingPlaced { .. }
            | Fault::OutputBroken { .. }
            | Fault::StoreFailed { .. } => None,
        }
    }
}
