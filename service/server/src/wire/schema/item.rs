//! One line of an order, and the forms it takes in the other requests.

use serde_json::{Value, json};

use super::super::item::{PRODUCTS, ROTATIONS};
use super::super::{ids, range};
use super::field::{Field, object, with_rules, without};
use super::outline;
use super::page::id;

/// What kind of item a schema is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// An item of an order.
    Ordered,
    /// A shop's own sticker for offcuts.
    Filler,
    /// `defaults` of a gang job.
    Defaults,
    /// The item of a preflight, proof or estimate.
    Single,
}

/// An item.
pub(super) fn item(kind: Kind) -> Value {
    let required: &[&str] = match kind {
        Kind::Ordered => &["item"],
        Kind::Filler => &["item", "at_most"],
        Kind::Defaults | Kind::Single => &[],
    };
    let mut properties = vec![
        ("item", line_id(kind)),
        ("art", Field::refer("Art", art_description(kind)).optional()),
        ("size", Field::refer("Size", size_description(kind)).optional()),
        quantity(kind),
        ("product", Field::word(&PRODUCTS, PRODUCT).or("die_cut")),
        ("outline", Field::refer(named(kind, "Outline"), "Shape, border, holes, parts.").optional()),
        ("backing", Field::refer(named(kind, "Backing"), "`kiss_cut` only: the through cut around it.").optional()),
        ("backdrop", Field::refer("Backdrop", "Removal of a plain backdrop.").optional()),
        ("white", outline::white()),
        ("rotate", Field::word(&ROTATIONS, "How the sticker may be turned on the sheet.").or("free")),
        ("accept", outline::accept()),
        ("approved", approved()),
        ("tags", tags()),
        ("page", Field::refer(named(kind, "Page"), "`sticker_sheet` only, required there: its page.").optional()),
        ("pieces", pieces()),
        ("fill", Field::refer("Fill", "`sticker_sheet` only: what fills its gaps.").or(json!({"with": "none"}))),
    ];
    if kind != Kind::Single {
        properties.push(("stock", stock()));
    }
    with_rules(object(description(kind), required, properties), rules(kind))
}

/// What is made of an item.
const PRODUCT: &str = "`die_cut`: through cut on its outline. `kiss_cut`: kiss cut on its outline, through cut on a backing \
                       around it. `sticker_sheet`: many kiss-cut pieces on one through-cut page.";

fn description(kind: Kind) -> &'static str {
    match kind {
        Kind::Ordered => {
            "One line of an order. What it leaves out it takes from the job's `defaults` (merged as by JSON Merge Patch, RFC \
             7396: objects field by field, null restores the built-in value; `art`, `size`, `pieces` and `fill` are replaced \
             whole)."
        }
        Kind::Filler => {
            "A sticker of the shop's own that fills offcuts after all ordered copies are placed: it adds no sheet and no \
             length of roll. An item's fields, with `at_most` instead of `quantity`; the job's `defaults` apply."
        }
        Kind::Defaults => {
            "Fields of an item that count for every item of the job that does not say otherwise. What a shape or product does \
             not have is ignored there."
        }
        Kind::Single => "The sticker to look at: an item's fields without `stock`.",
    }
}

/// The schema of a part of an item; in defaults the laxer one.
fn named(kind: Kind, name: &'static str) -> &'static str {
    match (kind, name) {
        (Kind::Defaults, "Outline") => "OutlineDefaults",
        (Kind::Defaults, "Backing") => "BackingDefaults",
        (Kind::Defaults, "Page") => "PageDefaults",
        _ => name,
    }
}

fn line_id(kind: Kind) -> Field {
    match kind {
        Kind::Ordered => id("The shop's line id, unique in its order."),
        Kind::Filler => id("The filler's id, unique among the fillers."),
        Kind::Defaults | Kind::Single => id("The shop's line id; not needed here.").optional(),
    }
}

fn art_description(kind: Kind) -> &'static str {
    match kind {
        Kind::Ordered | Kind::Filler => "The picture. Required here or in `defaults`; a `sticker_sheet` has none.",
        Kind::Defaults => "The picture of every item that has none of its own.",
        Kind::Single => "The picture. Required; a `sticker_sheet` has none.",
    }
}

fn size_description(kind: Kind) -> &'static str {
    match kind {
        Kind::Ordered | Kind::Filler => "Finished size. Required here or in `defaults`; a `sticker_sheet` has none.",
        Kind::Defaults => "Finished size of every item that has none of its own.",
        Kind::Single => {
            "Finished size. Required for an estimate. Preflight and proof may leave it out: then resolution is not judged, \
             the measures say how large the picture can go, and a proof is drawn as if its longest side were 60 mm."
        }
    }
}

fn quantity(kind: Kind) -> (&'static str, Field) {
    match kind {
        Kind::Ordered => {
            let description = "Copies ordered. Required here or in `defaults`.";
            ("quantity", Field::whole(&range::QUANTITY, description).optional())
        }
        Kind::Filler => ("at_most", Field::whole(&range::QUANTITY, "Most copies of it in the whole run.")),
        Kind::Defaults => ("quantity", Field::whole(&range::QUANTITY, "Copies of each item.").optional()),
        Kind::Single => ("quantity", Field::whole(&range::QUANTITY, "Copies.").or(1)),
    }
}

fn approved() -> Field {
    let description = "The digest of the proof that the customer agreed to, 64 hexadecimal digits: when the sticker would now \
                       be another, the item is set aside (`proof.changed`).";
    Field::pattern(ids::DIGEST_PATTERN, description).or(Value::Null)
}

fn tags() -> Field {
    let tag = json!({"type": "string", "minLength": 1, "maxLength": ids::ID_MAX_CHARS, "pattern": ids::PLAIN_PATTERN});
    let description = "Words to find it by years later: in ticket and pick list.";
    Field::list(&tag, 0, description).with("maxItems", range::TAGS).or(json!([]))
}

fn pieces() -> Field {
    let description = "`sticker_sheet` only, required there: what stands on its page.";
    Field::list(&super::field::refer("Piece"), 1, description).with("maxItems", range::PIECES).optional()
}

fn stock() -> Field {
    let description = "Name of its stock. Left out: its order's, else that of `defaults`, else the job's only one.";
    Field::text(1, ids::ID_MAX_CHARS, ids::FILE_NAME_PATTERN, description).optional()
}

/// What belongs to which product.
fn rules(kind: Kind) -> Vec<Value> {
    if kind == Kind::Defaults {
        return Vec::new();
    }
    let mut rules = vec![
        without("product", &["die_cut"], &["backing", "page", "pieces", "fill"]),
        without("product", &["kiss_cut"], &["page", "pieces", "fill"]),
        without("product", &["sticker_sheet"], &["art", "size", "backing"]),
    ];
    if kind == Kind::Single {
        rules.push(json!({
            "if": {"properties": {"product": {"const": "sticker_sheet"}}, "required": ["product"]},
            "then": {"required": ["page", "pieces"]},
            "else": {"required": ["art"]},
        }));
    }
    rules
}
