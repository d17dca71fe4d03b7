//! Promises of a nesting, on random stars and blobs.

use super::body::Body;
use super::rng::Rng;
use super::*;
use crate::frame::KeepOut;
use crate::geom::{Point, Rect};

pub(super) fn star(rng: &mut Rng, size: f64) -> Vec<Ring> {
    let corners = 8 + (rng.unit() * 40.0) as u32;
    let deep = 0.3 + 0.6 * rng.unit();
    let point = |index: u32, rng: &mut Rng| {
        let angle = f64::from(index) / f64::from(corners) * std::f64::consts::TAU;
        let radius = size / 2.0 * (deep + (1.0 - deep) * rng.unit());
        Point::new(radius * angle.cos(), radius * 0.8 * angle.sin())
    };
    vec![Ring::new((0..corners).map(|index| point(index, rng)).collect())]
}

pub(super) fn box_of(width: f64, height: f64) -> Vec<Ring> {
    vec![Ring::rectangle(Rect::new(-width / 2.0, -height / 2.0, width / 2.0, height / 2.0))]
}

pub(super) fn lot(outermost: Vec<Ring>, reach: f64, rotate: Rotate, copies: u32) -> Lot {
    let claims = vec![Claim { order: 0, item: 0, copies, due: None }];
    Lot { outermost, reach: Mm::of(reach), rotate, claims, filler: false }
}

pub(super) fn frame(window: Rect, keep_outs: Vec<KeepOut>) -> Frame {
    Frame {
        width: Mm::of(window.x1 + window.x0),
        height: Mm::of(window.y1 + window.y0),
        window,
        keep_outs,
        marks: Vec::new(),
        scale_bars: Vec::new(),
        label: None,
    }
}

pub(super) fn nesting<'a>(frame: &'a Frame, gutter: f64, lots: Vec<Lot>) -> Nesting<'a> {
    Nesting {
        frame,
        roll: false,
        feed_edge: FeedEdge::Top,
        gutter: Mm::of(gutter),
        lots,
        effort: Effort::Draft,
        out_of_time: &|| false,
        seed: 1,
        keep_orders_together: true,
    }
}

pub(super) fn run(nesting: &Nesting<'_>) -> Layout {
    let layout = nest(nesting, &|_| (), &Cancel::new()).expect("a layout");
    check(nesting, &layout);
    layout
}

pub(super) fn mix(seed: u64, lots: u64) -> Vec<Lot> {
    let mut rng = Rng::new(seed, 77);
    let one = |index: u64, rng: &mut Rng| {
        let rotate = [Rotate::Free, Rotate::QuarterTurns, Rotate::None][index as usize % 3];
        let size = 12.0 + 30.0 * rng.unit();
        lot(star(rng, size), [0.0, 1.0][index as usize % 2], rotate, 1 + index as u32 % 5)
    };
    (0..lots).map(|index| one(index, &mut rng)).collect()
}

