//! Guided separation: pieces may overlap for a while, and are moved one by one to where overlaps weigh least, until there is none.
//!
//! In: outlines, windows, where pieces stand. Out: shorter windows' contents, never an overlap. Work is counted in pairs of
//! outlines that were looked at.
//!
//! Source: J. Gardeyn, G. Vanden Berghe, T. Wauters, *An open-source heuristic to reboot 2D nesting research*, 2025,
//! arXiv:2509.13329 (separation with weights, strips shrunk step by step, restarts from a pool of failed ones); written from
//! the description of the method.

mod cram;
mod field;
mod moves;
mod shape;

pub(in crate::gang) use field::{Field, Place};
pub(in crate::gang) use shape::Shape;

use moves::{Scratch, relocate};

use super::rng::Rng;
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::Vec2;

/// Rounds without progress after which the best of a separation is tried anew, and how often.
const ROUNDS: u32 = 40;
const STRIKES: u32 = 3;
/// How much is first taken off at once, as a share of the length of all windows, and at least. Measured on strips and sheets.
pub(in crate::gang) const FIRST_STEP: f64 = 0.03;
const LEAST_STEP: f64 = 0.001;
/// Share of the work that goes into long steps; the rest takes short ones from the best.
const EXPLORED: (u64, u64) = (7, 10);
/// What counts as progress.
const PROGRESS: f32 = 0.98;

/// How much may still be done, and who may stop it.
pub(in crate::gang) struct Work<'a> {
    /// Looks that the field may have come to.
    pub(in crate::gang) looks: u64,
    /// The caller's flag.
    pub(in crate::gang) cancel: &'a Cancel,
    /// The caller's clock, which is told the looks so far.
    pub(in crate::gang) is_over: &'a (dyn Fn(u64) -> bool + Sync),
}

impl Work<'_> {
    fn is_spent(&self, field: &Field<'_>) -> bool {
        field.looks >= self.looks || (self.is_over)(field.looks)
    }
}

/// A search with its chances.
pub(in crate::gang) struct Search<'a> {
    rng: Rng,
    scratch: Scratch,
    work: Work<'a>,
}

