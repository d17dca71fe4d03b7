use super::samples::{design, disc, photo, stock, triangle, washer};
use super::*;
use crate::order::{ArtFit, Parts, Thresholds};

fn mm(length: f64) -> Mm {
    Mm::of(length)
}

fn fitted(cut_out: &CutOut, design: &Design) -> Outlined {
    fit(cut_out, design, None, &stock(), &Thresholds::default(), &Cancel::new()).expect("it can be made")
}

fn backed(cut_out: &CutOut, design: &Design, backing: &Backing) -> Outlined {
    fit(cut_out, design, Some(backing), &stock(), &Thresholds::default(), &Cancel::new()).expect("it can be made")
}

fn backing(shape: Shape) -> Backing {
    Backing { shape, margin: mm(4.0), colour: None }
}

fn size_of(outlined: &Outlined) -> (f64, f64) {
    (outlined.finished_width.mm(), outlined.finished_height.mm())
}

/// The art's true edge in the sticker's millimetres.
fn art_points(cut_out: &CutOut, outlined: &Outlined) -> Vec<Point> {
    cut_out.edge.rings.iter().flat_map(|ring| ring.points()).map(|point| outlined.art_to_mm * *point).collect()
}

/// Distance from each of the points to the line, the least.
fn least_distance(points: &[Point], line: &CutLine) -> f64 {
    let ring = line.flattened(mm(0.002));
    points.iter().map(|point| ring.distance_to_edges(*point)).fold(f64::INFINITY, f64::min)
}

fn assert_near(measured: f64, expected: f64, tolerance: f64) {
    assert!((measured - expected).abs() <= tolerance, "{measured} is not {expected}");
}

#[test]
fn a_rectangle_has_the_aspect_of_the_art_with_the_border_around_it() {
    let art = photo(400, 200, [0; 3], [9; 3]);
    // 66 mm wide less twice 3 mm leaves 60 x 30 mm of art: 66 x 36.
    let outlined = fitted(&art, &design(Shape::Rectangle, Size::Width(mm(66.0)), 3.0));
    assert_near(size_of(&outlined).0, 66.0, 1e-9);
    assert_near(size_of(&outlined).1, 36.0, 1e-9);
    let outlined = fitted(&art, &design(Shape::Rectangle, Size::Height(mm(36.0)), 3.0));
    assert_near(size_of(&outlined).0, 66.0, 1e-9);
    assert_near(least_distance(&art_points(&art, &outlined), &outlined.through[0]), 3.0, 1e-9);
    assert_near(outlined.overall.center().distance(Point::ORIGIN), 0.0, 1e-9);
}

#[test]
fn both_lengths_hold_and_the_art_is_not_stretched() {
    let art = photo(400, 200, [0; 3], [9; 3]);
    let outlined = fitted(&art, &design(Shape::Rectangle, Size::Both { width: mm(50.0), height: mm(50.0) }, 2.0));
    assert_near(size_of(&outlined).0, 50.0, 1e-9);
    assert_near(size_of(&outlined).1, 50.0, 1e-9);
    let [across, _, _, down, ..] = outlined.art_to_mm.as_coeffs();
    assert_near(across, down, 1e-12);
    assert_near(across * 400.0, 46.0, 1e-9);
}

#[test]
fn round_corners_keep_the_border_from_the_arts_corners() {
    let art = photo(300, 200, [0; 3], [9; 3]);
    let shape = Shape::RoundedRectangle { corner_radius: mm(12.0) };
    let outlined = fitted(&art, &design(shape, Size::Width(mm(80.0)), 2.0));
    assert_near(size_of(&outlined).0, 80.0, 1e-9);
    assert_near(least_distance(&art_points(&art, &outlined), &outlined.through[0]), 2.0, 0.005);
    // A triangle's corners point elsewhere: only the lower two are in the way.
    let art = triangle(300.0, 200.0);
    let outlined = fitted(&art, &design(shape, Size::Width(mm(80.0)), 2.0));
    assert_near(least_distance(&art_points(&art, &outlined), &outlined.through[0]), 2.0, 0.005);
}

