//! True alpha and clean colour along the edge between art and removed ground.
//!
//! An edge pixel of an opaque picture is a mix of art and backdrop, made in encoded sRGB as nearly all programs mix. With
//! the backdrop known and the art's colour taken from just inside, the share of art is a projection; taking the backdrop
//! out of the mix again leaves the art's own colour, so that no fringe of the old backdrop is printed. Two unknowns from
//! three channels: the assumption is that the art's colour does not change within the band (as in Chuang, Curless,
//! Salesin and Szeliski, "A Bayesian Approach to Digital Matting", 2001, which departs from the same mixing equation).

use image::RgbaImage;
use rayon::prelude::*;

use super::band::{self, LAYERS};
use super::bits::Bits;
use super::judge::Judge;
use super::values::Values;
use crate::cancel::Cancel;
use crate::fault::Fault;

/// Pixels between two looks at the flag.
const PIECE: usize = 1 << 13;

/// Cosine of the angle between a pixel's and the art's difference from the backdrop from which on the one is a mix with
/// the other; below, it is a colour of its own. From memory.
const ALIGNED: f32 = 0.9;

/// A pixel that differs from the backdrop by less than this share of what the art beside it does is a mix in any case:
/// compression rings around sharp edges have colours of their own, some of them brighter than the backdrop. But what is
/// lighter by so many codes in every channel is a narrow white outline, and in a picture without such rings whatever is
/// farther from the backdrop than this length is a colour of its own, unless it is darker in every channel: a strip of shadow.
/// There what is lighter by more than rounding beside darker art is an outline too. Measured on composites with known alpha.
const FAINT: f32 = 0.25;
const LOSSY_FAINT: f32 = 0.35;
const OUTLINE_RISE: f32 = 20.0;
const LOSSLESS_FAINT: f32 = 24.0;
const LOSSLESS_RISE: f32 = 4.0;

/// Brightness and colour of a difference as ITU-T T.871 has them, and what they weigh in a picture that was compressed
/// lossily: brightness as much as a grey difference of encoded values, colour less, for it is stored at half the resolution and
/// runs over the edge. A quarter and less do alike. Measured on composites with known alpha.
const BRIGHTNESS: Colour = [0.299, 0.587, 0.114];
const BLUENESS: f32 = 0.564;
const REDNESS: f32 = 0.713;
const BRIGHTNESS_WEIGHT: f32 = 1.732;
const COLOUR_WEIGHT: f32 = 0.25;

/// Shares nearer than this to none or all are none or all: below the noise of a good JPEG.
const LEAST_SHARE: f32 = 0.03;

/// A ground pixel beside the art keeps a share only from here on: less is compression noise.
const LEAST_GROUND_SHARE: f32 = 0.1;

/// A crumb has at most so many pixels, each with at least so much alpha. Common practice, no source.
const CRUMB_PX: usize = 6;
const CRUMB_ALPHA: u8 = 64;

type Colour = [f32; 3];

/// Sets alpha to the share of art along the edge of the ground, which is cleared already, and cleans the colour there.
/// `is_lossy`: the mix was compressed lossily afterwards.
pub(super) fn unmix(
    cleared: &mut RgbaImage,
    judge: &Judge,
    ground: &Bits,
    is_lossy: bool,
    cancel: &Cancel,
) -> Result<(), Fault> {
    let layers = band::layers(ground, cancel)?;
    let rim = band::beside(&ground.clone().others());
    let work = Unmixing { judge, ground, is_lossy, cancel };
    let mixes = work.mixes(&layers, &rim)?;
    let unmixed = |mixes: &[(usize, f32)]| {
        cancel.check()?;
        Ok(mixes.iter().map(|(index, share)| (*index, work.unmixed(*index, *share))).collect())
    };
    let unmixed: Vec<Vec<(usize, [u8; 4])>> = mixes.par_chunks(PIECE).map(unmixed).collect::<Result<_, Fault>>()?;
    let samples = cleared.as_flat_samples_mut().samples;
    for (index, sample) in unmixed.into_iter().flatten() {
        samples[index * 4..index * 4 + 4].copy_from_slice(&sample);
    }
    drop_crumbs(cleared, ground, &mixes, cancel)
}

