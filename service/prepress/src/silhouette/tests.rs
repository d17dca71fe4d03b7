//! What the stage promises, on pictures made here.

mod strokes;

use image::{Rgba, RgbaImage};

use super::*;
use crate::geom::{Point, Ring};
use crate::intake::Format;
use crate::order::BackdropRemove;

fn artwork(pixels: RgbaImage) -> Artwork {
    Artwork::new(Arc::new(pixels), Format::Png)
}

fn order(remove: BackdropRemove) -> Backdrop {
    Backdrop { remove, tolerance_delta_e: 3.5 }
}

fn cut(pixels: RgbaImage, remove: BackdropRemove) -> Result<CutOut, Fault> {
    cut_out(&artwork(pixels), order(remove), &Cancel::new())
}

/// Share of a pixel's square inside of something, by 16 x 16 samples.
fn share_inside(x: u32, y: u32, is_inside: impl Fn(f64, f64) -> bool) -> f64 {
    let at = |pixel: u32, step: i32| f64::from(pixel) + (f64::from(step) + 0.5) / 16.0;
    (0..256).filter(|step| is_inside(at(x, step % 16), at(y, step / 16))).count() as f64 / 256.0
}

/// Share of a pixel's square inside a disc.
pub(super) fn disc_share(x: u32, y: u32, centre: (f64, f64), radius: f64) -> f64 {
    share_inside(x, y, |x, y| (x - centre.0).hypot(y - centre.1) <= radius)
}

fn disc(side: u32, radius: f64) -> RgbaImage {
    let middle = f64::from(side) / 2.0;
    RgbaImage::from_fn(side, side, |x, y| {
        let share = disc_share(x, y, (middle, middle), radius);
        Rgba([200, 30, 30, (share * 255.0).round() as u8])
    })
}

/// A picture laid over an opaque ground, mixed in encoded values.
fn over(art: &RgbaImage, ground: impl Fn(u32, u32) -> [f64; 3]) -> RgbaImage {
    RgbaImage::from_fn(art.width(), art.height(), |x, y| {
        let (pixel, below) = (art.get_pixel(x, y).0, ground(x, y));
        let share = f64::from(pixel[3]) / 255.0;
        let mixed = |channel: usize| f64::from(pixel[channel]) * share + below[channel] * (1.0 - share);
        Rgba([mixed(0).round() as u8, mixed(1).round() as u8, mixed(2).round() as u8, 255])
    })
}

fn overlap(found: &RgbaImage, truth: &RgbaImage) -> f64 {
    let pairs = || found.pixels().zip(truth.pixels()).map(|(a, b)| (a.0[3] >= 128, b.0[3] >= 128));
    pairs().filter(|(a, b)| *a && *b).count() as f64 / pairs().filter(|(a, b)| *a || *b).count() as f64
}

fn with_rectangle(mut pixels: RgbaImage, box_px: [u32; 4], colour: [u8; 4]) -> RgbaImage {
    let [left, top, width, height] = box_px;
    for y in top..top + height {
        for x in left..left + width {
            pixels.put_pixel(x, y, Rgba(colour));
        }
    }
    pixels
}

/// Steele's mixing of a counter: any fixed noise will do.
fn noise(x: u32, y: u32) -> u8 {
    ((x.wrapping_mul(0x9E37_79B9) ^ y.wrapping_mul(0x85EB_CA6B)).wrapping_mul(0xC2B2_AE35) >> 24) as u8
}

#[test]
fn a_disc_is_traced_to_a_fortieth_of_a_pixel_with_its_area() {
    let found = cut(disc(120, 40.25), BackdropRemove::Auto).unwrap();
    assert_eq!(found.backdrop, BackdropFound::None);
    assert_eq!(found.edge.rings.len(), 1);
    let centre = Point::new(60.0, 60.0);
    let worst = found.edge.rings[0].points().iter().map(|point| (point.distance(centre) - 40.25).abs());
    assert!(worst.fold(0.0, f64::max) < 0.1);
    let area = std::f64::consts::PI * 40.25 * 40.25;
    assert!((found.edge.area_mm2() - area).abs() < area * 1e-3, "{} {area}", found.edge.area_mm2());
    assert_eq!(found.visible, Place { x_px: 19, y_px: 19, width_px: 82, height_px: 82 });
}

