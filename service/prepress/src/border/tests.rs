use std::f64::consts::PI;

use super::*;
use crate::geom::{Rect, Ring, Vec2};

fn cutting(minimum_width: f64, inside: f64, outside: f64) -> Cutting {
    Cutting {
        minimum_width: Mm::of(minimum_width),
        bridge_reach: None,
        inside_radius: Mm::of(inside),
        outside_radius: Mm::of(outside),
        speck: Mm::of(0.3),
    }
}

fn growth(border: f64) -> Growth {
    Growth { border: Mm::of(border), keep_holes_wider_than: None, parts: Parts::Join, cutting: cutting(3.0, 0.5, 1.0) }
}

fn bare(border: f64) -> Growth {
    Growth { cutting: cutting(0.0, 0.0, 0.0), ..growth(border) }
}

fn disc(x: f64, y: f64, radius: f64) -> Ring {
    let count = 720;
    let at = |index: usize| {
        let (sin, cos) = (index as f64 / count as f64 * 2.0 * PI).sin_cos();
        Point::new(x + radius * cos, y + radius * sin)
    };
    Ring::new((0..count).map(at).collect())
}

fn polygon(points: &[(f64, f64)]) -> Ring {
    Ring::new(points.iter().map(|(x, y)| Point::new(*x, *y)).collect())
}

fn grown(rings: Vec<Ring>, growth: &Growth) -> Grown {
    grow(&Region::new(rings), growth, &Cancel::new()).expect("this grows")
}

/// Distance of a point from a region's edge.
fn from_edge(region: &Region, point: Point) -> f64 {
    let edges = edges::Edges::of_rings(&region.rings);
    (0..edges.ends().len() as u32).map(|edge| edges.distance2(edge, point)).fold(f64::INFINITY, f64::min).sqrt()
}

/// The farthest that distances around rings are off, mm, up to 3 mm from them.
fn farthest_off(rings: &[Ring]) -> (f64, Point) {
    let edges = edges::Edges::of_rings(rings);
    let region = Region::new(rings.to_vec());
    let grid = grid::Grid::over(region.bounds().unwrap(), 3.0, grid::Fineness::Full).unwrap();
    let reach = strip::Reach { inward: 3.0, outward: 3.0 };
    let flags = winding::inside_flags(&grid, rings);
    let field = field::Field::measure(grid, &edges, flags, reach, &Cancel::new()).unwrap();
    let mut worst = (0.0, Point::ORIGIN);
    for node in (0..grid.nodes()).step_by(7) {
        let exact = from_edge(&region, grid.point(node));
        let off = (f64::from(field.signed(node).abs()) - exact).abs();
        if exact < 3.0 && off > worst.0 {
            worst = (off, grid.point(node));
        }
    }
    worst
}

#[test]
fn distances_are_those_of_brute_force() {
    let small = [disc(3.0, 3.0, 0.4), polygon(&[(0.0, 0.0), (1.0, 0.2), (8.0, 0.1), (9.0, 7.0), (8.5, 1.0)])];
    let worst = farthest_off(&small);
    assert!(worst.0 < 0.002, "{worst:?}");
    // Over several strips: slanting across their borders, and with places as near from one side as from the other.
    let tall = [
        polygon(&[(0.0, 0.0), (3.0, 0.0), (9.0, 55.0), (8.0, 55.0), (2.0, 4.0)]),
        disc(11.0, 10.0, 1.0),
        disc(11.0, 17.0, 1.0),
        polygon(&[(-4.0, 29.0), (-1.0, 29.1), (-1.0, 29.4), (-4.0, 29.3)]),
    ];
    let worst = farthest_off(&tall);
    assert!(worst.0 < 0.002, "{worst:?}");
}

/// A hair with a border of the minimum width is twice as wide as that: nothing of it is looked at, and nothing may be amiss.
#[test]
fn behind_a_wide_border_nothing_is_narrow() {
    let hair = Ring::rectangle(Rect::new(0.0, 0.0, 40.0, 0.05));
    let wide = grown(vec![hair.clone()], &growth(3.0));
    assert!(wide.thickenings.is_empty() && wide.thinnest.is_none());
    assert!((wide.region.bounds().unwrap().height() - 6.05).abs() < 0.02);
    // A little less border, and it is looked at again.
    let told = grown(vec![hair], &growth(2.9)).thinnest.map(Mm::mm);
    assert!(told.is_some_and(|width| (width - 5.85).abs() < 0.05), "{told:?}");
}

