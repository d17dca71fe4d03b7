//! Throws damaged input at every parser that strangers reach: pictures, drawings, jobs, multipart bodies.
//!
//! `fuzz [--seconds N] [--seed N] [TARGET…]`: N seconds for each target (15), one after the other; the same seed throws the
//! same input. What breaks a promise is kept in `fuzz-found/` and ends the run with exit code 1; so is what ends the program
//! itself, as `TARGET-trying`. The seeds are the project's own pictures and jobs. A long run: `--seconds 3600 --seed $RANDOM`.

#[expect(dead_code, reason = "the suites use the rest of it")]
#[path = "../suite/chance.rs"]
mod chance;
mod input;
mod service;
mod targets;

use std::process::ExitCode;
use std::time::{Duration, Instant};
use std::{env, fs, io};

use chance::Chance;
use input::Mutator;
use targets::{TARGETS, Target};

/// Seconds for each target: four targets take a minute.
const SECONDS: u64 = 15;

/// Where input that broke a promise is kept.
const FOUND: &str = "fuzz-found";

/// Longest time for one input; a limit of the service, not of the parser, is what a slow one runs into.
const PATIENCE: Duration = Duration::from_secs(5);

struct Wanted {
    seconds: u64,
    seed: u64,
    targets: Vec<&'static Target>,
}

fn main() -> ExitCode {
    let Some(wanted) = wanted() else {
        let names: Vec<&str> = TARGETS.iter().map(|target| target.name).collect();
        eprintln!("usage: fuzz [--seconds N] [--seed N] [{}]", names.join("|"));
        return ExitCode::FAILURE;
    };
    let mut broken = 0;
    for target in &wanted.targets {
        match run(target, &wanted) {
            Ok(found) => broken += found,
            Err(error) => {
                eprintln!("{}: {error}", target.name);
                broken += 1;
            }
        }
    }
    if broken == 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

fn wanted() -> Option<Wanted> {
    let mut wanted = Wanted { seconds: SECONDS, seed: 1, targets: Vec::new() };
    let mut args = env::args().skip(1);
    while let Some(arg) = args.next() {
        match arg.as_str() {
            "--seconds" => wanted.seconds = args.next()?.parse().ok()?,
            "--seed" => wanted.seed = args.next()?.parse().ok()?,
            name => wanted.targets.push(TARGETS.iter().find(|target| target.name == name)?),
        }
    }
    if wanted.targets.is_empty() {
        wanted.targets = TARGETS.iter().collect();
    }
    Some(wanted)
}

/// Runs one target; how many inputs broke a promise. Stops at the first: what follows is mostly the same.
fn run(target: &Target, wanted: &Wanted) -> io::Result<usize> {
    let (seeds, mut check) = ((target.seeds)()?, (target.start)()?);
    let mut mutator = Mutator::new(Chance::new(wanted.seed), seeds, target.words);
    let (began, mut count) = (Instant::now(), 0_u64);
    fs::create_dir_all(FOUND)?;
    // Some input ends the process, past anything that could catch it: what was being tried is then still there.
    let trying = format!("{FOUND}/{}-trying", target.name);
    while began.elapsed() < Duration::from_secs(wanted.seconds) {
        let input = mutator.next_input();
        fs::write(&trying, &input)?;
        let started = Instant::now();
        let outcome = check(&input);
        count += 1;
        let outcome = outcome.and_then(|()| {
            let took = started.elapsed();
            if took < PATIENCE { Ok(()) } else { Err(format!("it took {} ms", took.as_millis())) }
        });
        if let Err(broken) = outcome {
            let path = format!("{FOUND}/{}-{}-{count}", target.name, wanted.seed);
            fs::rename(&trying, &path)?;
            eprintln!("{}: {broken}; the input is in {path}", target.name);
            return Ok(1);
        }
    }
    fs::remove_file(&trying)?;
    eprintln!("{}: {count} inputs in {} s, none broke a promise", target.name, began.elapsed().as_secs());
    Ok(0)
}
