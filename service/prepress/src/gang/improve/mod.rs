//! Improves a layout of a mix: its last container is shortened, its contents pushed into the others, until work is spent. Of
//! many containers the last are emptied into the others, long ones are shortened frame by frame.

mod cram;
mod frames;
#[cfg(test)]
mod tests;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::atomic::{AtomicU64, Ordering};

use rayon::prelude::*;

use super::fill::{Spot, used};
use super::part::{at_tick, most_reach, on_tick};
use super::plan::{Bins, Shop};
use super::rng::Rng;
use super::separate::{FIRST_STEP, Field, Place, Search, Shape, Work};
use crate::fault::Fault;
use crate::geom::Vec2;
use crate::order::Rotate;

/// Distance kept above the gutter, mm, so that rounding a pose breaks no promise; without a gutter, lines that touch count as
/// apart only from here on.
const SPARE_MM: f64 = 1e-5;
/// Containers that are improved as one, at most. Measured: of more, the last are better emptied into the others one by one.
const TOGETHER: usize = 11;

/// Streams of chance apart from those of construction.
const STREAM: u64 = 0x5e9a_7a7e;

/// What improvement needs to know of a nesting.
pub(super) struct Aim<'a> {
    /// How a part may be turned.
    pub(super) rotate: &'a (dyn Fn(usize) -> Rotate + Sync),
    /// Looks for each copy.
    pub(super) looks: u64,
    /// Whether the length of every container counts, not that of the last alone.
    pub(super) all_count: bool,
    /// Told the share of the looks that is spent.
    pub(super) progress: &'a (dyn Fn(f64) + Sync),
}

/// Improvement under way.
struct Improver<'a> {
    shop: &'a Shop<'a>,
    /// Of every part that stands somewhere.
    shapes: BTreeMap<usize, Shape>,
    /// Looks for each copy.
    looks: u64,
    /// Looks for all copies, and those that were spent so far.
    all: u64,
    spent: AtomicU64,
    progress: &'a (dyn Fn(f64) + Sync),
}

impl Shop<'_> {
    /// Shorter bins, of the same copies.
    ///
    /// # Errors
    /// `run.cancelled`.
    pub(super) fn improved(&self, bins: Bins, aim: &Aim<'_>) -> Result<Bins, Fault> {
        if aim.looks == 0 {
            return Ok(bins);
        }
        let gutter = self.scale.gutter + SPARE_MM;
        let stands: BTreeSet<usize> = bins.iter().flatten().map(|spot| spot.part).collect();
        let shape = |part: usize| {
            self.cancel.check()?;
            Ok((part, Shape::new(&self.parts[part], (aim.rotate)(part), gutter)))
        };
        let shapes = stands.into_par_iter().map(shape).collect::<Result<_, Fault>>()?;
        let copies: usize = bins.iter().map(Vec::len).sum();
        let (looks, all, progress) = (aim.looks, aim.looks * copies as u64, aim.progress);
        let improver = Improver { shop: self, shapes, looks, all, spent: AtomicU64::new(0), progress };
        let in_one = self.sections.len() == 1;
        if in_one && aim.all_count {
            let made: Vec<Result<Bins, Fault>> =
                bins.into_par_iter().enumerate().map(|(task, bin)| improver.alone(bin, task as u64)).collect();
            let made = made.into_iter().collect::<Result<Vec<Bins>, Fault>>()?;
            return Ok(made.into_iter().flatten().collect());
        }
        if in_one && bins.len() > TOGETHER { improver.emptied(bins) } else { improver.shortened(bins, 0) }
    }
}

