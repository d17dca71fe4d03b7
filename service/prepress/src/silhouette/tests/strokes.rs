//! Tips and strokes thinner than a pixel, on pictures made here.

use super::*;
use crate::geom::crosses;

#[test]
fn a_hairline_that_hangs_on_to_art_stays_in_one_piece() {
    let hair = with_rectangle(RgbaImage::new(80, 80), [5, 40, 70, 1], [0, 0, 0, 70]);
    let found = cut(with_rectangle(hair, [5, 30, 10, 20], [0, 0, 0, 255]), BackdropRemove::Auto).unwrap();
    assert_eq!(found.edge.outer().count(), 1);
    assert_eq!(found.visible.width_px, 70);
    assert_eq!(found.pixels.get_pixel(60, 40).0[3], 70, "what is printed stays as it was");
}

/// A wedge of a half angle in degrees whose tip points right, on a picture of some pixels in all directions: its exact coverage.
fn wedge(side: u32, tip: (f64, f64), half_deg: f64, turn_deg: f64) -> RgbaImage {
    let slope = half_deg.to_radians().tan();
    stroke(side, tip, turn_deg, |back| back * slope)
}

/// A stroke that points right and ends in `tip`, by half of its width so far behind that.
fn stroke(side: u32, tip: (f64, f64), turn_deg: f64, half_width: impl Fn(f64) -> f64) -> RgbaImage {
    let turn = turn_deg.to_radians();
    let is_inside = |x: f64, y: f64| {
        let (dx, dy) = (x - tip.0, y - tip.1);
        let (back, beside) = (-dx * turn.cos() - dy * turn.sin(), dy * turn.cos() - dx * turn.sin());
        back >= 0.0 && back <= f64::from(side) / 4.0 && beside.abs() <= half_width(back)
    };
    covered(side, is_inside)
}

/// The coverage of something, on a picture of so many pixels.
fn covered(side: u32, is_inside: impl Fn(f64, f64) -> bool) -> RgbaImage {
    let alpha = |x, y| (share_inside(x, y, &is_inside) * 255.0).round() as u8;
    RgbaImage::from_fn(side, side, |x, y| Rgba([9, 9, 9, alpha(x, y)]))
}

/// From a place to the nearest point of the line.
fn distance_to_line(found: &CutOut, place: (f64, f64)) -> f64 {
    let place = Point::new(place.0, place.1);
    found.edge.rings.iter().map(|ring| ring.distance_to_edges(place)).fold(f64::INFINITY, f64::min)
}

/// Twelve places, and directions in degrees, in which strokes end.
fn ends() -> impl Iterator<Item = ((f64, f64), f64)> {
    (0..12).map(f64::from).map(|turn| ((60.0 + 0.37 * turn, 60.0 + 0.61 * turn), 31.0 * turn))
}

/// How far from where they end tips of wedges are on the line of `drawn`, in all directions, px.
fn tips_off(half_deg: f64, drawn: impl Fn(RgbaImage) -> CutOut) -> Vec<f64> {
    ends().map(|(tip, turn)| distance_to_line(&drawn(wedge(120, tip, half_deg, turn)), tip)).collect()
}

/// How far past where they end strokes of some width are drawn, in all directions, px.
fn drawn_past(half_width: impl Fn(f64) -> f64) -> Vec<f64> {
    let past = |(tip, turn): ((f64, f64), f64)| {
        let found = cut(stroke(120, tip, turn, &half_width), BackdropRemove::Never).unwrap();
        let (sin, cos) = turn.to_radians().sin_cos();
        let along = |point: &Point| (point.x - tip.0) * cos + (point.y - tip.1) * sin;
        found.edge.rings.iter().flat_map(Ring::points).map(along).fold(f64::NEG_INFINITY, f64::max)
    };
    ends().map(past).collect()
}

fn mean(off_px: &[f64]) -> f64 {
    off_px.iter().sum::<f64>() / off_px.len() as f64
}

