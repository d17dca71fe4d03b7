//! What is answered about one item before it is ordered: preflight's report and the price basis.
//!
//! Names and units are the contract's; every field is always there, `null` where unknown.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::Serialize;
use serde_json::Value;

use super::settings;
use super::ticket::{CutLengthMm, tidy};
use crate::finding::{Finding, Severity};
use crate::order::Inquiry;
use crate::preflight::{Measures, worst};
use crate::units::Mm;

/// The worst finding in one word.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Nothing but notes.
    Ready,
    /// Can be printed; somebody should look.
    Caution,
    /// Cannot be printed as it is.
    Reject,
}

impl Verdict {
    /// The verdict on everything found.
    pub fn on(findings: &[Finding]) -> Verdict {
        match worst(findings) {
            None | Some(Severity::Note) => Verdict::Ready,
            Some(Severity::Caution) => Verdict::Caution,
            Some(Severity::Reject) => Verdict::Reject,
        }
    }

    /// As written in reports.
    pub fn word(self) -> &'static str {
        match self {
            Verdict::Ready => "ready",
            Verdict::Caution => "caution",
            Verdict::Reject => "reject",
        }
    }
}

/// The size of a finished sticker.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Finished {
    /// Width before rotation; of a kiss cut, that of the kiss cut.
    pub width_mm: f64,
    /// Height likewise.
    pub height_mm: f64,
}

impl Finished {
    /// Rounded as in the ticket.
    pub fn of(width: Mm, height: Mm) -> Finished {
        Finished { width_mm: tidy(width.mm()), height_mm: tidy(height.mm()) }
    }
}

/// One piece of a sticker sheet.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct PieceReport {
    /// Its id.
    pub piece: String,
    /// Its measures.
    pub measures: Measures,
    /// Its finished size; `null` when no line could be drawn around it.
    pub finished: Option<Finished>,
}

/// Every setting that was used, whether said or built in.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct UsedSettings {
    /// The stock, complete, as in a ticket.
    pub stock: Value,
    /// The item's settings in the words of a request, art apart; see [`settings::inquiry`].
    pub item: Value,
    /// From which measures on preflight said something, by the names of the shop's settings.
    pub preflight: BTreeMap<&'static str, f64>,
}

impl UsedSettings {
    /// Those of an inquiry.
    pub fn of(inquiry: &Inquiry) -> UsedSettings {
        UsedSettings {
            stock: settings::stock(&inquiry.stock),
            item: settings::inquiry(inquiry),
            preflight: settings::thresholds(&inquiry.thresholds),
        }
    }
}

/// Preflight's report.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Report {
    /// The worst finding.
    pub verdict: Verdict,
    /// Everything found; those of a sticker sheet's pieces say which piece.
    pub findings: Vec<Finding>,
    /// What was measured; all unknown for a sticker sheet.
    pub measures: Measures,
    /// The finished size; `null` where none was asked for or no line could be drawn.
    pub finished: Option<Finished>,
    /// The pieces of a sticker sheet.
    pub pieces: Vec<PieceReport>,
    /// What was used.
    pub settings: UsedSettings,
}

/// What a quantity takes of its stock.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct QuantityEstimate {
    /// Copies.
    pub quantity: u32,
    /// Sheets, or lengths of roll.
    pub sheets: u32,
    /// Used length of the last one over the window's (on a roll: over that of the longest length).
    pub last_sheet_share: f64,
    /// Whole sheets, or length cut off x roll width.
    pub stock_area_mm2: f64,
    /// Length cut off; `null` for sheets.
    pub stock_length_mm: Option<f64>,
}

/// The price basis.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Estimate {
    /// The worst finding.
    pub verdict: Verdict,
    /// Everything found.
    pub findings: Vec<Finding>,
    /// The finished size; `null` when no line could be drawn.
    pub finished: Option<Finished>,
    /// Inside the outermost line, holes not subtracted; `null` when rejected.
    pub area_mm2: Option<f64>,
    /// Lengths of the cut lines of one copy; `null` when rejected.
    pub cut_length_mm: Option<CutLengthMm>,
    /// Share of that area that carries any colour but white; `null` when rejected.
    pub ink_share: Option<f64>,
    /// Copies on a full sheet, or on the longest length of a roll; `null` when rejected.
    pub copies_per_sheet: Option<u32>,
    /// What each quantity takes; empty when rejected.
    pub quantities: Vec<QuantityEstimate>,
    /// What was used.
    pub settings: UsedSettings,
}
