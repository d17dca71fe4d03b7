//! Lines of the art on clear ground, and light lines on an even darker one, thin enough that they may be fine in print. Other
//! lines inside the art are not looked at: what lies between two colours of a clean picture looks like them too often. Light
//! ones are what ink closes first, and drawings seldom have them but for script and patterns.
//!
//! The width of a straight line follows from the ways straight through it along a row (w) and along a column (h), however
//! it slants: 1 / width^2 = 1 / w^2 + 1 / h^2 (the altitude of a right triangle on its hypotenuse). The shorter way, the
//! one along the line of pixels looked at, is measured with the anti-aliased pixels at both ends, in parts of a pixel.

use std::ops::{Range, RangeInclusive};

use image::RgbaImage;

use super::scan::{Axis, Line, alpha_at, luma};
use super::{CLEAR, OPAQUE};

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

/// A light line is at least so much lighter than its ground, of 255, and its ground so even on each side over so many pixels:
/// what shades is a highlight. Measured on clip art.
const LEAST_CONTRAST: u8 = 110;
const EVEN: u8 = 10;
const EVEN_PX: usize = 4;

/// The ground of a light line is at most so light.
const DARK: u8 = 140;

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
    of: Of,
}

/// What a line differs from its ground by.
#[derive(Clone, Copy)]
enum Of {
    Alpha,
    /// Luma of the ground and of the line.
    Light(u8, u8),
}

/// How much of a pixel a line covers, 0 to 255.
#[derive(Clone, Copy)]
struct Cover<'a> {
    picture: &'a RgbaImage,
    of: Of,
}

impl Cover<'_> {
    fn at(self, x: i64, y: i64) -> u8 {
        match self.of {
            Of::Alpha => alpha_at(self.picture, x, y).unwrap_or(0),
            Of::Light(ground, light) => {
                let inside = alpha_at(self.picture, x, y).is_some_and(|alpha| alpha >= OPAQUE);
                // Beside the art, or in a soft edge, a light line has no ground.
                if inside {
                    share_of_light(luma(self.picture.get_pixel(x as u32, y as u32).0), ground, light)
                } else {
                    u8::MAX
                }
            }
        }
    }
}

/// A line's share of a pixel by its luma, which is next to linear in it; 0 for what is about the ground's.
fn share_of_light(own: u8, ground: u8, light: u8) -> u8 {
    let over = own.saturating_sub(ground);
    if over <= EVEN { 0 } else { (u32::from(over) * 255 / u32::from(light - ground).max(1)).min(255) as u8 }
}

