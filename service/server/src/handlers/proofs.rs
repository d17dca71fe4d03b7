//! `POST /v1/proofs`

use actix_web::HttpResponse;
use actix_web::http::header::{HeaderName, HeaderValue};
use quoin_prepress::order::{Inquiry, Product, ProofDrawing, View};
use quoin_prepress::run;

use crate::answer;
use crate::operation::Operation;
use crate::problem::Problem;
use crate::request::{Ask, Asked};
use crate::settings::Scope;
use crate::wire::{self, ArtSource, Configured, Mistake};

const SVG: &str = "image/svg+xml";

/// The header field that names what the customer agrees to.
const PROOF_DIGEST: HeaderName = HeaderName::from_static("proof-digest");

/// What preflight says of it: a picture of a sticker does not show that it is too soft to print.
const PROOF_VERDICT: HeaderName = HeaderName::from_static("proof-verdict");

/// An item and how it is to be shown.
pub(crate) struct Proof {
    inquiry: Inquiry,
    view: View,
}

impl Ask for Proof {
    const OPERATION: Operation = Operation::Proof;
    const SCOPE: Scope = Scope::Inspect;
    const ANSWERS: &'static [&'static str] = &["image/png", SVG, answer::JSON];

    fn read(text: &[u8], art: &mut dyn ArtSource, stocks: &Configured) -> Result<Proof, Vec<Mistake>> {
        let (inquiry, view) = wire::read_proof(text, art, stocks)?;
        Ok(Proof { inquiry, view })
    }

    fn products(&self) -> impl Iterator<Item = &Product> {
        std::iter::once(&self.inquiry.product)
    }
}

/// The finished sticker.
pub(crate) async fn proof(asked: Asked<Proof>) -> Result<HttpResponse, Problem> {
    let media_type = asked.answer;
    let drawing = if media_type == SVG { ProofDrawing::Svg } else { ProofDrawing::Png };
    let work = move |ask: &Proof, desk: &crate::request::Desk| {
        run::proof(&ask.inquiry, &ask.view, drawing, &desk.limits, &desk.cancel)
    };
    let proof = asked.work(work).await?;
    let (digest, verdict) = (proof.digest.clone(), proof.report.verdict.word());
    let mut response = if media_type == answer::JSON {
        answer::json(&proof.document())?
    } else {
        answer::bytes(media_type, proof.picture)
    };
    let digest = digest.parse().map_err(|_| Problem::Panicked)?;
    response.headers_mut().insert(PROOF_DIGEST, digest);
    response.headers_mut().insert(PROOF_VERDICT, HeaderValue::from_static(verdict));
    Ok(response)
}
