//! The last gate: every promise of a layout checked on true outlines in double precision, on the poses that will be printed.

use super::body::Body;
use super::{Lot, Nesting};
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
pub(super) fn check(nesting: &Nesting<'_>, sheet: &[(usize, Pose)]) -> Vec<Broken> {
    let stand = |(lot, pose): &(usize, Pose)| {
        let body = Body::new(&nesting.lots[*lot].outermost, pose.rotation_deg);
        let at = pose.origin().to_vec2();
        let bounds = body.bounds + at;
        Standing { body, at, bounds }
    };
    let standing: Vec<Standing> = sheet.iter().map(stand).collect();
    let mut broken = Vec::new();
    for (index, piece) in standing.iter().enumerate() {
        if let Some(reason) = misplaced(nesting, &nesting.lots[sheet[index].0], piece) {
            broken.push(Broken { index, reason });
        }
    }
    for (index, gap) in too_near(&standing, nesting.gutter.mm()) {
        let reason = format!("{gap} mm between two copies, the gutter is {} mm", nesting.gutter.mm());
        broken.push(Broken { index, reason });
    }
    broken.sort_by_key(|broken| broken.index);
    broken.dedup_by_key(|broken| broken.index);
    broken
}

fn misplaced(nesting: &Nesting<'_>, lot: &Lot, piece: &Standing) -> Option<String> {
    let (window, reach) = (nesting.frame.window, lot.reach.mm());
    let b = piece.bounds.inflate(reach, reach);
    let out = (window.x0 - b.x0).max(window.y0 - b.y0).max(b.x1 - window.x1).max(b.y1 - window.y1);
    if out > TOLERANCE_MM || !out.is_finite() {
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
fn too_near(standing: &[Standing], gutter: f64) -> Vec<(usize, f64)> {
    let mut order: Vec<usize> = (0..standing.len()).collect();
    order.sort_by(|a, b| standing[*a].bounds.y0.total_cmp(&standing[*b].bounds.y0).then(a.cmp(b)));
    let mut found = Vec::new();
    for (place, a) in order.iter().enumerate() {
        for b in &order[place + 1..] {
            let (first, second) = (&standing[*a], &standing[*b]);
            if second.bounds.y0 > first.bounds.y1 + gutter {
                break;
            }
            let gap = gap(first, second, gutter);
            if gap < gutter - TOLERANCE_MM {
                found.push(((*a).max(*b), gap));
            }
        }
    }
    found
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
