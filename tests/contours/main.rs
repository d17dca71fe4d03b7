//! Draws the contour of pictures and writes every length and line of it as JSON, one picture to a line: what
//! `load/contours` and the outside checks measure. See `load/README.md`.

use std::error::Error;
use std::io::Write;
use std::path::PathBuf;
use std::sync::Arc;

use image::imageops::{FilterType, resize};
use quoin_prepress::border::Grown;
use quoin_prepress::cancel::Cancel;
use quoin_prepress::geom::{CutLine, PathEl, Point, Ring};
use quoin_prepress::intake::{Artwork, Limits, open};
use quoin_prepress::order::{ArtInput, Design, Form, Parts, Size, Stock, Thresholds};
use quoin_prepress::outline::{Outlined, fit};
use quoin_prepress::silhouette::cut_out;
use quoin_prepress::units::Mm;
use quoin_tests::processor;
use serde_json::{Value, json};

const USAGE: &str = "contours [--longest MM] [--border MM] [--minimum-width MM] [--inside-radius MM] [--enlarge PX] [--repeat N] [--parts join|separate] [--edge] PICTURE…";

/// Pixels of the longer side of a drawing that has no size in pixels.
const DRAWING_PX: u32 = 1500;

struct Options {
    longest_mm: f64,
    border_mm: f64,
    minimum_width_mm: f64,
    inside_radius_mm: f64,
    enlarge_px: u32,
    repeat: u32,
    parts: Parts,
    tells_edge: bool,
    pictures: Vec<PathBuf>,
}

fn options() -> Result<Options, Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let mut options = Options {
        longest_mm: 80.0,
        border_mm: 3.0,
        minimum_width_mm: 3.0,
        inside_radius_mm: 0.5,
        enlarge_px: 0,
        repeat: 1,
        parts: Parts::Separate,
        tells_edge: false,
        pictures: Vec::new(),
    };
    while let Some(argument) = arguments.next() {
        let mut value = || arguments.next().ok_or(USAGE);
        match argument.as_str() {
            "--longest" => options.longest_mm = value()?.parse()?,
            "--border" => options.border_mm = value()?.parse()?,
            "--minimum-width" => options.minimum_width_mm = value()?.parse()?,
            "--inside-radius" => options.inside_radius_mm = value()?.parse()?,
            "--enlarge" => options.enlarge_px = value()?.parse()?,
            "--repeat" => options.repeat = value()?.parse()?,
            "--parts" => options.parts = if value()? == "join" { Parts::Join } else { Parts::Separate },
            "--edge" => options.tells_edge = true,
            option if option.starts_with("--") => return Err(USAGE.into()),
            picture => options.pictures.push(picture.into()),
        }
    }
    if options.pictures.is_empty() { Err(USAGE.into()) } else { Ok(options) }
}

fn main() -> Result<(), Box<dyn Error>> {
    let options = options()?;
    let mut out = std::io::stdout().lock();
    for path in &options.pictures {
        let artwork = picture(&std::fs::read(path)?, options.enlarge_px)?;
        writeln!(out, "{}", drawn(&path.to_string_lossy(), &artwork, &options))?;
    }
    Ok(())
}

fn picture(bytes: &[u8], enlarge_px: u32) -> Result<Artwork, Box<dyn Error>> {
    let mut artwork = open(bytes, DRAWING_PX, &Limits::default())?;
    let longest = artwork.pixels.width().max(artwork.pixels.height());
    if enlarge_px > 0 {
        let pixels = |side: u32| (f64::from(side) * f64::from(enlarge_px) / f64::from(longest)).round() as u32;
        let (width, height) = (pixels(artwork.pixels.width()), pixels(artwork.pixels.height()));
        artwork.pixels = Arc::new(resize(&*artwork.pixels, width, height, FilterType::Triangle));
    }
    Ok(artwork)
}

