//! Where each object of a request stands: a request that is right, and the place in it.

use std::sync::Arc;

use quoin_prepress::order::ArtInput;
use serde_json::{Value, json};

use crate::wire::art::{ArtMissing, ArtRef};
use crate::wire::{ArtSource, Configured, Mistake, read_estimate, read_gang_job, read_preflight, read_proof};

/// Every picture is there.
struct AnyArt;

impl ArtSource for AnyArt {
    fn fetch(&mut self, _: ArtRef<'_>) -> Result<ArtInput, ArtMissing> {
        Ok(ArtInput::Bytes(Arc::from(*b"art")))
    }

    fn limit_bytes(&self) -> u64 {
        1000
    }
}

/// What a reader made of a request, written out so that results of all readers compare; or codes and pointers.
type Read = Result<String, Vec<(String, String)>>;

/// Who reads the request.
#[derive(Clone, Copy, Debug)]
enum Reader {
    Gang,
    Preflight,
    Proof,
    Estimate,
}

/// A request, and the object in it that a schema describes.
#[derive(Clone, Debug)]
pub(super) struct Context {
    /// Name of the schema.
    pub(super) schema: &'static str,
    /// Pointer to the object.
    pub(super) at: &'static str,
    /// Properties that this request is not the place for.
    pub(super) skipped: &'static [&'static str],
    request: Value,
    reader: Reader,
}

impl Context {
    /// The request with a property of the object set, or left out.
    pub(super) fn with(&self, name: &str, value: Option<&Value>) -> Value {
        let mut request = self.request.clone();
        let object = request.pointer_mut(self.at).and_then(Value::as_object_mut).expect("the object is there");
        match value {
            Some(value) => object.insert(name.to_owned(), value.clone()),
            None => object.remove(name),
        };
        request
    }

    /// What the reader says.
    pub(super) fn read(&self, request: &Value) -> Read {
        let (text, art, shop) = (request.to_string(), &mut AnyArt, &Configured::default());
        let text = text.as_bytes();
        let read = match self.reader {
            Reader::Gang => read_gang_job(text, art, shop).map(|read| format!("{read:?}")),
            Reader::Preflight => read_preflight(text, art, shop).map(|read| format!("{read:?}")),
            Reader::Proof => read_proof(text, art, shop).map(|read| format!("{read:?}")),
            Reader::Estimate => read_estimate(text, art, shop).map(|read| format!("{read:?}")),
        };
        let plain = |mistake: &Mistake| (mistake.code.as_str().to_owned(), mistake.pointer.as_str().to_owned());
        read.map_err(|mistakes| mistakes.iter().map(plain).collect())
    }
}

const ITEM: &str = "/orders/0/items/0";
const STOCK: &str = "/stocks/0";

fn job() -> Value {
    json!({
        "run": "r", "defaults": {}, "policy": {"fill_offcuts_with": []},
        "stocks": [{"stock": "gloss", "form": {"sheet": {"size": "na_letter_8.5x11in"}}}],
        "orders": [{"order": "1042", "items": [
            {"item": "1", "art": {"part": "a"}, "size": {"width_mm": 60}, "quantity": 2}]}],
    })
}

/// The job with a value put somewhere.
fn with(pointer: &str, value: Value) -> Value {
    let mut request = job();
    let (parent, key) = pointer.rsplit_once('/').expect("a pointer");
    let parent = request.pointer_mut(parent).expect("the parent is there");
    if let Some(list) = parent.as_array_mut() {
        let index = key.parse::<usize>().expect("an index");
        if index < list.len() { list[index] = value } else { list.push(value) }
    } else {
        parent[key] = value;
    }
    request
}

fn item(more: &Value) -> Value {
    let mut item = json!({"item": "1", "art": {"part": "a"}, "size": {"width_mm": 60}, "quantity": 2});
    for (key, value) in more.as_object().expect("an object") {
        item[key] = value.clone();
    }
    with(ITEM, item)
}

fn sticker_sheet() -> Value {
    with(
        ITEM,
        json!({
            "item": "1", "quantity": 1, "product": "sticker_sheet", "page": {"width_mm": 100, "height_mm": 150},
            "pieces": [{"piece": "a", "art": {"part": "a"}, "size": {"width_mm": 30}}],
            "fill": {"with": "smaller_copies", "smallest_mm": 10},
        }),
    )
}

fn stock(more: &Value) -> Value {
    let mut stock = json!({"stock": "gloss", "form": {"sheet": {"size": "na_letter_8.5x11in"}}});
    for (key, value) in more.as_object().expect("an object") {
        stock[key] = value.clone();
    }
    with(STOCK, stock)
}

fn context(schema: &'static str, request: Value, at: &'static str, skipped: &'static [&'static str]) -> Context {
    Context { schema, at, skipped, request, reader: Reader::Gang }
}

/// Every object of a request at least once.
pub(super) fn contexts() -> Vec<Context> {
    [of_jobs(), of_items(), of_designs(), of_sticker_sheets(), of_stocks(), of_inquiries()].concat()
}

fn of_jobs() -> Vec<Context> {
    vec![
        context("GangJob", job(), "", &[]),
        context("Order", job(), "/orders/0", &[]),
        context("Policy", job(), "/policy", &[]),
    ]
}

/// What only a sticker sheet has.
const OF_SHEETS: &[&str] = &["page", "pieces", "fill"];

