//! Random outlines, quantities, gutters, windows, free zones, sheets and rolls: never an overlap, never outside, never a lost
//! or an invented copy, and the same layout whatever things are called and however many threads there are.

use quoin_prepress::cancel::Cancel;
use quoin_prepress::fault::Fault;
use quoin_prepress::frame::{Frame, KeepOut};
use quoin_prepress::gang::{Claim, Lot, nest};
use quoin_prepress::geom::{Point, Rect};
use quoin_prepress::order::{FeedEdge, Rotate};
use quoin_prepress::units::Mm;

use super::outlines::{disc, outline, rectangle};
use super::{frame, judged, lot, nesting, poses};
use crate::chance::Chance;
use crate::threads::on_threads;

/// Cases: what a minute of one processor's time allows, with room.
const CASES: u64 = 48;

/// What is laid out in a case.
struct Case {
    frame: Frame,
    roll: bool,
    feed_edge: FeedEdge,
    gutter: f64,
    lots: Vec<Lot>,
}

impl Case {
    fn new(seed: u64) -> Case {
        let chance = &mut Chance::new(seed);
        let (width, height) = (chance.between(60.0, 220.0), chance.between(60.0, 260.0));
        let window = Rect::new(7.25, 9.5, 7.25 + width, 9.5 + height);
        let roll = chance.below(4) == 0;
        let feed_edge = chance.of(&[FeedEdge::Top, FeedEdge::Right, FeedEdge::Bottom, FeedEdge::Left]);
        let mut keep_outs = Vec::new();
        for _ in 0..chance.below(4) {
            let (x, y) = (chance.between(window.x0, window.x1), chance.between(window.y0, window.y1));
            keep_outs.push(if chance.below(2) == 0 {
                KeepOut::Disc { centre: Point::new(x, y), radius: Mm::of(chance.between(0.5, 9.0)) }
            } else {
                KeepOut::Box(Rect::new(x, y, x + chance.between(0.5, 25.0), y + chance.between(0.5, 12.0)))
            });
        }
        if roll && chance.below(2) == 0 {
            let (middle, half) = (window.center(), 3.0);
            keep_outs.push(KeepOut::Box(match feed_edge {
                FeedEdge::Top | FeedEdge::Bottom => Rect::new(window.x0, middle.y - half, window.x1, middle.y + half),
                FeedEdge::Left | FeedEdge::Right => Rect::new(middle.x - half, window.y0, middle.x + half, window.y1),
            }));
        }
        let gutter = chance.of(&[0.0, 0.0, 0.4, 2.0, 2.0, 2.0, 5.3, 400.0]);
        let most = if gutter > 100.0 { 3 } else { 14 };
        let lots = (0..1 + chance.below(6)).map(|index| random_lot(chance, index, window, most)).collect();
        Case { frame: frame(window, keep_outs), roll, feed_edge, gutter, lots }
    }

    fn nesting(&self, lots: Vec<Lot>) -> quoin_prepress::gang::Nesting<'_> {
        let mut nesting = nesting(&self.frame, self.gutter, lots);
        (nesting.roll, nesting.feed_edge) = (self.roll, self.feed_edge);
        nesting
    }
}

fn random_lot(chance: &mut Chance, index: u32, window: Rect, most_copies: u32) -> Lot {
    let size = chance.of(&[6.0f64, 15.0, 24.0, 40.0, 55.0, 400.0]).min(window.width() * 2.5) * chance.between(0.8, 1.2);
    let corners = match chance.below(12) {
        0 => rectangle(window.width(), window.height()),
        _ => outline(chance, size),
    };
    let rotate = chance.of(&[Rotate::Free, Rotate::Free, Rotate::QuarterTurns, Rotate::None]);
    let mut made = lot(corners, rotate, 0);
    made.reach = Mm::of(chance.of(&[0.0, 0.0, 0.7, 1.5]));
    made.claims = (0..1 + chance.below(3))
        .map(|claim| Claim {
            order: chance.below(5) as usize,
            item: claim as usize,
            copies: chance.below(most_copies),
            due: chance.of(&[None, None, Some("2030-01-01"), Some("2030-01-02")]).map(str::to_owned),
        })
        .collect();
    made.filler = index > 0 && chance.below(6) == 0;
    made
}

#[test]
fn every_promise_holds_for_random_lots_windows_and_gutters() {
    let (mut placed, mut aside) = (0, 0);
    for seed in 0..CASES {
        let case = Case::new(seed);
        println!("seed {seed}: {} lots, gutter {}, roll {}", case.lots.len(), case.gutter, case.roll);
        let layout = judged(&case.nesting(case.lots.clone()));
        placed += layout.sheets.iter().map(Vec::len).sum::<usize>();
        aside += layout.unplaced.iter().map(|entry| entry.copies.len()).sum::<usize>();
    }
    assert!(placed > 1_000 && aside > 20, "{placed} placed, {aside} set aside: the cases say too little");
}

#[test]
fn names_the_order_of_lots_and_threads_change_nothing() {
    for seed in (0..CASES).step_by(9) {
        let case = Case::new(seed);
        let layout = on_threads(1, || judged(&case.nesting(case.lots.clone())));
        let again = on_threads(2, || judged(&case.nesting(case.lots.clone())));
        assert_eq!(layout.sheets, again.sheets, "seed {seed}: two threads");
        let mut renamed = Chance::new(seed ^ 77).shuffled(&case.lots);
        for claim in renamed.iter_mut().flat_map(|lot| &mut lot.claims) {
            claim.order = 1_000 - claim.order * 7;
            claim.item += 50;
        }
        let other = judged(&case.nesting(renamed));
        assert_eq!(poses(&layout), poses(&other), "seed {seed}: shuffled and renamed");
    }
}