#[test]
fn tips_end_within_a_pixel_of_where_they_do() {
    let drawn = |picture| cut(picture, BackdropRemove::Never).unwrap();
    let off_px: Vec<f64> = [15.0, 20.0, 30.0].into_iter().flat_map(|half_deg| tips_off(half_deg, drawn)).collect();
    // As traced, tips end up to 1.9 px early, and 1.1 in the mean.
    assert!(mean(&off_px) < 0.25 && off_px.iter().all(|off| *off < 0.8), "{off_px:?}");
}

#[test]
fn strokes_that_taper_to_a_point_end_near_it() {
    let drawn = |picture| cut(picture, BackdropRemove::Never).unwrap();
    let off_px: Vec<f64> = [3.0, 5.0, 8.0].into_iter().flat_map(|half_deg| tips_off(half_deg, drawn)).collect();
    // As their pixels are drawn, they end 0.9 px early in the mean.
    assert!(mean(&off_px) < 0.35 && off_px.iter().all(|off| *off < 0.8), "{off_px:?}");
}

#[test]
fn strokes_are_not_drawn_past_their_ends() {
    let pointed = drawn_past(|back| 0.07 * back);
    let blunt = drawn_past(|_| 0.2);
    // A tail of even width behind a shoulder.
    let with_shoulder = drawn_past(|back| 0.15 + 0.1 * (back - 3.0).max(0.0));
    for past_px in [&pointed, &blunt, &with_shoulder] {
        assert!((-0.4..0.4).contains(&mean(past_px)) && past_px.iter().all(|past| *past < 1.0), "{past_px:?}");
    }
}

#[test]
fn a_thin_stroke_on_a_slant_is_in_one_piece_and_a_narrow_gap_stays_open() {
    // Through the middles of pixels: each covers more than half of its own, and little of those beside it.
    let found = cut(stroke(120, (80.5, 80.5), 45.0, |_| 0.32), BackdropRemove::Never).unwrap();
    assert_eq!(found.edge.outer().count(), 1);
    for off in [0.0, 1.0] {
        let in_square = |x: f64, y: f64| (5.0..35.0).contains(&x) && (5.0..35.0).contains(&y);
        let parted = covered(40, |x, y| in_square(x, y) && (x + y - 40.0 - off).abs() > 0.5 * 2_f64.sqrt());
        assert_eq!(cut(parted, BackdropRemove::Never).unwrap().edge.outer().count(), 2);
    }
}

#[test]
fn tips_in_a_shadow_end_where_they_do() {
    let shaded = |mut picture: RgbaImage| {
        for pixel in picture.pixels_mut() {
            pixel.0[3] += ((255.0 - f64::from(pixel.0[3])) * 60.0 / 255.0) as u8;
        }
        cut(picture, BackdropRemove::Never).unwrap()
    };
    let off_px: Vec<f64> = [15.0, 20.0, 30.0].into_iter().flat_map(|half_deg| tips_off(half_deg, shaded)).collect();
    // As traced 0.7 px in the mean.
    assert!(mean(&off_px) < 0.35, "{off_px:?}");
}

/// A picture with rows of alpha, the first of them beginning at a pixel.
fn with_alpha<const N: usize>(picture: RgbaImage, (left, top): (u32, u32), rows: &[[u8; N]]) -> RgbaImage {
    rows.iter().flatten().enumerate().fold(picture, |picture, (place, alpha)| {
        let (x, y) = (left + place as u32 % N as u32, top + place as u32 / N as u32);
        with_rectangle(picture, [x, y, 1, 1], [0, 0, 0, *alpha])
    })
}