impl Improver<'_> {
    /// One search over a field, with so many looks at most.
    fn search<T>(
        &self,
        (looks, task): (u64, u64),
        run: impl FnOnce(&mut Search<'_>) -> Result<T, Fault>,
    ) -> Result<T, Fault> {
        let told = AtomicU64::new(0);
        let is_over = |looks: u64| {
            let more = looks - told.swap(looks, Ordering::Relaxed);
            let spent = self.spent.fetch_add(more, Ordering::Relaxed) + more;
            (self.progress)((spent as f64 / self.all.max(1) as f64).min(1.0));
            self.shop.clock.is_over()
        };
        let work = Work { looks, cancel: self.shop.cancel, is_over: &is_over };
        run(&mut Search::new(Rng::new(self.shop.seed, STREAM ^ task), work))
    }

    /// A bin of which the length counts made shorter.
    fn alone(&self, bin: Vec<Spot>, task: u64) -> Result<Bins, Fault> {
        if frames::is_long(&bin) { Ok(vec![self.framed(bin, task)?]) } else { self.shortened(vec![bin], task) }
    }

    /// Bins made shorter together.
    fn shortened(&self, bins: Bins, task: u64) -> Result<Bins, Fault> {
        let copies = bins.iter().map(Vec::len).sum::<usize>();
        if copies < 2 {
            return Ok(bins);
        }
        let scene = self.scene(&bins);
        let sections = &self.shop.sections;
        let section = |bin: usize| &sections[bin % sections.len()];
        let rooms: Vec<(f64, f64)> = (0..bins.len()).map(|bin| (section(bin).width, section(bin).length)).collect();
        let mut field = Field::new(&scene.shapes, &rooms, &scene.pieces);
        let mut last = bins.len() - 1;
        field.set_length(last, used(self.shop.parts, &bins[last]) + 1e-9);
        self.search((self.looks * copies as u64, task), |search| {
            loop {
                search.shorten(&mut field, last, FIRST_STEP)?;
                if !field.is_empty(last) || last == 0 {
                    return Ok(());
                }
                field.set_length(last, 0.0);
                last -= 1;
            }
        })?;
        let mut made = scene.bins(&field, bins.len());
        while made.last().is_some_and(Vec::is_empty) {
            made.pop();
        }
        Ok(made)
    }

    fn scene(&self, bins: &[Vec<Spot>]) -> Scene {
        let gutter = self.shop.scale.gutter + SPARE_MM;
        let reach = most_reach(self.shop.parts);
        let mut scene = Scene::default();
        for (window, spots) in bins.iter().enumerate() {
            for obstacle in &self.shop.sections[window % self.shop.sections.len()].obstacles {
                let place = Place { window, at: Vec2::ZERO, angle_deg: 0.0 };
                let shape = Shape::obstacle(&obstacle.outline, obstacle.radius, reach, gutter, SPARE_MM);
                scene.pieces.push((scene.shapes.len(), place, true));
                scene.parts.push(None);
                scene.shapes.push(shape);
            }
            for spot in spots {
                let place = Place { window, at: spot.at, angle_deg: spot.angle_deg };
                scene.add(spot.part, place, false, &self.shapes);
            }
        }
        scene
    }
}

/// Bins as the search sees them.
#[derive(Default)]
struct Scene {
    shapes: Vec<Shape>,
    /// Shape, place, and whether it stays.
    pieces: Vec<(usize, Place, bool)>,
    /// Which part each piece is; nothing for free zones.
    parts: Vec<Option<usize>>,
    /// Which shape a part has.
    shape_of: BTreeMap<usize, usize>,
}

impl Scene {
    fn add(&mut self, part: usize, place: Place, stays: bool, shapes: &BTreeMap<usize, Shape>) {
        let shape = *self.shape_of.entry(part).or_insert_with(|| {
            self.shapes.push(shapes[&part].clone());
            self.shapes.len() - 1
        });
        self.pieces.push((shape, place, stays));
        self.parts.push(Some(part));
    }

    /// What stands where, window by window.
    fn bins(&self, field: &Field<'_>, count: usize) -> Bins {
        let mut made: Bins = vec![Vec::new(); count];
        for (piece, part) in field.pieces.iter().zip(&self.parts) {
            if let Some(part) = part {
                let place = piece.place();
                let spot = Spot { part: *part, angle_deg: on_tick(place.angle_deg), at: at_tick(place.at) };
                made[place.window].push(spot);
            }
        }
        made
    }
}