#[test]
fn where_wide_borders_of_two_parts_barely_meet_they_are_joined_by_the_minimum_width() {
    // Circles of 3.3 mm around centres 6.57 mm apart overlap in a lens 0.6 mm high; rounded by 0.525 mm it is a neck of
    // 2 (sqrt(3.825² - 3.285²) - 0.525) = 2.87 mm.
    let dots = vec![disc(0.0, 0.0, 0.3), disc(6.57, 0.0, 0.3)];
    let shape = grown(dots, &growth(3.0));
    assert!(shape.bridges.is_empty() && shape.parts == 1);
    let told = shape.thinnest.map(Mm::mm);
    assert!(told.is_some_and(|width| (width - 2.87).abs() < 0.01), "{told:?}");
    let neck: Vec<f64> = shape.region.rings[0]
        .edges()
        .filter(|(from, to)| (from.x < 3.285) != (to.x < 3.285))
        .map(|(from, _)| from.y)
        .collect();
    assert_eq!(neck.len(), 2);
    assert!((neck[0] - neck[1]).abs() > 2.95, "{neck:?}");
}

#[test]
fn a_disc_becomes_a_disc_larger_by_the_border() {
    for (radius, border) in [(0.4, 3.0), (5.0, 2.0), (12.3, 0.7), (20.0, 0.0)] {
        let grown = grown(vec![disc(31.4, 15.9, radius)], &bare(border));
        assert_eq!((grown.parts, grown.art_parts, grown.region.rings.len()), (1, 1, 1));
        for point in grown.region.rings[0].points() {
            let off = point.distance(Point::new(31.4, 15.9)) - radius - border;
            assert!(off.abs() < 0.01, "radius {radius}, border {border}: off by {off}");
        }
        let default =
            super::grow(&Region::new(vec![disc(31.4, 15.9, radius)]), &growth(border), &Cancel::new()).unwrap();
        assert!(!default.radius_wins);
    }
}

/// Steiner 1840: the area of a convex shape grown by d is A + P d + pi d².
#[test]
fn convex_polygons_keep_steiners_formula() {
    let shapes = [
        polygon(&[(0.0, 0.0), (40.0, 3.0), (35.0, 30.0), (4.0, 21.0)]),
        polygon(&[(0.0, 0.0), (30.0, 0.0), (15.0, 26.0)]),
        Ring::rectangle(Rect::new(0.0, 0.0, 50.0, 0.5)),
        polygon(&[(0.0, 0.0), (10.0, -5.0), (22.0, 0.0), (26.0, 11.0), (12.0, 19.0), (-1.0, 9.0)]),
    ];
    for shape in shapes {
        for border in [1.0, 3.0, 7.5] {
            let area = grown(vec![shape.clone()], &growth(border)).region.area_mm2();
            let expected = shape.area_mm2() + shape.perimeter().mm() * border + PI * border * border;
            let thickened = shape.area_mm2() < 30.0 && border < 1.5;
            // A border as wide as the cutting radius has its corners pushed outward, and the hollows beside them filled.
            let most = if border <= 1.0 { 0.003 } else { 0.002 };
            let more = area / expected - 1.0;
            assert!(thickened || (more > -0.002 && more < most), "{area} for {expected} at {border}");
        }
    }
}

#[test]
fn holes_are_filled_unless_wide_ones_are_kept() {
    let ring = || vec![disc(0.0, 0.0, 20.0), disc(0.0, 0.0, 12.0).reversed()];
    let filled = grown(ring(), &growth(2.0));
    assert_eq!(filled.region.rings.len(), 1);
    let keep = |width: f64| Growth { keep_holes_wider_than: Some(Mm::of(width)), ..growth(2.0) };
    // The border leaves a hole of 20 mm across.
    let kept = grown(ring(), &keep(19.8));
    assert_eq!((kept.region.rings.len(), kept.parts), (2, 1));
    let hole = kept.region.holes().next().expect("one hole");
    for point in hole.points() {
        assert!((point.to_vec2().hypot() - 10.0).abs() < 0.01, "{point:?}");
    }
    assert_eq!(grown(ring(), &keep(20.2)).region.rings.len(), 1);
    // An island in a kept hole that nothing reaches stays a part; in a filled hole it is not one.
    let far = [ring(), vec![disc(0.0, 0.0, 1.0)]].concat();
    let apart = Growth { parts: Parts::SetAside, ..keep(3.0) };
    assert_eq!(grown(far.clone(), &apart).parts, 2);
    let inside = grown(far, &growth(2.0));
    assert_eq!((inside.parts, inside.art_parts, inside.bridges.len()), (1, 1, 0));
}

