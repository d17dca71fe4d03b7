//! How far a pixel is from the backdrop.

use image::RgbaImage;
use rayon::prelude::*;

use super::frame_fit::FrameFit;
use super::ground::{ART, GroundMap, NEAR};
use super::oklab::{Converter, Lab};
use crate::cancel::Cancel;
use crate::fault::Fault;

/// Rows between two looks at the flag, and colours remembered meanwhile. Tried: fewer rows fill the memory too often.
const BAND_ROWS: usize = 32;
const REMEMBERED: usize = 1024;

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

    /// The backdrop at a pixel, OKLab.
    pub(super) fn ground(&self, index: usize) -> Lab {
        let (x, y) = self.place(index);
        self.fit.lab_at(x, y)
    }

    /// The pixel's encoded red, green and blue.
    pub(super) fn colour(&self, index: usize) -> [u8; 3] {
        let sample = &self.pixels.as_raw()[index * 4..index * 4 + 3];
        [sample[0], sample[1], sample[2]]
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

    /// Share of places that differ from the backdrop by less than a distance in OKLab.
    pub(super) fn share_within(&self, places: &[usize], limit: f32) -> f64 {
        let near = places.iter().filter(|index| self.distance_squared(**index) < limit * limit).count();
        near as f64 / places.len().max(1) as f64
    }

    /// Marks what is within a distance of the backdrop.
    pub(super) fn classify(&self, tolerance: f32, cancel: &Cancel) -> Result<GroundMap, Fault> {
        let (width, height) = (self.pixels.width() as usize, self.pixels.height() as usize);
        let mut classes = vec![ART; width * height];
        let limit = tolerance * tolerance;
        let bands = classes.par_chunks_mut(width * BAND_ROWS);
        bands.zip(self.pixels.as_raw().par_chunks(width * 4 * BAND_ROWS)).enumerate().try_for_each(
            |(band, (classes, samples))| {
                cancel.check()?;
                let mut memory = Memory::new(self.colours);
                let rows = classes.chunks_exact_mut(width).zip(samples.chunks_exact(width * 4));
                for (row, (classes, samples)) in rows.enumerate() {
                    let y = (band * BAND_ROWS + row) as u32;
                    for (x, (class, sample)) in classes.iter_mut().zip(samples.chunks_exact(4)).enumerate() {
                        let lab = memory.lab([sample[0], sample[1], sample[2]]);
                        if length_squared(self.fit.difference(lab, x as u32, y)) <= limit {
                            *class = NEAR;
                        }
                    }
                }
                Ok(())
            },
        )?;
        Ok(GroundMap { classes, width, height })
    }
}

pub(super) fn length_squared([l, m, s]: Lab) -> f32 {
    l * l + m * m + s * s
}

/// Colours converted lately: pictures have few of them, and converting one costs more than all else about a pixel.
struct Memory<'a> {
    colours: &'a Converter,
    slots: Vec<([u8; 3], Lab)>,
}

impl<'a> Memory<'a> {
    fn new(colours: &'a Converter) -> Memory<'a> {
        // Every slot holds a true pair from the start.
        Memory { colours, slots: vec![([0; 3], colours.lab(0, 0, 0)); REMEMBERED] }
    }

    fn lab(&mut self, colour: [u8; 3]) -> Lab {
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
