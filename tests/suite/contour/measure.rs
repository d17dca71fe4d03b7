//! What a cut line promises, measured on the finished lines by other means than the stages that drew them.

use geo::{Area, Buffer, Coord, LineString, MultiPolygon, Polygon};
use quoin_prepress::geom::{CutLine, PathEl, Point, Ring, Vec2};
use quoin_prepress::order::Cutting;
use quoin_prepress::outline::Outlined;
use quoin_prepress::silhouette::CutOut;
use quoin_prepress::units::Mm;

/// Lines are measured as polygons within this of them, mm: half of what the stage itself looks at.
const FLATNESS_MM: f64 = 0.0005;

/// Shrunk they are as polygons within this, mm: `geo` stumbles over the finest pieces.
const SHRUNK_FLATNESS_MM: f64 = 0.004;

/// Side of the squares into which pieces are sorted, mm.
const SQUARE_MM: f64 = 1.0;

/// A loop of so few pieces and so small is none that a blade could follow, mm.
const LOOP_PIECES: usize = 3;
const LOOP_MM: f64 = 0.02;

/// Steps along the art at which the border is measured, mm.
const STEP_MM: f64 = 0.1;

/// A piece left by shrinking counts from this area on, mm²; less is the rest of a corner.
const PIECE_MM2: f64 = 0.2;

/// Pieces of lines, sorted into squares.
struct Pieces {
    corner: Point,
    columns: usize,
    rows: usize,
    squares: Vec<Vec<u32>>,
    ends: Vec<(Point, Point)>,
    /// Of each piece its ring and its place there.
    places: Vec<(usize, usize)>,
    lengths: Vec<usize>,
}

impl Pieces {
    fn of(rings: &[Ring]) -> Pieces {
        let bounds = rings.iter().map(Ring::bounds).reduce(|a, b| a.union(b)).expect("there is a line");
        let columns = (bounds.width() / SQUARE_MM) as usize + 1;
        let rows = (bounds.height() / SQUARE_MM) as usize + 1;
        let mut pieces = Pieces {
            corner: Point::new(bounds.x0, bounds.y0),
            columns,
            rows,
            squares: vec![Vec::new(); columns * rows],
            ends: Vec::new(),
            places: Vec::new(),
            lengths: rings.iter().map(|ring| ring.points().len()).collect(),
        };
        for (owner, ring) in rings.iter().enumerate() {
            for (place, (from, to)) in ring.edges().enumerate() {
                pieces.ends.push((from, to));
                pieces.places.push((owner, place));
                let (a, b) = (pieces.square(from), pieces.square(to));
                for row in a.1.min(b.1)..=a.1.max(b.1) {
                    for column in a.0.min(b.0)..=a.0.max(b.0) {
                        pieces.squares[row * columns + column].push(pieces.ends.len() as u32 - 1);
                    }
                }
            }
        }
        pieces
    }

    fn square(&self, point: Point) -> (usize, usize) {
        let at = |value: f64, count: usize| ((value / SQUARE_MM).max(0.0) as usize).min(count - 1);
        (at(point.x - self.corner.x, self.columns), at(point.y - self.corner.y, self.rows))
    }

    /// How far a point is from the nearest piece.
    fn distance(&self, point: Point) -> f64 {
        let (column, row) = self.square(point);
        // A point outside the box is farther from every square than its own square is.
        let inside = Point::new(
            point.x.clamp(self.corner.x, self.corner.x + self.columns as f64 * SQUARE_MM),
            point.y.clamp(self.corner.y, self.corner.y + self.rows as f64 * SQUARE_MM),
        );
        let beside = inside.distance(point);
        let mut best = f64::INFINITY;
        for ring in 0..self.columns.max(self.rows) {
            if (ring as f64 - 1.0) * SQUARE_MM - beside > best {
                break;
            }
            for row_at in row.saturating_sub(ring)..=(row + ring).min(self.rows - 1) {
                for column_at in column.saturating_sub(ring)..=(column + ring).min(self.columns - 1) {
                    if row_at.abs_diff(row).max(column_at.abs_diff(column)) == ring {
                        let near = &self.squares[row_at * self.columns + column_at];
                        best =
                            near.iter().map(|piece| from_piece(self.ends[*piece as usize], point)).fold(best, f64::min);
                    }
                }
            }
        }
        best
    }

