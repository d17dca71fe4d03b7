//! How near two copies of an outline may stand, seen from above and from the side.
//!
//! A copy shifted by `t` meets another just when `t` lies in the Minkowski sum of the one with the other's reflection, the
//! no-fit region (e.g. J. A. Bennell, J. F. Oliveira, *The geometry of nesting problems: a tutorial*, 2008). Rows need only
//! its envelopes, and the envelope of a Minkowski sum is the sum of the envelopes in the algebra of maximum and plus: the
//! lowest point of A + B over x is the greatest `low_A(u) + low_B(x - u)`. Here they are sampled, which is good enough to
//! choose by; what is chosen is made exact by slides (`exact`).

use super::super::body::Body;
use super::super::mask::Capsule;
use super::rows::floor;
use crate::geom::{Point, Ring};

/// Most copies in a row whose no-fit regions meet at one place.
const MOST_IN_A_WIDTH: f64 = 64.0;

/// A function of whole cells; minus infinity outside of its samples.
#[derive(Clone, Debug)]
pub(super) struct Curve {
    from: i32,
    values: Vec<f64>,
}

impl Curve {
    /// At a whole cell.
    pub(super) fn at(&self, index: i32) -> f64 {
        // Before the first sample the difference wraps to far past the last.
        let index = index.wrapping_sub(self.from) as u32 as usize;
        self.values.get(index).copied().unwrap_or(f64::NEG_INFINITY)
    }

    /// Between cells; beside an end, the end.
    pub(super) fn between(&self, position: f64) -> f64 {
        let cell = floor(position) as i32;
        let (left, right) = (self.at(cell), self.at(cell + 1));
        let part = position - f64::from(cell);
        if left == f64::NEG_INFINITY || right == f64::NEG_INFINITY {
            left.max(right)
        } else {
            left + (right - left) * part
        }
    }

    /// First and last cell.
    pub(super) fn span(&self) -> (i32, i32) {
        (self.from, self.from + self.values.len() as i32 - 1)
    }

    /// The curve seen in a mirror at zero.
    fn mirrored(&self) -> Curve {
        let values = self.values.iter().rev().copied().collect();
        Curve { from: -self.span().1, values }
    }

    /// The envelope of the sum of two shapes.
    fn plus(&self, other: &Curve) -> Curve {
        let length = (self.values.len() + other.values.len()).saturating_sub(1);
        let mut values = vec![f64::NEG_INFINITY; length];
        for (index, own) in self.values.iter().enumerate() {
            for (sum, theirs) in values[index..].iter_mut().zip(&other.values) {
                *sum = sum.max(own + theirs);
            }
        }
        Curve { from: self.from + other.from, values }
    }

    fn most(&self) -> f64 {
        self.values.iter().copied().fold(f64::NEG_INFINITY, f64::max)
    }
}

/// Least (negated) and greatest reach of grown edges along y, for every cell along x.
fn envelopes(edges: &[(Point, Point)], radius: f64, cell: f64) -> (Curve, Curve) {
    let first = |x: f64| (x / cell).floor() as i32;
    let left = edges.iter().map(|edge| edge.0.x.min(edge.1.x)).fold(f64::INFINITY, f64::min) - radius;
    let right = edges.iter().map(|edge| edge.0.x.max(edge.1.x)).fold(f64::NEG_INFINITY, f64::max) + radius;
    let (from, to) = (first(left), first(right) + 1);
    let mut low = vec![f64::NEG_INFINITY; (to - from + 1).max(0) as usize];
    let mut high = low.clone();
    for (a, b) in edges {
        let capsule = Capsule { a: Point::new(a.y, a.x), b: Point::new(b.y, b.x), radius };
        for column in first(a.x.min(b.x) - radius)..=first(a.x.max(b.x) + radius) + 1 {
            let (least, most) = capsule.section(f64::from(column) * cell);
            let index = (column - from) as usize;
            low[index] = low[index].max(-least);
            high[index] = high[index].max(most);
        }
    }
    (Curve { from, values: low }, Curve { from, values: high })
}

/// An outline P at one angle, and the same turned by half a turn, Q = -P, as neighbours.
pub(super) struct Facet {
    /// The angle of P in the rows' frame.
    pub(super) angle_deg: f64,
    /// Size of a cell, mm.
    pub(super) cell: f64,
    /// How far below P the next P must stand, for each shift along x.
    below_pp: Curve,
    /// How far below P a Q must stand.
    below_pq: Curve,
    /// How far below Q a P must stand.
    below_qp: Curve,
    /// How far to the right of P a Q must stand, for each shift along y.
    pub(super) right_pq: Curve,
    /// How far to the right of Q the next P must stand when Q is shifted so much along y against P.
    pub(super) right_qp: Curve,
    /// How far to the right of P the next P must stand, level with it.
    pub(super) pitch: f64,
    /// Height of the grown outline's no-fit region, one way.
    pub(super) deepest: f64,
    /// Half the width of the no-fit regions.
    widest: f64,
}

