//! How a picture becomes a sticker.

use serde_json::{Value, json};

use super::super::outline::{ACCEPTABLE, ART_FITS, PARTS, REMOVALS, SHAPES, WHITES};
use super::super::{ids, range};
use super::field::{Field, object, with_rules, without};

/// Shapes without corners to round.
const NO_CORNERS: [&str; 4] = ["contour", "rectangle", "circle", "ellipse"];

/// Shapes other than the contour.
const GEOMETRIC: [&str; 4] = ["rectangle", "rounded_rectangle", "circle", "ellipse"];

/// Whether a schema is for an item itself, or for the defaults of a job, where nothing is required and where what a shape
/// or product does not have is ignored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Written {
    /// In the item or piece.
    Own,
    /// In `defaults`.
    Defaults,
}

/// A colour.
pub(super) fn colour(description: &str) -> Field {
    Field::pattern(ids::COLOUR_PATTERN, description)
}

/// `corner_radius_mm` wherever it stands.
pub(super) fn corner_radius(description: &str) -> Field {
    Field::number(&range::CORNER_RADIUS, description).or(3.0)
}

/// `outline`.
pub(super) fn outline(written: Written) -> Value {
    let schema = object(
        "The outline of a sticker: its shape, its border, and what happens to holes and floating parts.",
        &[],
        vec![
            ("shape", Field::word(&SHAPES, "Shape of the cut line; `contour` follows the art.").or("contour")),
            (
                "border_mm",
                Field::number(&range::BORDER, "Solid border between art and cut line; 0 cuts in the art itself.")
                    .or(3.0),
            ),
            ("border_colour", colour("Colour of the border, sRGB as `#rrggbb`.").or("#ffffff")),
            ("corner_radius_mm", corner_radius("Radius of the corners; shape `rounded_rectangle` only.")),
            ("art_fit", art_fit()),
            ("keep_holes_wider_than_mm", holes()),
            ("parts", parts()),
        ],
    );
    if written == Written::Defaults {
        return schema;
    }
    let cover_a_contour = json!({"properties": {"art_fit": {"const": "cover"}, "shape": {"const": "contour"}},
                                 "required": ["art_fit", "shape"]});
    let rules = vec![
        without("shape", &NO_CORNERS, &["corner_radius_mm"]),
        without("shape", &GEOMETRIC, &["keep_holes_wider_than_mm"]),
        json!({"not": cover_a_contour}),
    ];
    with_rules(schema, rules)
}

fn art_fit() -> Field {
    let description = "`contain`: all of the art inside, border kept. `cover` (not for a contour): the art fills the shape \
                       less the border and is cropped by it; the backdrop is then kept unless `backdrop.remove` is \
                       `always`.";
    Field::word(&ART_FITS, description).or("contain")
}

fn holes() -> Field {
    let description = "Contour only: a hole whose largest inscribed circle, after the border has grown into it, is wider \
                       than this is cut out. Null: holes are filled.";
    Field::number(&range::HOLE, description).or(Value::Null)
}

fn parts() -> Field {
    let description = "Floating parts that neither border nor bridge reaches. `join` and `set_aside`: the sticker is \
                       rejected (`shape.parts`), with `set_aside` without bridging first. `separate`: each part gets a cut \
                       line of its own, under one placement.";
    Field::word(&PARTS, description).or("join")
}

/// `backing`.
pub(super) fn backing(written: Written) -> Value {
    let least = range::SPACING.at_least(range::BACKING_MARGIN_LEAST_MM);
    let margin = "Distance from the kiss cut to the through cut. Not under twice the stock's bleed; left out: the larger of \
                  4 mm and twice the bleed.";
    let schema = object(
        "The through cut around a kiss-cut sticker, and what is printed there.",
        &[],
        vec![
            ("shape", Field::word(&SHAPES, "Shape of the through cut.").or("rounded_rectangle")),
            ("margin_mm", Field::number(&least, margin).optional()),
            ("corner_radius_mm", corner_radius("Radius of the corners; shape `rounded_rectangle` only.")),
            ("colour", colour("Colour printed on the backing, `#rrggbb`. Null: unprinted stock.").or(Value::Null)),
        ],
    );
    if written == Written::Defaults {
        return schema;
    }
    with_rules(schema, vec![without("shape", &NO_CORNERS, &["corner_radius_mm"])])
}

/// `backdrop`.
pub(super) fn backdrop() -> Value {
    let remove =
        "Whether a plain backdrop of an opaque picture is taken away. `auto`: when it can be told apart for sure.";
    let tolerance = "How far a colour may be from the backdrop's and still count as backdrop: 100 x the Euclidean distance in \
                     OKLab.";
    object(
        "What is done with the backdrop of a picture without transparency.",
        &[],
        vec![
            ("remove", Field::word(&REMOVALS, remove).or("auto")),
            ("tolerance_delta_e", Field::number(&range::TOLERANCE, tolerance).or(3.5)),
        ],
    )
}

/// `white`.
pub(super) fn white() -> Field {
    let description = "Clear and metallic stock: what white ink is printed under. `all`: art, border and bleed.";
    Field::word(&WHITES, description).or("all")
}

/// `accept`.
pub(super) fn accept() -> Field {
    let description = "Codes of findings that are settled with the customer: their reject becomes a caution. An accepted \
                       `shape.parts` is cut as `separate`.";
    Field::list(&json!({"type": "string", "enum": ACCEPTABLE}), 0, description).or(json!([]))
}
