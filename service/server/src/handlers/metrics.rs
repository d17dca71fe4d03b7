//! `GET /metrics`

use actix_web::{HttpRequest, HttpResponse};

use crate::answer;
use crate::metrics::OPEN_METRICS;
use crate::problem::Problem;
use crate::service::Service;
use crate::settings::Scope;

/// Counters.
pub(crate) async fn metrics(request: HttpRequest) -> Result<HttpResponse, Problem> {
    let service = Service::of(&request);
    service.admit(&request, Scope::Metrics)?;
    let text = service.metrics.text(&service).map_err(|error| Problem::System(std::io::Error::other(error)))?;
    Ok(answer::bytes(OPEN_METRICS, text))
}
