//! A checksum of what will be made: the same sticker has the same one, however its art was sent and wherever it is made.

use std::collections::BTreeMap;
use std::sync::Arc;

use sha2::{Digest, Sha256};

use super::{Cut, Print, Sticker};
use crate::colour::coated;
use crate::geom::PathEl;
use crate::order::{Face, PrintColour};

/// Names what follows, so that no two different stickers are written down alike. The number grows when that changes.
const STICKER: &[u8] = b"quoin sticker 1";

impl Sticker {
    /// SHA-256 in hexadecimal over the printed pixels with their places, the cut lines and the stock's face; on stock that is
    /// printed in CMYK also over the profile that its pixels are printed through.
    ///
    /// Lengths are rounded to a millionth of a millimetre, as poses are. Colour counts only where it is printed.
    pub fn digest(&self, face: Face, colour: PrintColour) -> String {
        let mut hash = Sha256::new();
        part(&mut hash, STICKER, 1);
        hash.update([match face {
            Face::White => 0_u8,
            Face::Clear => 1,
            Face::Metallic => 2,
        }]);
        part(&mut hash, b"prints", self.prints.len());
        let mut known: BTreeMap<usize, [u8; 32]> = BTreeMap::new();
        for placed in &self.prints {
            let pixels = known.entry(Arc::as_ptr(&placed.print) as usize).or_insert_with(|| digest_of(&placed.print));
            hash.update(*pixels);
            hash.update(rounded(placed.to_mm.as_coeffs().as_slice()));
        }
        cuts(&mut hash, b"kiss", &self.kiss);
        cuts(&mut hash, b"through", &self.through);
        if colour == PrintColour::Cmyk {
            part(&mut hash, b"profile", coated::ICC.len());
            hash.update(coated::ICC);
        }
        hex(&hash.finalize())
    }
}

/// A tag and how many of it follow.
fn part(hash: &mut Sha256, tag: &[u8], count: usize) {
    hash.update((tag.len() as u64).to_le_bytes());
    hash.update(tag);
    hash.update((count as u64).to_le_bytes());
}

/// A print's pixels; what stands under no ink is left out.
fn digest_of(print: &Print) -> [u8; 32] {
    let mut hash = Sha256::new();
    part(&mut hash, b"print", 1);
    hash.update(print.width_px.to_le_bytes());
    hash.update(print.height_px.to_le_bytes());
    let alpha = print.alpha.unpack();
    let mut colour = print.colour.unpack();
    for (channels, alpha) in colour.chunks_exact_mut(3).zip(&alpha) {
        if *alpha == 0 {
            channels.fill(0);
        }
    }
    part(&mut hash, b"colour", colour.len());
    hash.update(&colour);
    part(&mut hash, b"alpha", alpha.len());
    hash.update(&alpha);
    let white = print.white.as_ref().map(super::Plane::unpack).unwrap_or_default();
    part(&mut hash, b"white", white.len());
    hash.update(&white);
    hash.finalize().into()
}

fn cuts(hash: &mut Sha256, kind: &[u8], cuts: &[Cut]) {
    part(hash, kind, cuts.len());
    for cut in cuts {
        let elements = cut.line.path().elements();
        part(hash, b"line", elements.len());
        for element in elements {
            let (letter, points) = match element {
                PathEl::MoveTo(p) => (b'M', vec![*p]),
                PathEl::LineTo(p) => (b'L', vec![*p]),
                PathEl::QuadTo(a, p) => (b'Q', vec![*a, *p]),
                PathEl::CurveTo(a, b, p) => (b'C', vec![*a, *b, *p]),
                PathEl::ClosePath => (b'Z', Vec::new()),
            };
            hash.update([letter]);
            points.iter().for_each(|point| hash.update(rounded(&[point.x, point.y])));
        }
    }
}

/// Millionths, as whole numbers.
fn rounded(values: &[f64]) -> Vec<u8> {
    values.iter().flat_map(|value| ((value * 1e6).round() as i64).to_le_bytes()).collect()
}

/// Hexadecimal digits, as checksums are written.
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cancel::Cancel;
    use crate::order::{Shape, Size, Thresholds};
    use crate::outline::fit;
    use crate::outline::samples::{design, disc, stock};
    use crate::silhouette::CutOut;
    use crate::units::Mm;

    fn digest_of_sticker(cut_out: &CutOut, border: f64) -> String {
        let (design, stock, cancel) =
            (design(Shape::Contour, Size::Longest(Mm::of(30.0)), border), stock(), Cancel::new());
        let outlined = fit(cut_out, &design, None, &stock, &Thresholds::default(), &cancel).unwrap();
        let sticker = crate::sticker::make(cut_out, &outlined, &design, None, &stock, &cancel).unwrap();
        let digest = |face, colour| sticker.digest(face, colour);
        assert_ne!(digest(Face::White, PrintColour::Rgb), digest(Face::Metallic, PrintColour::Rgb));
        assert_ne!(digest(Face::White, PrintColour::Rgb), digest(Face::White, PrintColour::Cmyk));
        digest(stock.face, stock.colour)
    }

    /// The disc with one pixel changed.
    fn with_pixel(x: u32, y: u32, pixel: [u8; 4]) -> CutOut {
        let mut cut_out = disc(300, 140.0, [20, 120, 220]);
        Arc::make_mut(&mut cut_out.pixels).put_pixel(x, y, image::Rgba(pixel));
        cut_out
    }

    #[test]
    fn every_visible_pixel_and_every_line_counts() {
        let plain = digest_of_sticker(&disc(300, 140.0, [20, 120, 220]), 2.0);
        assert_eq!(digest_of_sticker(&disc(300, 140.0, [20, 120, 220]), 2.0), plain);
        assert_ne!(digest_of_sticker(&with_pixel(150, 150, [255, 255, 0, 255]), 2.0), plain);
        assert_ne!(digest_of_sticker(&disc(300, 140.0, [20, 120, 220]), 2.1), plain);
    }

    #[test]
    fn colour_that_nobody_sees_does_not_count() {
        let plain = digest_of_sticker(&disc(300, 140.0, [20, 120, 220]), 2.0);
        assert_eq!(digest_of_sticker(&with_pixel(2, 2, [255, 255, 0, 0]), 2.0), plain);
    }
}
