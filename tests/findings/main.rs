//! Prints what preflight measures of pictures, and what it costs: a measurement, never a test. See `load/README.md`.
//!
//! `findings FILE…`: one line of tab-separated values for each picture. `findings --time RUNS FILE…`: seconds of decoding
//! alone and of all of preflight.

use std::error::Error;
use std::io::Write;
use std::sync::Arc;
use std::time::Instant;

use quoin_prepress::cancel::Cancel;
use quoin_prepress::finding::Code;
use quoin_prepress::intake::{self, Limits};
use quoin_prepress::order::{Backdrop, BackdropRemove, Thresholds};
use quoin_prepress::{preflight, silhouette};

/// The findings that the pixels alone tell, in the order of the columns.
const TOLD: [Code; 3] = [Code::ResolutionUpscaled, Code::TransparencyHaze, Code::TransparencyFringe];

/// What a request that says nothing asks for.
const AUTO: Backdrop = Backdrop { remove: BackdropRemove::Auto, tolerance_delta_e: 3.5 };

fn main() -> Result<(), Box<dyn Error>> {
    let files: Vec<String> = std::env::args().skip(1).collect();
    let mut out = std::io::stdout().lock();
    writeln!(out, "file\tdecode_s\tcut_out_s\tinspect_s\t{}", TOLD.map(Code::as_str).join("\t"))?;
    // So low that everything is told, with what was measured.
    let mut thresholds = Thresholds::default();
    for threshold in Thresholds::ALL {
        thresholds.set(threshold.name, threshold.least);
    }
    for file in &files {
        let bytes: Arc<[u8]> = std::fs::read(file)?.into();
        let began = Instant::now();
        let Ok(artwork) = intake::open(&bytes, 1024, &Limits::default()) else { continue };
        let decoded = began.elapsed().as_secs_f64();
        let began = Instant::now();
        let Ok(cut_out) = silhouette::cut_out(&artwork, AUTO, &Cancel::new()) else { continue };
        let cut = began.elapsed().as_secs_f64();
        let began = Instant::now();
        let facts = preflight::inspect_art(&artwork, &cut_out, &thresholds);
        let inspected = began.elapsed().as_secs_f64();
        let measured = TOLD.map(|code| {
            let finding = facts.findings.iter().find(|finding| finding.code == code);
            finding.and_then(|finding| finding.measured).map_or_else(|| "-".to_owned(), |value| value.to_string())
        });
        writeln!(out, "{file}\t{decoded:.4}\t{cut:.4}\t{inspected:.4}\t{}", measured.join("\t"))?;
    }
    Ok(())
}
