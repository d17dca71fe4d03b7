//! A stock and how printer and cutter take it. Its defaults are those of the built-in stock itself.

use quoin_prepress::order::{Form, Stock};
use quoin_prepress::output::settings;
use quoin_prepress::units::Mm;
use serde_json::{Value, json};

use super::super::stock::{COLOURS, CUT_LINES, DEFAULT_ROLL_LENGTH, FACES, FEED_EDGES, LABELS};
use super::super::{ids, marks, range};
use super::field::{Field, object, refer};
use super::outline::colour;

/// The built-in stock as answers write it: every default stands there.
pub(super) fn built_in() -> Value {
    let form = Form::Sheet { width: Mm::of(210.0), height: Mm::of(297.0), media: None };
    settings::stock(&Stock::with_defaults("built-in", form))
}

/// A value of the built-in stock.
fn default_of(built_in: &Value, pointer: &str) -> Value {
    built_in.pointer(pointer).cloned().unwrap_or(Value::Null)
}

/// A stock in a request: described, or the name of a configured one.
pub(super) fn stock_choice() -> Value {
    let name = json!({
        "type": "string", "minLength": 1, "maxLength": ids::ID_MAX_CHARS, "pattern": ids::FILE_NAME_PATTERN,
        "description": "Name of a stock that the shop configured (`GET /v1/stocks`).",
    });
    json!({"description": "A stock: an object, or the name of a configured one.", "anyOf": [name, refer("Stock")]})
}

/// A stock as an object.
pub(super) fn stock() -> Value {
    let built_in = &built_in();
    let mut properties = of_the_machines(built_in);
    properties.extend(of_the_print(built_in));
    object(
        "A printable self-adhesive material and how printer and cutter take it. An object with the name of a configured stock \
         starts from that one (merged as by JSON Merge Patch, RFC 7396; `form`, `margins_mm`, `unprintable_mm` and \
         `register_marks` are replaced whole). Margins bound the window: cut lines and all printed bleed stay inside.",
        &["stock"],
        properties,
    )
}

fn of_the_machines(built_in: &Value) -> Vec<(&'static str, Field)> {
    let or = |field: Field, pointer: &str| field.or(default_of(built_in, pointer));
    let form = "Sheet or roll. Required unless a configured stock has this name.";
    let margins = "Around the window; roll: top and bottom are leader and trailer of each length cut off. At least \
                   `unprintable_mm`, with register marks `unprintable_mm` and a mark's diameter. A side left out is 16.";
    let unprintable = "The printer's own edge, where it cannot print: one number, or a length for each side.";
    let sides = json!({"anyOf": [
        {"type": "number", "minimum": range::MARGIN.least, "maximum": range::MARGIN.most}, refer("Sides")]});
    let marks = "Printed discs that the cutter reads, or `none`.";
    let none: Vec<&str> = marks::NO_MARKS.iter().map(|(word, ())| *word).collect();
    let choice = json!({"anyOf": [{"type": "string", "enum": none}, refer("RegisterMarks")]});
    vec![
        ("stock", Field::text(1, ids::ID_MAX_CHARS, ids::FILE_NAME_PATTERN, "Its name.")),
        ("form", Field::refer("Form", form).optional()),
        ("margins_mm", or(Field::refer("Sides", margins), "/margins_mm")),
        ("unprintable_mm", Field::schema(sides, unprintable).optional().with("default", 4.0).with("x-unit", "mm")),
        (
            "feed_edge",
            or(Field::word(&FEED_EDGES, "Enters printer and cutter first. Roll: `top` or `bottom`."), "/feed_edge"),
        ),
        ("gutter_mm", or(Field::number(&range::GUTTER, GUTTER), "/gutter_mm")),
        ("bleed_mm", or(Field::number(&range::BLEED, "How far print reaches past the cut."), "/bleed_mm")),
        ("register_marks", or(Field::schema(choice, marks), "/register_marks")),
        ("cutting", Field::refer("Cutting", "What blade and peeling hand ask for.").optional()),
        ("available", at_hand()),
        ("start_offset_mm", start_offset()),
    ]
}

const GUTTER: &str = "Least distance between the outermost cut lines of neighbours. Under twice the bleed, printed bleeds are \
                      clipped on the middle line (`bleed.clipped`).";

fn at_hand() -> Field {
    let description = "What a run may take: whole sheets, or millimetres of roll with leader and trailer of each length. What \
                       does not fit is set aside (`stock.short`), copies of orders with a later `due` first, those without one \
                       before them, and fillers are left out. Preflight, proofs and estimates do not look at it. Null: enough.";
    Field::number(&range::AT_HAND, description).or(Value::Null)
}

