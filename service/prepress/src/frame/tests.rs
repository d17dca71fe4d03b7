//! Frames of common stocks, measured.

use super::*;
use crate::order::{LabelPlace, Margins, RegisterMarks};

/// The contract's default stock on a letter sheet.
pub(crate) fn letter() -> Stock {
    let form = Form::Sheet { width: Mm::of(215.9), height: Mm::of(279.4), media: None };
    Stock { finish: "removable, gloss laminate".to_owned(), ..Stock::with_defaults("gloss-white-vinyl", form) }
}

fn discs(at: Option<Vec<Point>>) -> Option<RegisterMarks> {
    Some(RegisterMarks { diameter: Mm::of(5.0), clear: Mm::of(3.0), at })
}

/// The same with register marks.
pub(crate) fn marked_letter() -> Stock {
    Stock { register_marks: discs(None), ..letter() }
}

/// A roll with marks and sections.
pub(crate) fn roll(max_length: f64, section: Option<f64>) -> Stock {
    let form = Form::Roll { width: Mm::of(610.0), max_length: Mm::of(max_length), section_length: section.map(Mm::of) };
    Stock { form, ..marked_letter() }
}

fn frame(stock: &Stock) -> Frame {
    lay_out(stock).expect("a stock in order")
}

fn reason(stock: &Stock) -> String {
    match lay_out(stock) {
        Err(Fault::StockBroken { field, reason, .. }) => format!("{field}: {reason}"),
        other => format!("not broken: {other:?}"),
    }
}

fn centres(frame: &Frame) -> Vec<(f64, f64)> {
    let tidy = |value: f64| (value * 1e6).round() / 1e6;
    frame.marks.iter().map(|mark| (tidy(mark.centre.x), tidy(mark.centre.y))).collect()
}

/// Boxes that label and bars print in, ticks and lettering included.
fn printed_boxes(frame: &Frame) -> Vec<Rect> {
    let bar = |bar: &ScaleBar| {
        let along = (bar.to - bar.from) / bar.length.mm();
        let end = bar.to + along * (BAR_LETTERING_GAP.mm() + 4.0);
        let tick = Vec2::new(along.y.abs(), along.x.abs()) * (BAR_TICK.mm() / 2.0);
        Rect::from_points(bar.from - tick, end + tick)
    };
    frame.label.iter().map(|label| label.area).chain(frame.scale_bars.iter().map(bar)).collect()
}

/// Label and bars stay clear of everything.
fn assert_furniture_is_clear(stock: &Stock, frame: &Frame) {
    let boxes = printed_boxes(frame);
    let edge = &stock.unprintable;
    let printable = Rect::new(
        edge.left.mm(),
        edge.top.mm(),
        frame.width.mm() - edge.right.mm(),
        frame.height.mm() - edge.bottom.mm(),
    )
    .inflate(1e-9, 1e-9);
    for (number, area) in boxes.iter().enumerate() {
        assert!(printable.contains(area.origin()) && printable.contains(Point::new(area.x1, area.y1)), "{area:?}");
        assert!(area.intersect(frame.window).area() < 1e-9, "{area:?} in the window {:?}", frame.window);
        for mark in &frame.marks {
            let away = sides::distance_to_box(mark.centre, *area);
            assert!(away >= mark.clear_radius().mm() - 1e-9, "{area:?} is {away} from {mark:?}");
        }
        for other in &boxes[number + 1..] {
            assert!(area.intersect(*other).area() < 1e-9, "{area:?} over {other:?}");
        }
    }
}

#[test]
fn letter_sheet_of_a_desktop_cutter_leaves_the_usual_window() {
    // A check value: about 6.75 x 9.25 in. Common practice, no source.
    let frame = frame(&Stock { margins: Margins::even(Mm::of(22.225)), ..letter() });
    assert!((frame.window.width() - 6.75 * 25.4).abs() < 1e-9, "{:?}", frame.window);
    assert!((frame.window.height() - 9.25 * 25.4).abs() < 1e-9);
    assert!(frame.marks.is_empty() && frame.keep_outs.is_empty());
}

#[test]
fn default_margins_hold_the_label_and_the_window_is_the_contracts() {
    let stock = marked_letter();
    let frame = frame(&stock);
    assert!((frame.window.width() - 183.9).abs() < 1e-9 && (frame.window.height() - 247.4).abs() < 1e-9);
    assert_eq!((frame.window.x0, frame.window.y0), (16.0, 16.0));
    assert!(frame.label.is_some());
}

