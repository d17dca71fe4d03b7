//! Windows: parts of the ground that art encloses - the middle of a wreath, the counters of letters.
//!
//! Art has white and black of its own, so that a region of a white or black backdrop's colour stays. Any other backdrop's
//! exact colour inside the art is the backdrop, seen through a hole: by chance art would miss it.

use super::bits::{Bits, Run};
use super::ground::Near;
use super::judge::{Judge, Memory, length_squared};
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

/// About how many of a region's pixels are looked at: enough for shares and means of a large one.
const SAMPLES: usize = 1 << 16;

/// Colours that art has of its own, OKLab: lightness of white and of black, and how much colour they have at most.
const WHITE_FROM: f32 = 0.96;
const BLACK_TO: f32 = 0.2;
const NEUTRAL_CHROMA: f32 = 0.02;

/// Finds the windows among what art encloses. `noise_beside_art` is what [`noise_beside_art`] found.
pub(super) fn find(near: &Near, judge: &Judge, noise_beside_art: f32, cancel: &Cancel) -> Result<Option<Bits>, Fault> {
    let noise = (SCATTER_SIGMAS * judge.fit.sigma).max(NOISE_FACTOR * noise_beside_art);
    let enclosed = near.enclosed();
    let mut tight = judge.within(PIXEL_OFF + noise, Some(&enclosed), cancel)?;
    let loose = enclosed.without(&tight);
    let mut windows: Option<Bits> = None;
    let mut runs = Vec::new();
    for y in 0..tight.height {
        cancel.check()?;
        let mut from = 0;
        while let Some(x) = tight.next_of_row(y, from) {
            from = x;
            runs.clear();
            tight.flood(std::iter::once(y * tight.width + x), cancel, |y, run| runs.push((y, run)))?;
            if is_window(&runs, judge, FLAT_OFF + noise, cancel)? {
                let windows = windows.get_or_insert_with(|| Bits::none(tight.width, tight.height));
                runs.iter().for_each(|(y, run)| windows.insert_run(*y, *run));
            }
        }
    }
    // With the pixels beside a window that are a little art and mostly backdrop.
    Ok(windows.map(|mut windows| {
        windows.add(&windows.widened().and(&loose));
        windows
    }))
}

/// How far ground near the art, but for a white outline, is from the backdrop, OKLab; nothing in a picture that was never
/// compressed lossily.
pub(super) fn noise_beside_art(ground: &Bits, judge: &Judge, cancel: &Cancel) -> Result<f32, Fault> {
    let (mut noise, mut lighter) = (Vec::new(), 0_usize);
    // Every eighth row is plenty.
    for y in (0..ground.height).step_by(8) {
        cancel.check()?;
        for (first, last) in ground.runs(y) {
            // Beside art, with as much ground again behind it.
            let is_long = last - first + 1 >= 2 * NOISE_AT_PX;
            let after_art = (is_long && first > 0).then(|| first + NOISE_AT_PX - 1);
            let before_art = (is_long && last + 1 < ground.width).then(|| last + 1 - NOISE_AT_PX);
            for index in after_art.into_iter().chain(before_art).map(|x| y * ground.width + x) {
                // A white outline within the tolerance is no noise; what compression lightens it darkens elsewhere.
                if white_rim::is_lighter(judge, index) {
                    lighter += 1;
                } else {
                    noise.push(judge.distance_squared(index));
                }
            }
        }
    }
    noise.sort_by(f32::total_cmp);
    let at = |rank: f64| noise.get((noise.len() as f64 * rank) as usize).map_or(0.0, |square| square.sqrt());
    let is_outlined = lighter as f64 > MOST_LIGHTER * noise.len() as f64;
    Ok(if at(LOSSY_RANK) >= LOSSY_NOISE && !is_outlined { at(NOISE_RANK) } else { 0.0 })
}

fn is_window(runs: &[(usize, Run)], judge: &Judge, flat_off: f32, cancel: &Cancel) -> Result<bool, Fault> {
    let width = judge.pixels.width() as usize;
    let all: usize = runs.iter().map(|(_, (first, last))| last - first + 1).sum();
    if all < LEAST_PX {
        return Ok(false);
    }
    // An odd step, so that no regular pattern is looked at in step.
    let step = (all / SAMPLES).max(1) | 1;
    let mut memory = Memory::new(judge.colours);
    let mut off = [0.0_f64; 3];
    let (mut count, mut own, mut flat) = (0_usize, 0_usize, 0_usize);
    let pixels = runs.iter().flat_map(|(y, (first, last))| (*first..=*last).map(move |x| (x, *y)));
    for (place, (x, y)) in pixels.step_by(step).enumerate() {
        cancel.check_every(1 << 10, place)?;
        let difference = judge.fit.difference(memory.lab(judge.colour(y * width + x)), x as u32, y as u32);
        off.iter_mut().zip(difference).for_each(|(sum, value)| *sum += f64::from(value));
        count += 1;
        own += usize::from(is_own(judge.fit.lab_at(x as u32, y as u32)));
        flat += usize::from(length_squared(difference) <= flat_off * flat_off);
    }
    let mean = off.map(|sum| (sum / count as f64) as f32);
    let allowed = MEAN_OFF + judge.fit.sigma / 2.0;
    let is_flat = flat as f64 >= LEAST_FLAT * count as f64;
    Ok(is_flat && own * 20 < count * 19 && length_squared(mean) <= allowed * allowed)
}

/// Whether art has a colour like this of its own.
pub(super) fn is_own([lightness, a, b]: [f32; 3]) -> bool {
    (lightness >= WHITE_FROM || lightness <= BLACK_TO) && a * a + b * b <= NEUTRAL_CHROMA * NEUTRAL_CHROMA
}
