//! What the intake takes to decode pictures of pixels, against other decoders in safe Rust; judges nothing.
//!
//! `decoders [--runs N] FILE…`: the least of N runs (7) counts, on one thread each, milliseconds; the ratio is to the fastest
//! of the others. Ours gives upright pixels, four bytes of sRGB each; theirs are taken as they come.

use std::hint::black_box;
use std::io::Cursor;
use std::path::Path;
use std::process::ExitCode;
use std::time::Instant;
use std::{env, fs};

use mimalloc::MiMalloc;
use quoin_prepress::intake::{self, Limits};
use zune_png::PngDecoder;
use zune_png::zune_core::bytestream::ZCursor;

/// As in the product.
#[global_allocator]
static ALLOCATOR: MiMalloc = MiMalloc;

/// A decoder and what it makes of a file: how many bytes, or nothing where it does not take it.
type Other = (&'static str, fn(&[u8]) -> Option<usize>);

const OTHERS: &[Other] = &[("image", by_image), ("zune-png", by_zune_png), ("jpeg-decoder", by_jpeg_decoder)];

fn by_image(bytes: &[u8]) -> Option<usize> {
    image::load_from_memory(bytes).ok().map(|picture| black_box(picture).as_bytes().len())
}

fn by_zune_png(bytes: &[u8]) -> Option<usize> {
    PngDecoder::new(ZCursor::new(bytes)).decode_raw().ok().map(|samples| black_box(samples).len())
}

fn by_jpeg_decoder(bytes: &[u8]) -> Option<usize> {
    jpeg_decoder::Decoder::new(Cursor::new(bytes)).decode().ok().map(|samples| black_box(samples).len())
}

/// The least of some runs, ms; nothing where one failed.
fn least_ms(runs: u32, bytes: &[u8], decode: impl Fn(&[u8]) -> Option<usize>) -> Option<f64> {
    let mut least = f64::INFINITY;
    for _ in 0..runs {
        let began = Instant::now();
        black_box(decode(bytes)?);
        least = least.min(began.elapsed().as_secs_f64() * 1e3);
    }
    Some(least)
}

#[expect(clippy::print_stdout, reason = "it is a command line program")]
fn main() -> ExitCode {
    let mut args = env::args().skip(1).peekable();
    let mut runs = 7;
    if args.peek().is_some_and(|arg| arg == "--runs") {
        args.next();
        runs = args.next().and_then(|count| count.parse().ok()).unwrap_or(runs);
    }
    let names: Vec<&str> = OTHERS.iter().map(|(name, _)| *name).collect();
    println!("{:<34}{:>8}{:>9}{:>9}{:>10}{:>14}{:>8}", "picture", "Mpx", "ours", names[0], names[1], names[2], "ratio");
    for file in args {
        let bytes = match fs::read(&file) {
            Ok(bytes) => bytes,
            Err(error) => {
                eprintln!("{file}: {error}");
                return ExitCode::FAILURE;
            }
        };
        let mut pixels = 0;
        if let Ok(artwork) = intake::open(&bytes, 1024, &Limits::default()) {
            pixels = artwork.pixels.width() * artwork.pixels.height();
        }
        let ours = least_ms(runs, &bytes, |bytes| {
            intake::open(bytes, 1024, &Limits::default()).ok().map(|artwork| black_box(artwork).pixels.as_raw().len())
        });
        let others: Vec<Option<f64>> = OTHERS.iter().map(|(_, decode)| least_ms(runs, &bytes, decode)).collect();
        let best = others.iter().flatten().copied().fold(f64::INFINITY, f64::min);
        let told = |ms: Option<f64>| ms.map_or("-".to_owned(), |ms| format!("{ms:.1}"));
        let name = Path::new(&file).file_name().unwrap_or_default().to_string_lossy();
        println!(
            "{name:<34}{:>8.2}{:>9}{:>9}{:>10}{:>14}{:>8.2}",
            f64::from(pixels) / 1e6,
            told(ours),
            told(others[0]),
            told(others[1]),
            told(others[2]),
            ours.unwrap_or(f64::NAN) / best
        );
    }
    ExitCode::SUCCESS
}
