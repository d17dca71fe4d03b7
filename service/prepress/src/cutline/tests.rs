use std::f64::consts::PI;

use super::*;
use crate::geom::{BezPath, PathEl, Rect, Vec2};

fn cutting(inside: f64, outside: f64) -> Cutting {
    Cutting {
        minimum_width: Mm::of(3.0),
        bridge_reach: None,
        inside_radius: Mm::of(inside),
        outside_radius: Mm::of(outside),
        speck: Mm::of(0.3),
    }
}

fn drawn(rings: Vec<Ring>) -> Vec<CutLine> {
    draw(&Region::new(rings), &cutting(0.5, 1.0), &Cancel::new()).expect("this can be drawn")
}

fn closed(count: usize, at: impl Fn(f64) -> Vec2) -> Ring {
    Ring::new((0..count).map(|n| at(n as f64 / count as f64 * 2.0 * PI).to_point()).collect())
}

/// A flower of five petals: turns both ways, smoothly.
fn flower() -> Ring {
    closed(4000, |angle| {
        let (sin, cos) = angle.sin_cos();
        Vec2::new(cos, sin) * (20.0 + 5.0 * (5.0 * angle).cos())
    })
}

/// Largest distance both ways.
fn apart(line: &CutLine, ring: &Ring) -> f64 {
    let flat = line.flattened(Mm::of(0.0005));
    let out = flat.points().iter().map(|point| ring.distance_to_edges(*point)).fold(0.0, f64::max);
    ring.points().iter().map(|point| flat.distance_to_edges(*point)).fold(out, f64::max)
}

/// Largest turn where two pieces meet, degrees.
fn worst_turn(line: &CutLine) -> f64 {
    let mut directions: Vec<(Vec2, Vec2)> = Vec::new();
    let mut at = Point::ORIGIN;
    for element in line.path().elements() {
        match element {
            PathEl::MoveTo(point) => at = *point,
            PathEl::CurveTo(leave, land, end) => {
                directions.push((*leave - at, *end - *land));
                at = *end;
            }
            PathEl::LineTo(end) => {
                directions.push((*end - at, *end - at));
                at = *end;
            }
            PathEl::QuadTo(..) | PathEl::ClosePath => {}
        }
    }
    let turn = |one: Vec2, other: Vec2| one.cross(other).atan2(one.dot(other)).abs().to_degrees();
    (0..directions.len()).map(|n| turn(directions[n].1, directions[(n + 1) % directions.len()].0)).fold(0.0, f64::max)
}

#[test]
fn a_smooth_contour_is_drawn_with_few_nodes_and_without_kinks() {
    let ring = flower();
    let lines = drawn(vec![ring.clone()]);
    assert_eq!(lines.len(), 1);
    assert!(apart(&lines[0], &ring) < 0.05, "{}", apart(&lines[0], &ring));
    assert!(worst_turn(&lines[0]) < 0.5, "{}", worst_turn(&lines[0]));
    let per_100_mm = lines[0].nodes() as f64 / ring.perimeter().mm() * 100.0;
    assert!(per_100_mm <= 20.0, "{per_100_mm}");
}

#[test]
fn a_long_line_is_as_true_where_its_stretches_meet() {
    let ring = closed(20_000, |angle| {
        let (sin, cos) = angle.sin_cos();
        Vec2::new(cos, sin) * (80.0 + 6.0 * (24.0 * angle).cos())
    });
    let stations = Stations::along(&ring, SMOOTHING_MM);
    let stretches = stations.stretches();
    let ends: Vec<(Point, Point)> =
        stretches.iter().map(|stretch| (stretch.smooth[0], stretch.smooth[stretch.count()])).collect();
    assert!(ends.len() >= 3);
    assert!((0..ends.len()).all(|at| ends[at].1 == ends[(at + 1) % ends.len()].0));
    let lines = drawn(vec![ring.clone()]);
    assert!(apart(&lines[0], &ring) < 0.05, "{}", apart(&lines[0], &ring));
    assert!(worst_turn(&lines[0]) < 0.5, "{}", worst_turn(&lines[0]));
}

#[test]
fn outer_lines_come_first_and_run_clockwise_and_holes_the_other_way() {
    let hole = closed(500, |angle| Vec2::new(angle.cos(), angle.sin()) * 12.0).reversed();
    let small = closed(100, |angle| Vec2::new(60.0 + angle.cos(), angle.sin()));
    let lines = drawn(vec![hole, small, flower()]);
    let areas: Vec<f64> = lines.iter().map(|line| line.path().area_signed()).collect();
    assert!(areas[0] > 1000.0 && areas[1] > 3.0 && areas[1] < 3.2 && areas[2] < -450.0, "{areas:?}");
}

trait Signed {
    fn area_signed(&self) -> f64;
}

impl Signed for BezPath {
    fn area_signed(&self) -> f64 {
        crate::geom::Shape::area(self)
    }
}

#[test]
fn tiny_and_sharp_rings_are_drawn_too() {
    let diamond =
        Ring::new(vec![Point::new(0.0, -0.05), Point::new(0.05, 0.0), Point::new(0.0, 0.05), Point::new(-0.05, 0.0)]);
    let needle = Ring::new(vec![Point::new(0.0, 0.0), Point::new(30.0, 0.2), Point::new(0.0, 0.4)]);
    let square = Ring::rectangle(Rect::new(50.0, 0.0, 80.0, 30.0));
    for ring in [diamond, needle, square] {
        let lines = drawn(vec![ring.clone()]);
        assert!(apart(&lines[0], &ring) < 0.05, "{} for {ring:?}", apart(&lines[0], &ring));
    }
    assert!(drawn(vec![Ring::new(vec![Point::ORIGIN, Point::new(1.0, 1.0)])]).is_empty());
}

