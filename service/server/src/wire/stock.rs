//! A stock and how printer and cutter take it.

use quoin_prepress::fault::Fault;
use quoin_prepress::frame;
use quoin_prepress::order::{
    AtHand, CutLinesInPrint, Cutting, Face, FeedEdge, Form, LabelPlace, Layer, Layers, Margins, PrintColour, Stock,
    Underbase, media_size,
};
use quoin_prepress::units::{Mm, Ppi};
use serde_json::Value;

use super::configured::Configured;
use super::ids;
use super::marks;
use super::mistake::{MistakeCode, Mistakes};
use super::node::{Node, wrong_type};
use super::range;

/// Fields of a stock.
pub(super) const FIELDS: [&str; 20] = [
    "stock",
    "form",
    "margins_mm",
    "unprintable_mm",
    "feed_edge",
    "gutter_mm",
    "bleed_mm",
    "face",
    "finish",
    "register_marks",
    "label",
    "cut_lines_in_print",
    "layers",
    "colour",
    "print_ppi",
    "print_scale",
    "cutting",
    "underbase",
    "available",
    "start_offset_mm",
];

/// Fields of `form`: exactly one of them.
pub(super) const FORM_FIELDS: [&str; 2] = ["sheet", "roll"];

/// Fields of `form.sheet`.
pub(super) const SHEET_FIELDS: [&str; 3] = ["size", "width_mm", "height_mm"];

/// Fields of `form.roll`.
pub(super) const ROLL_FIELDS: [&str; 3] = ["width_mm", "max_length_mm", "section_length_mm"];

/// Fields of `margins_mm` and `unprintable_mm`.
pub(super) const SIDE_FIELDS: [&str; 4] = ["top", "right", "bottom", "left"];

/// Fields of `print_scale`.
pub(super) const SCALE_FIELDS: [&str; 2] = ["x", "y"];

/// Fields of `layers`.
pub(super) const LAYERS_FIELDS: [&str; 3] = ["kiss", "through", "white"];

/// Fields of a layer.
pub(super) const LAYER_FIELDS: [&str; 2] = ["name", "colour"];

/// Fields of `cutting`.
pub(super) const CUTTING_FIELDS: [&str; 6] =
    ["minimum_width_mm", "bridge_reach_mm", "inside_radius_mm", "outside_radius_mm", "speck_mm", "nick_mm"];

/// Fields of `underbase`.
pub(super) const UNDERBASE_FIELDS: [&str; 2] = ["choke_mm", "threshold"];

/// Words of `feed_edge`.
pub(super) const FEED_EDGES: [(&str, FeedEdge); 4] =
    [("top", FeedEdge::Top), ("right", FeedEdge::Right), ("bottom", FeedEdge::Bottom), ("left", FeedEdge::Left)];

/// Words of `face`.
pub(super) const FACES: [(&str, Face); 3] =
    [("white", Face::White), ("clear", Face::Clear), ("metallic", Face::Metallic)];

/// Words of `label`.
pub(super) const LABELS: [(&str, LabelPlace); 2] = [("margin", LabelPlace::Margin), ("none", LabelPlace::None)];

/// Words of `cut_lines_in_print`.
pub(super) const CUT_LINES: [(&str, CutLinesInPrint); 2] =
    [("none", CutLinesInPrint::None), ("separations", CutLinesInPrint::Separations)];

/// Words of `colour`. The second is refused by runs so far: see [`refuse_in_runs`].
pub(super) const COLOURS: [(&str, PrintColour); 2] = [("rgb", PrintColour::Rgb), ("cmyk", PrintColour::Cmyk)];

/// Longest length cut off a roll where nothing is said.
pub(super) const DEFAULT_ROLL_LENGTH: Mm = Mm::of(2000.0);

/// The name that an entry of `stocks` gives, whether or not the rest can be read.
pub(super) fn name_of<'a>(entry: &Node<'a>) -> Option<&'a str> {
    let value = entry.value()?;
    value.as_str().or_else(|| value.get("stock").and_then(Value::as_str))
}

/// Reads a stock of a request: the name of a configured one, or a description, which starts from the configured one of its
/// name where there is one.
pub(super) fn read_checked(entry: &Node<'_>, configured: &Configured, mistakes: &mut Mistakes) -> Option<Stock> {
    if let Some(Value::String(name)) = entry.value() {
        let found = configured.named(name).cloned();
        if found.is_none() {
            mistakes.add(MistakeCode::UnknownStock, &entry.pointer(), not_configured(name, configured));
        }
        return found;
    }
    if !entry.expect_object(mistakes) {
        return None;
    }
    let document = name_of(entry).and_then(|name| configured.document(name));
    let merged = document.map(|document| entry.over(&Node::new(entry.pointer(), document)));
    let before = mistakes.count();
    let stock = read_stock(merged.as_ref().unwrap_or(entry), mistakes)?;
    if mistakes.count() == before {
        check_stock(&stock, entry, merged.is_some(), mistakes);
    }
    Some(stock)
}

