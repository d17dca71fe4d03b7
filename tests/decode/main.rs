//! What the intake makes of a picture, for checks against unrelated decoders: `decode FILE OUT [LONGEST_PX]` writes the
//! pixels (RGBA of eight bits, row by row) to OUT and one line of JSON to stdout. A drawing is rendered in this process.

use std::process::ExitCode;
use std::{env, fs};

use quoin_prepress::fault::Fault;
use quoin_prepress::intake::{self, Artwork, Limits};
use serde_json::{Value, json};

/// Longest side of a drawing where none is said.
const LONGEST_PX: u32 = 1024;

fn main() -> ExitCode {
    let args: Vec<String> = env::args().skip(1).collect();
    let (Some(file), Some(out)) = (args.first(), args.get(1)) else {
        eprintln!("usage: decode FILE OUT [LONGEST_PX]");
        return ExitCode::FAILURE;
    };
    let longest_px = args.get(2).and_then(|side| side.parse().ok()).unwrap_or(LONGEST_PX);
    let bytes = match fs::read(file) {
        Ok(bytes) => bytes,
        Err(error) => {
            eprintln!("{file}: {error}");
            return ExitCode::FAILURE;
        }
    };
    let told = match intake::open(&bytes, longest_px, &Limits::default()) {
        Ok(artwork) => {
            if let Err(error) = fs::write(out, artwork.pixels.as_raw()) {
                eprintln!("{out}: {error}");
                return ExitCode::FAILURE;
            }
            of_artwork(&artwork)
        }
        Err(fault) => of_fault(&fault),
    };
    #[expect(clippy::print_stdout, reason = "it is a command line program")]
    {
        println!("{told}");
    }
    ExitCode::SUCCESS
}

fn of_artwork(artwork: &Artwork) -> Value {
    json!({
        "width_px": artwork.pixels.width(),
        "height_px": artwork.pixels.height(),
        "format": format!("{:?}", artwork.format),
        "animated": artwork.animated,
        "colour_profile": artwork.colour_profile,
        "profile_broken": artwork.profile_broken,
        "live_text": artwork.live_text,
    })
}

fn of_fault(fault: &Fault) -> Value {
    json!({"fault": fault.code(), "words": fault.to_string()})
}
