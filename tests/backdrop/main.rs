//! Removes the backdrop of every picture with a known truth, prints how well, and writes the results laid on a dark, a
//! red and a white ground, so that a person can look at their edges.

use std::error::Error;
use std::io::Write;
use std::path::Path;
use std::time::Instant;

use quoin_prepress::order::BackdropRemove;

#[path = "../suite/backdrop/measure.rs"]
mod measure;

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let out = arguments.next();
    let order =
        if arguments.next().as_deref() == Some("always") { BackdropRemove::Always } else { BackdropRemove::Auto };
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/art/backdrop");
    let mut print = std::io::stdout().lock();
    writeln!(print, "{} {:>8}", measure::head(), "ms")?;
    for sample in measure::samples(&folder) {
        let began = Instant::now();
        let result = measure::remove(&sample, order, 3.5);
        let spent = began.elapsed();
        let measured = measure::measure(&sample, &result);
        writeln!(print, "{} {:8.1}", measure::row(&sample.name, &measured), spent.as_secs_f64() * 1e3)?;
        let Some(out) = &out else { continue };
        std::fs::create_dir_all(out)?;
        for (ground, colour) in measure::GROUNDS {
            let path = Path::new(out).join(format!("{}-{ground}.png", sample.name));
            measure::laid_on(&result.pixels, colour).save(path)?;
        }
    }
    Ok(())
}
