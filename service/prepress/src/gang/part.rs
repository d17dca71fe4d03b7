//! A lot made ready for placing: its masks at every angle, the circles inside it, its areas.

use super::body::Body;
use super::map::disc_for;
use super::mask::{Mask, simplified};
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::{Point, Pose, Rect, Ring, Vec2};
use crate::order::Rotate;

/// Positions are multiples of this, mm: that of [`Pose::rounded`], so that rounding a layout moves all its pieces alike.
pub(super) const TICK_MM: f64 = 1e-6;
/// The nearest tick: places and angles are whole ticks, and sums of them keep distances exactly.
pub(super) fn on_tick(length: f64) -> f64 {
    (length / TICK_MM).round() * TICK_MM
}

/// The nearest ticks across and along.
pub(super) fn at_tick(at: Vec2) -> Vec2 {
    Vec2::new(on_tick(at.x), on_tick(at.y))
}

/// The next tick, a hair past one counting as on it.
pub(super) fn up(length: f64) -> f64 {
    ((length - 1e-9) / TICK_MM).ceil() * TICK_MM
}

/// The tick before.
pub(super) fn down(length: f64) -> f64 {
    ((length + 1e-9) / TICK_MM).floor() * TICK_MM
}

/// Most corners of an outline for masks; true outlines are used everywhere else.
const MASK_CORNERS: usize = 200;
/// Width of the ring around a piece in which neighbours count as touching, mm.
const HALO_MM: f64 = 2.5;

/// What every part of a nesting is made for.
#[derive(Clone, Copy, Debug)]
pub(super) struct Scale {
    /// Side of a cell, mm.
    pub(super) cell: f64,
    /// Least distance between parts, mm.
    pub(super) gutter: f64,
    /// Steps of a full turn for parts that turn freely.
    pub(super) steps: u32,
    /// Angle from the sheet's frame to the feed frame.
    pub(super) feed_turn_deg: f64,
    /// Cells of the map start that far outside the window, mm.
    pub(super) pad: f64,
    /// Rows of the ring around a part that are looked at, about.
    pub(super) halo_rows: usize,
}

/// A lot made ready.
pub(super) struct Part {
    /// True outermost lines.
    pub(super) rings: Vec<Ring>,
    /// Outlines of few corners for masks and slides.
    pub(super) coarse: Vec<Ring>,
    /// How far the true outlines may stray from those, mm.
    pub(super) stray: f64,
    /// Enclosed area, mm².
    pub(super) area: f64,
    /// Area of the convex hull: what juts out needs room as if it were full, and goes before what is small.
    pub(super) hull_area: f64,
    /// Bleed outside the outline.
    pub(super) reach: f64,
    /// Every angle at which it may stand.
    pub(super) turns: Vec<Turn>,
}

/// A part at one angle.
pub(super) struct Turn {
    /// Angle in the feed frame, degrees clockwise.
    pub(super) angle_deg: f64,
    /// True bounding box about the origin.
    pub(super) bounds: Rect,
    /// Where the origin lands, from the window's corner, when the part stands at cell (0, 0).
    pub(super) anchor: Vec2,
    /// Cells of the outline grown by half the gutter.
    pub(super) mask: Mask,
    /// The ring around it.
    pub(super) halo: Halo,
    /// Discs inside the grown outline: number of the disc, cells from the place to its centre.
    pub(super) discs: Vec<(usize, i32, i32)>,
}

/// A ring around a mask in which neighbours count as touching.
pub(super) struct Halo {
    /// The ring with the mask inside it, whose cells are free where the part fits.
    pub(super) mask: Mask,
    /// Rows from one that is looked at to the next.
    pub(super) step: usize,
    /// Cells of the ring alone, up to each of those rows.
    pub(super) cells: Vec<u32>,
}

impl Part {
    /// Makes a lot ready at every allowed angle.
    ///
    /// # Errors
    /// `run.cancelled`.
    pub(super) fn new(
        rings: &[Ring],
        reach: f64,
        rotate: Rotate,
        scale: Scale,
        cancel: &Cancel,
    ) -> Result<Part, Fault> {
        let coarse = Coarse::of(rings);
        Part::at_angles(rings, reach, &angles(&coarse.rings, rotate, scale.steps), scale, cancel)
    }