#[test]
fn art_that_fills_the_canvas_ends_exactly_at_its_border() {
    let whole = RgbaImage::from_pixel(40, 30, Rgba([1, 2, 3, 255]));
    let found = cut(whole, BackdropRemove::Never).unwrap();
    assert_eq!(found.backdrop, BackdropFound::Kept);
    let bounds = found.edge.bounds().unwrap();
    assert_eq!((bounds.x0, bounds.y0, bounds.x1, bounds.y1), (0.0, 0.0, 40.0, 30.0));
    assert_eq!(found.edge.rings[0].points().len(), 4, "corners are whole and sides straight");
    assert!((found.edge.area_mm2() - 1200.0).abs() < 1e-9);
}

#[test]
fn art_cut_by_the_canvas_ends_straight_there() {
    let half = with_rectangle(RgbaImage::new(50, 50), [0, 10, 20, 30], [9, 9, 9, 255]);
    let found = cut(half, BackdropRemove::Auto).unwrap();
    assert!(
        (found.edge.area_mm2() - (600.0 - 0.25)).abs() < 0.01,
        "two corners are cut by an eighth: {}",
        found.edge.area_mm2()
    );
    assert_eq!(found.visible, Place { x_px: 0, y_px: 10, width_px: 20, height_px: 30 });
}

#[test]
fn holes_run_the_other_way_round() {
    let ring = with_rectangle(RgbaImage::new(60, 60), [10, 10, 40, 40], [9, 9, 9, 255]);
    let found = cut(with_rectangle(ring, [20, 20, 20, 20], [0; 4]), BackdropRemove::Auto).unwrap();
    assert_eq!((found.edge.outer().count(), found.edge.holes().count()), (1, 1));
    assert!((found.edge.area_mm2() - 1200.0).abs() < 1.0);
}

#[test]
fn every_covered_pixel_lies_inside_and_every_other_outside() {
    let speckled = RgbaImage::from_fn(40, 33, |x, y| Rgba([5, 5, 5, noise(x, y)]));
    // As traced: strokes are covered on purpose, and tips that are put back may reach over a centre.
    let plane = plane::Plane::of(&speckled, &Cancel::new()).unwrap();
    let traced = trace::trace(&plane, HALF_COVERED, &Cancel::new()).unwrap();
    for (x, y, pixel) in speckled.enumerate_pixels() {
        let centre = Point::new(f64::from(x) + 0.5, f64::from(y) + 0.5);
        let around = traced.iter().filter(|ring| ring.contains(centre)).count();
        assert_eq!(around % 2 == 1, pixel.0[3] >= 128, "{x} {y}");
    }
    let turns: f64 = traced.iter().map(Ring::signed_area).sum();
    assert!(turns > 0.0);
    assert!(traced.iter().all(|ring| ring.points().len() >= 4));
}

#[test]
fn nothing_visible_is_blank() {
    assert!(matches!(cut(RgbaImage::new(50, 50), BackdropRemove::Auto), Err(Fault::ArtBlank)));
    let white = RgbaImage::from_pixel(50, 50, Rgba([255; 4]));
    assert!(matches!(cut(white, BackdropRemove::Auto), Err(Fault::ArtBlank)));
    // A sheet of one colour is no backdrop without art, unless it was said to be.
    let red = || RgbaImage::from_pixel(50, 50, Rgba([200, 20, 30, 255]));
    let found = cut(red(), BackdropRemove::Auto).unwrap();
    assert_eq!((found.backdrop, found.visible.width_px), (BackdropFound::CannotTell, 50));
    assert_eq!(*found.pixels, red());
    assert!(matches!(cut(red(), BackdropRemove::Always), Err(Fault::ArtBlank)));
}

#[test]
fn a_faint_picture_is_traced_at_half_of_its_own_alpha() {
    let faint = with_rectangle(RgbaImage::new(60, 60), [10, 10, 40, 40], [9, 9, 9, 90]);
    let found = cut(faint, BackdropRemove::Auto).unwrap();
    assert!((found.edge.area_mm2() - 1600.0).abs() < 2.0);
}

