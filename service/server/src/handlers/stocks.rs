//! `GET /v1/stocks`

use actix_web::{HttpRequest, HttpResponse};
use quoin_prepress::output::settings;
use serde_json::{Value, json};

use crate::answer;
use crate::problem::Problem;
use crate::request::choose;
use crate::service::Service;
use crate::settings::Scope;

/// The stocks that the shop configured, complete.
pub(crate) async fn list(request: HttpRequest) -> Result<HttpResponse, Problem> {
    let service = Service::of(&request);
    service.admit(&request, Scope::Inspect)?;
    choose(&request, &[answer::JSON])?;
    let stocks: Vec<Value> = service.settings.stocks.stocks().iter().map(settings::stock).collect();
    answer::json(&json!({ "stocks": stocks }))
}
