//! Strokes too thin to cover half of any pixel, kept where they hang on to art that does.
//!
//! Hysteresis as in Canny, "A Computational Approach to Edge Detection" (1986), section VIII: a weak pixel counts when it
//! is linked to a strong one. Only ridges are weak pixels here - alpha that falls off on both sides within two pixels -
//! so that shadows and glows, which fade slowly, never become art.

use std::ops::Range;

use rayon::prelude::*;

use super::trace::{Plane, ROWS};
use crate::cancel::Cancel;
use crate::fault::Fault;

/// Alpha from which a ridge is a stroke: an eighth of full. Below it is mostly compression noise.
const WEAK_ALPHA: u8 = 32;

/// Alpha from which a ridge goes on with a stroke: where one tapers to a point it covers ever less, and would end half a
/// millimetre early on a coarse picture. Beside hard edges a resampling filter leaves up to 6 (2.4 % with Lanczos's); with 12
/// strokes of such pictures grow past their ends. Measured on clip art of 400 and 6000 pixels.
const FAINT_ALPHA: u8 = 20;

/// Pixels that a stroke goes on while it is so faint, for each of a step's: tapers end soon, glows and noise go on. Measured
/// there too.
const MOST_FAINT_PX: usize = 4;

/// A stroke goes on into a pixel with this part of its alpha and more: with less it ends there, and what is left is its blur.
const STEEPEST_TAPER: u8 = 4;

/// Alpha that counts as covered by itself.
const STRONG_ALPHA: u8 = 128;

/// On both sides of a ridge, two steps away, alpha is at most this part of the ridge's.
const FALL: u8 = 2;

/// Pixels of the longer side to each of a step's: a stroke that an enlarged picture blurs is as wide as its enlargement.
/// Steps are tried from one pixel on, each twice the one before. Measured on enlarged clip art.
const PIXELS_PER_STEP: usize = 1000;

/// A single pixel is an uneven corner and no stroke where more than so many covered pixels lie within so far of it: beside
/// a corner there are 9 and more, at the end of a stroke half a dozen.
const THIN_PX: usize = 6;
const THIN_REACH: i64 = 3;

/// Raises linked ridges over half coverage, so that the line runs around them. Linear in pixels.
///
/// Most weak pixels are the soft edges of shadows and glows: a pixel is asked whether it is a ridge only when a stroke could
/// begin there or has come to it.
pub(super) fn keep(plane: &mut Plane<'_>, cancel: &Cancel) -> Result<(), Fault> {
    let longest_step = (plane.width.max(plane.height) / PIXELS_PER_STEP).max(1) as i64;
    let seeds = seeds(plane, longest_step, cancel)?;
    // One bit for each pixel: as bytes they would cost more memory than all else here.
    let mut was_asked = vec![0_u64; if seeds.is_empty() { 0 } else { (plane.width * plane.height).div_ceil(64) }];
    let mut take = |index: usize| {
        let (word, bit) = (&mut was_asked[index / 64], 1 << (index % 64));
        let is_new = *word & bit == 0;
        *word |= bit;
        is_new && (FAINT_ALPHA..STRONG_ALPHA).contains(&plane.alpha_at(index)) && is_ridge(plane, index, longest_step)
    };
    let most_faint = MOST_FAINT_PX * longest_step as usize;
    // With each link, for how many it has been faint.
    let mut links: Vec<(usize, usize)> = Vec::new();
    let mut steps = 0_usize;
    for seed in seeds {
        let first = links.len();
        if take(seed) {
            links.push((seed, 0));
        }
        let mut next = first;
        while let Some((index, faint)) = links.get(next).copied() {
            next += 1;
            steps += 1;
            cancel.check_every(1 << 16, steps)?;
            for neighbour in around(plane, index) {
                let alpha = plane.alpha_at(neighbour);
                let faint = if alpha < WEAK_ALPHA { faint + 1 } else { 0 };
                let tapers = faint == 0 || alpha >= plane.alpha_at(index) / STEEPEST_TAPER;
                if faint <= most_faint && tapers && take(neighbour) {
                    links.push((neighbour, faint));
                }
            }
        }
        let heavier = links[first..].iter().filter(|(_, faint)| *faint == 0).count();
        if heavier == 1 && is_corner(plane, seed) {
            links.truncate(first);
        }
    }
    links.into_iter().for_each(|(index, _)| plane.raise(index));
    Ok(())
}

