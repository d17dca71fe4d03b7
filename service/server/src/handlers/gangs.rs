//! `POST /v1/gangs`

use std::sync::OnceLock;
use std::time::{Duration, Instant};

use actix_web::HttpResponse;
use quoin_prepress::fault::Fault;
use quoin_prepress::order::{Job, Product};
use quoin_prepress::output::ticket::Totals;
use quoin_prepress::run::{self, Hooks, Progress};

use crate::answer::{Archive, ArchiveKind, Staging};
use crate::budget::Budget;
use crate::operation::Operation;
use crate::problem::Problem;
use crate::request::{Ask, Asked, Desk};
use crate::settings::Scope;
use crate::watch::milliseconds;
use crate::wire::{self, ArtSource, Configured, Mistake};

/// A night's orders.
pub(crate) struct Gang(Job);

impl Ask for Gang {
    const OPERATION: Operation = Operation::Gang;
    const SCOPE: Scope = Scope::Gang;
    const ANSWERS: &'static [&'static str] = ArchiveKind::MEDIA_TYPES;

    fn read(text: &[u8], art: &mut dyn ArtSource, stocks: &Configured) -> Result<Gang, Vec<Mistake>> {
        wire::read_gang_job(text, art, stocks).map(Gang)
    }

    fn products(&self) -> impl Iterator<Item = &Product> {
        let items = self.0.orders.iter().flat_map(|order| &order.items);
        let fillers = self.0.policy.fill_offcuts_with.iter().map(|filler| &filler.item);
        items.chain(fillers).map(|item| &item.product)
    }
}

/// The run's files.
pub(crate) async fn gang(asked: Asked<Gang>) -> Result<HttpResponse, Problem> {
    let kind = ArchiveKind::of(asked.answer);
    let (archive, place) = asked.work_and_stay(move |ask, desk| make(&ask.0, kind, desk)).await?;
    Ok(archive.respond(place))
}

fn make(job: &Job, kind: ArchiveKind, desk: &Desk) -> Result<Archive, Fault> {
    let folder = &desk.service.settings.temporary_folder;
    let staging = Staging::new(folder)?;
    let (budget, clock) = (Budget::new(job.policy.time_budget_ms), RunClock::start());
    let progress = |progress: Progress| clock.note(progress);
    let hooks = Hooks { progress: &progress, out_of_time: &|| budget.is_spent(), cancel: &desk.cancel };
    let ticket = run::gang(job, &desk.limits, &staging, hooks)?;
    desk.service.metrics.ran(&ticket.totals);
    let archive = Archive::pack(&ticket, &staging, kind, folder)?;
    clock.log(desk, &ticket.totals);
    Ok(archive)
}

/// When each stage of a run was done.
struct RunClock {
    began: Instant,
    /// Pictures, layout, files: time since the beginning.
    done: [OnceLock<Duration>; 3],
}

impl RunClock {
    fn start() -> RunClock {
        RunClock { began: Instant::now(), done: Default::default() }
    }

    fn note(&self, progress: Progress) {
        let shares = [progress.pictures, progress.sheets, progress.files];
        for (share, done) in shares.into_iter().zip(&self.done) {
            if share >= 1.0 {
                done.get_or_init(|| self.began.elapsed());
            }
        }
    }

    /// One line; numbers alone, because names of runs and orders are the shop's.
    fn log(&self, desk: &Desk, totals: &Totals) {
        let ended = self.began.elapsed();
        let [pictures, layout, files] = [0, 1, 2].map(|stage| self.done[stage].get().copied().unwrap_or(ended));
        let ms = |from: Duration, to: Duration| milliseconds(to.saturating_sub(from));
        tracing::info!(
            request_id = desk.request_id,
            sheets = totals.sheets,
            placed = totals.placed,
            set_aside = totals.set_aside,
            fillers = totals.fillers,
            pictures_ms = ms(Duration::ZERO, pictures),
            layout_ms = ms(pictures, layout),
            files_ms = ms(layout, files),
            archive_ms = ms(files, ended),
            "run"
        );
    }
}
