//! Which pixels of an opaque picture are ground: those of the backdrop's colour that hang together with the canvas's edge.
//!
//! A region of the backdrop's colour inside the art is not reached from the edge and stays. More tolerance never removes
//! less: a pixel near enough for one tolerance is near enough for a larger one.

use image::RgbaImage;
use rayon::prelude::*;

use super::frame_fit::{Canvas, FrameFit, at};
use super::oklab::{Converter, distance_squared};
use crate::cancel::Cancel;
use crate::fault::Fault;

/// Not the backdrop's colour.
pub(super) const ART: u8 = 0;
/// The backdrop's colour, not reached from the edge.
pub(super) const NEAR: u8 = 1;
/// Ground.
pub(super) const GROUND: u8 = 2;

/// An island of at most so many pixels may be a speck of compression noise. Common practice, no source.
const SPECK_PX: usize = 64;

/// A speck's mean distance from the backdrop, in tolerances, up to which it is noise and not a small piece of art.
const SPECK_TOLERANCES: f32 = 2.5;

/// The same for dots of at most so many pixels, which compression rings around sharp edges leave in stronger colours.
const DOT_PX: usize = 6;
const DOT_TOLERANCES: f32 = 6.0;

/// A class for each pixel.
pub(super) struct GroundMap {
    /// Row by row.
    pub classes: Vec<u8>,
    pub width: usize,
    pub height: usize,
}

impl GroundMap {
    /// Pixels that are ground.
    pub(super) fn ground_count(&self) -> usize {
        self.classes.iter().filter(|class| **class == GROUND).count()
    }

    /// The up to eight neighbours of a pixel on the canvas.
    pub(super) fn around(&self, index: usize) -> impl Iterator<Item = usize> + use<> {
        let (width, height) = (self.width, self.height);
        let (x, y) = (index % width, index / width);
        let rows = y.saturating_sub(1)..=(y + 1).min(height - 1);
        rows.flat_map(move |row| (x.saturating_sub(1)..=(x + 1).min(width - 1)).map(move |column| row * width + column))
            .filter(move |neighbour| *neighbour != index)
    }
}

/// Finds the ground. `tolerance` is a distance in OKLab. Linear in pixels.
pub(super) fn find(
    pixels: &RgbaImage,
    fit: &FrameFit,
    tolerance: f32,
    colours: &Converter,
    cancel: &Cancel,
) -> Result<GroundMap, Fault> {
    let judge = Judge { pixels, fit, colours, canvas: Canvas::of(pixels) };
    let mut map = judge.classify(tolerance);
    cancel.check()?;
    flood(&mut map);
    cancel.check()?;
    remove_specks(&mut map, &judge, tolerance);
    Ok(map)
}

/// Share of pixels that differ from the backdrop by less than a distance in OKLab.
pub(super) fn share_within(
    pixels: &RgbaImage,
    fit: &FrameFit,
    colours: &Converter,
    places: &[usize],
    limit: f32,
) -> f64 {
    let judge = Judge { pixels, fit, colours, canvas: Canvas::of(pixels) };
    let width = pixels.width() as usize;
    let near =
        |index: &&usize| judge.distance_squared((**index % width) as u32, (**index / width) as u32) < limit * limit;
    places.iter().filter(near).count() as f64 / places.len().max(1) as f64
}

struct Judge<'a> {
    pixels: &'a RgbaImage,
    fit: &'a FrameFit,
    colours: &'a Converter,
    canvas: Canvas,
}

