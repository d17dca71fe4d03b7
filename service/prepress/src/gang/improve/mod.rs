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
use super::part::on_tick;
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

/// Counts the looks of all groups.
struct Spent<'a> {
    all: u64,
    so_far: AtomicU64,
    progress: &'a (dyn Fn(f64) + Sync),
}

impl Spent<'_> {
    fn meter(&self) -> Meter<'_> {
        Meter { spent: self, told: AtomicU64::new(0) }
    }
}

/// Counts the looks of one search.
struct Meter<'a> {
    spent: &'a Spent<'a>,
    told: AtomicU64,
}

impl Meter<'_> {
    /// The looks so far.
    fn tell(&self, looks: u64) {
        let more = looks - self.told.swap(looks, Ordering::Relaxed);
        let so_far = self.spent.so_far.fetch_add(more, Ordering::Relaxed) + more;
        (self.spent.progress)((so_far as f64 / self.spent.all.max(1) as f64).min(1.0));
    }
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
        self.improved_with(bins, &shapes, aim)
    }

    fn improved_with(&self, bins: Bins, shapes: &BTreeMap<usize, Shape>, aim: &Aim<'_>) -> Result<Bins, Fault> {
        let copies: usize = bins.iter().map(Vec::len).sum();
        let spent = Spent { all: aim.looks * copies as u64, so_far: AtomicU64::new(0), progress: aim.progress };
        if self.sections.len() > 1 {
            return self.shortened(bins, shapes, aim, (0, &spent));
        }
        if aim.all_count {
            let shortened = |(task, bin): (usize, Vec<Spot>)| {
                if self.is_long(&bin) {
                    Ok(vec![self.framed(bin, shapes, aim, (task as u64, &spent))?])
                } else {
                    self.shortened(vec![bin], shapes, aim, (task as u64, &spent))
                }
            };
            let made: Vec<Result<Bins, Fault>> = bins.into_par_iter().enumerate().map(shortened).collect();
            let made = made.into_iter().collect::<Result<Vec<Bins>, Fault>>()?;
            return Ok(made.into_iter().flatten().collect());
        }
        if bins.len() > TOGETHER {
            return self.emptied(bins, shapes, aim, &spent);
        }
        self.shortened(bins, shapes, aim, (0, &spent))
    }

    /// One group of bins made shorter together.
    fn shortened(
        &self,
        bins: Bins,
        shapes: &BTreeMap<usize, Shape>,
        aim: &Aim<'_>,
        (task, spent): (u64, &Spent<'_>),
    ) -> Result<Bins, Fault> {
        let copies = bins.iter().map(Vec::len).sum::<usize>();
        if copies < 2 {
            return Ok(bins);
        }
        let scene = self.scene(&bins, shapes);
        let section = |bin: usize| &self.sections[bin % self.sections.len()];
        let rooms: Vec<(f64, f64)> = (0..bins.len()).map(|bin| (section(bin).width, section(bin).length)).collect();
        let mut field = Field::new(&scene.shapes, &rooms, &scene.pieces);
        let meter = spent.meter();
        let is_over = |looks: u64| {
            meter.tell(looks);
            self.clock.is_over()
        };
        let work = Work { looks: aim.looks * copies as u64, cancel: self.cancel, is_over: &is_over };
        let mut search = Search::new(Rng::new(self.seed, STREAM ^ task), work);
        let mut last = bins.len() - 1;
        field.set_length(last, used(self.parts, &bins[last]) + 1e-9);
        loop {
            search.shorten(&mut field, last, FIRST_STEP)?;
            if !field.is_empty(last) || last == 0 {
                break;
            }
            field.set_length(last, 0.0);
            last -= 1;
        }
        let mut made = scene.bins(&field, bins.len());
        while made.last().is_some_and(Vec::is_empty) {
            made.pop();
        }
        Ok(made)
    }

    fn scene(&self, bins: &[Vec<Spot>], shapes: &BTreeMap<usize, Shape>) -> Scene {
        let gutter = self.scale.gutter + SPARE_MM;
        let reach = self.parts.iter().map(|part| part.reach).fold(0.0, f64::max);
        let mut scene = Scene::default();
        for (window, spots) in bins.iter().enumerate() {
            for obstacle in &self.sections[window % self.sections.len()].obstacles {
                let place = Place { window, at: Vec2::ZERO, angle_deg: 0.0 };
                let shape = Shape::obstacle(&obstacle.outline, obstacle.radius, reach, gutter, SPARE_MM);
                scene.pieces.push((scene.shapes.len(), place, true));
                scene.parts.push(None);
                scene.shapes.push(shape);
            }
            for spot in spots {
                let place = Place { window, at: spot.at, angle_deg: spot.angle_deg };
                scene.add(spot.part, place, false, shapes);
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
                let spot = Spot { part: *part, angle_deg: on_tick(place.angle_deg), at: tick(place.at) };
                made[place.window].push(spot);
            }
        }
        made
    }
}

fn tick(at: Vec2) -> Vec2 {
    Vec2::new(on_tick(at.x), on_tick(at.y))
}
