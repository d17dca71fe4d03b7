//! White outlines on a backdrop that is nearly white.
//!
//! Within the usual tolerance such an outline is backdrop. But a picture that was never compressed lossily has the backdrop's
//! own colour everywhere, and the mixed pixels along its edge are few: much pure white beside the art is art.

use super::ground::{GROUND, GroundMap};
use super::judge::{Judge, length_squared};
use crate::cancel::Cancel;
use crate::fault::Fault;

/// White, and how much darker in every channel a backdrop is that is told from it: more than rounding.
const WHITE_FROM: u8 = 254;
const GROUND_BELOW: f32 = 4.0;

/// A backdrop so pale is within the usual tolerance of white, or nearly so.
const PALE_FROM: f32 = 235.0;

/// Codes by which rounding may lift a channel.
const ROUNDING: f32 = 0.6;

/// White pixels to each pixel along the art's edge from which on they are an outline, or art. Measured on composites with
/// known alpha.
const LEAST_WHITE: f64 = 0.2;

/// The tolerance with which white is told from the backdrop, as a share of the distance between them: twice as much is still
/// less than all of it, so that the outline does not count as a blurred edge.
const SHARE: f32 = 0.45;

/// In a picture that was compressed lossily a white pixel counts when all is white so far around it: beside sharp edges
/// compression lightens single pixels, and makes no white area.
const WHITE_AROUND: usize = 2;

/// The tolerance that spares a white outline taken for ground; `None` where there is none.
pub(super) fn spared(
    map: &GroundMap,
    judge: &Judge,
    (edge_px, is_lossy): (usize, bool),
    cancel: &Cancel,
) -> Result<Option<f32>, Fault> {
    let (mut white, mut nearest) = (0_usize, f32::INFINITY);
    for (y, classes) in map.classes.chunks_exact(map.width).enumerate() {
        cancel.check_every(64, y)?;
        for (x, _) in classes.iter().enumerate().filter(|(_, class)| **class == GROUND) {
            let index = y * map.width + x;
            if is_white(judge, index) && (!is_lossy || is_white_around(map, judge, (x, y))) {
                white += 1;
                nearest = nearest.min(length_squared(judge.difference(index)));
            }
        }
    }
    Ok((white as f64 >= LEAST_WHITE * edge_px as f64 && white > 0).then(|| SHARE * nearest.sqrt()))
}

/// Whether all around a pixel is white; nothing is beyond the canvas.
fn is_white_around(map: &GroundMap, judge: &Judge, (x, y): (usize, usize)) -> bool {
    let inside = |at: usize, size: usize| at >= WHITE_AROUND && at + WHITE_AROUND < size;
    let around = |at: usize| at - WHITE_AROUND..=at + WHITE_AROUND;
    inside(x, map.width)
        && inside(y, map.height)
        && around(y).all(|row| around(x).all(|column| is_white(judge, row * map.width + column)))
}

/// Whether a pixel is white and the backdrop is not.
pub(super) fn is_white(judge: &Judge, index: usize) -> bool {
    let darker = |ground: f32| ground <= f32::from(u8::MAX) - GROUND_BELOW;
    judge.colour(index).into_iter().all(|code| code >= WHITE_FROM) && judge.ground_colour(index).into_iter().all(darker)
}

/// Whether the backdrop may be nearly white somewhere; a plane has its ends in the corners.
pub(super) fn is_pale(judge: &Judge) -> bool {
    let (width, height) = (judge.pixels.width() as usize, judge.pixels.height() as usize);
    let corners = [0, width - 1, width * (height - 1), width * height - 1];
    corners.into_iter().any(|corner| judge.ground_colour(corner).into_iter().all(is_nearly_white))
}

fn is_nearly_white(ground: f32) -> bool {
    (PALE_FROM..=f32::from(u8::MAX) - GROUND_BELOW).contains(&ground)
}

/// Whether a pixel is between a pale backdrop and white.
pub(super) fn is_lighter(judge: &Judge, index: usize) -> bool {
    let ground = judge.ground_colour(index);
    let lighter = |(code, ground): (u8, f32)| f32::from(code) > ground + ROUNDING;
    ground.into_iter().all(is_nearly_white) && judge.colour(index).into_iter().zip(ground).all(lighter)
}
