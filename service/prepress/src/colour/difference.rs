//! CIEDE2000.
//!
//! Source: Gaurav Sharma, Wencheng Wu and Edul Dalal, "The CIEDE2000 color-difference formula: implementation notes,
//! supplementary test data, and mathematical observations" (2005), equations 2 to 22, with all three weights 1.

use super::Lab;

/// 25 to the 7th.
const CHROMA_7: f64 = 6_103_515_625.0;

/// The difference of two colours; about 1 can just be seen side by side.
pub fn delta_e_2000(one: Lab, other: Lab) -> f64 {
    let [l1, a1, b1] = [one.l, one.a, one.b].map(f64::from);
    let [l2, a2, b2] = [other.l, other.a, other.b].map(f64::from);
    let mean_chroma = f64::midpoint(a1.hypot(b1), a2.hypot(b2));
    let stretch = 1.0 + 0.5 * (1.0 - weight_of_chroma(mean_chroma));
    let (a1, a2) = (a1 * stretch, a2 * stretch);
    let (c1, c2) = (a1.hypot(b1), a2.hypot(b2));
    let (h1, h2) = (hue_deg(a1, b1), hue_deg(a2, b2));
    let is_grey = c1 * c2 <= 0.0;
    let turn = if is_grey { 0.0 } else { turn_deg(h1, h2) };
    let hue_step = 2.0 * (c1 * c2).sqrt() * (turn / 2.0).to_radians().sin();
    let (l, c) = (f64::midpoint(l1, l2), f64::midpoint(c1, c2));
    let h = if is_grey { h1 + h2 } else { mean_hue_deg(h1, h2) };
    let cosine = |degrees: f64| degrees.to_radians().cos();
    let t = 1.0 - 0.17 * cosine(h - 30.0) + 0.24 * cosine(2.0 * h) + 0.32 * cosine(3.0 * h + 6.0)
        - 0.20 * cosine(4.0 * h - 63.0);
    let off = (l - 50.0).powi(2);
    let lightness = (l2 - l1) / (1.0 + 0.015 * off / (20.0 + off).sqrt());
    let chroma = (c2 - c1) / (1.0 + 0.045 * c);
    let hue = hue_step / (1.0 + 0.015 * c * t);
    let swing = 30.0 * (-((h - 275.0) / 25.0).powi(2)).exp();
    let rotation = -(2.0 * swing).to_radians().sin() * 2.0 * weight_of_chroma(c);
    (lightness.powi(2) + chroma.powi(2) + hue.powi(2) + rotation * chroma * hue).max(0.0).sqrt()
}

fn weight_of_chroma(chroma: f64) -> f64 {
    let seventh = chroma.powi(7);
    (seventh / (seventh + CHROMA_7)).sqrt()
}

/// 0 to 360.
fn hue_deg(a: f64, b: f64) -> f64 {
    let degrees = b.atan2(a).to_degrees();
    if degrees < 0.0 { degrees + 360.0 } else { degrees }
}

/// From one hue to another by the shorter way.
fn turn_deg(from: f64, to: f64) -> f64 {
    let turn = to - from;
    if turn > 180.0 {
        turn - 360.0
    } else if turn < -180.0 {
        turn + 360.0
    } else {
        turn
    }
}

fn mean_hue_deg(one: f64, other: f64) -> f64 {
    let sum = one + other;
    if (one - other).abs() <= 180.0 {
        sum / 2.0
    } else if sum < 360.0 {
        (sum + 360.0) / 2.0
    } else {
        (sum - 360.0) / 2.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Table 1 of the source: L, a, b of one colour, of the other, and their difference.
    const PAIRS: [[f64; 7]; 34] = [
        [50.0000, 2.6772, -79.7751, 50.0000, 0.0000, -82.7485, 2.0425],
        [50.0000, 3.1571, -77.2803, 50.0000, 0.0000, -82.7485, 2.8615],
        [50.0000, 2.8361, -74.0200, 50.0000, 0.0000, -82.7485, 3.4412],
        [50.0000, -1.3802, -84.2814, 50.0000, 0.0000, -82.7485, 1.0000],
        [50.0000, -1.1848, -84.8006, 50.0000, 0.0000, -82.7485, 1.0000],
        [50.0000, -0.9009, -85.5211, 50.0000, 0.0000, -82.7485, 1.0000],
        [50.0000, 0.0000, 0.0000, 50.0000, -1.0000, 2.0000, 2.3669],
        [50.0000, -1.0000, 2.0000, 50.0000, 0.0000, 0.0000, 2.3669],
        [50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0009, 7.1792],
        [50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0010, 7.1792],
        [50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0011, 7.2195],
        [50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0012, 7.2195],
        [50.0000, -0.0010, 2.4900, 50.0000, 0.0009, -2.4900, 4.8045],
        [50.0000, -0.0010, 2.4900, 50.0000, 0.0010, -2.4900, 4.8045],
        [50.0000, -0.0010, 2.4900, 50.0000, 0.0011, -2.4900, 4.7461],
        [50.0000, 2.5000, 0.0000, 50.0000, 0.0000, -2.5000, 4.3065],
        [50.0000, 2.5000, 0.0000, 73.0000, 25.0000, -18.0000, 27.1492],
        [50.0000, 2.5000, 0.0000, 61.0000, -5.0000, 29.0000, 22.8977],
        [50.0000, 2.5000, 0.0000, 56.0000, -27.0000, -3.0000, 31.9030],
        [50.0000, 2.5000, 0.0000, 58.0000, 24.0000, 15.0000, 19.4535],
        [50.0000, 2.5000, 0.0000, 50.0000, 3.1736, 0.5854, 1.0000],
        [50.0000, 2.5000, 0.0000, 50.0000, 3.2972, 0.0000, 1.0000],
        [50.0000, 2.5000, 0.0000, 50.0000, 1.8634, 0.5757, 1.0000],
        [50.0000, 2.5000, 0.0000, 50.0000, 3.2592, 0.3350, 1.0000],
        [60.2574, -34.0099, 36.2677, 60.4626, -34.1751, 39.4387, 1.2644],
        [63.0109, -31.0961, -5.8663, 62.8187, -29.7946, -4.0864, 1.2630],
        [61.2901, 3.7196, -5.3901, 61.4292, 2.2480, -4.9620, 1.8731],
        [35.0831, -44.1164, 3.7933, 35.0232, -40.0716, 1.5901, 1.8645],
        [22.7233, 20.0904, -46.6940, 23.0331, 14.9730, -42.5619, 2.0373],
        [36.4612, 47.8580, 18.3852, 36.2715, 50.5065, 21.2231, 1.4146],
        [90.8027, -2.0831, 1.4410, 91.1528, -1.6435, 0.0447, 1.4441],
        [90.9257, -0.5406, -0.9208, 88.6381, -0.8985, -0.7239, 1.5381],
        [6.7747, -0.2908, -2.4247, 5.8714, -0.0985, -2.2286, 0.6377],
        [2.0776, 0.0795, -1.1350, 0.9033, -0.0636, -0.5514, 0.9082],
    ];

    #[test]
    fn differences_are_those_published() {
        for [l1, a1, b1, l2, a2, b2, wanted] in PAIRS {
            let [one, other] =
                [[l1, a1, b1], [l2, a2, b2]].map(|[l, a, b]| Lab { l: l as f32, a: a as f32, b: b as f32 });
            for found in [delta_e_2000(one, other), delta_e_2000(other, one)] {
                assert!((found - wanted).abs() < 1e-4, "{one:?} {other:?}: {found} for {wanted}");
            }
        }
    }
}