    /// Makes a lot ready at some angles of the sheet's frame.
    ///
    /// # Errors
    /// `run.cancelled`.
    pub(super) fn at_angles(
        rings: &[Ring],
        reach: f64,
        angles: &[f64],
        scale: Scale,
        cancel: &Cancel,
    ) -> Result<Part, Fault> {
        cancel.check()?;
        let rings: Vec<Ring> = rings.iter().filter(|ring| !ring.points().is_empty()).cloned().collect();
        let area = rings.iter().map(Ring::area_mm2).sum();
        let hull_area = Ring::hull_of(&rings).area_mm2();
        let coarse = Coarse::of(&rings);
        let circles = circles(&rings);
        let mut turns = Vec::new();
        for angle in angles.iter().filter(|_| !rings.is_empty()) {
            cancel.check()?;
            turns.push(turn(&rings, &coarse, &circles, reach, angle + scale.feed_turn_deg, scale));
        }
        Ok(Part { rings, coarse: coarse.rings, stray: coarse.stray, area, hull_area, reach, turns })
    }
}

/// The widest bleed of any.
pub(super) fn most_reach(parts: &[Part]) -> f64 {
    parts.iter().map(|part| part.reach).fold(0.0, f64::max)
}

/// Outlines for masks, with how far the true ones may stray from them.
struct Coarse {
    rings: Vec<Ring>,
    stray: f64,
}

impl Coarse {
    fn of(rings: &[Ring]) -> Coarse {
        let corners = |rings: &[Ring]| rings.iter().map(|ring| ring.points().len()).sum::<usize>();
        let mut coarse = Coarse { rings: rings.to_vec(), stray: 0.0 };
        for stray in [0.005, 0.01, 0.02, 0.04, 0.08] {
            if corners(&coarse.rings) <= MASK_CORNERS {
                break;
            }
            let simpler = |ring: &Ring| Ring::new(simplified(ring.points(), stray));
            coarse = Coarse { rings: rings.iter().map(simpler).collect(), stray };
        }
        coarse
    }
}

fn turn(rings: &[Ring], coarse: &Coarse, circles: &[(Point, f64)], reach: f64, angle: f64, scale: Scale) -> Turn {
    let angle_deg = on_tick(angle).rem_euclid(360.0);
    let bounds = turned_bounds(rings, angle_deg);
    let least = Vec2::new(reach - bounds.x0, reach - bounds.y0);
    let anchor = Vec2::new(up(least.x), up(least.y));
    let affine = Pose { x_mm: anchor.x + scale.pad, y_mm: anchor.y + scale.pad, rotation_deg: angle_deg }.to_affine();
    let placed: Vec<Vec<Point>> =
        coarse.rings.iter().map(|r| r.points().iter().map(|p| affine * *p).collect()).collect();
    let growth = scale.gutter / 2.0 + coarse.stray;
    let mask = Mask::of(&placed, growth, scale.cell);
    let disc = |(centre, radius): &(Point, f64)| {
        let at = affine * *centre;
        let cell = |length: f64| (length / scale.cell).floor() as i32;
        disc_for(radius + scale.gutter / 2.0, scale.cell).map(|disc| (disc, cell(at.x), cell(at.y)))
    };
    let halo = Halo::of(&mask, Mask::of(&placed, growth + HALO_MM, scale.cell), scale.halo_rows);
    let discs = circles.iter().filter_map(disc).collect();
    Turn { angle_deg, bounds, anchor, mask, halo, discs }
}

