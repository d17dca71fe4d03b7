//! Removes the backdrop of every picture with a known truth, prints how well, and writes the results laid on a dark, a
//! red and a white ground, so that a person can look at their edges.

use std::error::Error;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

use image::{Rgb, RgbImage, RgbaImage, imageops};
use quoin_prepress::cancel::Cancel;
use quoin_prepress::order::{Backdrop, BackdropRemove};
use quoin_prepress::silhouette;

#[path = "../suite/backdrop/measure.rs"]
mod measure;

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let out = arguments.next();
    let order =
        if arguments.next().as_deref() == Some("always") { BackdropRemove::Always } else { BackdropRemove::Auto };
    let ours = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/art/backdrop");
    let others = arguments.next().map(PathBuf::from);
    let folder = others.as_ref().unwrap_or(&ours);
    let mut print = std::io::stdout().lock();
    writeln!(print, "{} {:>8}", measure::head(), "ms")?;
    for sample in measure::samples(folder) {
        let began = Instant::now();
        let result = measure::remove(&sample, order, 3.5);
        let spent = began.elapsed();
        let measured = measure::measure(&sample, &result);
        writeln!(print, "{} {:8.1}", measure::row(&sample.name, &measured), spent.as_secs_f64() * 1e3)?;
        let Some(out) = &out else { continue };
        std::fs::create_dir_all(out)?;
        for (ground, colour) in measure::GROUNDS {
            let path = Path::new(out).join(format!("{}-{ground}.png", sample.name));
            laid_on(&result.pixels, colour).save(path)?;
        }
    }
    if others.is_none() {
        large(&mut print, folder)?;
    }
    Ok(())
}

/// Time for a large picture, and how soon a raised flag stops it.
fn large(print: &mut impl Write, folder: &Path) -> Result<(), Box<dyn Error>> {
    const SIDE_PX: u32 = 3375;
    for name in ["white_plain", "grey_jpeg_q90", "fake_transparency_checker"] {
        let mut sample =
            measure::samples(folder).into_iter().find(|sample| sample.name == name).ok_or("no such sample")?;
        sample.artwork.pixels =
            Arc::new(imageops::resize(&*sample.artwork.pixels, SIDE_PX, SIDE_PX, imageops::FilterType::Triangle));
        let began = Instant::now();
        let found = measure::remove(&sample, BackdropRemove::Auto, 3.5).backdrop.word();
        let whole = began.elapsed();
        let mut latest = Duration::ZERO;
        for share in 1..20 {
            latest = latest.max(stop_after(&sample, whole * share / 20));
        }
        writeln!(
            print,
            "{name} at {SIDE_PX} x {SIDE_PX}: {found}, {:.0} ms; a raised flag stops it within {:.0} ms",
            whole.as_secs_f64() * 1e3,
            latest.as_secs_f64() * 1e3
        )?;
    }
    Ok(())
}

/// From raising the flag to the end.
fn stop_after(sample: &measure::Sample, pause: Duration) -> Duration {
    let cancel = Cancel::new();
    std::thread::scope(|scope| {
        let order = Backdrop { remove: BackdropRemove::Auto, tolerance_delta_e: 3.5 };
        let cancel = &cancel;
        let work = scope.spawn(move || {
            let _ = silhouette::cut_out(&sample.artwork, order, cancel);
            Instant::now()
        });
        std::thread::sleep(pause);
        let raised = Instant::now();
        cancel.raise();
        work.join().map(|ended| ended.saturating_duration_since(raised)).unwrap_or_default()
    })
}

/// A result laid on a ground.
fn laid_on(pixels: &RgbaImage, ground: [f64; 3]) -> RgbImage {
    RgbImage::from_fn(pixels.width(), pixels.height(), |x, y| {
        let pixel = pixels.get_pixel(x, y).0;
        let share = f64::from(pixel[3]) / 255.0;
        let mixed = |channel: usize| f64::from(pixel[channel]) * share + ground[channel] * (1.0 - share);
        Rgb([0, 1, 2].map(|channel| mixed(channel).round() as u8))
    })
}