/// Every promise by brute force: all pairs, all corners, all copies.
fn check(nesting: &Nesting<'_>, layout: &Layout) {
    let window = nesting.frame.window;
    for sheet in &layout.sheets {
        let bodies: Vec<(Body, Vec<Ring>, f64)> = sheet
            .iter()
            .map(|placed| {
                let lot = &nesting.lots[placed.lot];
                let rings: Vec<Ring> =
                    lot.outermost.iter().map(|ring| ring.transformed(placed.pose.to_affine())).collect();
                (Body::new(&rings, 0.0), rings, lot.reach.mm())
            })
            .collect();
        for (index, (body, rings, reach)) in bodies.iter().enumerate() {
            for point in rings.iter().flat_map(Ring::points) {
                let inset = window.inflate(1e-6 - reach, 1e-6 - reach);
                assert!(inset.x0 <= point.x && point.x <= inset.x1 && inset.y0 <= point.y && point.y <= inset.y1);
                for keep_out in &nesting.frame.keep_outs {
                    match keep_out {
                        KeepOut::Disc { centre, radius } => {
                            assert!(centre.distance(*point) >= radius.mm() + reach - 1e-6);
                        }
                        KeepOut::Box(rect) => {
                            let dx = (rect.x0 - point.x).max(point.x - rect.x1).max(0.0);
                            let dy = (rect.y0 - point.y).max(point.y - rect.y1).max(0.0);
                            assert!(dx.hypot(dy) >= reach - 1e-6 && !rect.inflate(-1e-6, -1e-6).contains(*point));
                        }
                    }
                }
            }
            for (other, ..) in &bodies[..index] {
                let gap = body.clearance(other, crate::geom::Vec2::ZERO, nesting.gutter.mm() + 1.0);
                assert!(gap >= nesting.gutter.mm() - 1e-6, "{gap} mm between two copies");
            }
        }
    }
    for (lot_index, lot) in nesting.lots.iter().enumerate() {
        for (claim_index, claim) in lot.claims.iter().enumerate() {
            let placed = layout.sheets.iter().flatten().filter(|p| p.lot == lot_index && p.claim == claim_index);
            let mut copies: Vec<u32> = placed.map(|placed| placed.copy).collect();
            let unplaced = layout.unplaced.iter().filter(|u| u.lot == lot_index && u.claim == claim_index);
            copies.extend(unplaced.flat_map(|unplaced| unplaced.copies.clone()));
            copies.sort_unstable();
            assert_eq!(copies, (1..=claim.copies).collect::<Vec<_>>(), "every copy once");
        }
    }
}

pub(super) fn poses(layout: &Layout) -> Vec<Vec<Pose>> {
    layout.sheets.iter().map(|sheet| sheet.iter().map(|placed| placed.pose).collect()).collect()
}

#[test]
fn gutter_window_and_copies_hold_for_random_outlines() {
    let window = Rect::new(10.0, 12.5, 130.0, 160.25);
    for (seed, gutter) in [(1, 2.0), (2, 0.0), (3, 3.7)] {
        let disc = KeepOut::Disc { centre: Point::new(12.0, 15.0), radius: Mm::of(6.0) };
        let frame = frame(window, vec![disc]);
        let layout = run(&nesting(&frame, gutter, mix(seed, 9)));
        assert!(layout.unplaced.is_empty(), "seed {seed}");
    }
}

#[test]
fn every_feed_edge_is_packed_from() {
    let window = Rect::new(10.0, 20.0, 150.0, 180.0);
    for (edge, near) in [
        (FeedEdge::Top, Point::new(80.0, 20.0)),
        (FeedEdge::Right, Point::new(150.0, 100.0)),
        (FeedEdge::Bottom, Point::new(80.0, 180.0)),
        (FeedEdge::Left, Point::new(10.0, 100.0)),
    ] {
        let frame = frame(window, Vec::new());
        let mut nesting = nesting(&frame, 2.0, mix(5, 4));
        nesting.feed_edge = edge;
        let layout = run(&nesting);
        let first = &layout.sheets[0];
        let depth = |pose: Pose| if near.x > 11.0 && near.x < 149.0 { pose.y_mm - near.y } else { pose.x_mm - near.x };
        assert!(first.iter().all(|placed| depth(placed.pose).abs() < 90.0), "{edge:?}");
    }
}

#[test]
fn a_piece_as_large_as_the_window_fits_and_one_larger_does_not() {
    let frame = frame(Rect::new(10.0, 10.0, 110.0, 90.0), Vec::new());
    let fits = run(&nesting(&frame, 2.0, vec![lot(box_of(98.0, 78.0), 1.0, Rotate::None, 2)]));
    assert_eq!((fits.sheets.len(), fits.unplaced.len()), (2, 0));
    let turned = run(&nesting(&frame, 2.0, vec![lot(box_of(80.0, 100.0), 0.0, Rotate::QuarterTurns, 1)]));
    assert_eq!((turned.sheets.len(), turned.unplaced.len()), (1, 0));
    let large = run(&nesting(&frame, 2.0, vec![lot(box_of(196.0, 78.0), 1.0, Rotate::None, 2)]));
    let fault = large.unplaced[0].fault.expect("too large");
    assert_eq!(large.unplaced[0].copies, [1, 2]);
    assert!((fault.measured.mm() - 198.0).abs() < 1e-9 && (fault.limit.mm() - 100.0).abs() < 1e-9);
    assert!((fault.shrink - 0.5).abs() < 1e-9, "98 of 196 mm");
}

