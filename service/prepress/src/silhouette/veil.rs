//! Cast shadows: a pale dark veil over the backdrop, which is neither art nor ground.
//!
//! On a picture's own ground a shadow is the ground darkened. It keeps its looks as translucent pixels - laid on the old
//! backdrop's colour the picture is as before - and moves no cut line.

use image::RgbaImage;
use rayon::prelude::*;

use super::ground::{ART, GROUND, GroundMap};
use super::judge::Judge;
use crate::cancel::Cancel;
use crate::fault::Fault;

/// A veil is at most so far from the backdrop, OKLab, and covers at most this share of it. From memory of drawn shadows;
/// stronger ones are taken for art.
const FARTHEST: f32 = 0.08;
const MOST_SHARE: f32 = 0.13;

/// A shadow takes away of its least darkened channel at least this share of what it takes of the most darkened one: light
/// that is missing is missing in every colour, and a drawn shadow is tinted a little at most. What darkens one channel alone
/// is pale art of another colour. From memory of drawn shadows.
const EVENLY: f32 = 0.35;

/// Codes by which rounding may lift a channel.
const ROUNDING: f32 = 1.0;

/// No art is nearer to a veil's core: a thinner strip is the soft edge of art.
const CORE_PX: usize = 3;

/// A veil has at least so many pixels, and at most this share of the art's: more is pale art.
const LEAST_PX: usize = 200;
const MOST_OF_ART: f64 = 0.25;

/// Turns the ground's veils into ground; their pixels, in order. Empty where they are not worth it or too much.
pub(super) fn find(map: &GroundMap, judge: &Judge, cancel: &Cancel) -> Result<Vec<usize>, Fault> {
    let mut marks = map.copy(cancel)?;
    marks.classes.par_chunks_mut(BAND_PX).enumerate().try_for_each(|(band, classes)| {
        cancel.check()?;
        for (at, class) in classes.iter_mut().enumerate().filter(|(_, class)| **class != GROUND) {
            let index = band * BAND_PX + at;
            // The cheaper question first: few pixels of a picture are a pale darkening of its ground.
            let is_veil = share(judge, index).is_some() && judge.distance_squared(index) <= FARTHEST * FARTHEST;
            *class = if is_veil { VEIL } else { ART };
        }
        Ok(())
    })?;
    let candidates = marks.count(VEIL, cancel)?;
    let art = map.classes.len() - map.count(GROUND, cancel)?;
    if candidates < LEAST_PX {
        return Ok(Vec::new());
    }
    let cores = cores(&marks, cancel)?;
    let beside_ground = |index: &usize| marks.around(*index).any(|neighbour| marks.classes[neighbour] == GROUND);
    let mut work = GroundMap { classes: cores, width: map.width, height: map.height };
    let mut open = Vec::new();
    for (band, classes) in work.classes.chunks(BAND_PX).enumerate() {
        cancel.check()?;
        let cores = classes.iter().enumerate().filter(|(_, class)| **class == CORE);
        open.extend(cores.map(|(at, _)| band * BAND_PX + at).filter(beside_ground));
    }
    let mut found = Vec::new();
    work.flood(open, (CORE, REACHED), cancel, |(first, last)| found.extend(first..=last))?;
    cancel.check()?;
    let found = widened(&marks, found);
    let is_shadow = found.len() >= LEAST_PX && (found.len() as f64) <= MOST_OF_ART * art as f64;
    Ok(if is_shadow { found } else { Vec::new() })
}

/// Pixels between two looks at the flag.
const BAND_PX: usize = 1 << 16;

const VEIL: u8 = 4;
const CORE: u8 = 5;
const REACHED: u8 = 6;

/// Veil pixels without art within reach, by rows and then by columns.
fn cores(marks: &GroundMap, cancel: &Cancel) -> Result<Vec<u8>, Fault> {
    let (width, height) = (marks.width, marks.height);
    let mut near_art = vec![false; width * height];
    for row in 0..height {
        cancel.check()?;
        let mut last: Option<usize> = None;
        for x in (0..width).chain((0..width).rev()) {
            let index = row * width + x;
            if marks.classes[index] == ART {
                last = Some(x);
            }
            near_art[index] |= last.is_some_and(|art| art.abs_diff(x) <= CORE_PX);
        }
    }
    let mut cores = vec![ART; width * height];
    for y in 0..height {
        cancel.check()?;
        let rows = y.saturating_sub(CORE_PX)..=(y + CORE_PX).min(height - 1);
        for x in 0..width {
            let index = y * width + x;
            if marks.classes[index] == VEIL && rows.clone().all(|row| !near_art[row * width + x]) {
                cores[index] = CORE;
            }
        }
    }
    Ok(cores)
}

/// With the veil pixels beside them, as far as the core was drawn in.
fn widened(marks: &GroundMap, mut found: Vec<usize>) -> Vec<usize> {
    let mut is_found = vec![false; marks.classes.len()];
    found.iter().for_each(|index| is_found[*index] = true);
    let mut rim = found.clone();
    for _ in 0..CORE_PX {
        let mut next = Vec::new();
        for index in rim {
            for neighbour in marks.around(index) {
                if marks.classes[neighbour] == VEIL && !is_found[neighbour] {
                    is_found[neighbour] = true;
                    next.push(neighbour);
                }
            }
        }
        found.extend_from_slice(&next);
        rim = next;
    }
    found.sort_unstable();
    found
}

/// How much of the backdrop a veil takes away; `None` for what is lighter than the backdrop, darkens it more or colours it.
fn share(judge: &Judge, index: usize) -> Option<f32> {
    let (mut least, mut largest) = (1.0_f32, 0.0_f32);
    for (sample, ground) in judge.colour(index).into_iter().zip(judge.ground_colour(index)) {
        let ratio = f32::from(sample) / ground.max(1.0);
        if ratio > 1.01 {
            return None;
        }
        least = least.min(ratio);
        largest = largest.max((f32::from(sample) - ROUNDING) / ground.max(1.0));
    }
    let share = 1.0 - least;
    (share <= MOST_SHARE && 1.0 - largest >= EVENLY * share).then_some(share)
}

/// Lays the veils of the picture as it was over the removed ground.
pub(super) fn keep(pixels: &mut RgbaImage, veils: &[(usize, [u8; 4])]) {
    let samples = pixels.as_flat_samples_mut().samples;
    for (index, veil) in veils {
        let sample = &mut samples[index * 4..index * 4 + 4];
        if sample[3] < veil[3] {
            sample.copy_from_slice(veil);
        }
    }
}

/// A veil's own colour and alpha at each of its pixels: black, tinted as the picture is.
pub(super) fn colours(judge: &Judge, places: &[usize]) -> Vec<(usize, [u8; 4])> {
    let colour = |index: &usize| {
        let share = share(judge, *index).filter(|share| *share > 0.004)?;
        let (sample, ground) = (judge.colour(*index), judge.ground_colour(*index));
        let own = |channel: usize| {
            let value = ground[channel] + (f32::from(sample[channel]) - ground[channel]) / share;
            value.round().clamp(0.0, 255.0) as u8
        };
        Some((*index, [own(0), own(1), own(2), (share * 255.0).round() as u8]))
    };
    places.iter().filter_map(colour).collect()
}
