//! `POST /v1/gangs`

use actix_web::HttpResponse;
use quoin_prepress::fault::Fault;
use quoin_prepress::order::{Job, Product};
use quoin_prepress::run::{self, Hooks};

use crate::answer::{Archive, ArchiveKind, Staging};
use crate::budget::Budget;
use crate::operation::Operation;
use crate::problem::Problem;
use crate::request::{Ask, Asked, Desk};
use crate::settings::Scope;
use crate::wire::{self, ArtSource, ConfiguredStocks, Mistake};

/// A night's orders.
pub(crate) struct Gang(Job);

impl Ask for Gang {
    const OPERATION: Operation = Operation::Gang;
    const SCOPE: Scope = Scope::Gang;
    const ANSWERS: &'static [&'static str] = ArchiveKind::MEDIA_TYPES;

    fn read(text: &[u8], art: &mut dyn ArtSource, stocks: &ConfiguredStocks) -> Result<Gang, Vec<Mistake>> {
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
    let archive = asked.work(move |ask, desk| make(&ask.0, kind, desk)).await?;
    Ok(archive.respond())
}

fn make(job: &Job, kind: ArchiveKind, desk: &Desk) -> Result<Archive, Fault> {
    let folder = desk.service.settings.temporary_folder.as_deref();
    let staging = Staging::new(folder)?;
    let budget = Budget::new(job.policy.time_budget_ms);
    let hooks = Hooks { progress: &|_| {}, out_of_time: &|| budget.is_spent(), cancel: &desk.cancel };
    let ticket = run::gang(job, &desk.limits, &staging, hooks)?;
    desk.service.metrics.ran(&ticket.totals);
    Archive::pack(&ticket, &staging, kind, folder)
}
