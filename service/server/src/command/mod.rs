//! The command line.

mod copies;
mod failure;
mod folder;
mod gang;
mod health;
mod job_file;
mod openapi;
mod report;
mod serve;
mod single;
mod table;
mod terminal;

use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Args, Parser, Subcommand};

use crate::drawing_process;
use crate::logging;
use crate::settings::{self, SettingsArgs};
use crate::wire::Configured;

/// Something could not be made: a broken job, wrong usage, or a failure. Nothing was written.
const EXIT_BROKEN: u8 = 1;
/// Nothing of the job could be placed, or no sticker made. Nothing was written.
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
    /// Report on one item: findings, measures, finished size
    Preflight(InquiryArgs),
    /// Draw the finished sticker of one item
    Proof(ProofArgs),
    /// Measure one item and what quantities of it take of their stock
    Estimate(InquiryArgs),
    /// Serve HTTP
    Serve(SettingsArgs),
    /// Print the OpenAPI document of the service
    Openapi(OpenapiArgs),
    /// Look at the settings without serving
    #[command(subcommand)]
    Config(ConfigCommand),
    /// Make a key for a client of the service
    Key(KeyArgs),
    /// Render the drawing on stdin: how this program renders drawings from strangers
    #[command(hide = true)]
    RenderDrawing(drawing_process::ChildArgs),
    /// Ask a running service whether it is alive; exit code 0 when it is
    Health(HealthArgs),
}

#[derive(Debug, Subcommand)]
enum ConfigCommand {
    /// Check the settings and say what is wrong with them
    Check(SettingsArgs),
}

/// `quoin key`
#[derive(Debug, Args)]
struct KeyArgs {
    /// Who gets it; stands in the settings and nowhere else
    #[arg(value_name = "NAME", value_parser = settings::key_name)]
    name: String,
}

/// The shop's own stocks, which a job can call by name.
#[derive(Debug, Args)]
struct ShopArgs {
    /// Settings file (TOML) with the stocks that the job calls by name
    #[arg(long, env = "QUOIN_SETTINGS", value_name = "FILE")]
    settings: Option<PathBuf>,
}

impl ShopArgs {
    /// The stocks; none where no file is named.
    fn stocks(&self) -> Result<Configured, failure::Failure> {
        settings::stocks_of(self.settings.as_deref()).map_err(failure::Failure::Settings)
    }
}

/// `quoin gang`
#[derive(Debug, Args)]
struct GangArgs {
    #[command(flatten)]
    shop: ShopArgs,
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

/// `quoin preflight`, `quoin estimate`
#[derive(Debug, Args)]
struct InquiryArgs {
    #[command(flatten)]
    shop: ShopArgs,
    /// The request, `{"item": …, "stock": …}`; pictures are found beside it
    #[arg(value_name = "JOB.json")]
    job: PathBuf,
}

/// `quoin proof`
#[derive(Debug, Args)]
struct ProofArgs {
    #[command(flatten)]
    shop: ShopArgs,
    /// The request, `{"item": …, "stock": …, "view": …}`; pictures are found beside it
    #[arg(value_name = "JOB.json")]
    job: PathBuf,
    /// File for the picture: PNG, or SVG where the name ends in .svg, or all of the answer where it ends in .json
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Replace the file when it is there
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
    /// Print every finding with its threshold, source and remedy instead, Markdown
    #[arg(long, conflicts_with_all = ["ticket", "docs"])]
    findings: bool,
}

/// `quoin health`
#[derive(Debug, Args)]
struct HealthArgs {
    /// Settings file (TOML) of the service, for its address
    #[arg(long, env = "QUOIN_SETTINGS", value_name = "FILE")]
    settings: Option<PathBuf>,
    /// Address of the service [default: 127.0.0.1:8080]
    #[arg(long, env = "QUOIN_LISTEN", value_name = "HOST:PORT")]
    listen: Option<String>,
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
    if !matches!(parsed.command, Command::Serve(_) | Command::RenderDrawing(_)) {
        logging::start("warn");
    }
    match parsed.command {
        Command::Gang(args) => gang::run(&args),
        Command::Openapi(args) => openapi::run(&args),
        Command::Serve(args) => serve::run(&args),
        Command::Config(ConfigCommand::Check(args)) => serve::check(&args),
        Command::Key(args) => serve::key(&args.name),
        Command::Preflight(args) => single::preflight(&args),
        Command::Proof(args) => single::proof(&args),
        Command::Estimate(args) => single::estimate(&args),
        Command::RenderDrawing(args) => drawing_process::run(&args),
        Command::Health(args) => health::run(&settings::listen_of(args.listen, args.settings.as_deref())),
    }
}
