//! Copies of one outline alone: in rows of the best periodic pattern, in blocks of boxes, in rows of discs. Whole windows are
//! filled with as many as they hold; the last is as short as it may be.
//!
//! Everything is placed exactly, on outlines grown by how much simplifying may have taken off.

mod boxes;
mod exact;
mod profile;
mod rows;
mod search;

use std::collections::BTreeMap;

use self::boxes::Packing;
use self::exact::Exact;
use self::rows::{Boxes, Rows};
use self::search::{Aim, Goal, Outline};
use super::body::Body;
use super::feed::Section;
use super::fill::Spot;
use super::part::{Part, Scale, at_tick, down, on_tick, smallest_box_angle, turned_bounds, up};
use super::settle::LEAST_GUTTER_MM;
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::{Point, Rect, Ring, Vec2};
use crate::order::Rotate;

/// How far an outline may be off a circle and still be packed as one, mm: what flattening curves leaves.
const ROUND_MM: f64 = 0.005;
/// Samples of a pattern may be off by so much of the longest side before slides make it exact.
const SAMPLE_SHARE: f64 = 1.0 / 96.0;
/// Rows whose phases are tried for the patterns that were found.
const PHASES: u32 = 10;
/// Halvings of the search for the least length.
const HALVINGS: u32 = 34;

/// Patterns of one part, those for whole windows made once for each window.
pub(super) struct Lattice<'a> {
    part: usize,
    parts: &'a [Part],
    rotate: Rotate,
    scale: Scale,
    cancel: &'a Cancel,
}

/// A way to fill a window.
enum Way {
    Rows(Rows),
    Boxes(f64),
}

