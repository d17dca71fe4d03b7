//! Heaps taken apart.

use std::time::{Duration, Instant};

use super::super::feed::{Feed, sections};
use super::super::gate;
use super::super::part::{Part, Scale, on_tick};
use super::super::tests::{frame, lot, nesting, star};
use super::*;
use crate::frame::{Frame, KeepOut};
use crate::gang::Lot;
use crate::geom::{Point, Pose, Rect};
use crate::order::{FeedEdge, Rotate};
use crate::units::Mm;

const SIDE_MM: f64 = 150.0;
const GUTTER_MM: f64 = 2.0;
const SPARE_MM: f64 = 1e-5;

/// So many stars, each of a way to turn, on a sheet.
fn lots(count: u64) -> Vec<Lot> {
    let mut rng = Rng::new(5, 77);
    let ways = [Rotate::Free, Rotate::QuarterTurns, Rotate::HalfTurns, Rotate::None];
    let one = |index: u64, rng: &mut Rng| {
        let size = 16.0 + 14.0 * rng.unit();
        lot(star(rng, size), 0.0, ways[index as usize % 4], 1)
    };
    (0..count).map(|index| one(index, &mut rng)).collect()
}

/// What a heap in the middle of a sheet became: where each piece stands, and whether it was taken apart.
struct Outcome {
    apart: bool,
    poses: Vec<(usize, Pose)>,
    zones: Vec<(Place, Place)>,
    looks: u64,
}

fn take_apart(frame: &Frame, lots: &[Lot], seed: u64, work: Work<'_>) -> Result<Outcome, Fault> {
    let scale = Scale { cell: 1.0, gutter: GUTTER_MM, steps: 8, feed_turn_deg: 0.0, pad: 0.0, halo_rows: usize::MAX };
    let gutter = GUTTER_MM + SPARE_MM;
    let shape = |lot: &Lot| {
        let part = Part::new(&lot.outermost, 0.0, lot.rotate, scale, &Cancel::new()).expect("nobody cancels");
        Shape::new(&part, lot.rotate, gutter)
    };
    let mut shapes: Vec<Shape> = lots.iter().map(shape).collect();
    let middle = Vec2::new(SIDE_MM / 2.0, SIDE_MM / 2.0);
    let place = |at: Vec2| Place { window: 0, at, angle_deg: 0.0 };
    let mut pieces: Vec<(usize, Place, bool)> = (0..shapes.len()).map(|index| (index, place(middle), false)).collect();
    let section = sections(frame, Feed::new(frame.window, FeedEdge::Top), GUTTER_MM).remove(0);
    for obstacle in &section.obstacles {
        pieces.push((shapes.len(), place(Vec2::ZERO), true));
        shapes.push(Shape::obstacle(&obstacle.outline, obstacle.radius, 0.0, gutter, SPARE_MM));
    }
    let mut field = Field::new(&shapes, &[(section.width, section.length)], &pieces);
    let before = field.places();
    let mut search = Search::new(Rng::new(seed, 1), work);
    let apart = search.separate(&mut field, u32::MAX)?;
    let after = field.places();
    let pose = |(lot, place): (usize, &Place)| {
        (lot, Pose::new(on_tick(place.at.x), on_tick(place.at.y), on_tick(place.angle_deg)))
    };
    let zones = before.iter().zip(&after).skip(lots.len()).map(|(before, after)| (*before, *after)).collect();
    Ok(Outcome {
        apart,
        poses: after.iter().take(lots.len()).enumerate().map(pose).collect(),
        zones,
        looks: field.looks,
    })
}

fn sheet(keep_outs: Vec<KeepOut>) -> Frame {
    frame(Rect::new(0.0, 0.0, SIDE_MM, SIDE_MM), keep_outs)
}

fn work(looks: u64, cancel: &Cancel) -> Work<'_> {
    Work { looks, cancel, is_over: &|_| false }
}

const PLENTY: u64 = 4_000_000;

#[test]
fn what_is_taken_apart_keeps_gutter_window_zones_and_turns() {
    let zones = vec![
        KeepOut::Disc { centre: Point::new(80.0, 70.0), radius: Mm::of(8.0) },
        KeepOut::Box(Rect::new(0.0, 100.0, 40.0, 104.0)),
    ];
    for (keep_outs, seed) in [(Vec::new(), 1), (zones, 2)] {
        let (frame, lots) = (sheet(keep_outs), lots(16));
        let outcome = take_apart(&frame, &lots, seed, work(PLENTY, &Cancel::new())).expect("nobody cancels");
        assert!(outcome.apart, "there is room enough");
        assert_eq!(outcome.zones.len(), frame.keep_outs.len());
        assert!(outcome.zones.iter().all(|(before, after)| before == after), "free zones stay");
        for (lot, pose) in &outcome.poses {
            let turns = match lots[*lot].rotate {
                Rotate::Free => continue,
                Rotate::QuarterTurns => 90.0,
                Rotate::HalfTurns => 180.0,
                Rotate::None => 360.0,
            };
            assert!((pose.rotation_deg % turns).abs() < 1e-9, "{} degrees", pose.rotation_deg);
        }
        let nesting = nesting(&frame, GUTTER_MM, lots);
        assert_eq!(gate::check(&nesting, &outcome.poses, &Cancel::new()).expect("nobody cancels"), []);
    }
}

#[test]
fn a_seed_makes_the_same_places_each_time_and_another_makes_others() {
    let (frame, lots) = (sheet(Vec::new()), lots(10));
    let with = |seed| take_apart(&frame, &lots, seed, work(PLENTY, &Cancel::new())).expect("nobody cancels").poses;
    assert_eq!(with(1), with(1));
    assert_ne!(with(1), with(2));
}

#[test]
fn a_heap_that_has_no_room_is_given_up_when_its_looks_are_spent() {
    let (frame, lots) = (sheet(Vec::new()), lots(120));
    let outcome = take_apart(&frame, &lots, 1, work(300_000, &Cancel::new())).expect("nobody cancels");
    assert!(!outcome.apart);
    assert!((300_000..900_000).contains(&outcome.looks), "{} looks", outcome.looks);
}

#[test]
fn a_heap_without_end_ends_soon_after_it_is_cancelled() {
    let (frame, lots) = (sheet(Vec::new()), lots(60));
    // A machine that does other work may be late; one time of several must be soon.
    let late = |_: u32| {
        let cancel = Cancel::new();
        let (begun, begins) = std::sync::mpsc::channel();
        std::thread::scope(|scope| {
            let flag = cancel.clone();
            let raiser = scope.spawn(move || {
                begins.recv().expect("the search begins");
                std::thread::sleep(Duration::from_millis(60));
                flag.raise();
                Instant::now()
            });
            let is_over = |_| {
                // Nobody listens any more once the flag is raised.
                let _ = begun.send(());
                false
            };
            let outcome = take_apart(&frame, &lots, 1, Work { looks: u64::MAX, cancel: &cancel, is_over: &is_over });
            let ended = Instant::now();
            assert!(matches!(outcome, Err(Fault::Cancelled)));
            ended.saturating_duration_since(raiser.join().expect("it only sleeps"))
        })
    };
    let late = (0..6).map(late).find(|late| *late <= Duration::from_millis(50));
    assert!(late.is_some(), "it went on for more than 50 ms each time");
}