#[test]
fn a_neck_is_thickened_to_the_minimum_and_nothing_else_is() {
    let body = polygon(&[
        (0.0, 0.0),
        (20.0, 0.0),
        (20.0, 9.6),
        (30.0, 9.6),
        (30.0, 0.0),
        (50.0, 0.0),
        (50.0, 20.0),
        (30.0, 20.0),
        (30.0, 10.4),
        (20.0, 10.4),
        (20.0, 20.0),
        (0.0, 20.0),
    ]);
    let grown = grown(vec![body], &Growth { cutting: cutting(3.0, 0.5, 0.0), ..growth(0.1) });
    assert_eq!(grown.thickenings.len(), 1);
    let before = grown.thickenings[0].width_before.mm();
    assert!((before - 1.0).abs() < 0.03, "the neck of 0.8 with its border is 1.0 wide, not {before}");
    assert!((grown.thinnest.expect("thin").mm() - before).abs() < 1e-9);
    let neck: Vec<f64> = crossings(&grown.region, 25.0);
    assert!((neck[1] - neck[0] - 3.0).abs() < 0.1, "{neck:?}");
    let bounds = grown.region.bounds().expect("bounds");
    assert!((bounds.width() - 50.2).abs() < 0.1 && (bounds.height() - 20.2).abs() < 0.1, "{bounds:?}");
}

/// Where a vertical line crosses a region's edge.
fn crossings(region: &Region, x: f64) -> Vec<f64> {
    let crossed = region.rings.iter().flat_map(Ring::edges).filter(|(a, b)| (a.x <= x) != (b.x <= x));
    let mut found: Vec<f64> = crossed.map(|(a, b)| a.y + (b.y - a.y) * (x - a.x) / (b.x - a.x)).collect();
    found.sort_by(f64::total_cmp);
    found
}

#[test]
fn a_dot_narrower_than_the_minimum_becomes_the_minimum() {
    let dot = grown(vec![disc(5.0, 5.0, 0.75)], &growth(0.0));
    let bounds = dot.region.bounds().expect("bounds");
    assert!((bounds.width() - 3.0).abs() < 0.1 && (bounds.height() - 3.0).abs() < 0.1, "{bounds:?}");
    assert_eq!(dot.thickenings.len(), 1);
    assert!((dot.thickenings[0].width_before.mm() - 1.5).abs() < 0.05);
}

/// Two wedges side by side, whose flanks run apart. Their tips' discs are wider than the tips.
#[test]
fn a_small_triangle_narrower_than_the_minimum_becomes_the_minimum() {
    // No two of its sides are opposite to each other: of an even one seen from the middle they are 120 degrees apart.
    let side = 0.6;
    let corner = |turn: f64| (side / 3_f64.sqrt() * turn.cos(), side / 3_f64.sqrt() * turn.sin());
    let triangle = polygon(&[0.1, 2.1, 4.2].map(corner));
    let grown = grown(vec![triangle], &growth(1.0));
    let [place] = grown.thickenings[..] else { panic!("{:?}", grown.thickenings) };
    // The triangle's inscribed circle and the border on both sides.
    let before = 2.0 * (side / 12_f64.sqrt() + 1.0);
    assert!((place.width_before.mm() - before).abs() < 0.05, "{place:?}, {before}");
    let after = 2.0 * from_edge(&grown.region, place.at);
    assert!((2.99..3.1).contains(&after), "{after}");
}

#[test]
fn a_neck_that_only_rounding_makes_is_thickened_and_told() {
    let tips = |apart: f64| {
        let wedge =
            |side: f64| polygon(&[(0.0, 0.0), (-2.1, 30.0), (-22.7, 19.7)].map(|(x, y)| (side * (x - apart / 2.0), y)));
        let alone = Growth { parts: Parts::SetAside, ..growth(0.0) };
        grown(vec![wedge(1.0), wedge(-1.0).reversed()], &alone)
    };
    let joined = tips(1.4);
    let neck = joined.thickenings.iter().min_by(|a, b| a.width_before.mm().total_cmp(&b.width_before.mm()));
    let neck = neck.expect("the neck is told");
    assert!(joined.parts == 1 && neck.at.x.abs() < 0.2 && neck.width_before.mm() < 2.0, "{joined:?}");
    assert!(joined.thinnest.is_some_and(|width| (width - neck.width_before).mm().abs() < 1e-9));
    let apart = tips(3.0);
    assert_eq!((apart.parts, apart.thickenings.len()), (2, 0));
}