impl Facet {
    /// Outlines grown by `growth` at an angle.
    pub(super) fn new(rings: &[Ring], angle_deg: f64, growth: f64, cell: f64) -> Facet {
        let edges: Vec<(Point, Point)> = Body::new(rings, angle_deg).edges().collect();
        let flipped: Vec<(Point, Point)> =
            edges.iter().map(|(a, b)| (Point::new(a.y, a.x), Point::new(b.y, b.x))).collect();
        let (top, bottom) = envelopes(&edges, growth, cell);
        let (left, right) = envelopes(&flipped, growth, cell);
        let above = top.mirrored();
        let below_pp = bottom.plus(&above);
        let level = right.values.iter().zip(&left.values).map(|(right, left)| right + left).fold(0.0, f64::max);
        let (from, to) = below_pp.span();
        // Needles would stand in rows without end.
        let pitch = level.max(f64::from(to - from) * cell / MOST_IN_A_WIDTH);
        let below_pq = bottom.plus(&bottom);
        let below_qp = above.plus(&above);
        let deepest = below_pp.most().max(below_pq.most()).max(below_qp.most());
        let widest = f64::from(from.abs().max(to.abs()).max(below_pq.span().1.abs()).max(below_qp.span().1.abs()));
        Facet {
            angle_deg,
            cell,
            below_pp,
            right_pq: right.plus(&right),
            right_qp: left.plus(&left),
            pitch,
            deepest,
            widest: widest * cell,
            below_pq,
            below_qp,
        }
    }

    /// How far below a row of pitch `pitch` the next must stand when shifted by `shift`; with a mate, both rows are of pairs.
    pub(super) fn rise(&self, shift: f64, pitch: f64, mate: Option<(f64, f64)>) -> f64 {
        let reach = self.widest + mate.map_or(0.0, |mate| mate.0.abs());
        self.over(shift, pitch, reach, |x| {
            let own = self.below_pp.between(x / self.cell);
            let Some((across, down)) = mate else { return own };
            let to_mate = self.below_pq.between((x + across) / self.cell) - down;
            let from_mate = self.below_qp.between((x - across) / self.cell) + down;
            own.max(to_mate).max(from_mate)
        })
    }

    /// How far below a row of P alone a row of Q must stand.
    pub(super) fn rise_to_turned(&self, shift: f64, pitch: f64) -> f64 {
        self.over(shift, pitch, self.widest, |x| self.below_pq.between(x / self.cell))
    }

    /// How far below a row of Q alone a row of P must stand.
    pub(super) fn rise_from_turned(&self, shift: f64, pitch: f64) -> f64 {
        self.over(shift, pitch, self.widest, |x| self.below_qp.between(x / self.cell))
    }

    /// The greatest value over all copies in a row.
    fn over(&self, shift: f64, pitch: f64, reach: f64, of: impl Fn(f64) -> f64) -> f64 {
        let first = -floor((reach + shift) / pitch) as i32;
        let last = floor((reach - shift) / pitch) as i32;
        (first..=last).map(|index| of(shift + f64::from(index) * pitch)).fold(f64::NEG_INFINITY, f64::max)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::Rect;

    #[test]
    fn squares_stand_a_side_and_a_gutter_apart() {
        let square = [Ring::rectangle(Rect::new(-5.0, -5.0, 5.0, 5.0))];
        let facet = Facet::new(&square, 0.0, 1.0, 0.25);
        assert!((facet.pitch - 12.0).abs() < 1e-9);
        assert!((facet.rise(0.0, 12.0, None) - 12.0).abs() < 1e-9);
        assert!((facet.right_pq.at(0) - 12.0).abs() < 1e-9);
    }

    #[test]
    fn discs_in_shifted_rows_stand_as_high_as_the_triangle() {
        let point = |index: u32| {
            let angle = f64::from(index).to_radians();
            Point::new(10.0 * angle.cos(), 10.0 * angle.sin())
        };
        let disc = [Ring::new((0..360).map(point).collect())];
        let facet = Facet::new(&disc, 0.0, 1.0, 0.1);
        let rise = facet.rise(11.0, 22.0, None);
        assert!((rise - 22.0 * 0.75f64.sqrt()).abs() < 0.02, "{rise}");
    }
}