    /// Where two pieces cross, and how many pieces of the line lie between.
    fn crossing(&self) -> Option<(Point, usize)> {
        self.squares.iter().find_map(|near| {
            let pairs =
                near.iter().enumerate().flat_map(|(index, one)| near[..index].iter().map(move |other| (*one, *other)));
            pairs.clone().find(|(one, other)| self.cross(*one, *other)).map(|(one, other)| {
                let (a, b) = (self.places[one as usize], self.places[other as usize]);
                (self.ends[one as usize].0, if a.0 == b.0 { a.1.abs_diff(b.1) } else { usize::MAX })
            })
        })
    }

    fn cross(&self, one: u32, other: u32) -> bool {
        let ((ring, place), (other_ring, other_place)) = (self.places[one as usize], self.places[other as usize]);
        let apart = place.abs_diff(other_place);
        if ring == other_ring && (apart <= 1 || apart == self.lengths[ring] - 1) {
            return false;
        }
        let ((a, b), (c, d)) = (self.ends[one as usize], self.ends[other as usize]);
        if ring == other_ring
            && apart.min(self.lengths[ring] - apart) <= LOOP_PIECES
            && b.distance(c).min(a.distance(d)) < LOOP_MM
        {
            return false;
        }
        let side = |from: Point, to: Point, point: Point| (to - from).cross(point - from);
        side(a, b, c) * side(a, b, d) < 0.0 && side(c, d, a) * side(c, d, b) < 0.0
    }
}

fn from_piece((from, to): (Point, Point), point: Point) -> f64 {
    let along = to - from;
    let share = if along.hypot2() > 0.0 { ((point - from).dot(along) / along.hypot2()).clamp(0.0, 1.0) } else { 0.0 };
    (from + along * share).distance(point)
}

/// Everything that design section 6 promises of a contour, as measured.
#[derive(Debug)]
pub(crate) struct Measured {
    /// Delivered border less asked, at its thinnest.
    pub(crate) border_short_mm: f64,
    /// Farthest between the lines and the edge of the region that they were fitted to.
    pub(crate) off_region_mm: f64,
    /// Degrees.
    pub(crate) worst_turn: f64,
    /// Smallest radii of curvature: where the line turns in, and out.
    pub(crate) radii_mm: (f64, f64),
    pub(crate) crossing: Option<(Point, usize)>,
    /// Lines that lie inside others.
    pub(crate) holes: usize,
    /// Parts that fall apart or vanish when they are shrunk by half of this.
    pub(crate) narrower: usize,
    /// The widest that those hold together at.
    pub(crate) narrowest_mm: Option<f64>,
}

/// Measures a contour; `narrow_mm`: the width that no place may be under.
pub(crate) fn measure(
    cut: &CutOut,
    outlined: &Outlined,
    border_mm: f64,
    cutting: &Cutting,
    narrow_mm: f64,
) -> Measured {
    let lines: Vec<Ring> = outlined.through.iter().map(|line| line.flattened(Mm::of(FLATNESS_MM))).collect();
    let pieces = Pieces::of(&lines);
    let region = &outlined.grown.as_ref().expect("a contour has grown").region.rings;
    let edge = Pieces::of(region);
    let farthest = |rings: &[Ring], from: &Pieces| {
        rings.iter().flat_map(Ring::points).map(|point| from.distance(*point)).fold(0.0, f64::max)
    };
    let coarse: Vec<Ring> = outlined.through.iter().map(|line| line.flattened(Mm::of(SHRUNK_FLATNESS_MM))).collect();
    let narrow: Vec<&Ring> = coarse.iter().filter(|line| !holds_together(line, narrow_mm / 2.0)).collect();
    Measured {
        border_short_mm: thinnest_border(cut, outlined, &lines, &pieces, cutting) - border_mm,
        off_region_mm: farthest(&lines, &edge).max(farthest(region, &pieces)),
        worst_turn: outlined.through.iter().map(worst_turn).fold(0.0, f64::max),
        radii_mm: radii(&outlined.through),
        crossing: pieces.crossing(),
        holes: outlined.through.len() - outlined.outer_lines,
        narrower: narrow.len(),
        narrowest_mm: narrow.iter().map(|line| width(line, narrow_mm)).reduce(f64::min),
    }
}

