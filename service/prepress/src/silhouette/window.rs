//! Windows: parts of the ground that art encloses - the middle of a wreath, the counters of letters.
//!
//! Art has white and black of its own, so that a region of a white or black backdrop's colour stays. Any other backdrop's
//! exact colour inside the art is the backdrop, seen through a hole: by chance art would miss it.

use super::ground::{ART, GROUND, GroundMap, NEAR, Run, SEEN};
use super::judge::{Judge, length_squared};
use super::removal::SCATTER_SIGMAS;
use super::white_rim;
use crate::cancel::Cancel;
use crate::fault::Fault;

/// A window has at least so many pixels: fewer say too little about its colour. Common practice, no source.
const LEAST_PX: usize = 8;

/// How far a window's mean colour lies from the backdrop's at most, OKLab, beyond the backdrop's own scatter. JPEG keeps
/// means to about half of this.
const MEAN_OFF: f32 = 0.006;

/// How far from the backdrop a window's pixels are at most, OKLab, beyond its scatter or the noise of compression: art of
/// about its colour is common inside, and no flood from outside stops at it. Half of the usual tolerance loses spokes on a
/// pale slope.
const PIXEL_OFF: f32 = 0.005;

/// A backdrop is one colour but for scatter and noise: half of a window's pixels are no farther than this from it, OKLab, beyond
/// those. Art that shades through the backdrop's colour has a third of them so near.
const FLAT_OFF: f32 = PIXEL_OFF / 3.0;
const LEAST_FLAT: f64 = 0.5;

/// Compression noise is measured on the ground so far from the art: outside the mixed edge, inside a JPEG's block.
const NOISE_AT_PX: usize = 4;

/// Noise at the most usual share of places, OKLab, from which on a picture was compressed lossily: shadows, glows and strokes
/// of about the backdrop's colour are at fewer places. Without compression it stays under 0.002 there, a JPEG of quality 75 or
/// 90 has 0.006 and more. Measured on composites with known alpha.
const LOSSY_RANK: f64 = 0.75;
const LOSSY_NOISE: f32 = 0.004;

/// Places with a white outline to each without from which on nothing is known of compression: it lightens about half of them.
const MOST_LIGHTER: f64 = 4.0;

/// Noise at this share of places counts, times a little: windows are ringed by art.
const NOISE_RANK: f64 = 0.98;
const NOISE_FACTOR: f32 = 1.5;

/// Enclosed and within the usual tolerance, but not within a window's.
const LOOSE: u8 = 7;

/// Colours that art has of its own, OKLab: lightness of white and of black, and how much colour they have at most.
const WHITE_FROM: f32 = 0.96;
const BLACK_TO: f32 = 0.2;
const NEUTRAL_CHROMA: f32 = 0.02;

/// Finds the windows, as runs, in a map that was flooded from the canvas's edge; what it had enclosed is no longer marked.
///
/// `noise_beside_art` is what [`noise_beside_art`] found.
pub(super) fn find(
    map: &mut GroundMap,
    judge: &Judge,
    noise_beside_art: f32,
    cancel: &Cancel,
) -> Result<Vec<Run>, Fault> {
    let mut windows = Vec::new();
    let mut runs = Vec::new();
    let noise = (SCATTER_SIGMAS * judge.fit.sigma).max(NOISE_FACTOR * noise_beside_art);
    let limit = PIXEL_OFF + noise;
    for index in 0..map.classes.len() {
        cancel.check_every(1 << 18, index)?;
        if map.classes[index] == NEAR && judge.distance_squared(index) > limit * limit {
            map.classes[index] = LOOSE;
        }
    }
    for start in 0..map.classes.len() {
        cancel.check_every(1 << 18, start)?;
        if map.classes[start] != NEAR {
            continue;
        }
        runs.clear();
        map.flood(vec![start], (NEAR, SEEN), cancel, |run| runs.push(run))?;
        if is_window(&runs, judge, FLAT_OFF + noise, cancel)? {
            windows.extend_from_slice(&runs);
            widen(map, &runs, &mut windows, cancel)?;
        }
    }
    Ok(windows)
}