impl Lines {
    pub(super) fn look(&mut self, line: &Line, picture: &RgbaImage) {
        for crossing in on_clear(line).chain(on_dark(line)) {
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
        (line.alpha[densest] >= LEAST_PEAK).then_some(Crossing { along: densest, width, of: Of::Alpha })
    };
    thin.filter_map(crossing).take(MOST_CROSSINGS)
}

/// Light between stretches of one even darker ground, all of it opaque.
fn on_dark(line: &Line) -> impl Iterator<Item = Crossing> {
    let luma = line.luma.as_slice();
    let last = luma.len().saturating_sub(EVEN_PX + 1);
    // Most of a line is even: what does not rise is passed at once.
    let rises = (EVEN_PX..last).filter(|at| luma[*at + 1] > luma[*at].saturating_add(EVEN) && luma[*at] <= DARK);
    rises.filter_map(|at| light_from(line, at)).take(MOST_CROSSINGS)
}

/// A light crossing behind the last pixel of its ground.
fn light_from(line: &Line, at: usize) -> Option<Crossing> {
    let luma = line.luma.as_slice();
    let ground = luma[at];
    let is_even = |from: usize| {
        let near = luma.get(from..from + EVEN_PX)?;
        let opaque = line.alpha[from..from + EVEN_PX].iter().all(|alpha| *alpha >= OPAQUE);
        (opaque && near.iter().all(|own| own.abs_diff(ground) <= EVEN)).then_some(())
    };
    is_even(at + 1 - EVEN_PX)?;
    let ahead = luma.get(at + 1..)?.iter().take(LONGEST_WAY + 3);
    let width_px = ahead.clone().position(|own| own.abs_diff(ground) <= EVEN)?;
    is_even(at + 1 + width_px)?;
    let inside = at + 1..at + 1 + width_px;
    let opaque = line.alpha[inside.clone()].iter().all(|alpha| *alpha >= OPAQUE);
    let lightest = inside.clone().max_by_key(|at| luma[*at])?;
    let light = luma[lightest];
    if !opaque || light < ground.saturating_add(LEAST_CONTRAST) {
        return None;
    }
    let width = inside.map(|at| f64::from(share_of_light(luma[at], ground, light)) / 255.0).sum();
    Some(Crossing { along: lightest, width, of: Of::Light(ground, light) })
}

/// A crossing as a piece of a line; `None` where it is none, or is better seen across.
fn piece(line: &Line, picture: &RgbaImage, crossing: &Crossing) -> Option<FineLine> {
    let (x, y) = line.at(crossing.along);
    let cover = Cover { picture, of: crossing.of };
    let straight = through(line.axis, cover, (x, y), 1) + through(line.axis, cover, (x, y), -1) + 1;
    let (along, across) = (crossing.width, straight as f64);
    if along > across {
        return None;
    }
    let slant = along.hypot(across) / across;
    let width = along / slant;
    let widths = (along / CHANGES).min(along - CHANGES_PX)..=(along * CHANGES).max(along + CHANGES_PX);
    let steps =
        along_line(line.axis, cover, (x, y), 1, &widths) + along_line(line.axis, cover, (x, y), -1, &widths) + 1;
    let length = steps as f64 * slant;
    (length >= (LEAST_ASPECT * width).max(LEAST_LENGTH_PX)).then(|| FineLine {
        at: (x, y),
        width_px: width as f32,
        length_px: (f64::from(line.step) * slant) as f32,
    })
}

/// Cover of a place that is moved along an axis and aside from it.
fn moved(axis: Axis, cover: Cover<'_>, (x, y): (i64, i64), along: i64, aside: i64) -> u8 {
    let (dx, dy) = match axis {
        Axis::Row => (along, aside),
        Axis::Column => (aside, along),
    };
    cover.at(x + dx, y + dy)
}

/// Steps straight across an axis that stay on the art.
fn through(axis: Axis, cover: Cover<'_>, from: (u32, u32), step: i64) -> usize {
    let from = (i64::from(from.0), i64::from(from.1));
    let on_art = |steps: &usize| moved(axis, cover, from, 0, step * *steps as i64) >= LEAST_PEAK;
    (1..=FOLLOWED).take_while(on_art).count()
}

/// Steps across an axis that stay on the line while its width along the axis is within bounds, each to the densest of the three
/// places beside.
fn along_line(axis: Axis, cover: Cover<'_>, from: (u32, u32), step: i64, widths: &RangeInclusive<f64>) -> usize {
    let (mut at, mut other) = ((i64::from(from.0), i64::from(from.1)), 0);
    for steps in 0..FOLLOWED {
        // Of equals the first: straight on.
        let next = [1, -1, 0].into_iter().max_by_key(|aside| moved(axis, cover, at, *aside, step));
        let Some(next) = next.filter(|aside| moved(axis, cover, at, *aside, step) >= LEAST_PEAK) else {
            return steps - other;
        };
        at = match axis {
            Axis::Row => (at.0 + next, at.1 + step),
            Axis::Column => (at.0 + step, at.1 + next),
        };
        other = if widths.contains(&width_at(axis, cover, at, *widths.end())) { 0 } else { other + 1 };
        if other > CROSSED {
            return steps + 1 - other;
        }
    }
    FOLLOWED - other
}

/// The way through the art along an axis, in pixels with their share of cover, followed a little past the most that matters.
fn width_at(axis: Axis, cover: Cover<'_>, at: (i64, i64), most: f64) -> f64 {
    let reach = most.ceil() as i64 + 1;
    let side = |step: i64| {
        let covers =
            (1..=reach).map(|along| moved(axis, cover, at, along * step, 0)).take_while(|alpha| *alpha > CLEAR);
        covers.map(|alpha| f64::from(alpha) / 255.0).sum::<f64>()
    };
    f64::from(moved(axis, cover, at, 0, 0)) / 255.0 + side(1) + side(-1)
}