/// The least distance of the art's own edge from the lines; negative where it lies outside of them. Specks are not held to it.
fn thinnest_border(cut: &CutOut, outlined: &Outlined, lines: &[Ring], pieces: &Pieces, cutting: &Cutting) -> f64 {
    let mut thinnest = f64::INFINITY;
    for ring in &cut.edge.rings {
        let ring = ring.transformed(outlined.art_to_mm);
        let longest = ring.bounds().width().max(ring.bounds().height());
        // A hair over the limit: the art is scaled by a hair after its specks were told.
        if ring.signed_area() < 0.0 || longest < cutting.speck.mm() * 1.01 {
            continue;
        }
        for (from, to) in ring.edges() {
            let steps = (from.distance(to) / STEP_MM).ceil().max(1.0) as u32;
            for step in 0..steps {
                let point = from.lerp(to, f64::from(step) / f64::from(steps));
                let distance = pieces.distance(point);
                if distance < thinnest || distance < 4.0 {
                    let is_inside = lines.iter().any(|line| line.contains(point));
                    thinnest = thinnest.min(if is_inside { distance } else { -distance });
                }
            }
        }
    }
    thinnest
}

fn worst_turn(line: &CutLine) -> f64 {
    let mut ends: Vec<(Vec2, Vec2)> = Vec::new();
    each_cubic(line, |[a, b, c, d]| ends.push((b - a, d - c)));
    let turn = |one: Vec2, other: Vec2| one.cross(other).atan2(one.dot(other)).abs().to_degrees();
    (0..ends.len()).map(|at| turn(ends[at].1, ends[(at + 1) % ends.len()].0)).fold(0.0, f64::max)
}

fn radii(lines: &[CutLine]) -> (f64, f64) {
    let (mut most_in, mut most_out) = (1e-9_f64, 1e-9_f64);
    for line in lines {
        each_cubic(line, |[a, b, c, d]| {
            for sample in 0..=64 {
                let t = f64::from(sample) / 64.0;
                let u = 1.0 - t;
                let slope = ((b - a) * (u * u) + (c - b) * (2.0 * u * t) + (d - c) * (t * t)) * 3.0;
                let bend = (((c - b) - (b - a)) * u + ((d - c) - (c - b)) * t) * 6.0;
                let curvature = slope.cross(bend) / slope.hypot().max(1e-6).powi(3);
                most_in = most_in.max(-curvature);
                most_out = most_out.max(curvature);
            }
        });
    }
    (1.0 / most_in, 1.0 / most_out)
}

fn each_cubic(line: &CutLine, mut tell: impl FnMut([Point; 4])) {
    let mut at = Point::ORIGIN;
    for element in line.path().elements() {
        match *element {
            PathEl::MoveTo(to) => at = to,
            PathEl::CurveTo(leave, land, to) => {
                tell([at, leave, land, to]);
                at = to;
            }
            PathEl::LineTo(_) | PathEl::QuadTo(..) | PathEl::ClosePath => {}
        }
    }
}

/// Whether a shape shrunk by a radius, by `geo`, stays and stays in one piece.
fn holds_together(line: &Ring, radius: f64) -> bool {
    let outline: LineString = line.points().iter().map(|point| Coord { x: point.x, y: point.y }).collect();
    let shrunk: MultiPolygon = Polygon::new(outline, Vec::new()).buffer(-radius);
    let areas: Vec<f64> = shrunk.iter().map(Area::unsigned_area).collect();
    !areas.is_empty() && areas.iter().filter(|area| **area > PIECE_MM2).count() <= 1
}

/// The width that a line holds together at, to 0.01 mm.
fn width(line: &Ring, most_mm: f64) -> f64 {
    let steps = (1..(most_mm * 100.0) as u32).rev().map(|step| f64::from(step) / 100.0);
    steps.into_iter().find(|width| holds_together(line, width / 2.0)).unwrap_or(0.0)
}
