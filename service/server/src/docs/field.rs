//! Schemas as definition lists: name, type, limits, default, meaning.

use serde_json::Value;

use super::html::{escape, inline};
use crate::wire::schema;

/// The schema that a reference names.
pub(super) fn target_name(target: &str) -> &str {
    target.rsplit('/').next().unwrap_or(target)
}

/// Fields of an object in the order of the contract.
pub(super) fn order(name: &str, schema: &Value) -> Vec<String> {
    let Some(properties) = schema.get("properties").and_then(Value::as_object) else { return Vec::new() };
    let list: Vec<&str> = match schema::fields(name) {
        Some(list) => list.to_vec(),
        None => schema["required"].as_array().into_iter().flatten().filter_map(Value::as_str).collect(),
    };
    let rest = properties.keys().map(String::as_str).filter(|name| !list.contains(name));
    list.iter().copied().chain(rest).filter(|name| properties.contains_key(*name)).map(str::to_owned).collect()
}

/// A schema's own text and its fields.
pub(super) fn schema(name: &str, schema: &Value) -> String {
    let mut html = String::new();
    if let Some(description) = schema["description"].as_str() {
        html.push_str(&super::html::paragraphs(description));
    }
    if schema.get("properties").is_some() {
        html.push_str(&fields(name, schema));
        return html;
    }
    html.push_str(&format!("<p class=\"kind\">{}</p>\n", kind(schema, true)));
    if let Some(ways) = schema["oneOf"].as_array() {
        html.push_str("<dl class=\"words\">\n");
        for way in ways {
            let word = way["const"].as_str().unwrap_or_default();
            let text = way["description"].as_str().unwrap_or_default();
            html.push_str(&format!("<dt><code>{}</code></dt><dd>{}</dd>\n", escape(word), inline(text)));
        }
        html.push_str("</dl>\n");
    }
    html
}

/// The fields of an object.
pub(super) fn fields(name: &str, schema: &Value) -> String {
    // Requests are closed: what may be left out may be null, which need not be said each time.
    let is_request = schema["additionalProperties"] == Value::Bool(false);
    let required: Vec<&str> = schema["required"].as_array().into_iter().flatten().filter_map(Value::as_str).collect();
    let mut html = String::from("<dl class=\"fields\">\n");
    for field in order(name, schema) {
        let property = &schema["properties"][&field];
        let mark = match (is_request, required.contains(&field.as_str())) {
            (true, true) => " <strong class=\"need\">required</strong>",
            (false, false) => " <em class=\"need\">not always</em>",
            _ => "",
        };
        html.push_str(&format!(
            "<div><dt><code>{}</code> <span class=\"kind\">{}</span>{mark}</dt>\n<dd>{}{}{}</dd></div>\n",
            escape(&field),
            kind(property, !is_request),
            inline(property["description"].as_str().unwrap_or_default()),
            facts(property),
            nested(property),
        ));
    }
    html.push_str("</dl>\n");
    html
}

/// The fields of an object that has no name of its own.
fn nested(property: &Value) -> String {
    let object = if property["type"] == "array" { &property["items"] } else { property };
    let ways = object["anyOf"].as_array().into_iter().flatten();
    let mut html = String::new();
    for object in [object].into_iter().chain(ways) {
        if object.get("properties").is_some() {
            html.push_str(&fields("", object));
        }
    }
    html
}

