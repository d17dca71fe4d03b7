//! Raising the flag ends ganging at once.

use std::sync::mpsc;
use std::time::{Duration, Instant};

use quoin_prepress::cancel::Cancel;
use quoin_prepress::fault::Fault;
use quoin_prepress::gang::{Lot, Nesting, PagePiece, PagePlan, arrange_page, nest};
use quoin_prepress::geom::{Affine, Point, Rect, Ring};
use quoin_prepress::order::Rotate;
use quoin_prepress::units::Mm;

use super::outlines::{disc, rectangle};
use super::{fixture, frame, lot, nesting};
use crate::threads::on_threads;

/// How soon work ends after the flag is raised, at most.
const SOON: Duration = Duration::from_millis(50);
/// A machine that does other work may be late; one time of several must be soon.
const TIMES: u32 = 6;

/// On threads of its own, which do no other test's work when the flag is raised.
fn apart<T: Send>(work: impl FnOnce() -> T + Send) -> T {
    on_threads(2, work)
}

/// Raises the flag after a time; how long the work went on then, or nothing when it was done before.
fn late_by<T: Send>(after: Duration, work: impl FnOnce(&Cancel) -> Result<T, Fault> + Send) -> Option<Duration> {
    let cancel = Cancel::new();
    std::thread::scope(|scope| {
        let flag = cancel.clone();
        let raiser = scope.spawn(move || {
            std::thread::sleep(after);
            flag.raise();
            Instant::now()
        });
        let ended = match apart(|| work(&cancel)) {
            Err(Fault::Cancelled) => Some(Instant::now()),
            _ => None,
        };
        let raised = raiser.join().expect("the raiser only sleeps");
        ended.map(|ended| ended.saturating_duration_since(raised))
    })
}

/// At many moments of the work; returns at how many it was still going on.
fn ends_soon<T: Send>(
    name: &str,
    every: Duration,
    moments: u32,
    work: impl Fn(&Cancel) -> Result<T, Fault> + Sync,
) -> u32 {
    let mut met = 0;
    for moment in 0..moments {
        let mut best: Option<Duration> = None;
        for _ in 0..TIMES {
            let Some(late) = late_by(every * moment, &work) else { break };
            best = Some(best.map_or(late, |best| best.min(late)));
            if late <= SOON {
                break;
            }
        }
        let Some(best) = best else { break };
        met += 1;
        assert!(best <= SOON, "{name}: went on for {best:?} when cancelled after {:?}", every * moment);
    }
    met
}

#[test]
fn patterns_boxes_discs_and_mixes_end_soon_after_they_are_cancelled() {
    let long = Rect::new(10.0, 10.0, 600.0, 5_000.0);
    let sheet = Rect::new(10.0, 10.0, 320.0, 470.0);
    let oval = disc(20.0, 1_500).into_iter().map(|corner| Point::new(corner.x, corner.y * 0.7)).collect();
    let cases: Vec<(&str, Rect, Vec<Lot>)> = vec![
        ("an outline of 1,500 corners on a long roll", long, vec![lot(oval, Rotate::Free, 3_000)]),
        ("small boxes on a long roll", long, vec![lot(rectangle(4.0, 3.1), Rotate::Free, 20_000)]),
        ("boxes in five blocks", sheet, vec![lot(rectangle(23.0, 17.0), Rotate::Free, 7_000)]),
        ("thin bars", sheet, vec![lot(rectangle(300.0, 1.0), Rotate::QuarterTurns, 2_000)]),
        ("small discs", long, vec![lot(disc(4.0, 60), Rotate::Free, 20_000)]),
        ("a mix", sheet, fixture("a-300-of-12.json").1),
    ];
    for (name, window, lots) in cases {
        let frame = frame(window, Vec::new());
        let nesting = nesting(&frame, 1.0, lots);
        let met = ends_soon(name, Duration::from_millis(60), 12, |cancel| nest(&nesting, &|_| (), cancel));
        println!("{name}: cancelled at {met} moments");
        assert!(met > 0, "{name}: done before it could be cancelled");
    }
}

/// Five thousand copies of five hundred designs, from the outlines of the sticker workload.
fn many() -> Vec<Lot> {
    let lots = fixture("a-300-of-12.json").1;
    let design = |index: usize| {
        let of = &lots[index % lots.len()];
        let scale = Affine::scale(0.5 + 0.7 * (index / lots.len()) as f64 / 42.0);
        let mut claims = of.claims.clone();
        claims.iter_mut().for_each(|claim| (claim.order, claim.copies) = (index / 3, 10));
        Lot { outermost: of.outermost.iter().map(|ring| ring.transformed(scale)).collect(), claims, ..of.clone() }
    };
    (0..500).map(design).collect()
}

/// Raises the flag a time after the progress came to a share; how long the work went on then.
fn late_after(share: f64, after: Duration, nesting: &Nesting<'_>) -> Option<Duration> {
    let (reached, reaches) = mpsc::channel();
    let cancel = Cancel::new();
    std::thread::scope(|scope| {
        let flag = cancel.clone();
        let raiser = scope.spawn(move || {
            // An error when the work is over before that.
            reaches.recv().ok()?;
            std::thread::sleep(after);
            flag.raise();
            Some(Instant::now())
        });
        let progress = move |done: f64| {
            if done >= share {
                // Nobody listens any more once the flag is raised.
                let _ = reached.send(());
            }
        };
        let ended = matches!(apart(|| nest(nesting, &progress, &cancel)), Err(Fault::Cancelled)).then(Instant::now);
        drop(progress);
        let raised = raiser.join().expect("the raiser only sleeps")?;
        Some(ended?.saturating_duration_since(raised))
    })
}

#[test]
fn five_thousand_copies_end_soon_after_they_are_cancelled_at_any_stage() {
    let frame = frame(Rect::new(10.0, 10.0, 320.0, 470.0), Vec::new());
    let nesting = nesting(&frame, 2.0, many());
    let moments =
        [("while designs are made ready", 0.0, 40), ("construction", 0.1, 0), ("the gate and orders", 0.949, 10)];
    for (name, share, after_ms) in moments {
        let after = Duration::from_millis(after_ms);
        // The raiser may sleep through the last stage on a busy machine: such a time says nothing.
        let mut late = (0..TIMES).filter_map(|_| late_after(share, after, &nesting));
        let first = late.next().expect(name);
        let best = if first <= SOON { Some(first) } else { late.find(|late| *late <= SOON) };
        println!("{name}: {first:?} at first");
        assert!(best.is_some(), "{name}: went on for {first:?} at first, and for no less than {SOON:?} later");
    }
}

#[test]
fn a_page_ends_soon_after_it_is_cancelled() {
    let lots = fixture("a-300-of-12.json").1;
    let scaled = |lot: &Lot, factor: f64| -> Vec<Ring> {
        lot.outermost.iter().map(|ring| ring.transformed(Affine::scale(factor))).collect()
    };
    let mut pieces = Vec::new();
    for lot in &lots {
        pieces.push(PagePiece { outermost: scaled(lot, 1.0), copies: 1, fills: false });
        pieces.push(PagePiece { outermost: scaled(lot, 0.5), copies: 0, fills: true });
    }
    let (width, height) = (Mm::of(210.0), Mm::of(297.0));
    let plan = PagePlan { width, height, corner_radius: Mm::of(5.0), gap: Mm::of(2.0), edge: Mm::of(3.0), pieces };
    let met = ends_soon("a page", Duration::from_millis(80), 12, |cancel| arrange_page(&plan, cancel));
    println!("cancelled at {met} moments");
    assert!(met > 0);
}
