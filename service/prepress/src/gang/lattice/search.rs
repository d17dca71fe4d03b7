//! Looks for the best pattern of rows of one outline: over angles, over where the turned copy stands, over shifts from row to
//! row. What decides is how many copies a window really holds, or how short a window may be for so many.
//!
//! Double lattices, with each second copy turned by half a turn, are the densest known packings of many shapes (G. Kuperberg,
//! W. Kuperberg, *Double-lattice packings of convex bodies in the plane*, 1990). The search is a fan of samples refined near
//! the best ones: common practice, no source.

use rayon::prelude::*;

use super::super::part::{smallest_box_angle, turned_bounds};
use super::profile::Facet;
use super::rows::{Boxes, Rows};
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::{Rect, Ring, Vec2};
use crate::order::Rotate;

/// Angles of the fan over half a turn: a pattern and its half-turned self are one.
const FAN: u32 = 36;
/// Cells along the longest side for the fan, and for each round of refining.
const FAN_CELLS: f64 = 96.0;
const FINE_CELLS: [f64; 4] = [128.0, 160.0, 224.0, 320.0];
/// Steps of the angle for each round of refining, degrees.
const FINE_STEPS_DEG: [f64; 4] = [2.5, 1.2, 0.6, 0.3];
/// Shifts tried for each pair of rows.
const SHIFTS: u32 = 36;
/// Where the turned copy may stand beside its own: tried at each so many cells.
const MATE_STEP: usize = 4;
/// Patterns of an angle that are looked at closer.
const CLOSER: usize = 5;
/// Patterns whose angle is refined.
const REFINED: usize = 4;
/// Patterns that are given back, best first.
const GIVEN: usize = 10;
/// A pattern whose copies take more area than the best's by this factor is not counted out.
const HOPELESS: f64 = 1.25;
/// Longest window in which patterns are compared, in longest sides of the outline: beyond, density decides.
const LONGEST: f64 = 24.0;
/// Rows whose phases are tried while patterns are compared.
const PHASES: u32 = 2;
/// Patterns of an angle whose pitch is stretched.
const STRETCHED: usize = 3;
/// Widest stretching of a pitch.
const MOST_STRETCH: f64 = 1.3;

/// What a pattern is wanted for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Goal {
    /// As many copies in the window as may be.
    Most,
    /// So many copies in as short a window as may be.
    Shortest(u32),
}

/// A window across and along the feed, and what it is for.
#[derive(Clone, Copy, Debug)]
pub(super) struct Aim {
    /// Across the feed.
    pub(super) width: f64,
    /// Along the feed.
    pub(super) length: f64,
    /// What for.
    pub(super) goal: Goal,
}

/// One outline and how it may stand.
pub(super) struct Outline<'a> {
    /// True outlines.
    pub(super) rings: &'a [Ring],
    /// Outlines of few corners.
    pub(super) coarse: &'a [Ring],
    /// What those are grown by: half the gutter, and how far the true ones may stray.
    pub(super) growth: f64,
    /// Bleed.
    pub(super) reach: f64,
    /// How it may be turned.
    pub(super) rotate: Rotate,
    /// Angle from the sheet's frame to the feed frame.
    pub(super) feed_turn_deg: f64,
    /// The caller's flag.
    pub(super) cancel: &'a Cancel,
}

/// A pattern with how good it is: less is better.
#[derive(Clone, Copy, Debug)]
struct Scored {
    score: (f64, f64),
    rows: Rows,
    /// The turned copy's place in cells of the facet, where it stands beside its own.
    beside: Option<f64>,
}

fn better(a: &Scored, b: &Scored) -> std::cmp::Ordering {
    a.score.0.total_cmp(&b.score.0).then(a.score.1.total_cmp(&b.score.1))
}

impl Aim {
    /// The window in the frame of rows across or along the feed.
    pub(super) fn turned(&self, along: bool) -> (f64, f64) {
        if along { (self.length, self.width) } else { (self.width, self.length) }
    }

    /// The most copies of a pattern, and its origin for them.
    pub(super) fn most(&self, rows: &Rows, boxes: &Boxes, phases: u32) -> (u32, Vec2) {
        rows.most(boxes, self.turned(rows.along), phases, u32::MAX)
    }

