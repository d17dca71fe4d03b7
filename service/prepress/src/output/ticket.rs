//! `ticket.json`, schema `ticket/1`: the machine-readable record of a run.
//!
//! Field names and meanings are the contract's; lengths are millimetres rounded to a millionth, y down, angles clockwise.

use std::collections::BTreeMap;

use serde::Serialize;
use serde_json::Value;

use crate::finding::{Finding, SetAside};

/// Value of [`Ticket::schema`].
pub const SCHEMA: &str = "ticket/1";

/// The record of a run.
#[derive(Clone, Debug, Serialize)]
pub struct Ticket {
    /// Always [`SCHEMA`].
    pub schema: &'static str,
    /// The run's name.
    pub run: String,
    /// As ordered.
    pub date: Option<String>,
    /// As ordered.
    pub effort: &'static str,
    /// The time budget ended the improvement.
    pub stopped_early: bool,
    /// As ordered.
    pub seed: u64,
    /// Every sheet and length of roll.
    pub sheets: Vec<TicketSheet>,
    /// Files outside the sheets' folders.
    pub files: Vec<FileEntry>,
    /// Every order of the job, those set aside too.
    pub orders: Vec<TicketOrder>,
    /// What was set aside, with the findings that say why.
    pub set_aside: Vec<SetAside>,
    /// What was used.
    pub settings: Settings,
    /// Sums.
    pub totals: Totals,
}

/// One sheet, or one length of roll.
#[derive(Clone, Debug, Serialize)]
pub struct TicketSheet {
    /// From 1.
    pub sheet: u32,
    /// Its stock.
    pub stock: String,
    /// Its folder in the run.
    pub folder: String,
    /// Width.
    pub width_mm: f64,
    /// Height; on a roll, the length to cut off.
    pub height_mm: f64,
    /// Where cut lines and bleeds stand.
    pub window_mm: WindowMm,
    /// Register marks, in order of the feed.
    pub marks: Vec<TicketMark>,
    /// What stands on it.
    pub placements: Vec<TicketPlacement>,
    /// Area inside the outermost lines, holes not subtracted.
    pub placed_area_mm2: f64,
    /// Area of the window.
    pub window_area_mm2: f64,
    /// The one over the other.
    pub density: f64,
    /// From the window's feed side to the farthest outermost line.
    pub used_length_mm: f64,
    /// What the blade travels.
    pub cut_length_mm: CutLengthMm,
    /// Every file of the folder.
    pub files: Vec<FileEntry>,
    /// For the printer, in IPP words.
    pub print_settings: PrintSettings,
}

/// The window.
#[derive(Clone, Copy, Debug, Serialize)]
#[allow(missing_docs, reason = "a box says what it is")]
pub struct WindowMm {
    pub x: f64,
    pub y: f64,
    pub width: f64,
    pub height: f64,
}

/// A register mark.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct TicketMark {
    /// Always `disc`.
    pub shape: &'static str,
    /// Centre.
    pub x_mm: f64,
    /// Centre.
    pub y_mm: f64,
    /// Diameter.
    pub diameter_mm: f64,
    /// Clear zone around its edge.
    pub clear_mm: f64,
}

/// One physical sticker.
#[derive(Clone, Debug, Serialize)]
pub struct TicketPlacement {
    /// From 1 on each sheet.
    pub placement: u32,
    /// Null for fillers.
    pub order: Option<String>,
    /// The shop's line id.
    pub item: Option<String>,
    /// Copy number.
    pub copy: u32,
    /// `die_cut`, `kiss_cut`, `sticker_sheet`.
    pub product: &'static str,
    /// A shop's own sticker in an offcut.
    pub filler: bool,
    /// A spare copy.
    pub over: bool,
    /// Where the origin lands.
    pub x_mm: f64,
    /// Where the origin lands.
    pub y_mm: f64,
    /// Clockwise.
    pub rotation_deg: f64,
    /// Of the outermost line's box before rotation.
    pub width_mm: f64,
    /// Of the outermost line's box before rotation.
    pub height_mm: f64,
    /// Of the finished sticker.
    pub finished_width_mm: f64,
    /// Of the finished sticker.
    pub finished_height_mm: f64,
}

/// Lengths by kind of cut.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct CutLengthMm {
    /// Through the face.
    pub kiss: f64,
    /// Through face and liner.
    pub through: f64,
}

/// A file of the run.
#[derive(Clone, Debug, Serialize)]
pub struct FileEntry {
    /// Relative to the run.
    pub path: String,
    /// Its size.
    pub bytes: u64,
    /// SHA-256 in hexadecimal.
    pub sha256: String,
}

/// Attributes of the PWG 5100 series for whoever drives the printer.
#[derive(Clone, Debug, Serialize)]
#[serde(rename_all = "kebab-case")]
pub struct PrintSettings {
    /// Media name.
    pub media: String,
    /// Always `none`.
    pub print_scaling: &'static str,
    /// Always `high`.
    pub print_quality: &'static str,
    /// Always `one-sided`.
    pub sides: &'static str,
}

/// An order of the job.
#[derive(Clone, Debug, Serialize)]
pub struct TicketOrder {
    /// Its number.
    pub order: String,
    /// Nothing of it was set aside.
    pub complete: bool,
    /// Sheets that hold copies of it.
    pub sheets: Vec<u32>,
    /// Its lines.
    pub items: Vec<TicketItem>,
}

/// A line of an order.
#[derive(Clone, Debug, Serialize)]
pub struct TicketItem {
    /// The shop's line id.
    pub item: String,
    /// Copies ordered.
    pub quantity: u32,
    /// Copies placed.
    pub placed: u32,
    /// Copies set aside: `quantity` less `placed`.
    pub set_aside: u32,
    /// As ordered.
    pub tags: Vec<String>,
    /// Sheets that hold copies of it.
    pub sheets: Vec<u32>,
    /// Where each copy is.
    #[serde(rename = "where")]
    pub where_: Vec<Where>,
    /// Everything that preflight said.
    pub findings: Vec<Finding>,
}

/// Where a copy is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct Where {
    /// Copy number.
    pub copy: u32,
    /// Sheet.
    pub sheet: u32,
    /// Placement on the sheet.
    pub placement: u32,
}

/// What a run used.
#[derive(Clone, Debug, Serialize)]
pub struct Settings {
    /// Stocks by name, complete.
    pub stocks: BTreeMap<String, Value>,
    /// The policy.
    pub policy: Value,
}

/// Sums over the run.
#[derive(Clone, Copy, Debug, Default, Serialize)]
pub struct Totals {
    /// Sheets and lengths of roll.
    pub sheets: u32,
    /// Copies ordered.
    pub ordered: u32,
    /// Copies placed, without fillers and overs.
    pub placed: u32,
    /// Copies set aside.
    pub set_aside: u32,
    /// Fillers placed.
    pub fillers: u32,
    /// Spare copies placed.
    pub overs: u32,
    /// Placed area over window area; the last sheet of each stock counts to its used length.
    pub density: f64,
}

/// A number of millimetres, square millimetres or a share as the ticket writes it: to the millionth.
pub fn tidy(value: f64) -> f64 {
    (value * 1e6).round() / 1e6 + 0.0
}
