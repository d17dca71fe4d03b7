//! The alpha of a picture, and what is known of each stretch of it.

use std::collections::HashMap;
use std::ops::Range;

use image::RgbaImage;
use rayon::prelude::*;

use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::{Point, Vec2};

/// Alpha that counts as nothing: what a resampling filter leaves beside an edge.
pub(super) const CLEAR_ALPHA: u8 = 8;

/// Alpha from which a ridge is a stroke: an eighth of full. Below it is mostly compression noise.
pub(super) const WEAK_ALPHA: u8 = 32;

/// Alpha that counts as covered by itself.
pub(super) const STRONG_ALPHA: u8 = 128;

/// Pixels of a row that are looked at together: as many as there are bits in a word. Measured, no source.
pub(super) const ALIKE: usize = 32;

/// Rows that are dealt with at once. Common practice, no source.
pub(super) const ROWS: usize = 128;

/// Alpha that a thin stroke's pixels get: between two pixels without any the line then runs half a pixel wide. More draws
/// strokes wider than they are.
const RAISED_ALPHA: u8 = 170;

/// The alpha of a picture, with what is known of each stretch of a row: what asks for few of them passes the others at
/// once. Nothing is copied but which pixels of mixed stretches are strong or weak.
pub(super) struct Plane<'a> {
    samples: &'a [u8],
    pub width: usize,
    pub height: usize,
    /// What is known of stretches of [`ALIKE`] pixels, row by row; the last of a row may be shorter.
    ends: Vec<Ends>,
    /// Of stretches that are mixed, which pixels are strong and which are weak or strong.
    mixed: Vec<(u32, u32)>,
    /// How many of them there are before each row.
    mixed_before: Vec<u32>,
    /// One bit for each pixel of a thin stroke, which counts as covered and joins what is covered at its corners; empty where
    /// there is none.
    raised: Vec<u64>,
    /// Whether thin strokes are kept: not where what looks like one may be noise, or part of a watermark or glow.
    pub keeps_strokes: bool,
    /// Pixels whose alpha was replaced, one bit for each; empty where there is none.
    is_replaced: Vec<u64>,
    replaced: HashMap<usize, u8>,
    pub counts: Counts,
}

/// Bounds of the alphas of a stretch, and whether it is neither all strong nor without anything weak.
#[derive(Clone, Copy, Debug)]
struct Ends {
    low: u8,
    high: u8,
    is_mixed: bool,
}

/// Pixels next to each other in a row.
pub(super) struct Stretch {
    /// Their numbers.
    pub pixels: Range<usize>,
    /// Bounds of their alphas.
    pub low: u8,
    pub high: u8,
    /// One bit for each, the first the lowest: whether its own alpha is [`STRONG_ALPHA`], and whether it is [`WEAK_ALPHA`].
    pub strong: u32,
    pub weak: u32,
}

/// What is known of some rows.
#[derive(Default)]
struct Known {
    ends: Vec<Ends>,
    mixed: Vec<(u32, u32)>,
    /// How many stretches are mixed in each row.
    mixed_in: Vec<u32>,
    counts: Counts,
}

impl Known {
    fn of(rows: &[u8], width: usize) -> Known {
        let mut known = Known { ends: Vec::with_capacity(width.div_ceil(ALIKE) * ROWS), ..Known::default() };
        for row in rows.chunks(width * 4) {
            let before = known.mixed.len();
            for stretch in row.chunks(ALIKE * 4) {
                let (low, high) = ends_of(stretch);
                known.counts.add(stretch, (low, high));
                let is_mixed = high >= WEAK_ALPHA && low < STRONG_ALPHA;
                if is_mixed {
                    known.mixed.push((bits_of(stretch, STRONG_ALPHA), bits_of(stretch, WEAK_ALPHA)));
                }
                known.ends.push(Ends { low, high, is_mixed });
            }
            known.mixed_in.push((known.mixed.len() - before) as u32);
        }
        known
    }

    fn and(mut self, below: Known) -> Known {
        self.ends.extend(below.ends);
        self.mixed.extend(below.mixed);
        self.mixed_in.extend(below.mixed_in);
        self.counts = self.counts.and(below.counts);
        self
    }
}

