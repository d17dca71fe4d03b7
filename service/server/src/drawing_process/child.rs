//! The child: closes itself in, reads one drawing, answers, ends.

use std::io::{self, BufRead, BufReader, Read, Write};
use std::process::{self, ExitCode};
use std::thread;
use std::time::Duration;

use clap::Args;
use quoin_prepress::intake::{self, Drawing};

use super::MAX_LINE_BYTES;
use super::cell::{self, EXIT_OUT_OF_TIME};
use super::words::{Answer, Question, Rendered};

/// Time that passes on the wall before the child ends itself, whatever it waits for: ten times what it may work, on a
/// machine with other things to do. Common practice, no source.
const PATIENCE: u32 = 10;

/// `quoin render-drawing`, which this program starts itself
#[derive(Debug, Args)]
pub(crate) struct ChildArgs {
    /// Address space
    #[arg(long)]
    memory_bytes: u64,
    /// Seconds of processor time
    #[arg(long)]
    cpu_s: u32,
}

/// Renders the drawing on stdin to stdout.
pub(crate) fn run(args: &ChildArgs) -> ExitCode {
    let done = cell::close(args.memory_bytes, args.cpu_s).and_then(|()| {
        watch(Duration::from_secs(u64::from(args.cpu_s * PATIENCE)))?;
        answer()
    });
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            let _ = writeln!(io::stderr(), "{error}");
            ExitCode::FAILURE
        }
    }
}

/// Ends the process after a time.
fn watch(time: Duration) -> io::Result<()> {
    let wait = move || {
        thread::sleep(time);
        process::exit(i32::from(EXIT_OUT_OF_TIME));
    };
    thread::Builder::new().stack_size(64 << 10).spawn(wait).map(|_| ())
}

fn answer() -> io::Result<()> {
    let mut stdin = BufReader::new(io::stdin().lock());
    let mut line = Vec::new();
    (&mut stdin).take(MAX_LINE_BYTES).read_until(b'\n', &mut line)?;
    let question: Question = serde_json::from_slice(&line)?;
    let limits = question.limits();
    let mut bytes = Vec::new();
    stdin.take(limits.max_bytes).read_to_end(&mut bytes)?;
    let rendered = intake::render(&Drawing { bytes: &bytes, scale: question.scale(), limits, spent: Duration::ZERO });
    drop(bytes);
    let mut stdout = io::stdout().lock();
    let (answer, pixels) = match rendered {
        Ok(rendering) => {
            let (rendered, pixels) = Rendered::of(rendering, cell::spent());
            (Answer::Rendered(rendered), pixels.into_raw())
        }
        Err(fault) => (Answer::refusal(&fault), Vec::new()),
    };
    let mut line = serde_json::to_vec(&answer)?;
    line.push(b'\n');
    stdout.write_all(&line)?;
    stdout.write_all(&pixels)?;
    stdout.flush()
}
