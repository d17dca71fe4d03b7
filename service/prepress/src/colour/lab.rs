//! sRGB in CIE L\*a\*b\* under the profile connection space's light, D50.
//!
//! Sources: IEC 61966-2-1 (sRGB); ICC.1:2022, 6.3 (D50, L\*a\*b\*); the matrix of sRGB's primaries brought to D50 by Bradford's
//! transform as Bruce Lindbloom publishes it.

/// A colour: lightness 0 to 100, and the two opponent axes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lab {
    /// Lightness.
    pub l: f32,
    /// Green to red.
    pub a: f32,
    /// Blue to yellow.
    pub b: f32,
}

impl Lab {
    /// Moved as far as it is from one colour to another.
    pub(super) fn moved(self, from: Lab, to: Lab) -> Lab {
        Lab { l: self.l + to.l - from.l, a: self.a + to.a - from.a, b: self.b + to.b - from.b }
    }
}

/// Linear sRGB to XYZ under D50.
const TO_XYZ: [[f32; 3]; 3] = [
    [0.436_074_7, 0.385_064_9, 0.143_080_4],
    [0.222_504_5, 0.716_878_6, 0.060_616_9],
    [0.013_932_2, 0.097_104_5, 0.714_173_3],
];

/// Reads sRGB; the decoding curve is tabulated once.
pub struct Srgb {
    linear: [f32; 256],
}

impl Default for Srgb {
    fn default() -> Srgb {
        let decode = |code: usize| {
            let encoded = code as f32 / 255.0;
            if encoded <= 0.04045 { encoded / 12.92 } else { ((encoded + 0.055) / 1.055).powf(2.4) }
        };
        Srgb { linear: std::array::from_fn(decode) }
    }
}

impl Srgb {
    /// One pixel.
    pub fn lab(&self, colour: [u8; 3]) -> Lab {
        let light = colour.map(|code| self.linear[usize::from(code)]);
        let [x, y, z] = TO_XYZ.map(|row| {
            // The sum of a row is that of white, so that white is exactly L* = 100, a* = b* = 0.
            let white: f32 = row.iter().sum();
            curve(row.iter().zip(light).map(|(share, light)| share * light).sum::<f32>() / white)
        });
        Lab { l: 116.0 * y - 16.0, a: 500.0 * (x - y), b: 200.0 * (y - z) }
    }
}

/// CIE 15:2018, 8.2.1: a cube root that ends in a line.
fn curve(share: f32) -> f32 {
    const BEND: f32 = 216.0 / 24_389.0;
    if share > BEND { share.cbrt() } else { (24_389.0 / 27.0 * share + 16.0) / 116.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn colours_have_their_published_values() {
        // Bruce Lindbloom's calculator, sRGB to Lab under D50 with Bradford's adaptation.
        for (colour, [l, a, b]) in [
            ([255, 255, 255], [100.0, 0.0, 0.0]),
            ([0, 0, 0], [0.0, 0.0, 0.0]),
            ([255, 0, 0], [54.29, 80.81, 69.89]),
            ([0, 255, 0], [87.82, -79.29, 80.99]),
            ([0, 0, 255], [29.57, 68.30, -112.03]),
        ] {
            let found = Srgb::default().lab(colour);
            for (found, wanted) in [(found.l, l), (found.a, a), (found.b, b)] {
                assert!((found - wanted).abs() < 0.03, "{colour:?}: {found} for {wanted}");
            }
        }
    }
}