/// How the alphas of a picture are spread.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Counts {
    pub largest: u8,
    /// Not quite opaque.
    pub transparent: u64,
    /// Visible, and of those the ones that are more than haze.
    pub visible: u64,
    pub dense: u64,
}

impl Counts {
    fn add(&mut self, stretch: &[u8], (low, high): (u8, u8)) {
        self.largest = self.largest.max(high);
        let count = |least: u8| {
            // Most stretches are all clear or all opaque.
            match (low >= least, high >= least) {
                (true, _) => stretch.len() as u64 / 4,
                (_, false) => 0,
                (false, true) => at_least(stretch, least),
            }
        };
        self.transparent += stretch.len() as u64 / 4 - count(super::TRANSPARENT_BELOW);
        self.visible += count(*super::TRANSLUCENT.start());
        self.dense += count(*super::TRANSLUCENT.end() + 1);
    }

    fn and(self, other: Counts) -> Counts {
        Counts {
            largest: self.largest.max(other.largest),
            transparent: self.transparent + other.transparent,
            visible: self.visible + other.visible,
            dense: self.dense + other.dense,
        }
    }

    /// Share of the visible pixels that are translucent.
    pub(super) fn translucent_share(&self) -> f64 {
        (self.visible - self.dense) as f64 / self.visible.max(1) as f64
    }
}

