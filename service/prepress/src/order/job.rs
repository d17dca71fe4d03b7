//! A night's orders.

use super::{Item, Stock, Thresholds};
use crate::units::Mm;

/// How much work goes into a layout: counted, not timed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Effort {
    /// Seconds.
    Draft,
    /// The usual.
    Standard,
    /// As good as it gets.
    Thorough,
}

impl Effort {
    /// The contract's word.
    pub fn word(self) -> &'static str {
        match self {
            Effort::Draft => "draft",
            Effort::Standard => "standard",
            Effort::Thorough => "thorough",
        }
    }
}

/// An order's own sticker design that fills what is left of sheets.
#[derive(Clone, Debug, PartialEq)]
pub struct Filler {
    /// Everything but the quantity; `item.quantity` is `at_most`.
    pub item: Item,
}

/// How a run is laid out.
#[derive(Clone, Debug, PartialEq)]
pub struct Policy {
    /// Amount of work.
    pub effort: Effort,
    /// Optional hard stop of the improvement.
    pub time_budget_ms: Option<u64>,
    /// Seed of every random stream.
    pub seed: u64,
    /// Copies of an order on as few sheets as can be.
    pub keep_orders_together: bool,
    /// The shop's evergreen stickers.
    pub fill_offcuts_with: Vec<Filler>,
}

/// What a run writes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum OutputKind {
    /// `print.pdf`
    PrintPdf,
    /// `cut.svg`
    CutSvg,
    /// `preview.png`
    PreviewPng,
    /// `pick-list.pdf`
    PickListPdf,
    /// `sheet.png` with `cut-window.svg`
    SheetPng,
}

/// One customer's order.
#[derive(Clone, Debug, PartialEq)]
pub struct Order {
    /// The shop's order number.
    pub order: String,
    /// Due date, `YYYY-MM-DD`: sorts as text.
    pub due: Option<String>,
    /// Its lines.
    pub items: Vec<Item>,
}

/// A gang job.
#[derive(Clone, Debug, PartialEq)]
pub struct Job {
    /// The run's name.
    pub run: String,
    /// RFC 3339, printed on the label.
    pub date: Option<String>,
    /// The job's stocks; items name them by index.
    pub stocks: Vec<Stock>,
    /// The orders.
    pub orders: Vec<Order>,
    /// How it is laid out.
    pub policy: Policy,
    /// Page size of the pick list: width, height.
    pub report_size: (Mm, Mm),
    /// What is written.
    pub outputs: Vec<OutputKind>,
    /// From which measure on preflight says something.
    pub thresholds: Thresholds,
}
