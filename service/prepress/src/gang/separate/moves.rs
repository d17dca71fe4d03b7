//! Looks for a better place for one piece: samples, then descents along one axis at a time.

use super::super::rng::Rng;
use super::field::{Field, Place};
use super::shape::{Angles, Turned};
use crate::geom::Vec2;

/// Samples all over the windows and around where the piece stands, and how many of the best are descended from. The numbers of
/// Gardeyn and others 2025.
const SAMPLES_EVERYWHERE: usize = 50;
const SAMPLES_AROUND: usize = 25;
const DESCENTS: usize = 3;
/// First and last step of the coarse and the fine descent, as shares of the piece's shorter side.
const COARSE: (f64, f64) = (0.25, 0.02);
const FINE: (f64, f64) = (0.01, 0.001);
/// The same for turns, degrees.
const COARSE_TURN: (f64, f64) = (12.0, 1.0);
const FINE_TURN: (f64, f64) = (0.5, 0.05);
/// A step grows when it helped and shrinks when it did not.
const STEP_GROWS: f64 = 1.1;
const STEP_SHRINKS: f64 = 0.5;

/// Ways to step: along the axes and the diagonals.
const AXES: [Vec2; 4] = [Vec2::new(1.0, 0.0), Vec2::new(0.0, 1.0), Vec2::new(1.0, 1.0), Vec2::new(1.0, -1.0)];

/// A place that was weighed.
#[derive(Clone, Debug, Default)]
pub(super) struct Trial {
    window: usize,
    at: Vec2,
    turned: Turned,
    weight: f32,
}

/// Memory that searches use again.
#[derive(Clone, Debug, Default)]
pub(super) struct Scratch {
    best: Vec<Trial>,
    spare: Vec<Trial>,
    pub(super) turned: Turned,
}

/// Moves a piece to the best place found, if it weighs less there; returns whether.
pub(super) fn relocate(field: &mut Field<'_>, index: usize, rng: &mut Rng, scratch: &mut Scratch) -> bool {
    let now = field.weight_of(index);
    let piece = &field.pieces[index];
    let shape = &field.shapes[piece.shape];
    let mut here = scratch.spare.pop().unwrap_or_default();
    (here.window, here.at, here.weight) = (piece.window, piece.at, now);
    here.turned.clone_from(&piece.turned);
    let side = here.turned.bounds.width().min(here.turned.bounds.height()).max(shape.diameter * 0.05);
    let free = matches!(shape.angles, Angles::Any);
    let mut keep = Keep { trials: std::mem::take(&mut scratch.best), apart: side * 0.1 };
    keep.offer(here, &mut scratch.spare);
    for sample in 0..SAMPLES_EVERYWHERE + SAMPLES_AROUND {
        let around = sample >= SAMPLES_EVERYWHERE;
        let Some((window, at)) = draw(field, index, rng, &mut scratch.turned, around) else { continue };
        let limit = keep.limit();
        let weight = field.weigh(index, window, at, &mut scratch.turned, limit);
        if weight < limit {
            let mut trial = scratch.spare.pop().unwrap_or_default();
            (trial.window, trial.at, trial.weight) = (window, at, weight);
            trial.turned.clone_from(&scratch.turned);
            keep.offer(trial, &mut scratch.spare);
        }
    }
    let mut trials = keep.trials;
    for trial in &mut trials {
        descend(field, index, trial, rng, &mut scratch.turned, (COARSE, COARSE_TURN), side, free);
    }
    trials.sort_by(|a, b| a.weight.total_cmp(&b.weight));
    let best = &mut trials[0];
    descend(field, index, best, rng, &mut scratch.turned, (FINE, FINE_TURN), side, free);
    let better = best.weight < now;
    if better {
        let old = std::mem::take(&mut field.pieces[index].turned);
        let turned = std::mem::replace(&mut best.turned, old);
        field.put_turned(index, best.window, best.at, turned);
    }
    scratch.spare.append(&mut trials);
    scratch.best = trials;
    better
}

/// The place where a piece weighs least among so many drawn by chance, if that is under a limit.
pub(super) fn best_of(
    field: &mut Field<'_>,
    index: usize,
    (places, limit): (u32, f32),
    rng: &mut Rng,
    turned: &mut Turned,
) -> Option<(f32, Place)> {
    let mut best: Option<(f32, Place)> = None;
    for _ in 0..places {
        let Some((window, at)) = draw(field, index, rng, turned, false) else { continue };
        let limit = best.map_or(limit, |best| best.0);
        let weight = field.weigh(index, window, at, turned, limit);
        if weight < limit {
            best = Some((weight, Place { window, at, angle_deg: turned.angle_deg }));
        }
    }
    best
}

/// The best trials so far, no two of them nearly the same.
struct Keep {
    trials: Vec<Trial>,
    apart: f64,
}

impl Keep {
    /// What a trial must weigh less than.
    fn limit(&self) -> f32 {
        if self.trials.len() < DESCENTS { f32::INFINITY } else { self.trials.iter().fold(0.0, |a, b| a.max(b.weight)) }
    }

