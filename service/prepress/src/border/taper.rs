//! Tips that taper out of a body: thin, but nothing tears there, and a disc on one would be a knob with a neck behind it.

use super::field::Field;
use super::medial::Disc;
use super::near::grouped;
use crate::geom::{Point, Rect, Vec2};

/// Longest tip, in half widths of its root: a wedge of 45 degrees. What is longer is a tail or a hair and needs its width.
/// Judged by eye on clip art, no source.
const LONGEST_TIP: f64 = 2.6;

/// A tip may widen again towards its end by this radius, mm: more is a neck. What uneven edges make, no source.
const UNEVEN_MM: f64 = 0.1;

/// How far past the last medial discs of a stretch it is looked whether the shape widens, mm: there flanks may flare too
/// much for medial discs that measure a width. No source.
const LOOK_PAST_MM: f64 = 0.3;

/// By how much it widens there at least: less is the grid's noise. A neck that lacks 0.1 mm of its width opens by 0.04 mm.
const WIDENS_MM: f64 = 0.025;

/// Openings of one root lie within this of it, mm. No source.
const ROOT_MM: f64 = 1.0;

/// Way up from the root to a width that is enough, in what the root's radius lacks: flanks without discs that measure a
/// width open by 60 degrees and rise by a half. With a gentler way the tip sits on a thin leg.
const LONGEST_WAY: f64 = 2.5;

/// Cells around a place among which the way up is looked for: a ridge that rises by a half may run between nodes.
const CLIMB_CELLS: isize = 3;

/// What a tip is measured against, mm.
#[derive(Clone, Copy)]
pub(super) struct Tapering {
    /// Radius of a medial disc that is wide enough.
    pub(super) enough: f64,
    /// What all radii have too much: the shape is grown by it for the time being.
    pub(super) grown: f64,
    /// How near medial discs hang together.
    pub(super) link: f64,
}

impl Tapering {
    /// A group's discs without those in tips that taper out of a body.
    pub(super) fn without(&self, field: &Field<'_>, group: Vec<Disc>) -> Vec<Disc> {
        let (lacking, mut kept): (Vec<Disc>, Vec<Disc>) = group.into_iter().partition(|disc| disc.radius < self.enough);
        let stretches = grouped(&lacking, self.link).into_iter();
        let necks: Vec<Disc> = stretches.filter(|stretch| !self.is_tip(field, stretch, &kept)).flatten().collect();
        kept.extend(necks);
        kept
    }

    /// Whether a thin stretch is short, has one root in a wide body, and nowhere widens again.
    fn is_tip(&self, field: &Field<'_>, stretch: &[Disc], wide: &[Disc]) -> bool {
        let Some(root) = stretch.iter().max_by(|a, b| a.radius.total_cmp(&b.radius)) else { return false };
        let longest = LONGEST_TIP * (root.radius - self.grown);
        // What takes longest is asked last.
        stretch.iter().all(|disc| disc.centre.distance(root.centre) <= longest)
            && !self.hangs_elsewhere(stretch, wide, root.centre)
            && self.climbs(field, root)
            && !self.opens_elsewhere(field, stretch, root.centre)
            && !self.has_neck(stretch, root.radius)
    }

    /// Whether a stretch goes on in discs that are wide enough, and that is not at its root: it is the middle of a neck.
    fn hangs_elsewhere(&self, stretch: &[Disc], wide: &[Disc], root: Point) -> bool {
        let ends = stretch.iter().map(|disc| Rect::from_points(disc.centre, disc.centre));
        let Some(bounds) = ends.reduce(|a, b| a.union(b)).map(|bounds| bounds.inflate(self.link, self.link)) else {
            return false;
        };
        let mut beside = wide
            .iter()
            .map(|disc| disc.centre)
            .filter(|centre| bounds.contains(*centre) && centre.distance(root) > ROOT_MM);
        beside.any(|centre| stretch.iter().any(|disc| disc.centre.distance(centre) <= self.link))
    }

    /// Whether anything but the root is cut off from it by a narrower place: discs are looked at from a least
    /// radius up, and two pieces that both widen from there are held together by something narrower.
    fn has_neck(&self, stretch: &[Disc], root: f64) -> bool {
        let layers = ((root - self.grown) / (UNEVEN_MM / 4.0)).ceil().max(0.0) as usize;
        (0..layers).any(|layer| {
            let floor = self.grown + UNEVEN_MM / 4.0 * layer as f64;
            let wide: Vec<Disc> = stretch.iter().filter(|disc| disc.radius >= floor).copied().collect();
            let peak = (floor + UNEVEN_MM).min(root);
            let pieces = grouped(&wide, self.link);
            pieces.iter().filter(|piece| piece.iter().any(|disc| disc.radius >= peak)).count() > 1
        })
    }

    /// Whether the way up the distances from a place leads to one that is wide enough.
    fn climbs(&self, field: &Field<'_>, root: &Disc) -> bool {
        let grid = field.grid();
        let depth = |node: usize| -f64::from(field.signed(node));
        let deepest = |nodes: &mut dyn Iterator<Item = usize>| {
            nodes.filter(|node| *node < grid.nodes()).max_by(|a, b| depth(*a).total_cmp(&depth(*b)))
        };
        let Some(mut at) = deepest(&mut grid.around(root.centre).into_iter()) else { return false };
        let longest = LONGEST_WAY * (self.enough - root.radius) + CLIMB_CELLS as f64 * grid.cell();
        while grid.point(at).distance(root.centre) <= longest {
            if depth(at) >= self.enough {
                return true;
            }
            let near = (-CLIMB_CELLS..=CLIMB_CELLS).flat_map(|down| {
                (-CLIMB_CELLS..=CLIMB_CELLS)
                    .filter_map(move |right| at.checked_add_signed(down * grid.columns() as isize + right))
            });
            match deepest(&mut { near }) {
                Some(next) if depth(next) > depth(at) => at = next,
                _ => return false,
            }
        }
        false
    }

    /// Whether a stretch widens past one of its ends and that is not its root: it is the middle of a neck.
    fn opens_elsewhere(&self, field: &Field<'_>, stretch: &[Disc], root: Point) -> bool {
        let depth = |point: Point| -field.signed_at(point);
        let mut openings: Vec<(Point, Vec2)> = Vec::new();
        for disc in stretch {
            let along = Vec2::new(-disc.across.y, disc.across.x);
            for way in [along, -along] {
                let past = disc.centre + way * LOOK_PAST_MM;
                let widens = depth(past) > self.enough.min(disc.radius + WIDENS_MM);
                if widens && stretch.iter().all(|other| other.centre.distance(past) > LOOK_PAST_MM / 2.0) {
                    openings.push((disc.centre, way));
                }
            }
        }
        openings.iter().any(|(at, way)| at.distance(root) > ROOT_MM || way.dot(openings[0].1) < 0.0)
    }
}
