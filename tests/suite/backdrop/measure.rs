//! How well a backdrop was removed, against pictures whose true alpha is known.
//!
//! The truth's line is found here by itself, cell by cell, and not by the stage that is measured.

use std::fs;
use std::path::{Path, PathBuf};

use image::{GrayImage, RgbaImage};
use quoin_prepress::cancel::Cancel;
use quoin_prepress::intake::{self, Limits};
use quoin_prepress::order::{Backdrop, BackdropRemove};
use quoin_prepress::silhouette::{self, BackdropFound, CutOut};

/// The edge band reaches so far on both sides of the true line. As wide as un-mixing looks.
const BAND_PX: i64 = 3;

/// Half of full alpha; no alpha is on it.
const HALF: f64 = 127.5;

/// New grounds that a result is laid on: what a fringe of the old ground shows on.
pub(crate) const GROUNDS: [(&str, [f64; 3]); 3] =
    [("dark", [32.0, 32.0, 36.0]), ("red", [200.0, 30.0, 40.0]), ("white", [255.0; 3])];

/// An opaque picture with its true alpha.
pub(crate) struct Sample {
    pub(crate) name: String,
    pub(crate) artwork: intake::Artwork,
    pub(crate) truth: GrayImage,
}

/// What became of a sample.
pub(crate) struct Measured {
    pub(crate) found: BackdropFound,
    /// Intersection over union of what is at least half covered.
    pub(crate) overlap: f64,
    /// Mean colour error in the edge band, 0 to 255, laid on each of [`GROUNDS`], against the true alpha laid there.
    pub(crate) fringe: [f64; 3],
    /// 95 % of the line are nearer to the true line than this.
    pub(crate) line_error_px: f64,
    /// 95 % of the true line are nearer to the line than this; large where holes are not opened.
    pub(crate) missed_line_px: f64,
    /// Pixels over 2 % alpha farther than the band from any true alpha.
    pub(crate) ghosts: usize,
}

/// Every sample of a folder, by name.
pub(crate) fn samples(folder: &Path) -> Vec<Sample> {
    let mut paths: Vec<PathBuf> =
        fs::read_dir(folder).expect("the fixtures are there").map(|entry| entry.expect("an entry").path()).collect();
    paths.sort();
    let is_picture = |path: &&PathBuf| !path.to_string_lossy().ends_with(".truth.png");
    paths.iter().filter(is_picture).map(|path| sample(path)).collect()
}

fn sample(path: &Path) -> Sample {
    let name = path.file_stem().expect("a file has a name").to_string_lossy().into_owned();
    let bytes = fs::read(path).expect("a fixture can be read");
    let artwork = intake::open(&bytes, 1000, &Limits::default()).expect("a fixture can be opened");
    let truth = image::open(path.with_file_name(format!("{name}.truth.png"))).expect("each has its truth").into_luma8();
    Sample { name, artwork, truth }
}

/// Removes a sample's backdrop; more than the default's `3.5` removes more.
pub(crate) fn remove(sample: &Sample, remove: BackdropRemove, tolerance_delta_e: f64) -> CutOut {
    silhouette::cut_out(&sample.artwork, Backdrop { remove, tolerance_delta_e }, &Cancel::new())
        .expect("the samples have art")
}

/// Holds a result against its truth.
pub(crate) fn measure(sample: &Sample, result: &CutOut) -> Measured {
    let band = edge_band(&sample.truth);
    let found = result.edge.rings.iter().map(|ring| ring.points().iter().map(|point| (point.x, point.y)).collect());
    let found: Vec<Vec<(f64, f64)>> = found.collect();
    let found = found.iter().flat_map(|ring| (0..ring.len()).map(move |at| (ring[at], ring[(at + 1) % ring.len()])));
    let (found, truth) = (spread(found), spread(true_line(&sample.truth).into_iter()));
    Measured {
        found: result.backdrop,
        overlap: overlap(&result.pixels, &sample.truth),
        fringe: fringe(sample, &result.pixels, &band),
        line_error_px: distance_95(&found, &truth),
        missed_line_px: distance_95(&truth, &found),
        ghosts: ghosts(&result.pixels, &sample.truth),
    }
}

fn overlap(found: &RgbaImage, truth: &GrayImage) -> f64 {
    let pairs = || found.pixels().zip(truth.pixels()).map(|(a, b)| (a.0[3] >= 128, b.0[0] >= 128));
    let (both, either) = (pairs().filter(|(a, b)| *a && *b).count(), pairs().filter(|(a, b)| *a || *b).count());
    both as f64 / either.max(1) as f64
}

/// Alpha of the truth; nothing outside.
fn alpha(truth: &GrayImage, x: i64, y: i64) -> u8 {
    let inside = x >= 0 && y >= 0 && x < i64::from(truth.width()) && y < i64::from(truth.height());
    if inside { truth.get_pixel(x as u32, y as u32).0[0] } else { 0 }
}

