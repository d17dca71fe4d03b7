//! `quoin gang`: a job file in, a folder of sheets out.

use std::io::{self, Write};
use std::panic;
use std::process::ExitCode;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use quoin_prepress::cancel::Cancel;
use quoin_prepress::fault::Fault;
use quoin_prepress::finding::SetAside;
use quoin_prepress::intake::Limits;
use quoin_prepress::order::Job;
use quoin_prepress::output::ticket::Ticket;
use quoin_prepress::run::{self, Hooks, Progress};

use super::failure::{Failure, tell};
use super::folder::OutputFolder;
use super::job_file::{self, JobFile};
use super::terminal::complain;
use super::{EXIT_BROKEN, EXIT_NOTHING_PLACED, GangArgs, report};
use crate::budget::Budget;
use crate::drawing_process;
use crate::signals;
use crate::wire;

/// Steps of the progress bar.
const BAR_STEPS: f64 = 1000.0;

/// Runs the command.
pub(super) fn run(args: &GangArgs) -> ExitCode {
    // A panic is a mistake of ours, and a failure like any other: unwinding has removed what was written.
    let Ok(made) = panic::catch_unwind(|| make(args)) else {
        complain("error: this job met a mistake in this program; nothing was written");
        return ExitCode::from(EXIT_BROKEN);
    };
    match made {
        Ok(ticket) => {
            // Whoever closed stdout does not want the table; the files are there all the same.
            let text = report::closing(&ticket, &args.out).join("\n");
            let _ = writeln!(io::stdout().lock(), "{text}");
            ExitCode::SUCCESS
        }
        Err(Failure::Run(Fault::NothingPlaced { set_aside })) => {
            tell_nothing_placed(&set_aside);
            ExitCode::from(EXIT_NOTHING_PLACED)
        }
        Err(failure) => {
            tell(&failure);
            ExitCode::from(EXIT_BROKEN)
        }
    }
}

/// Makes the sheets and moves them to the output folder.
fn make(args: &GangArgs) -> Result<Ticket, Failure> {
    let limits = drawing_process::limits();
    let configured = args.shop.stocks()?;
    let JobFile { job, inputs } =
        job_file::read(&args.job, &limits, |text, art| wire::read_gang_job(text, art, &configured))?;
    let cancel = Cancel::new();
    raise_on_interrupt(cancel.clone());
    let folder = OutputFolder::prepare(&args.out, args.replace, &inputs)?;
    let ticket = gang(&job, &limits, &folder, &cancel)?;
    cancel.check()?;
    folder.finish()?;
    Ok(ticket)
}

fn gang(job: &Job, limits: &Limits, folder: &OutputFolder, cancel: &Cancel) -> Result<Ticket, Fault> {
    let bar = progress_bar();
    let progress = |progress: Progress| show(&bar, progress);
    let budget = Budget::new(job.policy.time_budget_ms);
    let hooks = Hooks { progress: &progress, out_of_time: &|| budget.is_spent(), cancel };
    let made = run::gang(job, limits, folder, hooks);
    bar.finish_and_clear();
    made
}

/// A bar on stderr; nothing where stderr is no terminal.
fn progress_bar() -> ProgressBar {
    let bar = ProgressBar::with_draw_target(Some(BAR_STEPS as u64), ProgressDrawTarget::stderr());
    if let Ok(style) = ProgressStyle::with_template("{msg:9} {wide_bar} {percent:>3} % {elapsed:>4}") {
        bar.set_style(style);
    }
    bar
}

fn show(bar: &ProgressBar, progress: Progress) {
    let Progress { pictures, sheets, files } = progress;
    bar.set_message(match (pictures < 1.0, sheets < 1.0) {
        (true, _) => "Pictures",
        (false, true) => "Layout",
        (false, false) => "Files",
    });
    // Shares of a usual run; common practice, no source.
    let share = 0.3 * pictures + 0.4 * sheets + 0.3 * files;
    bar.set_position((share.clamp(0.0, 1.0) * BAR_STEPS) as u64);
}

/// Raises a flag when somebody asks the process to stop, so that it ends in order and leaves nothing behind.
fn raise_on_interrupt(cancel: Cancel) {
    let wait = move || {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
        match runtime.and_then(|runtime| runtime.block_on(interrupted())) {
            Ok(()) => cancel.raise(),
            Err(error) => tracing::warn!(%error, "signals cannot be heard: an interrupt leaves a hidden folder behind"),
        }
    };
    if let Err(error) = std::thread::Builder::new().name("signals".to_owned()).spawn(wait) {
        tracing::warn!(%error, "signals cannot be heard: an interrupt leaves a hidden folder behind");
    }
}

/// Waits for an interrupt, or a request to end.
async fn interrupted() -> io::Result<()> {
    signals::listen()?.next().await;
    Ok(())
}

fn tell_nothing_placed(set_aside: &[SetAside]) {
    complain("error[run.nothing_placed]: nothing in this job could be placed; nothing was written");
    if !set_aside.is_empty() {
        for line in report::set_aside(set_aside) {
            complain(&line);
        }
    }
}
