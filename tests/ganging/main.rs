//! Gangs one instance file and prints how well and at what cost: a measurement, never a test. See `load/README.md`.

mod instance;

use std::error::Error;
use std::io::Write;
use std::time::Instant;

use quoin_prepress::cancel::Cancel;
use quoin_prepress::gang::{Nesting, nest};
use quoin_prepress::order::{Effort, FeedEdge};
use serde_json::{Value, json};

use instance::{Container, container, lots};

const USAGE: &str = "ganging INSTANCE.json [--effort draft|standard|thorough] [--seed N] [--threads N] [--cpu SECONDS] [--out LAYOUT.json]";

struct Options {
    instance: String,
    effort: Effort,
    seed: u64,
    threads: usize,
    cpu_seconds: f64,
    out: Option<String>,
}

fn options() -> Result<Options, Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let instance = arguments.next().ok_or(USAGE)?;
    let mut options =
        Options { instance, effort: Effort::Draft, seed: 1, threads: 2, cpu_seconds: f64::INFINITY, out: None };
    while let Some(name) = arguments.next() {
        let value = arguments.next().ok_or(USAGE)?;
        match name.as_str() {
            "--effort" => {
                options.effort = match value.as_str() {
                    "draft" => Effort::Draft,
                    "standard" => Effort::Standard,
                    "thorough" => Effort::Thorough,
                    _ => return Err(USAGE.into()),
                }
            }
            "--seed" => options.seed = value.parse()?,
            "--threads" => options.threads = value.parse()?,
            "--cpu" => options.cpu_seconds = value.parse()?,
            "--out" => options.out = Some(value),
            _ => return Err(USAGE.into()),
        }
    }
    Ok(options)
}

/// CPU seconds of this process so far, all threads, from Linux's `/proc` (hundredths of a second); 0 elsewhere.
fn cpu_seconds() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let fields = stat.rsplit(')').next().unwrap_or_default().split_whitespace();
    fields.skip(11).take(2).filter_map(|ticks| ticks.parse::<f64>().ok()).sum::<f64>() / 100.0
}

fn main() -> Result<(), Box<dyn Error>> {
    let options = options()?;
    rayon::ThreadPoolBuilder::new().num_threads(options.threads).build_global()?;
    let instance: Value = serde_json::from_str(&std::fs::read_to_string(&options.instance)?)?;
    let container = container(&instance)?;
    let (began, began_cpu) = (Instant::now(), cpu_seconds());
    let out_of_time = || cpu_seconds() - began_cpu >= options.cpu_seconds;
    let nesting = Nesting {
        frame: &container.frame,
        roll: container.roll,
        feed_edge: container.feed_edge,
        gutter: container.gutter,
        lots: lots(&instance)?,
        effort: options.effort,
        out_of_time: &out_of_time,
        seed: options.seed,
        keep_orders_together: true,
    };
    let layout = nest(&nesting, &|_| (), &Cancel::new()).map_err(|fault| fault.to_string())?;
    let (wall, cpu) = (began.elapsed().as_secs_f64(), cpu_seconds() - began_cpu);
    let id = |lot: usize| instance["items"][lot]["id"].clone();
    let mut containers = Vec::new();
    for (index, sheet) in layout.sheets.iter().enumerate() {
        let placement = |placed: &quoin_prepress::gang::Placed| json!({"item": id(placed.lot), "x": placed.pose.x_mm, "y": placed.pose.y_mm, "rotation_deg": placed.pose.rotation_deg});
        containers.push(json!({"index": index, "placements": sheet.iter().map(placement).collect::<Vec<_>>()}));
    }
    let set_aside: Vec<Value> = layout
        .unplaced
        .iter()
        .map(|entry| json!({"item": id(entry.lot), "copies": entry.copies.len(), "reason": "larger than the window"}))
        .collect();
    if let Some(path) = &options.out {
        let file = json!({"instance": instance["name"], "containers": containers, "set_aside": set_aside});
        std::fs::write(path, serde_json::to_string(&file)?)?;
    }
    report(&nesting, &container, &layout, (wall, cpu))
}

/// Used lengths as the datasets count them: the container with the shortest used length counts to it, others whole; of a
/// roll all count to it.
fn report(
    nesting: &Nesting<'_>,
    container: &Container,
    layout: &quoin_prepress::gang::Layout,
    (wall, cpu): (f64, f64),
) -> Result<(), Box<dyn Error>> {
    let window = container.frame.window;
    let sideways = container.feed_edge == FeedEdge::Left;
    let far = |placed: &quoin_prepress::gang::Placed| {
        let ring = nesting.lots[placed.lot].outermost[0].transformed(placed.pose.to_affine()).bounds();
        if sideways { ring.x1 - window.x0 } else { ring.y1 - window.y0 }
    };
    let used: Vec<f64> = layout.sheets.iter().map(|sheet| sheet.iter().map(far).fold(0.0, f64::max)).collect();
    let (length, width) = if sideways { (window.width(), window.height()) } else { (window.height(), window.width()) };
    let counted = if container.roll {
        used.iter().sum::<f64>()
    } else {
        used.len().saturating_sub(1) as f64 * length + used.iter().copied().fold(f64::INFINITY, f64::min).min(length)
    };
    let area: f64 = layout.sheets.iter().flatten().map(|placed| nesting.lots[placed.lot].outermost[0].area_mm2()).sum();
    let counts: Vec<usize> = layout.sheets.iter().map(Vec::len).collect();
    let mut out = std::io::stdout().lock();
    writeln!(out, "containers         {}", used.len())?;
    writeln!(out, "copies             {} ({:?} … {:?})", counts.iter().sum::<usize>(), counts.first(), counts.last())?;
    writeln!(out, "used length        {counted:.3}")?;
    writeln!(out, "length equivalent  {:.4}", counted / length)?;
    writeln!(out, "density            {:.4}", area / (counted * width))?;
    writeln!(out, "cpu seconds        {cpu:.2}")?;
    writeln!(out, "wall seconds       {wall:.2}")?;
    Ok(())
}