fn of_items() -> Vec<Context> {
    let filler = json!({"item": "w", "art": {"part": "w"}, "size": {"width_mm": 20}, "at_most": 20});
    vec![
        context("Item", job(), ITEM, OF_SHEETS),
        context("Item", sticker_sheet(), ITEM, &["art", "size", "product", "backing"]),
        context("Filler", with("/policy/fill_offcuts_with/0", filler), "/policy/fill_offcuts_with/0", OF_SHEETS),
        context("Filler", sheet_filler(), "/policy/fill_offcuts_with/0", &["art", "size", "product", "backing"]),
        context("ItemDefaults", job(), "/defaults", &[]),
    ]
}

fn sheet_filler() -> Value {
    let page = json!({"width_mm": 100, "height_mm": 150});
    let pieces = json!([{"piece": "a", "art": {"part": "a"}, "size": {"width_mm": 30}}]);
    let filler = json!({"item": "w", "at_most": 2, "product": "sticker_sheet", "page": page, "pieces": pieces});
    with("/policy/fill_offcuts_with/0", filler)
}

fn of_designs() -> Vec<Context> {
    let outline = "/orders/0/items/0/outline";
    let size = "/orders/0/items/0/size";
    let rounded = json!({"outline": {"shape": "rounded_rectangle"}});
    let longest = json!({"size": {"longest_mm": 60}});
    let sent_inline = json!({"art": {"base64": "Zm94"}});
    let rectangle = json!({"outline": {"shape": "rectangle"}});
    vec![
        context("Art", job(), "/orders/0/items/0/art", &["base64"]),
        context("Art", item(&sent_inline), "/orders/0/items/0/art", &["part"]),
        context("Size", item(&rectangle), size, &["longest_mm"]),
        context("Size", item(&longest), size, &["width_mm", "height_mm"]),
        context("Outline", item(&rounded), outline, &["keep_holes_wider_than_mm", "shape"]),
        context("Outline", item(&json!({"outline": {}})), outline, &["corner_radius_mm", "art_fit"]),
        context("OutlineDefaults", with("/defaults/outline", json!({})), "/defaults/outline", &[]),
        context("Backing", item(&json!({"product": "kiss_cut", "backing": {}})), "/orders/0/items/0/backing", &[]),
        context("BackingDefaults", with("/defaults/backing", json!({})), "/defaults/backing", &[]),
        context("Backdrop", item(&json!({"backdrop": {}})), "/orders/0/items/0/backdrop", &[]),
    ]
}

fn of_sticker_sheets() -> Vec<Context> {
    vec![
        context("Page", sticker_sheet(), "/orders/0/items/0/page", &[]),
        context("PageDefaults", with("/defaults/page", json!({})), "/defaults/page", &[]),
        context("Piece", sticker_sheet(), "/orders/0/items/0/pieces/0", &[]),
        context("Fill", sticker_sheet(), "/orders/0/items/0/fill", &[]),
    ]
}

fn of_stocks() -> Vec<Context> {
    let by_name = json!({"form": {"sheet": {"size": "iso_a4_210x297mm"}}});
    let measured = json!({"form": {"sheet": {"width_mm": 210, "height_mm": 297}}});
    let roll = json!({"form": {"roll": {"width_mm": 610}}});
    let section = |name: &'static str| stock(&json!({name: {}}));
    vec![
        context("Stock", stock(&json!({})), STOCK, &[]),
        context("Form", stock(&json!({})), "/stocks/0/form", &["roll"]),
        context("Form", stock(&roll), "/stocks/0/form", &["sheet"]),
        context("SheetForm", stock(&by_name), "/stocks/0/form/sheet", &["width_mm", "height_mm"]),
        context("SheetForm", stock(&measured), "/stocks/0/form/sheet", &["size"]),
        context("RollForm", stock(&roll), "/stocks/0/form/roll", &[]),
        context("Sides", section("margins_mm"), "/stocks/0/margins_mm", &[]),
        context("Sides", section("unprintable_mm"), "/stocks/0/unprintable_mm", &[]),
        context(
            "RegisterMarks",
            stock(&json!({"register_marks": {}, "margins_mm": {}})),
            "/stocks/0/register_marks",
            &[],
        ),
        context("Layers", section("layers"), "/stocks/0/layers", &[]),
        context("Layer", stock(&json!({"layers": {"kiss": {}}})), "/stocks/0/layers/kiss", &[]),
        context("PrintScale", section("print_scale"), "/stocks/0/print_scale", &[]),
        context("Cutting", section("cutting"), "/stocks/0/cutting", &[]),
        context("Underbase", section("underbase"), "/stocks/0/underbase", &[]),
    ]
}

fn of_inquiries() -> Vec<Context> {
    let stock = json!({"stock": "gloss", "form": {"sheet": {"size": "na_letter_8.5x11in"}}});
    let sized = json!({"art": {"part": "a"}, "size": {"width_mm": 60}});
    let sheet = json!({"product": "sticker_sheet", "page": {"width_mm": 100, "height_mm": 150},
                       "pieces": [{"piece": "a", "art": {"part": "a"}, "size": {"width_mm": 30}}]});
    let of = |item: &Value| json!({"item": item, "stock": stock});
    let view = json!({"item": sized, "stock": stock, "view": {}});
    let inquiry = |schema, request, at, skipped, reader| Context { schema, at, skipped, request, reader };
    let of_sheet: &[&str] = &["art", "size", "product", "backing"];
    vec![
        inquiry("PreflightRequest", of(&sized), "", &[], Reader::Preflight),
        inquiry("ProofRequest", of(&sized), "", &[], Reader::Proof),
        inquiry("EstimateRequest", of(&sized), "", &[], Reader::Estimate),
        inquiry("SingleItem", of(&sized), "/item", OF_SHEETS, Reader::Preflight),
        inquiry("SingleItem", of(&sheet), "/item", of_sheet, Reader::Estimate),
        inquiry("View", view, "/view", &[], Reader::Proof),
    ]
}
