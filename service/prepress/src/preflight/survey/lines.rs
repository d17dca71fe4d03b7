//! Lines of the art on clear ground, thin enough that they may be fine in print. Lines inside the art are not looked at: what
//! lies between two colours of a clean picture looks like them too often.
//!
//! The width of a straight line follows from the ways straight through it along a row (w) and along a column (h), however
//! it slants: 1 / width^2 = 1 / w^2 + 1 / h^2 (the altitude of a right triangle on its hypotenuse). The shorter way, the
//! one along the line of pixels looked at, is measured with the anti-aliased pixels at both ends, in parts of a pixel.

use image::RgbaImage;

use super::CLEAR;
use super::scan::{Axis, Line, alpha_at};

/// Alpha that the densest pixel of a line reaches at least: fainter ones are haze.
const LEAST_PEAK: u8 = 64;

/// Longest way through a line, in pixels: 0.25 mm at 600 ppi are 6, and a line at 45 degrees is half as much again.
const LONGEST_WAY: usize = 12;

/// Ways along a line are followed so far, in pixels.
const FOLLOWED: usize = 40;

/// A line is at least so many times as long as it is wide, and so many pixels long: tips and tufts are shorter.
const LEAST_ASPECT: f64 = 8.0;
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
fn on_clear(line: &Line) -> Vec<Crossing> {
    let mut found = Vec::new();
    let mut begun = None;
    for (at, pixel) in line.pixels.iter().enumerate() {
        match (begun, pixel[3] > CLEAR) {
            (None, true) if at > 0 => begun = Some(at),
            (Some(from), false) => {
                begun = None;
                let alphas = line.pixels[from..at].iter().map(|pixel| pixel[3]);
                if at - from > LONGEST_WAY + 2 || alphas.clone().max() < Some(LEAST_PEAK) {
                    continue;
                }
                let densest = (from..at).max_by_key(|at| line.pixels[*at][3]).unwrap_or(from);
                let width = alphas.map(|alpha| f64::from(alpha) / 255.0).sum();
                found.push(Crossing { along: densest, width });
            }
            _ => {}
        }
    }
    found.truncate(MOST_CROSSINGS);
    found
}

/// A crossing as a piece of a line; `None` where it is none, or is better seen across.
fn piece(line: &Line, picture: &RgbaImage, crossing: &Crossing) -> Option<FineLine> {
    let (x, y) = line.at(crossing.along);
    let straight = follow(line.axis, picture, (x, y), 1, &[0]) + follow(line.axis, picture, (x, y), -1, &[0]) + 1;
    let (along, across) = (crossing.width, straight as f64);
    if along > across {
        return None;
    }
    let slant = along.hypot(across) / across;
    let width = along / slant;
    let bends = [0, -1, 1];
    let steps = follow(line.axis, picture, (x, y), 1, &bends) + follow(line.axis, picture, (x, y), -1, &bends) + 1;
    let length = steps as f64 * slant;
    (length >= (LEAST_ASPECT * width).max(LEAST_LENGTH_PX)).then(|| FineLine {
        at: (x, y),
        width_px: width as f32,
        length_px: (f64::from(line.step) * slant) as f32,
    })
}

/// Steps across an axis that stay on the line, each to the densest of the places aside that are allowed.
fn follow(axis: Axis, picture: &RgbaImage, from: (u32, u32), step: i64, aside: &[i64]) -> usize {
    let (mut x, mut y) = (i64::from(from.0), i64::from(from.1));
    let alpha = |x: i64, y: i64| alpha_at(picture, x, y).unwrap_or(0);
    for steps in 0..FOLLOWED {
        let places = aside.iter().map(|aside| match axis {
            Axis::Row => (x + aside, y + step),
            Axis::Column => (x + step, y + aside),
        });
        // Of equals the first: straight on.
        let next = places.rev().max_by_key(|(x, y)| alpha(*x, *y));
        let Some(next) = next.filter(|(x, y)| alpha(*x, *y) >= LEAST_PEAK) else { return steps };
        (x, y) = next;
    }
    FOLLOWED
}
