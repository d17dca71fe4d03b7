//! Lays out one stock: containers one after another, the best of several tries each, the best of several whole layouts.

use std::sync::atomic::{AtomicBool, Ordering};

use rayon::prelude::*;

use super::feed::Section;
use super::fill::{Fill, Spot, Taste, used};
use super::mask::Mask;
use super::part::{Part, Scale};
use super::rng::Rng;
use super::settle::settle;
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::order::Effort;

/// Layouts that are made between two looks at the clock.
const BATCH: u64 = 4;

/// How much work is done: counted, never timed.
#[derive(Clone, Copy, Debug)]
pub(super) struct Work {
    /// Side of a cell, mm.
    pub(super) cell: f64,
    /// Steps of a full turn.
    pub(super) steps: u32,
    /// Tries for each container.
    pub(super) tries: u64,
    /// Whole layouts.
    pub(super) layouts: u64,
    /// Lots among which the next is chosen.
    pub(super) choices: usize,
    /// Rows of the ring around a part that are looked at, about.
    pub(super) halo_rows: usize,
    /// Times that a container is filled up after its parts were slid together.
    pub(super) refills: u32,
    /// Pairs of outlines looked at for each copy to improve a layout. Measured: about 0.2 µs each.
    pub(super) looks: u64,
}

/// Looks for all copies together to improve a layout of few, and for each copy at least and at most: few gain much from it,
/// and long before the most is spent nothing is left to gain. Measured on strips and mixes.
const LOOKS_STANDARD: (u64, u64, u64) = (18_000_000, 10_000, 60_000);
const LOOKS_THOROUGH: (u64, u64, u64) = (200_000_000, 400_000, 5_000_000);

impl Work {
    /// The work of an effort for so many lots and copies. Measured on mixes of clip-art outlines.
    pub(super) fn of(effort: Effort, lots: usize, copies: u64) -> Work {
        let (cell, steps, placements, layouts) = match effort {
            Effort::Draft => (1.0, 24, 600, 2),
            Effort::Standard => (0.75, 32, 1_600, 2),
            Effort::Thorough => (0.5, 48, 4_000, 8),
        };
        let total = (placements / copies.max(1)).clamp(1, 96);
        // Where there would be few tries, one is made with more care: measured, that is denser for the same work.
        let (cell, choices) = match effort {
            Effort::Draft if total == 1 => (cell, 2),
            Effort::Standard if total <= 4 => (0.5, 12),
            Effort::Thorough if total <= 4 => (0.5, 16),
            Effort::Draft | Effort::Standard | Effort::Thorough => (cell, 1),
        };
        // A choice among many does not hang on every row; where there are many tries instead, all rows find denser ones. Measured.
        let halo_rows = if choices > 1 { 24 } else { usize::MAX };
        let (total, layouts) = if choices > 1 { (1, 1) } else { (total, layouts.min(total)) };
        // With very many designs some part always fits well, and the masks of all angles would take much memory.
        let (turns, least) = if effort == Effort::Draft { (5_000, 8) } else { (8_000, 12) };
        let most_steps = (turns / lots.max(1)).clamp(least, 48) as u32;
        let refills = if effort == Effort::Draft && lots > 100 { 1 } else { 2 };
        let shared = |(all, least, most): (u64, u64, u64)| (all / copies.max(1)).clamp(least, most);
        let looks = match effort {
            Effort::Draft => 0,
            Effort::Standard => shared(LOOKS_STANDARD),
            Effort::Thorough => shared(LOOKS_THOROUGH),
        };
        Work {
            cell,
            steps: steps.min(most_steps),
            tries: (total / layouts).max(1),
            layouts,
            choices,
            halo_rows,
            refills,
            looks,
        }
    }
}

/// What is laid out.
pub(super) struct Shop<'a> {
    /// Every lot made ready.
    pub(super) parts: &'a [Part],
    /// One container.
    pub(super) sections: &'a [Section],
    /// The sections' free zones in cells.
    pub(super) obstacles: Vec<Vec<Mask>>,
    /// Scale of the masks.
    pub(super) scale: Scale,
    /// Seed.
    pub(super) seed: u64,
    /// Work to do.
    pub(super) work: Work,
    /// The caller's flag.
    pub(super) cancel: &'a Cancel,
    /// The caller's clock.
    pub(super) clock: Clock<'a>,
}