#[test]
fn a_circle_is_the_smallest_around_the_art() {
    let art = triangle(300.0, 100.0);
    // Obtuse: the smallest enclosing circle has the base as diameter, 300 px.
    for size in [Size::Width(mm(40.0)), Size::Height(mm(40.0)), Size::Longest(mm(40.0))] {
        let outlined = fitted(&art, &design(Shape::Circle, size, 2.0));
        assert_near(size_of(&outlined).0, 40.0, 1e-9);
        assert_near(size_of(&outlined).1, 40.0, 1e-9);
        assert_near(outlined.art_to_mm.as_coeffs()[0], 36.0 / 300.0, 1e-9);
        assert_near(least_distance(&art_points(&art, &outlined), &outlined.through[0]), 2.0, 0.005);
    }
}

#[test]
fn an_ellipse_has_the_arts_aspect_and_the_border_is_true_everywhere() {
    let art = photo(400, 200, [0; 3], [9; 3]);
    let outlined = fitted(&art, &design(Shape::Ellipse, Size::Longest(mm(80.0)), 3.0));
    assert_near(size_of(&outlined).0, 80.0, 1e-9);
    assert_near(size_of(&outlined).1, 40.0, 1e-9);
    assert_near(least_distance(&art_points(&art, &outlined), &outlined.through[0]), 3.0, 0.005);
    // Without border: the corners of a box on an ellipse of its aspect are at 1 / sqrt(2) of its half axes.
    let outlined = fitted(&art, &design(Shape::Ellipse, Size::Longest(mm(80.0)), 0.0));
    assert_near(outlined.art_to_mm.as_coeffs()[0] * 400.0, 80.0 / 2f64.sqrt(), 1e-6);
}

#[test]
fn cover_fills_the_shape_less_the_border_and_is_cropped_by_it() {
    let art = photo(400, 200, [0; 3], [9; 3]);
    let mut order = design(Shape::Circle, Size::Width(mm(50.0)), 2.0);
    order.outline.art_fit = ArtFit::Cover;
    let outlined = fitted(&art, &order);
    // 200 px over 46 mm, so that the circle less its border is full.
    assert_near(outlined.art_to_mm.as_coeffs()[0], 46.0 / 200.0, 1e-9);
    let crop = outlined.crop.expect("covers are cropped").bounds();
    assert_near(crop.width(), 46.0, 1e-6);
    let mut order = design(Shape::Rectangle, Size::Width(mm(50.0)), 2.0);
    order.outline.art_fit = ArtFit::Cover;
    // One length: the art's aspect.
    assert_near(size_of(&fitted(&art, &order)).1, 25.0, 1e-9);
    let mut order = design(Shape::Ellipse, Size::Width(mm(50.0)), 2.0);
    order.outline.art_fit = ArtFit::Cover;
    let outlined = fitted(&art, &order);
    let crop = outlined.crop.expect("covers are cropped");
    let points = crop.flattened(mm(0.01)).points().to_vec();
    assert_near(least_distance(&points, &outlined.through[0]), 2.0, 0.006);
}

#[test]
fn a_contour_has_the_ordered_size_to_a_tenth_of_a_millimetre() {
    let art = triangle(300.0, 200.0);
    for (size, side) in [(Size::Width(mm(60.0)), 0), (Size::Height(mm(45.0)), 1), (Size::Longest(mm(25.0)), 0)] {
        for border in [0.0, 0.4, 3.0] {
            let outlined = fitted(&art, &design(Shape::Contour, size, border));
            let measured = if side == 0 { outlined.finished_width } else { outlined.finished_height };
            let (Size::Width(asked) | Size::Height(asked) | Size::Longest(asked)) = size else { unreachable!() };
            assert_near(measured.mm(), asked.mm(), 0.1);
            assert_near(outlined.overall.center().distance(Point::ORIGIN), 0.0, 1e-6);
            assert!(least_distance(&art_points(&art, &outlined), &outlined.through[0]) > border - 0.05);
        }
    }
}

#[test]
fn a_disc_with_a_border_is_a_disc() {
    let art = disc(500, 220.0, [200, 0, 0]);
    let outlined = fitted(&art, &design(Shape::Contour, Size::Width(mm(50.0)), 3.0));
    // 44 mm of art over 440 px.
    assert_near(outlined.art_to_mm.as_coeffs()[0], 0.1, 3e-4);
    assert_near(outlined.through[0].area_mm2(), std::f64::consts::PI * 625.0, 5.0);
    assert_eq!((outlined.kiss.len(), outlined.through.len(), outlined.outer_lines), (0, 1, 1));
}

