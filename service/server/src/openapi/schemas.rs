//! Every schema of the document: those of requests, and those of answers as their types derive them.

use quoin_prepress::finding::{Finding, SetAside};
use quoin_prepress::output::report::{Estimate, Report};
use quoin_prepress::output::ticket::Ticket;
use quoin_prepress::run::ProofDocument;
use schemars::generate::{SchemaGenerator, SchemaSettings};
use serde_json::{Map, Value, json};

use super::codes;
use crate::wire::schema;

/// Names of schemas in the document.
pub(super) fn refer(name: &str) -> Value {
    json!({"$ref": format!("#/components/schemas/{name}")})
}

/// A generator of schemas as values are written, in JSON Schema 2020-12.
fn generator(definitions: &'static str) -> SchemaGenerator {
    let settings = SchemaSettings::draft2020_12().for_serialize().with(|settings| {
        settings.definitions_path = definitions.into();
        settings.meta_schema = None;
    });
    settings.with_transform(words_as_enum).into_generator()
}

/// Words with a description each come as a choice of constants, which generators of clients read as so many types: here
/// they become one list, and the descriptions one text.
fn words_as_enum(schema: &mut schemars::Schema) {
    let constants = schema.get("oneOf").and_then(Value::as_array).and_then(|ways| {
        let word = |way: &Value| Some((way["const"].as_str()?.to_owned(), way["description"].as_str()?.to_owned()));
        ways.iter().map(word).collect::<Option<Vec<(String, String)>>>()
    });
    if let Some(words) = constants {
        let meanings = words.iter().map(|(word, meaning)| format!("`{word}`: {meaning}"));
        let about = schema.get("description").and_then(Value::as_str).map(str::to_owned);
        let description = about.into_iter().chain(meanings).collect::<Vec<_>>().join(" ");
        schema.remove("oneOf");
        schema.insert("type".to_owned(), "string".into());
        schema.insert("enum".to_owned(), words.into_iter().map(|(word, _)| word).collect());
        schema.insert("description".to_owned(), description.into());
    }
    schemars::transform::transform_subschemas(&mut words_as_enum, schema);
}

/// All of them, by name.
pub(super) fn all() -> Map<String, Value> {
    let mut schemas = derived();
    for (name, schema) in schema::requests() {
        let before = schemas.insert(name.to_owned(), schema);
        debug_assert!(before.is_none(), "two schemas are called {name}");
    }
    for (name, schema) in envelopes() {
        schemas.insert(name.to_owned(), schema);
    }
    schemas
}

/// Those of the types that are written.
fn derived() -> Map<String, Value> {
    let mut generator = generator("/components/schemas");
    generator.subschema_for::<Ticket>();
    generator.subschema_for::<Finding>();
    generator.subschema_for::<SetAside>();
    generator.subschema_for::<Report>();
    generator.subschema_for::<Estimate>();
    generator.subschema_for::<ProofDocument<'static>>();
    let mut schemas = generator.take_definitions(true);
    schemas.insert("UsedStock".to_owned(), schema::complete_stock());
    schemas.insert("UsedPolicy".to_owned(), schema::complete_policy());
    schemas.insert("UsedItem".to_owned(), schema::complete_item());
    if let Some(settings) = schemas.get_mut("UsedSettings") {
        settings["properties"]["stock"] = described(&settings["properties"]["stock"], refer("UsedStock"));
        settings["properties"]["item"] = described(&settings["properties"]["item"], refer("UsedItem"));
    }
    say_settings(&mut schemas, &refer("UsedStock"), &refer("UsedPolicy"));
    schemas
}

/// A schema with the description of another.
fn described(by: &Value, mut schema: Value) -> Value {
    schema["description"] = by["description"].clone();
    schema
}

/// The ticket's schema on its own, its parts under `$defs`.
pub(super) fn ticket() -> Value {
    let mut schema = generator("/$defs").into_root_schema_for::<Ticket>().to_value();
    if let Some(Value::Object(parts)) = schema.get_mut("$defs") {
        parts.insert("UsedStock".to_owned(), schema::complete_stock());
        parts.insert("UsedPolicy".to_owned(), schema::complete_policy());
        let refer = |name: &str| json!({"$ref": format!("#/$defs/{name}")});
        say_settings(parts, &refer("UsedStock"), &refer("UsedPolicy"));
    }
    schema
}

