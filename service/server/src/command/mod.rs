//! The command line.

mod copies;
mod folder;
mod gang;
mod health;
mod openapi;
mod report;
mod serve;
mod table;
mod terminal;

use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Args, Parser, Subcommand};

/// Something could not be made: a broken job, wrong usage, or a failure. Nothing was written.
const EXIT_BROKEN: u8 = 1;
/// Nothing of the job could be placed. Nothing was written.
const EXIT_NOTHING_PLACED: u8 = 2;

/// Turns a night's sticker orders into sheets to print and cut.
#[derive(Debug, Parser)]
#[command(name = "quoin", version, about = "Turns a night's sticker orders into files to print and to cut.")]
struct CommandLine {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Make the sheets of a gang job
    Gang(GangArgs),
    /// Serve HTTP
    Serve(ListenArgs),
    /// Print the OpenAPI document of the service
    Openapi(OpenapiArgs),
    /// Ask a running service whether it is alive; exit code 0 when it is
    Health(ListenArgs),
}

/// `quoin gang`
#[derive(Debug, Args)]
struct GangArgs {
    /// The job file; pictures are found beside it
    #[arg(value_name = "JOB.json")]
    job: PathBuf,
    /// Folder for the finished files; made when it is not there
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// Replace what is in the folder, once the new files are complete
    #[arg(long)]
    replace: bool,
}

/// `quoin openapi`
#[derive(Debug, Args)]
struct OpenapiArgs {
    /// Print the JSON Schema of ticket.json instead
    #[arg(long)]
    ticket: bool,
    /// Print the page for reading instead, HTML as at /docs
    #[arg(long, conflicts_with = "ticket")]
    docs: bool,
}

/// Where the service listens.
#[derive(Debug, Args)]
struct ListenArgs {
    /// Address of the service; loopback only
    #[arg(long, env = "QUOIN_LISTEN", default_value = "127.0.0.1:8080", value_name = "HOST:PORT")]
    listen: String,
}

/// Runs the command that the arguments name.
pub(crate) fn main() -> ExitCode {
    let parsed = match CommandLine::try_parse() {
        Ok(parsed) => parsed,
        Err(error) => {
            // Help and version are no errors: clap gives them exit code 0. Wrong usage is 1 here, because 2 has a meaning.
            let _ = error.print();
            return if error.exit_code() == 0 { ExitCode::SUCCESS } else { ExitCode::from(EXIT_BROKEN) };
        }
    };
    match parsed.command {
        Command::Gang(args) => gang::run(&args),
        Command::Openapi(args) => openapi::run(&args),
        Command::Serve(args) => serve::run(&args.listen),
        Command::Health(args) => health::run(&args.listen),
    }
}
