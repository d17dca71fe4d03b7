//! The rim of the art: colours just inside its edge, and the thin halo that an earlier cut-out left there.
//!
//! Where the alpha rises from clear to opaque within a few pixels, the colours from the edge inward are compared with the
//! colour a little deeper. A halo of a light ground is thin, nearly white or light grey, and lighter than what it surrounds;
//! drawn outlines are thicker, coloured or dark. A ground that was mixed into half-transparent pixels alone, white or black,
//! is told by its share: what alpha leaves of the art's colour is filled with the ground's, while a drawn outline has one
//! colour at every alpha. Common practice, no source; distances measured.

use super::OPAQUE;
use super::scan::Line;
use crate::silhouette::oklab::{Converter, Lab, distance_squared};

/// Half-transparent: colours of fainter pixels are rounded too coarsely, those of denser ones are nearly the art's own.
const HALF: std::ops::RangeInclusive<u8> = 64..=224;

/// Longest way from clear to opaque, in pixels; a longer one is a shadow or a glow.
const LONGEST_RISE: usize = 8;

/// How deep the art's own colour is looked at, in pixels; a rim is over before [`RIM_ENDS`].
const DEEP: usize = 8;
const RIM_ENDS: usize = 6;

/// Least difference in lightness of a halo, in OKLab (0 to 1).
const HALO_STEP: f32 = 0.1;

/// A light ground is at least so light, and at most so colourful, in OKLab.
const LIGHT_GROUND: f32 = 0.8;
const GREYISH: f32 = 0.05;

/// How near the colour of a half-transparent pixel comes to that of art mixed with a ground, in levels of each channel.
const MIXED_WITHIN: f32 = 24.0;

/// Least difference that a ground makes to such a pixel, in levels of the channel that it changes most: less is nothing
/// to be told from.
const LEAST_MIX: f32 = 60.0;

/// Where the rim is over, the colour is within this share of the halo's difference from the deep colour: a colour that
/// still runs on is shading.
const SETTLED_SHARE: f32 = 0.25;

/// How far inside the first opaque pixel the rim's colour is taken, in pixels: past blurred and mixed ones.
const INSIDE: usize = 2;

/// Crossings of one line that are looked at. Stops: a picture of noise.
const MOST_CROSSINGS: usize = 400;

/// The colour of the art just inside its edge.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in super::super) struct RimSample {
    pub(in super::super) at: (u32, u32),
    pub(in super::super) colour: [u8; 3],
}

/// How often each colour was seen, in 32 levels of each channel.
#[derive(Clone, Debug, Default)]
pub(in super::super) struct Colours(Vec<u32>);

impl Colours {
    fn add(&mut self, pixel: [u8; 4]) {
        if self.0.is_empty() {
            self.0 = vec![0; 1 << 15];
        }
        let [r, g, b, _] = pixel.map(|channel| usize::from(channel >> 3));
        self.0[r << 10 | g << 5 | b] += 1;
    }

    /// Share of the colours for which something holds; 0 of none.
    pub(in super::super) fn share(&self, holds: impl Fn([u8; 3]) -> bool) -> f64 {
        let (mut all, mut held) = (0_u64, 0_u64);
        for (index, count) in self.0.iter().enumerate().filter(|(_, count)| **count > 0) {
            // Black and white keep their ends of the scale.
            let channel = |shift: usize| {
                let level = (index >> shift & 31) as u8;
                level << 3 | level >> 2
            };
            all += u64::from(*count);
            held += if holds([channel(10), channel(5), channel(0)]) { u64::from(*count) } else { 0 };
        }
        held as f64 / all.max(1) as f64
    }
}

/// What crossings told.
pub(super) struct Rims {
    converter: Converter,
    judged: u32,
    light: u32,
    dark: u32,
    pub(super) fringed: Vec<(u32, u32)>,
    pub(super) samples: Vec<RimSample>,
    pub(super) colours: Colours,
}

