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

use mimalloc::MiMalloc;

/// A picture is tens of megabytes, and so is what is made of it on the way: handed back to the kernel and cleared anew for every
/// request, that costs a quarter of a preflight. This one keeps it for a while.
#[global_allocator]
static ALLOCATOR: MiMalloc = MiMalloc;

fn main() -> ExitCode {
    command::main()
}