#[test]
fn five_discs_stand_where_the_contract_says() {
    let across = 215.9 - 13.0;
    let expected = [(6.5, 6.5), (6.5 + across * 0.375, 6.5), (209.4, 6.5), (6.5, 272.9), (209.4, 272.9)];
    for (found, (x, y)) in centres(&frame(&marked_letter())).iter().zip(expected) {
        assert!((found.0 - x).abs() < 1e-6 && (found.1 - y).abs() < 1e-6, "{found:?} for ({x}, {y})");
    }
}

#[test]
fn fifth_disc_is_three_eighths_clockwise_on_each_feed_edge() {
    let (w, h) = (215.9, 279.4);
    for (feed_edge, x, y) in [
        (FeedEdge::Top, 6.5 + 0.375 * (w - 13.0), 6.5),
        (FeedEdge::Right, w - 6.5, 6.5 + 0.375 * (h - 13.0)),
        (FeedEdge::Bottom, w - 6.5 - 0.375 * (w - 13.0), h - 6.5),
        (FeedEdge::Left, 6.5, h - 6.5 - 0.375 * (h - 13.0)),
    ] {
        let frame = frame(&Stock { feed_edge, ..marked_letter() });
        let there = frame.marks.iter().any(|mark| mark.centre.distance(Point::new(x, y)) < 1e-9);
        assert!(there && frame.marks.len() == 5, "{feed_edge:?}: {:?}", centres(&frame));
    }
}

#[test]
fn mark_pattern_maps_onto_itself_in_no_other_position() {
    for side in [200.0, 279.4] {
        let form = Form::Sheet { width: Mm::of(200.0), height: Mm::of(side), media: None };
        let frame = frame(&Stock { form, ..marked_letter() });
        let (w, h) = (200.0, side);
        let mut motions: Vec<Box<dyn Fn(Point) -> Point>> = vec![
            Box::new(move |p| Point::new(w - p.x, h - p.y)),
            Box::new(move |p| Point::new(w - p.x, p.y)),
            Box::new(move |p| Point::new(p.x, h - p.y)),
        ];
        if (w - h).abs() < 1e-9 {
            motions.push(Box::new(move |p| Point::new(w - p.y, p.x)));
            motions.push(Box::new(move |p| Point::new(p.y, w - p.x)));
            motions.push(Box::new(|p| Point::new(p.y, p.x)));
            motions.push(Box::new(move |p| Point::new(w - p.y, w - p.x)));
        }
        for (number, motion) in motions.iter().enumerate() {
            let onto = |mark: &Mark| frame.marks.iter().any(|other| other.centre.distance(motion(mark.centre)) < 1.0);
            assert!(!frame.marks.iter().all(onto), "motion {number} of {w} x {h}");
        }
    }
}

#[test]
fn scale_bars_are_100_mm_one_along_and_one_across_the_feed() {
    let film = Form::Sheet { width: Mm::of(330.0), height: Mm::of(480.0), media: None };
    let wide = Margins::even(Mm::of(22.225));
    for stock in
        [letter(), marked_letter(), Stock { margins: wide, ..letter() }, Stock { form: film, ..marked_letter() }]
    {
        for feed_edge in sides::SIDES {
            let stock = Stock { feed_edge, ..stock.clone() };
            let frame = frame(&stock);
            assert_furniture_is_clear(&stock, &frame);
            let bars = &frame.scale_bars;
            assert!(bars.iter().all(|bar| (bar.from.distance(bar.to) - 100.0).abs() < 1e-9), "{bars:?}");
            let horizontal = bars.iter().filter(|bar| (bar.from.y - bar.to.y).abs() < 1e-9).count();
            assert_eq!((bars.len(), horizontal), (2, 1));
        }
    }
}