#[test]
fn flat_and_sloping_backdrops_are_removed_with_true_alpha() {
    let art = disc(160, 50.3);
    let white = over(&art, |_, _| [255.0; 3]);
    let sloping = over(&art, |x, y| [120.0 + f64::from(x) * 0.4, 190.0 - f64::from(y) * 0.3, 200.0]);
    for picture in [white, sloping] {
        let found = cut(picture, BackdropRemove::Auto).unwrap();
        assert_eq!(found.backdrop, BackdropFound::Removed);
        assert!(overlap(&found.pixels, &art) > 0.995);
        let errors = found.pixels.pixels().zip(art.pixels()).map(|(a, b)| a.0[3].abs_diff(b.0[3]));
        // Under a tenth beside the art is taken for noise.
        assert!(errors.max().unwrap() <= 26, "alpha is un-mixed, not cut");
        let edge_reds = found.pixels.pixels().filter(|pixel| (60..250).contains(&pixel.0[3]));
        assert!(edge_reds.map(|pixel| pixel.0[1].abs_diff(30)).max().unwrap() <= 16, "no fringe of the backdrop");
    }
}

#[test]
fn the_backdrops_colour_inside_the_art_stays() {
    let white = RgbaImage::from_pixel(100, 100, Rgba([255; 4]));
    let framed = with_rectangle(white, [20, 20, 60, 60], [10, 60, 10, 255]);
    let found = cut(with_rectangle(framed, [40, 40, 20, 20], [255; 4]), BackdropRemove::Auto).unwrap();
    assert_eq!(found.pixels.get_pixel(50, 50).0, [255; 4]);
    assert_eq!(found.edge.holes().count(), 0);
}

#[test]
fn noise_specks_of_the_backdrop_do_not_stay_as_islands() {
    let white = RgbaImage::from_pixel(100, 100, Rgba([255; 4]));
    let art = with_rectangle(white, [30, 30, 40, 40], [10, 60, 10, 255]);
    let specked = with_rectangle(art, [10, 10, 3, 2], [236, 238, 236, 255]);
    let found = cut(with_rectangle(specked, [85, 85, 3, 3], [0, 0, 0, 255]), BackdropRemove::Auto).unwrap();
    assert_eq!(found.pixels.get_pixel(11, 11).0[3], 0);
    assert_eq!(found.edge.outer().count(), 2, "a black dot is art");
}

#[test]
fn a_busy_picture_cannot_be_told_and_stays() {
    let noise = |x: u32, y: u32| ((x * 7919 + y * 104_729) * 31 % 251) as u8;
    let busy = RgbaImage::from_fn(90, 80, |x, y| Rgba([noise(x, y), noise(y, x), noise(x + 5, y), 255]));
    let found = cut(busy.clone(), BackdropRemove::Auto).unwrap();
    assert_eq!(found.backdrop, BackdropFound::CannotTell);
    assert_eq!(*found.pixels, busy);
}

#[test]
fn stripes_and_bricks_cannot_be_told() {
    let art = disc(400, 120.0);
    let white = |light: bool| if light { [255.0; 3] } else { [204.0; 3] };
    let stripes = |_: u32, y: u32| white((y / 10).is_multiple_of(2));
    let bricks = |x: u32, y: u32| white(y % 10 > 1 && (x + y / 10 % 2 * 10) % 20 > 1);
    let grounds: [&dyn Fn(u32, u32) -> [f64; 3]; 2] = [&stripes, &bricks];
    for ground in grounds {
        let picture = over(&art, ground);
        let found = cut(picture.clone(), BackdropRemove::Auto).unwrap();
        assert_eq!(found.backdrop, BackdropFound::CannotTell);
        assert_eq!(*found.pixels, picture);
    }
}

#[test]
fn more_tolerance_never_removes_less() {
    let art = disc(120, 35.0);
    let picture = over(&art, |x, y| [240.0 - f64::from((x * 13 + y * 7) % 11), 235.0, 230.0 - f64::from(x % 7)]);
    let left = |tolerance_delta_e: f64| {
        let order = Backdrop { remove: BackdropRemove::Always, tolerance_delta_e };
        let found = cut_out(&artwork(picture.clone()), order, &Cancel::new()).unwrap();
        found.pixels.pixels().filter(|pixel| pixel.0[3] >= 128).count()
    };
    let areas = [0.5, 1.0, 2.0, 3.5, 5.0, 8.0, 12.0].map(left);
    assert!(areas.windows(2).all(|pair| pair[0] >= pair[1]), "{areas:?}");
}