fn start_offset() -> Field {
    let description = "Length of the first sheet that is already used, from the feed edge.";
    let number = json!({"type": "number", "minimum": 0, "x-unit": "mm"});
    Field::schema(number, description).or(0.0).not_yet(true)
}

fn of_the_print(built_in: &Value) -> Vec<(&'static str, Field)> {
    let or = |field: Field, pointer: &str| field.or(default_of(built_in, pointer));
    let finish = "For the people at the machine: \"removable, gloss laminate\". Stands on label and pick list.";
    let colour = "`rgb`: sRGB for a desktop driver. `cmyk`: through the coated output profile, PDF/X-4; a proof then shows what \
                  its inks show, and preflight tells colours outside their gamut (`colour.gamut`) and too much ink \
                  (`colour.ink`).";
    let cut_lines = "`separations`: every cut line is stroked in a spot colour named like its layer.";
    let ppi = Field::number(&range::PRINT_PPI, "Resolution of printed pictures.").with("x-unit", "ppi");
    vec![
        ("face", or(Field::word(&FACES, "The printed side; `clear` and `metallic` take white ink."), "/face")),
        ("finish", or(Field::text(0, range::FINISH_CHARS, ids::PLAIN_PATTERN, finish), "/finish")),
        ("label", or(Field::word(&LABELS, "Label and scale bars; `none` prints neither."), "/label")),
        ("cut_lines_in_print", or(Field::word(&CUT_LINES, cut_lines), "/cut_lines_in_print")),
        (
            "layers",
            Field::refer("Layers", "Names and colours of layers, as the shop's cutter expects them.").optional(),
        ),
        ("colour", or(Field::word(&COLOURS, colour), "/colour").not_yet_in_runs(&["cmyk"])),
        ("print_ppi", or(ppi, "/print_ppi")),
        ("print_scale", Field::refer("PrintScale", "Measured correction of a printer that prints short.").optional()),
        ("underbase", Field::refer("Underbase", "How white ink lies under colours.").optional()),
    ]
}

/// `form`.
pub(super) fn form() -> Value {
    let mut schema = object(
        "Exactly one of `sheet` and `roll`.",
        &[],
        vec![("sheet", Field::refer("SheetForm", "Cut sheets.")), ("roll", Field::refer("RollForm", "A roll."))],
    );
    schema["oneOf"] = json!([{"required": ["sheet"]}, {"required": ["roll"]}]);
    schema
}

/// `form.sheet`.
pub(super) fn sheet() -> Value {
    let side = |what: &str| Field::number(&range::MEDIA_SIDE, what);
    let mut schema = object(
        "Cut sheets as they enter the printer: a `size` by name, or `width_mm` and `height_mm`.",
        &[],
        vec![("size", media_name()), ("width_mm", side("Width.")), ("height_mm", side("Height."))],
    );
    schema["oneOf"] = json!([{"required": ["size"]}, {"required": ["width_mm", "height_mm"]}]);
    schema
}

/// Self-describing media names of PWG 5101.1: class, name, width x height and unit.
pub(super) const MEDIA_PATTERN: &str =
    "^(asme|custom|disc|iso|jis|jpn|na|oe|om|prc|roc|roll)_[a-z0-9.-]+_[0-9][0-9.]*x[0-9][0-9.]*(in|mm)$";

fn media_name() -> Field {
    let description = "Self-describing media name of PWG 5101.1, upright as such names are: `na_letter_8.5x11in`, \
                       `iso_a3_297x420mm`.";
    Field::pattern(MEDIA_PATTERN, description)
}

/// `form.roll`.
pub(super) fn roll() -> Value {
    let side = |what: &str| Field::number(&range::MEDIA_SIDE, what);
    let section = "From one row of corner marks to the next; null: one section.";
    object(
        "A roll.",
        &["width_mm"],
        vec![
            ("width_mm", side("Across the feed.")),
            (
                "max_length_mm",
                side("Longest length cut off, leader and trailer included.").or(DEFAULT_ROLL_LENGTH.mm()),
            ),
            ("section_length_mm", side(section).or(Value::Null)),
        ],
    )
}

/// `margins_mm` and `unprintable_mm`.
pub(super) fn sides() -> Value {
    let side = |what: &str| Field::number(&range::MARGIN, what).optional();
    object(
        "A length for each side.",
        &[],
        vec![
            ("top", side("Top side.")),
            ("right", side("Right side.")),
            ("bottom", side("Bottom side.")),
            ("left", side("Left side.")),
        ],
    )
}

