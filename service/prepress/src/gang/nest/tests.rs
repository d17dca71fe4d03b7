//! The last gate on layouts that are broken on purpose; improvement before it; panics and cancelling on the way.

use std::time::{Duration, Instant};

use super::super::tests::{box_of, frame, lot, mix, nesting};
use super::*;
use crate::frame::Frame;
use crate::geom::{Point, Rect};
use crate::order::{Effort, Rotate};
use crate::units::Mm;

/// A stage set for a nesting, as far as the gate's door.
struct Stage<'a> {
    nesting: Nesting<'a>,
    room: Room,
    parts: Vec<Part>,
    cancel: Cancel,
}

impl<'a> Stage<'a> {
    fn of(nesting: Nesting<'a>) -> Stage<'a> {
        let (room, cancel) = (Room::new(&nesting), Cancel::new());
        let part = |lot: &usize| room.part(&nesting.lots[*lot], &cancel).expect("nobody cancels");
        let parts = room.order.iter().map(part).collect();
        Stage { nesting, room, parts, cancel }
    }

    fn shop(&self) -> Shop<'_> {
        self.room.shop(&self.nesting, &self.parts, &self.cancel)
    }

    fn copies(&self) -> Vec<u32> {
        self.room.order.iter().map(|lot| copies_of(&self.nesting.lots[*lot]) as u32).collect()
    }

    /// A sound layout, before the gate.
    fn bins(&self) -> Bins {
        self.shop().best(&self.copies(), &|_| ()).expect("nobody cancels")
    }

    fn gated(&self, bins: Bins) -> Result<Vec<Vec<(usize, Pose)>>, Fault> {
        self.room.gated(&self.nesting, &self.shop(), bins)
    }

    fn finished(&self, bins: Bins) -> Result<Layout, Fault> {
        let none = vec![None; self.nesting.lots.len()];
        finish(&self.nesting, &self.room, self.gated(bins)?, &none, &self.cancel)
    }

    /// What the gate has against sheets.
    fn against(&self, sheets: &[Vec<(usize, Pose)>]) -> usize {
        let check = |sheet: &Vec<(usize, Pose)>| gate::check(&self.nesting, sheet, &self.cancel);
        sheets.iter().map(|sheet| check(sheet).expect("nobody cancels").len()).sum()
    }

    fn aim<'b>(rotate: &'b (dyn Fn(usize) -> Rotate + Sync), looks: u64) -> Aim<'b> {
        Aim { rotate, looks, all_count: false, progress: &|_| () }
    }

    fn improved(&self, bins: Bins) -> Bins {
        let rotate = |part: usize| self.nesting.lots[self.room.order[part]].rotate;
        self.shop().improved(bins, &Stage::aim(&rotate, 4_000)).expect("nobody cancels")
    }
}

fn sheet(keep_outs: Vec<KeepOut>) -> Frame {
    frame(Rect::new(10.0, 10.0, 110.0, 150.0), keep_outs)
}

fn count(bins: &Bins) -> usize {
    bins.iter().map(Vec::len).sum()
}

