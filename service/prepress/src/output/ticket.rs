//! `ticket.json`, schema `ticket/1`: the machine-readable record of a run.
//!
//! Field names and meanings are the contract's; lengths are millimetres rounded to a millionth, y down, angles clockwise.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::Serialize;
use serde_json::Value;

use crate::finding::{Finding, SetAside};

/// Value of [`Ticket::schema`].
pub const SCHEMA: &str = "ticket/1";

/// The machine-readable record of a run: every copy of every order, where it is or why it is set aside.
///
/// Lengths are millimetres, areas square millimetres, angles degrees clockwise, densities and shares 0 to 1. On a sheet x
/// points right and y down from its top-left corner.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Ticket {
    /// Name and version of this schema.
    #[schemars(extend("const" = SCHEMA))]
    pub schema: &'static str,
    /// The run's name.
    pub run: String,
    /// Date or date and time (RFC 3339) as the job gave it.
    pub date: Option<String>,
    /// Amount of work that went into the layout, as ordered.
    #[schemars(extend("enum" = ["draft", "standard", "thorough"]))]
    pub effort: &'static str,
    /// The time budget ended the improvement: another run may give other bytes.
    pub stopped_early: bool,
    /// Seed of every random choice, as ordered.
    pub seed: u64,
    /// Every sheet and length of roll.
    pub sheets: Vec<TicketSheet>,
    /// Files outside the sheets' folders, this one apart.
    pub files: Vec<FileEntry>,
    /// Every order of the job, those set aside too.
    pub orders: Vec<TicketOrder>,
    /// What was set aside, with the findings that say why.
    pub set_aside: Vec<SetAside>,
    /// The settings that were used.
    pub settings: Settings,
    /// Sums.
    pub totals: Totals,
}

/// One sheet, or one length of roll.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct TicketSheet {
    /// Its number, from 1.
    #[schemars(range(min = 1))]
    pub sheet: u32,
    /// Name of its stock.
    pub stock: String,
    /// Its folder in the run, like `sheet-001`.
    pub folder: String,
    /// Width as it enters the printer.
    pub width_mm: f64,
    /// Height as it enters the printer; on a roll, the length to cut off.
    pub height_mm: f64,
    /// Inside it stand all cut lines and bleeds.
    pub window_mm: WindowMm,
    /// Register marks, in order of the feed.
    pub marks: Vec<TicketMark>,
    /// Every sticker that stands on it.
    pub placements: Vec<TicketPlacement>,
    /// Area inside the outermost lines, holes not subtracted.
    pub placed_area_mm2: f64,
    /// Area of the window.
    pub window_area_mm2: f64,
    /// Placed area over window area, 0 to 1.
    pub density: f64,
    /// From the window's feed side to the farthest outermost line.
    pub used_length_mm: f64,
    /// Length that the blade cuts.
    pub cut_length_mm: CutLengthMm,
    /// Every file of the folder.
    pub files: Vec<FileEntry>,
    /// For the printer, in IPP words.
    pub print_settings: PrintSettings,
}

/// The part of a sheet that stickers may use, in the sheet's millimetres.
#[derive(Clone, Copy, Debug, Serialize, JsonSchema)]
pub struct WindowMm {
    /// Left edge.
    pub x: f64,
    /// Upper edge.
    pub y: f64,
    /// Width.
    pub width: f64,
    /// Height.
    pub height: f64,
}

/// A register mark.
#[derive(Clone, Copy, Debug, Serialize, JsonSchema)]
pub struct TicketMark {
    /// Its shape.
    #[schemars(extend("enum" = ["disc"]))]
    pub shape: &'static str,
    /// Its centre, from the sheet's left edge.
    pub x_mm: f64,
    /// Its centre, from the sheet's upper edge.
    pub y_mm: f64,
    /// Diameter of the disc.
    pub diameter_mm: f64,
    /// Zone around its edge that is free of any other ink.
    pub clear_mm: f64,
}

