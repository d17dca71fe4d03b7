//! The OpenAPI document of the service and the schema of the ticket, generated from the code.
//!
//! Request schemas come from the readers' own lists and ranges ([`crate::wire::schema`]), answer schemas from the types
//! that are written. Both documents are committed under `openapi/` and compared by a test.

mod answers;
pub(crate) mod codes;
mod examples;
mod operations;
mod reading;
mod schemas;
#[cfg(test)]
mod tests;

use serde_json::{Value, json};

/// Version of the OpenAPI Specification that the document follows.
const OPENAPI: &str = "3.1.1";

/// Where a ticket's schema is known by.
const TICKET_ID: &str = "urn:quoin:ticket:1";

const ABOUT: &str = "\
Quoin turns sticker orders into files that a small shop can print and cut. While a customer waits, a storefront asks for a \
preflight (is the picture good enough at this size?), a proof (what will it look like?) and an estimate (what does it take?). \
At night one gang run lays out all orders of the day and answers print files, cut files, a pick list and a ticket.

**Requests.** A request with art is `multipart/form-data` (RFC 7578): one part `job` of `application/json` and one part per \
picture, whose name the JSON mentions with `{\"part\": \"name\"}`; a part that nothing mentions, or that comes twice, is \
refused. Small clients may send `application/json` alone with pictures inline: `{\"base64\": \"…\"}`. Nothing is ever fetched \
from a URL. Unknown fields are refused. Wherever a field may be left out, `null` stands for the built-in value.

**Units.** Lengths are millimetres, areas square millimetres, angles degrees clockwise, densities and shares 0 to 1; names say \
their unit. x points right, y down.

**Answers.** The same request on the same build and architecture gives the same bytes, so every answer carries \
`Content-Digest` (RFC 9530) and a request may be repeated safely. Every answer carries `X-Request-Id`. Clients must accept \
fields that they do not know. `HEAD` is taken wherever `GET` is.

**Faults** are problem documents (RFC 9457) with a stable `code`; every mistake of a request is listed at once, each with a \
JSON Pointer (RFC 6901). `/problems/{code}` explains each code. A picture that cannot be printed is no fault: it is a finding, \
and the answer is 200.

**Keys.** Where the operator asks for keys, send `Authorization: Bearer KEY`. A key has scopes: `inspect` (preflight, proofs, \
estimates, stocks), `gang` (gangs), `metrics`. A service without keys listens on loopback alone.";

/// The whole document.
pub(crate) fn document() -> Value {
    let mut paths = operations::paths();
    paths.extend(reading::paths());
    json!({
        "openapi": OPENAPI,
        "info": {
            "title": "Quoin",
            "summary": "Sticker prepress: preflight, proofs, estimates and gang runs.",
            "description": ABOUT,
            "version": env!("CARGO_PKG_VERSION"),
            "license": {"name": "MIT OR Apache-2.0", "identifier": "MIT OR Apache-2.0"},
        },
        "servers": [{"url": "/", "description": "This service."}],
        "tags": [
            {"name": "stickers", "description": "One sticker, while a customer waits."},
            {"name": "gangs", "description": "The orders of a night on sheets and rolls."},
            {"name": "reading", "description": "For developers: this document and what the codes mean."},
            {"name": "operating", "description": "For whoever runs the service."},
        ],
        "paths": paths,
        "components": {
            "schemas": schemas::all(),
            "responses": answers::problems(),
            "headers": answers::headers(),
            "securitySchemes": {"bearer": {
                "type": "http",
                "scheme": "bearer",
                "description": "A key from the operator. Needed only where the service was set up with keys.",
            }},
        },
    })
}

/// The schema of `ticket.json`.
pub(crate) fn ticket_schema() -> Value {
    let mut schema = schemas::ticket();
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema".into();
    schema["$id"] = TICKET_ID.into();
    schema["title"] = quoin_prepress::output::ticket::SCHEMA.into();
    schema
}

/// A document as it is committed: indented, with a newline at its end.
pub(crate) fn pretty(document: &Value) -> String {
    format!("{document:#}\n")
}
