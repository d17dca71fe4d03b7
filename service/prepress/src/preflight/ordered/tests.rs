use super::super::Measures;
use super::*;
use crate::border::{Bridge, Thickening};
use crate::cancel::Cancel;
use crate::geom::{Rect, Region, Ring};
use crate::order::{Shape, Size};
use crate::outline::fit;
use crate::outline::samples::{design, photo, stock};
use std::sync::Arc;

fn facts(width_px: u32, height_px: u32, format: &'static str) -> ArtFacts {
    let measures = Measures {
        format: Some(format),
        width_px: Some(width_px),
        height_px: Some(height_px),
        art_x_px: Some(0),
        art_y_px: Some(0),
        art_width_px: Some(width_px),
        art_height_px: Some(height_px),
        ..Measures::default()
    };
    ArtFacts { measures, findings: Vec::new(), own_longest_mm: None, survey: Arc::default() }
}

fn inspected(width_px: u32, format: &'static str, size_mm: f64, border: f64, accept: &[&str]) -> ArtFacts {
    let mut order = design(Shape::Rectangle, Size::Width(Mm::of(size_mm)), border);
    order.accept.0.extend(accept.iter().map(|code| (*code).to_owned()));
    let art = photo(width_px, width_px / 2, [0; 3], [9; 3]);
    let outlined = fit(&art, &order, None, &stock(), &Thresholds::default(), &Cancel::new()).expect("it can be made");
    inspect_outline(&facts(width_px, width_px / 2, format), &outlined, &order, &stock(), &Thresholds::default())
}

fn only(facts: &ArtFacts, code: Code) -> Option<&Finding> {
    facts.findings.iter().find(|finding| finding.code == code)
}

#[test]
fn twelve_hundred_pixels_over_four_inches_are_300_ppi() {
    // 101.6 mm of art (4 in) and 3 mm of border on both sides.
    let facts = inspected(1200, "png", 107.6, 3.0, &[]);
    assert_eq!(facts.measures.effective_ppi, Some(300.0));
    assert_eq!(only(&facts, Code::ResolutionLow), None);
    assert_eq!(facts.measures.largest_mm_at_300_ppi, Some(107.6));
    // 1200 / 150 x 25.4 = 203.2 mm and the border.
    assert_eq!(facts.measures.largest_mm_at_150_ppi, Some(209.2));
    assert_eq!(facts.measures.suggested_longest_mm, Some(107.0));
}

#[test]
fn under_300_ppi_is_a_caution_and_under_150_a_reject() {
    // 1200 px over 121.92 mm are 250 ppi; over 304.8 mm 100 ppi.
    let soft = inspected(1200, "png", 121.92, 0.0, &[]);
    let finding = only(&soft, Code::ResolutionLow).expect("is found");
    assert_eq!((finding.severity, finding.measured, finding.limit), (Severity::Caution, Some(250.0), Some(300.0)));
    assert_eq!(finding.unit, Some("ppi"));
    let bad = inspected(1200, "png", 304.8, 0.0, &[]);
    let finding = only(&bad, Code::ResolutionLow).expect("is found");
    assert_eq!((finding.severity, finding.measured, finding.limit), (Severity::Reject, Some(100.0), Some(150.0)));
    let accepted = inspected(1200, "png", 304.8, 0.0, &["resolution.low"]);
    assert_eq!(only(&accepted, Code::ResolutionLow).map(|finding| finding.severity), Some(Severity::Caution));
}

#[test]
fn a_drawing_has_no_resolution() {
    let inspected = inspected(100, "svg", 100.0, 3.0, &[]);
    assert_eq!(only(&inspected, Code::ResolutionLow), None);
    let measures = &inspected.measures;
    assert_eq!(
        (measures.effective_ppi, measures.largest_mm_at_300_ppi, measures.largest_mm_at_150_ppi),
        (None, None, None)
    );
    // Twice as wide as high, in a window of 183.9 x 247.4 mm, turned.
    assert_eq!(measures.suggested_longest_mm, Some(247.0));
    // What it says of itself with a border on both sides; one that would be too small to make, or too large, says nothing.
    for (own_mm, suggested_mm) in [(80.4, 86.0), (9.0, 247.0), (400.0, 247.0)] {
        let order = design(Shape::Rectangle, Size::Width(Mm::of(100.0)), 3.0);
        let outlined =
            fit(&photo(100, 50, [0; 3], [9; 3]), &order, None, &stock(), &Thresholds::default(), &Cancel::new())
                .expect("it is made");
        let says = ArtFacts { own_longest_mm: Some(own_mm), ..facts(100, 50, "svg") };
        let said = inspect_outline(&says, &outlined, &order, &stock(), &Thresholds::default());
        assert_eq!(said.measures.suggested_longest_mm, Some(suggested_mm));
    }
}