fn not_configured(name: &str, configured: &Configured) -> String {
    match configured.stocks() {
        [] => format!("no stock \"{name}\" is configured; describe it with `stock` and `form`"),
        _ => format!("no stock \"{name}\" is configured, but {}", configured.names()),
    }
}

/// Whether a sheet can be made of a stock at all: its layers can be told apart; its margins, marks and window agree. What
/// comes from a configured stock is no mistake of the request: the nearest thing that is written there is pointed at.
fn check_stock(stock: &Stock, entry: &Node<'_>, is_merged: bool, mistakes: &mut Mistakes) {
    let faults = frame::layers_fault(&stock.stock, &stock.layers).into_iter().chain(frame::lay_out(stock).err());
    for fault in faults {
        let (mut field, reason) = if let Fault::StockBroken { field, reason, .. } = &fault {
            (field.as_str(), reason.clone())
        } else {
            ("", fault.to_string())
        };
        let is_written = |field: &str| entry.value().is_some_and(|value| value.pointer(field).is_some());
        while is_merged && !is_written(field) {
            field = field.rsplit_once('/').map_or("", |(above, _)| above);
        }
        mistakes.add(MistakeCode::BrokenStock, &entry.pointer().below(field), reason);
    }
}

/// Reads a stock from what is said of it.
fn read_stock(entry: &Node<'_>, mistakes: &mut Mistakes) -> Option<Stock> {
    entry.only_fields(mistakes, &FIELDS);
    refuse_what_is_not_made_yet(entry, mistakes);
    for field in ["stock", "form"] {
        if entry.get(field).is_none() {
            entry.missing(mistakes, field);
        }
    }
    let name = entry.ruled_text(mistakes, "stock", ids::stock_name);
    let form = entry.choice("form").and_then(|form| read_form(&form, mistakes));
    // A stock without name or form is read all the same, so that the rest of its mistakes are told.
    let unsaid = Form::Sheet { width: Mm::ZERO, height: Mm::ZERO, media: None };
    let known = name.is_some() && form.is_some();
    let built_in = Stock::with_defaults(name.unwrap_or_default(), form.unwrap_or(unsaid));
    let stock = read_settings(entry, built_in, mistakes);
    known.then_some(stock)
}

/// What the entry says, over what is built in.
fn read_settings(entry: &Node<'_>, built_in: Stock, mistakes: &mut Mistakes) -> Stock {
    let is_roll = matches!(built_in.form, Form::Roll { .. });
    let finish = entry.ruled_text(mistakes, "finish", |text| ids::text(text, 0, range::FINISH_CHARS));
    Stock {
        margins: read_margins(entry, "margins_mm", built_in.margins, mistakes),
        unprintable: read_unprintable(entry, built_in.unprintable, mistakes),
        feed_edge: read_feed_edge(entry, is_roll, mistakes).unwrap_or(built_in.feed_edge),
        gutter: entry.length(mistakes, "gutter_mm", &range::GUTTER).unwrap_or(built_in.gutter),
        bleed: entry.length(mistakes, "bleed_mm", &range::BLEED).unwrap_or(built_in.bleed),
        face: entry.word(mistakes, "face", &FACES).unwrap_or(built_in.face),
        finish: finish.map_or(built_in.finish, str::to_owned),
        register_marks: marks::read_register_marks(entry, mistakes),
        label: entry.word(mistakes, "label", &LABELS).unwrap_or(built_in.label),
        cut_lines_in_print: entry
            .word(mistakes, "cut_lines_in_print", &CUT_LINES)
            .unwrap_or(built_in.cut_lines_in_print),
        layers: read_layers(entry, built_in.layers, mistakes),
        colour: entry.word(mistakes, "colour", &COLOURS).unwrap_or(built_in.colour),
        print_ppi: entry.number(mistakes, "print_ppi", &range::PRINT_PPI).map_or(built_in.print_ppi, Ppi::of),
        cutting: read_cutting(entry, built_in.cutting, mistakes),
        underbase: read_underbase(entry, built_in.underbase, mistakes),
        available: read_available(entry, is_roll, mistakes),
        stock: built_in.stock,
        form: built_in.form,
    }
}

