//! Made pictures with known measures.

use image::imageops::{self, FilterType};
use image::{Rgba, RgbaImage};

use super::*;
use crate::geom::Region;
use crate::silhouette::BackdropFound;

fn surveyed(pixels: RgbaImage) -> Survey {
    let visible = Place { x_px: 0, y_px: 0, width_px: pixels.width(), height_px: pixels.height() };
    let pixels = Arc::new(pixels);
    let cut_out = CutOut {
        pixels: Arc::clone(&pixels),
        edge: Region::default(),
        visible,
        backdrop: BackdropFound::None,
        translucent_share: 0.0,
    };
    let artwork = Artwork::new(pixels, Format::Png);
    survey(&artwork, &cut_out)
}

/// Coverage of a half plane by a pixel at a signed distance inside it.
fn covered(depth: f64) -> u8 {
    ((depth + 0.5).clamp(0.0, 1.0) * 255.0).round() as u8
}

/// A disc in one colour, its edge a pixel wide.
fn disc(side: u32, colour: [u8; 3]) -> RgbaImage {
    let middle = f64::from(side) / 2.0;
    RgbaImage::from_fn(side, side, |x, y| {
        let from_middle = (f64::from(x) + 0.5 - middle).hypot(f64::from(y) + 0.5 - middle);
        let [r, g, b] = colour;
        Rgba([r, g, b, covered(middle * 0.8 - from_middle)])
    })
}

#[test]
fn a_sharp_picture_has_edges_of_one_pixel_and_an_enlarged_one_of_its_factor() {
    let sharp = disc(200, [200, 30, 30]);
    let width = surveyed(sharp.clone()).edge_px.expect("has edges");
    assert!((1.0..1.3).contains(&width), "{width}");
    // Colour is the same everywhere, so that straight alpha may be filtered by itself.
    for (filter, factors) in
        [(FilterType::Triangle, [2, 3, 4]), (FilterType::CatmullRom, [2, 3, 4]), (FilterType::Lanczos3, [2, 3, 4])]
    {
        for factor in factors {
            let large = imageops::resize(&sharp, 200 * factor, 200 * factor, filter);
            let width = surveyed(large).edge_px.expect("has edges");
            let expected = f64::from(factor);
            assert!((0.8 * expected..1.5 * expected).contains(&width), "{filter:?} x {factor}: {width}");
        }
    }
}

#[test]
fn a_glow_is_haze_and_an_edge_is_none() {
    assert_eq!(surveyed(disc(300, [200, 30, 30])).haze_share.to_bits(), 0.0_f64.to_bits());
    let glowing = RgbaImage::from_fn(300, 300, |x, y| {
        let from_middle = (f64::from(x) - 149.5).hypot(f64::from(y) - 149.5);
        Rgba([250, 220, 0, if from_middle < 90.0 { 255 } else { ((140.0 - from_middle).clamp(0.0, 50.0) * 3.0) as u8 }])
    });
    let seen = surveyed(glowing);
    // The glow is a ring of 50 px around a disc of 90 px: 1 - (90 / 140)^2 = 0.587, less what is near its ends.
    assert!((0.4..0.587).contains(&seen.haze_share), "{}", seen.haze_share);
    assert!(!seen.haze_places.is_empty());
}

