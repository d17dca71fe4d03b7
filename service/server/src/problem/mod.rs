//! Faults as problem documents (RFC 9457). The only file that gives a fault its status, its code and its words.

mod catalogue;

use std::fmt;

use actix_web::http::StatusCode;
use actix_web::http::header::{
    ACCEPT, ACCEPT_ENCODING, ALLOW, CACHE_CONTROL, CONTENT_TYPE, HeaderName, RETRY_AFTER, WWW_AUTHENTICATE,
};
use actix_web::{HttpResponse, ResponseError};
use quoin_prepress::fault::Fault;
use serde_json::{Value, json};

use crate::wire::{Mistake, MistakeCode, Pointer};

pub(crate) use catalogue::{Entry, all, find};

/// The media type of problem documents (RFC 9457, section 6.1).
pub(crate) const PROBLEM_JSON: &str = "application/problem+json";

/// The protection space that keys open (RFC 9110, section 11.5).
const REALM: &str = "quoin";

/// Why a request is not answered with what it asked for.
#[derive(Debug)]
pub(crate) enum Problem {
    /// There is nothing at this path.
    NotFound,
    /// The path does not take this method, but the ones given.
    MethodNotAllowed {
        /// Comma-separated methods.
        allow: &'static str,
    },
    /// The client takes none of the media types that there are.
    NotAcceptable {
        /// What there is.
        offered: &'static [&'static str],
    },
    /// A body, or its `job` part, of a type that is not taken.
    UnsupportedMediaType {
        /// What is wrong, in words.
        detail: String,
    },
    /// A body in a coding that is not taken.
    UnsupportedCoding,
    /// The body has more bytes than the limit.
    BodyTooLarge {
        /// The limit.
        limit_bytes: u64,
        /// Whose limit it is: the body's or the job's.
        what: &'static str,
    },
    /// The body has more parts than the limit.
    TooManyParts {
        /// The limit.
        limit: usize,
    },
    /// The body was not here in time.
    BodyTooSlow {
        /// Time for the whole body.
        deadline_s: u64,
    },
    /// The body cannot be taken apart.
    BrokenBody {
        /// Why, in words.
        reason: String,
    },
    /// A multipart body without a part `job`.
    NoJobPart,
    /// Keys are asked for and none was given.
    NoKey,
    /// A key that is not known.
    UnknownKey,
    /// A key that does not open this operation.
    NoScope {
        /// What it would have to have.
        scope: &'static str,
    },
    /// As much work as is taken is waiting already.
    Full {
        /// When there should be room.
        retry_after_s: u64,
    },
    /// The service is about to stop.
    Draining {
        /// When another one should be there.
        retry_after_s: u64,
    },
    /// The request itself has mistakes.
    Mistakes(Vec<Mistake>),
    /// The work ended with a fault.
    Fault(Fault),
    /// The work panicked.
    Panicked,
    /// The system refused something: a temporary file, a thread.
    System(std::io::Error),
}

