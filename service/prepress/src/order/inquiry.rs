//! One item that somebody asks about before it is ordered.

use super::{Product, Rotate, Stock, Thresholds};

/// An item on one stock: what preflight, proof and estimate are asked about.
#[derive(Clone, Debug, PartialEq)]
pub struct Inquiry {
    /// What is made.
    pub product: Product,
    /// Copies.
    pub quantity: u32,
    /// How it may be turned on the sheet.
    pub rotate: Rotate,
    /// What it is printed on.
    pub stock: Stock,
    /// Whether a size was given. Without one the design's size is [`Size::UNSAID`](super::Size::UNSAID), and nothing is
    /// judged that follows from it.
    pub sized: bool,
    /// From which measure on preflight says something.
    pub thresholds: Thresholds,
}