#[test]
fn what_is_set_aside_is_too_large_at_every_angle() {
    let chance = &mut Chance::new(404);
    let mut aside = 0;
    for _ in 0..40 {
        let window = Rect::new(5.0, 5.0, 5.0 + chance.between(40.0, 90.0), 5.0 + chance.between(40.0, 90.0));
        let size = chance.between(40.0, 110.0);
        let corners = outline(chance, size);
        let frame = frame(window, Vec::new());
        let layout = judged(&nesting(&frame, 2.0, vec![lot(corners.clone(), Rotate::Free, 1)]));
        for entry in &layout.unplaced {
            aside += 1;
            let fault = entry.fault.expect("a reason");
            assert!(fault.shrink < 1.0 && fault.measured > fault.limit);
            for degree in 0..180 {
                let (sin, cos) = f64::from(degree).to_radians().sin_cos();
                let span = |across: &dyn Fn(&Point) -> f64| {
                    let ends = corners.iter().map(across).fold((f64::MAX, f64::MIN), |e, v| (e.0.min(v), e.1.max(v)));
                    ends.1 - ends.0
                };
                let (width, height) = (span(&|p| p.x * cos - p.y * sin), span(&|p| p.x * sin + p.y * cos));
                assert!(width > window.width() || height > window.height(), "fits when turned by {degree} degrees");
            }
        }
    }
    assert!(aside > 5, "{aside} set aside: the cases say too little");
}

#[test]
fn a_piece_as_large_as_the_window_stands_in_it_at_any_gutter_and_bleed() {
    for (gutter, reach) in [(0.0, 0.0), (2.0, 0.0), (2.0, 1.5), (500.0, 1.5)] {
        let window = Rect::new(7.25, 9.5, 107.25, 149.5);
        let frame = frame(window, Vec::new());
        let mut exact = lot(rectangle(100.0 - 2.0 * reach, 140.0 - 2.0 * reach), Rotate::Free, 2);
        exact.reach = Mm::of(reach);
        let small = lot(rectangle(10.0, 10.0), Rotate::Free, 3);
        let layout = judged(&nesting(&frame, gutter, vec![exact, small]));
        assert!(layout.unplaced.is_empty(), "gutter {gutter}, bleed {reach}");
    }
}

#[test]
fn numbers_that_are_none_are_a_fault_wherever_they_stand() {
    let window = Rect::new(0.0, 0.0, 100.0, 100.0);
    let sound = || vec![lot(rectangle(10.0, 10.0), Rotate::Free, 2)];
    let plain = frame(window, Vec::new());
    let fails = |nesting: &quoin_prepress::gang::Nesting<'_>| {
        let result = nest(nesting, &|_| (), &Cancel::new());
        assert!(matches!(result, Err(Fault::NotFinite)), "{result:?}");
    };
    for wrong in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        let mut lots = sound();
        lots.push(lot(vec![Point::new(0.0, 0.0), Point::new(wrong, 0.0), Point::new(1.0, 1.0)], Rotate::Free, 1));
        fails(&nesting(&plain, 2.0, lots));
        let mut lots = sound();
        lots[0].reach = Mm::of(wrong);
        fails(&nesting(&plain, 2.0, lots));
        fails(&nesting(&plain, wrong, sound()));
        fails(&nesting(&frame(Rect::new(0.0, 0.0, wrong, 50.0), Vec::new()), 2.0, sound()));
        let zone = KeepOut::Disc { centre: Point::new(wrong, 1.0), radius: Mm::of(1.0) };
        fails(&nesting(&frame(window, vec![zone]), 2.0, sound()));
    }
}

#[test]
fn a_hundred_thousand_copies_are_all_placed() {
    let frame = frame(Rect::new(10.0, 10.0, 320.0, 470.0), Vec::new());
    let boxes = || lot(rectangle(23.0, 17.0), Rotate::Free, 60_000);
    let discs = || lot(disc(21.0, 40), Rotate::Free, 40_000);
    for lots in [vec![boxes(), discs()], vec![lot(rectangle(23.0, 17.0), Rotate::QuarterTurns, 100_000)]] {
        let nesting = nesting(&frame, 2.0, lots);
        let layout = nest(&nesting, &|_| (), &Cancel::new()).expect("sound outlines have a layout");
        assert_eq!(layout.sheets.iter().map(Vec::len).sum::<usize>(), 100_000);
        assert!(layout.unplaced.is_empty());
    }
}

#[test]
fn huge_and_far_off_outlines_end_in_a_layout_or_a_fault_with_a_code() {
    let frame = frame(Rect::new(0.0, 0.0, 100.0, 100.0), Vec::new());
    let moved = |by: f64| rectangle(10.0, 10.0).into_iter().map(|corner| Point::new(corner.x + by, corner.y)).collect();
    let sizes = [1e3, 1e6, 1e9, 1e15, 1e30, 1e300, f64::MAX];
    for size in sizes {
        for outline in [rectangle(size, size), rectangle(size, 10.0), moved(size)] {
            let nesting =
                nesting(&frame, 2.0, vec![lot(outline, Rotate::Free, 3), lot(rectangle(9.0, 9.0), Rotate::None, 2)]);
            match nest(&nesting, &|_| (), &Cancel::new()) {
                Ok(layout) => {
                    let placed = layout.sheets.iter().map(Vec::len).sum::<usize>();
                    let aside = layout.unplaced.iter().map(|entry| entry.copies.len()).sum::<usize>();
                    assert_eq!(placed + aside, 5, "{size}");
                }
                Err(fault) => {
                    assert!(["order.not_finite", "gang.layout_broken"].contains(&fault.code()), "{size}: {fault}")
                }
            }
        }
    }
}