#[test]
fn a_sharp_corner_of_a_wide_shape_is_rounded_and_not_thickened() {
    // 56 degrees at the tip.
    let kite = polygon(&[(0.0, 0.0), (16.0, 30.0), (0.0, 36.0), (-16.0, 30.0)]);
    let grown = grown(vec![kite], &growth(0.0));
    let bounds = grown.region.bounds().expect("bounds");
    assert!(bounds.y0 > -0.05, "no disc reaches past the tip: {bounds:?}");
}

/// Widths of a shape with an upright axis, from the top down, every 0.1 mm.
fn widths_down(region: &Region, from: f64, to: f64) -> Vec<f64> {
    let turned = Region::new(
        region
            .rings
            .iter()
            .map(|ring| Ring::new(ring.points().iter().map(|point| Point::new(point.y, point.x)).collect()))
            .collect(),
    );
    let steps = ((to - from) / 0.1) as usize;
    let across = (0..steps).map(|step| crossings(&turned, from + 0.1 * step as f64));
    across.filter(|across| across.len() > 1).map(|across| across[across.len() - 1] - across[0]).collect()
}

#[test]
fn a_point_with_hollow_flanks_gets_no_knob() {
    // Half the width is t/4 + t²/12 at t mm from the point, which is 28 degrees sharp.
    let half = |t: f64| t / 4.0 + t * t / 12.0;
    let mut flank: Vec<(f64, f64)> = (0..=60).map(|n| f64::from(n) * 0.15).map(|t| (half(t), t)).collect();
    flank.push((9.0, 20.0));
    let mirrored = flank.iter().skip(1).rev().map(|(x, y)| (-x, *y));
    let points: Vec<(f64, f64)> = flank.iter().copied().chain(mirrored).collect();
    let heart = grown(vec![polygon(&points)], &growth(0.0));
    assert!(heart.thickenings.is_empty(), "{:?}", heart.thickenings);
    let bounds = heart.region.bounds().expect("bounds");
    assert!(bounds.y0 > -0.1, "nothing reaches past the point: {bounds:?}");
    // Up to the shoulder: what its rounding moved outward comes back below.
    let widths = widths_down(&heart.region, bounds.y0 + 0.05, 9.6);
    assert!(widths.len() > 90);
    assert!(widths.windows(2).all(|pair| pair[1] > pair[0] - 0.05), "no neck behind the point: {widths:?}");
}

#[test]
fn a_long_thin_tail_is_thickened_to_its_end() {
    let tail = polygon(&[
        (0.0, 0.0),
        (20.0, 0.0),
        (20.0, 9.6),
        (35.0, 9.9),
        (35.0, 10.1),
        (20.0, 10.4),
        (20.0, 20.0),
        (0.0, 20.0),
    ]);
    let tail = grown(vec![tail], &growth(0.0));
    assert_eq!(tail.thickenings.len(), 1);
    for x in [22.0, 27.0, 33.0] {
        let across = crossings(&tail.region, x);
        assert!((across[1] - across[0] - 3.0).abs() < 0.1, "{across:?} at {x}");
    }
}

#[test]
fn a_tip_that_widens_again_and_a_sliver_without_a_body_are_thickened() {
    // A lobe 2.4 wide on a neck of 0.6, 3 mm out of a body.
    let lobe = polygon(&[
        (0.0, 0.0),
        (20.0, 0.0),
        (20.0, 8.5),
        (21.5, 9.7),
        (23.0, 8.8),
        (23.0, 11.2),
        (21.5, 10.3),
        (20.0, 11.5),
        (20.0, 20.0),
        (0.0, 20.0),
    ]);
    let lobe = grown(vec![lobe], &growth(0.0));
    assert!(!lobe.thickenings.is_empty());
    let across = crossings(&lobe.region, 21.5);
    assert!(across[1] - across[0] > 2.9, "{across:?}");
    let sliver = grown(vec![polygon(&[(0.0, 0.0), (3.5, 0.9), (0.0, 1.8)])], &growth(0.0));
    assert!(!sliver.thickenings.is_empty());
}

