//! Outlines, random and regular.

use std::f64::consts::TAU;

use quoin_prepress::geom::Point;

use crate::chance::Chance;

/// A simple outline of one of the kinds that trouble makes, with about so long a side; its origin is anywhere near.
pub(super) fn outline(chance: &mut Chance, size: f64) -> Vec<Point> {
    let shift = (chance.between(-0.6, 0.6) * size, chance.between(-0.6, 0.6) * size);
    let half = size / 2.0;
    let (a, b) = (chance.between(0.15, 0.9) * half, chance.between(0.15, 0.9) * half);
    let corners = match chance.below(8) {
        0 => round(chance, size, 5, 24, 0.35),
        1 => round(chance, size, 24, 60, 0.7),
        // Thousands of corners, smooth and ragged.
        2 => round(chance, size, 1_500, 3_500, 0.97),
        3 => vec![(-half, 0.0), (half, -size * 1e-4), (half, size * 1e-4)],
        4 => {
            vec![(-half, -half), (half, -half), (half, a - half), (b - half, a - half), (b - half, half), (-half, half)]
        }
        5 => vec![(-half, -a), (half, -a), (half, a), (-half, a)],
        // A bay that is wider inside than at its mouth.
        6 => vec![
            (-half, -half),
            (-0.1 * half, -half),
            (-0.6 * half, 0.5 * half),
            (0.6 * half, 0.5 * half),
            (0.1 * half, -half),
            (half, -half),
            (half, half),
            (-half, half),
        ],
        // Doubled corners and corners in the middle of sides.
        _ => vec![(-half, -a), (-half, -a), (0.0, -a), (half, -a), (half, a), (half, a), (0.3 * half, a), (-half, a)],
    };
    let mut corners: Vec<Point> = corners.into_iter().map(|(x, y)| Point::new(x + shift.0, y + shift.1)).collect();
    if chance.below(2) == 0 {
        corners.reverse();
    }
    corners
}

/// Corners at even angles, from some share of the radius to the whole.
fn round(chance: &mut Chance, size: f64, fewest: u32, most: u32, least_share: f64) -> Vec<(f64, f64)> {
    let count = fewest + chance.below(most - fewest);
    let corner = |index: u32| {
        let angle = TAU * f64::from(index) / f64::from(count);
        let radius = size / 2.0 * chance.between(least_share, 1.0);
        (radius * angle.cos(), radius * 0.8 * angle.sin())
    };
    (0..count).map(corner).collect()
}

/// A circle's corners.
pub(super) fn disc(diameter: f64, corners: u32) -> Vec<Point> {
    let corner = |index: u32| {
        let angle = TAU * f64::from(index) / f64::from(corners);
        Point::new(diameter / 2.0 * angle.cos(), diameter / 2.0 * angle.sin())
    };
    (0..corners).map(corner).collect()
}

/// A rectangle about the origin.
pub(super) fn rectangle(width: f64, height: f64) -> Vec<Point> {
    let (x, y) = (width / 2.0, height / 2.0);
    vec![Point::new(-x, -y), Point::new(x, -y), Point::new(x, y), Point::new(-x, y)]
}

/// A rectangle with round corners.
pub(super) fn rounded(width: f64, height: f64, radius: f64) -> Vec<Point> {
    const STEPS: u32 = 12;
    let mut corners = Vec::new();
    for (quarter, (x, y)) in [(1.0, 1.0), (-1.0, 1.0), (-1.0, -1.0), (1.0, -1.0)].into_iter().enumerate() {
        for step in 0..=STEPS {
            let angle = TAU / 4.0 * (quarter as f64 + f64::from(step) / f64::from(STEPS));
            let centre = (x * (width / 2.0 - radius), y * (height / 2.0 - radius));
            corners.push(Point::new(centre.0 + radius * angle.cos(), centre.1 + radius * angle.sin()));
        }
    }
    corners
}
