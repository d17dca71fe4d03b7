//! Builds the HTTP application, and ends it in order.

use std::io;
use std::net::{SocketAddr, ToSocketAddrs};
use std::time::Duration;

use actix_web::dev::{Server, ServerHandle};
use actix_web::middleware::from_fn;
use actix_web::web::Data;
use actix_web::{App, HttpServer};

use crate::routes;
use crate::service::{Phase, Service};
use crate::settings::Settings;
use crate::signals::{self, Signal, Signals};
use crate::watch::watch;

/// Time for the head of a request to arrive. Stops: connections that send a header a minute.
const HEAD_DEADLINE: Duration = Duration::from_secs(10);

/// How often a stopping service looks whether its work is done.
const LOOK_AGAIN: Duration = Duration::from_millis(20);

/// Time to give work up and say so when the service is told twice to stop.
const HEAR_DEADLINE: Duration = Duration::from_secs(3);

/// Time for answers that are ready to be sent, once the work is over or given up.
const SEND_DEADLINE: Duration = Duration::from_secs(10);

/// A service that listens.
pub(crate) struct Listening {
    server: Server,
    service: Data<Service>,
    signals: Signals,
    /// Where it listens.
    pub(crate) addresses: Vec<SocketAddr>,
}

/// Starts to listen: port 0 becomes a free one.
///
/// # Errors
/// When signals cannot be heard, the address cannot be bound, or it is reachable from other machines and nothing keeps strangers out.
pub(crate) fn start(settings: Settings) -> io::Result<Listening> {
    let addresses: Vec<SocketAddr> = settings.listen.to_socket_addrs()?.collect();
    // Names may lead elsewhere than they did when the settings were checked.
    if let Some(open) = addresses.iter().find(|address| !settings.may_listen_on(**address)) {
        return Err(io::Error::new(io::ErrorKind::PermissionDenied, format!("{open} is open to strangers")));
    }
    // Heard before anybody is told that the service is there.
    let signals = signals::listen()?;
    let service = Data::new(Service::start(settings)?);
    let shared = service.clone();
    let server =
        HttpServer::new(move || App::new().app_data(shared.clone()).configure(routes::all).wrap(from_fn(watch)));
    let server = server
        // A client that goes away drops its handler at once instead of working on for nobody.
        .h1_allow_half_closed(false)
        .client_request_timeout(HEAD_DEADLINE)
        .shutdown_timeout(SEND_DEADLINE.as_secs())
        // Stopping is ours: first not ready, then no new work, then the rest.
        .disable_signals()
        .bind(addresses.as_slice())?;
    let addresses = server.addrs();
    Ok(Listening { server: server.run(), service, signals, addresses })
}

impl Listening {
    /// Serves until a signal asks it to stop and the work is done.
    ///
    /// # Errors
    /// Whatever breaks the server.
    pub(crate) async fn serve(self) -> io::Result<()> {
        let Listening { server, service, signals, .. } = self;
        let stopping = actix_web::rt::spawn(stop_in_order(server.handle(), service, signals));
        let served = server.await;
        stopping.abort();
        tracing::info!("stopped");
        served
    }
}

/// Waits for a signal, then: not ready; after the notice no new work; after the deadline, or when nothing is left to do,
/// the end. A second signal is the end at once.
async fn stop_in_order(server: ServerHandle, service: Data<Service>, mut signals: Signals) {
    let first = signals.next().await;
    service.enter_phase(Phase::Leaving);
    // Whoever presses Ctrl-C has no balancer that must learn of it.
    let notice = if first == Signal::Interrupt { Duration::ZERO } else { service.settings.drain_notice };
    let left = service.settings.drain_deadline.saturating_sub(notice);
    tracing::info!(notice_s = notice.as_secs(), "stopping: not ready any more");
    tokio::select! {
        () = tokio::time::sleep(notice) => {}
        _ = signals.next() => return end_now(server, &service).await,
    }
    service.enter_phase(Phase::Closed);
    tracing::info!(at_work = service.queue.taken(), deadline_s = left.as_secs(), "stopping: no new work");
    tokio::select! {
        done = tokio::time::timeout(left, work_done(&service)) => {
            if done.is_err() {
                tracing::warn!(at_work = service.queue.taken(), "stopping: work that still runs is given up");
                service.give_up();
                // What is given up is answered with 503; nothing takes long to notice.
                let _ = tokio::time::timeout(SEND_DEADLINE, work_done(&service)).await;
            }
        }
        _ = signals.next() => return end_now(server, &service).await,
    }
    server.stop(true).await;
}

async fn work_done(service: &Service) {
    while service.queue.taken() > 0 {
        tokio::time::sleep(LOOK_AGAIN).await;
    }
}

async fn end_now(server: ServerHandle, service: &Service) {
    tracing::warn!("stopping: at once");
    service.give_up();
    // Time for those who are given up to hear it.
    let _ = tokio::time::timeout(HEAR_DEADLINE, work_done(service)).await;
    server.stop(false).await;
}