#[test]
fn a_kept_hole_is_a_line_of_its_own_after_the_outer_one() {
    let art = washer(500, 220.0, 120.0, [200, 0, 0]);
    let mut order = design(Shape::Contour, Size::Width(mm(50.0)), 2.0);
    assert_eq!(fitted(&art, &order).through.len(), 1, "holes are filled");
    order.outline.keep_holes_wider_than = Some(mm(5.0));
    let outlined = fitted(&art, &order);
    assert_eq!((outlined.through.len(), outlined.outer_lines), (2, 1));
    assert!(outlined.through[0].area_mm2() > outlined.through[1].area_mm2());
}

fn two_discs(apart: f64) -> CutOut {
    let centres = [Point::new(60.0, 60.0), Point::new(60.0 + apart, 60.0)];
    let rings = centres.map(|centre| samples::round(centre, 50.0)).to_vec();
    samples::cut_out(apart as u32 + 120, 120, rings, [9, 9, 200], move |x, y| {
        centres.into_iter().map(|centre| 50.0 - centre.distance(Point::new(x, y))).fold(f64::NEG_INFINITY, f64::max)
    })
}

#[test]
fn parts_out_of_reach_are_refused_accepted_or_separate() {
    let art = two_discs(600.0);
    let mut order = design(Shape::Contour, Size::Width(mm(100.0)), 1.0);
    let refused = fit(&art, &order, None, &stock(), &Thresholds::default(), &Cancel::new());
    assert!(matches!(refused, Err(Fault::ShapeParts { parts: 2 })), "{refused:?}");
    order.accept.0.push("shape.parts".to_owned());
    let accepted = fitted(&art, &order);
    assert_eq!(accepted.outer_lines, 2);
    assert_near(accepted.overall.width(), 100.0, 0.1);
    assert_near(accepted.overall.center().distance(Point::ORIGIN), 0.0, 1e-6);
    order.accept.0.clear();
    order.outline.parts = Parts::Separate;
    assert_eq!(fitted(&art, &order).through.len(), 2);
}

#[test]
fn the_backing_keeps_its_margin_from_the_kiss_cut() {
    let art = photo(300, 200, [0; 3], [9; 3]);
    let order = design(Shape::RoundedRectangle { corner_radius: mm(2.0) }, Size::Width(mm(50.0)), 2.0);
    for shape in [
        Shape::Contour,
        Shape::Rectangle,
        Shape::RoundedRectangle { corner_radius: mm(3.0) },
        Shape::RoundedRectangle { corner_radius: mm(14.0) },
        Shape::Circle,
        Shape::Ellipse,
    ] {
        let outlined = backed(&art, &order, &backing(shape));
        assert_near(size_of(&outlined).0, 50.0, 1e-6);
        assert_eq!((outlined.kiss.len(), outlined.through.len()), (1, 1));
        let kiss = outlined.kiss[0].flattened(mm(0.01)).points().to_vec();
        let margin = least_distance(&kiss, &outlined.through[0]);
        assert!(margin > 4.0 - 0.05 && margin < 4.06, "{shape:?}: {margin}");
        assert_near(outlined.overall.center().distance(Point::ORIGIN), 0.0, 1e-6);
        assert!(outlined.overall.width() >= 58.0 - 0.1);
    }
}

#[test]
fn sizes_that_cannot_be_made_are_refused() {
    let art = photo(400, 100, [0; 3], [9; 3]);
    let refused = |shape, size, border| {
        fit(&art, &design(shape, size, border), None, &stock(), &Thresholds::default(), &Cancel::new())
            .expect_err("cannot be made")
            .code()
    };
    assert_eq!(refused(Shape::Rectangle, Size::Width(mm(9.9)), 1.0), "size.too_small");
    // A shop with a finer blade sets its own.
    let of_eight = Thresholds { least_side_mm: 8.0, ..Thresholds::default() };
    let order = design(Shape::Rectangle, Size::Width(mm(9.9)), 1.0);
    assert!(fit(&photo(400, 400, [0; 3], [9; 3]), &order, None, &stock(), &of_eight, &Cancel::new()).is_ok());
    // 30 mm wide is 7.5 mm high.
    assert_eq!(refused(Shape::Rectangle, Size::Width(mm(30.0)), 0.0), "size.too_small");
    assert_eq!(refused(Shape::Circle, Size::Width(mm(40.0)), 20.0), "size.too_small");
    assert_eq!(refused(Shape::Contour, Size::Height(mm(40.0)), 20.0), "size.too_small");
    assert_eq!(refused(Shape::Contour, Size::Height(mm(3000.0)), 3.0), "size.too_large");
    assert_eq!(refused(Shape::Contour, Size::Longest(mm(100_000.0)), 3.0), "size.too_large");
    assert_eq!(refused(Shape::Circle, Size::Longest(mm(100_000.0)), 3.0), "size.too_large");
    let empty = CutOut { edge: Region::default(), ..art.clone() };
    let order = design(Shape::Circle, Size::Width(mm(40.0)), 2.0);
    assert!(matches!(
        fit(&empty, &order, None, &stock(), &Thresholds::default(), &Cancel::new()),
        Err(Fault::ArtBlank)
    ));
}

