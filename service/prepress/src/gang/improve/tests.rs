//! Many containers, and long ones.

use super::super::tests::{frame, mix, nesting, poses, run};
use super::frames::FRAME;
use crate::frame::KeepOut;
use crate::gang::{Layout, Nesting};
use crate::geom::{Point, Rect};
use crate::order::Effort;
use crate::units::Mm;

/// From the feed edge to the farthest outline on the last sheet, mm.
fn used(nesting: &Nesting<'_>, layout: &Layout) -> f64 {
    let end = |placed: &crate::gang::Placed| {
        let outline = &nesting.lots[placed.lot].outermost;
        crate::gang::part::turned_bounds(outline, placed.pose.rotation_deg).y1 + placed.pose.y_mm
    };
    layout.sheets.last().into_iter().flatten().map(end).fold(0.0, f64::max)
}

fn on_threads(count: usize, nesting: &Nesting<'_>) -> Layout {
    let pool = rayon::ThreadPoolBuilder::new().num_threads(count).build().expect("a pool");
    pool.install(|| run(nesting))
}

#[test]
fn many_sheets_become_fewer_and_keep_every_promise() {
    let zone = KeepOut::Disc { centre: Point::new(50.0, 60.0), radius: Mm::of(6.0) };
    let frame = frame(Rect::new(10.0, 10.0, 90.0, 110.0), vec![zone]);
    let mut nesting = nesting(&frame, 2.0, mix(5, 90));
    let draft = run(&nesting);
    assert!(draft.sheets.len() > super::TOGETHER, "{} sheets", draft.sheets.len());
    nesting.effort = Effort::Standard;
    let standard = on_threads(1, &nesting);
    let length = |layout: &Layout| (layout.sheets.len() as f64 - 1.0) * 110.0 + used(&nesting, layout);
    let (before, after) = (length(&draft), length(&standard));
    assert!(after < 0.99 * before, "{after} of {before} mm");
    assert_eq!(poses(&standard), poses(&on_threads(3, &nesting)));
}

#[test]
fn a_long_roll_becomes_shorter_and_keeps_every_promise() {
    // A zone at the beginning stays where it is while what stands beyond moves up.
    let zone = KeepOut::Disc { centre: Point::new(10.0, 10.0), radius: Mm::of(8.0) };
    let frame = frame(Rect::new(10.0, 10.0, 110.0, 4000.0), vec![zone]);
    let mut nesting = nesting(&frame, 2.0, mix(9, 60));
    nesting.roll = true;
    let draft = run(&nesting);
    nesting.effort = Effort::Standard;
    let standard = on_threads(1, &nesting);
    assert!(standard.sheets[0].len() > 2 * FRAME, "{} copies", standard.sheets[0].len());
    assert_eq!(standard.sheets.len(), 1);
    let (before, after) = (used(&nesting, &draft), used(&nesting, &standard));
    assert!(after < 0.985 * before, "{after} of {before} mm");
    assert_eq!(poses(&standard), poses(&on_threads(3, &nesting)));
}