#[test]
fn a_tip_that_pixels_cut_off_askew_is_put_back() {
    // A star of the clip `horse_splashes` at 400 px, and where its upper tip is at 6000.
    let rows: [[u8; 8]; 9] = [
        [0, 0, 0, 0, 22, 35, 0, 0],
        [0, 0, 0, 10, 139, 83, 0, 0],
        [24, 139, 124, 137, 167, 119, 0, 0],
        [0, 91, 167, 167, 167, 166, 126, 57],
        [0, 15, 165, 167, 167, 167, 164, 97],
        [0, 68, 167, 167, 167, 161, 30, 0],
        [2, 123, 111, 83, 158, 149, 0, 0],
        [1, 2, 0, 0, 33, 120, 0, 0],
        [0, 0, 0, 0, 0, 8, 0, 0],
    ];
    let found = cut(with_alpha(RgbaImage::new(40, 40), (10, 10), &rows), BackdropRemove::Never).unwrap();
    let off_px = distance_to_line(&found, (15.15, 10.29));
    assert!(off_px < 0.4, "{off_px}");
}

#[test]
fn a_tip_that_hangs_on_by_a_corner_is_no_island() {
    let body = with_rectangle(RgbaImage::new(60, 60), [10, 10, 12, 10], [0, 0, 0, 255]);
    let rows: [[u8; 6]; 4] =
        [[83, 238, 197, 1, 0, 0], [0, 21, 182, 187, 6, 0], [3, 0, 0, 109, 139, 14], [0, 1, 3, 0, 39, 58]];
    let found = cut(with_alpha(body, (20, 20), &rows), BackdropRemove::Auto).unwrap();
    assert_eq!(found.edge.outer().count(), 1);
    assert!(found.visible.x_px + found.visible.width_px >= 25, "{:?}", found.visible);
}

#[test]
fn a_hairline_close_beside_art_is_a_stroke() {
    let body = with_rectangle(RgbaImage::new(80, 60), [10, 10, 60, 20], [0, 0, 0, 255]);
    let gap = with_rectangle(body, [20, 30, 40, 1], [0, 0, 0, 20]);
    let joined = with_rectangle(gap, [20, 30, 1, 1], [0, 0, 0, 200]);
    let found = cut(with_rectangle(joined, [20, 31, 40, 1], [0, 0, 0, 60]), BackdropRemove::Auto).unwrap();
    let is_inside = |x: f64| found.edge.outer().any(|ring| ring.contains(Point::new(x, 31.5)));
    assert!([21.5, 40.5, 59.5].into_iter().all(is_inside), "{:?}", found.edge);
    assert_eq!(found.edge.outer().count(), 1);
}

#[test]
fn ends_of_strokes_dots_and_blurred_tips_stay_as_traced() {
    let bar = with_rectangle(RgbaImage::new(60, 60), [20, 20, 30, 2], [0, 0, 0, 255]);
    let dot = disc(40, 2.5);
    let blurred = image::imageops::blur(&wedge(120, (60.0, 60.0), 20.0, 10.0), 4.0);
    for picture in [bar, dot, blurred] {
        let plane = plane::Plane::of(&picture, &Cancel::new()).unwrap();
        let traced = trace::trace(&plane, HALF_COVERED, &Cancel::new()).unwrap();
        let sharpened = tips::sharpen(&plane, HALF_COVERED, traced.clone(), &Cancel::new()).unwrap();
        assert_eq!(sharpened, traced);
    }
}

#[test]
fn sharpened_rings_neither_touch_nor_cross() {
    // Noise at every fourth pixel, smoothly between: tips, dots, straits of all kinds.
    for coarse in [1, 2, 4] {
        let coarse_noise = RgbaImage::from_fn(48, 48, |x, y| Rgba([9, 9, 9, noise(x + 100 * coarse, y)]));
        let picture = image::imageops::resize(&coarse_noise, 48 * coarse, 48 * coarse, image::imageops::CatmullRom);
        let found = cut(picture, BackdropRemove::Never).unwrap();
        let edges: Vec<(usize, (Point, Point))> = found
            .edge
            .rings
            .iter()
            .enumerate()
            .flat_map(|(ring, points)| points.edges().map(move |e| (ring, e)))
            .collect();
        for (place, (_, one)) in edges.iter().enumerate() {
            for (_, other) in &edges[place + 1..] {
                assert!(!crosses(*one, *other), "{one:?} {other:?}");
            }
        }
    }
}