/// `register_marks` as an object.
pub(super) fn register_marks() -> Value {
    let coordinate = json!({"type": "number", "minimum": range::MARK_PLACE.least, "maximum": range::MARK_PLACE.most});
    let centre = json!({"type": "array", "items": coordinate, "minItems": 2, "maxItems": 2});
    let at = "Centres [x, y] of the discs from the sheet's top-left corner in millimetres, as the cutter's handbook asks \
              (roll: within each section). Null: five of our own.";
    let clear = "Zone around a disc's edge that stays free of any other ink.";
    object(
        "Equal black discs that the cutter reads.",
        &[],
        vec![
            ("shape", Field::word(&marks::SHAPES, "Shape of a mark.").or("disc")),
            ("diameter_mm", Field::number(&range::MARK_DIAMETER, "Diameter of a disc.").or(5.0)),
            ("clear_mm", Field::number(&range::MARK_CLEAR, clear).or(3.0)),
            ("at", Field::list(&centre, 1, at).with("maxItems", range::MARKS).or(Value::Null).with("x-unit", "mm")),
        ],
    )
}

/// `layers`.
pub(super) fn layers() -> Value {
    let built_in = &built_in();
    let layer =
        |what: &str, name: &str| Field::refer("Layer", what).or(default_of(built_in, &format!("/layers/{name}")));
    object(
        "The three layers. Equal, colliding (`Marks`, `p1-…`) or reserved names (`All`, `None`, a process colour) are refused.",
        &[],
        vec![
            ("kiss", layer("Kiss cuts.", "kiss")),
            ("through", layer("Through cuts.", "through")),
            ("white", layer("White ink.", "white")),
        ],
    )
}

/// One of the layers.
pub(super) fn layer() -> Value {
    let name = "Name of the separation in print.pdf and of the group in cut.svg; at most 127 bytes of UTF-8.";
    object(
        "A layer: what it is called, and its colour on screen.",
        &[],
        vec![
            ("name", Field::text(1, range::LAYER_BYTES, ids::PLAIN_PATTERN, name).optional()),
            ("colour", colour("Its colour on screen, `#rrggbb`.").optional()),
        ],
    )
}

/// `print_scale`.
pub(super) fn print_scale() -> Value {
    let scale = |what: &str| {
        let number = json!({"type": "number", "exclusiveMinimum": 0});
        Field::schema(number, what).or(1.0).not_yet(true)
    };
    object(
        "Measured correction of a printer that prints short or long: the print is scaled about the sheet's centre.",
        &[],
        vec![("x", scale("Across.")), ("y", scale("Along."))],
    )
}

/// `cutting`.
pub(super) fn cutting() -> Value {
    let built_in = &built_in();
    let length = |name: &'static str, range: &range::Range, what: &str| {
        (name, Field::number(range, what).or(default_of(built_in, &format!("/cutting/{name}"))))
    };
    let nick = json!({"type": "number", "minimum": 0, "x-unit": "mm"});
    let nick_text = "Through cuts stay open, their ends this far apart, so that nothing drops out. Null: closed.";
    object(
        "What the blade and the peeling hand ask for.",
        &[],
        vec![
            length("minimum_width_mm", &range::MINIMUM_WIDTH, "No place of a sticker is narrower."),
            length(
                "bridge_reach_mm",
                &range::BRIDGE_REACH,
                "Longest bridge to a floating part. Null: 2 x border + 4 mm.",
            ),
            length("inside_radius_mm", &range::CUTTING_RADIUS, "Tightest radius of inside corners."),
            length("outside_radius_mm", &range::CUTTING_RADIUS, "Tightest radius of outside corners."),
            length(
                "speck_mm",
                &range::SPECK,
                "Specks smaller across are printed where they fall inside, but move no line.",
            ),
            ("nick_mm", Field::schema(nick, nick_text).or(Value::Null).not_yet(true)),
        ],
    )
}

/// `underbase`.
pub(super) fn underbase() -> Value {
    let built_in = &built_in();
    let choke = "How far white is drawn back where its edge meets bare stock inside the cut.";
    object(
        "How white ink lies under colours, on clear and metallic stock.",
        &[],
        vec![
            ("choke_mm", Field::number(&range::CHOKE, choke).or(default_of(built_in, "/underbase/choke_mm"))),
            (
                "threshold",
                Field::number(&range::THRESHOLD, "Alpha from which white is printed.")
                    .or(default_of(built_in, "/underbase/threshold")),
            ),
        ],
    )
}
