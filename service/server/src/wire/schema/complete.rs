//! The same objects as answers write them: every field there, nothing left to a default.

use serde_json::{Map, Value, json};

use super::field::SCHEMAS;
use super::requests;

/// A stock as answers echo it, complete, without references.
pub(crate) fn complete_stock() -> Value {
    let mut stock = complete(&super::stock::stock());
    stock["description"] =
        "A stock with every value that was used: request over configured stock over built-in.".into();
    // Answers write the edge side by side.
    stock["properties"]["unprintable_mm"] = complete(&super::stock::sides());
    stock
}

/// A policy as answers echo it: fillers by their ids, because their art is not repeated.
pub(crate) fn complete_policy() -> Value {
    let mut policy = complete(&super::job::policy());
    policy["properties"]["fill_offcuts_with"]["items"] = json!({
        "type": "object",
        "description": "A filler.",
        "properties": {
            "item": {"type": "string", "description": "Its id."},
            "at_most": {"type": "integer", "minimum": 1, "description": "Most copies of it in the whole run."},
        },
        "required": ["item", "at_most"],
    });
    policy
}

/// The settings of one item as a report echoes them: what its product and shape do not have is left out.
pub(crate) fn complete_item() -> Value {
    let mut item = complete(&super::item::item(super::item::Kind::Single));
    item["description"] =
        "The item's settings that were used; what its product and shape do not have is not there.".into();
    if let Some(properties) = item["properties"].as_object_mut() {
        properties.retain(|name, _| !["item", "art", "approved", "tags"].contains(&name.as_str()));
        for section in ["outline", "backing"] {
            properties.get_mut(section).into_iter().for_each(forget_required);
        }
        let mut piece =
            properties.get("pieces").and_then(|pieces| pieces.get("items")).map(complete).unwrap_or_default();
        if let Some(properties) = piece["properties"].as_object_mut() {
            properties.remove("art");
            properties.get_mut("outline").into_iter().for_each(forget_required);
        }
        forget_required(&mut piece);
        properties["pieces"]["items"] = piece;
        // A size that was left out is null.
        let size = properties["size"].take();
        let description = size["description"].clone();
        properties["size"] = json!({"anyOf": [size, {"type": "null"}], "description": description});
    }
    item["required"] = json!(["product", "quantity", "rotate"]);
    item
}

/// Lets every field of an object be left out.
fn forget_required(schema: &mut Value) {
    if let Value::Object(map) = schema {
        map.remove("required");
    }
}

/// A request's schema turned into that of an answer.
fn complete(schema: &Value) -> Value {
    if let Some(name) = schema.get("$ref").and_then(Value::as_str) {
        let target = name.strip_prefix(SCHEMAS).and_then(|name| requests().remove(name)).unwrap_or_else(|| json!({}));
        let mut completed = complete(&target);
        if let Some(description) = schema.get("description") {
            completed["description"] = description.clone();
        }
        return completed;
    }
    let Value::Object(source) = schema else { return schema.clone() };
    if let Some(ways) = source.get("anyOf").and_then(Value::as_array) {
        return complete_choice(source, ways);
    }
    let mut result = Map::new();
    for (keyword, value) in source {
        match keyword.as_str() {
            "default"
            | "x-default"
            | "x-not-supported-yet"
            | "x-not-supported-yet-in-runs"
            | "allOf"
            | "if"
            | "then"
            | "else"
            | "required"
            | "additionalProperties" => {}
            "properties" => {
                let properties = value.as_object().cloned().unwrap_or_default();
                let completed: Map<String, Value> =
                    properties.iter().map(|(name, property)| (name.clone(), complete(property))).collect();
                result.insert("properties".to_owned(), completed.into());
            }
            "type" => {
                result.insert("type".to_owned(), complete_type(value, source.get("default")));
            }
            "enum" => {
                let words = value.as_array().cloned().unwrap_or_default();
                let words: Vec<Value> = words.into_iter().filter(|word| !word.is_null()).collect();
                result.insert("enum".to_owned(), words.into());
            }
            _ => {
                result.insert(keyword.clone(), value.clone());
            }
        }
    }
    // Where one of several fields is chosen, the others are left out in answers too.
    if !source.contains_key("oneOf")
        && !source.contains_key("minProperties")
        && let Some(properties) = result.get("properties").and_then(Value::as_object)
    {
        let names: Vec<String> = properties.keys().cloned().collect();
        result.insert("required".to_owned(), names.into());
    }
    Value::Object(result)
}

/// Null stays only where it is the value that is used.
fn complete_type(kind: &Value, default: Option<&Value>) -> Value {
    let Some([first, _]) = kind.as_array().map(Vec::as_slice) else { return kind.clone() };
    if default.is_some_and(Value::is_null) { kind.clone() } else { first.clone() }
}

fn complete_choice(source: &Map<String, Value>, ways: &[Value]) -> Value {
    let ways = ways.iter().filter(|way| *way != &json!({"type": "null"}));
    let mut ways: Vec<Value> = ways.map(complete).collect();
    let mut completed = if ways.len() == 1 { ways.remove(0) } else { json!({"anyOf": ways}) };
    if let Some(description) = source.get("description") {
        completed["description"] = description.clone();
    }
    completed
}
