//! True alpha and clean colour along the edge between art and removed ground.
//!
//! An edge pixel of an opaque picture is a mix of art and backdrop, made in encoded sRGB as nearly all programs mix. With
//! the backdrop known and the art's colour taken from just inside, the share of art is a projection; taking the backdrop
//! out of the mix again leaves the art's own colour, so that no fringe of the old backdrop is printed. Two unknowns from
//! three channels: the assumption is that the art's colour does not change within the band (as in Chuang, Curless,
//! Salesin and Szeliski, "A Bayesian Approach to Digital Matting", 2001, which departs from the same mixing equation).

use image::RgbaImage;

use super::band::LAYERS;
use super::frame_fit::FrameFit;
use super::ground::{GROUND, GroundMap};
use crate::cancel::Cancel;
use crate::fault::Fault;

/// Pixels between two looks at the flag.
const LOOK: usize = 1 << 16;

/// The same where each is looked up among its neighbours.
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

/// Pixels with the art's colour beside them, sorted by place.
type Layer = Vec<(usize, Colour)>;

/// Pixels with their share of art, sorted by place.
type Shares = Vec<(usize, f32)>;

/// What art and backdrop were mixed from and how.
pub(super) struct Mixture<'a> {
    pub fit: &'a FrameFit,
    /// Compressed lossily afterwards.
    pub is_lossy: bool,
}

/// Sets alpha to nothing on the ground and to the share of art along its edge, where it also cleans the colour.
pub(super) fn unmix(
    pixels: &mut RgbaImage,
    map: &GroundMap,
    layers: &[Vec<usize>; LAYERS],
    mixture: &Mixture,
    cancel: &Cancel,
) -> Result<(), Fault> {
    let rim = rim(map, &layers[0], cancel)?;
    let work = Unmixing { map, mixture };
    let mut known: Layer = Vec::new();
    let mut shares: [Shares; LAYERS] = std::array::from_fn(|_| Vec::new());
    for (layer, shares) in layers.iter().zip(&mut shares).rev() {
        cancel.check()?;
        known = work.colours(pixels, layer, &known, cancel)?;
        cancel.check()?;
        *shares = known.iter().map(|(index, art)| (*index, work.share(pixels, *index, *art))).collect();
    }
    rise_inward(map, &mut shares, cancel)?;
    let mut mixes = shares.concat();
    for (place, index) in rim.into_iter().enumerate() {
        cancel.check_every(PIECE, place)?;
        let Some(art) = mean_beside(map, index, &known) else { continue };
        let share = work.share(pixels, index, art);
        mixes.push((index, if share < LEAST_GROUND_SHARE { 0.0 } else { share }));
    }
    cancel.check()?;
    let whole = pixels.as_flat_samples_mut().samples;
    for (classes, samples) in map.classes.chunks(LOOK).zip(whole.chunks_mut(4 * LOOK)) {
        cancel.check()?;
        for (_, sample) in classes.iter().zip(samples.chunks_exact_mut(4)).filter(|(class, _)| **class == GROUND) {
            sample[3] = 0;
        }
    }
    let mixed: Vec<usize> = mixes.iter().map(|(index, _)| *index).collect();
    for (place, (index, share)) in mixes.into_iter().enumerate() {
        cancel.check_every(LOOK, place)?;
        let ground = work.ground(index);
        let was_ground = map.classes[index] == GROUND;
        let sample = &mut whole[index * 4..index * 4 + 4];
        if share >= 1.0 && !was_ground {
            continue;
        }
        if share > 0.0 {
            for channel in 0..3 {
                let art = ground[channel] + (f32::from(sample[channel]) - ground[channel]) / share;
                sample[channel] = art.round().clamp(0.0, 255.0) as u8;
            }
        }
        let alpha = (share * 255.0).round() as u8;
        sample[3] = if was_ground { alpha } else { sample[3].min(alpha) };
    }
    drop_crumbs(pixels, map, &mixed, cancel)
}

/// Clears crumbs that un-mixing broke off the edge: a few covered pixels with nothing covered around them, which hung on
/// to the art before. Dots that stood alone before are art and stay.
fn drop_crumbs(pixels: &mut RgbaImage, map: &GroundMap, mixed: &[usize], cancel: &Cancel) -> Result<(), Fault> {
    let samples = pixels.as_flat_samples_mut().samples;
    let mut crumb = Vec::with_capacity(CRUMB_PX + 8);
    for (place, start) in mixed.iter().enumerate() {
        cancel.check_every(LOOK, place)?;
        if samples[start * 4 + 3] < CRUMB_ALPHA {
            continue;
        }
        crumb.clear();
        crumb.push(*start);
        let mut next = 0;
        let mut hung_on = false;
        while next < crumb.len() && crumb.len() <= CRUMB_PX {
            for neighbour in map.around(crumb[next]) {
                if samples[neighbour * 4 + 3] < CRUMB_ALPHA {
                    hung_on |= map.classes[neighbour] != GROUND;
                } else if !crumb.contains(&neighbour) {
                    crumb.push(neighbour);
                }
            }
            next += 1;
        }
        if hung_on && crumb.len() <= CRUMB_PX {
            crumb.iter().for_each(|index| samples[index * 4 + 3] = 0);
        }
    }
    Ok(())
}

