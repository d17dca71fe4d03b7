//! The binary `quoin`: the command line and the HTTP service around `quoin-prepress`.
//!
//! No geometry, no pixels: here are JSON, files, the terminal and HTTP.

mod app;
mod command;
mod docs;
mod handlers;
mod openapi;
mod problem;
mod routes;
mod wire;

use std::process::ExitCode;

use tracing_subscriber::EnvFilter;

fn main() -> ExitCode {
    // `RUST_LOG` says more or less; a log that cannot be set up is no reason to print no sheets.
    let filter = EnvFilter::try_from_default_env().unwrap_or_else(|_| EnvFilter::new("warn"));
    let _ = tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr).try_init();
    command::main()
}