#[test]
fn what_the_border_did_is_told() {
    let order = design(Shape::Rectangle, Size::Width(Mm::of(60.0)), 3.0);
    let art = photo(1200, 600, [0; 3], [9; 3]);
    let mut outlined =
        fit(&art, &order, None, &stock(), &Thresholds::default(), &Cancel::new()).expect("it can be made");
    let grown = Grown {
        region: Region::default(),
        art_parts: 3,
        parts: 1,
        bridges: vec![Bridge { from: Point::new(0.0, 0.0), to: Point::new(5.0, 0.0) }],
        thickenings: vec![
            Thickening { at: Point::new(10.0, 0.0), width_before: Mm::of(2.0) },
            Thickening { at: Point::new(-10.0, 5.0), width_before: Mm::of(1.25) },
        ],
        thinnest: Some(Mm::of(1.25)),
        specks: [-20.0, -19.0, 0.0, 20.0].map(|x| Rect::new(x, 0.0, x + 0.1, 0.1)).to_vec(),
        radius_wins: true,
    };
    outlined.grown = Some(grown.clone());
    let told = |outlined: &Outlined| {
        inspect_outline(&facts(1200, 600, "png"), outlined, &order, &stock(), &Thresholds::default())
    };
    let facts = told(&outlined);
    let parts = only(&facts, Code::ShapeParts).expect("is found");
    assert_eq!((parts.severity, parts.measured, parts.places.len()), (Severity::Note, Some(3.0), 1));
    let thin = only(&facts, Code::ShapeThin).expect("is found");
    assert_eq!((thin.measured, thin.limit, thin.places.len()), (Some(1.25), Some(3.0), 2));
    let specks = only(&facts, Code::ShapeSpecks).expect("is found");
    assert_eq!((specks.measured, specks.places.len()), (Some(4.0), 3), "two of four lie close together");
    assert!(only(&facts, Code::RadiusWins).is_some());
    // 54 mm of art over 1200 px: 10 mm right of the middle is column 600 + 222.2, and 1.5 mm around it.
    assert_eq!(thin.places[0].x_px, 788);
    let part = |x: f64| {
        Ring::new(vec![Point::new(x, -5.0), Point::new(x + 9.0, -5.0), Point::new(x + 9.0, 5.0), Point::new(x, 5.0)])
    };
    outlined.grown = Some(Grown { parts: 2, region: Region::new(vec![part(-20.0), part(10.0)]), ..grown });
    let separate = told(&outlined);
    let parts = only(&separate, Code::ShapeParts).expect("is found");
    assert_eq!((parts.severity, parts.places.len()), (Severity::Caution, 2));
    // 10 mm right of the middle, and 9 mm wide.
    assert_eq!((parts.places[1].x_px, parts.places[1].width_px), (822, 201));
}

#[test]
fn a_narrow_gutter_matters_only_with_printed_bleed() {
    let narrow = Stock { gutter: Mm::of(1.5), ..stock() };
    let art = photo(1200, 600, [0; 3], [9; 3]);
    for (border, expected) in [(0.0, true), (3.0, false)] {
        let order = design(Shape::Rectangle, Size::Width(Mm::of(60.0)), border);
        let outlined =
            fit(&art, &order, None, &narrow, &Thresholds::default(), &Cancel::new()).expect("it can be made");
        let found = inspect_outline(&facts(1200, 600, "png"), &outlined, &order, &narrow, &Thresholds::default());
        assert_eq!(only(&found, Code::BleedClipped).is_some(), expected);
    }
}

#[test]
fn the_suggested_border_grows_with_the_sticker() {
    let in_halves = |longest: f64| (suggested_border(longest) * 2.0) as u32;
    assert_eq!([20.0, 40.0, 60.0, 200.0].map(in_halves), [3, 4, 6, 6]);
}