    /// The least length of this window for so many copies of a pattern, by so many halvings, over the phases of so many
    /// rows; infinite when they do not fit.
    ///
    /// # Errors
    /// `run.cancelled`.
    pub(super) fn length_for(
        &self,
        rows: &Rows,
        boxes: &Boxes,
        copies: u32,
        (steps, phases): (u32, u32),
        cancel: &Cancel,
    ) -> Result<f64, Fault> {
        let window = |length: f64| Aim { length, ..*self }.turned(rows.along);
        let holds = |length: f64| rows.most(boxes, window(length), phases, copies).0 >= copies;
        if !holds(self.length) {
            return Ok(f64::INFINITY);
        }
        let (mut short, mut enough) = (0.0, self.length);
        for _ in 0..steps {
            cancel.check()?;
            let middle = (short + enough) / 2.0;
            if holds(middle) { enough = middle } else { short = middle }
        }
        Ok(enough)
    }
}

impl Outline<'_> {
    /// Longest side of the outline with its growth.
    pub(super) fn longest(&self) -> f64 {
        let bounds = turned_bounds(self.coarse, 0.0);
        bounds.width().hypot(bounds.height()) + 2.0 * self.growth
    }

    /// Where copies stand about their origins at an angle of the rows' frame, bleed included.
    pub(super) fn boxes(&self, angle_deg: f64) -> Boxes {
        let bounds = turned_bounds(self.rings, angle_deg).inflate(self.reach, self.reach);
        [bounds, Rect::new(-bounds.x1, -bounds.y1, -bounds.x0, -bounds.y0)]
    }

    /// Angles of the rows' frame, for rows across the feed and for rows along it.
    fn fan(&self) -> [Vec<f64>; 2] {
        let turn = self.feed_turn_deg;
        match self.rotate {
            Rotate::None | Rotate::HalfTurns => [vec![turn.rem_euclid(360.0)], vec![(turn - 90.0).rem_euclid(360.0)]],
            Rotate::QuarterTurns => [vec![0.0, 90.0], vec![0.0, 90.0]],
            Rotate::Free => {
                let square = smallest_box_angle(self.coarse);
                let mut all: Vec<f64> = (0..FAN).map(|step| f64::from(step) * 180.0 / f64::from(FAN)).collect();
                all.extend([square, square + 90.0].map(|angle| angle.rem_euclid(180.0)));
                all.sort_by(f64::total_cmp);
                all.dedup_by(|a, b| (*a - *b).abs() < 0.05);
                [all.clone(), all]
            }
        }
    }

    /// The best patterns for an aim, best first, not yet exact.
    ///
    /// # Errors
    /// `run.cancelled`.
    pub(super) fn patterns(&self, aim: Aim) -> Result<Vec<Rows>, Fault> {
        let [across, along] = self.fan();
        let mut angles: Vec<f64> = across.iter().chain(&along).copied().collect();
        angles.sort_by(f64::total_cmp);
        angles.dedup();
        let longest = self.longest();
        let made: Vec<Result<Vec<Scored>, Fault>> = angles
            .par_iter()
            .map(|angle| {
                self.cancel.check()?;
                let facet = Facet::new(self.coarse, *angle, self.growth, longest / FAN_CELLS);
                let ways = [across.contains(angle), along.contains(angle)];
                self.at_angle(&facet, ways, aim, None)
            })
            .collect();
        let mut all = Vec::new();
        for made in made {
            all.extend(made?);
        }
        all.sort_by(better);
        if self.rotate == Rotate::Free {
            let refined: Vec<Result<Vec<Scored>, Fault>> =
                seeds(&all).par_iter().map(|seed| self.refined(*seed, aim)).collect();
            for refined in refined {
                all.extend(refined?);
            }
            all.sort_by(better);
        }
        all.dedup_by(|a, b| a.rows == b.rows);
        Ok(all.into_iter().take(GIVEN).map(|scored| scored.rows).collect())
    }

    /// Turns a pattern to and fro by ever smaller steps, on ever finer cells.
    fn refined(&self, seed: Scored, aim: Aim) -> Result<Vec<Scored>, Fault> {
        let mut found = Vec::new();
        let (mut best, mut cells) = (seed, FAN_CELLS);
        for (step, fine) in FINE_STEPS_DEG.into_iter().zip(FINE_CELLS) {
            let around = best.beside.map(|beside| (beside / cells * fine, 3.0 * fine / cells * MATE_STEP as f64 / 2.0));
            cells = fine;
            let mut round = Vec::new();
            for angle in [best.rows.angle_deg, best.rows.angle_deg - step, best.rows.angle_deg + step] {
                self.cancel.check()?;
                let facet = Facet::new(self.coarse, angle.rem_euclid(360.0), self.growth, self.longest() / fine);
                round.extend(self.at_angle(&facet, [!best.rows.along, best.rows.along], aim, around)?);
            }
            round.sort_by(better);
            if let Some(first) = round.first() {
                best = *first;
            }
            found.extend(round.into_iter().take(CLOSER));
        }
        Ok(found)
    }

    /// Patterns at one angle. `around` keeps the turned copy near a place: middle and width in cells.
    fn at_angle(
        &self,
        facet: &Facet,
        ways: [bool; 2],
        aim: Aim,
        around: Option<(f64, f64)>,
    ) -> Result<Vec<Scored>, Fault> {
        let boxes = self.boxes(facet.angle_deg);
        let mut plain = vec![(single(facet, facet.pitch), None)];
        if self.rotate != Rotate::None {
            plain.push((alternating(facet, facet.pitch), None));
            plain.extend(places_beside(facet, around).map(|cell| (beside(facet, cell, 0.0), Some(f64::from(cell)))));
        }
        plain.sort_by(|a, b| a.0.area_per_copy().total_cmp(&b.0.area_per_copy()));
        let best = plain.first().map_or(0.0, |first| first.0.area_per_copy());
        plain.truncate(CLOSER);
        let mut scored = Vec::new();
        for along in [false, true].into_iter().filter(|along| ways[usize::from(*along)]) {
            for (place, (rows, cell)) in plain.iter().enumerate() {
                let rows = Rows { along, ..*rows };
                let mut all = vec![rows];
                if place < STRETCHED {
                    all.extend(self.stretched(facet, rows, *cell, &boxes, aim));
                }
                for rows in all.into_iter().filter(|rows| rows.area_per_copy() < best * HOPELESS) {
                    let score = self.score(&rows, &boxes, aim, facet.cell)?;
                    scored.push(Scored { score, rows, beside: *cell });
                }
            }
        }
        scored.sort_by(better);
        scored.truncate(CLOSER * 2);
        Ok(scored)
    }

    /// The same rows with wider pitches that use up the window's width, which lets the rows stand closer.
    fn stretched(&self, facet: &Facet, rows: Rows, cell: Option<f64>, boxes: &Boxes, aim: Aim) -> Vec<Rows> {
        let (width, _) = aim.turned(rows.along);
        let mate = rows.mate.filter(|_| cell.is_some()).map_or(0.0, |mate| mate.x);
        let spare = width - boxes[0].width();
        let mut found = Vec::new();
        for (room, part) in [(spare, 0.0), (spare, 0.5), (spare - mate, 0.0), (spare - mate, 0.5)] {
            let gaps = (room / rows.pitch - part).floor();
            if gaps < 1.0 || (mate <= 0.0 && room < spare) {
                continue;
            }
            let pitch = room / (gaps + part);
            if pitch > rows.pitch * MOST_STRETCH || pitch < rows.pitch + 1e-6 {
                continue;
            }
            let wider = match (rows.mate, cell) {
                (None, _) => single(facet, pitch),
                (Some(_), None) => alternating(facet, pitch),
                (Some(_), Some(cell)) => beside(facet, cell as i32, pitch),
            };
            found.push(Rows { along: rows.along, stretched: true, ..wider });
        }
        found
    }

    fn score(&self, rows: &Rows, boxes: &Boxes, aim: Aim, cell: f64) -> Result<(f64, f64), Fault> {
        self.cancel.check()?;
        // Samples may be off by a part of a cell: a copy that nearly fits is looked at.
        let aim = Aim { width: aim.width + cell * 0.3, length: aim.length + cell * 0.3, ..aim };
        let area = rows.area_per_copy();
        match aim.goal {
            Goal::Most => {
                let aim = Aim { length: aim.length.min(LONGEST * self.longest()), ..aim };
                Ok((-f64::from(aim.most(rows, boxes, PHASES).0), area))
            }
            Goal::Shortest(copies) => {
                let likely = area * f64::from(copies) / aim.width * 1.5 + 3.0 * self.longest();
                let near = Aim { length: aim.length.min(likely), ..aim };
                let length = near.length_for(rows, boxes, copies, (8, PHASES), self.cancel)?;
                let found = length.is_finite();
                Ok((if found { length } else { aim.length_for(rows, boxes, copies, (10, PHASES), self.cancel)? }, area))
            }
        }
    }
}