#[test]
fn a_bar_longer_than_both_sides_fits_across_the_diagonal() {
    let frame = frame(Rect::new(0.0, 0.0, 100.0, 100.0), Vec::new());
    let layout = run(&nesting(&frame, 2.0, vec![lot(box_of(130.0, 5.0), 0.0, Rotate::Free, 1)]));
    assert_eq!((layout.sheets.len(), layout.unplaced.len()), (1, 0));
}

#[test]
fn one_thread_and_many_give_the_same_layout() {
    let frame = frame(Rect::new(10.0, 10.0, 110.0, 150.0), Vec::new());
    let nesting = nesting(&frame, 2.0, mix(8, 8));
    let with = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("a pool");
        pool.install(|| run(&nesting)).sheets
    };
    assert_eq!(with(1), with(3));
}

#[test]
fn the_order_of_lots_does_not_change_the_geometry() {
    let frame = frame(Rect::new(10.0, 10.0, 110.0, 150.0), Vec::new());
    let lots = mix(9, 8);
    let mut shuffled = lots.clone();
    shuffled.rotate_left(3);
    shuffled.swap(0, 4);
    assert_eq!(poses(&run(&nesting(&frame, 2.0, lots))), poses(&run(&nesting(&frame, 2.0, shuffled))));
}

#[test]
fn fillers_add_no_sheet_and_no_length_of_roll() {
    let frame = frame(Rect::new(10.0, 10.0, 110.0, 150.0), Vec::new());
    let mut lots = mix(10, 8);
    let far = |layout: &Layout, lots: &[Lot]| {
        let bottom = |placed: &Placed| {
            let rings = &lots[placed.lot].outermost;
            rings.iter().map(|ring| ring.transformed(placed.pose.to_affine()).bounds().y1).fold(0.0, f64::max)
        };
        layout.sheets.last().expect("a sheet").iter().map(bottom).fold(0.0, f64::max)
    };
    let without = run(&nesting(&frame, 2.0, lots.clone()));
    let bare = run(&Nesting { roll: true, ..nesting(&frame, 2.0, lots.clone()) });
    let mut filler = lot(box_of(4.0, 4.0), 0.0, Rotate::Free, 500);
    filler.filler = true;
    lots.push(filler);
    let placed = |layout: &Layout| layout.sheets.iter().flatten().filter(|placed| placed.lot == 8).count();
    let on_sheets = run(&nesting(&frame, 2.0, lots.clone()));
    assert_eq!(on_sheets.sheets.len(), without.sheets.len());
    let mut roll = nesting(&frame, 2.0, lots.clone());
    roll.roll = true;
    let with = run(&roll);
    assert_eq!(with.sheets.len(), bare.sheets.len());
    assert!(far(&with, &lots) <= far(&bare, &lots) + 1e-6, "{} and {}", far(&with, &lots), far(&bare, &lots));
    assert!(placed(&with) > 5 && placed(&on_sheets) < 500, "{} and {} fillers", placed(&with), placed(&on_sheets));
    assert!(placed(&on_sheets) > placed(&with), "a sheet is printed to its end");
    assert!(with.unplaced.iter().all(|entry| entry.lot == 8 && entry.fault.is_none()));
    let alone = vec![Lot { filler: true, ..lot(box_of(6.0, 6.0), 0.0, Rotate::Free, 3) }];
    assert!(run(&nesting(&frame, 2.0, alone)).sheets.is_empty());
}

