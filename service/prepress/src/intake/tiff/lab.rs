//! CIE L*a*b* to sRGB.
//!
//! White is D50, as in the profile connection space (ICC.1:2022, 6.3.4.3) and as TIFF readers take it where the file does not
//! say. Colours outside sRGB are clipped channel by channel. Sources: CIE 15:2004, section 8.2.1; IEC 61966-2-1; Bradford's
//! matrix from ICC.1:2022, annex E.

/// D50 (ICC.1:2022, 7.2.16).
const WHITE: [f32; 3] = [0.9642, 1.0, 0.8249];

/// XYZ under D50 to linear sRGB: the inverse of the sRGB primaries adapted by Bradford's matrix.
const TO_LINEAR: [[f32; 3]; 3] =
    [[3.133_856, -1.616_867, -0.490_615], [-0.978_768, 1.916_142, 0.033_454], [0.071_945, -0.228_991, 1.405_243]];

/// L* in 255ths of 100; a* and b* counted from 128.
pub(super) fn to_srgb([light, a, b]: [u8; 3]) -> [u8; 3] {
    let y = (f32::from(light) * 100.0 / 255.0 + 16.0) / 116.0;
    let roots = [y + (f32::from(a) - 128.0) / 500.0, y, y - (f32::from(b) - 128.0) / 200.0];
    let xyz: [f32; 3] = std::array::from_fn(|at| WHITE[at] * cube(roots[at]));
    TO_LINEAR.map(|row| encoded(row[0] * xyz[0] + row[1] * xyz[1] + row[2] * xyz[2]))
}

fn cube(root: f32) -> f32 {
    const KNEE: f32 = 6.0 / 29.0;
    if root > KNEE { root.powi(3) } else { 3.0 * KNEE * KNEE * (root - 4.0 / 29.0) }
}

fn encoded(linear: f32) -> u8 {
    let linear = linear.clamp(0.0, 1.0);
    let share = if linear <= 0.003_130_8 { linear * 12.92 } else { 1.055 * linear.powf(1.0 / 2.4) - 0.055 };
    (share * 255.0).round() as u8
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn greys_stay_grey_and_primaries_are_where_they_are_published() {
        for light in 0..=255 {
            let [red, green, blue] = to_srgb([light, 128, 128]);
            assert!(red.abs_diff(green) <= 1 && green.abs_diff(blue) <= 1, "{light}: {red} {green} {blue}");
        }
        assert_eq!((to_srgb([255, 128, 128]), to_srgb([0, 128, 128])), ([255; 3], [0; 3]));
        // sRGB's red under D50 by Bradford: L* 54.29, a* 80.80, b* 69.89 (from memory, and by the formulas backwards).
        let [red, green, blue] = to_srgb([138, 209, 198]);
        assert!(red >= 253 && green <= 12 && blue <= 8, "{red} {green} {blue}");
    }
}
