//! Cast shadows: a pale dark veil over the backdrop, which is neither art nor ground.
//!
//! On a picture's own ground a shadow is the ground darkened. It keeps its looks as translucent pixels - laid on the old
//! backdrop's colour the picture is as before - and moves no cut line.

use image::RgbaImage;

use super::bits::Bits;
use super::judge::{Judge, Memory};
use super::tiles::{self, Codes, Question, Tile};
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

/// Codes by which rounding may lift a channel, and by how much of the backdrop a veil may be lighter than it.
const ROUNDING: f32 = 1.0;
const LIGHTEST: f32 = 1.01;

/// What darkens by so small a share is within every limit.
const HARDLY: f32 = 0.01;

/// No art is nearer to a veil's core: a thinner strip is the soft edge of art.
const CORE_PX: usize = 3;

/// A veil has at least so many pixels, and at most this share of the art's: more is pale art.
const LEAST_PX: usize = 200;
const MOST_OF_ART: f64 = 0.25;

/// The pixels of veils over the ground. Empty where they are not worth it or too much.
pub(super) fn find(ground: &Bits, judge: &Judge, cancel: &Cancel) -> Result<Bits, Fault> {
    let art_and_veils = ground.clone().others();
    let veil = tiles::ask(judge, &IsVeil(judge), Some(&art_and_veils), cancel)?;
    let nothing = || Bits::none(ground.width, ground.height);
    if veil.count() < LEAST_PX {
        return Ok(nothing());
    }
    let mut near_art = art_and_veils.clone().without(&veil);
    for _ in 0..CORE_PX {
        cancel.check()?;
        near_art = near_art.widened();
    }
    let mut cores = veil.clone().without(&near_art);
    let seeds = ground.widened().and(&cores);
    let mut found = nothing();
    cores.flood(seeds.indices(), cancel, |y, run| found.insert_run(y, run))?;
    // With the veil beside them, as far as the core was drawn in.
    for _ in 0..CORE_PX {
        cancel.check()?;
        found.add(&found.widened().and(&veil));
    }
    let count = found.count();
    let is_shadow = count >= LEAST_PX && (count as f64) <= MOST_OF_ART * art_and_veils.count() as f64;
    Ok(if is_shadow { found } else { nothing() })
}

/// Whether a pixel is the backdrop, palely darkened.
struct IsVeil<'a>(&'a Judge<'a>);

impl<'a> IsVeil<'a> {
    /// Colours so near to the backdrop in every channel that they are a veil whichever of them is darkened most: art of
    /// the backdrop's own colour, which there may be much of.
    fn hardly(&self, memory: &mut Memory<'a>, tile: Tile, within: [[f32; 2]; 3]) -> Codes {
        let low = within.map(|[_, most]| ((1.0 - HARDLY) * most).ceil().clamp(0.0, 255.0) as u8);
        let high =
            within.map(|[least, _]| ((1.0 - EVENLY * HARDLY) * least + ROUNDING).floor().clamp(0.0, 255.0) as u8);
        let near = memory.codes_near(self.0.fit, tile, FARTHEST);
        let both =
            |a: [u8; 3], b: [u8; 3], of: fn(u8, u8) -> u8| [0, 1, 2].map(|channel: usize| of(a[channel], b[channel]));
        let is_dark = within.iter().any(|[least, _]| *least < 1.0);
        let codes = Codes { low: both(low, near.low, u8::max), high: both(high, near.high, u8::min) };
        if is_dark { Codes::NONE } else { codes }
    }
}

impl<'a> Question for IsVeil<'a> {
    type Memory = Memory<'a>;

    fn memory(&self) -> Memory<'a> {
        Memory::new(self.0.colours)
    }

    fn codes(&self, memory: &mut Memory<'a>, tile: Tile) -> (Codes, Codes) {
        let within = self.0.fit.rgb_within(tile);
        let surely = self.hardly(memory, tile, within);
        let low = within.map(|[least, _]| ((1.0 - MOST_SHARE) * least.max(1.0)).floor().clamp(0.0, 255.0) as u8);
        let high = within.map(|[_, most]| (LIGHTEST * most.max(1.0)).ceil().clamp(0.0, 255.0) as u8);
        (surely, Codes { low, high })
    }

    fn is(&self, _: &mut Memory<'a>, (x, y): (u32, u32), _: [u8; 3]) -> bool {
        let index = y as usize * self.0.pixels.width() as usize + x as usize;
        // The cheaper question first: few pixels of a picture are a pale darkening of its ground.
        share(self.0, index).is_some() && self.0.distance_squared(index) <= FARTHEST * FARTHEST
    }
}

/// How much of the backdrop a veil takes away; `None` for what is lighter than the backdrop, darkens it more or colours it.
fn share(judge: &Judge, index: usize) -> Option<f32> {
    let (mut least, mut largest) = (1.0_f32, 0.0_f32);
    for (sample, ground) in judge.colour(index).into_iter().zip(judge.ground_colour(index)) {
        let ratio = f32::from(sample) / ground.max(1.0);
        if ratio > LIGHTEST {
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
pub(super) fn colours(judge: &Judge, veil: &Bits) -> Vec<(usize, [u8; 4])> {
    let colour = |index: usize| {
        let share = share(judge, index).filter(|share| *share > 0.004)?;
        let (sample, ground) = (judge.colour(index), judge.ground_colour(index));
        let own = |channel: usize| {
            let value = ground[channel] + (f32::from(sample[channel]) - ground[channel]) / share;
            value.round().clamp(0.0, 255.0) as u8
        };
        Some((index, [own(0), own(1), own(2), (share * 255.0).round() as u8]))
    };
    veil.indices().filter_map(colour).collect()
}

#[cfg(test)]
mod tests {
    use image::{Rgba, RgbaImage};

    use super::*;
    use crate::silhouette::frame_fit;
    use crate::silhouette::oklab::Converter;

    #[test]
    fn boxes_of_codes_tell_veils_as_each_pixel_asked_for_itself_does() {
        for [red, green, blue] in [[255, 255, 255], [238, 238, 238], [120, 180, 200], [200, 40, 30], [2, 2, 2]] {
            // Each channel darkened by itself, to nothing and a little past the backdrop.
            let pixels = RgbaImage::from_fn(300, 200, |x, y| {
                if !(20..280).contains(&x) || !(20..180).contains(&y) {
                    return Rgba([red, green, blue, 255]);
                }
                let share = |code: u8, at: u32, of: u32| (u32::from(code) * (of - at) / of + 2).min(255) as u8;
                Rgba([share(red, x % 37, 120), share(green, x % 23, 150), share(blue, y % 41, 130), 255])
            });
            let colours = Converter::new();
            let fit = frame_fit::fit(&pixels, &colours);
            let judge = Judge { pixels: &pixels, fit: &fit, colours: &colours };
            let found = tiles::ask(&judge, &IsVeil(&judge), None, &Cancel::new()).expect("nobody cancels");
            let is_veil = |index: &usize| {
                share(&judge, *index).is_some() && judge.distance_squared(*index) <= FARTHEST * FARTHEST
            };
            let asked: Vec<usize> = (0..300 * 200).filter(is_veil).collect();
            assert!(found.indices().eq(asked.iter().copied()), "on {red}, {green}, {blue}");
            assert!(asked.len() > 1000 && asked.len() < 60_000);
        }
    }
}
