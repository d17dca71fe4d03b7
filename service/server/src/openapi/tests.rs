//! The committed documents are those of this code.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Mutex;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use quoin_prepress::cancel::Cancel;
use quoin_prepress::intake::Limits;
use quoin_prepress::order::ProofDrawing;
use quoin_prepress::run::{self, Hooks, Store};
use serde_json::{Value, json};

use super::examples::{KEPT, NoArt, requests};
use super::{document, pretty, ticket_schema};
use crate::wire::{self, Configured};

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

#[test]
fn the_committed_page_of_findings_is_that_of_this_code() {
    let committed = include_str!("../../../../openapi/findings.md");
    assert!(
        committed == quoin_prepress::preflight::catalogue(),
        "openapi/findings.md is another; renew it: cargo run --release -- openapi --findings > openapi/findings.md"
    );
}

#[test]
fn the_readme_lists_every_threshold_with_what_is_built_in() {
    let readme = include_str!("../../../../README.md");
    for threshold in quoin_prepress::order::Thresholds::ALL {
        let row = format!("| `{}` | {} |", threshold.name, threshold.built_in);
        assert!(readme.contains(&row), "the README has no row {row}");
    }
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

/// Says so where the kept answers are to be written anew instead of compared.
const WRITE: &str = "QUOIN_WRITE_EXAMPLES";

/// Files of a run.
#[derive(Debug, Default)]
struct Kept(Mutex<BTreeMap<String, Vec<u8>>>);

impl Store for Kept {
    fn put(&self, path: &str, bytes: &[u8]) -> std::io::Result<()> {
        self.0.lock().expect("nobody panics holding it").insert(path.to_owned(), bytes.to_vec());
        Ok(())
    }
}

/// What an operation answers to a request.
fn answer(operation: &str, request: &Value) -> Value {
    let (text, shop, cancel, limits) = (request.to_string(), Configured::default(), Cancel::new(), Limits::default());
    let text = text.as_bytes();
    match operation {
        "preflight" => {
            let inquiry = wire::read_preflight(text, &mut NoArt, &shop).expect("a good request");
            json!(run::preflight(&inquiry, &limits, &cancel).expect("a report"))
        }
        "proof" => {
            let (inquiry, view) = wire::read_proof(text, &mut NoArt, &shop).expect("a good request");
            json!(run::proof(&inquiry, &view, ProofDrawing::Png, &limits, &cancel).expect("a proof").document())
        }
        "estimate" => {
            let (inquiry, quantities) = wire::read_estimate(text, &mut NoArt, &shop).expect("a good request");
            json!(run::estimate(&inquiry, &quantities, &limits, &cancel).expect("an estimate"))
        }
        _ => {
            let job = wire::read_gang_job(text, &mut NoArt, &shop).expect("a good request");
            let store = Kept::default();
            let hooks = Hooks { progress: &|_| {}, out_of_time: &|| false, cancel: &cancel };
            let ticket = run::gang(&job, &limits, &store, hooks).expect("a run");
            let mut files = store.0.into_inner().expect("nobody panicked");
            let first = files.remove_entry("ticket.json");
            let file = |(path, bytes)| json!({"path": path, "base64": STANDARD.encode::<Vec<u8>>(bytes)});
            let files: Vec<Value> = first.into_iter().chain(files).map(file).collect();
            json!({"ticket": ticket, "files": files})
        }
    }
}

#[test]
fn kept_answers_are_those_that_are_given() {
    for (operation, name, kept) in KEPT {
        let examples = requests(operation);
        let request = examples.iter().find(|example| example.name == name).expect("the request is an example");
        let given = pretty(&answer(operation, request.body()));
        if std::env::var_os(WRITE).is_some() {
            let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../openapi/examples");
            std::fs::write(folder.join(format!("{operation}.json")), given).expect("the folder can be written to");
            continue;
        }
        let how = "write it anew: QUOIN_WRITE_EXAMPLES=1 cargo test --release -p quoin-server kept_answers";
        assert!(kept == given, "openapi/examples/{operation}.json is not up to date; {how}");
    }
}

#[test]
fn every_example_of_a_request_is_read_and_answered() {
    for operation in ["preflight", "proof", "estimate", "gang"] {
        for example in requests(operation) {
            let given = answer(operation, example.body());
            assert!(given.as_object().is_some_and(|given| given.len() > 1), "{operation} {}", example.name);
            // An example that is rejected would show little.
            assert_ne!(given["verdict"], "reject", "{operation} {}", example.name);
        }
    }
}
