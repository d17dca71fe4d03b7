//! `quoin openapi`: prints the contract of the HTTP service, or the ticket's schema.

use std::io::{self, Write};
use std::process::ExitCode;

use super::EXIT_BROKEN;
use super::terminal::complain;
use crate::openapi;

/// Runs the command.
pub(super) fn run(ticket: bool) -> ExitCode {
    let document = if ticket { openapi::ticket_schema() } else { openapi::document() };
    match io::stdout().lock().write_all(openapi::pretty(&document).as_bytes()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            complain(&format!("error: cannot write the document: {error}"));
            ExitCode::from(EXIT_BROKEN)
        }
    }
}