#[test]
fn a_raised_flag_stops_the_work() {
    let cancel = Cancel::new();
    cancel.raise();
    let found = cut_out(&artwork(disc(120, 35.0)), order(BackdropRemove::Auto), &cancel);
    assert!(matches!(found, Err(Fault::Cancelled)));
}

#[test]
fn a_slope_of_light_is_no_edge() {
    // The canvas's edge is even; inside, the light falls off smoothly to half.
    let lit = RgbaImage::from_fn(200, 200, |x, y| {
        let depth = [x, y, 199 - x, 199 - y].into_iter().min().unwrap();
        Rgba([240 - depth.min(110) as u8, 240 - depth.min(110) as u8, 240 - depth.min(110) as u8, 255])
    });
    let found = cut(lit, BackdropRemove::Auto).unwrap();
    assert_eq!(found.backdrop, BackdropFound::CannotTell);
}

#[test]
fn a_soft_shadow_does_not_become_art() {
    let shadow = RgbaImage::from_fn(120, 120, |x, _| Rgba([0, 0, 0, if x > 60 { (120 - x as u8) * 2 } else { 0 }]));
    let found = cut(with_rectangle(shadow, [20, 20, 41, 80], [200, 0, 0, 255]), BackdropRemove::Auto).unwrap();
    assert!(found.visible.width_px <= 43, "{:?}", found.visible);
}

#[test]
fn hearts_are_cut_from_a_saturated_jpeg() {
    let picture = include_bytes!("../../../../tests/fixtures/art/backdrop/green_jpeg_q75.jpg");
    let truth = include_bytes!("../../../../tests/fixtures/art/backdrop/green_jpeg_q75.truth.png");
    let art = crate::intake::open(picture, 1000, &crate::intake::Limits::default()).unwrap();
    let truth = image::load_from_memory(truth).unwrap().into_luma8();
    let truth = RgbaImage::from_fn(truth.width(), truth.height(), |x, y| Rgba([0, 0, 0, truth.get_pixel(x, y).0[0]]));
    let found = cut_out(&art, order(BackdropRemove::Auto), &Cancel::new()).unwrap();
    assert_eq!(found.backdrop, BackdropFound::Removed);
    let overlap = overlap(&found.pixels, &truth);
    assert!(overlap > 0.995, "{overlap}");
    let hearts = found.edge.outer().filter(|ring| ring.area_mm2() > 1000.0).count();
    assert_eq!(hearts, 4);
}

/// A chequerboard with squares of any size, mixed where their sides fall within a pixel.
fn chequers(size: f64, (dark, light): (f64, f64)) -> impl Fn(u32, u32) -> [f64; 3] {
    move |x, y| {
        let tone = |place: u32| {
            let steps = (0..16).map(|step| (f64::from(place) + (f64::from(step) + 0.5) / 16.0 + 2.7) / size);
            steps.map(|square| if square.floor().rem_euclid(2.0) < 1.0 { 1.0 } else { -1.0 }).sum::<f64>() / 16.0
        };
        [f64::midpoint(dark, light) + tone(x) * tone(y) * (light - dark) / 2.0; 3]
    }
}

#[test]
fn a_painted_chequerboard_is_taken_away_with_true_alpha() {
    let mut art = disc(240, 80.3);
    for (x, y, pixel) in art.enumerate_pixels_mut() {
        let hole = disc_share(x, y, (120.0, 120.0), 40.0);
        pixel.0[3] = (f64::from(pixel.0[3]) * (1.0 - hole)).round() as u8;
    }
    for (size, tones) in [(8.0, (204.0, 255.0)), (7.3, (153.0, 102.0)), (20.0, (230.0, 255.0)), (12.5, (238.0, 255.0))]
    {
        let found = cut(over(&art, chequers(size, tones)), BackdropRemove::Auto).unwrap();
        assert_eq!(found.backdrop, BackdropFound::CheckerRemoved, "{size}");
        let overlap = overlap(&found.pixels, &art);
        assert!(overlap > 0.99, "{size}: {overlap}");
        assert_eq!((found.edge.outer().count(), found.edge.holes().count()), (1, 1), "{size}");
    }
}