#[test]
fn a_white_ring_and_mixed_in_grounds_are_rims_and_outlines_are_none() {
    let art = [200, 60, 40];
    let ringed = |width: f64, ring: [u8; 3]| {
        RgbaImage::from_fn(300, 300, |x, y| {
            let depth = 120.0 - (f64::from(x) - 149.5).hypot(f64::from(y) - 149.5);
            let [r, g, b] = if depth < width { ring } else { art };
            Rgba([r, g, b, covered(depth)])
        })
    };
    assert!(surveyed(ringed(2.0, [255; 3])).light_rim_share > 0.9);
    let clean = [ringed(0.0, art), ringed(2.0, [0; 3]), ringed(2.0, [230, 20, 20]), ringed(12.0, [255; 3])];
    for (number, picture) in clean.into_iter().enumerate() {
        let seen = surveyed(picture);
        assert!(seen.light_rim_share < 0.1 && seen.dark_rim_share < 0.1, "{number}: {seen:?}");
    }
    for (ground, is_light) in [(255.0, true), (0.0, false)] {
        let mut mixed = disc(300, art);
        for pixel in mixed.pixels_mut() {
            let share = f64::from(pixel[3]) / 255.0;
            for channel in 0..3 {
                pixel[channel] = (f64::from(art[channel]) * share + ground * (1.0 - share)).round() as u8;
            }
        }
        let seen = surveyed(mixed);
        let share = if is_light { seen.light_rim_share } else { seen.dark_rim_share };
        assert!(share > 0.4, "ground {ground}: {share}");
    }
}

#[test]
fn a_line_has_its_width_at_any_slant() {
    for width in [1.5, 3.0, 6.0] {
        for degrees in [0_u32, 20, 45, 70, 90] {
            let (sin, cos) = f64::from(degrees).to_radians().sin_cos();
            let depth = |x: u32, y: u32| {
                let aside = (f64::from(x) + 0.5 - 150.0) * sin - (f64::from(y) + 0.5 - 150.0) * cos;
                width / 2.0 - aside.abs()
            };
            let on_clear = RgbaImage::from_fn(300, 300, |x, y| Rgba([0, 0, 0, covered(depth(x, y))]));
            let found = surveyed(on_clear).lines;
            let mut widths: Vec<f32> = found.iter().map(|line| line.width_px).collect();
            widths.sort_by(f32::total_cmp);
            let middle = widths.get(widths.len() / 2).copied().unwrap_or_default();
            assert!((f64::from(middle) - width).abs() < 0.35, "{width} px at {degrees}: {middle}");
        }
    }
}

#[test]
fn a_light_line_on_a_dark_shape_has_its_width_and_highlights_and_pale_shapes_have_none() {
    let on_disc = |ground: [u8; 3], light: [u8; 3], share: fn(f64, f64) -> f64| {
        RgbaImage::from_fn(300, 300, |x, y| {
            let (dx, dy) = (f64::from(x) + 0.5 - 150.0, f64::from(y) + 0.5 - 150.0);
            let share = share(dx, dy).clamp(0.0, 1.0);
            let mixed = |channel: usize| {
                (f64::from(light[channel]) * share + f64::from(ground[channel]) * (1.0 - share)).round() as u8
            };
            Rgba([mixed(0), mixed(1), mixed(2), covered(130.0 - dx.hypot(dy))])
        })
    };
    // A line at 20 degrees, 3 px wide, that ends inside the disc.
    let line = |dx: f64, dy: f64| {
        let (sin, cos) = 20_f64.to_radians().sin_cos();
        let (along, aside) = (dx * cos + dy * sin, dx * sin - dy * cos);
        (1.5 - aside.abs() + 0.5).min(80.0 - along.abs())
    };
    for ground in [[20, 60, 160], [170, 20, 30], [0; 3]] {
        let found = surveyed(on_disc(ground, [255; 3], line)).lines;
        let mut widths: Vec<f32> = found.iter().map(|line| line.width_px).collect();
        widths.sort_by(f32::total_cmp);
        let middle = widths.get(widths.len() / 2).copied().unwrap_or_default();
        assert!((f64::from(middle) - 3.0).abs() < 0.5, "{ground:?}: {middle}");
    }
    // Thin, but hardly lighter; on a pale ground; a glow that fades; a spot.
    let none = [
        on_disc([120, 120, 120], [170, 170, 170], line),
        on_disc([230, 220, 190], [255; 3], line),
        on_disc([20, 60, 160], [255; 3], |dx, dy| 1.0 - dx.hypot(dy) / 40.0),
        on_disc([20, 60, 160], [255; 3], |dx, dy| 4.0 - dx.hypot(dy)),
    ];
    for (number, picture) in none.into_iter().enumerate() {
        assert_eq!(surveyed(picture).lines, [], "{number}");
    }
}

