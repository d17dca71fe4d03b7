//! The backdrop's colour, found from the pixels along the canvas's edge.
//!
//! A plane per channel, so that an even light fall-off or a gradient is still one backdrop. Robust: random sample
//! consensus (Fischler and Bolles, "Random Sample Consensus", 1981) in OKLab with a fixed sequence of samples, then least
//! squares on those that agree. Art may stand on the edge as long as most of the edge is backdrop. Programs draw gradients
//! in encoded values, and what is even there is bent in OKLab: the backdrop is bent likewise where that fits better.

use image::RgbaImage;
use rayon::prelude::*;

use super::checker::{self, Checker};
use super::judge::length_squared;
use super::oklab::{Converter, Lab, distance_squared};
use super::tiles::Tile;

/// How near to the plane, in OKLab, an edge pixel counts as backdrop; also the usual tolerance. The same whatever tolerance is ordered, so that the
/// verdict does not hang on it. Found on composites with known alpha; smaller loses grainy paper, larger takes in art.
pub(super) const AGREES: f32 = 0.035;

/// Widest band of pixels along the canvas's edge that is looked at.
const MAX_BAND_PX: u32 = 8;

/// About how many pixels of the band are looked at: enough for the share to be known to 1 %.
const SAMPLES: usize = 6000;

/// Share of the edge that agrees with one colour from which on no chequerboard is looked for, and that a chequerboard must
/// reach: half agrees with a wrong one. A scatter above the noise of clean pictures may be two pale tones.
const PLAIN_SHARE: f32 = 0.6;
const PLAIN_SIGMA: f32 = 0.012;
const CHECKER_SHARE: f32 = 0.75;

/// Trials of three pixels each: with 60 % backdrop a good one is missed with a chance of 0.78^200, below 1e-20.
const TRIALS: u32 = 200;

/// One channel over the canvas: value = at middle + x * slope + y * slope, with x and y from -1 to 1.
pub(super) type Plane = [f32; 3];

/// One OKLab channel over the canvas: the terms of [`Plane`], then of x * x, x * y and y * y.
type Surface = [f32; 6];

/// The backdrop as found.
#[derive(Clone, Debug)]
pub(super) struct FrameFit {
    lab: [Surface; 3],
    /// Planes of encoded red, green and blue, 0 to 255.
    pub rgb: [Plane; 3],
    /// Share of the edge's pixels that lie near planes in OKLab.
    pub share: f32,
    /// Root mean square distance of those from the backdrop, OKLab.
    pub sigma: f32,
    /// Where the backdrop is a chequerboard: the planes are the middle between its tones.
    pub checker: Option<Checker>,
    canvas: Canvas,
}

/// The backdrop within a tile.
pub(super) struct Amid {
    /// Its colour in the middle, OKLab.
    pub lab: Lab,
    /// How far from that its colours within the tile are at most, OKLab.
    pub spread: f32,
    /// The nearest codes to the colour in the middle.
    pub nearest: [u8; 3],
}

impl FrameFit {
    /// The backdrop at a pixel, OKLab.
    pub(super) fn lab_at(&self, x: u32, y: u32) -> Lab {
        let even = on(&self.lab, self.canvas.place(x, y));
        self.checker.as_ref().map_or(even, |checker| shifted(even, checker.lab, checker.tone(x, y)))
    }

    /// The backdrop at a pixel: encoded red, green and blue, 0 to 255.
    pub(super) fn rgb_at(&self, x: u32, y: u32) -> [f32; 3] {
        let planes = at(&self.rgb, self.canvas.place(x, y));
        self.checker.as_ref().map_or(planes, |checker| shifted(planes, checker.rgb, checker.tone(x, y)))
    }

    /// The backdrop within a tile.
    pub(super) fn amid(&self, tile: Tile) -> Amid {
        let ((u, v), (reach_u, reach_v)) = self.canvas.span(tile);
        let reach = self.lab.map(|[_, x, y, xx, xy, yy]| {
            let (slope_u, slope_v) = (x + 2.0 * u * xx + v * xy, y + 2.0 * v * yy + u * xy);
            let bend = xx.abs() * reach_u * reach_u + xy.abs() * reach_u * reach_v + yy.abs() * reach_v * reach_v;
            slope_u.abs() * reach_u + slope_v.abs() * reach_v + bend
        });
        let of_tones = self.checker.as_ref().map_or(0.0, |checker| length_squared(checker.lab).sqrt());
        Amid {
            lab: on(&self.lab, (u, v)),
            spread: length_squared(reach).sqrt() + of_tones,
            nearest: at(&self.rgb, (u, v)).map(|value| value.round() as u8),
        }
    }

