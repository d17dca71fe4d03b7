//! The iso-line of a coverage field, as closed rings.
//!
//! Lorensen and Cline, "Marching Cubes: A High Resolution 3D Surface Construction Algorithm" (1987), in its
//! two-dimensional form: cells between four pixel centres, linear interpolation on their sides. A cell whose diagonal
//! corners are covered is joined when the mean of the four is covered or a thin stroke runs through it, so both walks
//! through it agree.
//!
//! Rings are followed one by one from crossings between neighbours in a row, of which every ring has some; one bit per
//! pixel remembers the crossings seen. Guarantee: rings are closed, do not touch or cross, and have their inside on the
//! right of travel with y down, so that outer rings have positive area.

use super::plane::{Plane, STRONG_ALPHA, Stretch};
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::{Point, Ring};

/// Rings kept at most. Art has a few thousand at worst; noise has millions and would fill the memory. Over this the
/// smallest are let go. Common practice, no source.
const MAX_RINGS: usize = 100_000;

/// The rings on which alpha passes `threshold`. The threshold must not be a whole number, so that no pixel lies on the
/// line. Linear in pixels and in the length of the line.
pub(super) fn trace(plane: &Plane<'_>, threshold: f64, cancel: &Cancel) -> Result<Vec<Ring>, Fault> {
    let field = Field::new(plane, threshold);
    let mut tracer = Tracer { seen: vec![0; field.seen_words()], field, kept: Vec::new(), least_area_px: 0.0 };
    for y in 0..tracer.field.height {
        if y % 64 == 0 {
            cancel.check()?;
        }
        tracer.scan_row(y, cancel)?;
    }
    Ok(tracer.kept.into_iter().map(|(_, ring)| ring).collect())
}

/// A plane with a threshold.
struct Field<'a> {
    plane: &'a Plane<'a>,
    width: i64,
    height: i64,
    threshold: f64,
    /// The least covered alpha.
    covered_from: u8,
}

impl<'a> Field<'a> {
    fn new(plane: &'a Plane<'a>, threshold: f64) -> Field<'a> {
        let covered_from = threshold.ceil().clamp(1.0, 255.0) as u8;
        Field { plane, width: plane.width as i64, height: plane.height as i64, threshold, covered_from }
    }

    /// Whether a pixel belongs to a thin stroke.
    fn is_link(&self, (x, y): (i64, i64)) -> bool {
        self.on_canvas(x, y) && self.plane.is_raised(y as usize * self.plane.width + x as usize)
    }

    fn on_canvas(&self, x: i64, y: i64) -> bool {
        x >= 0 && y >= 0 && x < self.width && y < self.height
    }

    fn alpha(&self, x: i64, y: i64) -> u8 {
        self.plane.alpha(x, y)
    }

    fn covered(&self, x: i64, y: i64) -> bool {
        self.alpha(x, y) >= self.covered_from
    }

    /// One bit for each pair (x, y), (x + 1, y) with x from -1.
    fn seen_words(&self) -> usize {
        ((self.width + 1) * self.height) as usize / 64 + 1
    }

    /// Where the line crosses between two neighbours, one covered and one not. Between the canvas and the outside that is
    /// the canvas's border, half a pixel beyond the centres.
    fn crossing(&self, from: (i64, i64), to: (i64, i64)) -> Point {
        let centre = |(x, y): (i64, i64)| Point::new(x as f64 + 0.5, y as f64 + 0.5);
        if !self.on_canvas(from.0, from.1) || !self.on_canvas(to.0, to.1) {
            return centre(from).midpoint(centre(to));
        }
        // Always from the upper left end, so that both walks along a side would get the same bits.
        let (from, to) = if from <= to { (from, to) } else { (to, from) };
        let (low, high) = (f64::from(self.alpha(from.0, from.1)), f64::from(self.alpha(to.0, to.1)));
        centre(from).lerp(centre(to), (self.threshold - low) / (high - low))
    }
}

