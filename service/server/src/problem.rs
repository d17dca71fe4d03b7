//! Faults as problem documents (RFC 9457). The only file that gives a fault its status.

use actix_web::HttpResponse;
use actix_web::http::StatusCode;
use actix_web::http::header::{ALLOW, CONTENT_TYPE};
use serde_json::json;

/// The media type of problem documents (RFC 9457, section 6.1).
const PROBLEM_JSON: &str = "application/problem+json";

/// There is nothing at this path.
pub(crate) fn not_found() -> HttpResponse {
    answer(StatusCode::NOT_FOUND, "http.not_found", "There is nothing at this path.", None)
}

/// The path does not take this method, but the ones given.
pub(crate) fn method_not_allowed(allow: &'static str) -> HttpResponse {
    let detail = format!("This path takes {allow}.");
    answer(StatusCode::METHOD_NOT_ALLOWED, "http.method_not_allowed", &detail, Some(allow))
}

fn answer(status: StatusCode, code: &str, detail: &str, allow: Option<&'static str>) -> HttpResponse {
    let document = json!({
        "type": format!("/problems/{code}"),
        "title": status.canonical_reason(),
        "status": status.as_u16(),
        "detail": detail,
        "code": code,
        "mistakes": [],
    });
    let mut response = HttpResponse::build(status);
    response.insert_header((CONTENT_TYPE, PROBLEM_JSON));
    if let Some(methods) = allow {
        response.insert_header((ALLOW, methods));
    }
    response.body(document.to_string())
}