    /// The least and the largest value of the backdrop's red, green and blue within a tile, 0 to 255.
    pub(super) fn rgb_within(&self, tile: Tile) -> [[f32; 2]; 3] {
        let ((u, v), (reach_u, reach_v)) = self.canvas.span(tile);
        let tones = self.checker.as_ref().map_or([0.0; 3], |checker| checker.rgb);
        [0, 1, 2].map(|channel: usize| {
            let [middle, along_x, along_y] = self.rgb[channel];
            let value = middle + along_x * u + along_y * v;
            let reach = along_x.abs() * reach_u + along_y.abs() * reach_v + tones[channel].abs();
            [value - reach, value + reach]
        })
    }

    /// How a colour differs from the backdrop at a pixel, OKLab. Beside a chequerboard's lines any mix of its tones is
    /// backdrop.
    pub(super) fn difference(&self, lab: Lab, x: u32, y: u32) -> Lab {
        let difference = shifted(lab, on(&self.lab, self.canvas.place(x, y)), -1.0);
        let Some(checker) = &self.checker else { return difference };
        let mut tone = checker.tone(x, y);
        if checker.is_soft(x, y) {
            let along = |a: Lab| a[0] * checker.lab[0] + a[1] * checker.lab[1] + a[2] * checker.lab[2];
            tone = (along(difference) / along(checker.lab).max(f32::MIN_POSITIVE)).clamp(-1.0, 1.0);
        }
        shifted(difference, checker.lab, -tone)
    }
}

fn shifted(colour: [f32; 3], by: [f32; 3], share: f32) -> [f32; 3] {
    [colour[0] + by[0] * share, colour[1] + by[1] * share, colour[2] + by[2] * share]
}

/// Pixel places to -1..1 over a canvas.
#[derive(Clone, Copy, Debug)]
struct Canvas {
    half_width: f32,
    half_height: f32,
}

impl Canvas {
    fn of(pixels: &RgbaImage) -> Canvas {
        Canvas { half_width: pixels.width() as f32 / 2.0, half_height: pixels.height() as f32 / 2.0 }
    }

    fn place(self, x: u32, y: u32) -> (f32, f32) {
        ((x as f32 + 0.5) / self.half_width - 1.0, (y as f32 + 0.5) / self.half_height - 1.0)
    }

    /// The middle of a tile, and how far it reaches from there.
    fn span(self, tile: Tile) -> ((f32, f32), (f32, f32)) {
        let along = |first: usize, after: usize, half: f32| {
            ((first + after) as f32 / 2.0 / half - 1.0, (after - first) as f32 / 2.0 / half)
        };
        let (u, reach_u) = along(tile.left, tile.right, self.half_width);
        let (v, reach_v) = along(tile.top, tile.bottom, self.half_height);
        ((u, v), (reach_u, reach_v))
    }
}

/// The values of three planes at a place.
fn at(planes: &[Plane; 3], (u, v): (f32, f32)) -> [f32; 3] {
    planes.map(|[middle, along_x, along_y]| middle + along_x * u + along_y * v)
}

/// The values of three surfaces at a place.
fn on(surfaces: &[Surface; 3], (u, v): (f32, f32)) -> Lab {
    surfaces.map(|[middle, x, y, xx, xy, yy]| middle + u * (x + u * xx + v * xy) + v * (y + v * yy))
}