impl Judge<'_> {
    fn distance_squared(&self, x: u32, y: u32) -> f32 {
        let [red, green, blue, _] = self.pixels.get_pixel(x, y).0;
        distance_squared(self.colours.lab(red, green, blue), at(&self.fit.lab, self.canvas.place(x, y)))
    }

    fn classify(&self, tolerance: f32) -> GroundMap {
        let (width, height) = (self.pixels.width() as usize, self.pixels.height() as usize);
        let mut classes = vec![ART; width * height];
        let limit = tolerance * tolerance;
        classes.par_chunks_mut(width).zip(self.pixels.as_raw().par_chunks(width * 4)).enumerate().for_each(
            |(y, (classes, samples))| {
                // Flat parts are many: the last colour's value is at hand.
                let mut last = ([0_u8; 3], self.colours.lab(0, 0, 0));
                for (x, (class, sample)) in classes.iter_mut().zip(samples.chunks_exact(4)).enumerate() {
                    let colour = [sample[0], sample[1], sample[2]];
                    if colour != last.0 {
                        last = (colour, self.colours.lab(colour[0], colour[1], colour[2]));
                    }
                    let ground = at(&self.fit.lab, self.canvas.place(x as u32, y as u32));
                    *class = if distance_squared(last.1, ground) <= limit { NEAR } else { ART };
                }
            },
        );
        GroundMap { classes, width, height }
    }
}

/// Turns what hangs together with the canvas's edge into ground, by runs of a row.
fn flood(map: &mut GroundMap) {
    let (width, height) = (map.width, map.height);
    let sides = (0..height).flat_map(|y| [y * width, y * width + width - 1]);
    let mut open: Vec<usize> = (0..width).chain((height - 1) * width..height * width).chain(sides).collect();
    while let Some(index) = open.pop() {
        if map.classes[index] != NEAR {
            continue;
        }
        let row = index / width * width;
        let mut first = index;
        while first > row && map.classes[first - 1] == NEAR {
            first -= 1;
        }
        let mut last = index;
        while last + 1 < row + width && map.classes[last + 1] == NEAR {
            last += 1;
        }
        map.classes[first..=last].fill(GROUND);
        if row > 0 {
            open_runs(&map.classes, first - width..=last - width, &mut open);
        }
        if row + width < width * height {
            open_runs(&map.classes, first + width..=last + width, &mut open);
        }
    }
}

/// Adds the first pixel of each run of the backdrop's colour.
fn open_runs(classes: &[u8], range: std::ops::RangeInclusive<usize>, open: &mut Vec<usize>) {
    let mut before = ART;
    for index in range {
        if classes[index] == NEAR && before != NEAR {
            open.push(index);
        }
        before = classes[index];
    }
}

/// Makes ground of tiny islands that are nearly the backdrop's colour.
fn remove_specks(map: &mut GroundMap, judge: &Judge, tolerance: f32) {
    // Pixels known to belong to something larger than a speck: reaching one ends the search.
    let mut large = vec![false; map.classes.len()];
    let mut island = Vec::new();
    let mut inside = std::collections::BTreeSet::new();
    for start in 1..map.classes.len() {
        if map.classes[start] == GROUND || map.classes[start - 1] != GROUND || large[start] {
            continue;
        }
        island.clear();
        inside.clear();
        island.push(start);
        inside.insert(start);
        let mut next = 0;
        let mut is_speck = true;
        while let Some(index) = island.get(next).copied() {
            next += 1;
            for neighbour in map.around(index) {
                is_speck &= !large[neighbour];
                if map.classes[neighbour] != GROUND && inside.insert(neighbour) {
                    island.push(neighbour);
                }
            }
            if island.len() > SPECK_PX || !is_speck {
                is_speck = false;
                break;
            }
        }
        if is_speck && is_noise(&island, map.width, judge, tolerance) {
            island.iter().for_each(|index| map.classes[*index] = GROUND);
        } else {
            island.iter().for_each(|index| large[*index] = true);
        }
    }
}

fn is_noise(island: &[usize], width: usize, judge: &Judge, tolerance: f32) -> bool {
    let distance = |index: &usize| judge.distance_squared((index % width) as u32, (index / width) as u32).sqrt();
    let allowed = if island.len() <= DOT_PX { DOT_TOLERANCES } else { SPECK_TOLERANCES };
    island.iter().map(distance).sum::<f32>() <= allowed * tolerance * island.len() as f32
}