impl<'a> Lattice<'a> {
    /// For one part of many.
    pub(super) fn new(parts: &'a [Part], part: usize, rotate: Rotate, scale: Scale, cancel: &'a Cancel) -> Lattice<'a> {
        Lattice { part, parts, rotate, scale, cancel }
    }

    fn own(&self) -> &'a Part {
        &self.parts[self.part]
    }

    /// As many copies as a section holds.
    ///
    /// # Errors
    /// `run.cancelled`.
    pub(super) fn most(&self, section: &Section) -> Result<Vec<Spot>, Fault> {
        let mut best: Vec<Spot> = Vec::new();
        for spots in self.fillings(section, Goal::Most)? {
            let shorter = || self.used(&spots) < self.used(&best) - 1e-9;
            if spots.len() > best.len() || (spots.len() == best.len() && shorter()) {
                best = spots;
            }
        }
        Ok(best)
    }

    /// So many copies in as short a part of the section as may be; fewer where they do not fit.
    ///
    /// # Errors
    /// `run.cancelled`.
    pub(super) fn shortest(&self, section: &Section, copies: u32) -> Result<Vec<Spot>, Fault> {
        let mut best: Option<(usize, f64, Vec<Spot>)> = None;
        for mut spots in self.fillings(section, Goal::Shortest(copies))? {
            self.nearest(&mut spots, copies);
            let (short, length) = (copies as usize - spots.len(), self.used(&spots));
            if best.as_ref().is_none_or(|best| (short, length) < (best.0, best.1 - 1e-9)) {
                best = Some((short, length, spots));
            }
        }
        Ok(best.map(|best| best.2).unwrap_or_default())
    }

    /// How far from the feed edge each copy ends.
    fn far_ends(&self, spots: &[Spot]) -> Vec<f64> {
        let mut far: BTreeMap<u64, f64> = BTreeMap::new();
        let end = |spot: &Spot| {
            let own = || turned_bounds(&self.own().rings, spot.angle_deg).y1;
            spot.at.y + *far.entry(spot.angle_deg.to_bits()).or_insert_with(own)
        };
        spots.iter().map(end).collect()
    }

    /// From the feed edge to the farthest outline.
    pub(super) fn used(&self, spots: &[Spot]) -> f64 {
        self.far_ends(spots).into_iter().fold(0.0, f64::max)
    }

    /// Keeps the copies nearest to the feed edge.
    pub(super) fn nearest(&self, spots: &mut Vec<Spot>, copies: u32) {
        let mut keyed: Vec<(f64, Spot)> = self.far_ends(spots).into_iter().zip(spots.iter().copied()).collect();
        keyed.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.at.x.total_cmp(&b.1.at.x)));
        *spots = keyed.into_iter().take(copies as usize).map(|entry| entry.1).collect();
    }

    fn fillings(&self, section: &Section, goal: Goal) -> Result<Vec<Vec<Spot>>, Fault> {
        let aim = Aim { width: section.width, length: section.length, goal };
        let part = self.own();
        let outline = Outline {
            rings: &part.rings,
            coarse: &part.coarse,
            growth: self.scale.gutter.max(LEAST_GUTTER_MM) / 2.0 + part.stray,
            reach: part.reach,
            rotate: self.rotate,
            feed_turn_deg: self.scale.feed_turn_deg,
            cancel: self.cancel,
        };
        let mut made = Vec::new();
        let mut exact: BTreeMap<u64, Exact> = BTreeMap::new();
        let cell = outline.longest() * SAMPLE_SHARE;
        for rows in outline.patterns(aim)? {
            self.cancel.check()?;
            let slides = exact
                .entry(rows.angle_deg.to_bits())
                .or_insert_with(|| Exact::new(&outline, self.scale.gutter, part.stray, rows.angle_deg, cell));
            made.extend(slides.rows(&rows).map(Way::Rows));
        }
        made.extend(self.discs(aim).into_iter().map(Way::Rows));
        made.extend(self.box_angles().into_iter().map(Way::Boxes));
        let mut fillings = Vec::new();
        for way in &made {
            self.cancel.check()?;
            fillings.push(self.filling(way, &outline, section, aim)?);
        }
        Ok(fillings)
    }

    /// Copies of one way in a section, free zones left out.
    fn filling(&self, way: &Way, outline: &Outline<'_>, section: &Section, aim: Aim) -> Result<Vec<Spot>, Fault> {
        let mut spots = match way {
            Way::Rows(rows) => self.in_rows(rows, &outline.boxes(rows.angle_deg), aim)?,
            Way::Boxes(angle) => self.in_boxes(*angle, aim)?,
        };
        if !section.obstacles.is_empty() {
            self.leave_free(&mut spots, section);
        }
        Ok(spots)
    }

    fn in_rows(&self, rows: &Rows, boxes: &Boxes, aim: Aim) -> Result<Vec<Spot>, Fault> {
        let aim = match aim.goal {
            Goal::Most => aim,
            Goal::Shortest(copies) => {
                let length = aim.length_for(rows, boxes, copies, (HALVINGS, PHASES), self.cancel)?;
                Aim { length: length.min(aim.length), ..aim }
            }
        };
        let (width, length) = aim.turned(rows.along);
        let (_, origin) = rows.most(boxes, (width, length), PHASES, u32::MAX);
        let angle = |kind: usize, more: f64| {
            let angle = rows.angle_deg + 180.0 * kind as f64 + more;
            on_tick(angle).rem_euclid(360.0)
        };
        let spot = |(kind, at): (usize, Vec2)| {
            if rows.along {
                // A quarter turn: what was along x runs along the feed, from its edge on.
                let at = Vec2::new(on_tick(down(aim.width) - at.y), at.x);
                Spot { part: self.part, angle_deg: angle(kind, 90.0), at }
            } else {
                Spot { part: self.part, angle_deg: angle(kind, 0.0), at }
            }
        };
        Ok(rows.copies(boxes, width, length, origin).into_iter().map(spot).collect())
    }

    /// Angles of the sheet's frame turned into the feed frame at which boxes are packed.
    fn box_angles(&self) -> Vec<f64> {
        let turn = self.scale.feed_turn_deg;
        match self.rotate {
            Rotate::None | Rotate::HalfTurns | Rotate::QuarterTurns => vec![turn.rem_euclid(360.0)],
            Rotate::Free => {
                let square = on_tick(smallest_box_angle(&self.own().rings)).rem_euclid(90.0);
                if square.min(90.0 - square) < 1e-4 { vec![0.0] } else { vec![0.0, square] }
            }
        }
    }

    fn in_boxes(&self, angle_deg: f64, aim: Aim) -> Result<Vec<Spot>, Fault> {
        let part = self.own();
        let bounds = [angle_deg, angle_deg + 90.0].map(|angle| turned_bounds(&part.rings, angle));
        let gutter = self.scale.gutter;
        // Origins stand on ticks, so boxes a part of one beyond their places: the larger part is added to the sides.
        let origin = bounds.map(|bounds| Vec2::new(up(part.reach - bounds.x0), up(part.reach - bounds.y0)));
        let [own, turned] = [0, 1].map(|way: usize| {
            let (bounds, origin) = (bounds[way], origin[way]);
            Vec2::new(origin.x + bounds.x1 - part.reach, origin.y + bounds.y1 - part.reach)
        });
        let sides = (up(own.x.max(turned.y) + gutter), up(own.y.max(turned.x) + gutter));
        let room = |side: f64| down(side - 2.0 * part.reach + gutter);
        let packing = |length: f64| Packing {
            sides,
            window: (room(aim.width), room(length)),
            turns: matches!(self.rotate, Rotate::QuarterTurns | Rotate::Free),
        };
        let mut length = aim.length;
        if let Goal::Shortest(copies) = aim.goal {
            let mut short = 0.0;
            if packing(length).count() >= u64::from(copies) {
                while length - short > 0.01 {
                    self.cancel.check()?;
                    let middle = (short + length) / 2.0;
                    if packing(middle).count() >= u64::from(copies) { length = middle } else { short = middle }
                }
            }
        }
        let spot = |(x, y, turned): (f64, f64, bool)| {
            let at = Vec2::new(x, y) + origin[usize::from(turned)];
            let angle_deg = on_tick(angle_deg + if turned { 90.0 } else { 0.0 }).rem_euclid(360.0);
            Spot { part: self.part, angle_deg, at: at_tick(at) }
        };
        Ok(packing(length).boxes().into_iter().map(spot).collect())
    }

    /// Rows of discs: square and hexagonal, across and along, and hexagonal with the rows' slack used up so that they stand
    /// closer. Rows of pitch p of discs of diameter d (gutter included) stand sqrt(d² - p²/4) apart, but at least d/2, where
    /// each second row stands on the other (elementary).
    fn discs(&self, aim: Aim) -> Vec<Rows> {
        let Some(diameter) = diameter(&self.own().rings) else { return Vec::new() };
        let pitch = up(diameter + self.scale.gutter.max(LEAST_GUTTER_MM));
        let turn = self.scale.feed_turn_deg;
        let mut all = Vec::new();
        for along in [false, true] {
            let angle_deg = (turn - if along { 90.0 } else { 0.0 }).rem_euclid(360.0);
            let square = Rows { angle_deg, along, pitch, shift: 0.0, rise: pitch, mate: None, stretched: false };
            all.push(square);
            let spare = aim.turned(along).0 - diameter - 2.0 * self.own().reach;
            let mut pitches = vec![pitch];
            for part in [0.0, 0.5] {
                let gaps = ((spare + 1e-9) / pitch - part).floor();
                if gaps >= 1.0 {
                    pitches.push(down(spare / (gaps + part)).max(pitch));
                }
            }
            for wide in pitches {
                let shift = up(wide / 2.0);
                // The shift may be half a tick off the middle.
                let nearer = shift.min(wide - shift);
                let rise = up((pitch * pitch - nearer * nearer).max(0.0).sqrt().max(pitch / 2.0));
                all.push(Rows { pitch: wide, shift, rise, ..square });
            }
        }
        all
    }

    /// Takes out copies that reach into free zones.
    fn leave_free(&self, spots: &mut Vec<Spot>, section: &Section) {
        let part = self.own();
        let mut bodies: BTreeMap<u64, Body> = BTreeMap::new();
        spots.retain(|spot| {
            let body = bodies.entry(spot.angle_deg.to_bits()).or_insert_with(|| Body::new(&part.rings, spot.angle_deg));
            section.obstacles.iter().all(|obstacle| {
                let need = obstacle.radius + part.reach;
                body.clearance(&obstacle.body, -spot.at, need + 1.0) >= need.max(1e-6)
            })
        });
    }
}

/// The diameter of the circle that an outline is, when it is one.
fn diameter(rings: &[Ring]) -> Option<f64> {
    let [ring] = rings else { return None };
    let bounds: Rect = ring.bounds();
    let (centre, radius) = (bounds.center(), bounds.width().max(bounds.height()) / 2.0);
    let round = |point: Point| ((point - centre).hypot() - radius).abs() <= ROUND_MM;
    let all = ring.points().len() >= 8 && ring.edges().all(|(a, b)| round(a) && round(a.midpoint(b)));
    // Origins may lie off the centre: rows keep distances between origins, which are those between centres at one angle.
    let reach = ring.points().iter().map(|point| (*point - centre).hypot()).fold(0.0, f64::max);
    all.then_some(2.0 * reach)
}
