//! Sheets with a few stickers, measured.

use std::collections::BTreeSet;

use super::*;
use crate::frame;
use crate::frame::tests::{letter, marked_letter, roll};
use crate::geom::{Point, Shape, Vec2};
use crate::sticker::{Cut, PlacedPrint, Plane, Print};
use crate::units::Ppi;

fn ellipse(width: f64, height: f64, centre: Point) -> CutLine {
    let mut path = kurbo::Ellipse::new(centre, (width / 2.0, height / 2.0), 0.0).to_path(1e-4);
    path.close_path();
    CutLine::new(path).expect("closed")
}

fn rectangle(width: f64, height: f64) -> CutLine {
    let ring = Ring::rectangle(Rect::new(-width / 2.0, -height / 2.0, width / 2.0, height / 2.0));
    CutLine::polygon(&ring).expect("closed")
}

fn cut(line: CutLine) -> Cut {
    Cut { line, piece: None }
}

/// A print of a shape with 1 mm of bleed: stripes, so that turning and scaling shows.
fn print_of(outer: &Ring, bleed: f64) -> PlacedPrint {
    let ppi = Ppi::of(300.0);
    let bounds = outer.bounds().inflate(bleed, bleed);
    let (width_px, height_px) = (ppi.pixels(Mm::of(bounds.width())), ppi.pixels(Mm::of(bounds.height())));
    let to_mm = Affine::translate((bounds.x0, bounds.y0)) * Affine::scale(1.0 / ppi.px_per_mm());
    let (mut colour, mut alpha) = (Vec::new(), Vec::new());
    let grow = 1.0 + 2.0 * bleed / outer.bounds().width().max(outer.bounds().height());
    for y in 0..height_px {
        for x in 0..width_px {
            let at = to_mm * Point::new(f64::from(x) + 0.5, f64::from(y) + 0.5);
            let inside = outer.contains(Point::new(at.x / grow, at.y / grow));
            alpha.push(if inside { 255 } else { 0 });
            let stripe = (at.x / 6.0).floor().rem_euclid(2.0) > 0.5;
            colour.extend_from_slice(if at.y < -4.0 {
                &[250, 204, 21]
            } else if stripe {
                &[219, 39, 119]
            } else {
                &[30, 64, 175]
            });
        }
    }
    let print = Print {
        width_px,
        height_px,
        ppi,
        colour: Plane::pack(&colour, width_px, 3),
        alpha: Plane::pack(&alpha, width_px, 1),
        white: None,
    };
    PlacedPrint { print: Arc::new(print), to_mm }
}

fn sticker(kiss: Vec<Cut>, through: Vec<Cut>, reach: f64) -> Sticker {
    let outer = through[0].line.flattened(Mm::of(0.005));
    let overall = outer.bounds();
    Sticker {
        prints: vec![print_of(&outer, reach)],
        kiss,
        through,
        reach: Mm::of(reach),
        overall,
        finished_width: Mm::of(overall.width()),
        finished_height: Mm::of(overall.height()),
        area_mm2: outer.area_mm2(),
        outermost: vec![outer],
    }
}

fn placed(product: &'static str, sticker: Sticker, pose: Pose) -> Placement {
    Placement {
        placement: 1,
        order: Some("1042".to_owned()),
        item: Some("1".to_owned()),
        copy: 1,
        product,
        filler: false,
        pose,
        sticker: Arc::new(sticker),
        tags: Vec::new(),
        clip: None,
    }
}

/// An ellipse of 40 x 30 mm with a hole of 8 mm, at (x, y).
pub(crate) fn die_cut(x: f64, y: f64, rotation_deg: f64) -> Placement {
    let hole = cut(ellipse(8.0, 8.0, Point::new(5.0, 0.0)));
    let lines = vec![cut(ellipse(40.0, 30.0, Point::ORIGIN)), hole];
    placed("die_cut", sticker(Vec::new(), lines, 1.0), Pose::new(x, y, rotation_deg))
}

/// A kiss cut of 30 x 20 mm on a rectangle of 40 x 30 mm.
pub(crate) fn kiss_cut(x: f64, y: f64) -> Placement {
    let made = sticker(vec![cut(ellipse(30.0, 20.0, Point::ORIGIN))], vec![cut(rectangle(40.0, 30.0))], 1.0);
    placed("kiss_cut", made, Pose::new(x, y, 0.0))
}

/// A page of 50 x 30 mm with two kiss cuts.
pub(crate) fn sticker_sheet(x: f64, y: f64) -> Placement {
    let piece = |at: f64| Cut { line: ellipse(15.0, 15.0, Point::new(at, 0.0)), piece: Some("fox".to_owned()) };
    let made = sticker(vec![piece(-10.0), piece(10.0)], vec![cut(rectangle(50.0, 30.0))], 1.0);
    placed("sticker_sheet", made, Pose::new(x, y, 0.0))
}