#[test]
fn a_coloured_backdrop_is_seen_through_a_window() {
    let ring = with_rectangle(
        RgbaImage::from_pixel(100, 100, Rgba([40, 160, 90, 255])),
        [20, 20, 60, 60],
        [250, 240, 20, 255],
    );
    let found = cut(with_rectangle(ring.clone(), [40, 40, 20, 20], [40, 160, 90, 255]), BackdropRemove::Auto).unwrap();
    assert_eq!(found.edge.holes().count(), 1);
    // Another green is art.
    let found = cut(with_rectangle(ring, [40, 40, 20, 20], [40, 168, 94, 255]), BackdropRemove::Auto).unwrap();
    assert_eq!(found.edge.holes().count(), 0);
    assert_eq!(found.pixels.get_pixel(50, 50).0, [40, 168, 94, 255]);
}

#[test]
fn a_white_outline_survives_on_light_grey() {
    for grey in [214, 222, 230] {
        let whole = RgbaImage::from_pixel(160, 160, Rgba([grey, grey, grey, 255]));
        let outlined = with_rectangle(whole, [40, 40, 80, 80], [255; 4]);
        let found = cut(with_rectangle(outlined, [46, 46, 68, 68], [200, 20, 60, 255]), BackdropRemove::Auto).unwrap();
        assert_eq!(found.backdrop, BackdropFound::Removed, "{grey}");
        assert!((found.edge.area_mm2() - 6400.0).abs() < 4.0, "{grey}: {}", found.edge.area_mm2());
        assert_eq!(found.pixels.get_pixel(43, 80).0, [255; 4], "{grey}");
    }
}

#[test]
fn a_white_outline_survives_narrow_or_on_the_palest_grey() {
    for (grey, width) in [(204, 3), (221, 3), (238, 3), (238, 12), (245, 3), (245, 12), (250, 3)] {
        let whole = RgbaImage::from_pixel(200, 200, Rgba([grey, grey, grey, 255]));
        let side = 100 + 2 * width;
        let outlined = with_rectangle(whole, [50 - width, 50 - width, side, side], [255; 4]);
        let found =
            cut(with_rectangle(outlined, [50, 50, 100, 100], [200, 20, 60, 255]), BackdropRemove::Auto).unwrap();
        assert_eq!(found.backdrop, BackdropFound::Removed, "{grey}");
        let area = f64::from(side * side);
        assert!((found.edge.area_mm2() - area).abs() < 4.0, "{grey}, {width} px: {}", found.edge.area_mm2());
    }
}

/// Shading passes through the backdrop's own colour, and is neither noise of compression nor a hole.
#[test]
fn pale_shaded_art_in_a_white_outline_stays_whole_on_pale_grey() {
    let outlined = RgbaImage::from_fn(240, 240, |x, y| {
        let shaded = disc_share(x, y, (120.0, 120.0), 72.0);
        let shade = 255.0 - 55.0 * f64::from(y) / 240.0;
        let code = (255.0 + (shade - 255.0) * shaded).round() as u8;
        Rgba([code, code, code, (disc_share(x, y, (120.0, 120.0), 86.0) * 255.0).round() as u8])
    });
    for grey in [230.0, 238.0, 245.0] {
        let found = cut(over(&outlined, |_, _| [grey; 3]), BackdropRemove::Auto).unwrap();
        assert_eq!(found.backdrop, BackdropFound::Removed, "{grey}");
        assert_eq!(found.edge.rings.len(), 1, "{grey}");
        let area = std::f64::consts::PI * 86.0 * 86.0;
        assert!((found.edge.area_mm2() - area).abs() < 0.01 * area, "{grey}: {}", found.edge.area_mm2());
    }
}

