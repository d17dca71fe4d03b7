//! Whether a part fits an empty container at all, exactly; if not, by how much.

use super::FaultTooLarge;
use super::body::Body;
use super::feed::{Feed, Section, sections};
use super::fill::Spot;
use super::gate::TOLERANCE_MM;
use super::part::{angles, smallest_box_angle, turned_bounds};
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::frame::Frame;
use crate::geom::{Affine, Ring, Vec2};
use crate::order::{Rotate, Stock};
use crate::units::Mm;

/// Step of the search over angles; between steps the width of a piece changes by under 1 % of it, and the angles that lay an
/// edge of the hull square, where least widths are, are tried exactly.
const ANGLE_STEPS: u32 = 720;
/// Places tried along each side when free zones are in the way.
const PLACES: u32 = 24;
/// Halvings of the search for the size that fits.
const HALVINGS: u32 = 20;
/// Least distance to a free zone, mm: less counts as meeting it.
const LEAST_GAP_MM: f64 = 1e-6;

/// A piece to fit, in the sheet's frame.
pub(super) struct Candidate<'a> {
    /// True outermost lines.
    pub(super) rings: &'a [Ring],
    /// Bleed.
    pub(super) reach: f64,
    /// How it may be turned.
    pub(super) rotate: Rotate,
    /// Index of the part.
    pub(super) part: usize,
    /// The caller's flag.
    pub(super) cancel: &'a Cancel,
}

/// See [`super::too_large`].
pub(super) fn too_large(
    frame: &Frame,
    stock: &Stock,
    rotate: Rotate,
    outermost: &[Ring],
    reach: Mm,
) -> Option<FaultTooLarge> {
    let feed = Feed::new(frame.window, stock.feed_edge);
    let sections = sections(frame, feed, stock.gutter.mm());
    let candidate = Candidate { rings: outermost, reach: reach.mm(), rotate, part: 0, cancel: &Cancel::new() };
    candidate.excess(&sections, feed.turn_deg).expect("nobody else has the flag")
}