fn around(x: i64, y: i64, reach: i64) -> impl Iterator<Item = (i64, i64)> {
    (y - reach..=y + reach).flat_map(move |row| (x - reach..=x + reach).map(move |column| (column, row)))
}

/// Pixels near the true 50 % line. Wide translucence - a cast shadow - is no edge, and nothing beside it counts.
fn edge_band(truth: &GrayImage) -> Vec<(u32, u32)> {
    let is_edge = |x: i64, y: i64| {
        let covered = alpha(truth, x, y) >= 128;
        [(1, 0), (0, 1)].into_iter().any(|(dx, dy)| (alpha(truth, x + dx, y + dy) >= 128) != covered)
    };
    let is_soft = |x: i64, y: i64| around(x, y, 2).all(|(x, y)| (3..253).contains(&alpha(truth, x, y)));
    let (width, height) = (i64::from(truth.width()), i64::from(truth.height()));
    let mut marks = vec![0_u8; (width * height) as usize];
    for (x, y) in (0..height).flat_map(|y| (0..width).map(move |x| (x, y))) {
        let mark = u8::from(is_edge(x, y)) | (u8::from((3..253).contains(&alpha(truth, x, y)) && is_soft(x, y)) << 1);
        if mark == 0 {
            continue;
        }
        let reach = if mark & 2 == 0 { BAND_PX } else { 2 * BAND_PX };
        for (x, y) in around(x, y, reach).filter(|(x, y)| *x >= 0 && *y >= 0 && *x < width && *y < height) {
            marks[(y * width + x) as usize] |= mark;
        }
    }
    let places = (0..height as u32).flat_map(|y| (0..width as u32).map(move |x| (x, y)));
    places.zip(marks).filter(|(_, mark)| *mark == 1).map(|(place, _)| place).collect()
}

/// The ground at a pixel: the mean of what the truth calls ground nearby and looks like the nearest of it.
fn ground_at(sample: &Sample, x: u32, y: u32) -> Option<[f64; 3]> {
    let colour = |x: i64, y: i64| {
        let pixel = sample.artwork.pixels.get_pixel(x as u32, y as u32).0;
        [f64::from(pixel[0]), f64::from(pixel[1]), f64::from(pixel[2])]
    };
    let (width, height) = (i64::from(sample.truth.width()), i64::from(sample.truth.height()));
    let is_ground =
        |(x, y): &(i64, i64)| *x >= 0 && *y >= 0 && *x < width && *y < height && alpha(&sample.truth, *x, *y) == 0;
    let (x, y) = (i64::from(x), i64::from(y));
    let near = (1..=6).find_map(|reach| around(x, y, reach).find(is_ground))?;
    let near = colour(near.0, near.1);
    let like = |other: &[f64; 3]| (0..3).all(|channel| (other[channel] - near[channel]).abs() <= 24.0);
    let alike: Vec<[f64; 3]> = around(x, y, 8).filter(is_ground).map(|(x, y)| colour(x, y)).filter(like).collect();
    Some([0, 1, 2].map(|channel| alike.iter().map(|colour| colour[channel]).sum::<f64>() / alike.len() as f64))
}

/// The picture is art mixed with its ground, so that the true art on a new ground is the picture and the true share of
/// the difference between the grounds.
fn fringe(sample: &Sample, found: &RgbaImage, band: &[(u32, u32)]) -> [f64; 3] {
    let mut sums = [0.0; 3];
    let mut count = 0.0;
    for (x, y) in band {
        let Some(old) = ground_at(sample, *x, *y) else { continue };
        let (picture, result) = (sample.artwork.pixels.get_pixel(*x, *y).0, found.get_pixel(*x, *y).0);
        let bare = 1.0 - f64::from(sample.truth.get_pixel(*x, *y).0[0]) / 255.0;
        let share = f64::from(result[3]) / 255.0;
        for (sum, (_, new)) in sums.iter_mut().zip(GROUNDS) {
            let error = |channel: usize| {
                // Where there is no art nothing is wanted, compression rings of the picture neither.
                let mixed = f64::from(picture[channel]) + bare * (new[channel] - old[channel]);
                let wanted = if bare >= 1.0 { new[channel] } else { mixed };
                let got = f64::from(result[channel]) * share + new[channel] * (1.0 - share);
                (got - wanted.clamp(0.0, 255.0)).abs()
            };
            *sum += (error(0) + error(1) + error(2)) / 3.0;
        }
        count += 1.0;
    }
    sums.map(|sum| sum / f64::max(count, 1.0))
}

/// Visible pixels with no true alpha within the band's reach.
fn ghosts(found: &RgbaImage, truth: &GrayImage) -> usize {
    let visible = found.enumerate_pixels().filter(|(_, _, pixel)| pixel.0[3] > 5);
    visible
        .filter(|(x, y, _)| around(i64::from(*x), i64::from(*y), BAND_PX).all(|(x, y)| alpha(truth, x, y) == 0))
        .count()
}

