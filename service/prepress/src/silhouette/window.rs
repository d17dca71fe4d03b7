//! Windows: parts of the ground that art encloses - the middle of a wreath, the counters of letters.
//!
//! Art has white and black of its own, so that a region of a white or black backdrop's colour stays. Any other backdrop's
//! exact colour inside the art is the backdrop, seen through a hole: by chance art would miss it.

use super::ground::{GroundMap, NEAR, Run, SEEN};
use super::judge::{Judge, length_squared};
use crate::cancel::Cancel;
use crate::fault::Fault;

/// A window has at least so many pixels: fewer say too little about its colour. Common practice, no source.
const LEAST_PX: usize = 24;

/// How far a window's mean colour lies from the backdrop's at most, OKLab, beyond the backdrop's own scatter. JPEG keeps
/// means to about half of this.
const MEAN_OFF: f32 = 0.006;

/// Colours that art has of its own, OKLab: lightness of white and of black, and how much colour they have at most.
const WHITE_FROM: f32 = 0.96;
const BLACK_TO: f32 = 0.2;
const NEUTRAL_CHROMA: f32 = 0.02;

/// Finds the windows, as runs, in a map that was flooded from the canvas's edge. Looked-at regions are marked.
pub(super) fn find(map: &mut GroundMap, judge: &Judge, cancel: &Cancel) -> Result<Vec<Run>, Fault> {
    let mut windows = Vec::new();
    let mut runs = Vec::new();
    for start in 0..map.classes.len() {
        if start % (1 << 18) == 0 {
            cancel.check()?;
        }
        if map.classes[start] != NEAR {
            continue;
        }
        runs.clear();
        map.flood(vec![start], (NEAR, SEEN), cancel, |run| runs.push(run))?;
        if is_window(&runs, judge) {
            windows.extend_from_slice(&runs);
        }
    }
    Ok(windows)
}

fn is_window(runs: &[Run], judge: &Judge) -> bool {
    let pixels = || runs.iter().flat_map(|(first, last)| *first..=*last);
    let count = pixels().count();
    if count < LEAST_PX {
        return false;
    }
    let mut off = [0.0_f32; 3];
    let mut own = 0_usize;
    for index in pixels() {
        let difference = judge.difference(index);
        off.iter_mut().zip(difference).for_each(|(sum, value)| *sum += value);
        own += usize::from(is_own(judge.ground(index)));
    }
    let mean = off.map(|sum| sum / count as f32);
    let allowed = MEAN_OFF + judge.fit.sigma / 2.0;
    own * 20 < count * 19 && length_squared(mean) <= allowed * allowed
}

/// Whether art has a colour like this of its own.
pub(super) fn is_own([lightness, a, b]: [f32; 3]) -> bool {
    (lightness >= WHITE_FROM || lightness <= BLACK_TO) && a * a + b * b <= NEUTRAL_CHROMA * NEUTRAL_CHROMA
}
