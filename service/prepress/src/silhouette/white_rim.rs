//! White outlines on a backdrop that is nearly white.
//!
//! Within the usual tolerance such an outline is backdrop. But a picture that was never compressed lossily has the backdrop's
//! own colour everywhere, and the mixed pixels along its edge are few: much pure white beside the art is art.

use super::bits::Bits;
use super::judge::Judge;
use super::tiles::{self, Codes, Question, Tile};
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
    ground: &Bits,
    judge: &Judge,
    (edge_px, is_lossy): (usize, bool),
    cancel: &Cancel,
) -> Result<Option<f32>, Fault> {
    let among = (!is_lossy).then_some(ground);
    let mut white = tiles::ask(judge, &IsWhite(judge), among, cancel)?;
    if is_lossy {
        white = (0..WHITE_AROUND).fold(white, |white, _| white.narrowed());
    }
    let white = white.and(ground);
    let mut nearest = f32::INFINITY;
    for (place, index) in white.indices().enumerate() {
        cancel.check_every(1 << 16, place)?;
        nearest = nearest.min(judge.distance_squared(index));
    }
    let count = white.count();
    Ok((count as f64 >= LEAST_WHITE * edge_px as f64 && count > 0).then(|| SHARE * nearest.sqrt()))
}

/// Whether a pixel is white and the backdrop there is not.
struct IsWhite<'a>(&'a Judge<'a>);

impl Question for IsWhite<'_> {
    type Memory = ();

    fn memory(&self) {}

    fn codes(&self, (): &mut (), tile: Tile) -> (Codes, Codes) {
        let white = Codes { low: [WHITE_FROM; 3], high: [u8::MAX; 3] };
        let is_darker = self.0.fit.rgb_within(tile).into_iter().all(|[_, most]| is_darker(most));
        (if is_darker { white } else { Codes::NONE }, white)
    }

    fn is(&self, (): &mut (), (x, y): (u32, u32), _: [u8; 3]) -> bool {
        self.0.fit.rgb_at(x, y).into_iter().all(is_darker)
    }
}

fn is_darker(ground: f32) -> bool {
    ground <= f32::from(u8::MAX) - GROUND_BELOW
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
