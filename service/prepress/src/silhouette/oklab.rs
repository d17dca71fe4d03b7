//! sRGB bytes in OKLab, where equal distances look about equal.
//!
//! Source: Björn Ottosson, "A perceptual color space for image processing" (2020), matrices as published; sRGB decoding
//! from IEC 61966-2-1.

/// Lightness and the two opponent axes.
pub(crate) type Lab = [f32; 3];

/// Converts sRGB bytes; the decoding curve is tabulated once.
pub(crate) struct Converter {
    linear: [f32; 256],
}

impl Converter {
    pub(crate) fn new() -> Converter {
        Converter { linear: std::array::from_fn(|code| decode(code as f32)) }
    }

    /// One pixel; accurate to about 1e-6.
    pub(crate) fn lab(&self, red: u8, green: u8, blue: u8) -> Lab {
        from_linear([red, green, blue].map(|code| self.linear[usize::from(code)]))
    }

    /// A colour between codes, 0 to 255; what is beyond is taken for the nearest.
    pub(crate) fn lab_between(codes: [f32; 3]) -> Lab {
        from_linear(codes.map(|code| decode(code.clamp(0.0, 255.0))))
    }
}

/// Light that a code stands for, 0 to 1.
fn decode(code: f32) -> f32 {
    let encoded = code / 255.0;
    if encoded <= 0.04045 { encoded / 12.92 } else { ((encoded + 0.055) / 1.055).powf(2.4) }
}

fn from_linear([r, g, b]: [f32; 3]) -> Lab {
    let l = cube_root(0.412_221_46 * r + 0.536_332_55 * g + 0.051_445_995 * b);
    let m = cube_root(0.211_903_5 * r + 0.680_699_5 * g + 0.107_396_96 * b);
    let s = cube_root(0.088_302_46 * r + 0.281_718_85 * g + 0.629_978_7 * b);
    [
        0.210_454_26 * l + 0.793_617_8 * m - 0.004_072_047 * s,
        1.977_998_5 * l - 2.428_592_2 * m + 0.450_593_7 * s,
        0.025_904_037 * l + 0.782_771_77 * m - 0.808_675_77 * s,
    ]
}

/// Squared Euclidean distance.
pub(crate) fn distance_squared(a: Lab, b: Lab) -> f32 {
    let [l, m, s] = [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
    l * l + m * m + s * s
}

/// Cube root of a number in 0..=1: a third of the exponent as a start (from memory), then two steps of Halley's method,
/// which together are exact to single precision and several times faster than the library's.
fn cube_root(value: f32) -> f32 {
    if value <= 0.0 {
        return 0.0;
    }
    let start = f32::from_bits(value.to_bits() / 3 + 709_921_077);
    let step = |root: f32| {
        let cube = root * root * root;
        root * (cube + 2.0 * value) / (2.0 * cube + value)
    };
    step(step(start))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_colours_have_their_published_values() {
        // White is (1, 0, 0) by construction; red from Ottosson's reference code: (0.62796, 0.22486, 0.12585).
        let converter = Converter::new();
        for (rgb, lab) in
            [([255, 255, 255], [1.0, 0.0, 0.0]), ([0, 0, 0], [0.0; 3]), ([255, 0, 0], [0.62796, 0.22486, 0.12585])]
        {
            let found = converter.lab(rgb[0], rgb[1], rgb[2]);
            assert!(distance_squared(found, lab).sqrt() < 1e-4, "{rgb:?}: {found:?}");
        }
    }

    #[test]
    fn cube_roots_are_exact_to_single_precision() {
        for step in 1..=1000_u16 {
            let value = f32::from(step) / 1000.0;
            assert!((cube_root(value) - value.cbrt()).abs() < 1e-6, "{value}");
        }
    }
}
