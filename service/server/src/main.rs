//! The binary `quoin`: the command line and the HTTP service around `quoin-prepress`.
//!
//! No geometry, no pixels: here are JSON, files, the terminal and HTTP.

mod answer;
mod app;
mod budget;
mod command;
mod docs;
mod drawing_process;
mod gate;
mod handlers;
mod logging;
mod metrics;
mod openapi;
mod operation;
mod problem;
mod request;
mod routes;
mod service;
mod settings;
mod signals;
mod visit;
mod watch;
mod wire;

use std::process::ExitCode;

fn main() -> ExitCode {
    command::main()
}
