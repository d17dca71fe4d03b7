//! sRGB bytes in OKLab, where equal distances look about equal.
//!
//! Source: Björn Ottosson, "A perceptual color space for image processing" (2020), matrices as published; sRGB decoding
//! from IEC 61966-2-1.

use super::tiles::Codes;

/// How the cube roots follow from the two opponent axes, besides the lightness, and linear red, green and blue from their
/// cubes: the inverse of the matrices below, as published.
const FROM_LAB: [[f32; 2]; 3] =
    [[0.396_337_78, 0.215_803_76], [-0.105_561_346, -0.063_854_17], [-0.089_484_18, -1.291_485_5]];
const TO_LINEAR: [[f32; 3]; 3] = [
    [4.076_741_7, -3.307_711_6, 0.230_969_93],
    [-1.268_438, 2.609_757_4, -0.341_319_4],
    [-0.004_196_086_3, -0.703_418_6, 1.707_614_7],
];

/// Share of a distance by which a box of codes is on the safe side, for which distance one of those within it is made at
/// most, and how many codes wide half of one is at most.
const MARGIN: f32 = 0.02;
const MOST_WITHIN: f32 = 0.08;
const MOST_STEPS: u8 = 24;

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

    /// A box of codes around another one that are all within a distance of it.
    ///
    /// Within the few codes that this reaches the space is so nearly even that the farthest colour is in a corner or the
    /// middle of a face, but for colours next to black; a margin covers what it is not.
    pub(super) fn codes_within(&self, middle: [u8; 3], distance: f32) -> Codes {
        let of = self.lab(middle[0], middle[1], middle[2]);
        let at = |step: u8, away: [i8; 3]| {
            let code = |channel: usize| match away[channel] {
                -1 => middle[channel].saturating_sub(step),
                0 => middle[channel],
                _ => middle[channel].saturating_add(step),
            };
            [code(0), code(1), code(2)]
        };
        let steps = [-1, 0, 1];
        let ends = steps.map(|red| steps.map(|green| steps.map(|blue| [red, green, blue])));
        let limit = (distance.min(MOST_WITHIN) / (1.0 + MARGIN)).max(0.0).powi(2);
        let is_within = |step: &u8| {
            let is = |away: &[i8; 3]| {
                let [red, green, blue] = at(*step, *away);
                distance_squared(self.lab(red, green, blue), of) < limit
            };
            ends.as_flattened().as_flattened().iter().all(is)
        };
        match (0..MOST_STEPS).take_while(is_within).last() {
            Some(step) => Codes { low: at(step, [-1; 3]), high: at(step, [1; 3]) },
            None => Codes::NONE,
        }
    }

    /// A box of codes that holds every colour within a distance of another one.
    pub(super) fn codes_around(&self, [l, a, b]: Lab, distance: f32) -> Codes {
        let roots = FROM_LAB.map(|[from_a, from_b]| {
            let (root, reach) = (l + from_a * a + from_b * b, (1.0 + from_a * from_a + from_b * from_b).sqrt());
            let reach = reach * distance * (1.0 + MARGIN);
            [(root - reach).max(0.0).powi(3), (root + reach).max(0.0).powi(3)]
        });
        let ends = TO_LINEAR.map(|weights| {
            let end = |upper: usize| {
                let of =
                    |(weight, root): (&f32, &[f32; 2])| weight * root[if *weight > 0.0 { upper } else { 1 - upper }];
                weights.iter().zip(&roots).map(of).sum::<f32>()
            };
            let below = |limit: f32| self.linear.partition_point(|linear| *linear < limit);
            // A code more on either side for what rounding does.
            [below(end(0)).saturating_sub(2).min(255) as u8, (below(end(1)) + 1).min(255) as u8]
        });
        Codes { low: ends.map(|[low, _]| low), high: ends.map(|[_, high]| high) }
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

    #[test]
    fn boxes_of_codes_hold_what_they_say() {
        let converter = Converter::new();
        let middles = [[255, 255, 255], [238, 238, 238], [128, 128, 128], [20, 20, 20], [0, 0, 0], [200, 30, 40]];
        let others = [[16, 14, 0], [9, 8, 0], [20, 160, 60], [10, 20, 200], [245, 230, 180], [3, 200, 3]];
        for middle in middles.into_iter().chain(others) {
            let of = converter.lab(middle[0], middle[1], middle[2]);
            for distance in [0.005, 0.02, 0.035, 0.1, 0.116] {
                let surely = converter.codes_within(middle, distance);
                let maybe = converter.codes_around(of, distance);
                let codes = || {
                    [0, 1, 2]
                        .map(|channel: usize| middle[channel].saturating_sub(40)..=middle[channel].saturating_add(40))
                };
                let [reds, greens, blues] = codes();
                for red in reds {
                    for (green, blue) in greens.clone().flat_map(|green| blues.clone().map(move |blue| (green, blue))) {
                        let is = distance_squared(converter.lab(red, green, blue), of) <= distance * distance;
                        let colour = [red, green, blue];
                        let holds =
                            |codes: Codes| (0..3).all(|at| (codes.low[at]..=codes.high[at]).contains(&colour[at]));
                        assert!(is || !holds(surely), "{colour:?} is not within {distance} of {middle:?}");
                        assert!(!is || holds(maybe), "{colour:?} is within {distance} of {middle:?}");
                    }
                }
            }
        }
    }
}
