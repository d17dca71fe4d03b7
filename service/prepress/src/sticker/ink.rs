//! How much of a sticker carries colour.

use super::grid::fill_inside;
use super::{PlacedPrint, Sticker};
use crate::geom::Ring;

/// What is no colour: the stock's own white, or white ink.
const WHITE: [u8; 3] = [255, 255, 255];

impl Sticker {
    /// Share of the area inside the outermost lines that carries any colour but pure white, 0 to 1: the mean of alpha over
    /// that area, where a pixel counts with its alpha unless its colour is exactly `#ffffff`. Bleed does not count.
    pub fn ink_share(&self) -> f64 {
        if self.area_mm2 <= 0.0 {
            return 0.0;
        }
        let inked: f64 = self.prints.iter().map(|placed| inked_mm2(placed, &self.outermost)).sum();
        (inked / self.area_mm2).clamp(0.0, 1.0)
    }
}

/// Area of colour inside rings, mm².
fn inked_mm2(placed: &PlacedPrint, outermost: &[Ring]) -> f64 {
    let to_px = placed.to_mm.inverse();
    let rings: Vec<Ring> = outermost.iter().map(|ring| ring.transformed(to_px)).collect();
    let (colour, alpha) = (placed.print.colour.unpack(), placed.print.alpha.unpack());
    let mut sum = 0_u64;
    fill_inside(&rings, placed.print.width_px as usize, placed.print.height_px as usize, |index| {
        if colour.get(index * 3..index * 3 + 3).is_some_and(|channels| channels != WHITE) {
            sum += u64::from(alpha[index]);
        }
    });
    sum as f64 / 255.0 * placed.to_mm.determinant().abs()
}