impl Problem {
    /// The stable code.
    pub(crate) fn code(&self) -> &'static str {
        match self {
            Problem::NotFound => "http.not_found",
            Problem::MethodNotAllowed { .. } => "http.method_not_allowed",
            Problem::NotAcceptable { .. } => "http.not_acceptable",
            Problem::UnsupportedMediaType { .. } => "http.unsupported_media_type",
            Problem::UnsupportedCoding => "http.unsupported_coding",
            Problem::BodyTooLarge { .. } => "http.body_too_large",
            Problem::TooManyParts { .. } => "http.too_many_parts",
            Problem::BodyTooSlow { .. } => "http.body_too_slow",
            Problem::BrokenBody { .. } => "http.broken_body",
            Problem::NoJobPart => "http.no_job_part",
            Problem::NoKey => "http.no_key",
            Problem::UnknownKey => "http.unknown_key",
            Problem::NoScope { .. } => "http.no_scope",
            Problem::Full { .. } => "http.full",
            Problem::Draining { .. } => "http.draining",
            Problem::Mistakes(mistakes) if is_not_json(mistakes) => MistakeCode::NotJson.as_str(),
            Problem::Mistakes(_) => "job.has_mistakes",
            Problem::Fault(fault) => fault_code(fault),
            Problem::Panicked | Problem::System(_) => INTERNAL,
        }
    }

    /// What it says besides its code's title: this case in particular.
    fn detail(&self) -> String {
        match self {
            Problem::MethodNotAllowed { allow } => format!("This path takes {allow}."),
            Problem::NotAcceptable { offered } => format!("There is {}.", offered.join(", ")),
            Problem::UnsupportedMediaType { detail } => detail.clone(),
            Problem::BodyTooLarge { limit_bytes, what } => format!("{what} may have {limit_bytes} bytes."),
            Problem::TooManyParts { limit } => format!("A body may have {limit} parts."),
            Problem::BodyTooSlow { deadline_s } => format!("A body must be here within {deadline_s} seconds."),
            Problem::BrokenBody { reason } => reason.clone(),
            Problem::NotFound => "There is nothing at this path; /docs lists what there is.".to_owned(),
            Problem::NoKey => "Send the header field `Authorization: Bearer KEY`.".to_owned(),
            Problem::NoScope { scope } => format!("This operation needs a key with the scope `{scope}`."),
            Problem::Full { retry_after_s } | Problem::Draining { retry_after_s } => {
                let seconds = if *retry_after_s == 1 { "second" } else { "seconds" };
                format!("Try again in {retry_after_s} {seconds}.")
            }
            Problem::Mistakes(mistakes) => match mistakes.as_slice() {
                [only] => only.message.clone(),
                many => format!("There are {} mistakes in the request.", many.len()),
            },
            Problem::Fault(fault) if fault_code(fault) == fault.code() => format!("{fault}."),
            Problem::UnsupportedCoding
            | Problem::NoJobPart
            | Problem::UnknownKey
            | Problem::Fault(_)
            | Problem::Panicked
            | Problem::System(_) => find(self.code()).map(|entry| entry.cause.clone().into_owned()).unwrap_or_default(),
        }
    }

    /// The mistakes as the contract writes them; a matter of the body as a whole points at `""`.
    fn mistakes(&self) -> Vec<Value> {
        let write =
            |code: &str, pointer: &str, message: &str| json!({"code": code, "pointer": pointer, "message": message});
        if let Problem::Mistakes(mistakes) = self {
            let of = |mistake: &Mistake| write(mistake.code.as_str(), mistake.pointer.as_str(), &mistake.message);
            mistakes.iter().map(of).collect()
        } else if let Problem::Fault(Fault::StockBroken { field, reason, .. }) = self {
            let pointer = Pointer::root().key("stock").below(field);
            vec![write(MistakeCode::BrokenStock.as_str(), pointer.as_str(), reason)]
        } else if matches!(self, Problem::BrokenBody { .. } | Problem::NoJobPart) {
            vec![write(self.code(), "", &self.detail())]
        } else {
            Vec::new()
        }
    }

    /// The document.
    pub(crate) fn document(&self) -> Value {
        let code = self.code();
        let title = find(code).map_or("", |entry| entry.title);
        let mut document = json!({
            "type": format!("/problems/{code}"),
            "title": title,
            "status": self.status_code().as_u16(),
            "detail": self.detail(),
            "code": code,
            "mistakes": self.mistakes(),
        });
        if let Problem::Fault(Fault::NothingPlaced { set_aside }) = self {
            document["findings"] = json!(set_aside);
        } else if let Problem::Fault(Fault::NoSticker { findings }) = self {
            document["findings"] = json!(findings);
        }
        document
    }

    /// The header field that goes with the status.
    fn header(&self) -> Option<(HeaderName, String)> {
        let challenge = |error: &str| (WWW_AUTHENTICATE, format!("Bearer realm=\"{REALM}\"{error}"));
        if let Problem::MethodNotAllowed { allow } = self {
            Some((ALLOW, (*allow).to_owned()))
        } else if matches!(self, Problem::UnsupportedMediaType { .. }) {
            // RFC 9110, sections 12.5.1 and 12.5.3: in an answer these say what would have been taken.
            Some((ACCEPT, "multipart/form-data, application/json".to_owned()))
        } else if matches!(self, Problem::UnsupportedCoding) {
            Some((ACCEPT_ENCODING, "identity".to_owned()))
        } else if let Problem::Full { retry_after_s } | Problem::Draining { retry_after_s } = self {
            Some((RETRY_AFTER, retry_after_s.to_string()))
        } else if matches!(self, Problem::NoKey) {
            // RFC 6750, section 3.
            Some(challenge(""))
        } else if matches!(self, Problem::UnknownKey) {
            Some(challenge(", error=\"invalid_token\""))
        } else if let Problem::NoScope { scope } = self {
            Some(challenge(&format!(", error=\"insufficient_scope\", scope=\"{scope}\"")))
        } else {
            None
        }
    }

    /// What the log is told and the client is not: the cause of a fault of ours.
    fn cause(&self) -> Option<String> {
        if let Problem::Fault(fault) = self
            && fault_code(fault) == INTERNAL
        {
            // What a layout broke is told in measures alone; other faults may name what is the shop's.
            if let Fault::LayoutBroken { reason } = fault {
                return Some(format!("{}: {reason}", fault.code()));
            }
            let cause = std::error::Error::source(fault).map(|cause| format!(": {cause}")).unwrap_or_default();
            Some(format!("{}{cause}", fault.code()))
        } else if let Problem::System(error) = self {
            Some(format!("the system refused something: {error}"))
        } else if matches!(self, Problem::Panicked) {
            Some("a job panicked".to_owned())
        } else {
            None
        }
    }
}

