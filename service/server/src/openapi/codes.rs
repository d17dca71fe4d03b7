//! The codes of answers by kind.

use crate::problem::{self, Entry};
use crate::wire::MistakeCode;

/// Whether a code is one of the mistakes of a job. JSON that cannot be read is a problem of its own.
fn is_mistake(entry: &Entry) -> bool {
    MistakeCode::ALL.iter().any(|code| code.as_str() == entry.code && *code != MistakeCode::NotJson)
}

/// Codes of problem documents, with their pages.
pub(crate) fn problems() -> Vec<&'static Entry> {
    problem::all().iter().filter(|entry| entry.status.is_some() && !is_mistake(entry)).collect()
}

/// Codes of mistakes inside of problem documents, with their pages.
pub(crate) fn mistakes() -> Vec<&'static Entry> {
    problem::all().iter().filter(|entry| is_mistake(entry)).collect()
}

/// Codes of findings, with their pages.
pub(crate) fn findings() -> Vec<&'static Entry> {
    problem::all().iter().filter(|entry| entry.status.is_none()).collect()
}

/// Codes that a mistake can carry: those of jobs, and those of a body that cannot be taken apart.
pub(super) fn in_mistakes() -> Vec<&'static str> {
    let of_bodies = problems().into_iter().filter(|entry| entry.status == Some(400));
    mistakes().into_iter().chain(of_bodies).map(|entry| entry.code).collect()
}
