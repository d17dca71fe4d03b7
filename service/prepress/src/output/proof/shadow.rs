//! The soft shadow around a sticker.

use resvg::tiny_skia::{FillRule, Mask, Transform};

use crate::geom::{Affine, BezPath};
use crate::output::skia;

/// The shadow is drawn in pixels so many times larger, because it is soft.
const COARSE: u32 = 4;
/// How soft, as a share of the picture's longest side: in pixels the radius of each of three box blurs, which together come
/// near to a Gaussian of about that deviation (P. Kovesi, "Fast almost-Gaussian filtering", 2010).
pub(super) const SOFT_SHARE: f64 = 0.009;
/// How far it falls below the sticker, as a share of the picture's longest side.
pub(super) const DROP_SHARE: f64 = 0.004;
/// How dark it is at most.
pub(super) const STRENGTH: f64 = 0.38;

/// Darkness around a shape.
pub(super) struct Shadow {
    width: u32,
    height: u32,
    darkness: Vec<f32>,
}

impl Shadow {
    /// Of a shape given in the picture's pixels.
    pub(super) fn of(shape: &BezPath, width_px: u32, height_px: u32) -> Option<Shadow> {
        // One to spare on each side, so that the last pixel still lies between two.
        let (width, height) = (width_px.div_ceil(COARSE) + 2, height_px.div_ceil(COARSE) + 2);
        let longest = f64::from(width_px.max(height_px));
        let coarse = Affine::translate((1.0, 1.0))
            * Affine::scale(1.0 / f64::from(COARSE))
            * Affine::translate((0.0, longest * DROP_SHARE));
        let mut mask = Mask::new(width, height)?;
        mask.fill_path(&skia::path(&(coarse * shape))?, FillRule::Winding, true, Transform::identity());
        let mut darkness: Vec<f32> =
            mask.data().iter().map(|cover| f32::from(*cover) * STRENGTH as f32 / 255.0).collect();
        let radius = ((longest * SOFT_SHARE / f64::from(COARSE)).round() as usize).max(1);
        for _ in 0..3 {
            darkness = turned(&blurred_rows(&darkness, width as usize, radius), width as usize);
            darkness = turned(&blurred_rows(&darkness, height as usize, radius), height as usize);
        }
        Some(Shadow { width, height, darkness })
    }

    /// Darkness of a pixel of the picture, 0 to 1, between the four nearest.
    pub(super) fn at(&self, x: usize, y: usize) -> f32 {
        let place = |pixel: usize| (pixel as f32 + 0.5) / COARSE as f32 + 0.5;
        let (x, y) = (place(x), place(y));
        let (column, row) = (x as usize, y as usize);
        let (across, down) = (x - column as f32, y - row as f32);
        let get = |column: usize, row: usize| {
            let (column, row) = (column.min(self.width as usize - 1), row.min(self.height as usize - 1));
            self.darkness[row * self.width as usize + column]
        };
        let upper = get(column, row) * (1.0 - across) + get(column + 1, row) * across;
        let lower = get(column, row + 1) * (1.0 - across) + get(column + 1, row + 1) * across;
        upper * (1.0 - down) + lower * down
    }
}

/// Each row averaged over `2 * radius + 1` pixels; beyond its ends there is nothing.
fn blurred_rows(pixels: &[f32], width: usize, radius: usize) -> Vec<f32> {
    let share = 1.0 / (2 * radius + 1) as f32;
    let mut out = Vec::with_capacity(pixels.len());
    for row in pixels.chunks_exact(width) {
        // Sums of the row's beginnings, so that no rounding is carried along.
        let mut sums = vec![0.0_f64; width + 1];
        for (index, value) in row.iter().enumerate() {
            sums[index + 1] = sums[index] + f64::from(*value);
        }
        let sum = |index: usize| sums[(index + radius + 1).min(width)] - sums[index.saturating_sub(radius)];
        out.extend((0..width).map(|index| sum(index) as f32 * share));
    }
    out
}

/// Rows become columns.
fn turned(pixels: &[f32], width: usize) -> Vec<f32> {
    let height = pixels.len() / width.max(1);
    (0..pixels.len()).map(|index| pixels[index % height * width + index / height]).collect()
}