#[test]
fn a_round_tail_that_is_wide_enough_is_left_alone() {
    let tail = polygon(&[(0.0, 0.0), (20.0, 0.0), (20.0, 8.0), (60.0, 10.0), (20.0, 12.0), (20.0, 20.0), (0.0, 20.0)]);
    let tail = grown(vec![tail], &growth(2.0));
    assert!(tail.thickenings.is_empty());
    assert!((tail.region.bounds().expect("bounds").x1 - 62.0).abs() < 0.02);
}

#[test]
fn parts_are_joined_bridged_or_left_apart() {
    let pair = |gap: f64| vec![disc(0.0, 0.0, 5.0), disc(10.0 + gap, 0.0, 5.0)];
    // Border 2: joined under 4, bridged up to 2 x 2 + 4 = 8.
    let near = grown(pair(3.0), &growth(2.0));
    assert_eq!((near.art_parts, near.parts, near.bridges.len()), (2, 1, 0));
    let bridged = grown(pair(7.8), &growth(2.0));
    assert_eq!((bridged.parts, bridged.bridges.len()), (1, 1));
    let bridge = bridged.bridges[0];
    assert!((bridge.from.distance(bridge.to) - 7.8).abs() < 0.01, "{bridge:?}");
    let middle = crossings(&bridged.region, 8.9);
    assert!((middle[1] - middle[0] - 3.0).abs() < 0.1, "{middle:?}");
    assert_eq!(grown(pair(8.2), &growth(2.0)).parts, 2);
    let separate = Growth { parts: Parts::Separate, ..growth(2.0) };
    assert_eq!(grown(pair(7.8), &separate).parts, 1);
    assert_eq!(grown(pair(8.2), &separate).parts, 2);
    let aside = grown(pair(5.5), &Growth { parts: Parts::SetAside, ..growth(2.0) });
    assert_eq!((aside.parts, aside.bridges.len()), (2, 0));
}

#[test]
fn many_parts_need_one_bridge_less_than_parts() {
    let rings: Vec<Ring> = (0..12).map(|n| disc(f64::from(n % 4) * 9.0, f64::from(n / 4) * 9.0, 2.0)).collect();
    let grown = grown(rings, &growth(1.0));
    assert_eq!((grown.art_parts, grown.parts, grown.bridges.len()), (12, 1, 11));
}

#[test]
fn a_sliver_that_nearly_touches_its_body_gets_no_knob() {
    let body = Ring::rectangle(Rect::new(0.0, 0.0, 30.0, 20.0));
    let sliver = polygon(&[(10.0, 20.05), (12.0, 20.05), (11.5, 20.2), (10.5, 20.2)]);
    let bordered = grown(vec![body, sliver], &growth(0.0));
    assert_eq!((bordered.art_parts, bordered.parts, bordered.bridges.len()), (2, 1, 1));
    let out = bordered.region.bounds().expect("bounds").y1 - 20.2;
    // Its corners are rounded; the disc of the minimum width would reach out by 1.3 mm.
    assert!(out < 0.2, "{out}");
    // A dot as near is held by the minimum width all the same.
    let dots = grown(vec![disc(0.0, 0.0, 2.0), disc(4.05, 0.0, 2.0)], &growth(0.0));
    let middle = crossings(&dots.region, 2.025);
    assert!(dots.parts == 1 && middle[1] - middle[0] > 2.95, "{middle:?}");
}