#[test]
fn rings_that_cross_are_refused_and_so_is_nan() {
    let eight =
        Ring::new(vec![Point::new(0.0, 0.0), Point::new(30.0, 20.0), Point::new(30.0, 0.0), Point::new(0.0, 25.0)]);
    let region = Region::new(vec![eight]);
    assert!(matches!(draw(&region, &cutting(0.5, 1.0), &Cancel::new()), Err(Fault::CutLineBroken { .. })));
    let region =
        Region::new(vec![Ring::new(vec![Point::new(f64::NAN, 0.0), Point::new(1.0, 0.0), Point::new(0.0, 1.0)])]);
    assert!(matches!(draw(&region, &cutting(0.5, 1.0), &Cancel::new()), Err(Fault::NotFinite)));
}

/// The promise of border and cut line together: nowhere less than asked by more than 0.05 mm.
#[test]
fn the_cut_line_around_a_ragged_comb_keeps_its_border_everywhere() {
    let mut points = vec![Point::new(0.0, 20.0)];
    for tooth in 0..30 {
        let x = f64::from(tooth) * 1.3;
        let deep = 8.0 + f64::from((tooth * 7919) % 13) * 0.5;
        let tooth = [(0.0, 0.1 * f64::from(tooth % 5)), (0.35, 0.0), (0.5, deep), (1.1, deep + 0.3)];
        points.extend(tooth.map(|(along, y)| Point::new(x + along, y)));
    }
    points.push(Point::new(40.0, 20.0));
    let comb = Ring::new(points);
    for border in [0.0, 0.4, 3.0] {
        let growth = crate::border::Growth {
            border: Mm::of(border),
            keep_holes_wider_than: None,
            parts: crate::order::Parts::Join,
            cutting: cutting(0.5, 1.0),
        };
        let grown = crate::border::grow(&Region::new(vec![comb.clone()]), &growth, &Cancel::new()).expect("grows");
        let lines = draw(&grown.region, &cutting(0.5, 1.0), &Cancel::new()).expect("can be drawn");
        assert!(apart(&lines[0], &grown.region.rings[0]) < 0.05);
        assert!(worst_turn(&lines[0]) < 1.0);
        let flat = lines[0].flattened(Mm::of(0.001));
        for (a, b) in comb.edges() {
            for step in 0..6 {
                let point = a.lerp(b, f64::from(step) / 6.0);
                let depth = flat.distance_to_edges(point) * if flat.contains(point) { 1.0 } else { -1.0 };
                assert!(depth > border - 0.05, "border {border}: {depth} at {point:?}");
            }
        }
    }
}

#[test]
fn circles_and_corners_are_round_to_a_thousandth() {
    for size in [5.0, 50.0, 300.0, 2000.0] {
        let circle = ellipse(Point::new(7.0, -3.0), Mm::of(size), Mm::of(size));
        for point in circle.flattened(Mm::of(1e-5)).points() {
            let off = point.distance(Point::new(7.0, -3.0)) - size / 2.0;
            assert!(off.abs() < 0.001, "{size}: {off}");
        }
        assert!((circle.bounds().width() - size).abs() < 0.002);
        assert!(worst_turn(&circle) < 1e-6);
        let card = rounded_rectangle(Point::ORIGIN, Mm::of(size), Mm::of(size * 0.6), Mm::of(size * 0.2));
        let middle = Point::new(size * 0.3, size * 0.1);
        for point in
            card.flattened(Mm::of(1e-5)).points().iter().filter(|point| point.x > middle.x && point.y > middle.y)
        {
            assert!((point.distance(middle) - size * 0.2).abs() < 0.001, "{point:?}");
        }
        assert!((card.bounds().width() - size).abs() < 1e-9 && (card.bounds().height() - size * 0.6).abs() < 1e-9);
        assert!(worst_turn(&card) < 1e-6);
        assert!(card.path().area_signed() > 0.0 && circle.path().area_signed() > 0.0);
    }
}

#[test]
fn a_rectangle_without_radius_has_straight_lines_only_and_a_pill_has_round_ends() {
    let sharp = rounded_rectangle(Point::new(1.0, 2.0), Mm::of(30.0), Mm::of(20.0), Mm::ZERO);
    assert!(sharp.path().elements().iter().all(|element| !matches!(element, PathEl::CurveTo(..))));
    assert!((sharp.area_mm2() - 600.0).abs() < 1e-9);
    let pill = rounded_rectangle(Point::ORIGIN, Mm::of(30.0), Mm::of(20.0), Mm::of(99.0));
    assert!((pill.area_mm2() - (10.0 * 20.0 + PI * 100.0)).abs() < 0.05, "{}", pill.area_mm2());
    let across = ellipse(Point::ORIGIN, Mm::of(60.0), Mm::of(20.0));
    for point in across.flattened(Mm::of(1e-4)).points() {
        let implicit = (point.x / 30.0).powi(2) + (point.y / 10.0).powi(2);
        assert!((implicit - 1.0).abs() < 2e-4, "{implicit}");
    }
}

#[test]
fn a_line_that_needs_few_nodes_is_truer_than_it_has_to_be() {
    let lobes = closed(4000, |angle| {
        let (sin, cos) = angle.sin_cos();
        Vec2::new(cos, sin) * (20.0 + 2.0 * (11.0 * angle).cos())
    });
    let lines = drawn(vec![lobes.clone()]);
    assert!((12.0..24.0).contains(&nodes_per_100_mm(&lines)) && apart(&lines[0], &lobes) < 0.038);
}
