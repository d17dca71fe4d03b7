//! Pictures drawn by chance: blobs, stars, combs and dust, anti-aliased, each of them the same whenever its seed is.

use std::f64::consts::TAU;
use std::sync::Arc;

use image::{Rgba, RgbaImage};
use quoin_prepress::intake::{Artwork, Format};

use crate::chance::Chance;

/// Rows into which a row of pixels is divided; across, coverage is exact.
const SUB_ROWS: usize = 8;

/// Free pixels around a drawing.
const MARGIN_PX: f64 = 3.0;

/// Corners of a polygon, clockwise with y down; holes the other way.
pub(crate) type Polygon = Vec<[f64; 2]>;

/// What is drawn.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Kind {
    Blob,
    Star,
    Comb,
    Dust,
}

/// A drawing by chance, in pixels.
pub(crate) fn drawing(kind: Kind, chance: &mut Chance) -> Vec<Polygon> {
    let size = chance.between(150.0, 700.0);
    match kind {
        Kind::Blob => blob(size, chance),
        Kind::Star => vec![star(size, chance)],
        Kind::Comb => vec![comb(size, chance)],
        Kind::Dust => dust(size, chance),
    }
}

/// A closed curve about a point, its distance told by the angle.
fn around(centre: [f64; 2], corners: u32, distance: impl Fn(f64) -> f64) -> Polygon {
    let corner = |n: u32| {
        let angle = f64::from(n) / f64::from(corners) * TAU;
        [centre[0] + distance(angle) * angle.cos(), centre[1] + distance(angle) * angle.sin()]
    };
    (0..corners).map(corner).collect()
}

/// A few waves around a disc; every second one has a hole.
fn blob(size: f64, chance: &mut Chance) -> Vec<Polygon> {
    let waves: Vec<(f64, f64, f64)> = (2..9)
        .map(|wave| (f64::from(wave), chance.between(0.0, 0.6) / f64::from(wave), chance.between(0.0, TAU)))
        .collect();
    let distance = |angle: f64| {
        let sum: f64 = waves.iter().map(|(wave, height, phase)| height * (wave * angle + phase).cos()).sum();
        size / 2.0 * (1.0 + sum).max(0.08)
    };
    let mut polygons = vec![around([0.0; 2], 900, distance)];
    if chance.between(0.0, 1.0) < 0.5 {
        let mut hole = around([0.0; 2], 300, |angle| distance(angle) * 0.5);
        hole.reverse();
        polygons.push(hole);
    }
    polygons
}

fn star(size: f64, chance: &mut Chance) -> Polygon {
    let tips = chance.between(4.0, 25.0) as u32;
    let (inner, turn) = (chance.between(0.15, 0.85), chance.between(0.0, TAU));
    let corner = |n: u32| {
        let angle = turn + f64::from(n) / f64::from(2 * tips) * TAU;
        let radius = size / 2.0 * if n.is_multiple_of(2) { 1.0 } else { inner };
        [radius * angle.cos(), radius * angle.sin()]
    };
    (0..2 * tips).map(corner).collect()
}

/// Teeth of all widths and lengths, down from a bar.
fn comb(size: f64, chance: &mut Chance) -> Polygon {
    let bar = size * chance.between(0.02, 0.15);
    let mut edge = Vec::new();
    let mut x = 0.0;
    while x < size {
        let (tooth, gap) = (size * chance.between(0.006, 0.06), size * chance.between(0.006, 0.06));
        let (long, slant) = (size * chance.between(0.02, 0.5), tooth * chance.between(0.0, 0.5));
        edge.extend([[x, bar], [x + slant, bar + long], [x + tooth, bar + long], [x + tooth, bar]]);
        x += tooth + gap;
    }
    let right = edge[edge.len() - 1][0];
    edge.reverse();
    edge.splice(0..0, [[0.0, 0.0], [right, 0.0]]);
    edge
}

/// A body and many dots around it.
fn dust(size: f64, chance: &mut Chance) -> Vec<Polygon> {
    let (wide, tall) = (size * chance.between(0.15, 0.4), size * chance.between(0.15, 0.4));
    let mut polygons = vec![vec![[-wide, -tall], [wide, -tall], [wide, tall], [-wide, tall]]];
    for _ in 0..chance.between(10.0, 150.0) as u32 {
        let centre = [chance.between(-size / 2.0, size / 2.0), chance.between(-size / 2.0, size / 2.0)];
        let radius = chance.between(0.5, size * 0.02);
        polygons.push(around(centre, 24, |_| radius));
    }
    polygons
}

/// Polygons moved onto a canvas and filled; where one lies on another, once.
pub(crate) fn picture(mut polygons: Vec<Polygon>) -> Artwork {
    let bound = |axis: usize, pick: fn(f64, f64) -> f64| {
        polygons.iter().flatten().map(|corner| corner[axis]).reduce(pick).expect("something is drawn")
    };
    let (left, top) = (bound(0, f64::min) - MARGIN_PX, bound(1, f64::min) - MARGIN_PX);
    let width = (bound(0, f64::max) - left + MARGIN_PX).ceil() as usize;
    let height = (bound(1, f64::max) - top + MARGIN_PX).ceil() as usize;
    polygons.iter_mut().flatten().for_each(|corner| *corner = [corner[0] - left, corner[1] - top]);
    let mut coverage = vec![0.0_f64; width * height];
    for sub_row in 0..height * SUB_ROWS {
        let y = (sub_row as f64 + 0.5) / SUB_ROWS as f64;
        let row = &mut coverage[sub_row / SUB_ROWS * width..][..width];
        spans(&polygons, y).into_iter().for_each(|span| add(row, span));
    }
    let alpha = |x: u32, y: u32| (coverage[y as usize * width + x as usize] * 255.0 / SUB_ROWS as f64).round() as u8;
    let pixels = RgbaImage::from_fn(width as u32, height as u32, |x, y| Rgba([40, 90, 160, alpha(x, y)]));
    Artwork::new(Arc::new(pixels), Format::Png)
}

/// Where a horizontal line runs inside: winding number not zero.
fn spans(polygons: &[Polygon], y: f64) -> Vec<(f64, f64)> {
    let mut crossings: Vec<(f64, i32)> = Vec::new();
    for polygon in polygons {
        for (index, from) in polygon.iter().enumerate() {
            let to = polygon[(index + 1) % polygon.len()];
            if (from[1] <= y) != (to[1] <= y) {
                let x = from[0] + (to[0] - from[0]) * (y - from[1]) / (to[1] - from[1]);
                crossings.push((x, if from[1] <= y { 1 } else { -1 }));
            }
        }
    }
    crossings.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut winding = 0;
    let pairs = crossings.windows(2).filter_map(|pair| {
        winding += pair[0].1;
        (winding != 0).then_some((pair[0].0, pair[1].0))
    });
    pairs.collect()
}

fn add(row: &mut [f64], (from, to): (f64, f64)) {
    let last = row.len() - 1;
    for (column, covered) in row.iter_mut().enumerate().take((to as usize).min(last) + 1).skip(from.max(0.0) as usize) {
        let x = column as f64;
        *covered += (to.min(x + 1.0) - from.max(x)).max(0.0);
    }
}
