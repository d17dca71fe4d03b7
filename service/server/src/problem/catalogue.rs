//! Every code that an answer can carry, with its page: what it means and what to do.

use std::borrow::Cow;
use std::sync::LazyLock;

use quoin_prepress::finding::Code;
use quoin_prepress::order::Thresholds;
use quoin_prepress::preflight;

use crate::wire::{ACCEPTABLE, MistakeCode};

/// What there is to say of a code.
#[derive(Clone, Debug)]
pub(crate) struct Entry {
    /// The stable code.
    pub(crate) code: &'static str,
    /// The status of an answer with this code as its own; mistakes and findings stand inside such an answer.
    pub(crate) status: Option<u16>,
    /// A few words.
    pub(crate) title: &'static str,
    /// How it comes about; of a finding what it says, and of which measure on.
    pub(crate) cause: Cow<'static, str>,
    /// What to do.
    pub(crate) remedy: &'static str,
}

/// Gathered once: each answer with a problem looks its code up several times.
static ALL: LazyLock<Vec<Entry>> = LazyLock::new(gather);

/// Every code: faults of a request, mistakes in a job, findings about an item.
pub(crate) fn all() -> &'static [Entry] {
    &ALL
}

fn gather() -> Vec<Entry> {
    let problem = |&(code, status, title, cause, remedy): &Row| Entry {
        code,
        status: Some(status),
        title,
        cause: cause.into(),
        remedy,
    };
    let mistake = |code: &MistakeCode| Entry {
        code: code.as_str(),
        status: Some(422),
        title: "A mistake in the job",
        cause: code.cause().into(),
        remedy: code.remedy(),
    };
    let finding = |code: &Code| Entry {
        code: code.as_str(),
        status: None,
        title: "A finding about an item",
        cause: caused(*code).into(),
        remedy: code.remedy(),
    };
    let made = |code: &str| Code::ALL.iter().any(|made| made.as_str() == code);
    let to_come = ACCEPTABLE.iter().filter(|code| !made(code)).map(|code| Entry {
        code,
        status: None,
        title: "A finding about an item",
        cause: "No picture is looked at for this yet: this version never reports it. It may be accepted beforehand."
            .into(),
        remedy: "Nothing to do.",
    });
    // JSON that cannot be read is a problem of its own, not one mistake among others.
    let mistakes = MistakeCode::ALL.iter().filter(|code| **code != MistakeCode::NotJson).map(mistake);
    PROBLEMS.iter().map(problem).chain(mistakes).chain(Code::ALL.iter().map(finding)).chain(to_come).collect()
}

/// A finding's words, the measure from which on it is said, and where that comes from.
fn caused(code: Code) -> String {
    let (when, source) = preflight::said(code);
    let own = Thresholds::ALL.iter().any(|threshold| when.contains(threshold.name));
    let own = if own { " Values in brackets are settings of the shop." } else { "" };
    format!("{} Said of: {when}. Source: {source}.{own}", code.message())
}

/// The entry of a code.
pub(crate) fn find(code: &str) -> Option<&'static Entry> {
    all().iter().find(|entry| entry.code == code)
}

/// Code, status, title, cause, remedy.
type Row = (&'static str, u16, &'static str, &'static str, &'static str);

