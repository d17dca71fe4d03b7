//! Examples: requests that work as they are sent, and answers that were really given.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use serde_json::{Value, json};

use super::schemas::refer;

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
    let view = json!({"ground": "dark", "longest_px": 400});
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
    let roll = json!({"stock": "roll-610", "form": {"roll": {"width_mm": 610}}});
    vec![
        Example {
            name: "sheets",
            summary: "Three quantities on letter sheets",
            value: json!({"item": item, "stock": stock(), "quantities": [10, 50, 100]}),
        },
        Example {
            name: "roll",
            summary: "One quantity on a roll",
            value: json!({
                "item": {"art": art(), "size": {"width_mm": 18}, "outline": {"border_mm": 2}, "quantity": 250}, "stock": roll,
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
    vec![
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

/// Answers that are kept beside the document.
fn kept(operation: &str) -> Option<(&'static str, Value)> {
    let (name, text) = match operation {
        _ if operation.is_empty() => ("", ""),
        _ => return None,
    };
    serde_json::from_str(text).ok().map(|value| (name, value))
}

/// A problem document by status.
pub(super) fn problem(status: u16) -> Option<(&'static str, Value)> {
    let (name, code, title, detail) = match status {
        405 => {
            ("method", "http.method_not_allowed", "The path does not take this method", "This path takes GET, HEAD.")
        }
        _ => return None,
    };
    let document = json!({"type": format!("/problems/{code}"), "title": title, "status": status, "detail": detail,
                          "code": code, "mistakes": []});
    Some((name, document))
}
