//! Strokes too thin to cover half of any pixel, kept where they hang on to art that does.
//!
//! Hysteresis as in Canny, "A Computational Approach to Edge Detection" (1986), section VIII: a weak pixel counts when it
//! is linked to a strong one. Only ridges are weak pixels here - alpha that falls off on both sides within two pixels -
//! so that shadows and glows, which fade slowly, never become art.

use std::ops::Range;

use rayon::prelude::*;

use super::HALF_COVERED;
use super::plane::{ALIKE, Plane, ROWS, STRONG_ALPHA, WEAK_ALPHA};
use crate::cancel::Cancel;
use crate::fault::Fault;

/// Alpha from which a ridge goes on with a stroke: where one tapers to a point it covers ever less, and would end half a
/// millimetre early on a coarse picture. Beside hard edges a resampling filter leaves up to 6 (2.4 % with Lanczos's); with 12
/// strokes of such pictures grow past their ends. Measured on clip art of 400 and 6000 pixels.
const FAINT_ALPHA: u8 = 20;

/// Pixels that a stroke goes on while it is so faint, for each of a step's: tapers end soon, glows and noise go on. Measured
/// there too.
const MOST_FAINT_PX: usize = 4;

/// A stroke goes on into a pixel with this part of its alpha and more: with less it ends there, and what is left is its blur.
const STEEPEST_TAPER: u8 = 4;

/// On both sides of a ridge, one step away or two, alpha is at most this part of the ridge's.
const FALL: u8 = 2;

/// Ways in which it may: columns to the right, rows down.
const WAYS: [(isize, isize); 4] = [(1, 0), (0, 1), (1, 1), (-1, 1)];

/// Pixels of the longer side to each of a step's: a stroke that an enlarged picture blurs is as wide as its enlargement.
/// Steps are tried from one pixel on, each twice the one before. Measured on enlarged clip art.
const PIXELS_PER_STEP: usize = 1000;

/// So few pixels are an uneven corner or the blur of a tip, and no stroke, where they join nothing, no gap parts them from what
/// covers, and more than so many covered pixels lie within so far of them: beside a corner there are 9 and more, at the end of
/// a stroke half a dozen. The count of pixels is measured on clip art of 400 and 6000 pixels.
const STUB_PX: usize = 3;
const THIN_PX: usize = 6;
const THIN_REACH: usize = 3;

/// Raises linked ridges over half coverage, so that the line runs around them. Linear in pixels.
///
/// Most weak pixels are the soft edges of shadows and glows: a pixel is asked whether it is a ridge only when a stroke could
/// begin there or has come to it.
pub(super) fn keep(plane: &mut Plane<'_>, cancel: &Cancel) -> Result<(), Fault> {
    plane.keeps_strokes = true;
    let longest_step = (plane.width.max(plane.height) / PIXELS_PER_STEP).max(1) as isize;
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
        if (1..=STUB_PX).contains(&heavier) && is_stub(plane, seed, &links[first..]) {
            links.truncate(first);
        }
    }
    links.into_iter().for_each(|(index, _)| plane.raise(index));
    Ok(())
}

/// Weak ridges beside what covers by itself, in the picture's order.
fn seeds(plane: &Plane<'_>, longest_step: isize, cancel: &Cancel) -> Result<Vec<usize>, Fault> {
    let firsts: Vec<usize> = (0..plane.height).step_by(ROWS).collect();
    let of_rows = |first: usize| {
        cancel.check()?;
        Ok(seeds_in(plane, first..(first + ROWS).min(plane.height), longest_step))
    };
    let seeds: Vec<Vec<usize>> = firsts.into_par_iter().map(of_rows).collect::<Result<_, Fault>>()?;
    Ok(seeds.concat())
}

/// Those in some rows.
fn seeds_in(plane: &Plane<'_>, rows: Range<usize>, longest_step: isize) -> Vec<usize> {
    let of_row = |y: Option<usize>| -> Vec<u64> {
        let stretches = y.filter(|y| *y < plane.height).map(|y| plane.stretches(y));
        stretches.into_iter().flatten().map(|stretch| u64::from(stretch.strong)).collect()
    };
    // From the row above the first one to the one below the last.
    let strong: Vec<Vec<u64>> = (rows.start..rows.end + 2).map(|below| of_row(below.checked_sub(1))).collect();
    let mut seeds = Vec::new();
    for (y, strong) in rows.zip(strong.windows(3)) {
        let column = |number: usize| strong.iter().fold(0, |bits, row| bits | row.get(number).copied().unwrap_or(0));
        // Few pixels are weak: stretches without one are passed at once.
        for (number, stretch) in plane.stretches(y).enumerate().filter(|(_, stretch)| stretch.weak != stretch.strong) {
            let (before, own, after) = (column(number.wrapping_sub(1)), column(number), column(number + 1));
            let beside = own | own << 1 | own >> 1 | before >> (ALIKE - 1) | (after & 1) << (ALIKE - 1);
            let mut open = beside & u64::from(stretch.weak & !stretch.strong);
            while open != 0 {
                let index = stretch.pixels.start + open.trailing_zeros() as usize;
                open &= open - 1;
                if is_ridge(plane, index, longest_step) {
                    seeds.push(index);
                }
            }
        }
    }
    seeds
}

