//! Readers and schemas held against each other: the schema is walked, values are made from what it says, and the reader
//! judges them.

mod contexts;
mod probes;

use std::collections::{BTreeMap, BTreeSet};

use serde_json::{Value, json};

use super::{fields, requests};
use contexts::{Context, contexts};
use probes::{Probe, Verdict, probes};

/// Mistakes that a value alone can make; others come of what stands beside it.
fn is_of_the_value(code: &str) -> bool {
    let beside =
        ["contradiction", "broken_stock", "unknown_stock", "no_stock_chosen", "too_many_copies", "duplicate_id"];
    !beside.iter().any(|code_beside| code == format!("job.{code_beside}"))
}

/// The mistakes that the reader tells at a place or below it.
fn mistakes_at(context: &Context, request: &Value, pointer: &str) -> Vec<String> {
    let mistakes = context.read(request).err().unwrap_or_default();
    let below = format!("{pointer}/");
    let here = mistakes.into_iter().filter(|(_, at)| at == pointer || at.starts_with(&below));
    here.map(|(code, _)| code).collect()
}

/// Feeds one value to the reader and compares.
fn judge(context: &Context, name: &str, probe: &Probe, wrong: &mut Vec<String>) {
    let pointer = format!("{}/{name}", context.at);
    let found = mistakes_at(context, &context.with(name, Some(&probe.value)), &pointer);
    let as_said = match probe.verdict {
        Verdict::Taken => !found.iter().any(|code| is_of_the_value(code)),
        Verdict::Refused => !found.is_empty(),
        Verdict::NotYet => found == ["job.not_supported_yet"],
    };
    if !as_said {
        let value = probe.value.to_string().chars().take(60).collect::<String>();
        wrong.push(format!(
            "{} {pointer} = {value}: the schema says {:?}, the reader {found:?}",
            context.schema, probe.verdict
        ));
    }
}

#[test]
fn readers_take_what_the_schema_allows_and_refuse_what_it_does_not() {
    let schemas = requests();
    let mut walked: BTreeMap<&str, BTreeSet<String>> = BTreeMap::new();
    let mut wrong = Vec::new();
    for context in contexts() {
        let properties = schemas[context.schema]["properties"].as_object().expect("an object").clone();
        for (name, property) in properties.iter().filter(|(name, _)| !context.skipped.contains(&name.as_str())) {
            walked.entry(context.schema).or_default().insert(name.clone());
            for probe in probes(property) {
                judge(&context, name, &probe, &mut wrong);
            }
        }
    }
    assert_eq!(wrong, Vec::<String>::new());
    for (name, schema) in &schemas {
        let Some(properties) = schema.get("properties").and_then(Value::as_object) else { continue };
        let missed: Vec<&String> =
            properties.keys().filter(|key| !walked.get(name).is_some_and(|done| done.contains(*key))).collect();
        assert!(missed.is_empty(), "{name}: {missed:?} were never walked");
    }
}

#[test]
fn every_documented_default_is_the_built_in_value() {
    let schemas = requests();
    let mut compared = 0;
    for context in contexts() {
        let properties = schemas[context.schema]["properties"].as_object().expect("an object").clone();
        for (name, property) in properties.iter().filter(|(name, _)| !context.skipped.contains(&name.as_str())) {
            let Some(default) = property.get("default").or_else(|| property.get("x-default")) else { continue };
            let said = context.read(&context.with(name, Some(default)));
            let unsaid = context.read(&context.with(name, None));
            assert!(unsaid.is_ok(), "{} {}/{name}: {unsaid:?}", context.schema, context.at);
            assert_eq!(said, unsaid, "{} {}/{name} = {default}", context.schema, context.at);
            compared += 1;
        }
    }
    assert!(compared > 80, "only {compared} defaults were found");
}

#[test]
fn schemas_have_the_fields_of_their_readers() {
    let mut compared = 0;
    for (name, schema) in requests() {
        let Some(properties) = schema.get("properties").and_then(Value::as_object) else { continue };
        let Some(list) = fields(name) else { panic!("the fields of {name} are not known") };
        // Over HTTP there are no files beside the job.
        let is_elsewhere = |field: &str| name == "Art" && field == "file";
        let read: BTreeSet<&str> = list.iter().copied().filter(|field| !is_elsewhere(field)).collect();
        let written: BTreeSet<&str> = properties.keys().map(String::as_str).collect();
        assert_eq!(written, read, "{name}");
        compared += 1;
    }
    assert!(compared > 25);
}

#[test]
fn an_answers_stock_has_every_field_and_no_default() {
    let stock = super::complete_stock();
    let written = super::stock::built_in();
    let names: BTreeSet<&String> = written.as_object().expect("an object").keys().collect();
    let schema: BTreeSet<&String> = stock["properties"].as_object().expect("an object").keys().collect();
    assert_eq!(names, schema);
    let required: BTreeSet<&str> =
        stock["required"].as_array().into_iter().flatten().filter_map(Value::as_str).collect();
    assert_eq!(required, names.iter().map(|name| name.as_str()).collect());
    let text = stock.to_string();
    assert!(!text.contains("\"default\"") && !text.contains("$ref"), "{text}");
    assert_eq!(stock["properties"]["cutting"]["properties"]["nick_mm"]["type"], json!(["number", "null"]));
    assert_eq!(stock["properties"]["gutter_mm"]["type"], json!("number"));
}
