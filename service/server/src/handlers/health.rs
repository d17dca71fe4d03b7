//! `/healthz` and `/readyz`: the process is there and answers. There is nothing yet that could make it unready.

use actix_web::HttpResponse;
use actix_web::http::header::{CACHE_CONTROL, ContentType};

/// Alive.
pub(crate) async fn alive() -> HttpResponse {
    HttpResponse::Ok().content_type(ContentType::plaintext()).insert_header((CACHE_CONTROL, "no-store")).body("ok\n")
}
