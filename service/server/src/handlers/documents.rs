//! `GET /openapi.json`, `GET /docs`, `GET /problems/{code}`

use std::sync::LazyLock;

use actix_web::http::header::{CACHE_CONTROL, CONTENT_SECURITY_POLICY};
use actix_web::{HttpRequest, HttpResponse, web};
use serde_json::json;

use crate::answer;
use crate::problem::{self, Problem};
use crate::request::choose;
use crate::{docs, openapi};

const HTML: &str = "text/html; charset=utf-8";

/// Pages are text and a style of their own: nothing is fetched, nothing runs.
const NOTHING_BUT_STYLE: &str = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'";

/// These follow from the build alone; an hour is short enough for the next one.
const AN_HOUR: &str = "max-age=3600";

static OPENAPI: LazyLock<String> = LazyLock::new(|| openapi::pretty(&openapi::document()));
static DOCS: LazyLock<String> = LazyLock::new(docs::page);

/// The contract.
pub(crate) async fn openapi(request: HttpRequest) -> Result<HttpResponse, Problem> {
    choose(&request, &[answer::JSON])?;
    Ok(document(answer::JSON, OPENAPI.as_str()))
}

/// The contract to read.
pub(crate) async fn docs(request: HttpRequest) -> Result<HttpResponse, Problem> {
    choose(&request, &["text/html"])?;
    Ok(document(HTML, DOCS.as_str()))
}

/// What a code means and what to do.
pub(crate) async fn problem(request: HttpRequest, code: web::Path<String>) -> Result<HttpResponse, Problem> {
    let entry = problem::find(&code).ok_or(Problem::NotFound)?;
    let media_type = choose(&request, &["text/html", answer::JSON])?;
    if media_type == answer::JSON {
        let page = json!({
            "code": entry.code, "status": entry.status, "title": entry.title, "cause": entry.cause, "remedy": entry.remedy,
        });
        return answer::json(&page);
    }
    Ok(document(HTML, &docs::problem_page(entry.code, entry.title, entry.status, &entry.cause, entry.remedy)))
}

fn document(media_type: &str, text: &str) -> HttpResponse {
    HttpResponse::Ok()
        .content_type(media_type)
        .insert_header((CACHE_CONTROL, AN_HOUR))
        .insert_header((CONTENT_SECURITY_POLICY, NOTHING_BUT_STYLE))
        .body(text.to_owned())
}
