//! From a request to a domain value and a worker to deal with it: what handlers get.

mod accept;
mod art;
mod body;

use std::future::Future;
use std::pin::{Pin, pin};
use std::slice;

use actix_web::dev::Payload;
use actix_web::web::Data;
use actix_web::{FromRequest, HttpRequest};
use quoin_prepress::cancel::Cancel;
use quoin_prepress::fault::Fault;
use quoin_prepress::intake::Limits;
use quoin_prepress::order::{ArtFile, Design, Product};
use quoin_prepress::run;
use quoin_prepress::sticker::hex;
use sha2::{Digest, Sha256};
use tokio::sync::OwnedSemaphorePermit;

use crate::gate::{self, Picture, Place, Worker};
use crate::operation::Operation;
use crate::problem::Problem;
use crate::service::Service;
use crate::settings::Scope;
use crate::visit::{Stage, Visit};
use crate::wire::{ArtSource, Configured, Mistake, MistakeCode, Pointer};
use art::PartsArt;
use body::Body;

pub(crate) use accept::choose;

/// Something that can be asked for with a job.
pub(crate) trait Ask: Send + Sized + 'static {
    /// Its name.
    const OPERATION: Operation;
    /// What a key needs for it.
    const SCOPE: Scope;
    /// Media types of its answer, the one for a client without a wish first.
    const ANSWERS: &'static [&'static str];

    /// Reads the job.
    ///
    /// # Errors
    /// Every mistake in it.
    fn read(text: &[u8], art: &mut dyn ArtSource, stocks: &Configured) -> Result<Self, Vec<Mistake>>;

    /// What is to be made.
    fn products(&self) -> impl Iterator<Item = &Product>;
}

/// What was asked for, with all that it takes to do it: a place, a worker, memory for its pictures.
pub(crate) struct Asked<A> {
    ask: A,
    /// The media type of the answer.
    pub(crate) answer: &'static str,
    turn: Turn,
}

struct Turn {
    service: Data<Service>,
    visit: Visit,
    place: Place,
    worker: Worker,
    pixels: OwnedSemaphorePermit,
}

/// What the work needs from around it.
pub(crate) struct Desk {
    /// Bounds of a picture.
    pub(crate) limits: Limits,
    /// Raised when nobody waits any more, or the service stops.
    pub(crate) cancel: Cancel,
    /// The service.
    pub(crate) service: Data<Service>,
    /// The request's id, for the log.
    pub(crate) request_id: String,
}

/// Raises the flag when the request is dropped: its client has left.
struct CancelOnDrop(Cancel);

impl Drop for CancelOnDrop {
    fn drop(&mut self) {
        self.0.raise();
    }
}

impl<A: Ask> Asked<A> {
    /// Does the work on the worker. It is cancelled when the client leaves; place, worker and memory are given back when it
    /// is over.
    pub(crate) async fn work<T: Send + 'static>(
        self,
        work: impl FnOnce(&A, &Desk) -> Result<T, Fault> + Send + 'static,
    ) -> Result<T, Problem> {
        self.work_and_stay(work).await.map(|(made, _place)| made)
    }

    /// The same, and keeps the place: for answers that take their time to be sent.
    pub(crate) async fn work_and_stay<T: Send + 'static>(
        self,
        work: impl FnOnce(&A, &Desk) -> Result<T, Fault> + Send + 'static,
    ) -> Result<(T, Place), Problem> {
        let Asked { ask, turn, .. } = self;
        let Turn { service, visit, place, worker, pixels } = turn;
        let cancel = Cancel::new();
        let _guard = CancelOnDrop(cancel.clone());
        let desk = Desk {
            limits: service.settings.picture,
            cancel: cancel.clone(),
            service: service.clone(),
            request_id: visit.id().to_owned(),
        };
        let measured = visit.measure(Stage::Work);
        let mut done = pin!(worker.work(move || {
            let result = work(&ask, &desk);
            // Given back here and not by the request, which may be gone by now.
            drop((ask, desk, pixels));
            (result, place)
        }));
        let done = tokio::select! {
            done = &mut done => done,
            () = service.gave_up() => {
                cancel.raise();
                done.await
            }
        };
        service.queue.took(A::OPERATION, measured.stop());
        match done {
            Ok(((Ok(made), place), _worker)) => Ok((made, place)),
            Ok(((Err(Fault::Cancelled), _), _)) => Err(service.draining()),
            Ok(((Err(fault), _), _)) => Err(Problem::Fault(fault)),
            Err(_) => Err(Problem::Panicked),
        }
    }
}