#[test]
fn narrow_margins_give_up_a_strip_and_small_sheets_shorten_bars() {
    for (width, height, margin) in
        [(215.9, 279.4, 5.0), (105.0, 148.0, 10.0), (100.0, 100.0, 16.0), (330.0, 480.0, 9.0)]
    {
        for register_marks in [None, discs(None)] {
            let margins = Margins::even(Mm::of(if register_marks.is_some() { f64::max(margin, 9.0) } else { margin }));
            let form = Form::Sheet { width: Mm::of(width), height: Mm::of(height), media: None };
            let stock = Stock { form, margins, register_marks, ..letter() };
            let frame = frame(&stock);
            assert_furniture_is_clear(&stock, &frame);
            let lost = 1.0 - frame.window.area() / sides::window(&stock, frame.extent(), [0.0; 4]).area();
            assert!(lost < 0.2 && frame.label.is_some(), "{width} x {height}: lost {lost}");
            assert!(frame.scale_bars.iter().all(|bar| bar.length.mm() >= 30.0), "{:?}", frame.scale_bars);
        }
    }
    let none = Stock { label: LabelPlace::None, margins: Margins::even(Mm::of(5.0)), ..letter() };
    let bare = frame(&none);
    assert!(bare.label.is_none() && bare.scale_bars.is_empty() && (bare.window.width() - 205.9).abs() < 1e-9);
}

#[test]
fn clear_zones_that_reach_into_the_window_are_kept_out() {
    let stock = Stock { margins: Margins::even(Mm::of(9.0)), label: LabelPlace::None, ..marked_letter() };
    let frame = frame(&stock);
    // The corner discs' clear zones end 5.5 mm from (6.5, 6.5): 3 mm inside a margin of 9 mm on each edge they face.
    assert_eq!(frame.keep_outs.len(), 5, "{:?}", frame.keep_outs);
    let radii = frame
        .keep_outs
        .iter()
        .all(|keep_out| matches!(keep_out, KeepOut::Disc { radius, .. } if (radius.mm() - 5.5).abs() < 1e-9));
    assert!(radii);
    assert!(super::lay_out(&marked_letter()).expect("in order").keep_outs.is_empty());
}

#[test]
fn broken_stocks_say_the_margin_needed() {
    let margins = |left| Margins { left: Mm::of(left), ..Margins::even(Mm::of(16.0)) };
    let said = reason(&Stock { margins: margins(3.0), ..letter() });
    assert!(said.starts_with("/margins_mm/left: ") && said.contains("at least 4 mm"), "{said}");
    let said = reason(&Stock { margins: margins(8.9), ..marked_letter() });
    assert!(said.starts_with("/margins_mm/left: ") && said.contains("at least 9 mm"), "{said}");
    assert!(lay_out(&Stock { margins: margins(9.0), ..marked_letter() }).is_ok());
    assert!(lay_out(&Stock { margins: margins(4.1 + 4.9), ..marked_letter() }).is_ok());
    let said = reason(&Stock { margins: Margins::even(Mm::of(110.0)), ..letter() });
    assert!(said.contains("no window is left") && said.contains("220 mm of 215.9 mm"), "{said}");
}

#[test]
fn given_centres_stand_in_the_printable_margin_or_the_stock_is_broken() {
    let at = |x: f64, y: f64| Stock {
        register_marks: discs(Some(vec![Point::new(10.0, 10.0), Point::new(x, y)])),
        ..letter()
    };
    assert_eq!(centres(&frame(&at(200.0, 13.5))), [(10.0, 10.0), (200.0, 13.5)]);
    assert!(lay_out(&at(6.5, 100.0)).is_ok(), "touching the printer's edge");
    for (x, y, words) in
        [(6.4, 100.0, "6.5 to"), (100.0, 14.0, "16.5 mm"), (100.0, 100.0, "window"), (f64::MAX, 9.0, "6.5 to")]
    {
        let said = reason(&at(x, y));
        assert!(said.starts_with("/register_marks/at/1: ") && said.contains(words), "{said}");
    }
}