/// One physical sticker (of a sticker sheet: one page) on its sheet.
///
/// Its origin is the centre of its outermost cut line's bounding box before rotation; rotation 0 is the picture upright.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct TicketPlacement {
    /// Its number, from 1 on each sheet.
    #[schemars(range(min = 1))]
    pub placement: u32,
    /// Its order; null for a filler.
    pub order: Option<String>,
    /// The shop's line id; null for an order's tag.
    pub item: Option<String>,
    /// Its copy number, from 1; an over's goes on after the quantity.
    pub copy: u32,
    /// What is made.
    #[schemars(extend("enum" = ["die_cut", "kiss_cut", "sticker_sheet"]))]
    pub product: &'static str,
    /// It is the shop's own, in an offcut.
    pub filler: bool,
    /// It is a spare copy.
    pub over: bool,
    /// Where its origin lands, from the sheet's left edge.
    pub x_mm: f64,
    /// Where its origin lands, from the sheet's upper edge.
    pub y_mm: f64,
    /// How far it is turned, degrees clockwise.
    pub rotation_deg: f64,
    /// Width of the outermost line's box before rotation.
    pub width_mm: f64,
    /// Height of the outermost line's box before rotation.
    pub height_mm: f64,
    /// Width of the finished sticker (kiss cut: of the kiss cut).
    pub finished_width_mm: f64,
    /// Height of the finished sticker (kiss cut: of the kiss cut).
    pub finished_height_mm: f64,
}

/// Lengths by kind of cut, in millimetres.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, JsonSchema)]
pub struct CutLengthMm {
    /// Kiss cuts: through the face, not the liner.
    pub kiss: f64,
    /// Through cuts: through face and liner.
    pub through: f64,
}

/// A file of the run.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct FileEntry {
    /// Relative to the run's folder.
    pub path: String,
    /// Its size in bytes.
    pub bytes: u64,
    /// SHA-256 of its bytes, in hexadecimal.
    #[schemars(regex(pattern = r"^[0-9a-f]{64}$"))]
    pub sha256: String,
}

/// IPP attributes (RFC 8011 and the PWG 5100 series) for whoever drives the printer.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct PrintSettings {
    /// Media name of PWG 5101.1; `custom_<stock>_WxHmm` for other sizes, W across the feed.
    pub media: String,
    /// Never scaled.
    #[schemars(extend("enum" = ["none"]))]
    pub print_scaling: &'static str,
    /// The best there is.
    #[schemars(extend("enum" = ["high"]))]
    pub print_quality: &'static str,
    /// On one side.
    #[schemars(extend("enum" = ["one-sided"]))]
    pub sides: &'static str,
}

/// An order of the job.
#[derive(Clone, Debug, Serialize, JsonSchema)]
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
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct TicketItem {
    /// The shop's line id.
    pub item: String,
    /// Copies ordered.
    pub quantity: u32,
    /// Copies placed.
    pub placed: u32,
    /// Copies set aside: always `quantity` less `placed`.
    pub set_aside: u32,
    /// Words to find it by, as ordered.
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
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
pub struct Where {
    /// Its copy number.
    pub copy: u32,
    /// Number of its sheet.
    pub sheet: u32,
    /// Number of its placement on that sheet.
    pub placement: u32,
}

/// The settings that a run used.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[schemars(rename = "RunSettings")]
pub struct Settings {
    /// Stocks by name, complete.
    pub stocks: BTreeMap<String, Value>,
    /// The policy; fillers by their ids.
    pub policy: Value,
    /// From which measures on preflight said something, by the names of the shop's settings.
    pub preflight: BTreeMap<&'static str, f64>,
}

/// Sums over the run.
#[derive(Clone, Copy, Debug, Default, Serialize, JsonSchema)]
pub struct Totals {
    /// Sheets and lengths of roll.
    pub sheets: u32,
    /// Copies ordered.
    pub ordered: u32,
    /// Copies placed, without fillers, overs and tags.
    pub placed: u32,
    /// Copies set aside.
    pub set_aside: u32,
    /// Fillers placed.
    pub fillers: u32,
    /// Spare copies placed.
    pub overs: u32,
    /// Placed area over window area, 0 to 1; the last sheet of each stock counts to its used length.
    pub density: f64,
}

/// A number of millimetres, square millimetres or a share as the ticket writes it: to the millionth.
pub fn tidy(value: f64) -> f64 {
    (value * 1e6).round() / 1e6 + 0.0
}
