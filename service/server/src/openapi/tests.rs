//! The committed documents are those of this code.

use serde_json::Value;

use super::{document, pretty, ticket_schema};

#[track_caller]
fn assert_committed(file: &str, committed: &str, document: &Value, command: &str) {
    // Compared as text: key order and indentation are part of what is committed.
    assert!(
        committed == pretty(document),
        "openapi/{file} is not up to date; write it anew: {command} > openapi/{file}"
    );
}

#[test]
fn the_committed_document_is_that_of_this_code() {
    let committed = include_str!("../../../../openapi/openapi.json");
    assert_committed("openapi.json", committed, &document(), "cargo run --release -- openapi");
}

#[test]
fn the_committed_ticket_schema_is_that_of_this_code() {
    let committed = include_str!("../../../../openapi/ticket.schema.json");
    let command = "cargo run --release -- openapi --ticket";
    assert_committed("ticket.schema.json", committed, &ticket_schema(), command);
}

/// Every `$ref` in a tree.
fn references(tree: &Value, found: &mut Vec<String>) {
    match tree {
        Value::Object(map) => {
            for (key, value) in map {
                match value.as_str() {
                    Some(target) if key == "$ref" => found.push(target.to_owned()),
                    _ => references(value, found),
                }
            }
        }
        Value::Array(list) => list.iter().for_each(|value| references(value, found)),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {}
    }
}

#[test]
fn every_reference_leads_somewhere() {
    for document in [document(), ticket_schema()] {
        let mut found = Vec::new();
        references(&document, &mut found);
        assert!(found.len() > 10);
        for target in found {
            let pointer = target.strip_prefix('#').expect("a reference into the same document");
            assert!(document.pointer(pointer).is_some(), "{target} leads nowhere");
        }
    }
}

/// Whether every schema, wherever it stands, that lists properties also says what they are.
fn undescribed(tree: &Value, path: &str, found: &mut Vec<String>) {
    let Value::Object(map) = tree else { return };
    for (key, value) in map {
        let path = format!("{path}/{key}");
        if key == "properties"
            && let Value::Object(properties) = value
        {
            for (name, property) in properties {
                let silent =
                    property.is_object() && property.get("description").is_none() && property.get("$ref").is_none();
                if silent && !path.contains("/allOf") && !path.contains("/then") && !path.contains("/if") {
                    found.push(format!("{path}/{name}"));
                }
            }
        }
        undescribed(value, &path, found);
    }
}

#[test]
fn every_property_is_described() {
    let mut found = Vec::new();
    undescribed(&document()["components"]["schemas"], "", &mut found);
    undescribed(&ticket_schema(), "", &mut found);
    assert_eq!(found, Vec::<String>::new());
}