impl Halo {
    fn of(mask: &Mask, around: Mask, rows: usize) -> Halo {
        let cells = |mask: &Mask, row: usize| mask.row(row).iter().map(|run| (run.to - run.from) as u32).sum::<u32>();
        let step = (around.rows() / rows).max(1);
        let mut sum = 0;
        let ring = |row: usize| {
            let inner = row as i32 + around.top - mask.top;
            let inner = usize::try_from(inner).ok().filter(|inner| *inner < mask.rows());
            sum += cells(&around, row).saturating_sub(inner.map_or(0, |inner| cells(mask, inner)));
            sum
        };
        let cells = (0..around.rows()).step_by(step).map(ring).collect();
        Halo { mask: around, step, cells }
    }

    /// Cells of the ring in the rows that are looked at.
    pub(super) fn all(&self) -> u32 {
        self.cells.last().copied().unwrap_or(0)
    }
}

/// Bounding box of rings turned about the origin.
pub(super) fn turned_bounds(rings: &[Ring], angle_deg: f64) -> Rect {
    let turn = Pose { rotation_deg: angle_deg, ..Pose::default() }.to_affine();
    let points = rings.iter().flat_map(|ring| ring.points()).map(|point| turn * *point);
    points.map(|p| Rect::from_points(p, p)).reduce(|a, b| a.union(b)).unwrap_or(Rect::ZERO)
}

/// Allowed angles in the sheet's frame: for free rotation even steps, and the four angles at which the smallest bounding box
/// lies square.
pub(super) fn angles(rings: &[Ring], rotate: Rotate, steps: u32) -> Vec<f64> {
    let quarters = [0.0, 90.0, 180.0, 270.0];
    match rotate {
        Rotate::None => vec![0.0],
        Rotate::HalfTurns => vec![0.0, 180.0],
        Rotate::QuarterTurns => quarters.to_vec(),
        Rotate::Free => {
            let square = smallest_box_angle(rings);
            let mut angles: Vec<f64> = (0..steps).map(|step| f64::from(step) * 360.0 / f64::from(steps)).collect();
            angles.extend(quarters.iter().map(|quarter| (square + quarter).rem_euclid(360.0)));
            angles.sort_by(f64::total_cmp);
            angles.dedup_by(|a, b| (*a - *b).abs() < 0.1);
            angles
        }
    }
}

/// Angle in 0..90 that lays the bounding box of least area square. One side of that box lies on an edge of the convex hull
/// (H. Freeman, R. Shapira, *Determining the minimum-area encasing rectangle*, 1975).
pub(super) fn smallest_box_angle(rings: &[Ring]) -> f64 {
    let hull = Ring::hull_of(rings);
    let mut best = (f64::INFINITY, 0.0);
    // Of a hull with very many edges neighbours are nearly parallel.
    for (a, b) in hull.edges().step_by(hull.points().len() / 256 + 1) {
        let angle = -(b - a).atan2().to_degrees();
        let area = turned_bounds(std::slice::from_ref(&hull), angle).area();
        if area < best.0 - 1e-9 {
            best = (area, angle.rem_euclid(90.0));
        }
    }
    best.1
}

/// Up to four circles inside the outline, the largest first, on a grid of points: any circle inside will do.
fn circles(rings: &[Ring]) -> Vec<(Point, f64)> {
    const GRID: u32 = 20;
    const CIRCLES: usize = 4;
    let body = Body::new(rings, 0.0);
    let mut spots: Vec<(Point, f64)> = Vec::new();
    for cell in 0..GRID * GRID {
        let part = |index: u32| (f64::from(index) + 0.5) / f64::from(GRID);
        let x = body.bounds.x0 + body.bounds.width() * part(cell % GRID);
        let y = body.bounds.y0 + body.bounds.height() * part(cell / GRID);
        let point = Point::new(x, y);
        if body.contains(point) {
            spots.push((point, body.distance_to_lines(point)));
        }
    }
    let mut chosen: Vec<(Point, f64)> = Vec::new();
    while chosen.len() < CIRCLES {
        let clear = |spot: &&(Point, f64)| chosen.iter().all(|(at, radius)| at.distance(spot.0) >= *radius);
        let Some(best) = spots.iter().filter(clear).max_by(|a, b| a.1.total_cmp(&b.1)) else { break };
        chosen.push(*best);
    }
    chosen
}