type Breaker = (&'static str, fn(&mut Bins));

/// Ways to break a layout without losing a copy.
fn breakers() -> Vec<Breaker> {
    vec![
        ("one inside another", |bins| bins[0][1].at = bins[0][0].at),
        ("one nearer than the gutter", |bins| bins[0][1].at = bins[0][0].at + Vec2::new(5.0, 3.0)),
        ("one outside", |bins| bins[0][0].at.x -= 30.0),
        ("one nowhere", |bins| bins[0][0].at.y = f64::NAN),
        ("all in a heap", |bins| bins.iter_mut().flatten().for_each(|spot| spot.at = Vec2::new(50.0, 60.0))),
    ]
}

#[test]
fn copies_that_break_a_promise_are_placed_anew() {
    let frame = sheet(Vec::new());
    let stage = Stage::of(nesting(&frame, 2.0, mix(8, 8)));
    let sound = stage.bins();
    for (name, spoil) in breakers() {
        let mut bins = sound.clone();
        spoil(&mut bins);
        assert!(stage.against(&stage.room.sheets(&bins)) > 0, "{name}: not broken");
        let sheets = stage.gated(bins.clone()).expect(name);
        assert_eq!(stage.against(&sheets), 0, "{name}");
        let layout = stage.finished(bins).expect(name);
        let placed = layout.sheets.iter().map(Vec::len).sum::<usize>();
        assert_eq!((placed, layout.unplaced.len()), (count(&sound), 0), "{name}");
    }
}

#[test]
fn a_layout_that_stays_broken_is_refused() {
    let sheet = sheet(Vec::new());
    let elsewhere = frame(Rect::new(200.0, 10.0, 300.0, 150.0), Vec::new());
    let stage = Stage::of(nesting(&sheet, 2.0, mix(8, 8)));
    let judged = nesting(&elsewhere, 2.0, mix(8, 8));
    // Whatever is placed anew is placed on one sheet and judged on another.
    let refused = stage.room.gated(&judged, &stage.shop(), stage.bins()).map(|_| ());
    let Err(fault) = refused else { unreachable!("{refused:?}") };
    assert_eq!(fault.code(), "gang.layout_broken");
    assert!(fault.to_string().contains("outside the window"), "{fault}");
}

#[test]
fn a_lost_or_invented_copy_is_refused() {
    let frame = sheet(Vec::new());
    let stage = Stage::of(nesting(&frame, 2.0, mix(8, 8)));
    let code = |bins: Bins| stage.finished(bins).map(|_| ()).map_err(|fault| fault.code());
    let sound = stage.bins();
    assert_eq!(code(sound.clone()), Ok(()));
    let mut lost = sound.clone();
    lost[0].pop();
    assert_eq!(code(lost), Err("gang.layout_broken"));
    let mut invented = sound.clone();
    invented.push(vec![sound[0][0]]);
    assert_eq!(code(invented), Err("gang.layout_broken"));
    let mut exchanged = sound.clone();
    let other = exchanged[0].iter().find(|spot| spot.part != sound[0][0].part).expect("a mix").part;
    exchanged[0].remove(0);
    exchanged.push(vec![Spot { part: other, ..sound[0][0] }]);
    assert!(code(exchanged).is_err(), "one of these for one of those");
}

#[test]
fn improvement_keeps_every_promise_and_makes_the_same_places_twice() {
    let disc = KeepOut::Disc { centre: Point::new(60.0, 60.0), radius: Mm::of(6.0) };
    let bar = KeepOut::Box(Rect::new(10.0, 120.0, 40.0, 126.0));
    for gutter in [0.0, 2.0] {
        let frame = sheet(vec![disc, bar]);
        let mut lots = mix(11, 9);
        lots.push(lot(box_of(22.0, 9.0), 0.0, Rotate::HalfTurns, 3));
        let stage = Stage::of(nesting(&frame, gutter, lots));
        let before = stage.bins();
        let after = stage.improved(before.clone());
        assert_eq!(stage.against(&stage.room.sheets(&after)), 0, "gutter {gutter}");
        assert!(stage.shop().rank(&after) <= stage.shop().rank(&before));
        assert_ne!(after, before, "it did something");
        let numbers = |bins: &Bins| {
            let mut parts: Vec<usize> = bins.iter().flatten().map(|spot| spot.part).collect();
            parts.sort_unstable();
            parts
        };
        assert_eq!(numbers(&after), numbers(&before));
        for spot in after.iter().flatten() {
            let turns = match stage.nesting.lots[stage.room.order[spot.part]].rotate {
                Rotate::Free => continue,
                Rotate::QuarterTurns => 90.0,
                Rotate::HalfTurns => 180.0,
                Rotate::None => 360.0,
            };
            assert!((spot.angle_deg % turns).abs() < 1e-9, "{} degrees", spot.angle_deg);
        }
        assert_eq!(after, stage.improved(before));
    }
}

#[test]
fn a_panic_on_the_way_leaves_the_next_best() {
    let frame = sheet(Vec::new());
    let mut nesting = nesting(&frame, 2.0, mix(8, 8));
    nesting.effort = Effort::Standard;
    let fragile = |share: f64| assert!(!(0.4..0.9).contains(&share), "a mistake in the search");
    let layout = nest(&nesting, &fragile, &Cancel::new()).expect("a layout");
    let draft = Stage::of(nesting.clone()).bins();
    let placed: usize = layout.sheets.iter().map(Vec::len).sum();
    assert_eq!((placed, layout.sheets.len()), (count(&draft), draft.len()), "what construction made");
}

#[test]
fn a_raised_flag_is_heard_between_any_two_copies() {
    let frame = frame(Rect::new(0.0, 0.0, 1000.0, 100_000.0), Vec::new());
    let nesting = nesting(&frame, 2.0, vec![lot(box_of(10.0, 10.0), 0.0, Rotate::None, 40_000)]);
    let place =
        |index: u32| (0, Pose::new(f64::from(index % 80) * 12.0 + 5.0, f64::from(index / 80) * 12.0 + 5.0, 0.0));
    let rows: Vec<(usize, Pose)> = (0..40_000).map(place).collect();
    let cancel = Cancel::new();
    assert_eq!(gate::check(&nesting, &rows, &cancel).expect("nobody cancels"), []);
    cancel.raise();
    let began = Instant::now();
    assert!(matches!(gate::check(&nesting, &rows, &cancel), Err(Fault::Cancelled)));
    let room = Room::new(&nesting);
    let finished = finish(&nesting, &room, vec![rows], &[None], &cancel);
    assert!(matches!(finished, Err(Fault::Cancelled)));
    let part = Part::new(&nesting.lots[0].outermost, 0.0, Rotate::None, room.scale, &cancel);
    assert!(matches!(part, Err(Fault::Cancelled)));
    assert!(began.elapsed() < Duration::from_millis(200), "{:?}", began.elapsed());
}