#[test]
fn print_reaches_past_the_cut_only_where_something_is_printed_there() {
    let art = photo(300, 200, [0; 3], [9; 3]);
    let mut order = design(Shape::Rectangle, Size::Width(mm(50.0)), 2.0);
    assert_eq!(fitted(&art, &order).reach, Mm::ZERO, "white on white");
    order.outline.border_colour = Colour([200, 0, 0]);
    assert_eq!(fitted(&art, &order).reach, mm(1.0));
    assert_eq!(backed(&art, &order, &backing(Shape::Rectangle)).reach, Mm::ZERO, "the backing is bare");
    let coloured = Backing { colour: Some(Colour([0, 0, 200])), ..backing(Shape::Rectangle) };
    assert_eq!(backed(&art, &order, &coloured).reach, mm(1.0));
    let order = design(Shape::Rectangle, Size::Width(mm(50.0)), 0.0);
    assert_eq!(fitted(&art, &order).reach, mm(1.0), "cut in the art itself");
    let clear = Stock { face: crate::order::Face::Clear, ..stock() };
    let order = design(Shape::Rectangle, Size::Width(mm(50.0)), 2.0);
    let outlined = fit(&art, &order, None, &clear, &Thresholds::default(), &Cancel::new()).expect("it can be made");
    assert_eq!(outlined.reach, mm(1.0), "white ink");
}

/// Nodes per 100 mm of cut line of a picture, 80 mm long with a border of 3 mm.
fn nodes_per_100_mm(picture: &[u8]) -> f64 {
    let pixels = image::load_from_memory(picture).unwrap().to_rgba8();
    let artwork = crate::intake::Artwork::new(std::sync::Arc::new(pixels), crate::intake::Format::Png);
    let mut design = design(Shape::Contour, Size::Longest(mm(80.0)), 3.0);
    design.outline.parts = crate::order::Parts::Separate;
    let cut_out = crate::silhouette::cut_out(&artwork, design.backdrop, &Cancel::new()).unwrap();
    let outlined = fitted(&cut_out, &design);
    let nodes: usize = outlined.through.iter().map(crate::geom::CutLine::nodes).sum();
    nodes as f64 / outlined.through.iter().map(|line| line.length().mm()).sum::<f64>() * 100.0
}

#[test]
fn clip_art_is_drawn_with_few_nodes() {
    let art = [
        ("heart", &include_bytes!("../../../demo/art/heart.png")[..]),
        ("crow", include_bytes!("../../../demo/art/crow.png")),
        ("snowman", include_bytes!("../../../demo/art/snowman.png")),
        ("scroll", include_bytes!("../../../demo/art/scroll.png")),
        ("lizard", include_bytes!("../../../demo/art/lizard.png")),
        ("deer", include_bytes!("../../../demo/art/deer.png")),
        ("leaves", include_bytes!("../../../demo/art/leaves.png")),
        ("wreath", include_bytes!("../../../demo/art/wreath.png")),
    ];
    let mut counted: Vec<(f64, &str)> = art.iter().map(|(name, picture)| (nodes_per_100_mm(picture), *name)).collect();
    counted.sort_by(|a, b| a.0.total_cmp(&b.0));
    // Ragged pictures take more than the 25 that are aimed at; this guards what is reached.
    assert!(counted[counted.len() - 1].0 <= 31.0, "{counted:?}");
    assert!(counted[counted.len() / 2].0 <= 22.0, "{counted:?}");
}
