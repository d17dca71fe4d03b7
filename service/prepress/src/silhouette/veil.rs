//! Cast shadows: a pale dark veil over the backdrop, which is neither art nor ground.
//!
//! On a picture's own ground a shadow is the ground darkened. It keeps its looks as translucent pixels - laid on the old
//! backdrop's colour the picture is as before - and moves no cut line.

use image::RgbaImage;

use super::bits::Bits;
use super::judge::{Judge, Memory, length_squared};
use super::oklab::Lab;
use super::tiles::{self, Codes, Question, Tile};
use super::values::Values;
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

/// What darkens by so small a share is within every limit; and codes by which sums may be rounded.
const HARDLY: f32 = 0.01;
const SLACK: f32 = 1e-3;

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
        if within.iter().any(|[least, _]| *least < 1.0) {
            return Codes::NONE;
        }
        let least_code = |[_, most]: [f32; 2]| (1.0 - HARDLY) * most + SLACK;
        let most_code =
            |[least, _]: [f32; 2]| ((1.0 - EVENLY * HARDLY) * least + ROUNDING).min(LIGHTEST * least) - SLACK;
        let even = Codes::between(within.map(least_code), within.map(most_code));
        even.and(memory.codes_near(&self.0.fit.amid(tile), FARTHEST))
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
        // A code more on either side: what is between two codes is neither.
        let least = within.map(|[least, _]| (1.0 - MOST_SHARE) * least.max(1.0) - 1.0);
        let most = within.map(|[_, most]| LIGHTEST * most.max(1.0) + 1.0);
        (surely, Codes::between(least, most))
    }

    fn is(&self, memory: &mut Memory<'a>, (x, y): (u32, u32), colour: [u8; 3]) -> bool {
        let difference = |lab: Lab| self.0.fit.difference(lab, x, y);
        // The cheaper question first: few pixels of a picture are a pale darkening of its ground.
        share(colour, self.0.fit.rgb_at(x, y)).is_some()
            && length_squared(difference(memory.lab(colour))) <= FARTHEST * FARTHEST
    }
}

/// How much of the backdrop a veil takes away; `None` for what is lighter than the backdrop, darkens it more or colours it.
fn share(colour: [u8; 3], backdrop: [f32; 3]) -> Option<f32> {
    let (mut least, mut largest) = (1.0_f32, 0.0_f32);
    for (sample, ground) in colour.into_iter().zip(backdrop) {
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
pub(super) fn colours(judge: &Judge, veil: &Bits, cancel: &Cancel) -> Result<Vec<(usize, [u8; 4])>, Fault> {
    let colour = |index: usize| {
        let (sample, ground) = (judge.colour(index), judge.ground_colour(index));
        let share = share(sample, ground).filter(|share| *share > 0.004)?;
        let own = |channel: usize| {
            let value = ground[channel] + (f32::from(sample[channel]) - ground[channel]) / share;
            value.round().clamp(0.0, 255.0) as u8
        };
        Some([own(0), own(1), own(2), (share * 255.0).round() as u8])
    };
    let colours = Values::new(veil, colour, cancel)?;
    Ok(colours.iter().filter_map(|(index, colour)| Some((index, colour?))).collect())
}

#[cfg(test)]
mod tests {
    use image::{Rgba, RgbaImage};

    use super::*;
    use crate::silhouette::frame_fit;
    use crate::silhouette::oklab::Converter;

    #[test]
    fn boxes_of_codes_tell_veils_as_each_pixel_asked_for_itself_does() {
        let even = [[255, 255, 255], [238, 238, 238], [120, 180, 200], [200, 40, 30], [2, 2, 2]];
        let sloping = [[40, 40, 40], [60, 33, 20], [200, 210, 220]];
        let grounds = even.map(|colour| (colour, 0)).into_iter().chain(sloping.map(|colour| (colour, 9)));
        for ([red, green, blue], slope) in grounds {
            let code = |code: u8, x: u32| code + (x * slope / 300) as u8;
            // Each channel darkened by itself, to nothing and a little past the backdrop.
            let pixels = RgbaImage::from_fn(300, 200, |x, y| {
                if !(20..280).contains(&x) || !(20..180).contains(&y) {
                    return Rgba([code(red, x), code(green, x), code(blue, x), 255]);
                }
                let share = |code: u8, at: u32, of: u32| (u32::from(code) * (of - at) / of + 2).min(255) as u8;
                let [red, green, blue] = [red, green, blue].map(|channel| code(channel, x));
                Rgba([share(red, x % 37, 120), share(green, x % 23, 150), share(blue, y % 41, 130), 255])
            });
            let colours = Converter::new();
            let fit = frame_fit::fit(&pixels, &colours);
            let judge = Judge { pixels: &pixels, fit: &fit, colours: &colours };
            let found = tiles::ask(&judge, &IsVeil(&judge), None, &Cancel::new()).expect("nobody cancels");
            let is_veil = |index: &usize| {
                let is_share = share(judge.colour(*index), judge.ground_colour(*index)).is_some();
                is_share && judge.distance_squared(*index) <= FARTHEST * FARTHEST
            };
            let asked: Vec<usize> = (0..300 * 200).filter(is_veil).collect();
            assert!(found.indices().eq(asked.iter().copied()), "on {red}, {green}, {blue} by {slope}");
            assert!(asked.len() > 1000 && asked.len() < 60_000);
        }
    }
}