impl<'a> Plane<'a> {
    pub(super) fn of(pixels: &'a RgbaImage, cancel: &Cancel) -> Result<Plane<'a>, Fault> {
        let (width, height) = (pixels.width() as usize, pixels.height() as usize);
        let samples = pixels.as_raw().as_slice();
        let of_rows = |rows: &[u8]| cancel.check().map(|()| Known::of(rows, width));
        let parts: Vec<Known> = samples.par_chunks((width * 4 * ROWS).max(1)).map(of_rows).collect::<Result<_, _>>()?;
        let Known { ends, mixed, mixed_in, counts } = parts.into_iter().fold(Known::default(), Known::and);
        let before = |sum: &mut u32, own: u32| Some(std::mem::replace(sum, *sum + own));
        let mixed_before = mixed_in.into_iter().scan(0, before).collect();
        let (raised, is_replaced, replaced) = (Vec::new(), Vec::new(), HashMap::new());
        let keeps_strokes = false;
        Ok(Plane {
            samples,
            width,
            height,
            ends,
            mixed,
            mixed_before,
            raised,
            keeps_strokes,
            is_replaced,
            replaced,
            counts,
        })
    }

    /// Alpha at a place; everything outside the canvas is transparent.
    pub(super) fn alpha(&self, x: i64, y: i64) -> u8 {
        self.number(x, y).map_or(0, |index| self.alpha_at(index))
    }

    /// A pixel's number, row by row; none outside the canvas.
    fn number(&self, x: i64, y: i64) -> Option<usize> {
        let inside = x >= 0 && y >= 0 && x < self.width as i64 && y < self.height as i64;
        inside.then(|| y as usize * self.width + x as usize)
    }

    /// A place's own alpha, whether or not it belongs to a thin stroke.
    pub(super) fn own_alpha(&self, x: i64, y: i64) -> u8 {
        self.number(x, y).map_or(0, |index| self.sample(index))
    }

    /// The mean alpha of the four pixels around a corner, which is the upper left one of a pixel.
    fn mean_around(&self, x: i64, y: i64) -> f64 {
        let four = [(x - 1, y - 1), (x, y - 1), (x, y), (x - 1, y)];
        four.into_iter().map(|(x, y)| f64::from(self.alpha(x, y))).sum::<f64>() / 4.0
    }

    /// Whether the covered two of the four pixels around a corner, which is the upper left one of a pixel, hang together there
    /// though they lie across from each other: where the mean of the four is over the threshold, or where a thin stroke runs
    /// through both and such strokes are kept. It leaves something of itself in the other two, and little beside the covered
    /// ones; a gap between broad shapes does not, one across a thin stroke may.
    pub(super) fn joins_at_corner(&self, x: i64, y: i64, threshold: f64) -> bool {
        let is_covered = self.mean_around(x, y) > threshold;
        if is_covered || !self.keeps_strokes {
            return is_covered;
        }
        let pairs = [[(x - 1, y - 1), (x, y)], [(x, y - 1), (x - 1, y)]];
        let [falling, rising] =
            pairs.map(|pair| pair.map(|(x, y)| self.alpha(x, y)).into_iter().fold(u8::MAX, u8::min));
        let (covered, right, others) = if falling > rising { (pairs[0], 1, rising) } else { (pairs[1], -1, falling) };
        let is_thin =
            |(x, y): (i64, i64)| self.alpha(x + right, y - 1).max(self.alpha(x - right, y + 1)) <= self.alpha(x, y) / 2;
        others > CLEAR_ALPHA && covered.into_iter().all(is_thin)
    }

    /// The largest alpha before a place, as one goes along.
    pub(super) fn largest_before(&self, place: Point, along: Vec2) -> u8 {
        let before = [-1.0, 0.0, 1.0].map(|beside| {
            let at = place + along * 3.0 + Vec2::new(-along.y, along.x) * beside;
            self.alpha(at.x.floor() as i64, at.y.floor() as i64)
        });
        before[0].max(before[1]).max(before[2])
    }

    /// Alpha of a pixel by its number, row by row.
    pub(super) fn alpha_at(&self, index: usize) -> u8 {
        if self.is_raised(index) { RAISED_ALPHA } else { self.sample(index) }
    }

    /// A pixel's own alpha, whether or not it belongs to a thin stroke.
    pub(super) fn sample(&self, index: usize) -> u8 {
        let own = self.samples[index * 4 + 3];
        if has(&self.is_replaced, index) { self.replaced.get(&index).copied().unwrap_or(own) } else { own }
    }

    /// Whether a pixel belongs to a thin stroke.
    pub(super) fn is_raised(&self, index: usize) -> bool {
        has(&self.raised, index)
    }

    /// Takes a pixel's alpha for more than it is.
    pub(super) fn replace(&mut self, index: usize, alpha: u8) {
        if self.is_replaced.is_empty() {
            self.is_replaced = vec![0; (self.width * self.height).div_ceil(64)];
        }
        self.is_replaced[index / 64] |= 1 << (index % 64);
        self.replaced.insert(index, alpha);
        let (row, column) = (index / self.width, index % self.width);
        let per_row = self.width.div_ceil(ALIKE);
        let stretch = row * per_row + column / ALIKE;
        self.ends[stretch].high = self.ends[stretch].high.max(alpha);
        if self.ends[stretch].is_mixed && alpha >= STRONG_ALPHA {
            let before = self.ends[row * per_row..stretch].iter().filter(|ends| ends.is_mixed).count();
            self.mixed[self.mixed_before[row] as usize + before].0 |= 1 << (column % ALIKE);
        }
    }

    /// Takes a pixel for one of a thin stroke.
    pub(super) fn raise(&mut self, index: usize) {
        if self.raised.is_empty() {
            self.raised = vec![0; (self.width * self.height).div_ceil(64)];
        }
        self.raised[index / 64] |= 1 << (index % 64);
        let stretch = index / self.width * self.width.div_ceil(ALIKE) + index % self.width / ALIKE;
        self.ends[stretch].high = self.ends[stretch].high.max(RAISED_ALPHA);
    }

    /// Places in a stretch of the pixels of thin strokes.
    pub(super) fn raised_in(&self, stretch: &Range<usize>) -> impl Iterator<Item = usize> {
        let start = stretch.start;
        let looked_at = if self.raised.is_empty() { start..start } else { stretch.clone() };
        looked_at.filter(|index| self.is_raised(*index)).map(move |index| index - start)
    }

    /// One bit for each of some pixels, the first the lowest: whether its own alpha is so much.
    pub(super) fn bits(&self, pixels: &Range<usize>, least: u8) -> u32 {
        bits_of(&self.samples[pixels.start * 4..pixels.end * 4], least)
    }

    /// The stretches of a row.
    pub(super) fn stretches(&self, y: usize) -> impl Iterator<Item = Stretch> {
        let (start, end, per_row) = (y * self.width, (y + 1) * self.width, self.width.div_ceil(ALIKE));
        let mut mixed = self.mixed[self.mixed_before[y] as usize..].iter();
        let ends = &self.ends[y * per_row..(y + 1) * per_row];
        (start..end).step_by(ALIKE).zip(ends).map(move |(first, ends)| {
            let Ends { low, high, is_mixed } = *ends;
            let pixels = first..(first + ALIKE).min(end);
            let all = if low >= STRONG_ALPHA { u32::MAX >> (ALIKE - pixels.len()) } else { 0 };
            let of_mixed = if is_mixed { mixed.next() } else { None };
            let (strong, weak) = of_mixed.copied().unwrap_or((all, all));
            Stretch { pixels, low, high, strong, weak }
        })
    }
}

/// Whether a pixel's bit is set, if there are any.
fn has(bits: &[u64], index: usize) -> bool {
    bits.get(index / 64).is_some_and(|bits| bits >> (index % 64) & 1 == 1)
}

/// One bit for each pixel of a stretch, the first the lowest: whether its alpha is so much.
fn bits_of(stretch: &[u8], least: u8) -> u32 {
    stretch.chunks_exact(4).enumerate().fold(0, |bits, (place, rgba)| bits | u32::from(rgba[3] >= least) << place)
}

/// Places of alpha in a vector of four pixels.
const ALPHAS: [usize; 4] = [3, 7, 11, 15];

/// Least and largest alpha of some pixels. Most are all opaque or all clear.
fn ends_of(stretch: &[u8]) -> (u8, u8) {
    const ALPHAS_OF_TWO: u64 = 0xFF00_0000_FF00_0000;
    let (pairs, rest) = stretch.as_chunks::<8>();
    let (all, any) = pairs.iter().fold((u64::MAX, 0), |(all, any), pair| {
        let pair = u64::from_le_bytes(*pair);
        (all & pair, any | pair)
    });
    // Without another one in a pair.
    let last = rest.get(3);
    if all & ALPHAS_OF_TWO == ALPHAS_OF_TWO && last.is_none_or(|alpha| *alpha == u8::MAX) {
        (u8::MAX, u8::MAX)
    } else if any & ALPHAS_OF_TWO == 0 && last.is_none_or(|alpha| *alpha == 0) {
        (0, 0)
    } else {
        mixed_ends_of(stretch)
    }
}

/// The same of any pixels, of whole vectors at once.
fn mixed_ends_of(stretch: &[u8]) -> (u8, u8) {
    let (vectors, rest) = stretch.as_chunks::<16>();
    let (mut low, mut high) = ([u8::MAX; 16], [0; 16]);
    for vector in vectors {
        for lane in 0..16 {
            low[lane] = low[lane].min(vector[lane]);
            high[lane] = high[lane].max(vector[lane]);
        }
    }
    let rest = || rest.chunks_exact(4).map(|rgba| rgba[3]);
    let least = ALPHAS.into_iter().map(|lane| low[lane]).chain(rest()).min();
    let largest = ALPHAS.into_iter().map(|lane| high[lane]).chain(rest()).max();
    (least.unwrap_or(u8::MAX), largest.unwrap_or(0))
}

/// Pixels of a stretch with so much alpha, counted in bytes: a stretch cannot overflow one, and where that need not be looked
/// after, the processor counts sixteen at once.
fn at_least(stretch: &[u8], least: u8) -> u64 {
    let (vectors, rest) = stretch.as_chunks::<16>();
    let mut counts = [0_u8; 16];
    for vector in vectors {
        for lane in 0..16 {
            counts[lane] = counts[lane].wrapping_add(u8::from(vector[lane] >= least));
        }
    }
    let rest = rest.chunks_exact(4).filter(|rgba| rgba[3] >= least).count();
    ALPHAS.into_iter().map(|lane| u64::from(counts[lane])).sum::<u64>() + rest as u64
}