type Segment = ((f64, f64), (f64, f64));

/// The truth's 50 % line in loose segments: in each cell of four pixel centres between the crossings of its sides. The
/// canvas's own border is a line where alpha reaches it.
fn true_line(truth: &GrayImage) -> Vec<Segment> {
    let (width, height) = (i64::from(truth.width()), i64::from(truth.height()));
    let on_canvas = |(x, y): (i64, i64)| x >= 0 && y >= 0 && x < width && y < height;
    let centre = |(x, y): (i64, i64)| (x as f64 + 0.5, y as f64 + 0.5);
    let crossing = |a: (i64, i64), b: (i64, i64)| {
        let (from, to) = (f64::from(alpha(truth, a.0, a.1)), f64::from(alpha(truth, b.0, b.1)));
        if (from > HALF) == (to > HALF) {
            return None;
        }
        let share = if on_canvas(a) && on_canvas(b) { (HALF - from) / (to - from) } else { 0.5 };
        let (a, b) = (centre(a), centre(b));
        Some((a.0 + (b.0 - a.0) * share, a.1 + (b.1 - a.1) * share))
    };
    let mut segments = Vec::new();
    for (x, y) in (0..=height).flat_map(|y| (0..=width).map(move |x| (x, y))) {
        let corners = [(x - 1, y - 1), (x, y - 1), (x, y), (x - 1, y)];
        let crossings: Vec<(f64, f64)> =
            (0..4).filter_map(|side| crossing(corners[side], corners[(side + 1) % 4])).collect();
        segments.extend(crossings.chunks_exact(2).map(|pair| (pair[0], pair[1])));
    }
    segments
}

/// Points at most a tenth of a pixel apart.
fn spread(segments: impl Iterator<Item = Segment>) -> Vec<(f64, f64)> {
    let steps = |(a, b): Segment| {
        let count = ((b.0 - a.0).hypot(b.1 - a.1) * 10.0).ceil().max(1.0) as u32;
        (0..count).map(move |step| {
            let share = f64::from(step) / f64::from(count);
            (a.0 + (b.0 - a.0) * share, a.1 + (b.1 - a.1) * share)
        })
    };
    segments.flat_map(steps).collect()
}

/// The 95th percentile of the points' distances to the nearest of the others; everything over 8 pixels is 8.
fn distance_95(points: &[(f64, f64)], others: &[(f64, f64)]) -> f64 {
    const FAR_PX: i64 = 8;
    let cell = |(x, y): (f64, f64)| (x.floor() as i64 + FAR_PX, y.floor() as i64 + FAR_PX);
    let across = points
        .iter()
        .chain(others)
        .map(|point| cell(*point))
        .fold((0, 0), |most, (x, y)| (most.0.max(x), most.1.max(y)));
    let (columns, rows) = (across.0 + FAR_PX + 1, across.1 + FAR_PX + 1);
    let mut cells: Vec<Vec<(f64, f64)>> = vec![Vec::new(); (columns * rows) as usize];
    for point in others {
        let (x, y) = cell(*point);
        cells[(y * columns + x) as usize].push(*point);
    }
    let nearest = |point: &(f64, f64)| {
        let (x, y) = cell(*point);
        let mut least = FAR_PX as f64;
        for reach in 1..=FAR_PX {
            let near = around(x, y, reach).filter(|(x, y)| *x >= 0 && *y >= 0 && *x < columns && *y < rows);
            let near = near.flat_map(|(x, y)| &cells[(y * columns + x) as usize]);
            least = near.map(|other| (other.0 - point.0).hypot(other.1 - point.1)).fold(least, f64::min);
            if least <= reach as f64 {
                break;
            }
        }
        least
    };
    let mut distances: Vec<f64> = points.iter().map(nearest).collect();
    distances.sort_by(f64::total_cmp);
    distances.get(distances.len() * 95 / 100).copied().unwrap_or(FAR_PX as f64)
}

/// One row of the report.
pub(crate) fn row(name: &str, measured: &Measured) -> String {
    let [dark, red, white] = measured.fringe;
    format!(
        "{name:28} {:12} {:8.4} {:8.2} {:8.2} {dark:8.2} {red:8.2} {white:8.2} {:7}",
        measured.found.word(),
        measured.overlap,
        measured.line_error_px,
        measured.missed_line_px,
        measured.ghosts
    )
}

/// The report's head.
pub(crate) fn head() -> String {
    format!(
        "{:28} {:12} {:>8} {:>8} {:>8} {:>8} {:>8} {:>8} {:>7}",
        "picture", "backdrop", "overlap", "line px", "missed", "dark", "red", "white", "ghosts"
    )
}
