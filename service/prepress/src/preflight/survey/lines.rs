//! Lines of the art on clear ground, thin enough that they may be fine in print. Lines inside the art are not looked at: what
//! lies between two colours of a clean picture looks like them too often.
//!
//! The width of a straight line follows from the ways straight through it along a row (w) and along a column (h), however
//! it slants: 1 / width^2 = 1 / w^2 + 1 / h^2 (the altitude of a right triangle on its hypotenuse). The shorter way, the
//! one along the line of pixels looked at, is measured with the anti-aliased pixels at both ends, in parts of a pixel.

use std::ops::{Range, RangeInclusive};

use image::RgbaImage;

use super::CLEAR;
use super::scan::{Axis, Line, alpha_at};

/// Alpha that the densest pixel of a line reaches at least: fainter ones are haze.
const LEAST_PEAK: u8 = 64;

/// Longest way through a line, in pixels: 0.25 mm at 600 ppi are 6, and a line at 45 degrees is half as much again.
const LONGEST_WAY: usize = 12;

/// Ways along a line are followed so far, in pixels.
const FOLLOWED: usize = 80;

/// A line ends where it is so many times as wide, or as narrow, as where it was met, and more than so many pixels wider or
/// narrower: what tapers, like the tip of a leaf or a blade of grass, is no line, however thin it ends. Measured on clip art.
const CHANGES: f64 = 1.6;
const CHANGES_PX: f64 = 1.0;

/// So many steps in a row may be of another width: where another line crosses.
const CROSSED: usize = 4;

/// A line is at least so many times as long as it is wide, and so many pixels long: tips and tufts are shorter.
const LEAST_ASPECT: f64 = 12.0;
const LEAST_LENGTH_PX: f64 = 16.0;

/// Crossings of one line of pixels that are looked at. Stops: a picture of noise.
const MOST_CROSSINGS: usize = 100;

/// A piece of a line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(in super::super) struct FineLine {
    pub(in super::super) at: (u32, u32),
    /// Its width.
    pub(in super::super) width_px: f32,
    /// The length that it stands for.
    pub(in super::super) length_px: f32,
}

/// Pieces found.
#[derive(Debug, Default)]
pub(super) struct Lines {
    pub(super) found: Vec<FineLine>,
}

/// What is seen of a line where it crosses.
struct Crossing {
    along: usize,
    width: f64,
}

impl Lines {
    pub(super) fn look(&mut self, line: &Line, picture: &RgbaImage) {
        for crossing in on_clear(line) {
            self.found.extend(piece(line, picture, &crossing));
        }
    }
}

/// Art between clear pixels.
fn on_clear(line: &Line) -> impl Iterator<Item = Crossing> {
    let count = line.pixels.len();
    // What begins before the line is seen from its second pixel on.
    let runs = line.runs.iter().map(|run| run.start.max(1)..run.end);
    let thin = runs.filter(move |run| !run.is_empty() && run.end < count && run.len() <= LONGEST_WAY + 2);
    let crossing = |run: Range<usize>| {
        let alphas = &line.alpha[run.clone()];
        let densest = run.clone().max_by_key(|at| line.alpha[*at])?;
        let width = alphas.iter().map(|alpha| f64::from(*alpha) / 255.0).sum();
        (line.alpha[densest] >= LEAST_PEAK).then_some(Crossing { along: densest, width })
    };
    thin.filter_map(crossing).take(MOST_CROSSINGS)
}

/// A crossing as a piece of a line; `None` where it is none, or is better seen across.
fn piece(line: &Line, picture: &RgbaImage, crossing: &Crossing) -> Option<FineLine> {
    let (x, y) = line.at(crossing.along);
    let straight = through(line.axis, picture, (x, y), 1) + through(line.axis, picture, (x, y), -1) + 1;
    let (along, across) = (crossing.width, straight as f64);
    if along > across {
        return None;
    }
    let slant = along.hypot(across) / across;
    let width = along / slant;
    let widths = (along / CHANGES).min(along - CHANGES_PX)..=(along * CHANGES).max(along + CHANGES_PX);
    let steps =
        along_line(line.axis, picture, (x, y), 1, &widths) + along_line(line.axis, picture, (x, y), -1, &widths) + 1;
    let length = steps as f64 * slant;
    (length >= (LEAST_ASPECT * width).max(LEAST_LENGTH_PX)).then(|| FineLine {
        at: (x, y),
        width_px: width as f32,
        length_px: (f64::from(line.step) * slant) as f32,
    })
}

/// Alpha at a place that is moved along an axis and aside from it.
fn moved(axis: Axis, picture: &RgbaImage, (x, y): (i64, i64), along: i64, aside: i64) -> u8 {
    let (dx, dy) = match axis {
        Axis::Row => (along, aside),
        Axis::Column => (aside, along),
    };
    alpha_at(picture, x + dx, y + dy).unwrap_or(0)
}

/// Steps straight across an axis that stay on the art.
fn through(axis: Axis, picture: &RgbaImage, from: (u32, u32), step: i64) -> usize {
    let from = (i64::from(from.0), i64::from(from.1));
    let on_art = |steps: &usize| moved(axis, picture, from, 0, step * *steps as i64) >= LEAST_PEAK;
    (1..=FOLLOWED).take_while(on_art).count()
}

/// Steps across an axis that stay on the line while its width along the axis is within bounds, each to the densest of the three
/// places beside.
fn along_line(axis: Axis, picture: &RgbaImage, from: (u32, u32), step: i64, widths: &RangeInclusive<f64>) -> usize {
    let (mut at, mut other) = ((i64::from(from.0), i64::from(from.1)), 0);
    for steps in 0..FOLLOWED {
        // Of equals the first: straight on.
        let next = [1, -1, 0].into_iter().max_by_key(|aside| moved(axis, picture, at, *aside, step));
        let Some(next) = next.filter(|aside| moved(axis, picture, at, *aside, step) >= LEAST_PEAK) else {
            return steps - other;
        };
        at = match axis {
            Axis::Row => (at.0 + next, at.1 + step),
            Axis::Column => (at.0 + step, at.1 + next),
        };
        other = if widths.contains(&width_at(axis, picture, at, *widths.end())) { 0 } else { other + 1 };
        if other > CROSSED {
            return steps + 1 - other;
        }
    }
    FOLLOWED - other
}

/// The way through the art along an axis, in pixels with their share of cover, followed a little past the most that matters.
fn width_at(axis: Axis, picture: &RgbaImage, at: (i64, i64), most: f64) -> f64 {
    let reach = most.ceil() as i64 + 1;
    let side = |step: i64| {
        let covers =
            (1..=reach).map(|along| moved(axis, picture, at, along * step, 0)).take_while(|alpha| *alpha > CLEAR);
        covers.map(|alpha| f64::from(alpha) / 255.0).sum::<f64>()
    };
    f64::from(moved(axis, picture, at, 0, 0)) / 255.0 + side(1) + side(-1)
}
