//! Questions about each pixel's colour and the backdrop there, answered for most pixels by a box of codes.
//!
//! Within a tile the backdrop hardly changes, and most pixels are either far from it or next to it. Two boxes of codes tell
//! for a tile which colours surely are what is asked for and which may be; only what lies between them is asked for itself.

use rayon::iter::{IndexedParallelIterator, ParallelIterator};
use rayon::slice::ParallelSlice;

use super::bits::{Bits, WORD};
use super::judge::Judge;
use crate::cancel::Cancel;
use crate::fault::Fault;

/// Rows of a tile, between two looks at the flag, and words of each of them: a gradient over the whole canvas changes by a
/// few codes within. Tried.
pub(super) const TILE_ROWS: usize = 32;
const TILE_WORDS: usize = 4;

/// A rectangle of pixels: first column and row, and those after the last.
#[derive(Clone, Copy, Debug)]
pub(super) struct Tile {
    pub left: usize,
    pub top: usize,
    pub right: usize,
    pub bottom: usize,
}

/// Least and largest code of red, green and blue.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Codes {
    pub low: [u8; 3],
    pub high: [u8; 3],
}

impl Codes {
    /// No colour.
    pub(super) const NONE: Codes = Codes { low: [u8::MAX; 3], high: [0; 3] };

    /// The whole codes from some values to others.
    pub(super) fn between(least: [f32; 3], most: [f32; 3]) -> Codes {
        Codes { low: least.map(|value| value.ceil() as u8), high: most.map(|value| value.floor() as u8) }
    }

    /// Colours of both.
    pub(super) fn and(self, other: Codes) -> Codes {
        Codes {
            low: [0, 1, 2].map(|channel: usize| self.low[channel].max(other.low[channel])),
            high: [0, 1, 2].map(|channel: usize| self.high[channel].min(other.high[channel])),
        }
    }
}

/// What is asked of each pixel.
pub(super) trait Question: Sync {
    /// What is remembered from pixel to pixel.
    type Memory;

    /// Nothing remembered yet.
    fn memory(&self) -> Self::Memory;

    /// Within a tile: colours of which all are what is asked for, and colours outside of which none is.
    fn codes(&self, memory: &mut Self::Memory, tile: Tile) -> (Codes, Codes);

    /// Whether a pixel of this colour is.
    fn is(&self, memory: &mut Self::Memory, place: (u32, u32), colour: [u8; 3]) -> bool;
}

/// The pixels that are what is asked for; if `among` is given, of those.
pub(super) fn ask(
    judge: &Judge,
    question: &impl Question,
    among: Option<&Bits>,
    cancel: &Cancel,
) -> Result<Bits, Fault> {
    let (width, height) = (judge.pixels.width() as usize, judge.pixels.height() as usize);
    let mut found = Bits::none(width, height);
    let words_per_row = found.words_per_row();
    let bands = found.bands_mut(TILE_ROWS).zip(judge.pixels.as_raw().par_chunks(width * 4 * TILE_ROWS));
    bands.enumerate().try_for_each(|(band, (words, samples))| {
        let top = band * TILE_ROWS;
        let mut memory = question.memory();
        for left in (0..width).step_by(TILE_WORDS * WORD) {
            cancel.check()?;
            let right = (left + TILE_WORDS * WORD).min(width);
            let tile = Tile { left, top, right, bottom: (top + TILE_ROWS).min(height) };
            let places = left / WORD..right.div_ceil(WORD);
            // Of an edge few tiles are asked anything.
            let is_any =
                |among: &Bits| (top..tile.bottom).any(|y| among.row(y)[places.clone()].iter().any(|word| *word != 0));
            if !among.is_none_or(is_any) {
                continue;
            }
            let (surely, maybe) = question.codes(&mut memory, tile);
            let tests = (Test::of(surely), Test::of(maybe));
            let rows = words.chunks_exact_mut(words_per_row).zip(samples.chunks_exact(width * 4));
            for (y, (words, samples)) in (top..).zip(rows) {
                let words = words[places.clone()].iter_mut();
                let places = places.clone().zip(words).zip(samples[left * 4..right * 4].chunks(WORD * 4));
                for ((place, word), colours) in places {
                    let asked = among.map_or(u64::MAX, |among| among.row(y)[place]);
                    let is =
                        |at: usize, colour| question.is(&mut memory, ((place * WORD + at) as u32, y as u32), colour);
                    *word = answered(colours, asked, &tests, is);
                }
            }
        }
        Ok(())
    })?;
    Ok(found)
}

