//! How answers are written.

mod archive;
mod digest;

use actix_web::HttpResponse;
use actix_web::http::header::CACHE_CONTROL;
use quoin_prepress::output;
use serde::Serialize;

use crate::problem::Problem;

pub(crate) use archive::{Archive, ArchiveKind, Staging};
pub(crate) use digest::add_digest;

/// What a fault calls an answer that cannot be written.
pub(crate) const ANSWER: &str = "the answer";

/// Media type of JSON.
pub(crate) const JSON: &str = "application/json";

/// JSON as the command line prints it: pretty, with a line's end.
///
/// # Errors
/// `http.internal` when a value has no JSON, which none of ours does.
pub(crate) fn json(value: &impl Serialize) -> Result<HttpResponse, Problem> {
    let body = output::json(ANSWER, value).map_err(Problem::Fault)?;
    Ok(bytes(JSON, body))
}

/// An answer of a media type. Nothing of it is kept by caches: it may be somebody's picture.
pub(crate) fn bytes(media_type: &str, body: impl Into<Vec<u8>>) -> HttpResponse {
    HttpResponse::Ok().content_type(media_type).insert_header((CACHE_CONTROL, "no-store")).body(body.into())
}
