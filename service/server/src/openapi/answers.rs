//! Answers and their header fields.

use serde_json::{Map, Value, json};

use super::schemas::refer;

/// Faults that an answer can be, with what they mean.
const FAULTS: [(u16, &str, &str); 12] = [
    (
        400,
        "NotParseable",
        "The request cannot be parsed: HTTP, multipart or JSON is broken, or there is no part `job`.",
    ),
    (401, "NoKey", "The service asks for a key, and there is none or an unknown one."),
    (403, "NoScope", "The key does not open this operation."),
    (404, "NotFound", "There is nothing at this path."),
    (405, "MethodNotAllowed", "The path does not take this method."),
    (406, "NotAcceptable", "The answer is not to be had in a media type that `Accept` takes."),
    (408, "TooSlow", "The body was not complete within the time that it is given."),
    (
        413,
        "TooLarge",
        "The body as a whole has more bytes or parts than the limit. (One picture over its own limits is a \
        finding, `art.over_limit`.)",
    ),
    (415, "UnsupportedMediaType", "The body, or its part `job`, is of a type or coding that is not taken."),
    (
        422,
        "Mistaken",
        "The request parses, but breaks its schema or a rule, or nothing of it can be made. `mistakes` lists all \
        that is wrong.",
    ),
    (500, "Internal", "The service made a mistake. It was logged with the request's id."),
    (503, "Unavailable", "The service is full or about to stop. Send the request again after `Retry-After` seconds."),
];

/// Fault statuses of a request with a body.
pub(super) const OF_WORK: [u16; 11] = [400, 401, 403, 405, 406, 408, 413, 415, 422, 500, 503];
/// Of a listing behind a key.
pub(super) const OF_LISTING: [u16; 5] = [401, 403, 405, 406, 500];
/// Of a page that everybody may read.
pub(super) const OF_READING: [u16; 3] = [405, 406, 500];

/// Header fields by name.
pub(super) fn headers() -> Value {
    let text = |description: &str, schema: &Value| json!({"description": description, "schema": schema});
    let whole = json!({"type": "integer", "minimum": 0});
    let string = json!({"type": "string"});
    json!({
        "X-Request-Id": text("Id of the request in the service's log.", &string),
        "Content-Digest": text("SHA-256 of the answer's content (RFC 9530), like `sha-256=:…:`.", &string),
        "Proof-Digest": text(
            "Digest of what will be made, to be kept with the customer's consent: 64 hexadecimal digits.",
            &json!({"type": "string", "pattern": "^[0-9a-f]{64}$"}),
        ),
        "Proof-Verdict": text(
            "What preflight says of the sticker, whatever the picture looks like.",
            &json!({"type": "string", "enum": ["ready", "caution", "reject"]}),
        ),
        "Retry-After": text("Seconds after which to try again.", &whole),
        "Accept": text("Media types that a body may have, where that was the matter.", &string),
        "Accept-Encoding": text("Codings that a body may have, where that was the matter.", &string),
        "Allow": text("Methods that the path takes.", &string),
        "WWW-Authenticate": text("How to authenticate: `Bearer`, with the scope that is needed (RFC 6750).", &string),
    })
}

fn header(name: &str) -> Value {
    json!({"$ref": format!("#/components/headers/{name}")})
}

/// Header fields of an answer: those of every answer and these.
fn with_headers(more: &[&str]) -> Value {
    let names = ["X-Request-Id", "Content-Digest"].iter().chain(more);
    Value::Object(names.map(|name| ((*name).to_owned(), header(name))).collect())
}

/// An answer with content by media type.
pub(super) fn answer(description: &str, headers: &[&str], content: &Value) -> Value {
    json!({"description": description, "headers": with_headers(headers), "content": content})
}

/// Every fault as a reusable answer.
pub(super) fn problems() -> Map<String, Value> {
    let fault = |(status, name, description): &(u16, &str, &str)| {
        let own: &[&str] = match status {
            401 | 403 => &["WWW-Authenticate"],
            415 => &["Accept", "Accept-Encoding"],
            405 => &["Allow"],
            503 => &["Retry-After"],
            _ => &[],
        };
        let mut content = json!({"schema": refer("Problem")});
        let example = super::examples::problem(*status).document();
        let code = example["code"].as_str().unwrap_or("example").replace('.', "_");
        content["examples"] = json!({code: {"value": example}});
        ((*name).to_owned(), answer(description, own, &json!({"application/problem+json": content})))
    };
    FAULTS.iter().map(fault).collect()
}

/// The answers of an operation: what goes well, and its faults.
pub(super) fn answers(good: Value, faults: &[u16]) -> Value {
    let mut answers = Map::from_iter([("200".to_owned(), good)]);
    for (status, name, _) in FAULTS.iter().filter(|(status, ..)| faults.contains(status)) {
        answers.insert(status.to_string(), json!({"$ref": format!("#/components/responses/{name}")}));
    }
    Value::Object(answers)
}