    fn offer(&mut self, trial: Trial, spare: &mut Vec<Trial>) {
        let alike = |other: &Trial| {
            other.window == trial.window
                && (other.at - trial.at).hypot() < self.apart
                && turn_between(other.turned.angle_deg, trial.turned.angle_deg) < 5.0
        };
        if let Some(twin) = self.trials.iter().position(alike) {
            if self.trials[twin].weight > trial.weight {
                spare.push(std::mem::replace(&mut self.trials[twin], trial));
            } else {
                spare.push(trial);
            }
            return;
        }
        self.trials.push(trial);
        if self.trials.len() > DESCENTS {
            let worst = (0..self.trials.len()).max_by(|a, b| self.trials[*a].weight.total_cmp(&self.trials[*b].weight));
            if let Some(worst) = worst {
                spare.push(self.trials.swap_remove(worst));
            }
        }
    }
}

fn turn_between(a: f64, b: f64) -> f64 {
    let turn = (a - b).rem_euclid(360.0);
    turn.min(360.0 - turn)
}

/// Draws a place inside a window: anywhere, or near where the piece stands. `None` when it does not stand in the window drawn.
fn draw(field: &Field<'_>, index: usize, rng: &mut Rng, turned: &mut Turned, around: bool) -> Option<(usize, Vec2)> {
    let piece = &field.pieces[index];
    let shape = &field.shapes[piece.shape];
    let angle = match &shape.angles {
        Angles::Any if around && rng.unit() < 0.5 => piece.turned.angle_deg + (rng.unit() - 0.5) * 30.0,
        Angles::Any => rng.unit() * 360.0,
        Angles::Of(angles) => angles[(rng.unit() * angles.len() as f64) as usize],
    };
    turned.turn(shape, angle.rem_euclid(360.0));
    let window = if around { piece.window } else { any_window(field, rng) };
    let room = &field.windows[window];
    let (bounds, reach) = (turned.bounds, shape.reach);
    let span = |low: f64, high: f64, room: f64| (reach - low, room - reach - high);
    let (x, y) = (span(bounds.x0, bounds.x1, room.width), span(bounds.y0, bounds.y1, room.length));
    if x.0 > x.1 || y.0 > y.1 {
        return None;
    }
    let pick = |(low, high): (f64, f64), now: f64, size: f64, chance: f64| {
        let (low, high) = if around {
            ((now - size / 2.0).clamp(low, high), (now + size / 2.0).clamp(low, high))
        } else {
            (low, high)
        };
        low + (high - low) * chance
    };
    let (chance_x, chance_y) = (rng.unit(), rng.unit());
    let at = Vec2::new(pick(x, piece.at.x, bounds.width(), chance_x), pick(y, piece.at.y, bounds.height(), chance_y));
    Some((window, at))
}

/// A window, the longer the likelier.
fn any_window(field: &Field<'_>, rng: &mut Rng) -> usize {
    if field.windows.len() == 1 {
        return 0;
    }
    let mut left = rng.unit() * field.windows.iter().map(|window| window.length).sum::<f64>();
    for (index, window) in field.windows.iter().enumerate() {
        left -= window.length;
        if left < 0.0 {
            return index;
        }
    }
    field.windows.len() - 1
}

/// Steps along one axis at a time, the two axes, the two diagonals, or a turn, drawn by chance, as long as steps are long enough.
#[expect(clippy::too_many_arguments, reason = "one search, taken apart only for its two scales")]
fn descend(
    field: &mut Field<'_>,
    index: usize,
    trial: &mut Trial,
    rng: &mut Rng,
    scratch: &mut Turned,
    ((step, least), (turn, least_turn)): ((f64, f64), (f64, f64)),
    side: f64,
    free: bool,
) {
    let (mut step, least, mut turn) = (step * side, least * side, turn);
    while trial.weight > 0.0 {
        let (moves, turns) = (step >= least, free && turn >= least_turn);
        let axis = match (moves, turns) {
            (false, false) => break,
            (true, _) => (rng.unit() * if turns { 5.0 } else { 4.0 }) as usize,
            (false, true) => 4,
        };
        let before = trial.weight;
        if axis == 4 {
            let angle = trial.turned.angle_deg;
            for way in [turn, -turn] {
                scratch.turn(&field.shapes[field.pieces[index].shape], (angle + way).rem_euclid(360.0));
                let weight = field.weigh(index, trial.window, trial.at, scratch, trial.weight);
                if weight < trial.weight {
                    trial.weight = weight;
                    std::mem::swap(&mut trial.turned, scratch);
                }
            }
        } else {
            let from = trial.at;
            for way in [step, -step] {
                let at = from + AXES[axis] * way;
                let weight = field.weigh(index, trial.window, at, &mut trial.turned, trial.weight);
                if weight < trial.weight {
                    (trial.at, trial.weight) = (at, weight);
                }
            }
        }
        let factor = if trial.weight < before { STEP_GROWS } else { STEP_SHRINKS };
        let stepped = if axis == 4 { &mut turn } else { &mut step };
        *stepped *= factor;
    }
}
