//! Lines of the art on clear ground, thin enough that they may be fine in print. Lines inside the art are not looked at: what
//! lies between two colours of a clean picture looks like them too often.
//!
//! The width of a straight line follows from the ways straight through it along a row (w) and along a column (h), however
//! it slants: 1 / width^2 = 1 / w^2 + 1 / h^2 (the altitude of a right triangle on its hypotenuse). The shorter way, the
//! one along the line of pixels looked at, is measured with the anti-aliased pixels at both ends, in parts of a pixel.

use image::RgbaImage;

use super::scan::{Axis, Line};

/// Alpha up to which a pixel is outside, 5 %.
const CLEAR: u8 = 12;

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
            let is_on = |pixel: [u8; 4]| pixel[3] >= LEAST_PEAK;
            self.found.extend(piece(line, picture, &crossing, is_on));
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
fn piece(line: &Line, picture: &RgbaImage, crossing: &Crossing, is_on: impl Fn([u8; 4]) -> bool) -> Option<FineLine> {
    let (x, y) = line.at(crossing.along);
    let way = |dx: i64, dy: i64| {
        let mut steps = 0;
        while steps < FOLLOWED {
            let (x, y) = (i64::from(x) + dx * (steps as i64 + 1), i64::from(y) + dy * (steps as i64 + 1));
            let inside = (0..i64::from(picture.width())).contains(&x) && (0..i64::from(picture.height())).contains(&y);
            if !inside || !is_on(picture.get_pixel(x as u32, y as u32).0) {
                break;
            }
            steps += 1;
        }
        steps
    };
    let through = |dx: i64, dy: i64| (way(dx, dy) + way(-dx, -dy) + 1) as f64;
    let across = match line.axis {
        Axis::Row => through(0, 1),
        Axis::Column => through(1, 0),
    };
    let along = crossing.width;
    if along > across {
        return None;
    }
    let width = along * across / along.hypot(across);
    let slanted = through(1, 1).max(through(1, -1)) * std::f64::consts::SQRT_2;
    let length = across.max(slanted);
    (length >= (LEAST_ASPECT * width).max(LEAST_LENGTH_PX)).then(|| FineLine {
        at: (x, y),
        width_px: width as f32,
        length_px: (f64::from(line.step) * along.hypot(across) / across) as f32,
    })
}
