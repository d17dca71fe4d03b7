//! Clips printed bleeds on the middle line between neighbours that stand closer than their bleeds reach.
//!
//! From points along a sticker's outermost line the bleed may go outward as far as the neighbours' lines are at least as
//! far away as the point it came from: that is the middle line (the bisector of the two outlines). What may be printed on
//! is the union of the sticker's shape and these strips.

use geo::{Coord, LineString, MultiPolygon, Polygon, unary_union};

use crate::geom::{BezPath, Point, Rect, Ring, Vec2, squared_distance};
use crate::sheet::Placement;
use crate::units::Mm;

/// Between points along an outline. The middle line is followed to about the square of this over eight times its radius of
/// curvature: under 0.01 mm.
const STEP_MM: f64 = 0.3;
/// Largest turn between two directions in which a bleed is measured at a corner.
const FAN_RAD: f64 = 0.35;
/// How exactly the middle is found.
const MIDDLE_MM: f64 = 0.002;
/// Beyond this a clip need not say more than "everything": print reaches no farther.
const SLACK_MM: f64 = 0.5;

/// An outline on the sheet in straight pieces.
struct Outline {
    rings: Vec<Ring>,
    bounds: Rect,
}

/// Sets [`Placement::clip`] where a neighbour's line is nearer than twice the bleed; `None` elsewhere. The gutter is what
/// ganging kept between outermost lines: with twice the largest bleed nothing can be that near.
pub fn clip_bleeds(placements: &mut [Placement], gutter: Mm) {
    let reach = placements.iter().map(|placement| placement.sticker.reach.mm()).fold(0.0, f64::max);
    placements.iter_mut().for_each(|placement| placement.clip = None);
    if gutter.mm() >= 2.0 * reach {
        return;
    }
    let outlines: Vec<Outline> = placements.iter().map(outline).collect();
    let clips: Vec<Option<BezPath>> = placements
        .iter()
        .enumerate()
        .map(|(number, placement)| clip(&outlines, number, placement.sticker.reach.mm()))
        .collect();
    for (placement, clip) in placements.iter_mut().zip(clips) {
        placement.clip = clip;
    }
}

fn outline(placement: &Placement) -> Outline {
    let transform = placement.pose.to_affine();
    let rings: Vec<Ring> = placement.sticker.outermost.iter().map(|ring| ring.transformed(transform)).collect();
    Outline { rings, bounds: placement.bounds() }
}

/// The clip of one placement.
fn clip(outlines: &[Outline], number: usize, reach: f64) -> Option<BezPath> {
    let own = &outlines[number];
    let around = own.bounds.inflate(2.0 * reach, 2.0 * reach);
    let near =
        |area: Rect| area.x0 <= around.x1 && area.x1 >= around.x0 && area.y0 <= around.y1 && area.y1 >= around.y0;
    let others = outlines.iter().enumerate().filter(|(index, other)| *index != number && near(other.bounds));
    let edges: Vec<(Point, Point)> = others
        .flat_map(|(_, other)| other.rings.iter().flat_map(Ring::edges))
        .filter(|(a, b)| near(Rect::from_points(*a, *b)))
        .collect();
    if reach <= 0.0 || edges.is_empty() {
        return None;
    }
    let grid = Grid::new(&edges, around, 2.0 * reach);
    let mut limited = false;
    let mut strips: Vec<Polygon> = Vec::new();
    for ring in &own.rings {
        let rays: Vec<Ray> = rays(ring);
        let ends: Vec<Point> = rays
            .iter()
            .map(|ray| {
                let far = grid.middle(*ray, reach);
                limited |= far < reach;
                ray.from + ray.outward * if far < reach { far } else { reach + SLACK_MM }
            })
            .collect();
        for at in 0..rays.len() {
            let next = (at + 1) % rays.len();
            strips.push(polygon(&[rays[at].from, rays[next].from, ends[next], ends[at]]));
        }
        strips.push(polygon(ring.points()));
    }
    limited.then(|| to_path(&unary_union(&strips)))
}

/// A place on an outline and a direction out of it.
#[derive(Clone, Copy)]
struct Ray {
    from: Point,
    outward: Vec2,
}

