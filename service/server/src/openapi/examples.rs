//! Examples: requests that work as they are sent, and answers that were really given.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use quoin_prepress::intake::Limits;
use quoin_prepress::order::ArtInput;
use serde_json::{Value, json};

use super::schemas::refer;
use crate::problem::Problem;
use crate::wire::{self, ArtMissing, ArtRef, ArtSource, Configured, Mistake, MistakeCode};

/// A disc of 96 pixels with a clear ground.
const DISC: &[u8] = include_bytes!("../../../../openapi/examples/disc.png");

/// A request of the document.
pub(super) struct Example {
    /// Its name.
    pub(super) name: &'static str,
    summary: &'static str,
    value: Value,
}

impl Example {
    /// As the document has it.
    pub(super) fn into_value(self) -> Value {
        json!({"summary": self.summary, "value": self.value})
    }

    /// The request alone.
    #[cfg(test)]
    pub(super) fn body(&self) -> &Value {
        &self.value
    }
}

fn art() -> Value {
    json!({"base64": STANDARD.encode(DISC)})
}

fn stock() -> Value {
    json!({"stock": "gloss-white", "form": {"sheet": {"size": "na_letter_8.5x11in"}}})
}

/// The requests of an operation.
pub(super) fn requests(operation: &str) -> Vec<Example> {
    match operation {
        "preflight" => preflight(),
        "proof" => proof(),
        "estimate" => estimate(),
        "gang" => gang(),
        _ => Vec::new(),
    }
}

fn preflight() -> Vec<Example> {
    let sized =
        json!({"item": {"art": art(), "size": {"width_mm": 18}, "outline": {"border_mm": 2}}, "stock": stock()});
    vec![
        Example { name: "sized", summary: "A die-cut sticker 18 mm wide", value: sized },
        Example {
            name: "how_large",
            summary: "How large can this picture go?",
            value: json!({"item": {"art": art()}, "stock": stock()}),
        },
    ]
}

fn proof() -> Vec<Example> {
    let item = json!({"art": art(), "size": {"width_mm": 18}, "product": "kiss_cut", "outline": {"border_mm": 2},
                      "backing": {"margin_mm": 3}});
    let round =
        json!({"art": art(), "size": {"longest_mm": 18}, "outline": {"shape": "circle", "border_colour": "#fde047"}});
    let view = json!({"ground": "dark", "longest_px": 160});
    vec![
        Example {
            name: "kiss_cut",
            summary: "A kiss-cut sticker on its backing",
            value: json!({"item": item, "stock": stock(), "view": {"longest_px": 600}}),
        },
        Example {
            name: "circle_on_dark",
            summary: "A circle with a coloured border on a dark ground",
            value: json!({"item": round, "stock": stock(), "view": view}),
        },
    ]
}

fn estimate() -> Vec<Example> {
    let item = json!({"art": art(), "size": {"width_mm": 18}, "outline": {"border_mm": 2}});
    let small = json!({"stock": "postcards", "form": {"sheet": {"size": "iso_a7_74x105mm"}}});
    let roll = json!({"stock": "narrow-roll", "form": {"roll": {"width_mm": 110, "max_length_mm": 120}}});
    vec![
        Example {
            name: "sheets",
            summary: "Two quantities on small sheets",
            value: json!({"item": item, "stock": small, "quantities": [6, 12]}),
        },
        Example {
            name: "roll",
            summary: "One quantity on a roll",
            value: json!({
                "item": {"art": art(), "size": {"width_mm": 18}, "outline": {"border_mm": 2}, "quantity": 12}, "stock": roll,
            }),
        },
    ]
}

