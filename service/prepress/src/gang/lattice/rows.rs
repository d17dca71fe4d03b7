//! A periodic pattern: rows of copies, each row shifted against the one before it; with a mate, a copy turned by half a turn
//! beside each. Any lattice can be seen as rows; here the rows lie along a side of the window.

use super::super::part::{TICK_MM, at_tick, down, up};
use crate::geom::{Rect, Vec2};

/// A pattern of rows, in the rows' frame: rows along x, one below the other.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Rows {
    /// Angle of an unturned copy in the rows' frame, degrees.
    pub(super) angle_deg: f64,
    /// Whether rows run along the feed, not across it.
    pub(super) along: bool,
    /// From copy to copy in a row.
    pub(super) pitch: f64,
    /// What each row is shifted by against the one before it.
    pub(super) shift: f64,
    /// From row to row.
    pub(super) rise: f64,
    /// Where the turned copy stands, from its own unturned one.
    pub(super) mate: Option<Vec2>,
    /// Whether the pitch is wider than the outline needs, to use up a window's width.
    pub(super) stretched: bool,
}

/// Boxes in which the copies of a pattern stand about their origins: the unturned and the turned one's.
pub(super) type Boxes = [Rect; 2];

impl Rows {
    /// Area for each copy.
    pub(super) fn area_per_copy(&self) -> f64 {
        self.pitch * self.rise / if self.mate.is_some() { 2.0 } else { 1.0 }
    }

    /// Kinds of copies with their offsets: unturned ones, turned ones.
    fn kinds(&self) -> impl Iterator<Item = (usize, Vec2)> {
        [(0, Some(Vec2::ZERO)), (1, self.mate)].into_iter().filter_map(|(kind, at)| Some((kind, at?)))
    }

    /// The most copies in a window, and the origin of the pattern for it: a copy of one of the first `phases` rows touches a
    /// side. The first origin for `enough` copies ends the search.
    pub(super) fn most(&self, boxes: &Boxes, (width, length): (f64, f64), phases: u32, enough: u32) -> (u32, Vec2) {
        let mut best = (0, Vec2::ZERO);
        for (kind, at) in self.kinds() {
            let y = -boxes[kind].y0 - at.y;
            for (other, beside) in self.kinds() {
                for row in 0..phases {
                    let back = -beside.x - f64::from(row) * self.shift;
                    for x in [up(-boxes[other].x0) + back, down(width - boxes[other].x1) + back] {
                        let origin = Vec2::new(x, up(y));
                        let count = self.count(boxes, width, length, origin);
                        if count > best.0 {
                            best = (count, origin);
                        }
                        if count >= enough {
                            return best;
                        }
                    }
                }
            }
        }
        best
    }

    fn count(&self, boxes: &Boxes, width: f64, length: f64, origin: Vec2) -> u32 {
        let mut count = 0;
        self.each_row(boxes, width, length, origin, |_, _, first, last| count += (last - first + 1) as u32);
        count
    }

    /// Calls with each kind, each row's first origin without copies before it, and the first and last number in the row.
    fn each_row(
        &self,
        boxes: &Boxes,
        width: f64,
        length: f64,
        origin: Vec2,
        mut call: impl FnMut(usize, Vec2, i64, i64),
    ) {
        for (kind, at) in self.kinds() {
            let bounds = boxes[kind];
            let at = origin + at;
            let (above, below) = range(-bounds.y0 - at.y, length - bounds.y1 - at.y, self.rise);
            for row in above..=below {
                let start = at + Vec2::new(self.shift, self.rise) * row as f64;
                let (first, last) = range(-bounds.x0 - start.x, width - bounds.x1 - start.x, self.pitch);
                if first <= last {
                    call(kind, start, first, last);
                }
            }
        }
    }

    /// Every copy in a window: its kind and where its origin lands.
    pub(super) fn copies(&self, boxes: &Boxes, width: f64, length: f64, origin: Vec2) -> Vec<(usize, Vec2)> {
        let mut copies = Vec::new();
        self.each_row(boxes, width, length, origin, |kind, start, first, last| {
            for index in first..=last {
                let at = start + Vec2::new(self.pitch * index as f64, 0.0);
                copies.push((kind, at_tick(at)));
            }
        });
        copies
    }
}

/// Whole numbers `n` with `low <= n * step <= high`, a hair beyond the ends allowed.
fn range(low: f64, high: f64, step: f64) -> (i64, i64) {
    let slack = TICK_MM / 2.0;
    (-floor(-(low - slack) / step), floor((high + slack) / step))
}

/// The whole number below. Several times as fast as the library's on processors that it must do without a rounding
/// instruction for, and much of the search is this.
pub(super) fn floor(value: f64) -> i64 {
    let whole = value as i64;
    whole - i64::from(whole as f64 > value)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grid(side: f64) -> Rows {
        Rows { angle_deg: 0.0, along: false, pitch: side, shift: 0.0, rise: side, mate: None, stretched: false }
    }

    #[test]
    fn a_grid_fills_a_window_of_its_size() {
        let boxes = [Rect::new(-4.0, -4.0, 4.0, 4.0); 2];
        let (count, origin) = grid(10.0).most(&boxes, (98.0, 48.0), 2, u32::MAX);
        assert_eq!(count, 50, "10 x 5 squares of 8 with 2 between");
        assert_eq!(grid(10.0).copies(&boxes, 98.0, 48.0, origin).len(), 50);
        assert_eq!(grid(10.0).most(&boxes, (97.9, 48.0), 2, u32::MAX).0, 45);
    }

    #[test]
    fn a_row_of_pairs_may_end_with_half_a_pair() {
        let boxes = [Rect::new(-4.0, -4.0, 4.0, 4.0); 2];
        let rows = Rows { pitch: 20.0, mate: Some(Vec2::new(10.0, 0.0)), ..grid(10.0) };
        assert_eq!(rows.most(&boxes, (28.0, 8.0), 2, u32::MAX).0, 3);
    }
}