/// The best patterns of different kinds and angles.
fn seeds(all: &[Scored]) -> Vec<Scored> {
    let mut seeds: Vec<Scored> = Vec::new();
    let mut by_area = all.to_vec();
    by_area.sort_by(|a, b| a.score.1.total_cmp(&b.score.1));
    for (list, most) in [(all, REFINED), (by_area.as_slice(), REFINED + 1)] {
        for scored in list {
            let alike = |seed: &Scored| {
                seed.rows.along == scored.rows.along && (seed.rows.angle_deg - scored.rows.angle_deg).abs() < 4.0
            };
            if seeds.len() >= most {
                break;
            }
            if !seeds.iter().any(alike) {
                seeds.push(*scored);
            }
        }
    }
    seeds
}

fn rows_of(facet: &Facet, pitch: f64, shift: f64, rise: f64, mate: Option<Vec2>) -> Rows {
    Rows { angle_deg: facet.angle_deg, along: false, pitch, shift, rise, mate, stretched: false }
}

/// Rows of unturned copies.
fn single(facet: &Facet, pitch: f64) -> Rows {
    let (shift, rise) = lowest(facet, pitch, |shift| facet.rise(shift, pitch, None));
    let rise = clear_of_all(facet, pitch, shift, rise, None);
    rows_of(facet, pitch, shift, rise, None)
}

