//! What all requests share: settings, bounds, counters, and whether the service is about to stop.

use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicU8, Ordering};

use actix_web::HttpRequest;
use actix_web::http::header::AUTHORIZATION;
use actix_web::web::Data;
use tokio_util::sync::CancellationToken;

use crate::gate::{Pixels, Place, Queue, Workers};
use crate::metrics::Metrics;
use crate::operation::Operation;
use crate::problem::Problem;
use crate::settings::{Opened, Scope, Settings};
use crate::visit::Visit;

/// Seconds after which a client of a service that stops should find another one.
const RETRY_ELSEWHERE_S: u64 = 5;

/// How far a service is on its way to its end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub(crate) enum Phase {
    /// Takes work.
    Serving = 0,
    /// Says that it is not ready, so that balancers look for another one; still takes what comes meanwhile.
    Leaving = 1,
    /// Takes no new work.
    Closed = 2,
}

/// The service.
#[derive(Debug)]
pub(crate) struct Service {
    /// How it is set up.
    pub(crate) settings: Settings,
    /// Places for requests.
    pub(crate) queue: Arc<Queue>,
    /// Workers.
    pub(crate) workers: Arc<Workers>,
    /// Memory for pictures.
    pub(crate) pixels: Pixels,
    /// Counters.
    pub(crate) metrics: Metrics,
    phase: AtomicU8,
    gave_up: CancellationToken,
}

impl Service {
    /// Starts the workers.
    ///
    /// # Errors
    /// When the system has no threads for them.
    pub(crate) fn start(settings: Settings) -> io::Result<Service> {
        let workers = Workers::start(settings.workers, settings.threads_per_job).map_err(io::Error::other)?;
        Ok(Service {
            queue: Queue::new(settings.workers, settings.queue_length),
            workers,
            pixels: Pixels::new(settings.pixels_in_work_mib),
            metrics: Metrics::new(),
            phase: AtomicU8::new(Phase::Serving as u8),
            gave_up: CancellationToken::new(),
            settings,
        })
    }

    /// The service that answers a request.
    pub(crate) fn of(request: &HttpRequest) -> Data<Service> {
        request.app_data::<Data<Service>>().cloned().expect("every application is built around a service")
    }

    /// Whether balancers should send requests here.
    pub(crate) fn is_ready(&self) -> bool {
        self.phase.load(Ordering::SeqCst) == Phase::Serving as u8
    }

    /// Goes on to another phase.
    pub(crate) fn enter_phase(&self, phase: Phase) {
        self.phase.store(phase as u8, Ordering::SeqCst);
    }

    /// Lets a request in whose key opens a scope.
    pub(crate) fn admit(&self, request: &HttpRequest, scope: Scope) -> Result<(), Problem> {
        if self.settings.keys.is_empty() {
            return Ok(());
        }
        let field = request.headers().get(AUTHORIZATION).ok_or(Problem::NoKey)?;
        // RFC 9110, section 11.1: the scheme's name is compared without regard to case.
        let (scheme, key) = field.to_str().ok().and_then(|text| text.split_once(' ')).ok_or(Problem::NoKey)?;
        if !scheme.eq_ignore_ascii_case("bearer") {
            return Err(Problem::NoKey);
        }
        match self.settings.keys.open(key.trim(), scope) {
            Opened::Yes(name) => {
                Visit::of(request).set_key(name);
                Ok(())
            }
            Opened::NotThis => Err(Problem::NoScope { scope: scope.word() }),
            Opened::Unknown => Err(Problem::UnknownKey),
        }
    }

    /// Takes a place in the queue.
    pub(crate) fn enter(&self, operation: Operation) -> Result<Place, Problem> {
        if self.phase.load(Ordering::SeqCst) == Phase::Closed as u8 {
            return Err(self.draining());
        }
        self.queue.enter(operation).map_err(|retry_after_s| Problem::Full { retry_after_s })
    }

    /// The refusal of a service that stops.
    pub(crate) fn draining(&self) -> Problem {
        Problem::Draining { retry_after_s: RETRY_ELSEWHERE_S }
    }

    /// Waits until the service gives up what is not done.
    pub(crate) async fn gave_up(&self) {
        self.gave_up.cancelled().await;
    }

    /// Gives up what is not done: every job at work, and whoever still waits for one.
    pub(crate) fn give_up(&self) {
        self.gave_up.cancel();
    }
}