impl Candidate<'_> {
    /// A place in an empty section, when there is one.
    ///
    /// # Errors
    /// `run.cancelled`.
    pub(super) fn spot(&self, section: &Section, feed_turn_deg: f64) -> Result<Option<Spot>, Fault> {
        for angle in self.all_angles() {
            let spot = self.spot_at(section, self.rings, angle + feed_turn_deg)?;
            if spot.is_some() {
                return Ok(spot);
            }
        }
        Ok(None)
    }

    /// By how much the piece is too large, when it fits none of the sections.
    fn excess(&self, sections: &[Section], feed_turn_deg: f64) -> Result<Option<FaultTooLarge>, Fault> {
        for section in sections {
            if self.spot(section, feed_turn_deg)?.is_some() {
                return Ok(None);
            }
        }
        self.too_large(sections, feed_turn_deg).map(Some)
    }

    /// By how much the piece is too large for all of the sections.
    ///
    /// # Errors
    /// `run.cancelled`.
    pub(super) fn too_large(&self, sections: &[Section], feed_turn_deg: f64) -> Result<FaultTooLarge, Fault> {
        let mut best = FaultTooLarge { measured: Mm::ZERO, limit: Mm::ZERO, shrink: 0.0 };
        for section in sections {
            for angle in self.all_angles() {
                self.cancel.check()?;
                let bounds = turned_bounds(self.rings, angle + feed_turn_deg);
                let sides = [(bounds.width(), section.width), (bounds.height(), section.length)];
                let factor = |(side, room): &(f64, f64)| (room - 2.0 * self.reach).max(0.0) / side.max(1e-9);
                let tight = if factor(&sides[0]) <= factor(&sides[1]) { sides[0] } else { sides[1] };
                let shrink = factor(&tight);
                if shrink > best.shrink || best.measured == Mm::ZERO {
                    let measured = Mm::of(tight.0 + 2.0 * self.reach);
                    best = FaultTooLarge { measured, limit: Mm::of(tight.1), shrink };
                }
            }
        }
        if best.shrink >= 1.0 - 1e-9 { self.blocked(sections, feed_turn_deg, best) } else { Ok(best) }
    }

    /// The box would fit but free zones are in the way: the largest size that fits by halving.
    fn blocked(&self, sections: &[Section], feed_turn_deg: f64, sides: FaultTooLarge) -> Result<FaultTooLarge, Fault> {
        let (mut fits, mut fails) = (0.0, 1.0);
        let all = self.all_angles();
        let few: Vec<f64> = all.iter().step_by((all.len() / 24).max(1)).copied().collect();
        for _ in 0..HALVINGS {
            let scale = (fits + fails) / 2.0;
            let smaller: Vec<Ring> = self.rings.iter().map(|ring| ring.transformed(Affine::scale(scale))).collect();
            let mut stands = false;
            for (section, angle) in sections.iter().flat_map(|section| few.iter().map(move |angle| (section, angle))) {
                stands = stands || self.spot_at(section, &smaller, angle + feed_turn_deg)?.is_some();
            }
            (fits, fails) = if stands { (scale, fails) } else { (fits, scale) };
        }
        let limit = (sides.measured.mm() - 2.0 * self.reach) * fits + 2.0 * self.reach;
        Ok(FaultTooLarge { measured: sides.measured, limit: Mm::of(limit), shrink: fits })
    }

    fn all_angles(&self) -> Vec<f64> {
        let mut all = angles(self.rings, self.rotate, ANGLE_STEPS);
        if self.rotate == Rotate::Free {
            let hull = Ring::hull_of(self.rings);
            all.push(smallest_box_angle(self.rings));
            for (a, b) in hull.edges().take(500) {
                let square = -(b - a).atan2().to_degrees();
                all.extend([square, square + 90.0, square + 180.0, square + 270.0]);
            }
        }
        all
    }

    fn spot_at(&self, section: &Section, rings: &[Ring], angle: f64) -> Result<Option<Spot>, Fault> {
        self.cancel.check()?;
        let angle_deg = ((angle * 1e6).round() / 1e6).rem_euclid(360.0);
        let bounds = turned_bounds(rings, angle_deg).inflate(self.reach, self.reach);
        let (spare_x, spare_y) = (section.width - bounds.width(), section.length - bounds.height());
        if spare_x < -TOLERANCE_MM / 2.0 || spare_y < -TOLERANCE_MM / 2.0 {
            return Ok(None);
        }
        let body = Body::new(rings, angle_deg);
        let steps = |spare: f64| if spare < 1e-3 || section.obstacles.is_empty() { 1 } else { PLACES };
        let place = |index: u32, count: u32, spare: f64| match count {
            1 if spare < 1e-3 => spare / 2.0,
            1 => 0.0,
            _ => spare * f64::from(index) / f64::from(count - 1),
        };
        let (across, along) = (steps(spare_x), steps(spare_y));
        for index in 0..across * along {
            self.cancel.check()?;
            let x = place(index % across, across, spare_x);
            let y = place(index / across, along, spare_y);
            // Not on ticks: the pose on the sheet is rounded once, and a piece as large as the window has no room for twice.
            let at = Vec2::new(x - bounds.x0, y - bounds.y0);
            if self.clear(section, &body, at) {
                return Ok(Some(Spot { part: self.part, angle_deg, at }));
            }
        }
        Ok(None)
    }

    fn clear(&self, section: &Section, body: &Body, at: Vec2) -> bool {
        section.obstacles.iter().all(|obstacle| {
            let need = obstacle.radius + self.reach;
            // Without bleed a zone's edge may be touched, but not crossed: a micron tells.
            body.clearance(&obstacle.body, -at, need + 1.0) >= need.max(LEAST_GAP_MM) - 1e-7
        })
    }
}
