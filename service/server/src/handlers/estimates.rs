//! `POST /v1/estimates`

use actix_web::HttpResponse;
use quoin_prepress::order::{Inquiry, Product};
use quoin_prepress::run;

use crate::answer;
use crate::operation::Operation;
use crate::problem::Problem;
use crate::request::{Ask, Asked};
use crate::settings::Scope;
use crate::wire::{self, ArtSource, Configured, Mistake};

/// An item and how many of it.
pub(crate) struct Estimate {
    inquiry: Inquiry,
    quantities: Vec<u32>,
}

impl Ask for Estimate {
    const OPERATION: Operation = Operation::Estimate;
    const SCOPE: Scope = Scope::Inspect;
    const ANSWERS: &'static [&'static str] = &[answer::JSON];

    fn read(text: &[u8], art: &mut dyn ArtSource, stocks: &Configured) -> Result<Estimate, Vec<Mistake>> {
        let (inquiry, quantities) = wire::read_estimate(text, art, stocks)?;
        Ok(Estimate { inquiry, quantities })
    }

    fn products(&self) -> impl Iterator<Item = &Product> {
        std::iter::once(&self.inquiry.product)
    }
}

/// The price basis.
pub(crate) async fn estimate(asked: Asked<Estimate>) -> Result<HttpResponse, Problem> {
    let work = |ask: &Estimate, desk: &crate::request::Desk| {
        run::estimate(&ask.inquiry, &ask.quantities, &desk.limits, &desk.cancel)
    };
    answer::json(&asked.work(work).await?)
}
