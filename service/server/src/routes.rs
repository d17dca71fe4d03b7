//! Every path of the service.

use actix_web::web::{self, ServiceConfig};
use actix_web::{Resource, Route};

use crate::handlers::{documents, estimates, gangs, health, metrics, preflight, proofs, stocks};
use crate::problem::Problem;

/// Adds every path to an application.
pub(crate) fn all(config: &mut ServiceConfig) {
    config
        .service(taking_post("/v1/preflight", web::post().to(preflight::preflight)))
        .service(taking_post("/v1/proofs", web::post().to(proofs::proof)))
        .service(taking_post("/v1/estimates", web::post().to(estimates::estimate)))
        .service(taking_post("/v1/gangs", web::post().to(gangs::gang)))
        .service(taking_get("/v1/stocks", || web::route().to(stocks::list)))
        .service(taking_get("/healthz", || web::route().to(health::alive)))
        .service(taking_get("/readyz", || web::route().to(health::ready)))
        .service(taking_get("/metrics", || web::route().to(metrics::metrics)))
        .service(taking_get("/openapi.json", || web::route().to(documents::openapi)))
        .service(taking_get("/docs", || web::route().to(documents::docs)))
        .service(taking_get("/problems/{code}", || web::route().to(documents::problem)))
        .default_service(web::to(|| async { Err::<&str, _>(Problem::NotFound) }));
}

fn taking_post(path: &str, post: Route) -> Resource {
    web::resource(path)
        .route(post)
        .default_service(web::to(|| async { Err::<&str, _>(Problem::MethodNotAllowed { allow: "POST" }) }))
}

/// HEAD is answered like GET, and its content left out on the way (RFC 9110, section 9.3.2).
fn taking_get(path: &str, route: impl Fn() -> Route) -> Resource {
    use actix_web::http::Method;
    web::resource(path)
        .route(route().method(Method::GET))
        .route(route().method(Method::HEAD))
        .default_service(web::to(|| async { Err::<&str, _>(Problem::MethodNotAllowed { allow: "GET, HEAD" }) }))
}