/// Lets no pixel have less of the art than all those beside it that are nearer to the ground have: between a white outline and
/// dark art is a grey that looks like dark art mixed with a grey backdrop.
fn rise_inward(map: &GroundMap, shares: &mut [Shares; LAYERS], cancel: &Cancel) -> Result<(), Fault> {
    for depth in 1..LAYERS {
        cancel.check()?;
        let (outer, inner) = shares.split_at_mut(depth);
        let outer = &outer[depth - 1];
        for (place, (index, share)) in inner[0].iter_mut().filter(|(_, share)| *share < 1.0).enumerate() {
            cancel.check_every(PIECE, place)?;
            let beside = map.around(*index).filter_map(|at| outer.binary_search_by_key(&at, |(place, _)| *place).ok());
            let least = beside.map(|at| outer[at].1).min_by(f32::total_cmp);
            *share = share.max(least.unwrap_or(0.0));
        }
    }
    Ok(())
}

/// Ground pixels beside the first layer.
fn rim(map: &GroundMap, first: &[usize], cancel: &Cancel) -> Result<Vec<usize>, Fault> {
    let mut rim = Vec::new();
    for piece in first.chunks(PIECE) {
        cancel.check()?;
        let beside = piece.iter().flat_map(|index| map.around(*index));
        rim.extend(beside.filter(|index| map.classes[*index] == GROUND));
    }
    cancel.check()?;
    rim.sort_unstable();
    cancel.check()?;
    rim.dedup();
    Ok(rim)
}

/// The mean of the art's colours known beside a pixel.
fn mean_beside(map: &GroundMap, index: usize, known: &Layer) -> Option<Colour> {
    let mut sum = [0.0; 3];
    let mut count = 0.0;
    for neighbour in map.around(index) {
        let Ok(at) = known.binary_search_by_key(&neighbour, |(place, _)| *place) else { continue };
        sum = add(sum, known[at].1);
        count += 1.0;
    }
    (count > 0.0).then(|| sum.map(|value| value / count))
}

struct Unmixing<'a> {
    map: &'a GroundMap,
    mixture: &'a Mixture<'a>,
}

impl Unmixing<'_> {
    fn ground(&self, index: usize) -> Colour {
        self.mixture.fit.rgb_at((index % self.map.width) as u32, (index / self.map.width) as u32)
    }

    /// The art's colour at each pixel of a layer: its own where nothing further in is known or its own is farther from
    /// the backdrop, else what is known further in.
    fn colours(&self, pixels: &RgbaImage, layer: &[usize], inner: &Layer, cancel: &Cancel) -> Result<Layer, Fault> {
        let colour = |index: &usize| {
            let own = sample(pixels, *index);
            let ground = self.ground(*index);
            let own_reach = subtract(own, ground);
            let inside = mean_beside(self.map, *index, inner).or_else(|| self.strongest_beside(pixels, *index));
            let further = inside.filter(|art| {
                let reach = subtract(*art, ground);
                let (inner_length, own_length) = (self.length(reach), self.length(own_reach));
                let most = if self.mixture.is_lossy { LOSSY_FAINT } else { FAINT };
                let faint = self.is_faint(own_reach, reach) && own_length <= most * most * inner_length;
                inner_length > own_length && (faint || aligned(own_reach, reach))
            });
            (*index, further.unwrap_or(own))
        };
        let mut found = Vec::with_capacity(layer.len());
        for piece in layer.chunks(PIECE) {
            cancel.check()?;
            found.extend(piece.iter().map(colour));
        }
        Ok(found)
    }

    /// A difference as it tells art from backdrop.
    fn weighed(&self, difference: Colour) -> Colour {
        if !self.mixture.is_lossy {
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
        if self.mixture.is_lossy {
            reach.into_iter().any(|rise| rise < OUTLINE_RISE)
        } else {
            let is_outline = dot(reach, art) < 0.0 && reach.into_iter().all(|rise| rise >= LOSSLESS_RISE);
            let is_small = dot(reach, reach) <= LOSSLESS_FAINT * LOSSLESS_FAINT;
            is_small && !is_outline || reach.into_iter().all(|rise| rise <= 0.0)
        }
    }

    /// Where the art is too thin for anything to be further in: the colour beside that is farthest from the backdrop.
    fn strongest_beside(&self, pixels: &RgbaImage, index: usize) -> Option<Colour> {
        let ground = self.ground(index);
        let reach = |colour: &Colour| self.length(subtract(*colour, ground));
        let art = self.map.around(index).filter(|neighbour| self.map.classes[*neighbour] != GROUND);
        art.map(|neighbour| sample(pixels, neighbour)).max_by(|a, b| reach(a).total_cmp(&reach(b)))
    }

    /// The share of art in a pixel.
    fn share(&self, pixels: &RgbaImage, index: usize, art: Colour) -> f32 {
        let ground = self.ground(index);
        let [mixed, whole] = [sample(pixels, index), art].map(|colour| self.weighed(subtract(colour, ground)));
        let length = dot(whole, whole);
        if length < 1.0 {
            return if self.map.classes[index] == GROUND { 0.0 } else { 1.0 };
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

fn sample(pixels: &RgbaImage, index: usize) -> Colour {
    let samples = &pixels.as_raw()[index * 4..index * 4 + 3];
    [f32::from(samples[0]), f32::from(samples[1]), f32::from(samples[2])]
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
