//! The operations that only read, and those for operators.

use serde_json::{Map, Value, json};

use super::answers::{OF_LISTING, OF_READING, answer, answers};
use super::examples;
use super::operations::with_key;
use super::schemas::refer;

struct Reading {
    path: &'static str,
    id: &'static str,
    tag: &'static str,
    summary: &'static str,
    description: &'static str,
    locked: bool,
    faults: Vec<u16>,
    content: Value,
}

/// Their paths.
pub(super) fn paths() -> Map<String, Value> {
    let all = [stocks(), health(), readiness(), metrics(), openapi(), docs(), problem()];
    all.into_iter().map(|reading| (reading.path.to_owned(), path(&reading))).collect()
}

fn path(reading: &Reading) -> Value {
    let operation = |id: String, summary: String, good: Value| {
        json!({
            "operationId": id,
            "tags": [reading.tag],
            "summary": summary,
            "description": reading.description,
            "security": if reading.locked { with_key() } else { json!([]) },
            "responses": answers(good, &reading.faults),
        })
    };
    let get =
        operation(reading.id.to_owned(), reading.summary.to_owned(), answer(reading.summary, &[], &reading.content));
    let mut without_content = answer("The same header fields without content.", &[], &json!({}));
    if let Value::Object(answer) = &mut without_content {
        answer.remove("content");
    }
    let mut head =
        operation(format!("{}_head", reading.id), format!("{} (header only)", reading.summary), without_content);
    // An answer to HEAD has no content, whatever its status.
    head["responses"] = json!({"200": head["responses"]["200"], "default": {
        "description": "The status and header fields that GET would have."}});
    let mut item = json!({"get": get, "head": head});
    if reading.path.contains("{code}") {
        item["parameters"] = json!([{
            "name": "code",
            "in": "path",
            "required": true,
            "description": "The `code` of a problem, mistake or finding.",
            "schema": {"type": "string"},
            "examples": {"low resolution": {"value": "resolution.low"}},
        }]);
    }
    item
}

/// Plain text that says ok.
fn ok() -> Value {
    json!({"text/plain": {"schema": {"type": "string"}, "examples": {"ok": {"value": "ok\n"}}}})
}

fn stocks() -> Reading {
    Reading {
        path: "/v1/stocks",
        id: "list_stocks",
        tag: "stickers",
        summary: "List the configured stocks",
        description: "The stocks that the shop configured, each complete. A request may name them.",
        locked: true,
        faults: OF_LISTING.to_vec(),
        content: json!({"application/json": examples::answered("Stocks", "stocks")}),
    }
}

fn health() -> Reading {
    Reading {
        path: "/healthz",
        id: "health",
        tag: "operating",
        summary: "Whether the service is alive",
        description: "Answered within milliseconds also under full load.",
        locked: false,
        faults: vec![405],
        content: ok(),
    }
}

fn readiness() -> Reading {
    Reading {
        path: "/readyz",
        id: "readiness",
        tag: "operating",
        summary: "Whether the service takes work",
        description: "503 once the service was told to stop, so that balancers look for another one.",
        locked: false,
        faults: vec![405, 503],
        content: ok(),
    }
}

fn metrics() -> Reading {
    let text = json!({"schema": {"type": "string"}});
    Reading {
        path: "/metrics",
        id: "metrics",
        tag: "operating",
        summary: "Counters for a monitoring system",
        description: "In the text format of OpenMetrics, whatever `Accept` says.",
        locked: true,
        faults: vec![401, 403, 405, 500],
        content: json!({"application/openmetrics-text": text}),
    }
}

fn openapi() -> Reading {
    Reading {
        path: "/openapi.json",
        id: "openapi",
        tag: "reading",
        summary: "This document",
        description: "The OpenAPI document of this build.",
        locked: false,
        faults: OF_READING.to_vec(),
        content: json!({"application/json": {"schema": {"type": "object"}}}),
    }
}

fn docs() -> Reading {
    Reading {
        path: "/docs",
        id: "docs",
        tag: "reading",
        summary: "This document for reading",
        description: "One page without scripts.",
        locked: false,
        faults: OF_READING.to_vec(),
        content: json!({"text/html": {"schema": {"type": "string"}}}),
    }
}

fn problem() -> Reading {
    Reading {
        path: "/problems/{code}",
        id: "problem",
        tag: "reading",
        summary: "What a code means and what to do",
        description: "A page for each code of a problem, a mistake or a finding: `text/html` (default) or `application/json`.",
        locked: false,
        faults: vec![404, 405, 406, 500],
        content: json!({
            "text/html": {"schema": {"type": "string"}},
            "application/json": {"schema": refer("ProblemPage")},
        }),
    }
}