/// The caller's hard stop, and whether it was ever met.
pub(super) struct Clock<'a> {
    out_of_time: &'a (dyn Fn() -> bool + Sync),
    met: AtomicBool,
}

impl<'a> Clock<'a> {
    /// A clock that nobody has looked at.
    pub(super) fn new(out_of_time: &'a (dyn Fn() -> bool + Sync)) -> Clock<'a> {
        Clock { out_of_time, met: AtomicBool::new(false) }
    }

    /// Whether it was ever time to stop.
    pub(super) fn was_met(&self) -> bool {
        self.met.load(Ordering::Relaxed)
    }

    /// Whether improvement must end.
    pub(super) fn is_over(&self) -> bool {
        let over = (self.out_of_time)();
        self.met.fetch_or(over, Ordering::Relaxed);
        over
    }
}

/// Sections of container after container, in order; each holds what stands in it.
pub(super) type Bins = Vec<Vec<Spot>>;

/// One section filled, and what is left to place.
struct Filled {
    spots: Vec<Spot>,
    left: Vec<u32>,
    worth: f64,
}

impl Shop<'_> {
    /// An empty section.
    pub(super) fn empty(&self, section: usize) -> Fill<'_> {
        let room = &self.sections[section];
        Fill::new(self.parts, self.scale, room.width, room.length, &self.obstacles[section])
    }

    /// The best of several whole layouts. The first is always completed, in the end with one try for each container.
    ///
    /// # Errors
    /// `run.cancelled`.
    pub(super) fn best(&self, copies: &[u32], progress: &(dyn Fn(f64) + Sync)) -> Result<Bins, Fault> {
        // The first look starts a clock that runs from its first look.
        self.clock.is_over();
        let mut best = self.layout(copies, 0, progress)?;
        let mut next = 1;
        while next < self.work.layouts {
            if self.clock.is_over() {
                break;
            }
            let end = (next + BATCH).min(self.work.layouts);
            let made: Vec<Result<Bins, Fault>> =
                (next..end).into_par_iter().map(|task| self.layout(copies, task, &|_| ())).collect();
            for layout in made {
                let layout = layout?;
                if self.rank(&layout) < self.rank(&best) {
                    best = layout;
                }
            }
            next = end;
            progress(next as f64 / self.work.layouts as f64);
        }
        Ok(best)
    }

    /// Less is better: sections used, then the length used on the last.
    pub(super) fn rank(&self, bins: &Bins) -> (usize, i64) {
        let last = bins.last().map_or(0.0, |spots| used(self.parts, spots));
        (bins.len(), (last * 1e3).round() as i64)
    }

    /// One section filled by the map alone, with a share of the tries.
    ///
    /// # Errors
    /// `run.cancelled`.
    pub(super) fn filled(&self, section: usize, left: &[u32]) -> Result<Vec<Spot>, Fault> {
        Ok(self.section(section, left, 0, (self.work.tries / 8).max(2))?.spots)
    }

    /// One layout of a few copies, for repairs.
    ///
    /// # Errors
    /// `run.cancelled`.
    pub(super) fn again(&self, copies: &[u32]) -> Result<Bins, Fault> {
        self.layout(copies, u64::MAX / 2_000_006, &|_| ())
    }

    fn layout(&self, copies: &[u32], task: u64, progress: &(dyn Fn(f64) + Sync)) -> Result<Bins, Fault> {
        let total: u64 = copies.iter().map(|copies| u64::from(*copies)).sum();
        let mut left = copies.to_vec();
        let mut bins = Bins::new();
        let mut idle = 0;
        while left.iter().any(|left| *left > 0) && idle < self.sections.len() {
            let section = bins.len() % self.sections.len();
            let filled = self.section(section, &left, task * 1_000_003 + bins.len() as u64, self.work.tries)?;
            idle = if filled.spots.is_empty() { idle + 1 } else { 0 };
            left = filled.left;
            let repeats = if self.sections.len() == 1 { repeats(&filled.spots, &left) } else { 0 };
            for _ in 0..repeats {
                filled.spots.iter().for_each(|spot| left[spot.part] -= 1);
                bins.push(filled.spots.clone());
            }
            bins.push(filled.spots);
            let open: u64 = left.iter().map(|left| u64::from(*left)).sum();
            progress((1.0 - open as f64 / total.max(1) as f64) / self.work.layouts as f64);
        }
        while bins.last().is_some_and(Vec::is_empty) {
            bins.pop();
        }
        Ok(bins)
    }

    /// The best of several tries to fill one section.
    fn section(&self, section: usize, left: &[u32], task: u64, tries: u64) -> Result<Filled, Fault> {
        let made: Vec<Option<Result<Filled, Fault>>> = (0..tries)
            .into_par_iter()
            .map(|attempt| {
                let wanted = attempt == 0 || !self.clock.is_over();
                wanted.then(|| self.attempt(section, left, task, attempt))
            })
            .collect();
        let mut best: Option<Filled> = None;
        for filled in made.into_iter().flatten() {
            let filled = filled?;
            if best.as_ref().is_none_or(|best| filled.worth > best.worth) {
                best = Some(filled);
            }
        }
        Ok(best.unwrap_or_else(|| Filled { spots: Vec::new(), left: left.to_vec(), worth: 0.0 }))
    }

    fn attempt(&self, section: usize, left: &[u32], task: u64, attempt: u64) -> Result<Filled, Fault> {
        let mut rng = Rng::new(self.seed, task.wrapping_mul(4099).wrapping_add(attempt));
        let taste = taste(&mut rng, attempt);
        let order = self.order(left, &mut rng, if attempt == 0 { 0.0 } else { 0.6 });
        let mut left = left.to_vec();
        let mut fill = self.empty(section);
        self.fill(&mut fill, &order, &mut left, taste)?;
        let room = &self.sections[section];
        // Sliding makes room at the far end, where a few more may fit.
        for _ in 0..self.work.refills {
            let mut spots = fill.spots.clone();
            settle(self.parts, room, self.scale.gutter, &mut spots, 2, self.cancel)?;
            fill = self.empty(section);
            spots.iter().for_each(|spot| fill.add(*spot));
            if left.iter().all(|left| *left == 0) || self.fill(&mut fill, &order, &mut left, taste)? == 0 {
                break;
            }
        }
        let spots = fill.spots;
        let done = left.iter().all(|left| *left == 0);
        // Everything placed beats all else, then the shorter; else the more area, large parts counting a little more.
        let worth = if done {
            1e12 - used(self.parts, &spots)
        } else {
            spots.iter().map(|spot| self.parts[spot.part].area.powf(1.1)).sum()
        };
        Ok(Filled { spots, left, worth })
    }

    /// Places what fits, lot by lot; returns how many.
    pub(super) fn fill(
        &self,
        fill: &mut Fill<'_>,
        order: &[usize],
        left: &mut [u32],
        taste: Taste,
    ) -> Result<u32, Fault> {
        if self.work.choices > 1 {
            return self.fill_choosing(fill, order, left, (taste, self.work.choices));
        }
        let mut placed = 0;
        for part in order {
            while left[*part] > 0 && fill.place(*part, taste, f64::INFINITY, self.cancel)? {
                left[*part] -= 1;
                placed += 1;
            }
        }
        Ok(placed)
    }

    /// Lots that still have copies, large ones first, shuffled by `noise`.
    fn order(&self, left: &[u32], rng: &mut Rng, noise: f64) -> Vec<usize> {
        let mut keyed: Vec<(f64, usize)> = Vec::new();
        for (index, part) in self.parts.iter().enumerate() {
            let key = part.hull_area * (1.0 + noise * (rng.unit() - 0.5));
            if left[index] > 0 {
                keyed.push((key, index));
            }
        }
        keyed.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        keyed.into_iter().map(|(_, index)| index).collect()
    }
}

/// What a try looks for.
pub(super) fn taste(rng: &mut Rng, attempt: u64) -> Taste {
    let depth_per_mm = if attempt == 0 { 0.01 } else { 0.004 * 10f64.powf(rng.unit()) };
    Taste { depth_per_mm, depth_at: 0.7, look_mm: 12.0 }
}

/// How many more sections can be filled in the same way.
fn repeats(spots: &[Spot], left: &[u32]) -> u32 {
    let mut counts = vec![0u32; left.len()];
    spots.iter().for_each(|spot| counts[spot.part] += 1);
    let of = |(count, left): (&u32, &u32)| if *count == 0 { u32::MAX } else { left / count };
    let repeats = counts.iter().zip(left).map(of).min().unwrap_or(0);
    if repeats == u32::MAX { 0 } else { repeats }
}