/// Fields of the contract that have one value so far.
fn refuse_what_is_not_made_yet(entry: &Node<'_>, mistakes: &mut Mistakes) {
    let is_zero = |value: &Value| value.as_f64().is_some_and(|number| number.abs() <= 0.0);
    entry.not_yet(mistakes, "start_offset_mm", is_zero);
    let scale = entry.section(mistakes, "print_scale");
    scale.only_fields(mistakes, &SCALE_FIELDS);
    let is_one = |value: &Value| value.as_f64().is_some_and(|number| (number - 1.0).abs() <= 0.0);
    scale.not_yet(mistakes, "x", is_one);
    scale.not_yet(mistakes, "y", is_one);
}

/// Refuses in a run what only preflight, proofs and estimates make yet: there are no print PDFs in CMYK. A configured stock
/// that asks for it is refused where it is named.
pub(super) fn refuse_in_runs(entry: &Node<'_>, stock: Option<&Stock>, mistakes: &mut Mistakes) {
    let written = entry.get("colour").filter(|node| node.value().is_some_and(|value| value == "cmyk"));
    if written.is_some() || stock.is_some_and(|stock| stock.colour == PrintColour::Cmyk) {
        let pointer = written.map_or_else(|| entry.pointer(), |node| node.pointer());
        let message = "`colour`: `cmyk` is not supported yet by runs, only by preflight, proofs and estimates; leave it out or \
                       write `rgb`";
        mistakes.add(MistakeCode::NotSupportedYet, &pointer, message);
    }
}

/// Exactly one of sheet and roll.
fn read_form(form: &Node<'_>, mistakes: &mut Mistakes) -> Option<Form> {
    if !form.expect_object(mistakes) {
        return None;
    }
    form.only_fields(mistakes, &FORM_FIELDS);
    match (form.get("sheet"), form.get("roll")) {
        (Some(sheet), None) => read_sheet(&sheet, mistakes),
        (None, Some(roll)) => read_roll(&roll, mistakes),
        (None, None) => {
            mistakes.add(MistakeCode::MissingField, &form.pointer(), "a form is `sheet` or `roll`");
            None
        }
        (Some(_), Some(_)) => {
            mistakes.add(MistakeCode::Contradiction, &form.pointer(), "a form is either `sheet` or `roll`");
            None
        }
    }
}

fn read_sheet(sheet: &Node<'_>, mistakes: &mut Mistakes) -> Option<Form> {
    if !sheet.expect_object(mistakes) {
        return None;
    }
    sheet.only_fields(mistakes, &SHEET_FIELDS);
    let Some(size) = sheet.get("size") else {
        for field in ["width_mm", "height_mm"] {
            if sheet.get(field).is_none() {
                sheet.missing(mistakes, field);
            }
        }
        let width = sheet.length(mistakes, "width_mm", &range::MEDIA_SIDE);
        let height = sheet.length(mistakes, "height_mm", &range::MEDIA_SIDE);
        return Some(Form::Sheet { width: width?, height: height?, media: None });
    };
    if sheet.get("width_mm").or_else(|| sheet.get("height_mm")).is_some() {
        let message = "a sheet is either a `size` by name or `width_mm` and `height_mm`";
        mistakes.add(MistakeCode::Contradiction, &sheet.pointer(), message);
        return None;
    }
    let name = size.as_text(mistakes)?;
    let (width, height) = read_media(&size, &range::MEDIA_SIDE, mistakes)?;
    Some(Form::Sheet { width, height, media: Some(name.to_owned()) })
}

/// The size that a media name states, each side within a range.
pub(super) fn read_media(node: &Node<'_>, side: &range::Range, mistakes: &mut Mistakes) -> Option<(Mm, Mm)> {
    let name = node.as_text(mistakes)?;
    let Some((width, height)) = media_size(name) else {
        let message = format!("\"{name}\" is not a media name of PWG 5101.1; write it like iso_a4_210x297mm");
        mistakes.add(MistakeCode::UnknownMedia, &node.pointer(), message);
        return None;
    };
    if side.holds(width.mm()) && side.holds(height.mm()) {
        return Some((width, height));
    }
    mistakes.add(MistakeCode::OutOfRange, &node.pointer(), format!("each side must be {side}"));
    None
}

fn read_roll(roll: &Node<'_>, mistakes: &mut Mistakes) -> Option<Form> {
    if !roll.expect_object(mistakes) {
        return None;
    }
    roll.only_fields(mistakes, &ROLL_FIELDS);
    if roll.get("width_mm").is_none() {
        roll.missing(mistakes, "width_mm");
    }
    let width = roll.length(mistakes, "width_mm", &range::MEDIA_SIDE);
    let max_length = roll.length(mistakes, "max_length_mm", &range::MEDIA_SIDE).unwrap_or(DEFAULT_ROLL_LENGTH);
    let section_length = roll.length(mistakes, "section_length_mm", &range::MEDIA_SIDE);
    Some(Form::Roll { width: width?, max_length, section_length })
}

