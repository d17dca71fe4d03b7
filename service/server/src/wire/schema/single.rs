//! Requests about one sticker: preflight, proof, estimate.

use quoin_prepress::order::View;
use serde_json::{Value, json};

use super::super::inquiry::GROUNDS;
use super::super::range;
use super::field::{Field, object, with_rules};

fn of_every() -> Vec<(&'static str, Field)> {
    let stock =
        "The stock it is for: an object, or the name of a configured one. Required unless just one is configured.";
    vec![("item", Field::refer("SingleItem", "The sticker.")), ("stock", Field::refer("StockChoice", stock).optional())]
}

/// The body of a preflight.
pub(super) fn preflight() -> Value {
    object("What is to be checked.", &["item"], of_every())
}

/// The body of a proof.
pub(super) fn proof() -> Value {
    let mut properties = of_every();
    properties.push(("view", Field::refer("View", "How the proof is drawn.").optional()));
    object("What is to be drawn.", &["item"], properties)
}

/// The body of an estimate.
pub(super) fn estimate() -> Value {
    let mut properties = of_every();
    let quantity = json!({"type": "integer", "minimum": range::QUANTITY.least, "maximum": range::QUANTITY.most});
    let description = "Quantities to lay out, each by itself. Left out: the item's quantity.";
    properties
        .push(("quantities", Field::list(&quantity, 1, description).with("maxItems", range::QUANTITIES).optional()));
    let sized = json!({
        "if": {"properties": {"item": {"not": {"properties": {"product": {"const": "sticker_sheet"}}, "required": ["product"]}}}},
        "then": {"properties": {"item": {"required": ["size"]}}},
    });
    with_rules(object("What is to be priced.", &["item"], properties), vec![sized])
}

/// `view` of a proof.
pub(super) fn view() -> Value {
    let built_in = View::default();
    let longest = "Longest side of the whole picture, margin included; ignored for SVG.";
    let ground = GROUNDS.iter().find(|(_, ground)| *ground == built_in.ground).map_or("neutral", |(word, _)| word);
    object(
        "How a proof is drawn.",
        &[],
        vec![
            ("ground", Field::word(&GROUNDS, "What the sticker lies on.").or(ground)),
            ("cut_line", Field::flag("Whether the cut lines are drawn.").or(built_in.cut_line)),
            ("longest_px", Field::whole(&range::PROOF_PX, longest).or(built_in.longest_px).with("x-unit", "px")),
        ],
    )
}
