//! What comes in as JSON: read with every mistake collected, handed on as the order types of prepress.
//!
//! The reader walks the tree by hand instead of deriving it: a job may be long, whoever wrote it wants all mistakes at
//! once, each with a pointer to the place where the bad value is written, also when that is in `defaults`.

mod art;
mod ids;
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
mod stock;
#[cfg(test)]
mod tests;
mod unique;

use quoin_prepress::order::Job;

pub(crate) use art::{ArtSource, FolderArt};
pub(crate) use mistake::{Mistake, Mistakes};

use mistake::Pointer;
use node::Node;

/// Reads a gang job.
///
/// # Errors
/// Every mistake in it, in the order of the document as far as it was walked. `job.not_json` comes alone or last: then
/// nothing else was looked at.
pub(crate) fn read_gang_job(text: &[u8], art: &mut dyn ArtSource) -> Result<Job, Vec<Mistake>> {
    let mut mistakes = Mistakes::default();
    let job = json::parse(text, &mut mistakes)
        .and_then(|document| job::read_job(&Node::new(Pointer::root(), &document), art, &mut mistakes));
    let list = mistakes.into_list();
    match job {
        Some(job) if list.is_empty() => Ok(job),
        _ => Err(list),
    }
}
