//! How wide the picture's sharpest edges are, in its own pixels.
//!
//! A picture drawn or taken at its own resolution has edges that one step between two pixels carries nearly whole; an
//! enlarged one spreads every edge over about as many pixels as it was enlarged, whatever the filter. Width: the height of
//! a strong edge over its steepest step. Only edges that nearly cross the line at a right angle count, because a slanted
//! one is spread by its slant. Of all edges the sharpest tenths are judged: soft shading proves nothing, a sharp edge does.
//! (Edge width as a measure of blur: P. Marziliano, F. Dufaux, S. Winkler, T. Ebrahimi, "A no-reference perceptual blur
//! metric", ICIP 2002, section 2; there averaged over all edges. Percentile and angle are ours, measured.)

use image::RgbaImage;

use super::OPAQUE;
use super::scan::{ALIKE, Axis, Line, luma};

/// Least height of an edge, of 255: lower ones are texture and noise.
const LEAST_HEIGHT: i32 = 64;

/// Lower steps are in no edge that is high enough and short enough to count.
const LEAST_STEP: u8 = 10;

/// Steps of the same sign belong to an edge while they are at least this share of its steepest.
const LEAST_STEP_SHARE: f64 = 0.06;

/// Longest edge followed to each side of its steepest step, in pixels.
const LONGEST_SIDE: usize = 12;

/// Steepness along the line over that across it, from which an edge crosses the line upright enough.
const UPRIGHT: i32 = 3;

/// Fewer edges say nothing.
const LEAST_EDGES: usize = 40;

/// Share of the edges that are at most as wide as the answer.
const SHARPEST_SHARE: f64 = 0.15;

/// Widths of the edges seen.
#[derive(Debug, Default)]
pub(super) struct Edges {
    widths: Vec<f32>,
}

/// Which values make an edge.
#[derive(Clone, Copy)]
enum Of {
    Alpha,
    Luma,
}

impl Edges {
    pub(super) fn look(&mut self, line: &Line, picture: &RgbaImage) {
        self.follow(&line.alpha, line, picture, Of::Alpha);
        self.follow(&line.luma, line, picture, Of::Luma);
    }

    fn follow(&mut self, values: &[u8], line: &Line, picture: &RgbaImage, of: Of) {
        let last = values.len().saturating_sub(1);
        for start in (0..last).step_by(ALIKE) {
            let end = (start + ALIKE).min(last);
            let steps = values[start..end].iter().zip(&values[start + 1..=end]);
            // Most of a line is even: a stretch without a step is passed at once.
            if steps.fold(false, |any, (one, next)| any | (one.abs_diff(*next) >= LEAST_STEP)) {
                (start..end).for_each(|at| self.judge(values, at, line, picture, of));
            }
        }
    }

    /// Takes the width of an edge that is steepest at a place.
    fn judge(&mut self, values: &[u8], at: usize, line: &Line, picture: &RgbaImage, of: Of) {
        if values[at].abs_diff(values[at + 1]) < LEAST_STEP {
            return;
        }
        let last = values.len() - 1;
        let step = |at: usize| i32::from(values[at + 1]) - i32::from(values[at]);
        let steepest = step(at);
        // The first of equals is the steepest of its edge.
        let is_steepest = (at == 0
            || step(at - 1).abs() < steepest.abs()
            || step(at - 1).signum() != steepest.signum())
            && (at + 1 == last || step(at + 1).abs() <= steepest.abs() || step(at + 1).signum() != steepest.signum());
        if !is_steepest {
            return;
        }
        let least = (f64::from(steepest.abs()) * LEAST_STEP_SHARE).max(1.0);
        let goes_on = |at: usize| step(at).signum() == steepest.signum() && f64::from(step(at).abs()) >= least;
        let after = (at + 1..last).take(LONGEST_SIDE).take_while(|next| goes_on(*next)).count();
        let before = (0..at).rev().take(LONGEST_SIDE).take_while(|next| goes_on(*next)).count();
        let (from, to) = (at - before, at + after + 1);
        let height = (i32::from(values[to]) - i32::from(values[from])).abs();
        let is_seen = match of {
            Of::Alpha => true,
            Of::Luma => line.pixels[from..=to].iter().all(|pixel| pixel[3] >= OPAQUE),
        };
        if height >= LEAST_HEIGHT && is_seen && is_upright(line, at, picture, of, steepest) {
            self.widths.push(height as f32 / steepest.unsigned_abs() as f32);
        }
    }

    /// The width that the sharpest share of edges stays under.
    pub(super) fn width_px(mut self) -> Option<f64> {
        if self.widths.len() < LEAST_EDGES {
            return None;
        }
        let rank = (self.widths.len() as f64 * SHARPEST_SHARE) as usize;
        let (_, width, _) = self.widths.select_nth_unstable_by(rank, f32::total_cmp);
        Some(f64::from(*width))
    }
}

/// Whether the values change much less across the line than along it.
fn is_upright(line: &Line, at: usize, picture: &RgbaImage, of: Of, steepest: i32) -> bool {
    let value = |along: usize, aside: i64| {
        let (x, y) = line.at(along);
        let (x, y) = match line.axis {
            Axis::Row => (i64::from(x), i64::from(y) + aside),
            Axis::Column => (i64::from(x) + aside, i64::from(y)),
        };
        let x = x.clamp(0, i64::from(picture.width()) - 1) as u32;
        let y = y.clamp(0, i64::from(picture.height()) - 1) as u32;
        let pixel = picture.get_pixel(x, y).0;
        i32::from(match of {
            Of::Alpha => pixel[3],
            Of::Luma => luma(pixel),
        })
    };
    [at, at + 1].into_iter().all(|along| (value(along, 1) - value(along, -1)).abs() * UPRIGHT <= 2 * steepest.abs())
}
