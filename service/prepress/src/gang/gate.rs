//! The last gate: every promise of a layout checked on true outlines in double precision, on the poses that will be printed.

use super::body::Body;
use super::{Lot, Nesting};
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::frame::KeepOut;
use crate::geom::{Pose, Rect, Ring, Vec2};

/// What a distance may fall short by, mm: what rounding a pose can do.
pub(super) const TOLERANCE_MM: f64 = 1e-6;

/// A copy that breaks a promise.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Broken {
    /// Its index on the sheet.
    pub(super) index: usize,
    /// Which promise and by how much.
    pub(super) reason: String,
}

struct Standing {
    body: Body,
    at: Vec2,
    bounds: Rect,
}

/// Copies of one sheet that break a promise; of two that are too near the later one.
///
/// # Errors
/// `run.cancelled`.
pub(super) fn check(nesting: &Nesting<'_>, sheet: &[(usize, Pose)], cancel: &Cancel) -> Result<Vec<Broken>, Fault> {
    let stand = |(lot, pose): &(usize, Pose)| {
        cancel.check()?;
        let body = Body::new(&nesting.lots[*lot].outermost, pose.rotation_deg);
        let at = pose.origin().to_vec2();
        let bounds = body.bounds + at;
        Ok(Standing { body, at, bounds })
    };
    let standing: Vec<Standing> = sheet.iter().map(stand).collect::<Result<_, Fault>>()?;
    let mut broken = Vec::new();
    for (index, piece) in standing.iter().enumerate() {
        cancel.check()?;
        if let Some(reason) = misplaced(nesting, &nesting.lots[sheet[index].0], piece) {
            broken.push(Broken { index, reason });
        }
    }
    for (index, gap) in too_near(&standing, nesting.gutter.mm(), cancel)? {
        let reason = format!("{gap} mm between two copies, the gutter is {} mm", nesting.gutter.mm());
        broken.push(Broken { index, reason });
    }
    broken.sort_by_key(|broken| broken.index);
    broken.dedup_by_key(|broken| broken.index);
    Ok(broken)
}

fn misplaced(nesting: &Nesting<'_>, lot: &Lot, piece: &Standing) -> Option<String> {
    let (window, reach) = (nesting.frame.window, lot.reach.mm());
    let b = piece.bounds.inflate(reach, reach);
    let out = (window.x0 - b.x0).max(window.y0 - b.y0).max(b.x1 - window.x1).max(b.y1 - window.y1);
    if out > TOLERANCE_MM || !b.is_finite() {
        return Some(format!("a copy stands {out} mm outside the window"));
    }
    for keep_out in &nesting.frame.keep_outs {
        let short = match keep_out {
            KeepOut::Disc { centre, radius } => radius.mm() + reach - piece.body.distance_to_point(*centre - piece.at),
            KeepOut::Box(rect) => {
                let body = Body::new(&[Ring::rectangle(*rect)], 0.0);
                // Touching is allowed where nothing reaches past the line.
                let inner = rect.inflate(-TOLERANCE_MM, -TOLERANCE_MM);
                let inner = Body::new(&[Ring::rectangle(inner)], 0.0);
                let meets = piece.body.clearance(&inner, -piece.at, TOLERANCE_MM) <= 0.0;
                if meets { reach + 1.0 } else { reach - piece.body.clearance(&body, -piece.at, reach + 1.0) }
            }
        };
        if short > TOLERANCE_MM {
            return Some(format!("a copy reaches {short} mm into a free zone"));
        }
    }
    None
}

/// Pairs nearer than the gutter, found by a sweep across: the later of each, and the distance.
fn too_near(standing: &[Standing], gutter: f64, cancel: &Cancel) -> Result<Vec<(usize, f64)>, Fault> {
    let mut order: Vec<usize> = (0..standing.len()).collect();
    order.sort_by(|a, b| standing[*a].bounds.y0.total_cmp(&standing[*b].bounds.y0).then(a.cmp(b)));
    let mut found = Vec::new();
    for (place, a) in order.iter().enumerate() {
        for b in &order[place + 1..] {
            let (first, second) = (&standing[*a], &standing[*b]);
            if second.bounds.y0 > first.bounds.y1 + gutter {
                break;
            }
            cancel.check()?;
            let gap = gap(first, second, gutter);
            if gap < gutter - TOLERANCE_MM {
                found.push(((*a).max(*b), gap));
            }
        }
    }
    Ok(found)
}