#[test]
fn nothing_crosses_the_bands_of_a_roll() {
    let window = Rect::new(10.0, 10.0, 110.0, 400.0);
    let band = |y: f64| KeepOut::Box(Rect::new(10.0, y, 110.0, y + 11.0));
    let frame = frame(window, vec![band(100.0), band(200.5), band(300.0)]);
    for edge in [FeedEdge::Top, FeedEdge::Bottom] {
        let mut nesting = nesting(&frame, 2.0, mix(11, 12));
        (nesting.roll, nesting.feed_edge) = (true, edge);
        let layout = run(&nesting);
        assert!(layout.unplaced.is_empty());
        let section =
            vec![lot(box_of(90.0, 89.5), 0.0, Rotate::None, 1), lot(box_of(90.0, 95.0), 0.0, Rotate::None, 1)];
        nesting.lots = section;
        let layout = run(&nesting);
        assert_eq!(layout.unplaced.len(), 1, "no section is 95 mm long");
    }
}

#[test]
fn an_order_stays_on_one_sheet_where_it_can() {
    let frame = frame(Rect::new(0.0, 0.0, 100.0, 100.0), Vec::new());
    let mut design = lot(box_of(48.0, 48.0), 0.0, Rotate::None, 0);
    design.claims = (0..4).map(|order| Claim { order, item: 0, copies: 2 + order as u32 % 2, due: None }).collect();
    let layout = run(&nesting(&frame, 2.0, vec![design]));
    assert_eq!(layout.sheets.iter().map(Vec::len).collect::<Vec<_>>(), [4, 4, 2]);
    let touched = |claim: usize| layout.sheets.iter().filter(|sheet| sheet.iter().any(|p| p.claim == claim)).count();
    assert!((touched(0), touched(2)) == (1, 1), "orders of two copies stay whole");
}

#[test]
fn hopeless_input_ends_in_a_fault_or_a_layout() {
    let frame = frame(Rect::new(0.0, 0.0, 100.0, 100.0), Vec::new());
    let nan = Ring::new(vec![Point::new(0.0, f64::NAN), Point::new(1.0, 0.0), Point::new(1.0, 1.0)]);
    let broken = nesting(&frame, 2.0, vec![lot(vec![nan], 0.0, Rotate::Free, 1)]);
    assert!(matches!(nest(&broken, &|_| (), &Cancel::new()), Err(Fault::NotFinite)));
    assert!(run(&nesting(&frame, 2.0, Vec::new())).sheets.is_empty());
    assert!(run(&nesting(&frame, 2.0, vec![lot(box_of(5.0, 5.0), 0.0, Rotate::Free, 0)])).sheets.is_empty());
    assert_eq!(run(&nesting(&frame, 2.0, vec![lot(Vec::new(), 0.0, Rotate::Free, 2)])).unplaced.len(), 1);
    let needle = lot(box_of(60.0, 1e-9), 0.0, Rotate::Free, 3);
    assert!(run(&nesting(&frame, 2.0, vec![needle])).unplaced.is_empty());
    let wide = run(&nesting(&frame, 5000.0, vec![lot(box_of(5.0, 5.0), 0.0, Rotate::Free, 3)]));
    assert_eq!(wide.sheets.len(), 3, "a gutter wider than the window leaves one copy a sheet");
    let circle = |index: u32| Point::new(f64::from(index).to_radians() / 20.0, 0.0);
    let dense = |index: u32| {
        let angle = circle(index).x;
        Point::new(20.0 * angle.cos(), 20.0 * angle.sin())
    };
    let dense = vec![Ring::new((0..7200).map(dense).collect())];
    assert!(run(&nesting(&frame, 2.0, vec![lot(dense, 0.5, Rotate::Free, 5)])).unplaced.is_empty());
    let cancelled = Cancel::new();
    cancelled.raise();
    let result = nest(&nesting(&frame, 2.0, mix(1, 3)), &|_| (), &cancelled);
    assert!(matches!(result, Err(Fault::Cancelled)));
}

