//! Values made from what a property's schema says, and what the reader should say to them.

use serde_json::{Value, json};

use crate::wire::ids;
use crate::wire::schema::stock::MEDIA_PATTERN;

/// What the reader should say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Verdict {
    Taken,
    Refused,
    /// Of the contract, but not made yet.
    NotYet,
}

/// A value to be fed to the reader.
#[derive(Clone, Debug)]
pub(super) struct Probe {
    pub(super) value: Value,
    pub(super) verdict: Verdict,
}

fn taken(value: Value) -> Probe {
    Probe { value, verdict: Verdict::Taken }
}

fn refused(value: Value) -> Probe {
    Probe { value, verdict: Verdict::Refused }
}

/// Every value worth trying.
pub(super) fn probes(property: &Value) -> Vec<Probe> {
    let mut probes = of_schema(property);
    let default = property.get("default").or_else(|| property.get("x-default"));
    let is_default = |value: &Value| value.is_null() || default.is_some_and(|default| equal(default, value));
    match property.get("x-not-supported-yet").or_else(|| property.get("x-not-supported-yet-in-runs")) {
        Some(Value::Array(words)) => {
            let named = |value: &Value| {
                words.contains(value)
                    || value.as_array().is_some_and(|list| list.iter().any(|element| words.contains(element)))
            };
            for probe in probes.iter_mut().filter(|probe| probe.verdict == Verdict::Taken && named(&probe.value)) {
                probe.verdict = Verdict::NotYet;
            }
        }
        // Whatever it is, it is refused.
        Some(_) => {
            for probe in probes.iter_mut().filter(|probe| probe.verdict == Verdict::Taken && !is_default(&probe.value))
            {
                probe.verdict = Verdict::Refused;
            }
        }
        None => {}
    }
    probes
}

fn equal(a: &Value, b: &Value) -> bool {
    match (a.as_f64(), b.as_f64()) {
        (Some(a), Some(b)) => (a - b).abs() <= 0.0,
        _ => a == b,
    }
}

fn types(schema: &Value) -> Vec<&str> {
    match &schema["type"] {
        Value::String(kind) => vec![kind],
        Value::Array(kinds) => kinds.iter().filter_map(Value::as_str).collect(),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::Object(_) => Vec::new(),
    }
}

fn of_schema(schema: &Value) -> Vec<Probe> {
    let mut found = Vec::new();
    for kind in types(schema) {
        match kind {
            "null" => found.push(taken(Value::Null)),
            "boolean" => found.extend([taken(json!(true)), taken(json!(false)), refused(json!(1))]),
            "number" => found.extend(numbers(schema, 0.001)),
            "integer" => {
                found.extend(numbers(schema, 1.0));
                found.push(refused(json!(1.5)));
            }
            "string" => found.extend(strings(schema)),
            "array" => found.extend(lists(schema)),
            _ => {}
        }
    }
    if types(schema).is_empty() {
        let ways = schema["anyOf"].as_array().into_iter().flatten();
        found.extend(ways.flat_map(of_schema));
    }
    if !types(schema).contains(&"boolean") {
        found.push(refused(json!(true)));
    }
    found
}

fn numbers(schema: &Value, step: f64) -> Vec<Probe> {
    let bound = |keyword: &str| schema.get(keyword).and_then(Value::as_f64);
    let mut found = vec![refused(json!("7"))];
    if let Some(least) = bound("minimum") {
        found.extend([taken(json!(least)), refused(json!(least - step))]);
    }
    if let Some(above) = bound("exclusiveMinimum") {
        found.extend([refused(json!(above)), taken(json!(above + step))]);
    }
    if let Some(most) = bound("maximum") {
        found.extend([taken(json!(most)), refused(json!(most + step))]);
    }
    found
}

/// A text that a pattern takes.
fn matching(pattern: &str) -> String {
    match pattern {
        ids::COLOUR_PATTERN => "#0f766E".to_owned(),
        ids::DIGEST_PATTERN => "0a".repeat(32),
        MEDIA_PATTERN => "iso_a4_210x297mm".to_owned(),
        ids::FILE_NAME_PATTERN => "a.B_9-".to_owned(),
        ids::PLAIN_PATTERN => "№ 7/ä 🦊".to_owned(),
        other => panic!("no text is known that {other} takes"),
    }
}

fn strings(schema: &Value) -> Vec<Probe> {
    let mut found = vec![refused(json!(7))];
    if let Some(words) = schema["enum"].as_array() {
        found.extend(words.iter().cloned().map(taken));
        found.push(refused(json!("no such word")));
    }
    let length =
        |keyword: &str| schema.get(keyword).and_then(Value::as_u64).and_then(|length| usize::try_from(length).ok());
    if let Some(most) = length("maxLength") {
        found.extend([taken(json!("x".repeat(most))), refused(json!("x".repeat(most + 1)))]);
    }
    if let Some(least) = length("minLength").filter(|least| *least > 0 && schema.get("pattern").is_some()) {
        found.extend([taken(json!("x".repeat(least))), refused(json!("x".repeat(least - 1)))]);
    }
    if let Some(pattern) = schema["pattern"].as_str() {
        found.extend([taken(json!(matching(pattern))), refused(json!("a\u{7}"))]);
    }
    let is_date = schema["format"] == "date" || schema["anyOf"].as_array().is_some_and(|ways| !ways.is_empty());
    if is_date {
        found.extend([taken(json!("2026-12-01")), refused(json!("2026-02-30")), refused(json!("tomorrow"))]);
    }
    found
}

fn lists(schema: &Value) -> Vec<Probe> {
    let items = &schema["items"];
    let of_items = of_schema(items);
    let mut found: Vec<Probe> = Vec::new();
    let size = |keyword: &str| schema.get(keyword).and_then(Value::as_u64).and_then(|size| usize::try_from(size).ok());
    let least = size("minItems").unwrap_or(1);
    if !types(items).contains(&"object") && items.get("$ref").is_none() {
        let of_all = |probe: &Probe| Probe { value: json!(vec![&probe.value; least]), verdict: probe.verdict };
        found.extend(of_items.iter().map(of_all));
    }
    found.push(if size("minItems").is_some() { refused(json!([])) } else { taken(json!([])) });
    if let (Some(most), Some(good)) = (size("maxItems"), of_items.iter().find(|probe| probe.verdict == Verdict::Taken))
    {
        found.extend([taken(json!(vec![&good.value; most])), refused(json!(vec![&good.value; most + 1]))]);
    }
    found.push(refused(json!({})));
    found
}