impl<A: Ask> FromRequest for Asked<A> {
    type Error = Problem;
    type Future = Pin<Box<dyn Future<Output = Result<Asked<A>, Problem>>>>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let (request, payload) = (request.clone(), payload.take());
        Box::pin(async move {
            let service = Service::of(&request);
            tokio::select! {
                // Whoever still waits or uploads when the service gives up gets an answer too.
                () = service.gave_up() => Err(service.draining()),
                taken = take_in(&request, payload) => taken,
            }
        })
    }
}

async fn take_in<A: Ask>(request: &HttpRequest, payload: Payload) -> Result<Asked<A>, Problem> {
    let (service, visit) = (Service::of(request), Visit::of(request));
    service.admit(request, A::SCOPE)?;
    let answer = choose(request, A::ANSWERS)?;
    let place = service.enter(A::OPERATION)?;
    let measured = visit.measure(Stage::Receive);
    let body = body::receive(request, payload, &service.settings).await?;
    measured.stop();
    let measured = visit.measure(Stage::Wait);
    let worker = service.workers.free().await;
    measured.stop();
    let measured = visit.measure(Stage::Read);
    let shared = service.clone();
    let reading = move || (read_job::<A>(body, &shared), place);
    let ((read, place), worker) = worker.work(reading).await.map_err(|_| Problem::Panicked)?;
    measured.stop();
    let (ask, mib, sha256) = read?;
    visit.set_job_sha256(sha256);
    let measured = visit.measure(Stage::Wait);
    let pixels = service.pixels.take(mib).await;
    measured.stop();
    Ok(Asked { ask, answer, turn: Turn { service, visit, place, worker, pixels } })
}

/// The job, the MiB that its pictures will have, and the digest of its text.
fn read_job<A: Ask>(body: Body, service: &Service) -> Result<(A, u32, String), Problem> {
    let settings = &service.settings;
    let text = body.job.load().map_err(Problem::System)?;
    let mut art = PartsArt::new(body.parts, settings.picture.max_bytes);
    let read = A::read(&text, &mut art, &settings.stocks);
    let sha256 = hex(&Sha256::digest(&text));
    drop(text);
    let of_parts = art.mistakes(read.is_err());
    let ask = match read {
        Ok(ask) if of_parts.is_empty() => ask,
        Ok(_) => return Err(Problem::Mistakes(of_parts)),
        Err(mut mistakes) => {
            mistakes.extend(of_parts);
            return Err(Problem::Mistakes(mistakes));
        }
    };
    let pictures: Vec<Vec<Picture<'_>>> =
        ask.products().map(|product| pictures_of(product, &settings.picture)).collect();
    let mib_of = |groups: &[Vec<Picture<'_>>]| {
        gate::decoded_mib(groups, art.sizes(), settings.threads_per_job, &settings.picture)
    };
    // One picture is held to the intake's own limits, and may then have everything for itself.
    for together in pictures.iter().filter(|together| together.len() > 1) {
        refuse_too_much(mib_of(slice::from_ref(together)), service.pixels.all_mib())?;
    }
    let mib = mib_of(&pictures);
    Ok((ask, mib, sha256))
}

/// Refuses a sticker sheet whose pictures together are more than the service takes at all.
fn refuse_too_much(mib: u32, all_mib: u32) -> Result<(), Problem> {
    if mib <= all_mib {
        return Ok(());
    }
    let message =
        format!("the pictures of one sticker sheet have {mib} MiB when they are decoded; {all_mib} are taken");
    Err(Problem::Mistakes(vec![Mistake { code: MistakeCode::OutOfRange, pointer: Pointer::root(), message }]))
}

/// The pictures of a product, which are decoded together.
fn pictures_of<'a>(product: &'a Product, limits: &Limits) -> Vec<Picture<'a>> {
    let designs: Vec<&Design> = match product {
        Product::DieCut(design) | Product::KissCut(design, _) => vec![design],
        Product::StickerSheet(page) => page.pieces.iter().map(|piece| &piece.design).collect(),
    };
    let picture = |design: &'a Design| Picture { art: &design.art, drawing_px: run::drawing_px(design, limits) };
    designs.into_iter().map(picture).collect()
}