#[test]
fn the_blur_of_a_blunt_end_is_no_stroke() {
    let plain = with_rectangle(RgbaImage::new(60, 60), [20, 20, 20, 20], [0, 0, 0, 255]);
    let blurred = with_rectangle(with_rectangle(plain, [40, 28, 1, 2], [0, 0, 0, 90]), [41, 28, 1, 1], [0, 0, 0, 40]);
    assert_eq!(cut(blurred.clone(), BackdropRemove::Auto).unwrap().visible.width_px, 21);
    // The same joins what lies beyond it.
    let joined = with_rectangle(blurred, [42, 20, 10, 20], [0, 0, 0, 255]);
    assert_eq!(cut(joined, BackdropRemove::Auto).unwrap().edge.outer().count(), 1);
}

#[test]
fn a_loop_of_hair_beside_art_is_a_stroke_however_short() {
    // Three faint pixels on the far side of a gap: a hair of an eighth of a pixel, that leaves art and comes back.
    let body = with_rectangle(RgbaImage::new(60, 60), [20, 20, 20, 20], [0, 0, 0, 255]);
    let hair = [(40, 30, 24), (40, 31, 10), (41, 31, 34), (41, 32, 30), (40, 32, 12), (40, 33, 33)];
    let picture =
        hair.into_iter().fold(body, |picture, (x, y, alpha)| with_rectangle(picture, [x, y, 1, 1], [0, 0, 0, alpha]));
    assert_eq!(cut(picture, BackdropRemove::Auto).unwrap().visible.width_px, 22);
}

#[test]
fn a_leaf_ends_in_a_tip() {
    // Two arcs that meet at 30 degrees and bulge behind: hardly wider a little behind the tip.
    let radius = 40.0;
    let leaf = |x: f64, y: f64| [-38.6, 38.6].into_iter().all(|off: f64| x.hypot(y - off) <= radius);
    let tip_px = 40.0 + (radius * radius - 38.6 * 38.6_f64).sqrt();
    for shift in (0..10).map(|step| f64::from(step) * 0.17) {
        let picture = covered(80, |x, y| leaf(x - 40.0 - shift, y - 30.0 - 0.6 * shift));
        let found = cut(picture, BackdropRemove::Never).unwrap();
        let off_px = distance_to_line(&found, (tip_px + shift, 30.0 + 0.6 * shift));
        assert!(off_px < 0.7, "{off_px} at {shift}");
    }
}

#[test]
fn an_uneven_corner_is_no_stroke() {
    let plain = with_rectangle(RgbaImage::new(60, 60), [20, 20, 20, 20], [0, 0, 0, 255]);
    let found = cut(with_rectangle(plain, [40, 19, 1, 1], [0, 0, 0, 60]), BackdropRemove::Auto).unwrap();
    assert_eq!((found.visible.x_px, found.visible.width_px), (20, 20));
}

#[test]
fn a_grainy_shadow_beside_art_is_no_stroke() {
    let picture = RgbaImage::from_fn(160, 80, |x, y| Rgba([0, 0, 0, if x < 40 { 255 } else { noise(x, y) / 2 }]));
    let found = cut(picture, BackdropRemove::Never).unwrap();
    assert!(found.visible.width_px < 60, "{:?}", found.visible);
}

#[test]
fn a_stroke_ends_where_it_does_whatever_lies_before_it() {
    for gap in 3..7 {
        let hair = with_rectangle(RgbaImage::new(80, 60), [20, 30, 20, 1], [0, 0, 0, 70]);
        let held = with_rectangle(hair, [10, 20, 10, 20], [0, 0, 0, 255]);
        let found = cut(with_rectangle(held, [40 + gap, 20, 20, 20], [0, 0, 0, 255]), BackdropRemove::Never).unwrap();
        let off_px = distance_to_line(&found, (40.0, 30.5));
        assert!(off_px < 0.3, "{off_px} before a gap of {gap}");
    }
}