#[test]
fn roll_sections_share_corner_discs_and_keep_bands_free() {
    let stock = roll(2000.0, Some(600.0));
    let frame = frame(&stock);
    let rows: Vec<f64> = frame.marks.iter().map(|mark| mark.centre.y).collect();
    let count = |y: f64| rows.iter().filter(|row| (**row - y).abs() < 1e-9).count();
    assert_eq!([6.5, 606.5, 1206.5, 1806.5, 1993.5].map(count), [3, 3, 3, 3, 2]);
    assert!(rows.is_sorted(), "in order of the feed");
    assert_eq!(frame.marks.len(), 14);
    let bands: Vec<Rect> = frame
        .keep_outs
        .iter()
        .filter_map(|keep_out| if let KeepOut::Box(band) = keep_out { Some(*band) } else { None })
        .collect();
    assert_eq!(bands.len(), 3);
    assert_eq!(bands[0], Rect::new(frame.window.x0, 601.0, frame.window.x1, 612.0));
    assert_furniture_is_clear(&stock, &frame);
    let unmarked = super::lay_out(&Stock { register_marks: None, ..stock }).expect("in order");
    assert!(unmarked.keep_outs.is_empty() && unmarked.marks.is_empty());
}

#[test]
fn length_of_roll_ends_with_its_contents() {
    let stock = roll(2000.0, Some(600.0));
    let whole = frame(&stock);
    for (used, rows, bands) in [(300.0, 2, 0), (585.0, 2, 0), (700.0, 3, 1), (1500.0, 4, 2), (1e9, 5, 3)] {
        let cut = whole.cut_to(&stock, Mm::of(used));
        let used = used.min(whole.window.height());
        assert!((cut.window.height() - used).abs() < 1e-9 && (cut.window.y0 - whole.window.y0).abs() < 1e-12);
        assert!((cut.height.mm() - (used + 32.0)).abs() < 1e-9, "{}", cut.height.mm());
        assert_eq!((cut.marks.len(), cut.keep_outs.len()), (3 * rows - 1, bands), "used {used}");
        let last = cut.marks.last().expect("marks").centre.y;
        assert!(last <= cut.height.mm() - 6.5 + 1e-9 && last >= cut.window.y1 + 2.5);
        assert_furniture_is_clear(&stock, &cut);
    }
}

#[test]
fn no_row_is_farther_than_a_section_from_the_one_before() {
    for max_length in [1206.0, 1216.0, 1222.0, 1230.0, 1260.0] {
        let stock = roll(max_length, Some(600.0));
        let whole = frame(&stock);
        assert!(whole.height.mm() <= max_length + 1e-9);
        let mut rows: Vec<f64> = whole.marks.iter().map(|mark| mark.centre.y).collect();
        rows.dedup_by(|a, b| (*a - *b).abs() < 1e-9);
        assert!(rows.windows(2).all(|pair| pair[1] - pair[0] <= 600.0 + 1e-9), "{max_length}: {rows:?}");
        assert_furniture_is_clear(&stock, &whole);
    }
}

#[test]
fn bottom_first_roll_counts_from_the_bottom_and_moves_when_cut() {
    let stock = Stock { feed_edge: FeedEdge::Bottom, ..roll(2000.0, Some(600.0)) };
    let whole = frame(&stock);
    assert!((whole.marks[0].centre.y - 1993.5).abs() < 1e-9);
    let cut = whole.cut_to(&stock, Mm::of(700.0));
    let shift = whole.shift_to(&cut, FeedEdge::Bottom);
    assert!((whole.window.y1 + shift.y - cut.window.y1).abs() < 1e-9);
    let moved = whole.marks[0].centre + shift;
    assert!(moved.distance(cut.marks[0].centre) < 1e-9, "the feed row stays with the stickers");
}

#[test]
fn given_centres_repeat_in_each_section_and_shared_ones_are_listed_once() {
    let at: Vec<Point> =
        [(6.5, 6.5), (603.5, 6.5), (6.5, 606.5), (603.5, 606.5), (8.0, 300.0)].map(Point::from).to_vec();
    let stock = Stock { register_marks: discs(Some(at)), ..roll(2000.0, Some(600.0)) };
    let cut = frame(&stock).cut_to(&stock, Mm::of(700.0));
    let ys: Vec<f64> = centres(&cut).iter().map(|centre| centre.1).collect();
    assert_eq!(ys, [6.5, 6.5, 300.0, 606.5, 606.5, 725.5, 725.5], "the fifth has no place in a section of 119 mm");
}

#[test]
fn section_no_longer_than_its_band_is_refused() {
    let said = reason(&roll(2000.0, Some(11.0)));
    assert!(said.starts_with("/form/roll/section_length_mm") && said.contains("11 mm"), "{said}");
    assert!(reason(&roll(6000.0, None)).starts_with("/form/roll/max_length_mm"));
}
