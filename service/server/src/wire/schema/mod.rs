//! The schemas of requests (JSON Schema 2020-12), built from the lists and ranges that the readers use.
//!
//! A test walks every property and holds reader and schema against each other.

mod art;
mod complete;
mod field;
mod item;
mod job;
mod outline;
mod page;
mod single;
mod stock;
#[cfg(test)]
mod tests;

use std::collections::BTreeMap;

use serde_json::Value;

pub(crate) use complete::{complete_item, complete_policy, complete_stock};
use item::Kind;
use outline::Written;

/// Every schema of a request, by its name in the document.
pub(crate) fn requests() -> BTreeMap<&'static str, Value> {
    BTreeMap::from([
        ("Art", art::art()),
        ("Size", art::size()),
        ("Outline", outline::outline(Written::Own)),
        ("OutlineDefaults", outline::outline(Written::Defaults)),
        ("Backing", outline::backing(Written::Own)),
        ("BackingDefaults", outline::backing(Written::Defaults)),
        ("Backdrop", outline::backdrop()),
        ("Page", page::page(Written::Own)),
        ("PageDefaults", page::page(Written::Defaults)),
        ("Piece", page::piece()),
        ("Fill", page::fill()),
        ("Item", item::item(Kind::Ordered)),
        ("Filler", item::item(Kind::Filler)),
        ("ItemDefaults", item::item(Kind::Defaults)),
        ("SingleItem", item::item(Kind::Single)),
        ("StockChoice", stock::stock_choice()),
        ("Stock", stock::stock()),
        ("Form", stock::form()),
        ("SheetForm", stock::sheet()),
        ("RollForm", stock::roll()),
        ("Sides", stock::sides()),
        ("RegisterMarks", stock::register_marks()),
        ("Layers", stock::layers()),
        ("Layer", stock::layer()),
        ("PrintScale", stock::print_scale()),
        ("Cutting", stock::cutting()),
        ("Underbase", stock::underbase()),
        ("GangJob", job::gang_job()),
        ("Order", job::order()),
        ("Policy", job::policy()),
        ("PreflightRequest", single::preflight()),
        ("ProofRequest", single::proof()),
        ("EstimateRequest", single::estimate()),
        ("View", single::view()),
    ])
}

/// The fields of an object in the order of its reader's list, which is the contract's.
pub(crate) fn fields(schema: &str) -> Option<&'static [&'static str]> {
    use super::{inquiry, item, job, marks, outline, page, policy, stock};
    let fields: &'static [&'static str] = match schema {
        "Art" => &super::art::ART_FIELDS,
        "Size" => &outline::SIZE_FIELDS,
        "Outline" | "OutlineDefaults" => &outline::OUTLINE_FIELDS,
        "Backing" | "BackingDefaults" => &outline::BACKING_FIELDS,
        "Backdrop" => &outline::BACKDROP_FIELDS,
        "Page" | "PageDefaults" => &page::PAGE_FIELDS,
        "Piece" => &page::PIECE_FIELDS,
        "Fill" => &page::FILL_FIELDS,
        "Item" | "ItemDefaults" => &item::ITEM_FIELDS,
        "SingleItem" => &item::INQUIRED_FIELDS,
        "Filler" => &item::FILLER_FIELDS,
        "Stock" => &stock::FIELDS,
        "Form" => &stock::FORM_FIELDS,
        "SheetForm" => &stock::SHEET_FIELDS,
        "RollForm" => &stock::ROLL_FIELDS,
        "Sides" => &stock::SIDE_FIELDS,
        "RegisterMarks" => &marks::FIELDS,
        "Layers" => &stock::LAYERS_FIELDS,
        "Layer" => &stock::LAYER_FIELDS,
        "PrintScale" => &stock::SCALE_FIELDS,
        "Cutting" => &stock::CUTTING_FIELDS,
        "Underbase" => &stock::UNDERBASE_FIELDS,
        "GangJob" => &job::JOB_FIELDS,
        "Order" => &job::ORDER_FIELDS,
        "Policy" => &policy::POLICY_FIELDS,
        "PreflightRequest" => &inquiry::PREFLIGHT_FIELDS,
        "ProofRequest" => &inquiry::PROOF_FIELDS,
        "EstimateRequest" => &inquiry::ESTIMATE_FIELDS,
        "View" => &inquiry::VIEW_FIELDS,
        _ => return None,
    };
    Some(fields)
}