/// Clears crumbs that un-mixing broke off the edge: a few covered pixels with nothing covered around them, which hung on
/// to the art before. Dots that stood alone before are art and stay.
fn drop_crumbs(pixels: &mut RgbaImage, ground: &Bits, mixes: &[(usize, f32)], cancel: &Cancel) -> Result<(), Fault> {
    let crumbs = |mixes: &[(usize, f32)]| {
        cancel.check()?;
        Ok(mixes.iter().filter_map(|(start, _)| crumb(pixels, ground, *start)).flatten().collect())
    };
    let crumbs: Vec<Vec<usize>> = mixes.par_chunks(PIECE).map(crumbs).collect::<Result<_, Fault>>()?;
    let samples = pixels.as_flat_samples_mut().samples;
    crumbs.into_iter().flatten().for_each(|index| samples[index * 4 + 3] = 0);
    Ok(())
}

/// The crumb that a pixel belongs to.
fn crumb(pixels: &RgbaImage, ground: &Bits, start: usize) -> Option<Vec<usize>> {
    let is_covered = |index: usize| pixels.as_raw()[index * 4 + 3] >= CRUMB_ALPHA;
    if !is_covered(start) {
        return None;
    }
    let (mut crumb, mut count) = ([start; CRUMB_PX], 1);
    let (mut next, mut hung_on) = (0, false);
    while next < count {
        for neighbour in ground.around(crumb[next]) {
            if !is_covered(neighbour) {
                hung_on |= !ground.contains(neighbour);
            } else if !crumb[..count].contains(&neighbour) {
                *crumb.get_mut(count)? = neighbour;
                count += 1;
            }
        }
        next += 1;
    }
    hung_on.then(|| crumb[..count].to_vec())
}

struct Unmixing<'a> {
    judge: &'a Judge<'a>,
    ground: &'a Bits,
    is_lossy: bool,
    cancel: &'a Cancel,
}