/// A ticket keeps stocks and policy as the words of the contract, which the library does not read: their schemas are those
/// of the requests, made complete.
fn say_settings(schemas: &mut Map<String, Value>, stock: &Value, policy: &Value) {
    let Some(settings) = schemas.get_mut("RunSettings") else { return };
    settings["properties"]["stocks"]["additionalProperties"] = stock.clone();
    settings["properties"]["policy"] = described(&settings["properties"]["policy"], policy.clone());
}

/// What the HTTP service puts around what the library writes.
fn envelopes() -> Vec<(&'static str, Value)> {
    let base64 = json!({"type": "string", "contentEncoding": "base64", "description": "Its bytes, base64."});
    vec![
        (
            "Stocks",
            object(
                "The stocks that the shop configured.",
                &json!({
                    "stocks": {"type": "array", "items": refer("UsedStock"), "description": "Each complete."},
                }),
            ),
        ),
        (
            "GangAnswer",
            object(
                "A run with all its files inline.",
                &json!({
                    "ticket": refer("Ticket"),
                    "files": {
                        "type": "array",
                        "description": "Every file of the run, ticket.json first.",
                        "items": object("A file.", &json!({
                            "path": {"type": "string", "description": "Its path in the run, like `sheet-001/print.pdf`."},
                            "base64": base64,
                        })),
                    },
                }),
            ),
        ),
        ("Problem", problem()),
        (
            "Mistake",
            object(
                "One mistake in a request.",
                &json!({
                    "code": {"type": "string", "enum": codes::in_mistakes(), "description": "Stable code; `/problems/{code}` explains it. \
                        New ones may be added."},
                    "pointer": {"type": "string", "description": "Where the bad value is written: a JSON Pointer (RFC 6901) into the \
                        job; for something missing, the object that lacks it; `\"\"` for the body as a whole."},
                    "message": {"type": "string", "description": "What is wrong and what would be right."},
                }),
            ),
        ),
        (
            "ProblemPage",
            object(
                "What there is to say of a code.",
                &json!({
                    "code": {"type": "string", "description": "The stable code."},
                    "title": {"type": "string", "description": "A few words."},
                    "status": {"type": ["integer", "null"], "description": "Status of an answer with this code as its own; null for a \
                        finding."},
                    "cause": {"type": "string", "description": "How it comes about."},
                    "remedy": {"type": "string", "description": "What to do."},
                }),
            ),
        ),
    ]
}

fn problem() -> Value {
    let problem_codes: Vec<&str> = codes::problems().iter().map(|entry| entry.code).collect();
    let mut schema = object(
        "A problem document (RFC 9457).",
        &json!({
            "type": {"type": "string", "format": "uri-reference", "description": "`/problems/{code}`."},
            "title": {"type": "string", "description": "What kind of problem it is."},
            "status": {"type": "integer", "minimum": 400, "maximum": 599, "description": "The status of the answer."},
            "detail": {"type": "string", "description": "What is the matter this time."},
            "code": {"type": "string", "enum": problem_codes, "description": "Stable code; it never changes its meaning. New ones may be added."},
            "mistakes": {"type": "array", "items": refer("Mistake"), "description": "Every mistake of the request, all at once."},
        }),
    );
    schema["properties"]["findings"] = json!({
        "type": "array",
        "items": {"anyOf": [refer("SetAside"), refer("Finding")]},
        "description": "Where findings are the cause: a proof's findings; of a gang what was set aside, as in the ticket.",
    });
    schema
}

/// An object of which every property is always there.
fn object(description: &str, properties: &Value) -> Value {
    let names: Vec<String> = properties.as_object().into_iter().flat_map(Map::keys).cloned().collect();
    json!({"type": "object", "description": description, "properties": properties, "required": names})
}
