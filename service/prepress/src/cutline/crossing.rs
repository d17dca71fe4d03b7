//! Whether lines cross themselves or each other.

use std::collections::{BTreeMap, BTreeSet};

use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::{CutLine, Point, Rect};
use crate::units::Mm;

/// Lines are looked at as polylines within this of them, mm: loops smaller than that are no loops for a blade.
const FLATNESS_MM: f64 = 0.001;

/// Side of the squares into which pieces are sorted, mm: a few pieces in each.
const SQUARE_MM: f64 = 1.0;

/// A straight piece: of which line, its place there and the number of pieces of that line.
#[derive(Clone, Copy)]
struct Piece {
    line: usize,
    place: usize,
    of: usize,
    from: Point,
    to: Point,
}

impl Piece {
    /// Whether two pieces share an end by construction.
    fn follows(&self, other: &Piece) -> bool {
        self.line == other.line
            && (self.place == other.place
                || (self.place + 1) % self.of == other.place
                || (other.place + 1) % self.of == self.place)
    }
}

/// The lines of which pieces cross, each other or those of another line.
///
/// # Errors
/// `run.cancelled`.
pub(super) fn found(lines: &[CutLine], cancel: &Cancel) -> Result<BTreeSet<usize>, Fault> {
    let mut squares: BTreeMap<(i64, i64), Vec<Piece>> = BTreeMap::new();
    for (line, path) in lines.iter().enumerate() {
        cancel.check()?;
        let ring = path.flattened(Mm::of(FLATNESS_MM));
        let of = ring.points().len();
        for (place, (from, to)) in ring.edges().enumerate() {
            sort_in(&mut squares, Piece { line, place, of, from, to });
        }
    }
    let mut crossing = BTreeSet::new();
    for pieces in squares.values() {
        for (index, one) in pieces.iter().enumerate() {
            let others = pieces[index + 1..].iter().filter(|other| !one.follows(other) && cross(one, other));
            crossing.extend(others.flat_map(|other| [one.line, other.line]));
        }
    }
    Ok(crossing)
}

/// Puts a piece into every square that it passes; long ones in steps, so that a box full of squares is never filled.
fn sort_in(squares: &mut BTreeMap<(i64, i64), Vec<Piece>>, piece: Piece) {
    let steps = (piece.from.distance(piece.to) / SQUARE_MM).ceil().max(1.0) as usize;
    let square = |value: f64| (value / SQUARE_MM).floor() as i64;
    for step in 0..steps {
        let start = piece.from.lerp(piece.to, step as f64 / steps as f64);
        let end = piece.from.lerp(piece.to, (step + 1) as f64 / steps as f64);
        let bounds = Rect::from_points(start, end);
        for row in square(bounds.y0)..=square(bounds.y1) {
            for column in square(bounds.x0)..=square(bounds.x1) {
                let pieces = squares.entry((column, row)).or_default();
                if pieces.last().is_none_or(|last| (last.line, last.place) != (piece.line, piece.place)) {
                    pieces.push(piece);
                }
            }
        }
    }
}

/// Whether two pieces cross in their insides.
fn cross(one: &Piece, other: &Piece) -> bool {
    let side = |a: Point, b: Point, c: Point| (b - a).cross(c - a);
    let (a, b) = (side(one.from, one.to, other.from), side(one.from, one.to, other.to));
    let (c, d) = (side(other.from, other.to, one.from), side(other.from, other.to, one.to));
    a * b < 0.0 && c * d < 0.0
}