/// Adds the pixels beside a window that are a little art and mostly backdrop.
fn widen(map: &mut GroundMap, runs: &[Run], windows: &mut Vec<Run>, cancel: &Cancel) -> Result<(), Fault> {
    for (place, index) in runs.iter().flat_map(|(first, last)| *first..=*last).enumerate() {
        cancel.check_every(1 << 16, place)?;
        for neighbour in map.around(index) {
            if map.classes[neighbour] == LOOSE {
                map.classes[neighbour] = ART;
                windows.push((neighbour, neighbour));
            }
        }
    }
    Ok(())
}

/// How far ground near the art, but for a white outline, is from the backdrop, OKLab; nothing in a picture that was never
/// compressed lossily.
pub(super) fn noise_beside_art(map: &GroundMap, judge: &Judge, cancel: &Cancel) -> Result<f32, Fault> {
    let (mut noise, mut lighter) = (Vec::new(), 0_usize);
    // Every eighth row is plenty.
    for (y, classes) in map.classes.chunks_exact(map.width).enumerate().step_by(8) {
        cancel.check()?;
        for (x, around) in classes.windows(2 * NOISE_AT_PX + 1).enumerate() {
            let is_ground = |class: &u8| *class == GROUND;
            let (left, right) = (&around[..2 * NOISE_AT_PX], &around[1..]);
            let beside = (!is_ground(&around[0]) && right.iter().all(is_ground))
                || (!is_ground(&around[2 * NOISE_AT_PX]) && left.iter().all(is_ground));
            let index = y * map.width + x + NOISE_AT_PX;
            // A white outline within the tolerance is no noise; what compression lightens it darkens elsewhere.
            if beside && white_rim::is_lighter(judge, index) {
                lighter += 1;
            } else if beside {
                noise.push(judge.distance_squared(index));
            }
        }
    }
    noise.sort_by(f32::total_cmp);
    let at = |rank: f64| noise.get((noise.len() as f64 * rank) as usize).map_or(0.0, |square| square.sqrt());
    let is_outlined = lighter as f64 > MOST_LIGHTER * noise.len() as f64;
    Ok(if at(LOSSY_RANK) >= LOSSY_NOISE && !is_outlined { at(NOISE_RANK) } else { 0.0 })
}

fn is_window(runs: &[Run], judge: &Judge, flat_off: f32, cancel: &Cancel) -> Result<bool, Fault> {
    let pixels = || runs.iter().flat_map(|(first, last)| *first..=*last);
    let count = pixels().count();
    if count < LEAST_PX {
        return Ok(false);
    }
    let mut off = [0.0_f32; 3];
    let (mut own, mut flat) = (0_usize, 0_usize);
    for (place, index) in pixels().enumerate() {
        cancel.check_every(1 << 16, place)?;
        let difference = judge.difference(index);
        off.iter_mut().zip(difference).for_each(|(sum, value)| *sum += value);
        own += usize::from(is_own(judge.ground(index)));
        flat += usize::from(length_squared(difference) <= flat_off * flat_off);
    }
    let mean = off.map(|sum| sum / count as f32);
    let allowed = MEAN_OFF + judge.fit.sigma / 2.0;
    let is_flat = flat as f64 >= LEAST_FLAT * count as f64;
    Ok(is_flat && own * 20 < count * 19 && length_squared(mean) <= allowed * allowed)
}

/// Whether art has a colour like this of its own.
pub(super) fn is_own([lightness, a, b]: [f32; 3]) -> bool {
    (lightness >= WHITE_FROM || lightness <= BLACK_TO) && a * a + b * b <= NEUTRAL_CHROMA * NEUTRAL_CHROMA
}
