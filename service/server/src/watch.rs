//! Around every request: its id, its line in the log, its counters, the header fields that every answer has.

use std::time::Duration;

use actix_web::body::{BoxBody, MessageBody};
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::header::{HeaderName, HeaderValue, X_CONTENT_TYPE_OPTIONS};
use actix_web::http::{Method, StatusCode};
use actix_web::middleware::Next;
use actix_web::web::Data;
use actix_web::{Error, HttpMessage};

use crate::answer::add_digest;
use crate::operation::Operation;
use crate::problem::ProblemNote;
use crate::service::Service;
use crate::visit::{Stage, Visit};

/// The header field of a request's id.
const REQUEST_ID: HeaderName = HeaderName::from_static("x-request-id");

/// Watches one request.
pub(crate) async fn watch(
    request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<BoxBody>, Error> {
    let service = request.app_data::<Data<Service>>().cloned().expect("every application is built around a service");
    let asked_id = request.headers().get(&REQUEST_ID).and_then(|id| id.to_str().ok());
    let visit = Visit::begin(asked_id);
    request.extensions_mut().insert(visit.clone());
    let method = request.method().clone();
    let operation = Operation::of_path(request.path());
    let mut line = Line { service, visit, method, operation, status: None, problem: None };
    // An error becomes an answer here, so that it gets its digest and its line like any other.
    let (request, response) = match next.call(request).await {
        Ok(response) => response.map_into_boxed_body().into_parts(),
        Err(error) => return Err(error),
    };
    let mut response = add_digest(&line.method, response).await?;
    let id = HeaderValue::from_str(line.visit.id()).expect("ids are plain ASCII");
    response.headers_mut().insert(REQUEST_ID, id);
    response.headers_mut().insert(X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff"));
    line.status = Some(response.status());
    let note = response.extensions().get::<ProblemNote>().cloned();
    if let Some(cause) = note.as_ref().and_then(|note| note.cause.as_deref()) {
        tell_fault(&line.visit, cause);
    }
    line.problem = note.map(|note| note.code);
    Ok(ServiceResponse::new(request, response))
}

/// The line on a fault of ours. Whoever mends it looks for the job by its digest; its content is the shop's.
fn tell_fault(visit: &Visit, cause: &str) {
    tracing::error!(request_id = visit.id(), job_sha256 = visit.job_sha256(), cause, "our fault");
}

/// To the microsecond.
pub(crate) fn milliseconds(duration: Duration) -> f64 {
    duration.as_micros() as f64 / 1e3
}

/// The line in the log; written when the request is over, also when its client has left.
struct Line {
    service: Data<Service>,
    visit: Visit,
    method: Method,
    operation: Operation,
    status: Option<StatusCode>,
    problem: Option<&'static str>,
}

impl Drop for Line {
    fn drop(&mut self) {
        let took = self.visit.elapsed();
        let metrics = &self.service.metrics;
        match self.status {
            Some(status) => metrics.answered(self.operation, status, took),
            None => metrics.left(self.operation),
        }
        let ms = |stage: Stage| milliseconds(self.visit.took(stage));
        let probe = matches!(self.operation, Operation::Health | Operation::Readiness | Operation::Metrics);
        if probe && self.status.is_some_and(|status| status.is_success()) {
            return;
        }
        tracing::info!(
            request_id = self.visit.id(),
            operation = self.operation.word(),
            method = self.method.as_str(),
            status = self.status.map_or(0, |status| status.as_u16()),
            outcome = if self.status.is_some() { "answered" } else { "client_left" },
            problem = self.problem,
            key = self.visit.key(),
            took_ms = milliseconds(took),
            receive_ms = ms(Stage::Receive),
            wait_ms = ms(Stage::Wait),
            read_ms = ms(Stage::Read),
            work_ms = ms(Stage::Work),
            "request"
        );
    }
}

#[cfg(test)]
mod tests {
    use std::io::{self, Write};
    use std::sync::{Arc, Mutex, PoisonError};

    use super::*;

    /// A log to be read.
    #[derive(Clone, Default)]
    struct Log(Arc<Mutex<Vec<u8>>>);

    impl Write for Log {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            self.0.lock().unwrap_or_else(PoisonError::into_inner).write(bytes)
        }

        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    #[test]
    fn a_fault_of_ours_is_logged_with_the_digest_of_its_job() {
        let (log, visit) = (Log::default(), Visit::begin(Some("night-7")));
        visit.set_job_sha256("0a".repeat(32));
        let writer = log.clone();
        let subscriber = tracing_subscriber::fmt().json().with_writer(move || writer.clone()).finish();
        tracing::subscriber::with_default(subscriber, || tell_fault(&visit, "gang.layout_broken: 1.9 mm"));
        let text = log.0.lock().unwrap_or_else(PoisonError::into_inner).clone();
        let line: serde_json::Value = serde_json::from_slice(&text).expect("one line of JSON");
        let field = |name: &str| line["fields"][name].as_str().unwrap_or_default().to_owned();
        assert_eq!(field("request_id"), "night-7");
        assert_eq!(field("job_sha256"), "0a".repeat(32));
        assert_eq!(field("cause"), "gang.layout_broken: 1.9 mm");
    }
}