/// Planes of encoded values as they are in OKLab: least squares on five times five places spread evenly, of which the
/// polynomials below are orthogonal. From black to white that is true to 0.01, over half of that way to 0.002.
fn bent(rgb: &[Plane; 3]) -> [Surface; 3] {
    // Sums over the five places of x * x, and of the square of x * x - 0.5.
    const LINEAR: f32 = 2.5;
    const SQUARE: f32 = 0.875;
    let places = [-1.0, -0.5, 0.0, 0.5, 1.0_f32];
    let mut sums = [[0.0; 6]; 3];
    for (u, v) in places.into_iter().flat_map(|v| places.map(|u| (u, v))) {
        let lab = Converter::lab_between(at(rgb, (u, v)));
        for (sums, value) in sums.iter_mut().zip(lab) {
            let terms = [1.0, u, v, u * u - 0.5, u * v, v * v - 0.5];
            sums.iter_mut().zip(terms).for_each(|(sum, term)| *sum += term * value);
        }
    }
    sums.map(|[middle, x, y, xx, xy, yy]| {
        let (xx, yy) = (xx / (5.0 * SQUARE), yy / (5.0 * SQUARE));
        let middle = middle / 25.0 - (xx + yy) / 2.0;
        [middle, x / (5.0 * LINEAR), y / (5.0 * LINEAR), xx, xy / (LINEAR * LINEAR), yy]
    })
}

/// Planes as surfaces.
fn unbent(planes: &[Plane; 3]) -> [Surface; 3] {
    planes.map(|[middle, x, y]| [middle, x, y, 0.0, 0.0, 0.0])
}

#[derive(Clone)]
struct Sample {
    pixel: (u32, u32),
    place: (f32, f32),
    lab: Lab,
    rgb: [f32; 3],
}

/// Fits the backdrop to the canvas's edge. Cost depends on the samples, and on the canvas's sides.
pub(super) fn fit(pixels: &RgbaImage, colours: &Converter) -> FrameFit {
    let samples = edge_samples(pixels, colours);
    let canvas = Canvas::of(pixels);
    let plain = fit_planes(&samples, canvas);
    if plain.share >= PLAIN_SHARE && plain.sigma <= PLAIN_SIGMA {
        return plain;
    }
    let edge = samples.iter().map(|sample| (sample.pixel, sample.lab));
    let Some(checker) = checker::find(pixels, colours, edge) else { return plain };
    // Mixed pixels beside the lines would only blur the fit.
    let clear = samples.iter().filter(|sample| !checker.is_soft(sample.pixel.0, sample.pixel.1));
    let middles: Vec<Sample> = clear
        .map(|sample| {
            let tone = -checker.tone(sample.pixel.0, sample.pixel.1);
            let (lab, rgb) = (shifted(sample.lab, checker.lab, tone), shifted(sample.rgb, checker.rgb, tone));
            Sample { lab, rgb, ..sample.clone() }
        })
        .collect();
    let fit = fit_planes(&middles, canvas);
    let is_better = fit.share >= CHECKER_SHARE && (fit.sigma < plain.sigma || plain.share < PLAIN_SHARE);
    if is_better { FrameFit { checker: Some(checker), ..fit } } else { plain }
}

fn fit_planes(samples: &[Sample], canvas: Canvas) -> FrameFit {
    let mut best = constant_planes(samples);
    let mut best_count = agreeing(samples, &best).count();
    let mut random = Sequence(0x9E37_79B9_7F4A_7C15);
    // Nothing to pick from where every pixel of a small chequerboard is beside a line.
    let trials = if samples.is_empty() { 0 } else { TRIALS };
    let picked: Vec<[&Sample; 3]> =
        (0..trials).map(|_| [(); 3].map(|()| &samples[random.below(samples.len())])).collect();
    let tried: Vec<Option<([Plane; 3], usize)>> = picked
        .into_par_iter()
        .map(|picked| {
            let planes = least_squares(picked.into_iter(), |sample| sample.lab)?;
            Some((planes, agreeing(samples, &planes).count()))
        })
        .collect();
    // The first of the best, however they were shared out.
    for (planes, count) in tried.into_iter().flatten() {
        if count > best_count {
            (best, best_count) = (planes, count);
        }
    }
    for _ in 0..4 {
        let Some(planes) = least_squares(agreeing(samples, &best), |sample| sample.lab) else { break };
        best = planes;
    }
    let count = agreeing(samples, &best).count();
    let mean_rgb = |channel: usize| {
        agreeing(samples, &best).map(|sample| sample.rgb[channel]).sum::<f32>() / (count.max(1) as f32)
    };
    let rgb = least_squares(agreeing(samples, &best), |sample| sample.rgb)
        .unwrap_or_else(|| [0, 1, 2].map(|channel| [mean_rgb(channel), 0.0, 0.0]));
    let scatter = |lab: &[Surface; 3]| {
        let squares = agreeing(samples, &best).map(|sample| distance_squared(sample.lab, on(lab, sample.place)));
        (squares.sum::<f32>() / count.max(1) as f32).sqrt()
    };
    let [even, bent] = [unbent(&best), bent(&rgb)].map(|lab| (lab, scatter(&lab)));
    let (lab, sigma) = if bent.1 < even.1 { bent } else { even };
    let share = count as f32 / samples.len().max(1) as f32;
    FrameFit { lab, rgb, share, sigma, checker: None, canvas }
}

