//! A sticker sheet: its page, its pieces, what fills its gaps.

use serde_json::{Value, json};

use super::super::page::FILLS;
use super::super::{ids, range};
use super::field::{Field, object};
use super::outline::{self, Written};

/// `page`.
pub(super) fn page(written: Written) -> Value {
    let least = range::SPACING.at_least(range::PAGE_GAP_LEAST_MM);
    let gap = "Gap between kiss-cut lines. Left out: the larger of 2 mm and twice the stock's bleed. To the page's edge the \
               largest of gap, 2 mm and twice the bleed is kept.";
    let required: &[&str] = if written == Written::Own { &["width_mm", "height_mm"] } else { &[] };
    let length = |what: &str| {
        let field = Field::number(&range::ORDERED, what);
        if written == Written::Own { field } else { field.optional() }
    };
    object(
        "The page of a sticker sheet: one through cut around all pieces.",
        required,
        vec![
            ("width_mm", length("Width of the page.")),
            ("height_mm", length("Height of the page.")),
            ("corner_radius_mm", outline::corner_radius("Radius of the page's corners.")),
            ("gap_mm", Field::number(&least, gap).optional()),
        ],
    )
}

/// An element of `pieces`.
pub(super) fn piece() -> Value {
    object(
        "One kind of sticker on a sticker sheet. What a piece leaves out of `outline`, `backdrop`, `white` and `accept` it \
         takes from its item.",
        &["piece", "art", "size"],
        vec![
            ("piece", id("The piece's id, unique on its page.")),
            ("art", Field::refer("Art", "The picture.")),
            ("size", Field::refer("Size", "Finished size.")),
            ("copies", Field::whole(&range::PIECE_COPIES, "Copies at full size on each page.").or(1)),
            ("outline", Field::refer("Outline", "Outline; left out: the item's.").optional()),
            ("backdrop", Field::refer("Backdrop", "Backdrop; left out: the item's.").optional()),
            ("white", from_item(outline::white())),
            ("accept", from_item(outline::accept())),
        ],
    )
}

/// Left out, these come from the item and not from what is built in.
fn from_item(field: Field) -> Field {
    field.without_default("Left out: the item's.")
}

/// An id or a tag.
pub(super) fn id(description: &str) -> Field {
    Field::text(1, ids::ID_MAX_CHARS, ids::PLAIN_PATTERN, description)
}

/// `fill`.
pub(super) fn fill() -> Value {
    let smallest = "Longest side of the smallest copy; required with `smaller_copies`, refused with `none`.";
    let mut schema = object(
        "What fills the gaps of a sticker sheet once every piece stands on it.",
        &["with"],
        vec![
            ("with", Field::word(&FILLS, "`smaller_copies`: smaller copies of the pieces, until the page looks full.")),
            ("smallest_mm", Field::number(&range::ORDERED, smallest)),
        ],
    );
    schema["if"] = json!({"properties": {"with": {"const": "smaller_copies"}}});
    schema["then"] = json!({"required": ["smallest_mm"]});
    schema["else"] = json!({"properties": {"smallest_mm": false}});
    schema
}
