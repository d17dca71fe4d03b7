//! The border against published formulas.

use std::f64::consts::{PI, TAU};

use quoin_prepress::border::{self, Growth};
use quoin_prepress::cancel::Cancel;
use quoin_prepress::geom::{Point, Region, Ring};
use quoin_prepress::order::{Cutting, Parts};
use quoin_prepress::units::Mm;

/// Grown by a border, the shape's outer ring.
fn grown(ring: Ring, border_mm: f64) -> Ring {
    let cutting = Cutting {
        minimum_width: Mm::of(3.0),
        bridge_reach: None,
        inside_radius: Mm::of(0.5),
        outside_radius: Mm::of(1.0),
        speck: Mm::of(0.3),
    };
    let growth = Growth { border: Mm::of(border_mm), keep_holes_wider_than: None, parts: Parts::Join, cutting };
    let art = Region::new(vec![ring]);
    let grown = border::grow(&art, &growth, &Cancel::new()).expect("a plain shape grows");
    assert_eq!(grown.region.rings.len(), 1, "one ring, no holes");
    grown.region.rings.into_iter().next().expect("counted above")
}

/// A regular polygon, clockwise with y down.
fn polygon(corners: u32, radius_mm: f64) -> Ring {
    let corner = |k: u32| {
        let angle = TAU * f64::from(k) / f64::from(corners);
        Point::new(50.0 + radius_mm * angle.cos(), 40.0 + radius_mm * angle.sin())
    };
    Ring::new((0..corners).map(corner).collect())
}

#[test]
fn a_disc_grows_into_a_disc() {
    // The parallel set of a disc of radius r at distance d is the disc of radius r + d.
    for (radius_mm, border_mm) in [(5.0, 1.0), (20.0, 3.0), (20.0, 12.5), (60.0, 2.0)] {
        let ring = grown(polygon(4000, radius_mm), border_mm);
        for point in ring.points() {
            let off = point.distance(Point::new(50.0, 40.0)) - radius_mm - border_mm;
            assert!(off.abs() <= 0.02, "{radius_mm} + {border_mm}: off by {off} mm at {point:?}");
        }
    }
}

#[test]
fn convex_shapes_grow_by_steiners_formula() {
    // J. Steiner, "Über parallele Flächen" (1840): A + P d + pi d^2, and the perimeter P + 2 pi d.
    let needle = Ring::new(vec![Point::new(0.0, 0.0), Point::new(70.0, 8.0), Point::new(0.0, 16.0)]);
    let square =
        Ring::new(vec![Point::new(0.0, 0.0), Point::new(30.0, 0.0), Point::new(30.0, 30.0), Point::new(0.0, 30.0)]);
    for (name, ring) in
        [("needle", needle), ("square", square), ("triangle", polygon(3, 25.0)), ("heptagon", polygon(7, 25.0))]
    {
        for border_mm in [1.5, 3.0, 8.0] {
            let (area, perimeter) = (ring.area_mm2(), ring.perimeter().mm());
            let wanted_area = area + perimeter * border_mm + PI * border_mm * border_mm;
            let result = grown(ring.clone(), border_mm);
            let area_off = result.area_mm2() / wanted_area - 1.0;
            assert!(area_off.abs() <= 0.002, "{name} + {border_mm}: area off by {area_off}");
            let perimeter_off = result.perimeter().mm() / (perimeter + TAU * border_mm) - 1.0;
            assert!(perimeter_off.abs() <= 0.01, "{name} + {border_mm}: perimeter off by {perimeter_off}");
        }
    }
}