/// Rows of unturned and rows of turned copies by turns.
fn alternating(facet: &Facet, pitch: f64) -> Rows {
    let (across, down) = lowest(facet, pitch, |shift| facet.rise_to_turned(shift, pitch));
    let (back, more) = lowest(facet, pitch, |shift| facet.rise_from_turned(shift, pitch));
    let (shift, mate) = ((across + back) % pitch, Vec2::new(across, down));
    let rise = clear_of_all(facet, pitch, shift, down + more, Some((across, down)));
    rows_of(facet, pitch, shift, rise, Some(mate))
}

/// Rows in which turned and unturned copies stand beside one another by turns, the turned ones so many cells lower.
fn beside(facet: &Facet, cell: i32, least_pitch: f64) -> Rows {
    let (to, from) = (facet.right_pq.at(cell), facet.right_qp.at(cell));
    let pitch = (to + from).max(facet.pitch).max(least_pitch);
    let mate = (to + (pitch - to - from) / 2.0, f64::from(cell) * facet.cell);
    let (shift, rise) = lowest(facet, pitch, |shift| facet.rise(shift, pitch, Some(mate)));
    let rise = clear_of_all(facet, pitch, shift, rise, Some(mate));
    rows_of(facet, pitch, shift, rise, Some(Vec2::new(mate.0, mate.1)))
}

/// Cells by which the turned copy may stand lower.
fn places_beside(facet: &Facet, around: Option<(f64, f64)>) -> impl Iterator<Item = i32> + '_ {
    let span = |curve: &super::profile::Curve| curve.span();
    let (a, b) = (span(&facet.right_pq), span(&facet.right_qp));
    let (mut low, mut high) = (a.0.max(b.0), a.1.min(b.1));
    let step = if around.is_some() { 1 } else { MATE_STEP };
    if let Some((middle, wide)) = around {
        low = low.max((middle - wide).floor() as i32);
        high = high.min((middle + wide).ceil() as i32);
    }
    (low..=high).step_by(step).filter(|cell| (facet.right_pq.at(*cell) + facet.right_qp.at(*cell)).is_finite())
}

/// The shift with the least rise.
fn lowest(facet: &Facet, pitch: f64, rise: impl Fn(f64) -> f64) -> (f64, f64) {
    let mut best = (0.0, f64::INFINITY);
    let mut look = |shift: f64| {
        let rise = rise(shift);
        if rise < best.1 - 1e-9 {
            best = (shift, rise);
        }
        best.0
    };
    for step in 0..SHIFTS {
        look(pitch * f64::from(step) / f64::from(SHIFTS));
    }
    let mut width = pitch / f64::from(SHIFTS) / 2.0;
    while width > facet.cell / 8.0 {
        let middle = look(0.0);
        look(middle - width);
        look(middle + width);
        width /= 2.0;
    }
    (best.0, best.1)
}

/// Raises the rise until rows farther apart are clear too.
fn clear_of_all(facet: &Facet, pitch: f64, shift: f64, rise: f64, mate: Option<(f64, f64)>) -> f64 {
    let mut rise = rise.max(facet.deepest / 64.0);
    let deepest = facet.deepest + mate.map_or(0.0, |mate| mate.1.abs());
    let mut rows = 2.0;
    while rows * rise < deepest {
        rise = rise.max(facet.rise(shift * rows, pitch, mate) / rows);
        rows += 1.0;
    }
    rise
}