/// A cell by its lower right pixel: corners clockwise from the upper left, side i between corners i and i + 1.
#[derive(Clone, Copy)]
struct Cell {
    x: i64,
    y: i64,
}

impl Cell {
    fn corner(self, index: usize) -> (i64, i64) {
        match index % 4 {
            0 => (self.x - 1, self.y - 1),
            1 => (self.x, self.y - 1),
            2 => (self.x, self.y),
            _ => (self.x - 1, self.y),
        }
    }

    fn across(self, side: usize) -> Cell {
        match side % 4 {
            0 => Cell { y: self.y - 1, ..self },
            1 => Cell { x: self.x + 1, ..self },
            2 => Cell { y: self.y + 1, ..self },
            _ => Cell { x: self.x - 1, ..self },
        }
    }
}

struct Tracer<'a> {
    field: Field<'a>,
    seen: Vec<u64>,
    kept: Vec<(f64, Ring)>,
    least_area_px: f64,
}

impl Tracer<'_> {
    fn scan_row(&mut self, y: i64, cancel: &Cancel) -> Result<(), Fault> {
        let plane = self.field.plane;
        let covered_from = self.field.covered_from;
        let first = y as usize * plane.width;
        let mut before = false;
        for stretch in plane.stretches(y as usize) {
            // Most of a row is long runs: a stretch that is all like the pixel before it is passed at once.
            if if before { stretch.low >= covered_from } else { stretch.high < covered_from } {
                continue;
            }
            let Stretch { pixels, strong, .. } = stretch;
            // Half of full nearly always.
            let usual = covered_from == STRONG_ALPHA;
            let mut covered = u64::from(if usual { strong } else { plane.bits(&pixels, covered_from) });
            for place in plane.raised_in(&pixels) {
                covered |= 1 << place;
            }
            // Where a pixel is not as the one before it.
            let mut changes = covered ^ (covered << 1 | u64::from(before));
            while changes != 0 {
                let place = changes.trailing_zeros() as usize;
                if place >= pixels.len() {
                    break;
                }
                self.start((pixels.start + place - first) as i64, y, before, cancel)?;
                before = !before;
                changes &= changes - 1;
            }
        }
        if before {
            self.start(plane.width as i64, y, before, cancel)?;
        }
        Ok(())
    }

    /// Follows the line through the crossing left of a pixel, unless that was done.
    fn start(&mut self, x: i64, y: i64, covered_left: bool, cancel: &Cancel) -> Result<(), Fault> {
        if self.was_seen(x - 1, y) {
            return Ok(());
        }
        // Covered on the left: the line runs down, into the cell below through its top. Else up.
        let (cell, side) = if covered_left { (Cell { x, y: y + 1 }, 0) } else { (Cell { x, y }, 2) };
        self.follow(cell, side, cancel)
    }

    fn bit(&self, x: i64, y: i64) -> (usize, u64) {
        let index = (y * (self.field.width + 1) + x + 1) as usize;
        (index / 64, 1 << (index % 64))
    }

    fn was_seen(&self, x: i64, y: i64) -> bool {
        let (word, mask) = self.bit(x, y);
        self.seen[word] & mask != 0
    }

    fn mark(&mut self, x: i64, y: i64) {
        let (word, mask) = self.bit(x, y);
        self.seen[word] |= mask;
    }

    /// Follows one ring from a cell entered through one of its sides, back to the same crossing.
    fn follow(&mut self, start: Cell, start_side: usize, cancel: &Cancel) -> Result<(), Fault> {
        let (mut cell, mut side) = (start, start_side);
        let mut line = Line::default();
        let mut steps = 0_usize;
        loop {
            steps += 1;
            cancel.check_every(1 << 16, steps)?;
            let (from, to) = (cell.corner(side), cell.corner(side + 1));
            if side.is_multiple_of(2) {
                self.mark(from.0.min(to.0), from.1);
            }
            let enters = self.field.crossing(from, to);
            line.push(enters);
            let exit = self.exit(cell, side);
            if self.on_border(cell) {
                let leaves = self.field.crossing(cell.corner(exit), cell.corner(exit + 1));
                let corner = self.canvas_corner(cell, (side, enters), (exit, leaves));
                corner.into_iter().for_each(|corner| line.push(corner));
            }
            cell = cell.across(exit);
            side = (exit + 2) % 4;
            if (cell.x, cell.y, side) == (start.x, start.y, start_side) {
                break;
            }
        }
        self.keep(line.close());
        Ok(())
    }

    /// The side through which the line leaves. On entering, corner `side` is covered and the next one is not.
    fn exit(&self, cell: Cell, side: usize) -> usize {
        let covered = |index: usize| {
            let (x, y) = cell.corner(index);
            self.field.covered(x, y)
        };
        let leaves = match (covered(side + 3), covered(side + 2)) {
            (false, false) => side + 3,
            (true, false) => side + 2,
            (true, true) => side + 1,
            (false, true) if self.joined(cell) => side + 1,
            (false, true) => side + 3,
        };
        leaves % 4
    }

    /// Whether the covered diagonal of an ambiguous cell is joined through its middle.
    fn joined(&self, cell: Cell) -> bool {
        self.field.plane.joins_at_corner(cell.x, cell.y, self.field.threshold)
            || (0..4).any(|index| self.field.is_link(cell.corner(index)))
    }

    /// Whether a cell reaches past the canvas.
    fn on_border(&self, cell: Cell) -> bool {
        cell.x == 0 || cell.y == 0 || cell.x == self.field.width || cell.y == self.field.height
    }

    /// The point on the canvas's border at which a line that leaves the border turns inward: without it the border would
    /// be left on a slant, and the canvas's own corners would be cut off.
    fn canvas_corner(&self, cell: Cell, enters: (usize, Point), leaves: (usize, Point)) -> Option<Point> {
        let border = |at: i64, size: i64| (at == 0 || at == size).then_some(at as f64);
        let through = |upright: bool| {
            [enters, leaves].into_iter().find(|(side, _)| side.is_multiple_of(2) == upright).map(|(_, point)| point)
        };
        match (border(cell.x, self.field.width), border(cell.y, self.field.height)) {
            (Some(x), Some(y)) => Some(Point::new(x, y)),
            (None, Some(y)) => through(true).map(|point| Point::new(point.x, y)),
            (Some(x), None) => through(false).map(|point| Point::new(x, point.y)),
            (None, None) => None,
        }
    }

    fn keep(&mut self, ring: Ring) {
        let area_px = ring.signed_area().abs();
        if area_px <= self.least_area_px || ring.points().len() < 3 {
            return;
        }
        self.kept.push((area_px, ring));
        while self.kept.len() > MAX_RINGS {
            // Holes are smaller than what they are in, so nothing is kept inside of what is let go.
            self.least_area_px = (self.least_area_px * 4.0).max(1.0);
            let least = self.least_area_px;
            self.kept.retain(|(area_px, _)| *area_px > least);
        }
    }
}

/// A growing ring without needless points on straight rows and columns.
#[derive(Default)]
struct Line {
    points: Vec<Point>,
}

impl Line {
    fn push(&mut self, point: Point) {
        if let [.., before, last] = self.points.as_mut_slice()
            && straight(*before, *last, point)
        {
            *last = point;
            return;
        }
        self.points.push(point);
    }

    fn close(mut self) -> Ring {
        while let [first, second, .., before, last] = self.points.as_slice() {
            if straight(*before, *last, *first) {
                self.points.pop();
            } else if straight(*last, *first, *second) {
                self.points.remove(0);
            } else {
                break;
            }
        }
        Ring::new(self.points)
    }
}

/// Three points on one row or column, one after the other.
#[expect(clippy::float_cmp, reason = "only exactly equal coordinates are on one row or column")]
fn straight(a: Point, b: Point, c: Point) -> bool {
    (a.x == b.x && b.x == c.x) || (a.y == b.y && b.y == c.y)
}