const PROBLEMS: [Row; 20] = [
    (
        "http.broken_body",
        400,
        "The body cannot be taken apart",
        "The multipart body does not follow RFC 7578: its boundary is not the one of the header, a part has no name, or \
         the body ends too early.",
        "Let an HTTP library write the body, and do not set its Content-Type by hand: the boundary stands in it.",
    ),
    (
        "http.no_job_part",
        400,
        "There is no part `job`",
        "A multipart request has one part named `job` of type application/json; this one has none.",
        "Send the job as a part named `job`, and each picture as a part whose name the job mentions.",
    ),
    (
        "job.not_json",
        400,
        "The job is not JSON",
        "The job is not JSON as RFC 8259 has it: its syntax or its UTF-8 is broken, a number is no number or beyond \
         doubles, it is nested deeper than 128, or it has more than two million values.",
        "Write the job with a JSON library; the message says line and column.",
    ),
    (
        "http.no_key",
        401,
        "A key is needed",
        "This service asks for a key, and the request has none.",
        "Send the header field `Authorization: Bearer KEY` with the key that the operator gave you.",
    ),
    (
        "http.unknown_key",
        401,
        "The key is not known",
        "The request has a key that this service does not know, or not any more.",
        "Ask the operator for a key; check that it was copied whole.",
    ),
    (
        "http.no_scope",
        403,
        "The key does not open this operation",
        "The key is known, but was not given the scope that this operation needs.",
        "Use another key, or ask the operator for one with the scope that the answer names.",
    ),
    (
        "http.not_found",
        404,
        "There is nothing at this path",
        "The path is none of this service's.",
        "See /docs for every path.",
    ),
    (
        "http.method_not_allowed",
        405,
        "The path does not take this method",
        "The path is right, the method is not.",
        "Use one of the methods in the answer's Allow header field.",
    ),
    (
        "http.not_acceptable",
        406,
        "The answer is not to be had in the type asked for",
        "The Accept header field takes none of the media types in which this answer can be written.",
        "Leave Accept out, or take one of the types that the answer names.",
    ),
    (
        "http.body_too_slow",
        408,
        "The body came too slowly",
        "The request's body was not complete within the time that the service gives it.",
        "Send it again over a faster connection, or make the pictures smaller. The operator can set a longer time.",
    ),
    (
        "http.body_too_large",
        413,
        "The body is too large",
        "The request has more bytes than the service takes.",
        "Send fewer pictures at once, or smaller ones; send pictures as parts instead of base64, which is a third longer.",
    ),
    (
        "http.too_many_parts",
        413,
        "The body has too many parts",
        "The multipart body has more parts than the service takes.",
        "Send each picture once, however many items use it, or split the job.",
    ),
    (
        "http.unsupported_media_type",
        415,
        "The body is of a type that is not taken",
        "A request is multipart/form-data or application/json, and its part `job` is application/json.",
        "Set the Content-Type that the body has.",
    ),
    (
        "http.unsupported_coding",
        415,
        "The body is in a coding that is not taken",
        "The request has a Content-Encoding; bodies are taken as they are.",
        "Send the body without compressing it: pictures are compressed already.",
    ),
    (
        "job.has_mistakes",
        422,
        "The job has mistakes",
        "The job was understood, but it breaks the contract; each mistake is listed with a pointer to its place.",
        "Mend all that is listed in `mistakes` and send it again.",
    ),
    (
        "run.nothing_placed",
        422,
        "Nothing in this job can be printed",
        "Every item was set aside; `findings` says why for each.",
        "Mend or leave out what was set aside.",
    ),
    (
        "proof.no_sticker",
        422,
        "No sticker can be made of this picture",
        "The picture cannot be used, or not at this size; `findings` says why.",
        "Do what the findings' remedies say.",
    ),
    (
        "http.internal",
        500,
        "Something went wrong here",
        "The service made a mistake. It was logged with the request's id.",
        "Try once more; if it stays, give the operator the X-Request-Id of the answer.",
    ),
    (
        "http.full",
        503,
        "The service has all the work it can take",
        "As many requests are at work and waiting as the service is set up for.",
        "Send it again after the seconds in Retry-After.",
    ),
    (
        "http.draining",
        503,
        "The service is about to stop",
        "The service was told to stop and takes no new work.",
        "Send it again: the balancer knows another one.",
    ),
];

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    #[test]
    fn every_code_has_one_page_with_cause_and_remedy() {
        let mut seen = BTreeSet::new();
        for entry in all() {
            assert!(seen.insert(entry.code), "{} comes twice", entry.code);
            assert!(!entry.title.is_empty() && !entry.cause.is_empty() && !entry.remedy.is_empty(), "{}", entry.code);
        }
        for code in MistakeCode::ALL.iter().map(|code| code.as_str()) {
            assert!(seen.contains(code), "{code} has no page");
        }
    }
}
