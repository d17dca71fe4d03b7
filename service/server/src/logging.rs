//! The log: one line per request, and what an operator should know. No art and no customer's text ever stands in it.

use std::io::{IsTerminal, stderr};
use std::panic;

use tracing_subscriber::EnvFilter;

/// Starts the log on stderr: for people on a terminal, as JSON elsewhere. `RUST_LOG` says more or less than `usual`.
pub(crate) fn start(usual: &str) {
    let filter = EnvFilter::try_from_default_env().unwrap_or_else(|_| EnvFilter::new(usual));
    let builder = tracing_subscriber::fmt().with_env_filter(filter).with_writer(stderr);
    // A log that cannot be set up is no reason to print no sheets.
    let _ = if stderr().is_terminal() { builder.try_init() } else { builder.json().flatten_event(true).try_init() };
}

/// Writes panics into the log, by their place alone: their words may quote what a customer sent.
pub(crate) fn log_panics() {
    panic::set_hook(Box::new(|panic| {
        let place = panic.location().map(ToString::to_string);
        tracing::error!(place, "a panic: our fault");
    }));
}