/// A length for each side; sides that are left out have the built-in one.
fn read_margins(entry: &Node<'_>, field: &str, built_in: Margins, mistakes: &mut Mistakes) -> Margins {
    let Some(sides) = entry.choice(field).filter(|node| node.expect_object(mistakes)) else { return built_in };
    sides.only_fields(mistakes, &SIDE_FIELDS);
    let mut side = |name, built_in| sides.length(mistakes, name, &range::MARGIN).unwrap_or(built_in);
    Margins {
        top: side("top", built_in.top),
        right: side("right", built_in.right),
        bottom: side("bottom", built_in.bottom),
        left: side("left", built_in.left),
    }
}

/// One number for all sides, or a length for each.
fn read_unprintable(entry: &Node<'_>, built_in: Margins, mistakes: &mut Mistakes) -> Margins {
    let Some(node) = entry.choice("unprintable_mm") else { return built_in };
    match node.value() {
        Some(Value::Number(_)) => {
            node.as_number(mistakes, &range::MARGIN).map_or(built_in, |edge| Margins::even(Mm::of(edge)))
        }
        Some(value) if !value.is_object() => {
            wrong_type(mistakes, &node.pointer(), "a number or an object with a number for each side", value);
            built_in
        }
        _ => read_margins(entry, "unprintable_mm", built_in, mistakes),
    }
}

/// Whole sheets, or millimetres of roll.
fn read_available(entry: &Node<'_>, is_roll: bool, mistakes: &mut Mistakes) -> Option<AtHand> {
    if is_roll {
        return entry.length(mistakes, "available", &range::AT_HAND).map(AtHand::Length);
    }
    let sheets = entry.whole(mistakes, "available", &range::AT_HAND)?;
    u32::try_from(sheets).ok().map(AtHand::Sheets)
}

fn read_feed_edge(entry: &Node<'_>, is_roll: bool, mistakes: &mut Mistakes) -> Option<FeedEdge> {
    let edge = entry.word(mistakes, "feed_edge", &FEED_EDGES)?;
    if is_roll
        && matches!(edge, FeedEdge::Right | FeedEdge::Left)
        && let Some(node) = entry.get("feed_edge")
    {
        let message = "a roll is fed by its top or bottom edge";
        // One that a configured stock says is contradicted by the form that is written here.
        let blamed = entry.get("form").filter(|_| !node.is_own()).unwrap_or(node);
        mistakes.add(MistakeCode::Contradiction, &blamed.pointer(), message);
    }
    Some(edge)
}

fn read_layers(entry: &Node<'_>, built_in: Layers, mistakes: &mut Mistakes) -> Layers {
    let section = entry.section(mistakes, "layers");
    section.only_fields(mistakes, &LAYERS_FIELDS);
    let mut layer = |key, built_in: Layer| {
        let layer = section.section(mistakes, key);
        layer.only_fields(mistakes, &LAYER_FIELDS);
        let given = layer.ruled_text(mistakes, "name", ids::layer_name);
        let colour = layer.colour(mistakes, "colour").unwrap_or(built_in.colour);
        Layer { name: given.map_or(built_in.name, str::to_owned), colour }
    };
    Layers {
        kiss: layer("kiss", built_in.kiss),
        through: layer("through", built_in.through),
        white: layer("white", built_in.white),
    }
}

fn read_cutting(entry: &Node<'_>, built_in: Cutting, mistakes: &mut Mistakes) -> Cutting {
    let section = entry.section(mistakes, "cutting");
    section.only_fields(mistakes, &CUTTING_FIELDS);
    section.not_yet(mistakes, "nick_mm", |_| false);
    let mut length = |key, range| section.length(mistakes, key, range);
    Cutting {
        minimum_width: length("minimum_width_mm", &range::MINIMUM_WIDTH).unwrap_or(built_in.minimum_width),
        bridge_reach: length("bridge_reach_mm", &range::BRIDGE_REACH),
        inside_radius: length("inside_radius_mm", &range::CUTTING_RADIUS).unwrap_or(built_in.inside_radius),
        outside_radius: length("outside_radius_mm", &range::CUTTING_RADIUS).unwrap_or(built_in.outside_radius),
        speck: length("speck_mm", &range::SPECK).unwrap_or(built_in.speck),
    }
}

fn read_underbase(entry: &Node<'_>, built_in: Underbase, mistakes: &mut Mistakes) -> Underbase {
    let section = entry.section(mistakes, "underbase");
    section.only_fields(mistakes, &UNDERBASE_FIELDS);
    Underbase {
        choke: section.length(mistakes, "choke_mm", &range::CHOKE).unwrap_or(built_in.choke),
        threshold: section.number(mistakes, "threshold", &range::THRESHOLD).unwrap_or(built_in.threshold),
    }
}