/// Distance of two pieces; with no gutter they may touch, and meet when one reaches into the other past the tolerance.
fn gap(a: &Standing, b: &Standing, gutter: f64) -> f64 {
    let offset = b.at - a.at;
    if gutter > TOLERANCE_MM {
        return a.body.clearance(&b.body, offset, gutter);
    }
    let meets = a.body.clearance(&b.body, offset, TOLERANCE_MM) <= 0.0 && a.body.depth(&b.body, offset) > TOLERANCE_MM;
    if meets { -1.0 } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::super::tests::{box_of, frame, lot, nesting};
    use super::*;
    use crate::geom::Point;
    use crate::order::Rotate;
    use crate::units::Mm;

    const NONE: [usize; 0] = [];

    /// What the gate says of squares of 10 mm and bleed 1 at places of a window from 5 to 105, a gutter of 2 mm.
    fn broken(places: &[(f64, f64, f64)], keep_outs: Vec<KeepOut>) -> Vec<usize> {
        let frame = frame(Rect::new(5.0, 5.0, 105.0, 105.0), keep_outs);
        let nesting = nesting(&frame, 2.0, vec![lot(box_of(10.0, 10.0), 1.0, Rotate::Free, 9)]);
        let sheet: Vec<(usize, Pose)> = places.iter().map(|(x, y, turn)| (0, Pose::new(*x, *y, *turn))).collect();
        let broken = check(&nesting, &sheet, &Cancel::new()).expect("nobody cancels");
        broken.into_iter().map(|broken| broken.index).collect()
    }

    #[test]
    fn a_sound_sheet_passes_and_a_hair_decides() {
        let sound = [(11.0, 11.0, 0.0), (23.0, 11.0, 90.0), (11.0, 23.0, 180.0), (60.0, 60.0, 45.0)];
        assert_eq!(broken(&sound, Vec::new()), NONE);
        assert_eq!(broken(&[(11.0, 11.0, 0.0), (22.999_999_5, 11.0, 0.0)], Vec::new()), NONE, "what rounding can do");
        assert_eq!(broken(&[(11.0, 11.0, 0.0), (22.999_997, 11.0, 0.0)], Vec::new()), [1]);
    }

    #[test]
    fn copies_outside_too_near_inside_one_another_or_nowhere_are_named() {
        assert_eq!(broken(&[(10.999_997, 11.0, 0.0)], Vec::new()), [0], "bleed counts");
        assert_eq!(broken(&[(60.0, 99.5, 0.0), (60.0, 60.0, 0.0)], Vec::new()), [0]);
        assert_eq!(broken(&[(f64::NAN, 60.0, 0.0)], Vec::new()), [0]);
        assert_eq!(broken(&[(60.0, 60.0, 0.0), (30.0, 30.0, 0.0), (60.0, 60.0, 0.0)], Vec::new()), [2], "the later");
        assert_eq!(broken(&[(60.0, 60.0, 0.0), (73.0, 60.0, 45.0)], Vec::new()), [1], "a turned one's corner");
        let three = [(60.0, 60.0, 0.0), (71.0, 60.0, 0.0), (82.0, 60.0, 0.0)];
        assert_eq!(broken(&three, Vec::new()), [1, 2], "each that is too near to one before it");
    }

    #[test]
    fn free_zones_are_kept_free_with_the_bleed() {
        let disc = || vec![KeepOut::Disc { centre: Point::new(60.0, 60.0), radius: Mm::of(4.0) }];
        assert_eq!(broken(&[(70.0, 60.0, 0.0)], disc()), NONE, "5 mm, 4 and a bleed of 1");
        assert_eq!(broken(&[(69.999_99, 60.0, 0.0), (60.0, 60.0, 0.0)], disc()), [0, 1]);
        let bar = || vec![KeepOut::Box(Rect::new(40.0, 40.0, 80.0, 42.0))];
        assert_eq!(broken(&[(60.0, 48.0, 0.0)], bar()), NONE);
        assert_eq!(broken(&[(60.0, 47.999_99, 0.0), (60.0, 41.0, 0.0)], bar()), [0, 1]);
    }

    #[test]
    fn without_gutter_sides_may_touch_and_not_overlap() {
        let frame = frame(Rect::new(5.0, 5.0, 105.0, 105.0), Vec::new());
        let nesting = nesting(&frame, 0.0, vec![lot(box_of(10.0, 10.0), 0.0, Rotate::Free, 9)]);
        let sheet = |x: f64| [(0, Pose::new(20.0, 20.0, 0.0)), (0, Pose::new(x, 20.0, 0.0))];
        let named = |x: f64| check(&nesting, &sheet(x), &Cancel::new()).expect("nobody cancels").len();
        assert_eq!((named(30.0), named(29.999), named(20.0)), (0, 1, 1));
    }
}