#[test]
fn the_grey_between_a_white_outline_and_dark_art_is_art() {
    let outlined = RgbaImage::from_fn(160, 160, |x, y| {
        let dark = disc_share(x, y, (80.0, 80.0), 44.0);
        let code = (255.0 - 235.0 * dark).round() as u8;
        Rgba([code, code, code, (disc_share(x, y, (80.0, 80.0), 47.0) * 255.0).round() as u8])
    });
    for grey in [90.0, 150.0, 200.0, 238.0, 245.0] {
        let found = cut(over(&outlined, |_, _| [grey; 3]), BackdropRemove::Auto).unwrap();
        assert_eq!(found.backdrop, BackdropFound::Removed, "{grey}");
        assert_eq!(found.edge.rings.len(), 1, "{grey}");
        let area = std::f64::consts::PI * 47.0 * 47.0;
        assert!((found.edge.area_mm2() - area).abs() < 0.01 * area, "{grey}: {}", found.edge.area_mm2());
    }
}

#[test]
fn a_pale_stroke_of_another_colour_is_no_shadow() {
    // A grey spoke in a wheel, before pale blue.
    let wheel = with_rectangle(RgbaImage::new(200, 200), [20, 20, 160, 160], [20, 20, 20, 255]);
    let wheel = with_rectangle(wheel, [30, 30, 140, 140], [0; 4]);
    let wheel = with_rectangle(wheel, [90, 30, 10, 140], [234, 234, 234, 255]);
    let found = cut(over(&wheel, |_, _| [233.0, 243.0, 252.0]), BackdropRemove::Auto).unwrap();
    assert_eq!(found.backdrop, BackdropFound::Removed);
    assert!(overlap(&found.pixels, &wheel) > 0.99, "{}", overlap(&found.pixels, &wheel));
}

#[test]
fn a_cast_shadow_stays_as_a_veil_and_moves_no_line() {
    let white = RgbaImage::from_pixel(200, 200, Rgba([255; 4]));
    let shadow = with_rectangle(white, [60, 110, 85, 35], [238, 238, 238, 255]);
    let picture = with_rectangle(shadow, [40, 40, 90, 90], [20, 90, 160, 255]);
    let found = cut(picture, BackdropRemove::Auto).unwrap();
    assert_eq!(found.backdrop, BackdropFound::Removed);
    assert!((found.edge.area_mm2() - 8100.0).abs() < 4.0, "{}", found.edge.area_mm2());
    let veil = found.pixels.get_pixel(138, 138).0;
    let on_white = f64::from(veil[0]) * f64::from(veil[3]) / 255.0 + 255.0 - f64::from(veil[3]);
    assert!((on_white - 238.0).abs() < 1.0, "laid on white it looks as before: {veil:?}");
}

#[test]
fn white_art_open_to_a_white_backdrop_cannot_be_told() {
    // A grid of strokes with gaps: white everywhere between, reached through them.
    let stroke = |at: u32| at % 12 < 3;
    let drawn = RgbaImage::from_fn(400, 400, |x, y| {
        let inside = (60..340).contains(&x) && (60..340).contains(&y);
        let gap = (x + y) % 40 < 3;
        Rgba(if inside && !gap && (stroke(x) || stroke(y)) { [0, 0, 0, 255] } else { [255; 4] })
    });
    assert_eq!(cut(drawn.clone(), BackdropRemove::Auto).unwrap().backdrop, BackdropFound::CannotTell);
    assert_eq!(cut(drawn, BackdropRemove::Always).unwrap().backdrop, BackdropFound::Removed);
}

