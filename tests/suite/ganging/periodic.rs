//! One contour in a large quantity against an exhaustive search of double lattices that shares nothing with ganging.
//!
//! A double lattice: copies at i u + j v, and copies turned by half a turn at m + i u + j v (G. Kuperberg, W. Kuperberg,
//! *Double-lattice packings of convex bodies in the plane*, 1990). Two copies meet when the vector between them lies in a
//! no-fit region, here a raster on which every doubtful cell is taken, so that what it allows is allowed.

use quoin_prepress::geom::{Point, Rect, Vec2};
use quoin_prepress::order::Rotate;

use super::{fixture, frame, judged, lot, nesting};
use crate::chance::Chance;

/// Cells along the longest side.
const CELLS: f64 = 480.0;
/// Directions of u over half a turn.
const DIRECTIONS: u32 = 24;
/// How much longer than it need be u is tried.
const LENGTHS: [f64; 4] = [1.0, 1.05, 1.15, 1.35];
/// Places of the turned copy and of the next row along u.
const ALONG: usize = 32;
/// Steps across rows, in shares of the outline's longest side.
const ACROSS: f64 = 1.0 / 64.0;
/// Lattices that are refined, and moves for each.
const REFINED: usize = 16;
const MOVES: u32 = 8_000;

/// Vectors between two outlines at which they stand nearer than the gutter.
struct NoFit {
    cell: f64,
    half: i32,
    taken: Vec<bool>,
}

impl NoFit {
    /// Of cells of an outline with itself shifted, or with itself turned by half a turn and shifted.
    fn new(cells: &[(i32, i32)], rim: &[(i32, i32)], turned: bool, cell: f64) -> NoFit {
        let most = cells.iter().map(|(x, y)| x.abs().max(y.abs())).max().unwrap_or(0);
        let half = 2 * most + 3;
        let mut no_fit = NoFit { cell, half, taken: vec![false; ((2 * half + 1) * (2 * half + 1)) as usize] };
        // Outlines of one area that meet have a rim in common with the other's inside. In cells, a - b covers two cells a side
        // when b is shifted, a + b when it is turned: one cell more on each side is taken.
        let mut rows: Vec<(i32, Vec<(i32, i32)>)> = Vec::new();
        for (x, y) in cells {
            match rows.last_mut() {
                Some((row, runs)) if *row == *y => match runs.last_mut() {
                    Some(run) if run.1 + 1 == *x => run.1 = *x,
                    _ => runs.push((*x, *x)),
                },
                _ => rows.push((*y, vec![(*x, *x)])),
            }
        }
        for (a, b) in rim {
            for (row, runs) in &rows {
                for (from, to) in runs {
                    let (y, x0, x1) = if turned { (b + row, a + from, a + to) } else { (b - row, a - to, a - from) };
                    for y in y - 1..=y + 1 {
                        let base = (y + no_fit.half) * (2 * no_fit.half + 1) + no_fit.half;
                        no_fit.taken[(base + x0 - 1) as usize..=(base + x1 + 1) as usize].fill(true);
                    }
                }
            }
        }
        no_fit
    }

    fn takes(&self, at: Vec2) -> bool {
        let (x, y) = ((at.x / self.cell).round() as i32, (at.y / self.cell).round() as i32);
        let inside = x.abs() <= self.half && y.abs() <= self.half;
        inside && self.taken[((y + self.half) * (2 * self.half + 1) + x + self.half) as usize]
    }

    fn reach(&self) -> f64 {
        f64::from(self.half) * self.cell
    }
}

/// An outline about the middle of its box, and its no-fit regions.
struct Shape {
    corners: Vec<Point>,
    longest: f64,
    area: f64,
    grown_area: f64,
    own: NoFit,
    turned: NoFit,
}