impl Default for Rims {
    fn default() -> Rims {
        Rims {
            converter: Converter::new(),
            judged: 0,
            light: 0,
            dark: 0,
            fringed: Vec::new(),
            samples: Vec::new(),
            colours: Colours::default(),
        }
    }
}

fn is_light_grey(colour: Lab) -> bool {
    colour[0] >= LIGHT_GROUND && colour[1].hypot(colour[2]) <= GREYISH
}

/// Whether a half-transparent pixel has the colour of the art beside it mixed with a grey ground, by its own alpha.
fn is_mixed(art: [u8; 4], half: [u8; 4], ground: f32) -> bool {
    let share = f32::from(half[3]) / 255.0;
    let channels = || art.iter().zip(half).take(3).map(|(art, half)| (f32::from(*art), f32::from(half)));
    let mixed = |art: f32| art * share + ground * (1.0 - share);
    let change = channels().map(|(art, _)| (mixed(art) - art).abs()).fold(0.0, f32::max);
    change >= LEAST_MIX && channels().all(|(art, half)| (mixed(art) - half).abs() <= MIXED_WITHIN)
}

impl Rims {
    pub(super) fn count_colours(&mut self, line: &Line) {
        for pixel in line.pixels.iter().step_by(line.stride()).filter(|pixel| pixel[3] >= OPAQUE) {
            self.colours.add(*pixel);
        }
    }

    pub(super) fn look(&mut self, line: &Line) {
        let count = line.pixels.len();
        for run in line.runs.iter().take(MOST_CROSSINGS / 2) {
            if run.start > 0 {
                self.cross(line, (run.start..count).take(LONGEST_RISE + DEEP + 2));
            }
            if run.end < count {
                self.cross(line, (0..run.end).rev().take(LONGEST_RISE + DEEP + 2));
            }
        }
    }

    /// One way inward.
    fn cross(&mut self, line: &Line, way: impl Iterator<Item = usize>) {
        let way: Vec<usize> = way.collect();
        let alpha = |at: &usize| line.pixels[*at][3];
        let Some(rise) = way.iter().take(LONGEST_RISE).position(|at| alpha(at) >= OPAQUE) else { return };
        let opaque = way[rise..].iter().take_while(|at| alpha(at) >= OPAQUE).count();
        let inside = &way[rise..rise + opaque];
        let rim = line.pixels[inside[INSIDE.min(opaque - 1)]];
        self.samples.push(RimSample { at: line.at(inside[0]), colour: [rim[0], rim[1], rim[2]] });
        if opaque <= DEEP {
            return;
        }
        self.judged += 1;
        let lab = |at: usize| {
            let [r, g, b, _] = line.pixels[at];
            self.converter.lab(r, g, b)
        };
        let deep = lab(inside[DEEP]);
        let off = |colour: Lab| distance_squared(colour, deep).sqrt();
        let half = way[..rise].iter().filter(|at| HALF.contains(&alpha(at))).min_by_key(|at| alpha(at));
        let halo = half.into_iter().chain(&inside[..3]).map(|at| lab(*at)).filter(|colour| is_light_grey(*colour));
        let step = halo.map(|colour| colour[0] - deep[0]).fold(f32::MIN, f32::max);
        let is_ring = step >= HALO_STEP && off(lab(inside[RIM_ENDS])) <= SETTLED_SHARE * step;
        let (art, half) = (line.pixels[inside[INSIDE]], half.map(|at| line.pixels[*at]));
        let is_light = is_ring || half.is_some_and(|half| is_mixed(art, half, 255.0));
        let is_dark = half.is_some_and(|half| is_mixed(art, half, 0.0));
        self.light += u32::from(is_light);
        self.dark += u32::from(is_dark);
        if is_light || is_dark {
            self.fringed.push(line.at(inside[0]));
        }
    }

    /// Shares of the crossings with a light and with a dark halo.
    pub(super) fn shares(&self) -> (f64, f64) {
        let of_all = |count: u32| f64::from(count) / f64::from(self.judged.max(1));
        (of_all(self.light), of_all(self.dark))
    }
}
