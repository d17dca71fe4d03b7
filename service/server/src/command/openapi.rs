//! `quoin openapi`: prints the contract of the HTTP service, the ticket's schema, the table of findings, or the page for
//! reading.

use std::io::{self, Write};
use std::process::ExitCode;

use super::terminal::complain;
use super::{EXIT_BROKEN, OpenapiArgs};
use crate::{docs, openapi};

/// Runs the command.
pub(super) fn run(args: &OpenapiArgs) -> ExitCode {
    let text = if args.docs {
        docs::page()
    } else if args.findings {
        quoin_prepress::preflight::catalogue()
    } else if args.ticket {
        openapi::pretty(&openapi::ticket_schema())
    } else {
        openapi::pretty(&openapi::document())
    };
    match io::stdout().lock().write_all(text.as_bytes()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            complain(&format!("error: cannot write the document: {error}"));
            ExitCode::from(EXIT_BROKEN)
        }
    }
}