#[test]
fn any_picture_gets_a_line_or_a_reason() {
    let alpha = |share: u8| {
        move |x: u32, y: u32| Rgba([9, 9, 9, if (x * 37 + y * 101) % 256 < u32::from(share) { 255 } else { 0 }])
    };
    let specks = RgbaImage::from_fn(600, 600, |x, y| Rgba([9, 9, 9, if x % 4 < 2 && y % 4 < 2 { 255 } else { 0 }]));
    let found = cut(specks, BackdropRemove::Auto).unwrap();
    assert_eq!(found.edge.outer().count(), 22_500);
    for share in [1, 60, 128, 250] {
        assert!(cut(RgbaImage::from_fn(300, 300, alpha(share)), BackdropRemove::Auto).is_ok());
    }
    for side in [1, 2, 3] {
        let whole = |colour| cut(RgbaImage::from_pixel(side, side, Rgba(colour)), BackdropRemove::Never);
        assert!((whole([0, 0, 0, 255]).unwrap().edge.area_mm2() - f64::from(side * side)).abs() < 1e-9);
        assert!(matches!(whole([255, 255, 255, 0]), Err(Fault::ArtBlank)));
        for remove in [BackdropRemove::Auto, BackdropRemove::Always] {
            assert!(matches!(cut(RgbaImage::from_pixel(side, side, Rgba([255; 4])), remove), Err(Fault::ArtBlank)));
        }
    }
    let (white, black) = ([255, 255, 255, 255], [0, 0, 0, 255]);
    for (ground, ink) in [(white, black), (black, white), ([0; 4], white), ([255, 255, 255, 0], black)] {
        let found = cut(
            with_rectangle(RgbaImage::from_pixel(90, 90, Rgba(ground)), [30, 30, 30, 30], ink),
            BackdropRemove::Auto,
        );
        assert!((found.unwrap().edge.area_mm2() - 900.0).abs() < 1.0);
    }
}

#[test]
fn a_fractal_edge_is_followed_around() {
    // von Koch, "Sur une courbe continue sans tangente" (1904), six times replaced: its area is 8/5 of the triangle's in
    // the limit, and sides shorter than a pixel are blurred away.
    let side = 729.0_f64;
    let corner = |k: u32| {
        let angle = f64::from(k) * std::f64::consts::TAU / 3.0 - std::f64::consts::FRAC_PI_2;
        (450.0 + side / 3.0_f64.sqrt() * angle.cos(), 450.0 + side / 3.0_f64.sqrt() * angle.sin())
    };
    let mut points = vec![corner(0), corner(1), corner(2)];
    for _ in 0..6 {
        let sides = points.iter().zip(points.iter().cycle().skip(1));
        let bent = sides.flat_map(|(a, b)| {
            let (u, v) = ((b.0 - a.0) / 3.0, (b.1 - a.1) / 3.0);
            let peak = (a.0 + u * 1.5 + v * 0.75_f64.sqrt(), a.1 + v * 1.5 - u * 0.75_f64.sqrt());
            [*a, (a.0 + u, a.1 + v), peak, (a.0 + 2.0 * u, a.1 + 2.0 * v)]
        });
        points = bent.collect();
    }
    let mut picture = RgbaImage::new(900, 900);
    for y in 0..900_u32 {
        let row = f64::from(y) + 0.5;
        let crossed = points.iter().zip(points.iter().cycle().skip(1)).filter(|(a, b)| (a.1 > row) != (b.1 > row));
        let mut crossings: Vec<f64> = crossed.map(|(a, b)| a.0 + (row - a.1) / (b.1 - a.1) * (b.0 - a.0)).collect();
        crossings.sort_by(f64::total_cmp);
        for pair in crossings.chunks_exact(2) {
            for x in pair[0].round() as u32..pair[1].round() as u32 {
                picture.put_pixel(x, y, Rgba([9, 9, 9, 255]));
            }
        }
    }
    let found = cut(picture, BackdropRemove::Auto).unwrap();
    let wanted = 3.0_f64.sqrt() / 4.0 * side * side * 1.6;
    assert!((found.edge.area_mm2() / wanted - 1.0).abs() < 0.01, "{} {wanted}", found.edge.area_mm2());
}

#[test]
fn translucent_share_counts_visible_pixels_only() {
    let mut pixels = RgbaImage::from_fn(100, 10, |x, _| Rgba([200, 30, 30, if x < 50 { 255 } else { 0 }]));
    for y in 0..5 {
        (0..10).for_each(|x| pixels.put_pixel(x, y, Rgba([0, 0, 0, 100])));
        (90..100).for_each(|x| pixels.put_pixel(x, y, Rgba([0, 0, 0, 5])));
    }
    // 50 of 500; alpha 5 is under 2 %.
    let found = cut(pixels, BackdropRemove::Auto).expect("has art");
    assert!((found.translucent_share - 0.1).abs() < 1e-12, "{}", found.translucent_share);
}