/// Whether a few pixels hang on to something broad, without a gap, and join nothing.
fn is_stub(plane: &Plane<'_>, seed: usize, links: &[(usize, usize)]) -> bool {
    let width = plane.width;
    let place = |index: usize| (index % width, index / width);
    let is_near = |one: usize, other: usize, reach: usize| {
        let ((x, y), (u, v)) = (place(one), place(other));
        x.abs_diff(u) <= reach && y.abs_diff(v) <= reach
    };
    let (x, y) = place(seed);
    let rows = y.saturating_sub(THIN_REACH)..=(y + THIN_REACH).min(plane.height - 1);
    let columns = || x.saturating_sub(THIN_REACH)..=(x + THIN_REACH).min(width - 1);
    let pixels = rows.flat_map(|row| columns().map(move |column| row * width + column));
    let is_strong = |index: &usize| plane.alpha_at(*index) >= STRONG_ALPHA;
    let mut others: Vec<usize> = pixels.filter(is_strong).collect();
    if others.len() <= THIN_PX || links.iter().any(|(link, _)| is_gapped(plane, *link)) {
        return false;
    }
    // One piece of what is covered around here is followed; nothing else may be beside any of the pixels.
    let mut reached: Vec<usize> = others.iter().copied().filter(|other| is_near(seed, *other, 1)).take(1).collect();
    others.retain(|other| !reached.contains(other));
    while let Some(pixel) = reached.pop() {
        others.retain(|other| {
            let joins = are_joined(plane, pixel, *other);
            if joins {
                reached.push(*other);
            }
            !joins
        });
    }
    links.iter().all(|(link, _)| {
        around(plane, *link).filter(is_strong).all(|at| is_near(seed, at, THIN_REACH) && !others.contains(&at))
    })
}

/// Whether what covers lies beyond a gap on some side of a pixel: neither a corner nor the blur of a tip is like that.
fn is_gapped(plane: &Plane<'_>, index: usize) -> bool {
    let (x, y) = ((index % plane.width) as i64, (index / plane.width) as i64);
    let low = plane.alpha_at(index) / FALL;
    let at =
        |(right, down): (isize, isize), steps: i64| plane.own_alpha(x + steps * right as i64, y + steps * down as i64);
    let has_gap =
        |way: (isize, isize)| [1, -1].into_iter().any(|side| at(way, side) <= low && at(way, 2 * side) >= STRONG_ALPHA);
    // Beside the pixel, that is: on a slant, a blunt end lies beyond its own corner.
    WAYS[..2].iter().any(|way| has_gap(*way))
}

/// Whether two covered pixels hang together as the line is traced: side by side, or corner to corner where the plane joins them;
/// raised strokes, which join at corners anyway, are not known yet. A tip that hangs on by a corner alone is else an island, and
/// left out as a speck.
fn are_joined(plane: &Plane<'_>, one: usize, other: usize) -> bool {
    let width = plane.width;
    let ((x, y), (u, v)) = ((one % width, one / width), (other % width, other / width));
    match (x.abs_diff(u), y.abs_diff(v)) {
        (0, 1) | (1, 0) => true,
        (1, 1) => plane.joins_at_corner(x.max(u) as i64, y.max(v) as i64, HALF_COVERED),
        _ => false,
    }
}

/// Whether alpha falls off on both sides of a pixel in some direction, at some step.
fn is_ridge(plane: &Plane<'_>, index: usize, longest_step: isize) -> bool {
    let (width, height) = (plane.width as isize, plane.height as isize);
    let (x, y) = ((index % plane.width) as isize, (index / plane.width) as isize);
    let (own, room) = (plane.alpha_at(index), 2 * longest_step);
    let mut steps = std::iter::successors(Some(1), |step| Some(step * 2)).take_while(|step| *step <= longest_step);
    if x >= room && y >= room && x + room < width && y + room < height {
        let at = |way: isize| plane.sample(index.wrapping_add_signed(way));
        steps.any(|step| {
            WAYS.into_iter().fold(false, |found, (right, down)| found | falls(own, step * (down * width + right), at))
        })
    } else {
        let at = |x: isize, y: isize| plane.alpha(x as i64, y as i64);
        steps.any(|step| {
            WAYS.into_iter().any(|(right, down)| falls(own, step, |along| at(x + along * right, y + along * down)))
        })
    }
}

/// Whether alpha falls off on both sides along a way, within two pixels; nothing but covered art may rise again behind a gap
/// of one, or every grain of noise would be a ridge. Which of the pixels has less is beyond guessing: all are compared,
/// without a branch.
#[inline(always)]
fn falls(own: u8, way: isize, at: impl Fn(isize) -> u8) -> bool {
    let low = own / FALL;
    let to_side = |way: isize| {
        let (near, far) = (at(way), at(2 * way));
        (near <= own) & ((far <= low) | (near <= low) & (far >= STRONG_ALPHA))
    };
    to_side(way) & to_side(-way)
}

fn around(plane: &Plane<'_>, index: usize) -> impl Iterator<Item = usize> + use<> {
    let (width, height) = (plane.width, plane.height);
    let (x, y) = (index % width, index / width);
    let rows = y.saturating_sub(1)..=(y + 1).min(height - 1);
    rows.flat_map(move |row| (x.saturating_sub(1)..=(x + 1).min(width - 1)).map(move |column| row * width + column))
        .filter(move |neighbour| *neighbour != index)
}