/// What an answer with a problem tells the log.
#[derive(Clone, Debug)]
pub(crate) struct ProblemNote {
    /// Its code.
    pub(crate) code: &'static str,
    /// The cause of a fault of ours.
    pub(crate) cause: Option<String>,
}

/// What a client is told of any fault of ours.
const INTERNAL: &str = "http.internal";

/// The code by which a client knows a fault of the work; faults of ours all look alike to it.
fn fault_code(fault: &Fault) -> &'static str {
    match fault {
        Fault::NothingPlaced { .. } | Fault::NoSticker { .. } => fault.code(),
        Fault::StockBroken { .. } => "job.has_mistakes",
        // Only a service that stops cancels work that somebody still waits for.
        Fault::Cancelled => "http.draining",
        Fault::NotFinite
        | Fault::ArtUnreadable { .. }
        | Fault::ArtUnsupported { .. }
        | Fault::ArtOverLimit { .. }
        | Fault::ArtBlank
        | Fault::ArtTiny { .. }
        | Fault::SizeTooSmall { .. }
        | Fault::SizeTooLarge { .. }
        | Fault::ShapeParts { .. }
        | Fault::PageFull { .. }
        | Fault::LayoutBroken { .. }
        | Fault::CopiesLost { .. }
        | Fault::CutLineBroken { .. }
        | Fault::OutputBroken { .. }
        | Fault::ArtLost { .. }
        | Fault::StoreFailed { .. } => INTERNAL,
    }
}

fn is_not_json(mistakes: &[Mistake]) -> bool {
    mistakes.iter().any(|mistake| mistake.code == MistakeCode::NotJson)
}

impl fmt::Display for Problem {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(formatter, "{}: {}", self.code(), self.detail())
    }
}

impl ResponseError for Problem {
    fn status_code(&self) -> StatusCode {
        let status = find(self.code()).and_then(|entry| entry.status);
        status.and_then(|status| StatusCode::from_u16(status).ok()).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR)
    }

    fn error_response(&self) -> HttpResponse {
        let mut response = HttpResponse::build(self.status_code());
        response.insert_header((CONTENT_TYPE, PROBLEM_JSON)).insert_header((CACHE_CONTROL, "no-store"));
        if let Some(field) = self.header() {
            response.insert_header(field);
        }
        let mut response = response.body(self.document().to_string());
        // For the log.
        response.extensions_mut().insert(ProblemNote { code: self.code(), cause: self.cause() });
        response
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fault_of_ours_says_nothing_of_the_inside() {
        let fault = Fault::LayoutBroken { reason: "gutter 1.9 mm between secret and hidden".to_owned() };
        let document = Problem::Fault(fault).document();
        assert_eq!((&document["status"], &document["code"]), (&json!(500), &json!("http.internal")));
        assert!(!document.to_string().contains("secret"));
        let broken = Problem::Fault(Fault::LayoutBroken { reason: "1.9 mm between two copies".to_owned() });
        assert_eq!(broken.cause().as_deref(), Some("gang.layout_broken: 1.9 mm between two copies"));
    }

    #[test]
    fn every_problem_has_a_page_with_its_status() {
        let deepest = Mistake { code: MistakeCode::NotJson, pointer: Pointer::root(), message: "no".to_owned() };
        let io = || std::io::Error::other("no");
        let problems = [
            Problem::NotFound,
            Problem::MethodNotAllowed { allow: "GET" },
            Problem::NotAcceptable { offered: &["image/png"] },
            Problem::UnsupportedMediaType { detail: "no".to_owned() },
            Problem::UnsupportedCoding,
            Problem::BodyTooLarge { limit_bytes: 1, what: "A body" },
            Problem::TooManyParts { limit: 1 },
            Problem::BodyTooSlow { deadline_s: 1 },
            Problem::BrokenBody { reason: "no".to_owned() },
            Problem::NoJobPart,
            Problem::NoKey,
            Problem::UnknownKey,
            Problem::NoScope { scope: "gang" },
            Problem::Full { retry_after_s: 1 },
            Problem::Draining { retry_after_s: 1 },
            Problem::Mistakes(vec![deepest]),
            Problem::Mistakes(Vec::new()),
            Problem::Fault(Fault::NothingPlaced { set_aside: Vec::new() }),
            Problem::Fault(Fault::NoSticker { findings: Vec::new() }),
            Problem::Fault(Fault::Cancelled),
            Problem::Fault(Fault::NotFinite),
            Problem::Panicked,
            Problem::System(io()),
        ];
        for problem in problems {
            let entry = find(problem.code()).unwrap_or_else(|| panic!("{} has no page", problem.code()));
            assert_eq!(entry.status, Some(problem.status_code().as_u16()), "{}", entry.code);
            assert!(!problem.detail().is_empty(), "{}", entry.code);
        }
    }
}
