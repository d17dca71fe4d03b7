//! Strokes too thin to cover half of any pixel, kept where they hang on to art that does.
//!
//! Hysteresis as in Canny, "A Computational Approach to Edge Detection" (1986), section VIII: a weak pixel counts when it
//! is linked to a strong one. Only ridges are weak pixels here - alpha that falls off on both sides within two pixels -
//! so that shadows and glows, which fade slowly, never become art.

use super::trace::Plane;
use crate::cancel::Cancel;
use crate::fault::Fault;

/// Alpha from which a ridge is a stroke: an eighth of full. Below it is mostly compression noise.
const WEAK_ALPHA: u8 = 32;

/// Alpha that counts as covered by itself.
const STRONG_ALPHA: u8 = 128;

/// On both sides of a ridge, two pixels away, alpha is at most this part of the ridge's.
const FALL: u8 = 2;

/// Raises linked ridges to full coverage, so that the line runs around them about a pixel wide. Linear in pixels.
pub(super) fn keep(plane: &mut Plane<'_>, cancel: &Cancel) -> Result<(), Fault> {
    // One bit for each pixel: as bytes they would cost more memory than all else here.
    let mut is_candidate = vec![0_u64; (plane.width * plane.height).div_ceil(64)];
    let mut candidates = Vec::new();
    let weak = WEAK_ALPHA..STRONG_ALPHA;
    for y in 0..plane.height {
        cancel.check_every(64, y)?;
        // Few pixels are weak: stretches without one are passed at once.
        for (stretch, _) in plane.stretches(y).filter(|(_, (low, high))| *low < weak.end && *high >= weak.start) {
            let mut open = plane.bits(&stretch, weak.start) & !plane.bits(&stretch, weak.end);
            while open != 0 {
                let index = stretch.start + open.trailing_zeros() as usize;
                open &= open - 1;
                if is_ridge(plane, index) {
                    is_candidate[index / 64] |= 1 << (index % 64);
                    candidates.push(index);
                }
            }
        }
    }
    let is_seeded = |index: &usize| around(plane, *index).any(|neighbour| plane.alpha_at(neighbour) >= STRONG_ALPHA);
    let mut open: Vec<usize> = candidates.into_iter().filter(is_seeded).collect();
    open.iter().for_each(|index| plane.raise(*index));
    let mut steps = 0_usize;
    while let Some(index) = open.pop() {
        steps += 1;
        cancel.check_every(1 << 16, steps)?;
        for neighbour in around(plane, index) {
            if is_candidate[neighbour / 64] >> (neighbour % 64) & 1 == 1 && !plane.is_raised(neighbour) {
                plane.raise(neighbour);
                open.push(neighbour);
            }
        }
    }
    Ok(())
}

/// Whether alpha falls off on both sides in some direction.
fn is_ridge(plane: &Plane<'_>, index: usize) -> bool {
    let (x, y) = ((index % plane.width) as i64, (index / plane.width) as i64);
    let own = plane.alpha_at(index);
    [(1, 0), (0, 1), (1, 1), (1, -1)].into_iter().any(|(dx, dy)| {
        [1, -1].into_iter().all(|side| {
            let at = |steps: i64| plane.alpha(x + side * steps * dx, y + side * steps * dy);
            at(1) <= own && at(2) <= own / FALL
        })
    })
}

fn around(plane: &Plane<'_>, index: usize) -> impl Iterator<Item = usize> + use<> {
    let (width, height) = (plane.width, plane.height);
    let (x, y) = (index % width, index / width);
    let rows = y.saturating_sub(1)..=(y + 1).min(height - 1);
    rows.flat_map(move |row| (x.saturating_sub(1)..=(x + 1).min(width - 1)).map(move |column| row * width + column))
        .filter(move |neighbour| *neighbour != index)
}