fn drawn(name: &str, artwork: &Artwork, options: &Options) -> Value {
    let design = design(options);
    let mut stock =
        Stock::with_defaults("plain", Form::Sheet { width: Mm::of(1000.0), height: Mm::of(1000.0), media: None });
    stock.cutting.minimum_width = Mm::of(options.minimum_width_mm);
    stock.cutting.inside_radius = Mm::of(options.inside_radius_mm);
    let (mut edge_ms, mut line_ms) = (f64::INFINITY, f64::INFINITY);
    let mut outcome = json!({ "error": "not tried" });
    let mut edge = Value::Null;
    let before = forget_peak();
    for _ in 0..options.repeat.max(1) {
        let began = cpu_ms();
        let cut = match cut_out(artwork, design.backdrop, &Cancel::new()) {
            Ok(cut) => cut,
            Err(fault) => return json!({ "picture": name, "error": fault.to_string() }),
        };
        let between = cpu_ms();
        let outlined = fit(&cut, &design, None, &stock, &Thresholds::default(), &Cancel::new());
        edge_ms = edge_ms.min(between - began);
        line_ms = line_ms.min(cpu_ms() - between);
        if options.tells_edge {
            edge = cut.edge.rings.iter().map(ring).collect();
        }
        outcome = match outlined {
            Ok(outlined) => described(&outlined),
            Err(fault) => json!({ "error": fault.to_string() }),
        };
    }
    let added_mib = status_mib("VmHWM:") - before;
    let mut said = json!({
        "edge_px": edge,
        "added_mib": added_mib,
        "picture": name,
        "pixels": [artwork.pixels.width(), artwork.pixels.height()],
        "longest_mm": options.longest_mm,
        "border_mm": options.border_mm,
        "minimum_width_mm": options.minimum_width_mm,
        "inside_radius_mm": stock.cutting.inside_radius.mm(),
        "outside_radius_mm": stock.cutting.outside_radius.mm(),
        "speck_mm": stock.cutting.speck.mm(),
        "edge_cpu_ms": edge_ms,
        "line_cpu_ms": line_ms,
    });
    merge(&mut said, outcome);
    said
}

fn merge(into: &mut Value, from: Value) {
    if let (Some(into), Value::Object(from)) = (into.as_object_mut(), from) {
        into.extend(from);
    }
}

fn design(options: &Options) -> Design {
    let size = Size::Longest(Mm::of(options.longest_mm));
    let mut design = Design::with_defaults(ArtInput::Bytes(Arc::from(Vec::new())), size);
    design.outline.border = Mm::of(options.border_mm);
    design.outline.parts = options.parts;
    design
}

fn described(outlined: &Outlined) -> Value {
    let grown: Option<&Grown> = outlined.grown.as_ref();
    let region: Vec<Value> = grown.iter().flat_map(|grown| &grown.region.rings).map(ring).collect();
    let pairs = |point: Point| [point.x, point.y];
    json!({
        "art_to_mm": outlined.art_to_mm.as_coeffs(),
        "width_mm": outlined.finished_width.mm(),
        "height_mm": outlined.finished_height.mm(),
        "lines": outlined.through.iter().map(line).collect::<Vec<_>>(),
        "region": region,
        "parts": grown.map(|grown| grown.parts),
        "specks": grown.map(|grown| grown.specks.len()),
        "radius_wins": grown.map(|grown| grown.radius_wins),
        "thinnest_mm": grown.and_then(|grown| grown.thinnest).map(Mm::mm),
        "thickenings": grown.iter().flat_map(|grown| &grown.thickenings)
            .map(|place| json!([place.at.x, place.at.y, place.width_before.mm()])).collect::<Vec<_>>(),
        "bridges": grown.iter().flat_map(|grown| &grown.bridges)
            .map(|bridge| json!([pairs(bridge.from), pairs(bridge.to)])).collect::<Vec<_>>(),
    })
}

/// The control points: the start, then three for each cubic.
fn line(line: &CutLine) -> Value {
    let mut points: Vec<[f64; 2]> = Vec::new();
    let mut at = Point::ORIGIN;
    for element in line.path().elements() {
        match *element {
            PathEl::MoveTo(to) => {
                points.push([to.x, to.y]);
                at = to;
            }
            PathEl::CurveTo(leave, land, to) => {
                points.extend([leave, land, to].map(|point| [point.x, point.y]));
                at = to;
            }
            PathEl::LineTo(to) => {
                points.extend([at.lerp(to, 1.0 / 3.0), at.lerp(to, 2.0 / 3.0), to].map(|point| [point.x, point.y]));
                at = to;
            }
            PathEl::QuadTo(..) | PathEl::ClosePath => {}
        }
    }
    json!(points)
}

fn ring(ring: &Ring) -> Value {
    json!(ring.points().iter().map(|point| [point.x, point.y]).collect::<Vec<_>>())
}

fn cpu_ms() -> f64 {
    processor::of_all_threads() * 1e3
}

/// Lets the kernel forget the most memory so far and says how much there is now, MiB (proc(5), `clear_refs`).
fn forget_peak() -> f64 {
    // Where it cannot be forgotten, too much is told and not too little.
    drop(std::fs::write("/proc/self/clear_refs", "5"));
    status_mib("VmRSS:")
}

fn status_mib(name: &str) -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix(name));
    line.and_then(|rest| rest.trim().split(' ').next()?.parse::<f64>().ok()).unwrap_or(f64::INFINITY) / 1024.0
}