/// Weak ridges beside what covers by itself, in the picture's order.
fn seeds(plane: &Plane<'_>, longest_step: i64, cancel: &Cancel) -> Result<Vec<usize>, Fault> {
    let rows: Vec<usize> = (0..plane.height).collect();
    let of_rows = |rows: &[usize]| -> Result<Vec<usize>, Fault> {
        cancel.check()?;
        Ok(rows.iter().flat_map(|y| seeds_in(plane, *y, longest_step)).collect())
    };
    let seeds: Vec<Vec<usize>> = rows.par_chunks(ROWS).map(of_rows).collect::<Result<_, Fault>>()?;
    Ok(seeds.concat())
}

/// Those in a row.
fn seeds_in(plane: &Plane<'_>, y: usize, longest_step: i64) -> Vec<usize> {
    let weak = WEAK_ALPHA..STRONG_ALPHA;
    let mut seeds = Vec::new();
    // Few pixels are weak: stretches without one are passed at once.
    for (stretch, _) in plane.stretches(y).filter(|(_, (low, high))| *low < weak.end && *high >= weak.start) {
        let beside = beside_strong(plane, y, &stretch);
        if beside == 0 {
            continue;
        }
        let mut open = beside & plane.bits(&stretch, weak.start) & !plane.bits(&stretch, weak.end);
        while open != 0 {
            let index = stretch.start + open.trailing_zeros() as usize;
            open &= open - 1;
            if is_ridge(plane, index, longest_step) {
                seeds.push(index);
            }
        }
    }
    seeds
}

/// One bit for each pixel of a stretch: whether one around it covers by itself.
fn beside_strong(plane: &Plane<'_>, y: usize, stretch: &Range<usize>) -> u64 {
    let (left, count) = (stretch.start % plane.width, stretch.len());
    let rows = y.saturating_sub(1)..=(y + 1).min(plane.height - 1);
    rows.fold(0, |beside, row| {
        let (start, end) = (row * plane.width + left, row * plane.width + left + count);
        let strong = plane.bits(&(start..end), STRONG_ALPHA);
        let before = left > 0 && plane.alpha_at(start - 1) >= STRONG_ALPHA;
        let after = left + count < plane.width && plane.alpha_at(end) >= STRONG_ALPHA;
        beside | strong << 1 | strong | strong >> 1 | u64::from(before) | u64::from(after) << (count - 1)
    })
}

/// Whether a single pixel hangs on to something broad and joins nothing.
fn is_corner(plane: &Plane<'_>, index: usize) -> bool {
    const RING: [(i64, i64); 8] = [(-1, -1), (0, -1), (1, -1), (1, 0), (1, 1), (0, 1), (-1, 1), (-1, 0)];
    let (x, y) = ((index % plane.width) as i64, (index / plane.width) as i64);
    let is_strong = |(dx, dy): (i64, i64)| plane.alpha(x + dx, y + dy) >= STRONG_ALPHA;
    let joined = (0..8).filter(|at| is_strong(RING[*at]) && !is_strong(RING[(at + 1) % 8])).count();
    let reach = || -THIN_REACH..=THIN_REACH;
    let strong = reach().flat_map(|dy| reach().map(move |dx| (dx, dy))).filter(|off| is_strong(*off)).count();
    joined < 2 && strong > THIN_PX
}

/// Whether alpha falls off on both sides in some direction, at some step.
fn is_ridge(plane: &Plane<'_>, index: usize, longest_step: i64) -> bool {
    let (x, y) = ((index % plane.width) as i64, (index / plane.width) as i64);
    let own = plane.alpha_at(index);
    let falls = |(dx, dy): (i64, i64), step: i64| {
        [step, -step].into_iter().all(|side| {
            let at = |steps: i64| plane.alpha(x + side * steps * dx, y + side * steps * dy);
            at(1) <= own && at(2) <= own / FALL
        })
    };
    let mut step = 1;
    while step <= longest_step {
        if [(1, 0), (0, 1), (1, 1), (1, -1)].into_iter().any(|way| falls(way, step)) {
            return true;
        }
        step *= 2;
    }
    false
}

fn around(plane: &Plane<'_>, index: usize) -> impl Iterator<Item = usize> + use<> {
    let (width, height) = (plane.width, plane.height);
    let (x, y) = (index % width, index / width);
    let rows = y.saturating_sub(1)..=(y + 1).min(height - 1);
    rows.flat_map(move |row| (x.saturating_sub(1)..=(x + 1).min(width - 1)).map(move |column| row * width + column))
        .filter(move |neighbour| *neighbour != index)
}
