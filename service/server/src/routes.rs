//! Every path of the service.

use actix_web::web::{self, ServiceConfig};

use crate::handlers::health;
use crate::problem;

/// Adds every path to an application.
pub(crate) fn all(config: &mut ServiceConfig) {
    for path in ["/healthz", "/readyz"] {
        let resource = web::resource(path)
            .route(web::get().to(health::alive))
            .route(web::head().to(health::alive))
            .default_service(web::to(|| async { problem::method_not_allowed("GET, HEAD") }));
        config.service(resource);
    }
    config.default_service(web::to(|| async { problem::not_found() }));
}

#[cfg(test)]
mod tests {
    use actix_web::http::{Method, StatusCode, header};
    use actix_web::{App, rt::System, test};
    use serde_json::Value;

    /// Status, content type, body and `Allow` of an answer.
    fn answer(method: Method, path: &str) -> (StatusCode, String, Vec<u8>, Option<String>) {
        System::new().block_on(async {
            let app = test::init_service(App::new().configure(super::all)).await;
            let response =
                test::call_service(&app, test::TestRequest::with_uri(path).method(method).to_request()).await;
            let header = |name| response.headers().get(name).and_then(|value| value.to_str().ok()).map(str::to_owned);
            let (status, kind, allow) = (response.status(), header(header::CONTENT_TYPE), header(header::ALLOW));
            let body = test::read_body(response).await;
            (status, kind.unwrap_or_default(), body.to_vec(), allow)
        })
    }

    #[::std::prelude::v1::test]
    fn a_living_service_says_so() {
        for path in ["/healthz", "/readyz"] {
            let (status, _, body, _) = answer(Method::GET, path);
            assert_eq!((status, body.as_slice()), (StatusCode::OK, b"ok\n".as_slice()), "{path}");
            assert_eq!(answer(Method::HEAD, path).0, StatusCode::OK, "{path}");
        }
    }

    #[::std::prelude::v1::test]
    fn other_paths_and_methods_are_problem_documents() {
        let (status, kind, body, _) = answer(Method::GET, "/v1/nothing");
        assert_eq!((status, kind.as_str()), (StatusCode::NOT_FOUND, "application/problem+json"));
        let body: Value = serde_json::from_slice(&body).expect("JSON");
        assert_eq!((&body["status"], &body["type"]), (&404.into(), &"/problems/http.not_found".into()));
        let (status, kind, _, allow) = answer(Method::POST, "/healthz");
        assert_eq!((status, kind.as_str()), (StatusCode::METHOD_NOT_ALLOWED, "application/problem+json"));
        assert_eq!(allow.as_deref(), Some("GET, HEAD"));
    }
}