impl Shape {
    fn new(corners: &[Point], gutter: f64) -> Shape {
        let ring = quoin_prepress::geom::Ring::new(corners.to_vec());
        let middle = ring.bounds().center().to_vec2();
        let ring = quoin_prepress::geom::Ring::new(corners.iter().map(|corner| *corner - middle).collect());
        let bounds = ring.bounds();
        let longest = bounds.width().max(bounds.height());
        let cell = longest / CELLS;
        let reach = gutter / 2.0 + cell * 0.75;
        let count = |side: f64| ((side / 2.0 + reach) / cell).ceil() as i32;
        let (columns, rows) = (count(bounds.width()), count(bounds.height()));
        let near = |x: i32, y: i32| {
            let point = Point::new(f64::from(x) * cell, f64::from(y) * cell);
            ring.contains(point) || ring.edges().any(|edge| to_edge_sq(point, edge) <= reach * reach)
        };
        let mut cells = Vec::new();
        for y in -rows..=rows {
            cells.extend((-columns..=columns).filter(|x| near(*x, y)).map(|x| (x, y)));
        }
        let known: std::collections::BTreeSet<(i32, i32)> = cells.iter().copied().collect();
        let beside = [(1, 0), (-1, 0), (0, 1), (0, -1)];
        let outer = |(x, y): &&(i32, i32)| beside.iter().any(|(dx, dy)| !known.contains(&(x + dx, y + dy)));
        let rim: Vec<(i32, i32)> = cells.iter().filter(outer).copied().collect();
        Shape {
            longest,
            area: ring.area_mm2(),
            grown_area: cells.len() as f64 * cell * cell,
            own: NoFit::new(&cells, &rim, false, cell),
            turned: NoFit::new(&cells, &rim, true, cell),
            corners: ring.points().to_vec(),
        }
    }

    fn bounds_at(&self, angle: f64) -> Rect {
        let turned = self.corners.iter().map(|corner| turned(corner.to_vec2(), angle).to_point());
        turned.map(|p| Rect::from_points(p, p)).reduce(|a, b| a.union(b)).unwrap_or(Rect::ZERO)
    }
}

fn to_edge_sq(point: Point, (a, b): (Point, Point)) -> f64 {
    let along = b - a;
    let t = ((point - a).dot(along) / along.hypot2().max(1e-12)).clamp(0.0, 1.0);
    (point - (a + along * t)).hypot2()
}

fn turned(vector: Vec2, angle: f64) -> Vec2 {
    let (sin, cos) = angle.sin_cos();
    Vec2::new(vector.x * cos - vector.y * sin, vector.x * sin + vector.y * cos)
}

/// A double lattice.
#[derive(Clone, Copy, Debug)]
struct Double {
    u: Vec2,
    v: Vec2,
    m: Vec2,
}

impl Double {
    fn area_per_copy(&self) -> f64 {
        self.u.cross(self.v).abs() / 2.0
    }

    /// Whether nothing stands too near: all vectors of the lattice within reach.
    fn holds(&self, shape: &Shape) -> bool {
        let reach = shape.own.reach() * 1.5 + self.m.hypot();
        let det = self.u.cross(self.v).abs();
        if det < 1e-9 {
            return false;
        }
        let most = |other: Vec2| (reach * other.hypot() / det).ceil().min(40.0) as i32;
        for i in -most(self.v)..=most(self.v) {
            for j in -most(self.u)..=most(self.u) {
                let at = self.u * f64::from(i) + self.v * f64::from(j);
                if ((i, j) != (0, 0) && shape.own.takes(at)) || shape.turned.takes(self.m + at) {
                    return false;
                }
            }
        }
        true
    }

    fn scaled(&self, factor: f64) -> Double {
        Double { u: self.u * factor, v: self.v * factor, m: self.m * factor }
    }

    /// The most copies in a window over turns of the whole and places of its origin.
    fn most_in(&self, shape: &Shape, window: Rect) -> usize {
        let straight = |vector: Vec2| -vector.atan2();
        let mut turns: Vec<f64> = (0..36).map(|step| f64::from(step) * std::f64::consts::TAU / 72.0).collect();
        for vector in [self.u, self.v, self.u + self.v, self.u - self.v] {
            turns.extend([straight(vector), straight(vector) + std::f64::consts::FRAC_PI_2]);
        }
        turns.into_iter().map(|turn| self.most_at(shape, window, turn)).max().unwrap_or(0)
    }

    fn most_at(&self, shape: &Shape, window: Rect, turn: f64) -> usize {
        const PHASES: u32 = 7;
        let (u, v, m) = (turned(self.u, turn), turned(self.v, turn), turned(self.m, turn));
        let bounds = shape.bounds_at(turn);
        // Origins may stand so; those of turned copies in the mirrored room.
        let (wide, high) = (window.width(), window.height());
        let plain = Rect::new(-bounds.x0, -bounds.y0, wide - bounds.x1, high - bounds.y1);
        let other = Rect::new(bounds.x1, bounds.y1, wide + bounds.x0, high + bounds.y0);
        let far = wide.hypot(high) + bounds.width() + bounds.height();
        let det = u.cross(v).abs();
        let most = |vector: Vec2| (far * vector.hypot() / det).ceil() as i32;
        let mut best = 0;
        for phase in 0..PHASES * PHASES {
            let share = |part: u32| f64::from(part) / f64::from(PHASES);
            let start = Vec2::new(plain.x0, plain.y0) + u * share(phase % PHASES) + v * share(phase / PHASES);
            let mut count = 0;
            for i in -most(v)..=most(v) {
                for j in -most(u)..=most(u) {
                    let at = (start + u * f64::from(i) + v * f64::from(j)).to_point();
                    count += usize::from(within(plain, at)) + usize::from(within(other, at + m));
                }
            }
            best = best.max(count);
        }
        best
    }
}

