//! The operations that work: preflight, proof, estimate, gang.

use serde_json::{Map, Value, json};

use super::answers::{OF_WORK, answer, answers};
use super::examples;
use super::schemas::refer;

/// A key opens the operation where the service asks for keys.
pub(super) fn with_key() -> Value {
    json!([{}, {"bearer": []}])
}

struct Work {
    path: &'static str,
    id: &'static str,
    tag: &'static str,
    summary: &'static str,
    description: &'static str,
    request: &'static str,
    good: Value,
}

/// Their paths.
pub(super) fn paths() -> Map<String, Value> {
    [preflight(), proof(), estimate(), gang()].into_iter().map(|work| (work.path.to_owned(), path(work))).collect()
}

fn path(work: Work) -> Value {
    let mut operation = json!({
        "operationId": work.id,
        "tags": [work.tag],
        "summary": work.summary,
        "description": work.description,
        "security": with_key(),
        "requestBody": body(work.id, work.request),
        "responses": answers(work.good, &OF_WORK),
    });
    if work.id == "gang" {
        operation["parameters"] = json!([{
            "name": "Prefer",
            "in": "header",
            "description": "Accepted and ignored: runs are always answered at once (RFC 7240 allows it).",
            "schema": {"type": "string"},
        }]);
    }
    json!({"post": operation})
}

/// Both ways to send a request.
fn body(id: &str, request: &str) -> Value {
    let named: Map<String, Value> =
        examples::requests(id).into_iter().map(|example| (example.name.to_owned(), example.into_value())).collect();
    json!({
        "required": true,
        "description": "JSON with pictures inline, or multipart with the JSON in the part `job` and each picture in a part of \
                        its own, named as the JSON mentions it.",
        "content": {
            "multipart/form-data": {
                "schema": {
                    "type": "object",
                    "properties": {"job": refer(request)},
                    "required": ["job"],
                    "additionalProperties": {
                        "type": "string",
                        "format": "binary",
                        "description": "A picture, as bytes. The name of the part is what `art.part` says.",
                    },
                },
                "encoding": {"job": {"contentType": "application/json"}},
            },
            "application/json": {"schema": refer(request), "examples": named},
        },
    })
}

fn preflight() -> Work {
    Work {
        path: "/v1/preflight",
        id: "preflight",
        tag: "stickers",
        summary: "Check a picture against an order",
        description: "Measures the picture at the ordered size and lists every finding with a remedy that a customer may read. \
                      Answers 200 also for a picture that cannot be printed (`verdict`: `reject`); only a broken request is a \
                      4xx. Without `size`, resolution is not judged and the measures say how large the picture can go.",
        request: "PreflightRequest",
        good: answer("The report.", &[], &json!({"application/json": examples::answered("Report", "preflight")})),
    }
}

fn proof() -> Work {
    let picture = |kind: &str| json!({"schema": {"type": "string", "contentMediaType": kind}});
    let mut png = picture("image/png");
    png["schema"] = json!({"type": "string", "format": "binary", "contentMediaType": "image/png"});
    Work {
        path: "/v1/proofs",
        id: "proof",
        tag: "stickers",
        summary: "Draw the finished sticker",
        description: "Draws the sticker as it will be, with its cut line, on the ground asked for. `Accept` chooses: `image/png` \
                      (default), `image/svg+xml`, or `application/json` with the report, the digest and the picture. Keep \
                      `Proof-Digest` with the customer's consent, for the same stock; `Proof-Verdict` says whether it can be printed. A picture that preflight rejects is drawn all the same where \
                      that can be done; 422 with `findings` only when no sticker can be made.",
        request: "ProofRequest",
        good: answer(
            "The proof.",
            &["Proof-Digest", "Proof-Verdict"],
            &json!({
                "image/png": png,
                "image/svg+xml": picture("image/svg+xml"),
                "application/json": examples::answered("ProofAnswer", "proof"),
            }),
        ),
    }
}

fn estimate() -> Work {
    Work {
        path: "/v1/estimates",
        id: "estimate",
        tag: "stickers",
        summary: "Say what a quantity takes",
        description: "The basis of a price: size, area, lengths of cuts, share of ink, and for each quantity the sheets or the \
                      length of roll that it takes when it is laid out by itself. A sticker that is rejected answers 200 with \
                      its verdict and `quantities` empty.",
        request: "EstimateRequest",
        good: answer("The price basis.", &[], &json!({"application/json": examples::answered("Estimate", "estimate")})),
    }
}

fn gang() -> Work {
    let archive = json!({"schema": {"type": "string", "format": "binary", "contentMediaType": "application/zip"}});
    Work {
        path: "/v1/gangs",
        id: "gang",
        tag: "gangs",
        summary: "Lay out a night's orders",
        description: "Checks, draws and lays out every item and answers all files of the run: `ticket.json`, `pick-list.pdf`, and \
                      per sheet `print.pdf`, `cut.svg` and `preview.png`. An item that cannot be printed is set aside with its \
                      findings and the run goes on; a job that contradicts itself is refused whole. `Accept` chooses: \
                      `application/zip` (default), or `application/json` with the ticket and every file as base64.",
        request: "GangJob",
        good: answer(
            "The run.",
            &[],
            &json!({"application/zip": archive, "application/json": examples::answered("GangAnswer", "gang")}),
        ),
    }
}
