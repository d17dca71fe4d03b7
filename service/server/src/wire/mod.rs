//! What comes in as JSON: read with every mistake collected, handed on as the order types of prepress.
//!
//! The reader walks the tree by hand instead of deriving it: a job may be long, whoever wrote it wants all mistakes at
//! once, each with a pointer to the place where the bad value is written, also when that is in `defaults`.

mod art;
mod configured;
mod ids;
mod inquiry;
mod item;
mod job;
mod json;
mod marks;
mod mistake;
mod node;
mod outline;
mod page;
mod policy;
mod range;
pub(crate) mod schema;
mod stock;
#[cfg(test)]
mod tests;
mod unique;

use quoin_prepress::order::{Inquiry, Job, View};

pub(crate) use art::{ArtMissing, ArtRef, ArtSource, FolderArt};
pub(crate) use configured::Configured;
pub(crate) use mistake::{Mistake, MistakeCode, Mistakes, Pointer};
pub(crate) use outline::ACCEPTABLE;

use inquiry::SizeIs;
use node::Node;

/// Reads a gang job.
///
/// # Errors
/// Every mistake in it, in the order of the document as far as it was walked. `job.not_json` comes alone or last: then
/// nothing else was looked at.
pub(crate) fn read_gang_job(
    text: &[u8],
    art: &mut dyn ArtSource,
    configured: &Configured,
) -> Result<Job, Vec<Mistake>> {
    read(text, |job, mistakes| job::read_job(job, configured, art, mistakes))
}

/// Reads a request for preflight.
///
/// # Errors
/// As [`read_gang_job`].
pub(crate) fn read_preflight(
    text: &[u8],
    art: &mut dyn ArtSource,
    configured: &Configured,
) -> Result<Inquiry, Vec<Mistake>> {
    read(text, |request, mistakes| {
        inquiry::read_inquiry(request, &inquiry::PREFLIGHT_FIELDS, SizeIs::Optional, configured, art, mistakes)
    })
}

/// Reads a request for a proof.
///
/// # Errors
/// As [`read_gang_job`].
pub(crate) fn read_proof(
    text: &[u8],
    art: &mut dyn ArtSource,
    configured: &Configured,
) -> Result<(Inquiry, View), Vec<Mistake>> {
    read(text, |request, mistakes| {
        let view = inquiry::read_view(request, mistakes);
        let inquiry =
            inquiry::read_inquiry(request, &inquiry::PROOF_FIELDS, SizeIs::Optional, configured, art, mistakes);
        Some((inquiry?, view))
    })
}

/// Reads a request for an estimate; where it names no quantities, the item's own is asked about.
///
/// # Errors
/// As [`read_gang_job`].
pub(crate) fn read_estimate(
    text: &[u8],
    art: &mut dyn ArtSource,
    configured: &Configured,
) -> Result<(Inquiry, Vec<u32>), Vec<Mistake>> {
    read(text, |request, mistakes| {
        let quantities = inquiry::read_quantities(request, mistakes);
        let inquiry =
            inquiry::read_inquiry(request, &inquiry::ESTIMATE_FIELDS, SizeIs::Required, configured, art, mistakes)?;
        let quantities = quantities.unwrap_or_else(|| vec![inquiry.quantity]);
        Some((inquiry, quantities))
    })
}

/// Parses a document and reads it; whatever has a mistake is refused.
fn read<T>(text: &[u8], reader: impl FnOnce(&Node<'_>, &mut Mistakes) -> Option<T>) -> Result<T, Vec<Mistake>> {
    let mut mistakes = Mistakes::default();
    let found = json::parse(text, &mut mistakes)
        .and_then(|document| reader(&Node::new(Pointer::root(), &document), &mut mistakes));
    let list = mistakes.into_list();
    match found {
        Some(found) if list.is_empty() => Ok(found),
        _ => Err(list),
    }
}