/// The answer for up to sixty-four pixels, one bit each.
fn answered(
    colours: &[u8],
    asked: u64,
    (surely, maybe): &(Test, Test),
    mut is: impl FnMut(usize, [u8; 3]) -> bool,
) -> u64 {
    if asked == 0 {
        return 0;
    }
    let mut found = surely.of_word(colours) & asked;
    let mut open = if found == asked { 0 } else { maybe.of_word(colours) & asked & !found };
    while open != 0 {
        let at = open.trailing_zeros() as usize;
        open &= open - 1;
        let colour = [colours[at * 4], colours[at * 4 + 1], colours[at * 4 + 2]];
        found |= u64::from(is(at, colour)) << at;
    }
    found
}

/// Codes as they are compared with four pixels at once.
struct Test {
    low: [u8; 16],
    high: [u8; 16],
}

impl Test {
    fn of(codes: Codes) -> Test {
        let four = |[red, green, blue]: [u8; 3], alpha: u8| std::array::from_fn(|at| [red, green, blue, alpha][at % 4]);
        Test { low: four(codes.low, 0), high: four(codes.high, u8::MAX) }
    }

    /// One bit for each of up to sixty-four pixels, the first the lowest: whether it is within.
    fn of_word(&self, colours: &[u8]) -> u64 {
        let mut off = [u8::MAX; WORD * 4];
        let mut any = [0_u8; 16];
        let (fours, rest) = colours.as_chunks::<16>();
        let (off_fours, off_rest) = off.as_chunks_mut::<16>().0.split_at_mut(fours.len());
        for (four, off) in fours.iter().zip(off_fours) {
            for lane in 0..16 {
                off[lane] = four[lane].saturating_sub(self.high[lane]) | self.low[lane].saturating_sub(four[lane]);
                any[lane] |= off[lane];
            }
        }
        if fours.len() == WORD / 4 && any == [0; 16] {
            return u64::MAX;
        }
        if let Some(off) = off_rest.first_mut() {
            for (lane, code) in rest.iter().enumerate() {
                off[lane] = code.saturating_sub(self.high[lane]) | self.low[lane].saturating_sub(*code);
            }
        }
        let pixels = off.as_chunks::<4>().0.iter().enumerate();
        pixels.fold(0, |bits, (place, off)| bits | u64::from(u32::from_le_bytes(*off) == 0) << place)
    }
}

#[cfg(test)]
mod tests {
    use image::{Rgba, RgbaImage};

    use super::*;
    use crate::silhouette::frame_fit;
    use crate::silhouette::oklab::Converter;

    /// A ground that changes from corner to corner, with grain, and art in colours near it and far from it.
    fn picture(from: [u8; 3], to: [u8; 3], grain: u32) -> RgbaImage {
        let (width, height) = (333, 150);
        let mut state = 7_u32;
        RgbaImage::from_fn(width, height, |x, y| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let noise = (state >> 16) % (grain + 1);
            let is_art = (100..230).contains(&x) && (40..110).contains(&y);
            let shade = if is_art { (x + 2 * y) % 90 } else { 0 };
            let code = |channel: usize| {
                let (from, to) = (u32::from(from[channel]), u32::from(to[channel]));
                ((from * (width + height - x - y) + to * (x + y)) / (width + height) + noise).saturating_sub(shade)
            };
            Rgba([code(0), code(1), code(2), 255].map(|code| code.min(255) as u8))
        })
    }

    #[test]
    fn boxes_of_codes_answer_as_each_pixel_asked_for_itself_does() {
        let grounds =
            [([255; 3], [255; 3], 0), ([240; 3], [220; 3], 3), ([20, 60, 90], [90, 60, 40], 2), ([3; 3], [9; 3], 2)];
        for (from, to, grain) in grounds {
            let pixels = picture(from, to, grain);
            let colours = Converter::new();
            let fit = frame_fit::fit(&pixels, &colours);
            let judge = Judge { pixels: &pixels, fit: &fit, colours: &colours };
            for distance in [0.004_f32, 0.02, 0.035, 0.1] {
                let found = judge.within(distance, None, &Cancel::new()).expect("nobody cancels");
                let asked = (0..333 * 150).filter(|index| judge.distance_squared(*index) <= distance * distance);
                assert!(found.indices().eq(asked), "within {distance} of {from:?} to {to:?}");
                let again = judge.within(distance / 2.0, Some(&found), &Cancel::new()).expect("nobody cancels");
                let asked = found.indices().filter(|index| judge.distance_squared(*index) <= distance * distance / 4.0);
                assert!(again.indices().eq(asked), "within half of {distance} of {from:?} to {to:?}");
            }
        }
    }
}