#[test]
fn a_tip_is_no_line_and_a_stroke_that_other_strokes_cross_is_one() {
    // Spikes of 8 to 25 degrees on a wide body, as leaves and drops have them.
    for degrees in [8.0_f64, 15.0, 25.0] {
        let half = (degrees / 2.0).to_radians().tan();
        let spike = RgbaImage::from_fn(300, 300, |x, y| {
            let from_tip = f64::from(y) - 20.0;
            let depth = (from_tip * half).clamp(-1.0, 60.0) - (f64::from(x) + 0.5 - 150.0).abs();
            Rgba([0, 0, 0, if y < 280 { covered(depth) } else { 0 }])
        });
        assert_eq!(surveyed(spike).lines, [], "{degrees}");
    }
    let grid = RgbaImage::from_fn(300, 300, |x, y| {
        let inside = (40..260).contains(&x) && (40..260).contains(&y);
        Rgba([0, 0, 0, if inside && (x % 20 < 3 || y % 20 < 3) { 255 } else { 0 }])
    });
    let length: f32 = surveyed(grid).lines.iter().map(|line| line.length_px).sum();
    // 11 lines each way, 220 px long, of which crossings hide 3 px in 20.
    assert!(length > 0.7 * 2.0 * 11.0 * 220.0, "{length}");
}

#[test]
fn a_block_is_no_line() {
    assert_eq!(surveyed(disc(300, [0; 3])).lines, []);
    let dots = RgbaImage::from_fn(200, 200, |x, y| Rgba([0, 0, 0, if x % 20 < 4 && y % 20 < 4 { 255 } else { 0 }]));
    assert_eq!(surveyed(dots).lines, []);
}

#[test]
fn whatever_the_pixels_are_every_share_is_one_and_every_width_is_a_number() {
    // Numbers from a linear congruential generator (Knuth 1998, volume 2, 3.3.4), seed 1.
    let mut state = 1_u64;
    let mut next = |below: u32| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) as u32 % below
    };
    for case in 0..200 {
        let (width, height) = (1 + next(40), 1 + next(40));
        let mut pixels = RgbaImage::new(width, height);
        for pixel in pixels.pixels_mut() {
            // Most alphas at the ends, where the decisions are.
            let alpha = [0, 0, 255, 255, next(256) as u8][next(5) as usize];
            *pixel = Rgba([next(256) as u8, next(256) as u8, next(256) as u8, alpha]);
        }
        let seen = surveyed(pixels);
        for share in [seen.haze_share, seen.light_rim_share, seen.dark_rim_share, seen.colours.share(|_| true)] {
            assert!((0.0..=1.0).contains(&share), "case {case}");
        }
        assert!(seen.edge_px.is_none_or(|width| width.is_finite() && width >= 1.0), "case {case}");
        assert!(seen.lines.iter().all(|line| line.width_px.is_finite() && line.length_px.is_finite()), "case {case}");
    }
}

#[test]
fn boxes_stay_inside_the_art_though_lines_are_looked_at_a_little_beyond() {
    let area = Place { x_px: 10, y_px: 20, width_px: 49, height_px: 31 };
    let places = [(8, 18), (60, 52), (30, 51), (9, 40)];
    for place in boxes(area, places.into_iter()) {
        assert!(place.x_px >= 10 && place.x_px + place.width_px <= 59, "{place:?}");
        assert!(place.y_px >= 20 && place.y_px + place.height_px <= 51, "{place:?}");
        assert!(place.width_px > 0 && place.height_px > 0, "{place:?}");
    }
    assert_eq!(boxes(area, std::iter::empty()), []);
}