/// The type in words; `null` where it is said.
fn kind(schema: &Value, null_is_said: bool) -> String {
    if let Some(target) = schema["$ref"].as_str() {
        let name = escape(target_name(target));
        return format!("<a href=\"#{name}\">{name}</a>");
    }
    if let Some(word) = schema["const"].as_str() {
        return format!("<code>{}</code>", escape(word));
    }
    if let Some(words) = schema["enum"].as_array() {
        let words = words.iter().filter(|word| null_is_said || !word.is_null());
        return words.map(|word| format!("<code>{}</code>", escape(&plain(word)))).collect::<Vec<_>>().join(" | ");
    }
    let types: Vec<&str> = match &schema["type"] {
        Value::String(kind) => vec![kind],
        Value::Array(kinds) => kinds.iter().filter_map(Value::as_str).collect(),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::Object(_) => Vec::new(),
    };
    let named = |kind: &&str| match *kind {
        "array" => format!("list of {}", kind_of_items(&schema["items"], null_is_said)),
        "integer" => "whole number".to_owned(),
        "boolean" => "true or false".to_owned(),
        "string" if schema.get("contentEncoding").is_some() => "base64".to_owned(),
        "string" if schema["format"] == "date" => "day".to_owned(),
        "string" => "text".to_owned(),
        other => other.to_owned(),
    };
    let mut kinds: Vec<String> = types.iter().filter(|kind| null_is_said || **kind != "null").map(named).collect();
    if kinds.is_empty() {
        let ways = schema["anyOf"].as_array().or_else(|| schema["oneOf"].as_array()).into_iter().flatten();
        kinds = ways.filter(|way| null_is_said || way["type"] != "null").map(|way| kind(way, null_is_said)).collect();
    }
    kinds.join(" or ")
}

fn kind_of_items(items: &Value, null_is_said: bool) -> String {
    match kind(items, null_is_said).as_str() {
        "" => "anything".to_owned(),
        "whole number" => "whole numbers".to_owned(),
        "number" => "numbers".to_owned(),
        "object" => "objects".to_owned(),
        of => of.to_owned(),
    }
}

/// A JSON value as short text.
fn plain(value: &Value) -> String {
    value.as_str().map_or_else(|| value.to_string(), str::to_owned)
}

/// Limits and default.
fn facts(property: &Value) -> String {
    let mut facts = Vec::new();
    if let Some(default) = property.get("default").or_else(|| property.get("x-default")) {
        facts.push(format!("Default <code>{}</code>", escape(&default.to_string())));
    }
    let ways = property["anyOf"].as_array().into_iter().flatten();
    for schema in [property].into_iter().chain(ways) {
        facts.extend(limits(schema));
    }
    if facts.is_empty() { String::new() } else { format!(" <span class=\"facts\">{}</span>", facts.join(" · ")) }
}

fn limits(schema: &Value) -> Vec<String> {
    let unit = schema["x-unit"].as_str().map(|unit| format!(" {}", escape(unit))).unwrap_or_default();
    let mut limits = Vec::new();
    let bounds = (schema.get("minimum"), schema.get("exclusiveMinimum"), schema.get("maximum"));
    match bounds {
        (Some(least), _, Some(most)) => limits.push(format!("{least} to {most}{unit}")),
        (_, Some(above), Some(most)) => limits.push(format!("over {above}, at most {most}{unit}")),
        (Some(least), _, None) => limits.push(format!("at least {least}{unit}")),
        (_, Some(above), None) => limits.push(format!("over {above}{unit}")),
        (None, None, Some(most)) => limits.push(format!("at most {most}{unit}")),
        (None, None, None) if !unit.is_empty() => limits.push(unit.trim().to_owned()),
        (None, None, None) => {}
    }
    match (schema.get("minLength"), schema.get("maxLength")) {
        (Some(least), Some(most)) => limits.push(format!("{least} to {most} characters")),
        (Some(least), None) => limits.push(format!("at least {least} characters")),
        (None, Some(most)) => limits.push(format!("at most {most} characters")),
        (None, None) => {}
    }
    match (schema.get("minItems"), schema.get("maxItems")) {
        (Some(least), Some(most)) => limits.push(format!("{least} to {most} elements")),
        (Some(least), None) => limits.push(format!("at least {least}")),
        (None, Some(most)) => limits.push(format!("at most {most}")),
        (None, None) => {}
    }
    match schema["pattern"].as_str() {
        Some(pattern) if pattern.starts_with("^[^") => limits.push("no control characters".to_owned()),
        Some(pattern) => limits.push(format!("<code class=\"pattern\">{}</code>", escape(pattern))),
        None => {}
    }
    limits
}
