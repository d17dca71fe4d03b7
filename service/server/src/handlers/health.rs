//! `/healthz`: the process is there and answers. `/readyz`: balancers should send requests here.

use actix_web::http::header::{CACHE_CONTROL, ContentType};
use actix_web::{HttpRequest, HttpResponse};

use crate::problem::Problem;
use crate::service::Service;

/// Alive.
pub(crate) async fn alive() -> HttpResponse {
    ok()
}

/// Ready, or about to stop.
pub(crate) async fn ready(request: HttpRequest) -> Result<HttpResponse, Problem> {
    let service = Service::of(&request);
    if service.is_ready() { Ok(ok()) } else { Err(service.draining()) }
}

fn ok() -> HttpResponse {
    HttpResponse::Ok().content_type(ContentType::plaintext()).insert_header((CACHE_CONTROL, "no-store")).body("ok\n")
}
