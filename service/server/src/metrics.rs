//! Counters for the operator, in the OpenMetrics text format.

use std::fmt::Write;
use std::time::Duration;

use actix_web::http::StatusCode;
use prometheus_client::encoding::text::encode;
use prometheus_client::encoding::{EncodeLabelSet, EncodeLabelValue, LabelValueEncoder};
use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::family::Family;
use prometheus_client::metrics::gauge::Gauge;
use prometheus_client::metrics::histogram::Histogram;
use prometheus_client::metrics::info::Info;
use prometheus_client::registry::{Registry, Unit};
use quoin_prepress::output::ticket::Totals;

use crate::operation::Operation;
use crate::service::Service;

/// Media type of the text format (OpenMetrics 1.0).
pub(crate) const OPEN_METRICS: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

/// Upper bounds of durations, seconds: from a health check to a night's run.
const BOUNDS_S: [f64; 14] = [0.002, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 15.0, 60.0, 300.0];

impl EncodeLabelValue for Operation {
    fn encode(&self, encoder: &mut LabelValueEncoder<'_>) -> Result<(), std::fmt::Error> {
        encoder.write_str(self.word())
    }
}

#[derive(Clone, Debug, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Answered {
    operation: Operation,
    status: u16,
}

#[derive(Clone, Debug, PartialEq, Eq, Hash, EncodeLabelSet)]
struct OfOperation {
    operation: Operation,
}

#[derive(Clone, Debug, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Copies {
    outcome: &'static str,
}

/// All counters.
#[derive(Debug)]
pub(crate) struct Metrics {
    registry: Registry,
    requests: Family<Answered, Counter>,
    seconds: Family<OfOperation, Histogram>,
    left: Family<OfOperation, Counter>,
    sheets: Counter,
    copies: Family<Copies, Counter>,
    places_taken: Gauge,
    workers_busy: Gauge,
    pixels_mib: Gauge,
    ready: Gauge,
}

impl Metrics {
    /// All at zero.
    pub(crate) fn new() -> Metrics {
        let mut metrics = Metrics {
            registry: Registry::with_prefix("quoin"),
            requests: Family::default(),
            seconds: Family::new_with_constructor(|| Histogram::new(BOUNDS_S)),
            left: Family::default(),
            sheets: Counter::default(),
            copies: Family::default(),
            places_taken: Gauge::default(),
            workers_busy: Gauge::default(),
            pixels_mib: Gauge::default(),
            ready: Gauge::default(),
        };
        metrics.register();
        metrics
    }

    fn register(&mut self) {
        let registry = &mut self.registry;
        let build = Info::new([("version", env!("CARGO_PKG_VERSION"))]);
        registry.register("build", "The build that runs", build);
        registry.register("requests", "Requests answered", self.requests.clone());
        let help = "From the head of a request to the head of its answer";
        registry.register_with_unit("request_duration", help, Unit::Seconds, self.seconds.clone());
        registry.register("requests_left", "Requests whose client left before the answer", self.left.clone());
        registry.register("sheets", "Sheets and lengths of roll made by gang runs", self.sheets.clone());
        registry.register("copies", "Copies of gang runs by what became of them", self.copies.clone());
        registry.register("queue_places_taken", "Requests at work and waiting", self.places_taken.clone());
        registry.register("workers_busy", "Workers at work", self.workers_busy.clone());
        registry.register("pixels_in_work_mebibytes", "Decoded pixels in work", self.pixels_mib.clone());
        registry.register("ready", "1 while the service takes requests of a balancer", self.ready.clone());
    }

    /// A request was answered.
    pub(crate) fn answered(&self, operation: Operation, status: StatusCode, took: Duration) {
        self.requests.get_or_create(&Answered { operation, status: status.as_u16() }).inc();
        self.seconds.get_or_create(&OfOperation { operation }).observe(took.as_secs_f64());
    }

    /// A client left before its answer.
    pub(crate) fn left(&self, operation: Operation) {
        self.left.get_or_create(&OfOperation { operation }).inc();
    }

    /// A run was made.
    pub(crate) fn ran(&self, totals: &Totals) {
        self.sheets.inc_by(u64::from(totals.sheets));
        let outcomes = [("placed", totals.placed), ("set_aside", totals.set_aside), ("filler", totals.fillers)];
        for (outcome, count) in outcomes {
            self.copies.get_or_create(&Copies { outcome }).inc_by(u64::from(count));
        }
    }

    /// Everything as text, with what the service is doing right now.
    pub(crate) fn text(&self, service: &Service) -> Result<String, std::fmt::Error> {
        self.places_taken.set(service.queue.taken() as i64);
        self.workers_busy.set(service.workers.busy() as i64);
        self.pixels_mib.set(service.pixels.in_use_mib() as i64);
        self.ready.set(i64::from(service.is_ready()));
        let mut text = String::new();
        encode(&mut text, &self.registry)?;
        Ok(text)
    }
}