/// Places along a ring with their normals; at corners, directions in between.
fn rays(ring: &Ring) -> Vec<Ray> {
    let side = if ring.signed_area() > 0.0 { 1.0 } else { -1.0 };
    let edges: Vec<(Point, Point)> = ring.edges().collect();
    let normal = |(a, b): (Point, Point)| {
        let along = (b - a) / a.distance(b).max(f64::MIN_POSITIVE);
        Vec2::new(along.y, -along.x) * side
    };
    let mut rays = Vec::new();
    for (number, edge) in edges.iter().enumerate() {
        let outward = normal(*edge);
        let before = normal(edges[(number + edges.len() - 1) % edges.len()]);
        let turn = before.cross(outward).atan2(before.dot(outward));
        let fan = (turn.abs() / FAN_RAD).ceil().max(1.0);
        for step in 1..fan as usize {
            let (sin, cos) = (turn * step as f64 / fan).sin_cos();
            let between = Vec2::new(before.x * cos - before.y * sin, before.x * sin + before.y * cos);
            rays.push(Ray { from: edge.0, outward: between });
        }
        let steps = (edge.0.distance(edge.1) / STEP_MM).ceil().max(1.0);
        for step in 0..=steps as usize {
            rays.push(Ray { from: edge.0.lerp(edge.1, step as f64 / steps), outward });
        }
    }
    rays
}

/// Always run the same way round: the union counts windings, and opposite ones would cancel.
fn polygon(points: &[Point]) -> Polygon {
    let ring = Ring::new(points.to_vec());
    let ring = if ring.signed_area() < 0.0 { ring.reversed() } else { ring };
    let ring = ring.points().iter().map(|point| Coord { x: point.x, y: point.y }).collect();
    Polygon::new(LineString::new(ring), Vec::new())
}

fn to_path(area: &MultiPolygon) -> BezPath {
    let mut path = BezPath::new();
    for polygon in area {
        for ring in std::iter::once(polygon.exterior()).chain(polygon.interiors()) {
            let corners: Vec<Point> = ring.coords().map(|c| Point::new(c.x, c.y)).collect();
            let Some((first, rest)) = corners.split_first() else { continue };
            path.move_to(*first);
            rest.iter().take(rest.len().saturating_sub(1)).for_each(|corner| path.line_to(*corner));
            path.close_path();
        }
    }
    path
}

/// Neighbours' edges by cells, each edge in every cell within reach of it.
struct Grid<'a> {
    edges: &'a [(Point, Point)],
    origin: Point,
    cell: f64,
    columns: usize,
    cells: Vec<Vec<u32>>,
}

impl<'a> Grid<'a> {
    /// Cells over `around`; queries see every edge nearer than `within`.
    fn new(edges: &'a [(Point, Point)], around: Rect, within: f64) -> Grid<'a> {
        // At most a few hundred cells each way, whatever the sizes are.
        let cell = within.max(around.width().max(around.height()) / 256.0);
        let columns = (around.width() / cell) as usize + 1;
        let rows = (around.height() / cell) as usize + 1;
        let mut grid = Grid { edges, origin: around.origin(), cell, columns, cells: vec![Vec::new(); columns * rows] };
        for (number, (a, b)) in edges.iter().enumerate() {
            let area = Rect::from_points(*a, *b).inflate(within, within);
            let ((x0, y0), (x1, y1)) = (grid.cell_of(area.origin()), grid.cell_of(Point::new(area.x1, area.y1)));
            for index in (y0..=y1).flat_map(|y| (x0..=x1).map(move |x| y * columns + x)) {
                grid.cells[index].push(number as u32);
            }
        }
        grid
    }

    fn cell_of(&self, point: Point) -> (usize, usize) {
        let rows = self.cells.len() / self.columns;
        let x = ((point.x - self.origin.x) / self.cell).max(0.0) as usize;
        let y = ((point.y - self.origin.y) / self.cell).max(0.0) as usize;
        (x.min(self.columns - 1), y.min(rows - 1))
    }

    /// Distance to the nearest edge in reach; infinite where none is.
    fn distance(&self, point: Point) -> f64 {
        let (x, y) = self.cell_of(point);
        let here = &self.cells[y * self.columns + x];
        let squared = here.iter().map(|number| squared_distance(point, self.edges[*number as usize]));
        squared.fold(f64::INFINITY, f64::min).sqrt()
    }

    /// How far along a ray the neighbours stay at least as far away as where it came from, at most `reach`. What is left
    /// over shrinks along the ray, because a distance changes no faster than one walks: so halving finds it.
    fn middle(&self, ray: Ray, reach: f64) -> f64 {
        let free = |t: f64| self.distance(ray.from + ray.outward * t) >= t;
        if free(reach) {
            return reach;
        }
        let (mut low, mut high) = (0.0, reach);
        while high - low > MIDDLE_MM {
            let half = f64::midpoint(low, high);
            if free(half) { low = half } else { high = half }
        }
        low
    }
}