/// A letter sheet with marks.
pub(crate) fn sheet_of(placements: Vec<Placement>) -> Sheet {
    sheet_on(marked_letter(), placements)
}

/// A sheet of a stock.
pub(crate) fn sheet_on(stock: Stock, mut placements: Vec<Placement>) -> Sheet {
    placements.iter_mut().zip(1..).for_each(|(placement, number)| placement.placement = number);
    Sheet {
        number: 1,
        of: 3,
        run: "tuesday-night".to_owned(),
        date: Some("2026-11-24T21:30:00Z".to_owned()),
        frame: frame::lay_out(&stock).expect("a stock in order"),
        stock: Arc::new(stock),
        placements,
    }
}

fn ids(cuts: &[SheetCut<'_>]) -> Vec<String> {
    cuts.iter().map(|cut| cut.id.clone()).collect()
}

#[test]
fn used_length_counts_from_the_feed_side_to_the_farthest_line() {
    for (feed_edge, expected) in [
        (FeedEdge::Top, 40.0 + 15.0 - 16.0),
        (FeedEdge::Bottom, 279.4 - 16.0 - 25.0),
        (FeedEdge::Left, 60.0 + 20.0 - 16.0),
        (FeedEdge::Right, 215.9 - 16.0 - 40.0),
    ] {
        let sheet = sheet_on(Stock { feed_edge, ..marked_letter() }, vec![die_cut(60.0, 40.0, 0.0)]);
        assert!((sheet.used_length().mm() - expected).abs() < 0.01, "{feed_edge:?}: {:?}", sheet.used_length());
    }
    assert_eq!(sheet_of(Vec::new()).used_length(), Mm::ZERO);
}

#[test]
fn cut_ids_are_the_contracts() {
    let sheet = sheet_of(vec![die_cut(60.0, 40.0, 10.0), kiss_cut(120.0, 40.0), sticker_sheet(60.0, 120.0)]);
    let (kiss, through) = sheet.cuts();
    let kiss: BTreeSet<String> = ids(&kiss).into_iter().collect();
    let through: BTreeSet<String> = ids(&through).into_iter().collect();
    assert_eq!(Vec::from_iter(&kiss), ["p2-kiss", "p3-kiss-1", "p3-kiss-2"]);
    assert_eq!(Vec::from_iter(&through), ["p1-through", "p1-through-2", "p2-through", "p3-through"]);
}

#[test]
fn holes_are_cut_before_the_line_around_them_and_far_stickers_first() {
    let column = [40.0, 90.0, 140.0, 190.0, 240.0].map(|y| die_cut(60.0, y, 45.0));
    let sheet = sheet_of(column.to_vec());
    let (_, through) = sheet.cuts();
    let expected = ["p5", "p4", "p3", "p2", "p1"].map(|p| [format!("{p}-through-2"), format!("{p}-through")]).concat();
    assert_eq!(ids(&through), expected);
    let bottom_first = sheet_on(Stock { feed_edge: FeedEdge::Bottom, ..marked_letter() }, column.to_vec());
    assert!(bottom_first.cuts().1[0].id.starts_with("p1-"));
}

#[test]
fn stickers_side_by_side_are_cut_with_little_travel() {
    let row: Vec<Placement> = [180.0, 40.0, 130.0, 85.0].map(|x| kiss_cut(x, 100.0)).to_vec();
    let sheet = sheet_of(row);
    let (_, through) = sheet.cuts();
    let xs: Vec<f64> = through.iter().map(|cut| cut.line.start().x).collect();
    let travel: f64 = xs.windows(2).map(|pair| (pair[1] - pair[0]).abs()).sum();
    assert!(travel <= 1.4 * (180.0 - 40.0), "{xs:?}");
}

#[test]
fn printed_marks_agree_with_the_frame_and_bars_are_100_mm_between_ticks() {
    let sheet = sheet_of(Vec::new());
    let furniture = sheet.furniture();
    for (path, mark) in furniture.marks.iter().zip(&sheet.frame.marks) {
        let bounds = path.bounding_box();
        assert!(bounds.center().distance(mark.centre) < 1e-9 && (bounds.width() - 5.0).abs() < 1e-3);
        for t in path.segments().flat_map(|segment| [0.2, 0.5, 0.8].map(|t| kurbo::ParamCurve::eval(&segment, t))) {
            assert!((t.distance(mark.centre) - 2.5).abs() < 1e-3);
        }
    }
    for (bar, path) in sheet.frame.scale_bars.iter().zip(furniture.lettering.iter().step_by(2)) {
        let bounds = path.bounding_box();
        let length = bounds.width().max(bounds.height());
        assert!((length - 100.0 - SCALE_BAR_LINE.mm()).abs() < 1e-9, "{bounds:?}");
        assert!((bounds.width().min(bounds.height()) - 2.4).abs() < 1e-9);
        assert!(bounds.center().distance(bar.from.midpoint(bar.to)) < 1e-9);
    }
}

#[test]
fn lettering_stays_in_its_margin_whatever_it_says() {
    let mut sheets = Vec::new();
    for feed_edge in [FeedEdge::Top, FeedEdge::Right, FeedEdge::Bottom, FeedEdge::Left] {
        let stock = Stock { feed_edge, finish: "بسيط 🦊 long ".repeat(40), ..marked_letter() };
        sheets.push(sheet_on(stock, Vec::new()));
    }
    sheets.push(sheet_on(roll(2000.0, Some(600.0)), Vec::new()));
    let small = crate::order::Form::Sheet { width: Mm::of(90.0), height: Mm::of(60.0), media: None };
    sheets.push(sheet_on(Stock { form: small, ..letter() }, Vec::new()));
    for mut sheet in sheets {
        sheet.run = "w".repeat(32);
        let printable = Rect::new(4.0, 4.0, sheet.frame.width.mm() - 4.0, sheet.frame.height.mm() - 4.0);
        for path in sheet.furniture().lettering {
            let bounds = path.bounding_box();
            assert!(bounds.intersect(sheet.frame.window).area() < 1e-9, "{bounds:?}");
            assert!(printable.union(bounds) == printable, "{bounds:?} past {printable:?}");
            for mark in &sheet.frame.marks {
                let nearest =
                    Point::new(mark.centre.x.clamp(bounds.x0, bounds.x1), mark.centre.y.clamp(bounds.y0, bounds.y1));
                assert!(nearest.distance(mark.centre) > mark.clear_radius().mm());
            }
        }
    }
}

/// Side of the code's modules: the path with the most square box of all lettering, over its modules.
fn module_mm(sheet: &Sheet, modules: f64) -> f64 {
    let furniture = sheet.furniture();
    let bars = 2 * sheet.frame.scale_bars.len();
    furniture.lettering[bars].bounding_box().width() / modules
}

#[test]
fn code_has_modules_of_half_a_millimetre_where_there_is_room() {
    let wide = Stock { margins: crate::order::Margins::even(Mm::of(22.225)), ..letter() };
    assert!((module_mm(&sheet_on(wide.clone(), Vec::new()), 21.0) - 0.5).abs() < 1e-9);
    let longest = Sheet { run: "w".repeat(32), ..sheet_on(wide, Vec::new()) };
    assert!((module_mm(&longest, 29.0) - 0.5).abs() < 1e-9);
    // In the default margins at least four dots of 300 to the inch.
    let longest = Sheet { run: "w".repeat(32), ..sheet_of(Vec::new()) };
    assert!(module_mm(&longest, 29.0) >= 4.0 * 25.4 / 300.0);
}

#[test]
fn bleeds_are_clipped_on_the_middle_line_between_near_neighbours_only() {
    let mut placements = vec![kiss_cut(60.0, 60.0), kiss_cut(100.8, 60.0), kiss_cut(60.0, 150.0)];
    clip_bleeds(&mut placements, Mm::of(0.8));
    assert!(placements[2].clip.is_none(), "nothing near");
    let clips: Vec<&BezPath> = placements[..2].iter().map(|placement| placement.clip.as_ref().expect("near")).collect();
    // Right edge of the first at x = 80, left edge of the second at 80.8: the middle is 80.4.
    for (y, x, first, second) in [
        (60.0, 80.37, true, false),
        (60.0, 80.43, false, true),
        (50.0, 80.37, true, false),
        (60.0, 79.9, true, false),
        (60.0, 39.2, true, false),
        (44.2, 60.0, true, false),
    ] {
        let (x, y) = if y < 45.0 { (60.0, y) } else { (x, y) };
        let at = Point::new(x, y);
        assert_eq!((clips[0].winding(at) != 0, clips[1].winding(at) != 0), (first, second), "{at:?}");
    }
    clip_bleeds(&mut placements, Mm::of(2.0));
    assert!(placements.iter().all(|placement| placement.clip.is_none()), "the gutter is twice the bleed");
}

#[test]
fn clip_holds_all_of_the_sticker_itself() {
    let mut placements = vec![die_cut(60.0, 60.0, 20.0), die_cut(60.0, 91.2, 20.0), die_cut(98.0, 74.0, 77.0)];
    clip_bleeds(&mut placements, Mm::of(0.5));
    for placement in &placements {
        let Some(clip) = &placement.clip else { continue };
        let outline = placement.sticker.outermost[0].transformed(placement.pose.to_affine());
        for (a, b) in outline.edges() {
            let inward = placement.pose.origin() - a.midpoint(b);
            assert!(clip.winding(a.midpoint(b) + inward * 0.001) != 0);
            assert!(clip.winding(a.midpoint(b) - Vec2::new(inward.x, inward.y) * 0.5) == 0, "far outside");
        }
    }
    assert!(placements.iter().filter(|placement| placement.clip.is_some()).count() >= 2);
}