fn gang() -> Vec<Example> {
    let small = json!({
        "run": "tuesday-night",
        "stocks": [stock()],
        "orders": [{"order": "1042", "items": [
            {"item": "1", "art": art(), "size": {"width_mm": 18}, "outline": {"border_mm": 2}, "quantity": 4},
        ]}],
        "policy": {"effort": "draft"},
    });
    let sheet = json!({
        "item": "1", "product": "sticker_sheet", "quantity": 2, "page": {"width_mm": 70, "height_mm": 50},
        "pieces": [{"piece": "disc", "art": art(), "size": {"width_mm": 16}, "copies": 3}], "outline": {"border_mm": 1.5},
    });
    let night = json!({
        "run": "wednesday-night",
        "defaults": {"stock": "gloss-white", "outline": {"border_mm": 2}, "size": {"width_mm": 18}},
        "stocks": [stock(), {"stock": "clear-film", "form": {"sheet": {"width_mm": 200, "height_mm": 150}}, "face": "clear"}],
        "orders": [
            {"order": "1043", "due": "2026-12-01", "items": [sheet]},
            {"order": "1044", "stock": "clear-film", "items": [
                {"item": "1", "art": art(), "quantity": 6, "outline": {"shape": "circle"}, "tags": ["disc", "window"]},
            ]},
        ],
        "policy": {"effort": "draft"},
        "outputs": ["print_pdf", "cut_svg", "pick_list_pdf"],
    });
    let mut cut_only = small.clone();
    cut_only["outputs"] = json!(["cut_svg"]);
    vec![
        Example { name: "cut_files_only", summary: "The same order, cut file alone", value: cut_only },
        Example { name: "one_order", summary: "One order on one stock", value: small },
        Example { name: "two_stocks", summary: "A sticker sheet, and circles on clear film", value: night },
    ]
}

/// A media type whose schema is of this name, with an answer that was really given to an example, where one is kept.
pub(super) fn answered(schema: &str, operation: &str) -> Value {
    let mut media = json!({"schema": refer(schema)});
    if let Some((name, value)) = kept(operation) {
        media["examples"] =
            json!({name: {"summary": format!("The answer to the request example `{name}`"), "value": value}});
    }
    media
}

/// Answers that are kept beside the document: operation, request example, answer. A test gives them anew and compares.
pub(super) const KEPT: [(&str, &str, &str); 4] = [
    ("preflight", "sized", include_str!("../../../../openapi/examples/preflight.json")),
    ("proof", "circle_on_dark", include_str!("../../../../openapi/examples/proof.json")),
    ("estimate", "sheets", include_str!("../../../../openapi/examples/estimate.json")),
    ("gang", "cut_files_only", include_str!("../../../../openapi/examples/gang.json")),
];

fn kept(operation: &str) -> Option<(&'static str, Value)> {
    let (_, name, text) = KEPT.iter().find(|(kept, ..)| *kept == operation)?;
    serde_json::from_str(text).ok().map(|value| (*name, value))
}

/// A problem of each status.
pub(super) fn problem(status: u16) -> Problem {
    match status {
        400 => Problem::NoJobPart,
        401 => Problem::NoKey,
        403 => Problem::NoScope { scope: "gang" },
        404 => Problem::NotFound,
        405 => Problem::MethodNotAllowed { allow: "POST" },
        406 => Problem::NotAcceptable { offered: &["image/png", "image/svg+xml", "application/json"] },
        408 => Problem::BodyTooSlow { deadline_s: 60 },
        413 => Problem::BodyTooLarge { limit_bytes: 256 << 20, what: "A body" },
        415 => {
            Problem::UnsupportedMediaType { detail: "A request is multipart/form-data or application/json.".to_owned() }
        }
        422 => Problem::Mistakes(mistakes()),
        503 => Problem::Full { retry_after_s: 3 },
        _ => Problem::Panicked,
    }
}

/// What the reader says of a job with two mistakes.
fn mistakes() -> Vec<Mistake> {
    let job = json!({
        "run": "tuesday-night",
        "stocks": [stock()],
        "orders": [{"order": "1042", "items": [
            {"item": "1", "art": art(), "size": {"width_mm": 18}, "quantity": 0, "outline": {"border": 2}},
        ]}],
    });
    wire::read_gang_job(job.to_string().as_bytes(), &mut NoArt, &Configured::default()).err().unwrap_or_default()
}

/// Examples have their pictures inline.
#[derive(Debug)]
pub(super) struct NoArt;

impl ArtSource for NoArt {
    fn fetch(&mut self, _: ArtRef<'_>) -> Result<ArtInput, ArtMissing> {
        Err(ArtMissing { code: MistakeCode::ArtNotTaken, message: "examples have their pictures inline".to_owned() })
    }

    fn limit_bytes(&self) -> u64 {
        Limits::default().max_bytes
    }
}
