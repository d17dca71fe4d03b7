//! Parabolas laid through points around a ring.

use super::{Point, Vec2};

/// Smooths by a parabola over 2 m + 1 points at even steps; the weight of the k-th is proportional to 3 m (m + 1) - 1 - 5 k².
///
/// Source: A. Savitzky, M. Golay, *Smoothing and differentiation of data by simplified least squares procedures*, 1964.
pub(crate) struct Parabola {
    half: usize,
    weights: Vec<f64>,
    total: f64,
}

impl Parabola {
    /// Over so many points to each side.
    pub(crate) fn over(half: usize) -> Parabola {
        let m = half as i64;
        let weights: Vec<f64> = (-m..=m).map(|k| (3 * m * (m + 1) - 1 - 5 * k * k) as f64).collect();
        Parabola { half, total: weights.iter().sum(), weights }
    }

    /// Where it lies at one of the points of a ring, which has at least as many as it spans to a side.
    pub(crate) fn at(&self, points: &[Point], index: usize) -> Vec2 {
        let first = index + points.len() - self.half;
        let weighted =
            |sum: Vec2, (k, weight): (usize, &f64)| sum + points[(first + k) % points.len()].to_vec2() * *weight;
        self.weights.iter().enumerate().fold(Vec2::ZERO, weighted) / self.total
    }
}