#[test]
fn a_bridge_stands_amid_where_its_parts_are_close() {
    // Circles as uneven as pixels leave them: the very closest places lie up to half a millimetre aside.
    let uneven = |x: f64, phase: f64| {
        let at = |index: usize| {
            let angle = index as f64 / 720.0 * 2.0 * PI;
            Point::new(x, 0.0) + Vec2::from_angle(angle) * (10.0 + 0.02 * (40.0 * angle + phase).sin())
        };
        Ring::new((0..720).map(at).collect())
    };
    for step in 0..12 {
        let phase = f64::from(step) * PI / 6.0;
        let bridged = grown(vec![uneven(0.0, phase), uneven(26.0, 2.0 * phase)], &growth(2.0));
        let bridge = bridged.bridges[0];
        assert!(bridge.from.y.abs() < 0.15 && bridge.to.y.abs() < 0.15, "{phase}: {bridge:?}");
    }
    // Along parallel edges it stands in the middle, and where one part lies all around another, somewhere.
    let bars = [0.0, 9.0].map(|x| Ring::rectangle(Rect::new(x, 0.0, x + 4.0, 30.0)));
    let bridge = grown(bars.to_vec(), &growth(2.0)).bridges[0];
    assert!((bridge.from.y - 15.0).abs() < 0.2 && (bridge.to.y - 15.0).abs() < 0.2, "{bridge:?}");
    let arc = |radius: f64| (20..340).map(move |degree| Vec2::from_angle(f64::from(degree).to_radians()) * radius);
    let cup: Vec<Point> = arc(9.0).chain(arc(7.0).rev()).map(Vec2::to_point).collect();
    let held = grown(vec![Ring::new(cup), disc(0.0, 0.0, 2.0)], &growth(1.0));
    assert_eq!((held.parts, held.bridges.len()), (1, 1));
    let length = held.bridges[0].from.distance(held.bridges[0].to);
    // It ends within the border around the hollow, a quarter of it off the art at most.
    assert!((4.74..5.01).contains(&length), "{length}");
}

#[test]
fn a_bridge_between_two_tips_as_close_stays_where_it_is() {
    // A hand with two fingers, of which one is longer by hundredths of a millimetre: five outlines of it.
    let ends = [-0.04, -0.02, 0.0, 0.02, 0.04].map(|longer| {
        let hand = [(longer, -0.5), (-1.0, 0.0), (0.0, 0.5), (-4.0, 2.0), (-4.0, -2.0)];
        let bridged = grown(vec![polygon(&hand), disc(9.0, 0.0, 2.0)], &growth(2.0));
        bridged.bridges[0].from
    });
    let steps: Vec<f64> = ends.windows(2).map(|pair| pair[0].distance(pair[1])).collect();
    assert!(steps.iter().all(|step| *step < 0.15), "{ends:?}");
}

#[test]
fn corners_that_are_round_enough_close_no_gap() {
    // A bracket with a tooth over its lower side: a border of 1 mm leaves a gap between them that the inside radius leaves open.
    let bracket = |gap: f64| {
        let upper =
            [(10.0, 30.0), (20.0, 30.0), (30.0, 10.0 + gap), (40.0, 30.0), (60.0, 30.0), (60.0, 40.0), (0.0, 40.0)];
        polygon(&[&[(0.0, 0.0), (60.0, 0.0), (60.0, 10.0), (10.0, 10.0)][..], &upper].concat())
    };
    let pocket = Point::new(15.0, 20.0);
    let is_filled = |gap: f64| grown(vec![bracket(gap)], &growth(1.0)).region.rings[0].contains(pocket);
    assert!(is_filled(3.0));
    assert!(!is_filled(3.15) && !is_filled(3.2));
}

#[test]
fn specks_move_no_line_and_nothing_but_specks_is_blank() {
    let art = vec![disc(0.0, 0.0, 5.0), disc(20.0, 0.0, 0.1), disc(0.0, 20.0, 0.14)];
    let art = grown(art, &growth(1.0));
    assert_eq!((art.specks.len(), art.art_parts, art.parts), (2, 1, 1));
    let dust = Region::new(vec![disc(0.0, 0.0, 0.1)]);
    assert!(matches!(grow(&dust, &growth(1.0), &Cancel::new()), Err(Fault::ArtBlank)));
    assert!(matches!(grow(&Region::default(), &growth(1.0), &Cancel::new()), Err(Fault::ArtBlank)));
}

#[test]
fn broken_numbers_and_endless_art_are_refused() {
    let broken = Region::new(vec![polygon(&[(0.0, 0.0), (f64::NAN, 1.0), (3.0, 3.0)])]);
    assert!(matches!(grow(&broken, &growth(1.0), &Cancel::new()), Err(Fault::NotFinite)));
    let endless = Region::new(vec![polygon(&[(0.0, 0.0), (1e300, 1.0), (3.0, 3.0)])]);
    assert!(matches!(grow(&endless, &growth(1.0), &Cancel::new()), Err(Fault::SizeTooLarge { .. })));
    let cancel = Cancel::new();
    cancel.raise();
    let fine = Region::new(vec![disc(0.0, 0.0, 5.0)]);
    assert!(matches!(grow(&fine, &growth(1.0), &cancel), Err(Fault::Cancelled)));
}