fn within(rect: Rect, at: Point) -> bool {
    rect.x0 - 1e-9 <= at.x && at.x <= rect.x1 + 1e-9 && rect.y0 - 1e-9 <= at.y && at.y <= rect.y1 + 1e-9
}

/// No-fit regions seen along rows of a vector u: taken at a place along u, at a height across.
struct Rows<'a> {
    shape: &'a Shape,
    u: Vec2,
    across: Vec2,
    own: Vec<Vec<bool>>,
    turned: Vec<Vec<bool>>,
    middle: i32,
}

impl<'a> Rows<'a> {
    fn new(shape: &'a Shape, u: Vec2) -> Rows<'a> {
        let step = shape.longest * ACROSS;
        let across = turned(u, std::f64::consts::FRAC_PI_2) * (step / u.hypot());
        let middle = (shape.own.reach() / step * 1.5).ceil() as i32;
        let sides = (shape.own.reach() * 1.5 / u.hypot()).ceil() as i32 + 1;
        let folded = |no_fit: &NoFit| -> Vec<Vec<bool>> {
            let at = |place: usize, height: i32| {
                let at = u * (place as f64 / ALONG as f64) + across * f64::from(height);
                (-sides..=sides).any(|k| no_fit.takes(at + u * f64::from(k)))
            };
            (0..ALONG).map(|place| (-middle..=middle).map(|height| at(place, height)).collect()).collect()
        };
        Rows { own: folded(&shape.own), turned: folded(&shape.turned), shape, u, across, middle }
    }

    fn takes(&self, folded: &[Vec<bool>], place: i64, height: i32) -> bool {
        let index = height + self.middle;
        let column = &folded[place.rem_euclid(ALONG as i64) as usize];
        usize::try_from(index).ok().and_then(|index| column.get(index)).copied().unwrap_or(false)
    }

    /// Looks at every place of the turned copy and of the next row that could beat `best` (area for each copy).
    fn search(&self, found: &mut Vec<(f64, Double)>, best: &mut f64) {
        let cross = self.u.hypot() * self.across.hypot();
        let least = (2.0 * self.shape.grown_area / cross).floor().max(1.0) as i32;
        for place in 0..ALONG as i64 {
            for height in -self.middle..=self.middle {
                if self.takes(&self.turned, place, height) {
                    continue;
                }
                for shift in 0..ALONG as i64 {
                    let most = (2.0 * *best * 1.02 / cross).ceil() as i32;
                    let fits = |rise: &i32| self.fits((place, height), (shift, *rise));
                    let Some(rise) = (least..=most).find(fits) else { continue };
                    let along = |place: i64| self.u * (place as f64 / ALONG as f64);
                    let v = along(shift) + self.across * f64::from(rise);
                    let m = along(place) + self.across * f64::from(height);
                    let double = Double { u: self.u, v, m };
                    *best = best.min(double.area_per_copy());
                    found.push((double.area_per_copy(), double));
                }
            }
        }
    }

    fn fits(&self, (place, height): (i64, i32), (shift, rise): (i64, i32)) -> bool {
        let mut row = 1;
        while row * rise <= self.middle + height.abs() {
            let (along, across) = (i64::from(row) * shift, row * rise);
            if self.takes(&self.own, along, across)
                || self.takes(&self.turned, place + along, height + across)
                || self.takes(&self.turned, place - along, height - across)
            {
                return false;
            }
            row += 1;
        }
        true
    }
}

/// The densest double lattices, best first.
fn exhaustive(shape: &Shape) -> Vec<Double> {
    let mut found: Vec<(f64, Double)> = Vec::new();
    let mut best = shape.grown_area * 1.6;
    for direction in 0..DIRECTIONS {
        let ahead = turned(Vec2::new(1.0, 0.0), f64::from(direction) * std::f64::consts::PI / f64::from(DIRECTIONS));
        let free = |length: f64| (1..40).all(|k| !shape.own.takes(ahead * (length * f64::from(k))));
        let step = shape.longest / 400.0;
        let Some(shortest) = (20..1_200).map(|k| f64::from(k) * step).find(|length| free(*length)) else { continue };
        for more in LENGTHS {
            Rows::new(shape, ahead * (shortest * more)).search(&mut found, &mut best);
        }
        found.sort_by(|a, b| a.0.total_cmp(&b.0));
        found.truncate(4_000);
    }
    let mut chosen: Vec<Double> = Vec::new();
    for (_, double) in found {
        let alike = |other: &Double| {
            (other.u - double.u).hypot() < 0.02 * shape.longest && (other.m - double.m).hypot() < 0.1 * shape.longest
        };
        if chosen.len() < REFINED && !chosen.iter().any(alike) {
            chosen.push(double);
        }
    }
    let mut refined: Vec<Double> = chosen.iter().filter_map(|double| refined(shape, *double)).collect();
    refined.sort_by(|a, b| a.area_per_copy().total_cmp(&b.area_per_copy()));
    refined
}

/// Small random moves of all three vectors that keep everything apart and save area.
fn refined(shape: &Shape, double: Double) -> Option<Double> {
    let chance = &mut Chance::new(9);
    let mut best = (0..30).map(|k| double.scaled(1.0 + 0.004 * f64::from(k))).find(|double| double.holds(shape))?;
    for number in 0..MOVES {
        let wide = shape.longest * 0.04 * 0.02f64.powf(f64::from(number) / f64::from(MOVES));
        let mut nudge = || Vec2::new(chance.between(-wide, wide), chance.between(-wide, wide));
        let moved = Double { u: best.u + nudge(), v: best.v + nudge(), m: best.m + nudge() };
        if moved.area_per_copy() < best.area_per_copy() && moved.holds(shape) {
            best = moved;
        }
    }
    Some(best)
}

fn heart(size: f64) -> Vec<Point> {
    // The well-known curve of sines.
    let corner = |index: u32| {
        let t = f64::from(index) / 90.0 * std::f64::consts::TAU;
        let y = 13.0 * t.cos() - 5.0 * (2.0 * t).cos() - 2.0 * (3.0 * t).cos() - (4.0 * t).cos();
        Point::new(16.0 * t.sin().powi(3) * size / 32.0, -y * size / 32.0)
    };
    (0..90).map(corner).collect()
}

fn star(size: f64) -> Vec<Point> {
    let corner = |index: u32| {
        let angle = f64::from(index) / 10.0 * std::f64::consts::TAU;
        let radius = size / 2.0 * if index.is_multiple_of(2) { 1.0 } else { 0.45 };
        Point::new(radius * angle.sin(), -radius * angle.cos())
    };
    (0..10).map(corner).collect()
}

#[test]
fn one_contour_fills_a_sheet_like_the_best_double_lattice_of_an_exhaustive_search() {
    let window = Rect::new(10.0, 10.0, 320.0, 470.0);
    let gutter = 2.0;
    let clip = fixture("a-300-of-12.json").1[3].outermost[0].points().to_vec();
    for (name, corners) in [("heart", heart(34.0)), ("star", star(38.0)), ("clip art", clip)] {
        let shape = Shape::new(&corners, gutter);
        let lattices = exhaustive(&shape);
        let reference = lattices.iter().take(6).map(|double| double.most_in(&shape, window)).max().unwrap_or(0);
        let frame = frame(window, Vec::new());
        let layout = judged(&nesting(&frame, gutter, vec![lot(corners, Rotate::Free, 1_500)]));
        let count = layout.sheets[0].len();
        let share = |count: usize| count as f64 * shape.area / window.area();
        let densest = shape.area / lattices.first().expect("some lattice").area_per_copy();
        println!(
            "{name}: {count} on a sheet ({:.4}), reference {reference} ({:.4}), its lattice {densest:.4}",
            share(count),
            share(reference)
        );
        assert!(reference > 30 && share(count) >= share(reference) - 0.01, "{name}: {count} of {reference}");
    }
}

#[test]
fn the_reference_knows_the_lattices_of_triangles_and_discs() {
    // Two triangles make a parallelogram, which tiles: density 1. Discs: pi / sqrt(12) (Lagrange, 1773). The raster costs some.
    let triangle = vec![Point::new(0.0, 0.0), Point::new(30.0, 0.0), Point::new(11.0, 20.0)];
    for (corners, density) in [(triangle, 1.0), (super::outlines::disc(30.0, 90), std::f64::consts::PI / 12f64.sqrt())]
    {
        let shape = Shape::new(&corners, 0.0);
        let found = shape.area / exhaustive(&shape).first().expect("some lattice").area_per_copy();
        assert!(found <= density + 1e-9 && found >= density - 0.025, "{found} of {density}");
    }
}
