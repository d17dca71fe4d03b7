//! Sticker sheets look full and even: no bald place, no bald corner.

use quoin_prepress::cancel::Cancel;
use quoin_prepress::gang::{PagePiece, PagePlan, arrange_page};
use quoin_prepress::geom::{Affine, Point, Pose, Ring};
use quoin_prepress::units::Mm;

use super::fixture;
use crate::chance::Chance;

/// Sizes between a piece's own and the smallest.
const SMALLER: u32 = 4;
const SMALLEST_MM: f64 = 12.0;
/// Raster on which empty circles are looked for, mm.
const GRID_MM: f64 = 1.0;

/// A page of some designs of the sticker workload: each in its size, a copy or two, and smaller copies for the gaps.
fn plan(seed: u64) -> PagePlan {
    let chance = &mut Chance::new(seed);
    let lots = chance.shuffled(&fixture("a-300-of-12.json").1);
    let (width, height) = chance.of(&[(105.0, 148.0), (148.0, 210.0), (210.0, 148.0), (100.0, 100.0)]);
    let designs = 3 + chance.below(4) as usize;
    let mut pieces = Vec::new();
    // So large that the ordered pieces take about half of the page.
    let area: f64 = lots[..designs].iter().map(|lot| lot.outermost[0].area_mm2()).sum();
    let own = (width * height * chance.between(0.3, 0.5) / area).sqrt().min(1.1);
    for lot in &lots[..designs] {
        let bounds = lot.outermost[0].bounds();
        let longest = bounds.width().max(bounds.height()) * own;
        let piece = |factor: f64, copies: u32| {
            let rings = lot.outermost.iter().map(|ring| ring.transformed(Affine::scale(own * factor)));
            PagePiece { outermost: rings.collect(), copies, fills: copies == 0 }
        };
        pieces.push(piece(1.0, 1));
        let step = |k: u32| (SMALLEST_MM / longest).powf(f64::from(k) / f64::from(SMALLER));
        pieces.extend((1..=SMALLER).filter(|_| longest > SMALLEST_MM).map(|k| piece(step(k), 0)));
    }
    let (width, height) = (Mm::of(width), Mm::of(height));
    PagePlan { width, height, corner_radius: Mm::of(4.0), gap: Mm::of(2.0), edge: Mm::of(3.0), pieces }
}

/// How even a page is.
#[derive(Debug)]
struct Evenness {
    /// Side of the smallest filling piece's box as a square, mm.
    smallest_mm: f64,
    /// Share of the room (the page less its edge) that pieces take.
    covered: f64,
    /// Diameter of the largest circle in the room that meets no piece, in side lengths of the smallest filling piece's box.
    bald: f64,
    /// Distance from the room's barest corner to the nearest piece, in the same measure.
    bald_corner: f64,
}

fn to_lines(point: Point, ring: &Ring) -> f64 {
    let to_edge = |(a, b): (Point, Point)| {
        let (along, to) = (b - a, point - a);
        let length_sq = along.hypot2();
        let t = if length_sq > 0.0 { (to.dot(along) / length_sq).clamp(0.0, 1.0) } else { 0.0 };
        (to - along * t).hypot()
    };
    ring.edges().map(to_edge).fold(f64::INFINITY, f64::min)
}

fn evenness(plan: &PagePlan, placed: &[(usize, Pose)]) -> Evenness {
    let rings: Vec<Ring> = placed
        .iter()
        .flat_map(|(piece, pose)| plan.pieces[*piece].outermost.iter().map(|ring| ring.transformed(pose.to_affine())))
        .collect();
    let room = (plan.width.mm() / 2.0 - plan.edge.mm(), plan.height.mm() / 2.0 - plan.edge.mm());
    let free = |point: Point| {
        if rings.iter().any(|ring| ring.contains(point)) {
            return 0.0;
        }
        rings.iter().map(|ring| to_lines(point, ring)).fold(f64::INFINITY, f64::min)
    };
    let mut radius = 0.0f64;
    let steps = |half: f64| (2.0 * half / GRID_MM) as i32;
    for column in 0..=steps(room.0) {
        for row in 0..=steps(room.1) {
            let point = Point::new(f64::from(column) * GRID_MM - room.0, f64::from(row) * GRID_MM - room.1);
            let to_side = (room.0 - point.x.abs()).min(room.1 - point.y.abs());
            if to_side > radius {
                radius = radius.max(free(point).min(to_side));
            }
        }
    }
    let corners = [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)];
    let bald_corner = corners.iter().map(|(x, y)| free(Point::new(x * room.0, y * room.1))).fold(0.0, f64::max);
    let filling = plan.pieces.iter().filter(|piece| piece.fills);
    let side = |piece: &PagePiece| {
        let bounds = piece.outermost[0].bounds();
        bounds.area().sqrt()
    };
    let smallest = filling.map(side).fold(f64::INFINITY, f64::min);
    let area: f64 = rings.iter().map(Ring::area_mm2).sum();
    Evenness {
        smallest_mm: smallest,
        covered: area / (4.0 * room.0 * room.1),
        bald: 2.0 * radius / smallest,
        bald_corner: bald_corner / smallest,
    }
}

#[test]
fn ten_pages_are_full_and_even() {
    for seed in 0..10 {
        let plan = plan(seed);
        let placed = arrange_page(&plan, &Cancel::new()).expect("a page with room");
        let found = evenness(&plan, &placed);
        println!("page {seed}, {} x {} mm {}: {found:?}", plan.width.mm(), plan.height.mm(), placed.len());
        // A circle in which the smallest piece would stand with its gap, whatever it looks like, holds one.
        let room = 2f64.sqrt() + 2.0 * plan.gap.mm() / found.smallest_mm;
        assert!(found.bald <= room && found.bald_corner <= room, "page {seed}: {found:?}, {room}");
        assert!(found.covered >= 0.6, "page {seed}: {found:?}");
    }
}
