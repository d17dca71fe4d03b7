//! `POST /v1/preflight`

use actix_web::HttpResponse;
use quoin_prepress::order::{Inquiry, Product};
use quoin_prepress::run;

use crate::answer;
use crate::operation::Operation;
use crate::problem::Problem;
use crate::request::{Ask, Asked};
use crate::settings::Scope;
use crate::wire::{self, ArtSource, Configured, Mistake};

/// An item to look at.
pub(crate) struct Preflight(Inquiry);

impl Ask for Preflight {
    const OPERATION: Operation = Operation::Preflight;
    const SCOPE: Scope = Scope::Inspect;
    const ANSWERS: &'static [&'static str] = &[answer::JSON];

    fn read(text: &[u8], art: &mut dyn ArtSource, stocks: &Configured) -> Result<Preflight, Vec<Mistake>> {
        wire::read_preflight(text, art, stocks).map(Preflight)
    }

    fn products(&self) -> impl Iterator<Item = &Product> {
        std::iter::once(&self.0.product)
    }
}

/// The report.
pub(crate) async fn preflight(asked: Asked<Preflight>) -> Result<HttpResponse, Problem> {
    let report = asked.work(|ask, desk| run::preflight(&ask.0, &desk.limits, &desk.cancel)).await?;
    answer::json(&report)
}
