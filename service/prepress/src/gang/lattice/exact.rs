//! Makes a sampled pattern exact: copies slide together until their outlines are a gutter apart, to a tick.

use super::super::body::Body;
use super::super::part::{on_tick, up};
use super::super::settle::{LEAST_GUTTER_MM, SLIDING_MM};
use super::rows::Rows;
use super::search::Outline;
use crate::geom::Vec2;

/// A pitch is at least this share of the sampled one. Only needles ask for less, and rows of theirs would have no end.
const LEAST_SHARE: f64 = 0.75;

/// The unturned copy and the turned one.
type Pair = [Body; 2];
/// A copy: which of the two, and where.
type Copy = (usize, Vec2);

/// Slides copies of one outline.
pub(super) struct Exact {
    bodies: Pair,
    need: f64,
    cell: f64,
}

impl Exact {
    /// For an outline at an angle; `cell` is how far off samples may be.
    pub(super) fn new(outline: &Outline<'_>, gutter: f64, stray: f64, angle_deg: f64, cell: f64) -> Exact {
        let need = gutter.max(LEAST_GUTTER_MM) + 2.0 * stray - SLIDING_MM;
        let bodies = [Body::new(outline.coarse, angle_deg), Body::new(outline.coarse, angle_deg + 180.0)];
        Exact { bodies, need, cell }
    }

    /// The pattern with exact distances; `None` where that fails, which is rare: the next pattern is as good.
    pub(super) fn rows(&self, rows: &Rows) -> Option<Rows> {
        let mut rows = *rows;
        let left = Vec2::new(-1.0, 0.0);
        let level = self.slide(&[(0, Vec2::ZERO)], &[(0, Vec2::new(rows.pitch, 0.0))], left)?;
        let mut pitch = up((rows.pitch + level).max(rows.pitch * LEAST_SHARE));
        let beside = rows.mate.filter(|mate| mate.x < rows.pitch && self.meets_level(mate.y));
        if let Some(mate) = beside {
            let down = on_tick(mate.y);
            let to = self.slide(&[(0, Vec2::ZERO)], &[(1, Vec2::new(mate.x, down))], left)?;
            let to = up(mate.x + to);
            let from = rows.pitch - mate.x;
            let from = up(from + self.slide(&[(1, Vec2::ZERO)], &[(0, Vec2::new(from, -down))], left)?);
            pitch = pitch.max(to + from);
            if rows.stretched {
                pitch = pitch.max(up(rows.pitch));
            }
            rows.mate = Some(Vec2::new(on_tick(to + (pitch - to - from) / 2.0), down));
        } else if rows.stretched {
            pitch = pitch.max(up(rows.pitch));
        }
        rows.pitch = on_tick(pitch);
        rows.shift = on_tick(rows.shift);
        if let (Some(mate), None) = (rows.mate, beside) {
            let at = Vec2::new(on_tick(mate.x), mate.y);
            let lower = self.slide(&[(0, Vec2::ZERO)], &self.row(&rows, 1, at), Vec2::new(0.0, -1.0))?;
            rows.mate = Some(Vec2::new(at.x, up(at.y + lower)));
        }
        self.risen(&rows)
    }

    fn risen(&self, rows: &Rows) -> Option<Rows> {
        let mut rows = *rows;
        let step = Vec2::new(rows.shift, rows.rise);
        let mut fixed = vec![(0, Vec2::ZERO)];
        let mut moving = self.row(&rows, 0, step);
        if let Some(mate) = rows.mate {
            fixed.push((1, mate));
            moving.extend(self.row(&rows, 1, step + mate));
        }
        let more = self.slide(&fixed, &moving, Vec2::new(0.0, -1.0))?;
        rows.rise = up(rows.rise + more);
        // Rows farther apart may stand nearer in deep bays: then a little more room, or another pattern.
        for _ in 0..12 {
            if self.holds(&rows) {
                return Some(rows);
            }
            rows.rise = up(rows.rise * 1.002);
        }
        None
    }

    /// Whether a turned copy stands level with its own at all.
    fn meets_level(&self, down: f64) -> bool {
        let [own, turned] = [self.bodies[0].bounds, self.bodies[1].bounds];
        turned.y0 + down < own.y1 + self.need && turned.y1 + down > own.y0 - self.need
    }

    /// Copies of a row that may come near anything within a copy's width of the pattern's origin.
    fn row(&self, rows: &Rows, kind: usize, at: Vec2) -> Vec<Copy> {
        let mate = rows.mate.map_or(0.0, |mate| mate.x.abs());
        let reach = self.bodies[0].bounds.width() + self.need + mate + self.cell * 40.0;
        let (first, last) =
            (((-reach - at.x) / rows.pitch).ceil() as i32, ((reach - at.x) / rows.pitch).floor() as i32);
        (first..=last).map(|index| (kind, at + Vec2::new(rows.pitch * f64::from(index), 0.0))).collect()
    }

    /// How far copies that move as one must go back (or may go on, negative) against a direction so that they are a gutter
    /// from fixed ones. They come from outside.
    fn slide(&self, fixed: &[Copy], moving: &[Copy], direction: Vec2) -> Option<f64> {
        let mut margin = self.cell * 2.0;
        for _ in 0..4 {
            let away = direction * -margin;
            let mut way = 2.5 * margin;
            let mut apart = true;
            for (kind, at) in moving {
                for (other, fixed) in fixed {
                    let (body, other, offset) = (&self.bodies[*kind], &self.bodies[*other], *fixed - *at - away);
                    if body.clearance(other, offset, self.need) < self.need {
                        apart = false;
                    } else if apart {
                        way = way.min(body.travel(other, offset, direction, self.need, way));
                    }
                }
            }
            if apart {
                return Some(margin - way);
            }
            margin *= 4.0;
        }
        None
    }

    /// Whether all copies near the pattern's origin keep their distance.
    fn holds(&self, rows: &Rows) -> bool {
        let bounds = self.bodies[0].bounds;
        let deep = bounds.height() + self.need + rows.mate.map_or(0.0, |mate| mate.y.abs());
        let fixed: Vec<Copy> = [Some(Vec2::ZERO), rows.mate].into_iter().flatten().enumerate().collect();
        for row in 0..=(deep / rows.rise).ceil() as i32 {
            let step = Vec2::new(rows.shift, rows.rise) * f64::from(row);
            let step = Vec2::new(step.x % rows.pitch, step.y);
            for (kind, at) in fixed.iter().flat_map(|(kind, at)| self.row(rows, *kind, *at + step)) {
                for (own, own_at) in &fixed {
                    let same = *own == kind && (*own_at - at).hypot() < 1e-9;
                    let gap = || self.bodies[*own].clearance(&self.bodies[kind], at - *own_at, self.need);
                    if !same && gap() < self.need - 1e-9 {
                        return false;
                    }
                }
            }
        }
        true
    }
}