#[test]
fn out_of_time_still_gives_a_complete_layout() {
    let frame = frame(Rect::new(10.0, 10.0, 110.0, 150.0), Vec::new());
    let mut nesting = nesting(&frame, 2.0, mix(12, 4));
    nesting.out_of_time = &|| true;
    let layout = run(&nesting);
    assert!(layout.stopped_early && layout.unplaced.is_empty());
}

#[test]
fn progress_goes_on_while_a_layout_is_improved() {
    let frame = frame(Rect::new(10.0, 10.0, 110.0, 150.0), Vec::new());
    let mut nesting = nesting(&frame, 2.0, mix(8, 8));
    nesting.effort = Effort::Standard;
    let told = std::sync::Mutex::new(Vec::new());
    let progress = |share: f64| told.lock().expect("nobody panics with it").push(share);
    nest(&nesting, &progress, &Cancel::new()).expect("a layout");
    let told = told.into_inner().expect("nobody panics with it");
    assert!(told.iter().all(|share| (0.0..=1.0).contains(share)));
    assert_eq!((told.first(), told.last()), (Some(&0.0), Some(&1.0)));
    let tenths: std::collections::BTreeSet<u32> = told.iter().map(|share| (share * 10.0) as u32).collect();
    assert!((3..=8).all(|tenth| tenths.contains(&tenth)), "{tenths:?}");
}

fn page(copies: u32) -> PagePlan {
    let mut rng = Rng::new(21, 0);
    let mut pieces = Vec::new();
    for size in [46.0, 38.0, 55.0] {
        let rings = star(&mut rng, size);
        let smaller = |factor: f64| rings.iter().map(|r| r.transformed(crate::geom::Affine::scale(factor))).collect();
        pieces.push(PagePiece { outermost: rings.clone(), copies, fills: false });
        pieces.push(PagePiece { outermost: smaller(0.7), copies: 0, fills: true });
        pieces.push(PagePiece { outermost: smaller(0.45), copies: 0, fills: true });
    }
    let (width, height) = (Mm::of(150.0), Mm::of(210.0));
    PagePlan { width, height, corner_radius: Mm::of(12.0), gap: Mm::of(2.0), edge: Mm::of(3.0), pieces }
}

#[test]
fn a_page_holds_its_pieces_keeps_its_gaps_and_is_filled() {
    let plan = page(2);
    let placed = arrange_page(&plan, &Cancel::new()).expect("a page");
    for (index, piece) in plan.pieces.iter().enumerate().filter(|(_, piece)| !piece.fills) {
        let count = placed.iter().filter(|entry| entry.0 == index).count();
        assert_eq!(count, piece.copies as usize);
    }
    assert!(placed.len() > 12, "{} pieces", placed.len());
    let bodies: Vec<Body> = placed
        .iter()
        .map(|(piece, pose)| {
            assert!(pose.rotation_deg <= 30.0 || pose.rotation_deg >= 330.0, "nearly upright");
            let rings = &plan.pieces[*piece].outermost;
            Body::new(&rings.iter().map(|ring| ring.transformed(pose.to_affine())).collect::<Vec<_>>(), 0.0)
        })
        .collect();
    for (index, body) in bodies.iter().enumerate() {
        for corner in body.corners() {
            // Distance to the edge of the page, whose corners have a radius of 12 mm.
            let (dx, dy) = ((corner.x.abs() - 63.0).max(0.0), (corner.y.abs() - 93.0).max(0.0));
            assert!(12.0 - dx.hypot(dy) >= 3.0 - 1e-6 || (dx <= 0.0 && dy <= 0.0));
        }
        for other in &bodies[..index] {
            assert!(body.clearance(other, crate::geom::Vec2::ZERO, 3.0) >= 2.0 - 1e-6);
        }
    }
}

#[test]
fn a_full_page_says_which_size_would_hold_its_pieces() {
    let result = arrange_page(&page(12), &Cancel::new());
    let Err(Fault::PageFull { would_fit: Some((width, height)) }) = result else { unreachable!("{result:?}") };
    assert!(width.mm() > 150.0 && (height.mm() / width.mm() - 1.4).abs() < 1e-9);
}
