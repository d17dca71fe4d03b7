//! Requests about one sticker: preflight, proof, estimate.

use serde_json::{Value, json};

use super::super::range;
use super::field::{Field, object, with_rules};

/// The ground that a proof is drawn on.
const GROUNDS: [(&str, ()); 3] = [("neutral", ()), ("dark", ()), ("transparent", ())];

/// Longest side of a proof in pixels (the contract, section 1).
const LONGEST_PX: (u32, u32) = (1, 2000);

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
    properties.push(("quantities", Field::list(quantity, 1, description).optional()));
    let sized = json!({
        "if": {"properties": {"item": {"not": {"properties": {"product": {"const": "sticker_sheet"}}, "required": ["product"]}}}},
        "then": {"properties": {"item": {"required": ["size"]}}},
    });
    with_rules(object("What is to be priced.", &["item"], properties), vec![sized])
}

/// `view` of a proof.
pub(super) fn view() -> Value {
    let longest = json!({"type": "integer", "minimum": LONGEST_PX.0, "maximum": LONGEST_PX.1, "x-unit": "px"});
    object(
        "How a proof is drawn.",
        &[],
        vec![
            ("ground", Field::word(&GROUNDS, "What the sticker lies on.").or("neutral")),
            ("cut_line", Field::flag("Whether the cut lines are drawn.").or(true)),
            ("longest_px", Field::schema(longest, "Longest side of the whole picture; ignored for SVG.").or(1200)),
        ],
    )
}