fn edge_samples(pixels: &RgbaImage, colours: &Converter) -> Vec<Sample> {
    let (width, height) = pixels.dimensions();
    let canvas = Canvas::of(pixels);
    let band = (width.min(height) / 100).clamp(1, MAX_BAND_PX);
    let in_band = |x: u32, y: u32| x < band || y < band || x + band >= width || y + band >= height;
    let places = (0..height).flat_map(|y| {
        let whole_row = y < band || y + band >= height;
        let middle = if whole_row { 0..width } else { 0..band.min(width) };
        let right = if whole_row { width..width } else { (width.saturating_sub(band)).max(band)..width };
        middle.chain(right).map(move |x| (x, y))
    });
    let count = 2 * band as usize * (width + height) as usize;
    // An odd stride, so that no regular pattern along the edge is looked at in step.
    let stride = (count / SAMPLES).max(1) | 1;
    places
        .filter(|(x, y)| in_band(*x, *y))
        .step_by(stride)
        .map(|(x, y)| {
            let [red, green, blue, _] = pixels.get_pixel(x, y).0;
            let rgb = [red, green, blue].map(f32::from);
            Sample { pixel: (x, y), place: canvas.place(x, y), lab: colours.lab(red, green, blue), rgb }
        })
        .collect()
}

fn agreeing<'a>(samples: &'a [Sample], planes: &'a [Plane; 3]) -> impl Iterator<Item = &'a Sample> {
    samples.iter().filter(|sample| distance_squared(sample.lab, at(planes, sample.place)) <= AGREES * AGREES)
}

/// One colour everywhere: the median of each channel.
fn constant_planes(samples: &[Sample]) -> [Plane; 3] {
    [0, 1, 2].map(|channel| {
        let mut values: Vec<f32> = samples.iter().map(|sample| sample.lab[channel]).collect();
        values.sort_by(f32::total_cmp);
        [values.get(values.len() / 2).copied().unwrap_or_default(), 0.0, 0.0]
    })
}

/// Planes by least squares through the normal equations, three unknowns each; `None` where the places lie on a line.
fn least_squares<'a>(
    samples: impl Iterator<Item = &'a Sample>,
    channels: impl Fn(&Sample) -> [f32; 3],
) -> Option<[Plane; 3]> {
    let mut moments = [[0.0_f64; 3]; 3];
    let mut right = [[0.0_f64; 3]; 3];
    let mut count = 0.0_f64;
    for sample in samples {
        let basis = [1.0, f64::from(sample.place.0), f64::from(sample.place.1)];
        let values = channels(sample);
        for row in 0..3 {
            for column in 0..3 {
                moments[row][column] += basis[row] * basis[column];
                right[column][row] += basis[row] * f64::from(values[column]);
            }
        }
        count += 1.0;
    }
    let determinant = determinant(&moments);
    // Relative to what a spread-out set has; below this the slopes are noise.
    if count < 3.0 || determinant < 1e-3 * count.powi(3) {
        return None;
    }
    Some(right.map(|values| {
        [0, 1, 2].map(|unknown| {
            let mut replaced = moments;
            for row in 0..3 {
                replaced[row][unknown] = values[row];
            }
            (self::determinant(&replaced) / determinant) as f32
        })
    }))
}

fn determinant(m: &[[f64; 3]; 3]) -> f64 {
    m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1]) - m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0])
        + m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0])
}

/// A fixed sequence of numbers that looks random: the same picture always gets the same trials. Steele, Lea and Flood,
/// "Fast Splittable Pseudorandom Number Generators" (2014).
struct Sequence(u64);

impl Sequence {
    fn below(&mut self, limit: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^= mixed >> 31;
        (mixed % limit.max(1) as u64) as usize
    }
}
