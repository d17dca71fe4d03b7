//! Takes up the slack that cells leave: each piece slides exactly, towards the feed edge, then to the left.

use super::body::{Body, meet};
use super::feed::Section;
use super::fill::Spot;
use super::part::{Part, TICK_MM, at_tick, turned_bounds};
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::{Rect, Vec2};

/// Distances that are a hair under the gutter count as kept while sliding, so that pieces can slide along each other, mm. Far
/// under the layout's tolerance.
pub(super) const SLIDING_MM: f64 = 1e-7;
/// With less gutter than this pieces are not slid along each other: touching lines leave no room for rounding.
pub(super) const LEAST_GUTTER_MM: f64 = 1e-3;

struct Settled {
    /// Of few corners.
    body: Body,
    /// How far the true outline may stray from it.
    stray: f64,
    /// True bounding box about the origin.
    bounds: Rect,
    at: Vec2,
    reach: f64,
}

/// Slides every piece as far as it goes, `rounds` times over.
///
/// # Errors
/// `run.cancelled`.
pub(super) fn settle(
    parts: &[Part],
    section: &Section,
    gutter: f64,
    spots: &mut [Spot],
    rounds: u32,
    cancel: &Cancel,
) -> Result<(), Fault> {
    let mut pieces = pieces(parts, spots);
    for _ in 0..rounds {
        let mut order: Vec<usize> = (0..pieces.len()).collect();
        order.sort_by(|a, b| {
            let key = |index: &usize| pieces[*index].at.y + pieces[*index].bounds.y0;
            key(a).total_cmp(&key(b)).then(a.cmp(b))
        });
        for index in order {
            cancel.check()?;
            for direction in [Vec2::new(0.0, -1.0), Vec2::new(-1.0, 0.0), Vec2::new(0.0, -1.0)] {
                let way = travel(&pieces, section, gutter.max(LEAST_GUTTER_MM), index, direction);
                let way = (way / TICK_MM).floor() * TICK_MM;
                let moved = pieces[index].at + direction * way;
                pieces[index].at = at_tick(moved);
            }
        }
    }
    for (spot, piece) in spots.iter_mut().zip(&pieces) {
        spot.at = piece.at;
    }
    Ok(())
}

/// Moves every piece to the middle of the way that it has to its neighbours, up and down, then left and right, `rounds` times
/// over. Only where `inside` agrees.
///
/// # Errors
/// `run.cancelled`.
pub(super) fn centre(
    parts: &[Part],
    section: &Section,
    gutter: f64,
    spots: &mut [Spot],
    rounds: u32,
    inside: &dyn Fn(&Body, Vec2) -> bool,
    cancel: &Cancel,
) -> Result<(), Fault> {
    let mut pieces = pieces(parts, spots);
    let gutter = gutter.max(LEAST_GUTTER_MM);
    for _ in 0..rounds {
        for index in 0..pieces.len() {
            cancel.check()?;
            for direction in [Vec2::new(0.0, 1.0), Vec2::new(1.0, 0.0)] {
                let ahead = travel(&pieces, section, gutter, index, direction);
                let behind = travel(&pieces, section, gutter, index, -direction);
                let moved = pieces[index].at + direction * ((ahead - behind) / 2.0);
                let moved = at_tick(moved);
                if (ahead - behind).abs() > 1e-3 && inside(&pieces[index].body, moved) {
                    pieces[index].at = moved;
                }
            }
        }
    }
    for (spot, piece) in spots.iter_mut().zip(&pieces) {
        spot.at = piece.at;
    }
    Ok(())
}

fn pieces(parts: &[Part], spots: &[Spot]) -> Vec<Settled> {
    let piece = |spot: &Spot| {
        let part = &parts[spot.part];
        let body = Body::new(&part.coarse, spot.angle_deg);
        let bounds = turned_bounds(&part.rings, spot.angle_deg);
        Settled { body, stray: part.stray, bounds, at: spot.at, reach: part.reach }
    };
    spots.iter().map(piece).collect()
}

/// How far a piece can go, to the window's side at most.
fn travel(pieces: &[Settled], section: &Section, gutter: f64, index: usize, direction: Vec2) -> f64 {
    let piece = &pieces[index];
    let near = piece.bounds + piece.at;
    let room = if direction.y < 0.0 {
        near.y0
    } else if direction.y > 0.0 {
        section.length - near.y1
    } else if direction.x < 0.0 {
        near.x0
    } else {
        section.width - near.x1
    };
    let mut way = (room - piece.reach).max(0.0);
    for obstacle in &section.obstacles {
        let need = (obstacle.radius + piece.reach + piece.stray).max(LEAST_GUTTER_MM);
        way = piece.body.travel(&obstacle.body, -piece.at, direction, need - SLIDING_MM, way);
    }
    for other in in_the_way(pieces, index, direction, gutter, way) {
        if way > 0.0 {
            let other = &pieces[other];
            let need = gutter + piece.stray + other.stray;
            way = piece.body.travel(&other.body, other.at - piece.at, direction, need - SLIDING_MM, way);
        }
    }
    way
}

/// Pieces that may end a way, the nearest first: the shorter the way, the fewer edges have to be looked at.
fn in_the_way(pieces: &[Settled], index: usize, direction: Vec2, gutter: f64, way: f64) -> Vec<usize> {
    let piece = &pieces[index];
    let near = piece.bounds + piece.at;
    let swept = near.union(near + direction * way);
    let mut found: Vec<(f64, usize)> = Vec::new();
    for (other_index, other) in pieces.iter().enumerate() {
        let (need, there) = (gutter + piece.stray + other.stray, other.bounds + other.at);
        if other_index != index && meet(swept.inflate(need, need), there) {
            let ahead = if direction.x + direction.y > 0.0 {
                (there.x0 - near.x1) * direction.x + (there.y0 - near.y1) * direction.y
            } else {
                (there.x1 - near.x0) * direction.x + (there.y1 - near.y0) * direction.y
            };
            found.push((ahead, other_index));
        }
    }
    found.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    found.into_iter().map(|entry| entry.1).collect()
}