impl<'a> Search<'a> {
    /// A search.
    pub(in crate::gang) fn new(rng: Rng, work: Work<'a>) -> Search<'a> {
        Search { rng, scratch: Scratch::default(), work }
    }

    /// Moves pieces until nothing overlaps. False when it gave up; then the field is as it was at its best.
    ///
    /// # Errors
    /// `run.cancelled`.
    fn separate(&mut self, field: &mut Field<'_>, strikes: u32) -> Result<bool, Fault> {
        let mut best = (field.loss(), field.places());
        let mut strike = 0;
        while best.0 > 0.0 && strike < strikes {
            let before = best.0;
            let mut idle = 0;
            while idle < ROUNDS {
                self.round(field)?;
                let loss = field.loss();
                if loss <= 0.0 {
                    return Ok(true);
                }
                if loss < best.0 {
                    idle = if loss < PROGRESS * best.0 { 0 } else { idle + 1 };
                    best = (loss, field.places());
                } else {
                    idle += 1;
                }
                field.raise_weights();
                if self.work.is_spent(field) {
                    break;
                }
            }
            strike = if best.0 < PROGRESS * before { 0 } else { strike + 1 };
            field.restore(&best.1);
            if self.work.is_spent(field) {
                break;
            }
        }
        Ok(best.0 <= 0.0)
    }

    /// Moves every piece that overlaps, in an order drawn by chance.
    fn round(&mut self, field: &mut Field<'_>) -> Result<(), Fault> {
        let free = |index: &usize| !field.pieces[*index].fixed && field.loss_of(*index) > 0.0;
        let mut pieces: Vec<usize> = (0..field.pieces.len()).filter(free).collect();
        for last in (1..pieces.len()).rev() {
            pieces.swap(last, (self.rng.unit() * (last + 1) as f64) as usize);
        }
        for index in pieces {
            self.work.cancel.check()?;
            if field.loss_of(index) > 0.0 {
                relocate(field, index, &mut self.rng, &mut self.scratch);
            }
        }
        Ok(())
    }

    /// Makes a window shorter by pushing together what stands beyond a line drawn by chance.
    fn shrink(&mut self, field: &mut Field<'_>, window: usize, length: f64) {
        let by = field.windows[window].length - length;
        let line = self.rng.unit() * field.windows[window].length;
        field.set_length(window, length);
        for index in field.windows[window].members.clone() {
            let piece = &field.pieces[index];
            let middle = piece.at.y + piece.turned.bounds.center().y;
            if !piece.fixed && middle > line {
                let place = piece.place();
                field.put(index, Place { at: place.at - Vec2::new(0.0, by), ..place });
            }
        }
    }

    /// Swaps two large pieces of different shapes, which leads away from where a search got stuck.
    fn disrupt(&mut self, field: &mut Field<'_>) {
        let mut large: Vec<usize> = (0..field.pieces.len()).filter(|index| !field.pieces[*index].fixed).collect();
        let area = |index: &usize| field.shapes[field.pieces[*index].shape].size;
        large.sort_by(|a, b| area(b).total_cmp(&area(a)).then(a.cmp(b)));
        large.truncate((large.len() / 2).max(2));
        if large.len() < 2 {
            return;
        }
        let first = large[(self.rng.unit() * large.len() as f64) as usize];
        let other = |index: &usize| field.pieces[*index].shape != field.pieces[first].shape;
        let others: Vec<usize> = large.into_iter().filter(other).collect();
        if others.is_empty() {
            return;
        }
        let second = others[(self.rng.unit() * others.len() as f64) as usize];
        let (a, b) = (field.pieces[first].place(), field.pieces[second].place());
        let fits = |piece: usize, angle: f64| match &field.shapes[field.pieces[piece].shape].angles {
            shape::Angles::Any => angle,
            shape::Angles::Of(angles) if angles.contains(&angle) => angle,
            shape::Angles::Of(angles) => angles[0],
        };
        let (turn_a, turn_b) = (fits(first, b.angle_deg), fits(second, a.angle_deg));
        let middle = |piece: usize, field: &Field<'_>| field.pieces[piece].turned.bounds.center().to_vec2();
        let (middle_a, middle_b) = (a.at + middle(first, field), b.at + middle(second, field));
        field.put(first, Place { angle_deg: turn_a, ..b });
        field.put(second, Place { angle_deg: turn_b, ..a });
        let (at_a, at_b) = (middle_b - middle(first, field), middle_a - middle(second, field));
        field.put(first, Place { at: at_a, angle_deg: turn_a, window: b.window });
        field.put(second, Place { at: at_b, angle_deg: turn_b, window: a.window });
    }

    /// Shortens one window, whose contents fit, as long as there is work left: at first in long steps from the best so far,
    /// after a failure from one of the failed states with two large pieces swapped; in the end in ever shorter steps. Returns
    /// the places and the length of the best.
    ///
    /// # Errors
    /// `run.cancelled`.
    pub(in crate::gang) fn shorten(
        &mut self,
        field: &mut Field<'_>,
        window: usize,
        first_step: f64,
    ) -> Result<(f64, Vec<Place>), Fault> {
        let mut best = (field.windows[window].length, field.places());
        let began = field.looks;
        let explored = began + self.work.looks.saturating_sub(began) / EXPLORED.1 * EXPLORED.0;
        let all = std::mem::replace(&mut self.work.looks, explored);
        self.explore(field, (window, first_step), &mut best)?;
        self.work.looks = all;
        self.compress(field, window, &mut best)?;
        field.restore(&best.1);
        field.set_length(window, best.0);
        Ok(best)
    }

    fn explore(
        &mut self,
        field: &mut Field<'_>,
        (window, first_step): (usize, f64),
        best: &mut (f64, Vec<Place>),
    ) -> Result<(), Fault> {
        let total: f64 = field.windows.iter().map(|window| window.length).sum();
        let shorter = |length: f64, step: f64| (length - total * step).max(0.0);
        let mut step = first_step;
        let mut pool: Vec<(f32, Vec<Place>)> = Vec::new();
        self.shrink(field, window, shorter(best.0, step));
        while !self.work.is_spent(field) {
            field.forget_weights();
            if self.separate(field, STRIKES)? {
                *best = (field.windows[window].length, field.places());
                pool.clear();
                if field.is_empty(window) {
                    return Ok(());
                }
                self.shrink(field, window, shorter(best.0, step));
                continue;
            }
            step = (step * 0.5f64).max(LEAST_STEP);
            let (loss, places) = (field.loss(), field.places());
            let at = pool.partition_point(|other| other.0 < loss);
            pool.insert(at, (loss, places));
            // The better of the failed are the likelier, half a normal distribution as wide as a quarter of the pool.
            let chance = (self.rng.unit() + self.rng.unit() + self.rng.unit() - 1.5).abs() / 1.5;
            let pick = ((chance * pool.len() as f64 * 0.6) as usize).min(pool.len() - 1);
            let from = pool[pick].1.clone();
            field.restore(&from);
            self.disrupt(field);
        }
        Ok(())
    }

    fn compress(&mut self, field: &mut Field<'_>, window: usize, best: &mut (f64, Vec<Place>)) -> Result<(), Fault> {
        let (began, end) = (field.looks, self.work.looks);
        while !self.work.is_spent(field) && !field.is_empty(window) {
            let share = (field.looks - began) as f64 / (end - began).max(1) as f64;
            let step = 0.0005 * (0.01f64).powf(share);
            field.restore(&best.1);
            field.set_length(window, best.0);
            self.shrink(field, window, best.0 * (1.0 - step));
            field.forget_weights();
            if self.separate(field, 1)? {
                *best = (field.windows[window].length, field.places());
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests;