#[test]
fn without_a_border_corners_are_rounded_outward_and_nothing_is_cut_away() {
    let square = Ring::rectangle(Rect::new(0.0, 0.0, 30.0, 30.0));
    let grown = grown(vec![square.clone()], &Growth { cutting: cutting(0.0, 0.5, 1.0), ..growth(0.0) });
    assert!(grown.radius_wins);
    let ring = &grown.region.rings[0];
    for corner in square.points() {
        let off = from_edge(&grown.region, *corner);
        assert!(ring.contains(*corner) || off < 0.03, "corner {corner:?} is {off} outside");
    }
    // A disc of radius 1 through the corner leaves the sides by 1 - sin 45 degrees; with the reserve 0.32.
    let bounds = ring.bounds();
    assert!(bounds.x0 > -0.36 && bounds.x0 < -0.2, "{bounds:?}");
    // Half way along a side nothing moved.
    assert!(from_edge(&grown.region, Point::new(15.0, 0.0)) < 0.01);
}

/// The promise of the stage: every place of the art is as far inside as the border asks, less 0.05 mm.
#[test]
fn a_ragged_comb_keeps_its_border_everywhere() {
    let mut points = vec![(0.0, 20.0)];
    for tooth in 0..30 {
        let x = f64::from(tooth) * 1.3;
        let deep = 8.0 + f64::from((tooth * 7919) % 13) * 0.5;
        points.extend([(x, 0.1 * f64::from(tooth % 5)), (x + 0.35, 0.0), (x + 0.5, deep), (x + 1.1, deep + 0.3)]);
    }
    points.push((40.0, 20.0));
    let comb = polygon(&points);
    for (border, minimum) in [(0.0, 3.0), (0.3, 3.0), (0.3, 0.0), (1.0, 3.0), (3.0, 3.0)] {
        let order = Growth { cutting: cutting(minimum, 0.5, 1.0), ..growth(border) };
        let grown = grown(vec![comb.clone()], &order);
        for (a, b) in comb.edges() {
            for step in 0..8 {
                let point = a.lerp(b, f64::from(step) / 8.0);
                let depth = from_edge(&grown.region, point);
                let depth = if grown.region.rings[0].contains(point) { depth } else { -depth };
                assert!(depth > border - 0.02, "border {border}, minimum {minimum}: {depth} at {point:?}");
            }
        }
    }
}

#[test]
fn torn_rings_and_dust_do_no_harm() {
    // A ring that touches itself, repeats points and turns back on itself.
    let torn = polygon(&[
        (0.0, 0.0),
        (10.0, 0.0),
        (10.0, 0.0),
        (5.0, 5.0),
        (10.0, 10.0),
        (0.0, 10.0),
        (5.0, 5.0),
        (5.0, 5.0),
        (0.0, 0.0),
    ]);
    assert_eq!(grown(vec![torn], &growth(1.0)).parts, 1);
    // Numbers from a linear congruential generator (Knuth 1998, volume 2, 3.3.4), seed 1.
    let mut state: u32 = 1;
    let mut next = || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        f64::from(state >> 8) / f64::from(1 << 24)
    };
    let dust: Vec<Ring> = (0..20_000)
        .map(|_| {
            let corner = Point::new(next() * 80.0, next() * 80.0);
            Ring::rectangle(Rect::from_origin_size(corner, (0.1 + next() * 0.4, 0.1 + next() * 0.4)))
        })
        .collect();
    let grown = grown(dust, &growth(0.2));
    assert!(grown.specks.len() > 1000);
    assert!(grown.parts > 0);
}

#[test]
fn the_same_art_grows_into_the_same_bytes_and_moves_with_the_art() {
    let star: Vec<Point> = (0..10)
        .map(|n| {
            let (sin, cos) = (f64::from(n) * PI / 5.0).sin_cos();
            Point::new(cos, sin).to_vec2() * if n % 2 == 0 { 20.0 } else { 9.0 }
        })
        .map(Vec2::to_point)
        .collect();
    let region = Region::new(vec![Ring::new(star)]);
    let first = grow(&region, &growth(1.5), &Cancel::new()).expect("grows");
    let second = grow(&region, &growth(1.5), &Cancel::new()).expect("grows");
    assert_eq!(first, second);
}
