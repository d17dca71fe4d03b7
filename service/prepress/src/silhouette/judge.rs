//! How far a pixel is from the backdrop.

use image::RgbaImage;

use super::bits::Bits;
use super::frame_fit::{Amid, FrameFit};
use super::oklab::{Converter, Lab, distance_squared};
use super::tiles::{self, Codes, Question, Tile};
use crate::cancel::Cancel;
use crate::fault::Fault;

/// Colours remembered for some rows. Tried.
const REMEMBERED: usize = 1024;

/// Steps of a distance of 1 in OKLab for which boxes of codes are made. Tried.
const DISTANCE_STEPS: f32 = 500.0;

/// What rounding may take from a distance or add to it, OKLab.
const ROUNDING: f32 = 1e-5;

/// White as a JPEG keeps it, and how much darker in every channel a backdrop is against which it stands out: less is
/// within the usual tolerance. Common practice, no source.
const WHITE_FROM: u8 = 250;
const GROUND_BELOW: f32 = 10.0;

/// A picture and the backdrop it is held against.
pub(super) struct Judge<'a> {
    pub pixels: &'a RgbaImage,
    pub fit: &'a FrameFit,
    pub colours: &'a Converter,
}

impl Judge<'_> {
    /// The pixel's difference from the backdrop, OKLab.
    pub(super) fn difference(&self, index: usize) -> Lab {
        let [red, green, blue] = self.colour(index);
        let (x, y) = self.place(index);
        self.fit.difference(self.colours.lab(red, green, blue), x, y)
    }

    /// The pixel's encoded red, green and blue.
    pub(super) fn colour(&self, index: usize) -> [u8; 3] {
        let sample = &self.pixels.as_raw()[index * 4..index * 4 + 3];
        [sample[0], sample[1], sample[2]]
    }

    /// Its alpha, which of an opaque picture may be a little less than all.
    pub(super) fn alpha(&self, index: usize) -> u8 {
        self.pixels.as_raw()[index * 4 + 3]
    }

    /// The backdrop's, 0 to 255.
    pub(super) fn ground_colour(&self, index: usize) -> [f32; 3] {
        let (x, y) = self.place(index);
        self.fit.rgb_at(x, y)
    }

    fn place(&self, index: usize) -> (u32, u32) {
        let width = self.pixels.width() as usize;
        ((index % width) as u32, (index / width) as u32)
    }

    /// The square of its length.
    pub(super) fn distance_squared(&self, index: usize) -> f32 {
        length_squared(self.difference(index))
    }

    /// Whether a pixel and those to its sides, but for one towards the art, are white and the backdrop is not: a white outline.
    pub(super) fn is_white_outline(&self, index: usize) -> bool {
        let (width, height) = (self.pixels.width() as usize, self.pixels.height() as usize);
        let (x, y) = (index % width, index / width);
        let is_white = |(x, y): (usize, usize)| self.colour(y * width + x).into_iter().all(|code| code >= WHITE_FROM);
        let (left, right) = (x.saturating_sub(1), (x + 1).min(width - 1));
        let (above, below) = (y.saturating_sub(1), (y + 1).min(height - 1));
        let darker = self.ground_colour(index).into_iter().all(|ground| ground <= f32::from(WHITE_FROM) - GROUND_BELOW);
        let sides = [(left, y), (right, y), (x, above), (x, below)];
        darker && is_white((x, y)) && sides.into_iter().filter(|side| is_white(*side)).count() >= 3
    }

    /// The pixels within a distance of the backdrop, OKLab; if `among` is given, of those.
    pub(super) fn within(&self, distance: f32, among: Option<&Bits>, cancel: &Cancel) -> Result<Bits, Fault> {
        tiles::ask(self, &Within { judge: self, distance }, among, cancel)
    }
}

pub(super) fn length_squared([l, m, s]: Lab) -> f32 {
    l * l + m * m + s * s
}

/// Whether a pixel is within a distance of the backdrop.
struct Within<'a> {
    judge: &'a Judge<'a>,
    distance: f32,
}

/// What is remembered while pixels are asked: colours, and of the tile a colour amid the backdrop and the squares of the
/// distances from it below which a pixel is within and above which it is not, wherever in the tile.
struct Remembered<'a> {
    colours: Memory<'a>,
    amid: Lab,
    surely: f32,
    at_most: f32,
}

impl<'a> Question for Within<'a> {
    type Memory = Remembered<'a>;

    fn memory(&self) -> Remembered<'a> {
        Remembered { colours: Memory::new(self.judge.colours), amid: [0.0; 3], surely: 0.0, at_most: f32::INFINITY }
    }

    fn codes(&self, memory: &mut Remembered<'a>, tile: Tile) -> (Codes, Codes) {
        let amid = self.judge.fit.amid(tile);
        memory.amid = amid.lab;
        memory.surely = (self.distance - amid.spread - ROUNDING).max(0.0).powi(2);
        memory.at_most = (self.distance + amid.spread + ROUNDING).powi(2);
        let maybe = self.judge.colours.codes_around(amid.lab, self.distance + amid.spread);
        (memory.colours.codes_near(&amid, self.distance), maybe)
    }

    fn is(&self, memory: &mut Remembered<'a>, (x, y): (u32, u32), colour: [u8; 3]) -> bool {
        let lab = memory.colours.lab(colour);
        let from_amid = distance_squared(lab, memory.amid);
        let exactly = || length_squared(self.judge.fit.difference(lab, x, y)) <= self.distance * self.distance;
        from_amid < memory.surely || (from_amid <= memory.at_most && exactly())
    }
}

/// Colours converted lately: pictures have few of them, and converting one costs more than all else about a pixel.
pub(super) struct Memory<'a> {
    colours: &'a Converter,
    slots: Vec<([u8; 3], Lab)>,
    /// A code and a distance, in [`DISTANCE_STEPS`], and the codes around it that are all within.
    codes: Option<([u8; 3], u32, Codes)>,
}

impl<'a> Memory<'a> {
    pub(super) fn new(colours: &'a Converter) -> Memory<'a> {
        // Every slot holds a true pair from the start.
        Memory { colours, slots: vec![([0; 3], colours.lab(0, 0, 0)); REMEMBERED], codes: None }
    }

    /// Codes that are all within a distance of the backdrop in all of a tile: tiles of one backdrop have nearly the same.
    pub(super) fn codes_near(&mut self, amid: &Amid, distance: f32) -> Codes {
        let middle = amid.nearest;
        let distance = distance - amid.spread - distance_squared(amid.lab, self.lab(middle)).sqrt();
        let steps = (distance.max(0.0) * DISTANCE_STEPS) as u32;
        match self.codes {
            Some((code, of_steps, codes)) if code == middle && of_steps == steps => codes,
            _ => {
                let codes = self.colours.codes_within(middle, steps as f32 / DISTANCE_STEPS);
                self.codes = Some((middle, steps, codes));
                codes
            }
        }
    }

    pub(super) fn lab(&mut self, colour: [u8; 3]) -> Lab {
        let [red, green, blue] = colour.map(usize::from);
        // Odd factors spread neighbouring colours over the slots; any would do.
        let slot =
            &mut self.slots[(red.wrapping_mul(5) ^ green.wrapping_mul(37) ^ blue.wrapping_mul(173)) % REMEMBERED];
        if slot.0 != colour {
            *slot = (colour, self.colours.lab(colour[0], colour[1], colour[2]));
        }
        slot.1
    }
}
