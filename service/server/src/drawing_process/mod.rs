//! Drawings from strangers (SVG) are rendered in a process of their own: this program, started once more for each drawing.
//!
//! A drawing is a program for a renderer, and some end it in ways that no code catches: a stack that overflows, an
//! allocation that fails, work without end. The child limits its own memory, time and files before it reads a byte, and what
//! kills it is the drawing's fault. Starting one costs a few milliseconds, so there is no pool of them: each dies with its
//! drawing, and nothing of one drawing can be seen by the next.

mod cell;
mod child;
mod words;

use std::io::{self, BufRead, BufReader, Read, Write};
use std::path::PathBuf;
use std::process::{Child, Command, ExitStatus, Stdio};

use image::RgbaImage;
use quoin_prepress::fault::Fault;
use quoin_prepress::intake::{Drawing, Drawings, Limits, Renderer, Rendering};

pub(crate) use child::{ChildArgs, run};
use words::{Answer, Question};

/// The hidden subcommand that the child runs.
const SUBCOMMAND: &str = "render-drawing";

/// Bytes of the first line of an answer; the words in it are few and short.
const MAX_LINE_BYTES: u64 = 64 << 10;

/// Bytes of what a dying child says that are looked at.
const MAX_LAST_WORDS_BYTES: u64 = 4 << 10;

/// The renderer that starts processes.
pub(crate) const DRAWINGS: Drawings = Drawings::Elsewhere(&DrawingProcess);

/// Limits of a picture with drawings rendered in a process of their own.
pub(crate) fn limits() -> Limits {
    Limits { drawings: DRAWINGS, ..Limits::default() }
}

#[derive(Debug)]
struct DrawingProcess;

impl Renderer for DrawingProcess {
    fn render(&self, drawing: &Drawing<'_>) -> Result<Rendering, Fault> {
        ask(drawing).map_err(|source| Fault::ArtLost { source })?
    }
}

/// Has a drawing rendered. An error is ours: the child could not be started or asked.
fn ask(drawing: &Drawing<'_>) -> io::Result<Result<Rendering, Fault>> {
    let mut child = start(drawing)?;
    // A child that dies while it reads is told by how it died.
    let _ = tell(&mut child, drawing);
    let answer = hear(&mut child, drawing.limits);
    let mut last_words = String::new();
    if let Some(stderr) = child.stderr.take() {
        let _ = stderr.take(MAX_LAST_WORDS_BYTES).read_to_string(&mut last_words);
    }
    if answer.is_err() {
        // It may still be writing more than we take.
        let _ = child.kill();
    }
    let status = child.wait()?;
    Ok(match answer {
        Ok(rendering) if status.success() => rendering,
        _ => {
            tracing::debug!(%status, last_words, "a drawing ended its process");
            Err(death(status, &last_words, drawing.limits))
        }
    })
}

fn start(drawing: &Drawing<'_>) -> io::Result<Child> {
    Command::new(program()?)
        .arg(SUBCOMMAND)
        .args(["--memory-bytes", &drawing.limits.max_drawing_memory_bytes.to_string()])
        .args(["--cpu-s", &drawing.cpu_left_s().to_string()])
        .env_clear()
        // Memory in small portions: limits then bound what is used, not what is set apart.
        .env("MIMALLOC_ARENA_RESERVE", "1MiB")
        .current_dir("/")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
}

/// This program, also when its file was replaced meanwhile.
fn program() -> io::Result<PathBuf> {
    let running = PathBuf::from("/proc/self/exe");
    if running.exists() { Ok(running) } else { std::env::current_exe() }
}

fn tell(child: &mut Child, drawing: &Drawing<'_>) -> io::Result<()> {
    let mut stdin = child.stdin.take().ok_or(io::ErrorKind::BrokenPipe)?;
    let mut line = serde_json::to_vec(&Question::of(drawing))?;
    line.push(b'\n');
    stdin.write_all(&line)?;
    stdin.write_all(drawing.bytes)
}

/// The answer; never more of it than the limits let a picture have.
fn hear(child: &mut Child, limits: &Limits) -> io::Result<Result<Rendering, Fault>> {
    let mut stdout = BufReader::new(child.stdout.take().ok_or(io::ErrorKind::BrokenPipe)?);
    let mut line = Vec::new();
    (&mut stdout).take(MAX_LINE_BYTES).read_until(b'\n', &mut line)?;
    let rendered = match serde_json::from_slice(&line)? {
        Answer::Rendered(rendered) => rendered,
        refusal @ (Answer::Unreadable { .. } | Answer::Unsupported { .. } | Answer::OverLimit { .. }) => {
            return Ok(Err(refusal.into_fault()));
        }
    };
    let (width_px, height_px) = rendered.size_px;
    let pixels = u64::from(width_px) * u64::from(height_px);
    if pixels > limits.max_pixels {
        return Err(io::ErrorKind::InvalidData.into());
    }
    let mut samples = vec![0; usize::try_from(pixels * 4).map_err(io::Error::other)?];
    stdout.read_exact(&mut samples)?;
    let pixels = RgbaImage::from_raw(width_px, height_px, samples).ok_or(io::ErrorKind::InvalidData)?;
    Ok(Ok(rendered.with(pixels)))
}

/// What a child died of.
fn death(status: ExitStatus, last_words: &str, limits: &Limits) -> Fault {
    if cell::is_out_of_time(status) {
        return Fault::art_just_over(f64::from(limits.max_drawing_cpu_s), "s");
    }
    // What the runtime says before it gives up (`std::alloc::handle_alloc_error`).
    if last_words.contains("memory allocation of") {
        return Fault::art_just_over(limits.max_drawing_memory_bytes as f64, "bytes");
    }
    Fault::ArtUnreadable { reason: "a drawing that breaks the renderer".to_owned() }
}

#[cfg(all(test, unix))]
mod tests {
    use std::os::unix::process::ExitStatusExt;

    use super::*;

    fn unit(status: i32, last_words: &str) -> &'static str {
        let fault = death(ExitStatus::from_raw(status), last_words, &Limits::default());
        if let Fault::ArtOverLimit { unit, .. } = fault { unit } else { "none" }
    }

    #[test]
    fn what_a_child_died_of_is_the_drawings_fault() {
        // Wait statuses of Linux: the signal in the low bits, an exit code in the next byte.
        let (aborted, killed, out_of_time) = (6, 9, 24);
        assert_eq!(unit(out_of_time, ""), "s");
        assert_eq!(unit(killed, ""), "s");
        assert_eq!(unit(i32::from(cell::EXIT_OUT_OF_TIME) << 8, ""), "s");
        assert_eq!(unit(aborted, "memory allocation of 480000000 bytes failed"), "bytes");
        assert_eq!(unit(aborted, "thread 'main' has overflowed its stack"), "none");
        assert_eq!(unit(1 << 8, ""), "none");
    }
}