impl Unmixing<'_> {
    /// The share of art in each pixel of the layers, and in the ground's beside them.
    fn mixes(&self, layers: &[Bits; LAYERS], rim: &Bits) -> Result<Vec<(usize, f32)>, Fault> {
        // From the innermost layer outward, each with what is known further in.
        let mut colours: Vec<Values<Colour>> = Vec::with_capacity(LAYERS);
        for layer in layers.iter().rev() {
            let inner = colours.last();
            let of_layer = Values::new(layer, |index| self.art(index, inner), self.cancel)?;
            colours.push(of_layer);
        }
        let mut shares: Vec<Values<f32>> = Vec::with_capacity(LAYERS);
        for (layer, colours) in layers.iter().zip(colours.iter().rev()) {
            let outer = shares.last();
            let share = |index| {
                // Each pixel of the layer has one.
                let share = colours.get(index).map_or(1.0, |art| self.share(index, art));
                share.max(outer.map_or(0.0, |outer| self.least_beside(index, outer)))
            };
            let of_layer = Values::new(layer, share, self.cancel)?;
            shares.push(of_layer);
        }
        let outermost = colours.last();
        let of_rim = |index| {
            let share = self.share(index, self.mean_beside(index, outermost?)?);
            Some(if share < LEAST_GROUND_SHARE { 0.0 } else { share })
        };
        let of_rim = Values::new(rim, of_rim, self.cancel)?;
        let of_rim = of_rim.iter().filter_map(|(index, share)| Some((index, share?)));
        Ok(shares.iter().flat_map(Values::iter).chain(of_rim).collect())
    }

    /// The least share that a pixel beside it has, of those nearer to the ground. No pixel has less of the art: between a
    /// white outline and dark art is a grey that looks like dark art mixed with a grey backdrop.
    fn least_beside(&self, index: usize, outer: &Values<f32>) -> f32 {
        let least = outer.fold_around(index, f32::INFINITY, f32::min);
        if least.is_finite() { least } else { 0.0 }
    }

    /// The mean of the art's colours known beside a pixel.
    fn mean_beside(&self, index: usize, known: &Values<Colour>) -> Option<Colour> {
        let (sum, count) =
            known.fold_around(index, ([0.0; 3], 0.0), |(sum, count), colour| (add(sum, colour), count + 1.0));
        (count > 0.0).then(|| sum.map(|value| value / count))
    }

    /// A pixel with its share of art as alpha, and without the backdrop in its colour.
    fn unmixed(&self, index: usize, share: f32) -> [u8; 4] {
        let ([red, green, blue], was) = (self.judge.colour(index), self.judge.alpha(index));
        let was_ground = self.ground.contains(index);
        if share >= 1.0 && !was_ground {
            return [red, green, blue, was];
        }
        let backdrop = self.judge.ground_colour(index);
        let own = |code: u8, backdrop: f32| {
            let own = backdrop + (f32::from(code) - backdrop) / share;
            if share > 0.0 { own.round().clamp(0.0, 255.0) as u8 } else { code }
        };
        let alpha = (share * 255.0).round() as u8;
        let alpha = if was_ground { alpha } else { was.min(alpha) };
        [own(red, backdrop[0]), own(green, backdrop[1]), own(blue, backdrop[2]), alpha]
    }

    fn sample(&self, index: usize) -> Colour {
        self.judge.colour(index).map(f32::from)
    }

    /// The art's colour at a pixel: its own where nothing further in is known or its own is farther from the backdrop,
    /// else what is known further in.
    fn art(&self, index: usize, inner: Option<&Values<Colour>>) -> Colour {
        let own = self.sample(index);
        let backdrop = self.judge.ground_colour(index);
        let own_reach = subtract(own, backdrop);
        let inside = inner.and_then(|inner| self.mean_beside(index, inner)).or_else(|| self.strongest_beside(index));
        let further = inside.filter(|art| {
            let reach = subtract(*art, backdrop);
            let (inner_length, own_length) = (self.length(reach), self.length(own_reach));
            let most = if self.is_lossy { LOSSY_FAINT } else { FAINT };
            let faint = self.is_faint(own_reach, reach) && own_length <= most * most * inner_length;
            inner_length > own_length && (faint || aligned(own_reach, reach))
        });
        further.unwrap_or(own)
    }

    /// A difference as it tells art from backdrop.
    fn weighed(&self, difference: Colour) -> Colour {
        if !self.is_lossy {
            return difference;
        }
        let brightness = dot(difference, BRIGHTNESS);
        let colour = [(difference[2] - brightness) * BLUENESS, (difference[0] - brightness) * REDNESS];
        [brightness * BRIGHTNESS_WEIGHT, colour[0] * COLOUR_WEIGHT, colour[1] * COLOUR_WEIGHT]
    }

    /// The square of its length.
    fn length(&self, difference: Colour) -> f32 {
        let weighed = self.weighed(difference);
        dot(weighed, weighed)
    }

    /// Whether so small a difference from the backdrop, beside art that differs so from it, may be compression or rounding.
    fn is_faint(&self, reach: Colour, art: Colour) -> bool {
        if self.is_lossy {
            reach.into_iter().any(|rise| rise < OUTLINE_RISE)
        } else {
            let is_outline = dot(reach, art) < 0.0 && reach.into_iter().all(|rise| rise >= LOSSLESS_RISE);
            let is_small = dot(reach, reach) <= LOSSLESS_FAINT * LOSSLESS_FAINT;
            is_small && !is_outline || reach.into_iter().all(|rise| rise <= 0.0)
        }
    }

    /// Where the art is too thin for anything to be further in: the colour beside that is farthest from the backdrop.
    fn strongest_beside(&self, index: usize) -> Option<Colour> {
        let backdrop = self.judge.ground_colour(index);
        let reach = |colour: &Colour| self.length(subtract(*colour, backdrop));
        let art = self.ground.around(index).filter(|neighbour| !self.ground.contains(*neighbour));
        art.map(|neighbour| self.sample(neighbour)).max_by(|a, b| reach(a).total_cmp(&reach(b)))
    }

    /// The share of art in a pixel.
    fn share(&self, index: usize, art: Colour) -> f32 {
        let backdrop = self.judge.ground_colour(index);
        let [mixed, whole] = [self.sample(index), art].map(|colour| self.weighed(subtract(colour, backdrop)));
        let length = dot(whole, whole);
        if length < 1.0 {
            return if self.ground.contains(index) { 0.0 } else { 1.0 };
        }
        let share = dot(mixed, whole) / length;
        if share < LEAST_SHARE {
            0.0
        } else if share > 1.0 - LEAST_SHARE {
            1.0
        } else {
            share
        }
    }
}

fn add(a: Colour, b: Colour) -> Colour {
    [a[0] + b[0], a[1] + b[1], a[2] + b[2]]
}

fn subtract(a: Colour, b: Colour) -> Colour {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}

fn dot(a: Colour, b: Colour) -> f32 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

fn aligned(a: Colour, b: Colour) -> bool {
    let product = dot(a, b);
    product > 0.0 && product * product >= ALIGNED * ALIGNED * dot(a, a) * dot(b, b)
}
