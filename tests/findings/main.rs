//! Prints what preflight measures of pictures, and what it costs: a measurement, never a test. See `load/README.md`.
//!
//! `findings RUNS FILE…`: one line of tab-separated values for each picture. Seconds are the processor's, so that a busy
//! machine tells the same, the least of the runs: decoding alone, taking the backdrop away, looking at the pixels, and all of
//! preflight for a sticker of 100 mm, decoding included; then those that passed, of decoding and of all of preflight. The last
//! columns are of the same sticker on stock that is printed in CMYK: the share outside the gamut, however small, how far it is
//! off on average, the most ink, and seconds of preflight.

use std::error::Error;
use std::io::Write;
use std::sync::Arc;
use std::time::Instant;

use mimalloc::MiMalloc;
use quoin_prepress::cancel::Cancel;
use quoin_prepress::finding::Code;
use quoin_prepress::intake::{self, Limits};
use quoin_prepress::order::{
    ArtInput, Design, Form, Inquiry, Parts, PrintColour, Product, Rotate, Size, Stock, Thresholds,
};
use quoin_prepress::run;
use quoin_prepress::units::Mm;
use quoin_prepress::{preflight, silhouette};
use quoin_tests::processor::of_all_threads;

/// The product's.
#[global_allocator]
static ALLOCATOR: MiMalloc = MiMalloc;

const USAGE: &str = "findings RUNS FILE…";

/// What is told, in the order of the columns.
const TOLD: [Code; 5] = [
    Code::ResolutionUpscaled,
    Code::TransparencyHaze,
    Code::TransparencyFringe,
    Code::ColourWhiteOnWhite,
    Code::DetailFineLines,
];

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let runs: u32 = arguments.next().and_then(|runs| runs.parse().ok()).ok_or(USAGE)?;
    let mut out = std::io::stdout().lock();
    let codes = TOLD.map(Code::as_str).join("\t");
    writeln!(
        out,
        "file\twidth_px\theight_px\tdecode_s\tcut_out_s\tlook_s\tpreflight_s\tdecode_elapsed_s\tpreflight_elapsed_s\tedge_px\t{codes}\tgamut_share\tgamut_off\tink\tcmyk_s"
    )?;
    for file in arguments {
        let bytes: Arc<[u8]> = std::fs::read(&file)?.into();
        match line(&bytes, runs) {
            Some(line) => writeln!(out, "{file}\t{line}")?,
            None => writeln!(std::io::stderr(), "{file}: cannot be used")?,
        }
    }
    Ok(())
}

/// The values of one picture; `None` where it cannot be used.
fn line(bytes: &Arc<[u8]>, runs: u32) -> Option<String> {
    let inquiry = inquiry(bytes);
    let Product::DieCut(design) = &inquiry.product else { return None };
    let limits = Limits::default();
    // So low that the width of edges is always told.
    let lowest = Thresholds { upscaled_edge_px: 0.0, ..Thresholds::default() };
    let mut least = [f64::INFINITY; 6];
    let mut told = None;
    for _ in 0..runs.max(1) {
        let (began, started) = (of_all_threads(), Instant::now());
        let artwork = intake::open(bytes, 1024, &limits).ok()?;
        let (decoded, decoding) = (of_all_threads() - began, started.elapsed().as_secs_f64());
        let cut_out = silhouette::cut_out(&artwork, design.backdrop, &Cancel::new()).ok()?;
        let cut = of_all_threads() - began - decoded;
        let facts = preflight::inspect_art(&artwork, &cut_out, &lowest);
        let looked = of_all_threads() - began - decoded - cut;
        drop((artwork, cut_out));
        let (began, started) = (of_all_threads(), Instant::now());
        let report = run::preflight(&inquiry, &limits, &Cancel::new()).ok()?;
        let (all, elapsed) = (of_all_threads() - began, started.elapsed().as_secs_f64());
        let times = [decoded, cut, looked, all, decoding, elapsed];
        least = std::array::from_fn(|index| least[index].min(times[index]));
        told = Some((facts, report));
    }
    let (facts, report) = told?;
    let times = least.map(|seconds| format!("{seconds:.4}")).join("\t");
    let edge = facts.findings.iter().find(|finding| finding.code == Code::ResolutionUpscaled);
    let edge = edge.and_then(|finding| finding.measured).map_or_else(|| "-".to_owned(), |width| width.to_string());
    let measured = TOLD.map(|code| {
        let finding = report.findings.iter().find(|finding| finding.code == code);
        finding.and_then(|finding| finding.measured).map_or_else(|| "-".to_owned(), |value| value.to_string())
    });
    let (width, height) = (report.measures.width_px?, report.measures.height_px?);
    let inks = in_inks(inquiry, &limits)?;
    Some(format!("{width}\t{height}\t{times}\t{edge}\t{}\t{inks}", measured.join("\t")))
}

/// What is told where the same sticker is printed in CMYK.
fn in_inks(mut inquiry: Inquiry, limits: &Limits) -> Option<String> {
    inquiry.stock.colour = PrintColour::Cmyk;
    // So low that whatever is outside is told.
    inquiry.thresholds = Thresholds { gamut_share: 0.0, ..Thresholds::default() };
    let began = of_all_threads();
    let report = run::preflight(&inquiry, limits, &Cancel::new()).ok()?;
    let seconds = of_all_threads() - began;
    let told = |code: Code| report.findings.iter().find(|finding| finding.code == code);
    let measured = |code: Code| told(code).and_then(|finding| finding.measured).unwrap_or(0.0);
    // Of the two numbers only the share is a field of its own.
    let off = told(Code::ColourGamut).and_then(|finding| finding.message.split(" by ").nth(1)?.split(' ').next());
    let (share, ink) = (measured(Code::ColourGamut), measured(Code::ColourInk));
    Some(format!("{share}\t{}\t{ink}\t{seconds:.4}", off.unwrap_or("0")))
}

/// A sticker of 100 mm with everything at its default, on a large sheet.
fn inquiry(bytes: &Arc<[u8]>) -> Inquiry {
    let mut design = Design::with_defaults(ArtInput::Bytes(Arc::clone(bytes)), Size::Longest(Mm::of(100.0)));
    design.outline.parts = Parts::Separate;
    let form = Form::Sheet { width: Mm::of(330.0), height: Mm::of(480.0), media: None };
    Inquiry {
        product: Product::DieCut(design),
        quantity: 1,
        rotate: Rotate::Free,
        stock: Stock::with_defaults("plain", form),
        sized: true,
        thresholds: Thresholds::default(),
    }
}
