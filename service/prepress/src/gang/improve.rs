//! Improves a layout of a mix: its last container is shortened, its contents pushed into the others, until work is spent.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::atomic::{AtomicU64, Ordering};

use rayon::prelude::*;

use super::fill::{Spot, used};
use super::part::on_tick;
use super::plan::{Bins, Shop};
use super::rng::Rng;
use super::separate::{Field, Place, Search, Shape, Work};
use crate::fault::Fault;
use crate::geom::Vec2;
use crate::order::Rotate;

/// Distance kept above the gutter, mm, so that rounding a pose breaks no promise; without a gutter, lines that touch count as
/// apart only from here on.
const SPARE_MM: f64 = 1e-5;
/// Containers that are improved together, about. Measured: more find no better places for the same work.
const TOGETHER: usize = 6;

/// Share of the progress after which only what was left of groups of containers is improved.
const GROUPS_SHARE: f64 = 0.85;

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
    fn add(&self, looks: u64) {
        let so_far = self.so_far.fetch_add(looks, Ordering::Relaxed) + looks;
        (self.progress)((so_far as f64 / self.all.max(1) as f64).min(1.0));
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
        let sections = self.sections.len();
        let groups: Vec<Bins> = if aim.all_count && sections == 1 {
            bins.into_iter().map(|bin| vec![bin]).collect()
        } else if sections == 1 && bins.len() >= 2 * TOGETHER {
            // Large parts stand in the first containers, small ones in the last: each group gets some of both.
            let count = bins.len() / TOGETHER;
            let mut groups: Vec<Bins> = vec![Vec::new(); count];
            bins.into_iter().enumerate().for_each(|(index, bin)| groups[index % count].push(bin));
            groups
        } else {
            vec![bins]
        };
        let copies: usize = groups.iter().flatten().map(Vec::len).sum();
        let last = groups.len() == 1 || aim.all_count;
        let progress = |share: f64| (aim.progress)(if last { share } else { share * GROUPS_SHARE });
        let spent = Spent { all: aim.looks * copies as u64, so_far: AtomicU64::new(0), progress: &progress };
        let shortened = |(task, group): (usize, Bins)| self.shortened(group, shapes, aim, (task as u64, &spent));
        let made: Vec<Result<Bins, Fault>> = groups.into_par_iter().enumerate().map(shortened).collect();
        let mut groups = made.into_iter().collect::<Result<Vec<Bins>, Fault>>()?;
        if last {
            return Ok(groups.into_iter().flatten().collect());
        }
        let mut left = vec![0; self.parts.len()];
        for group in &mut groups {
            group.pop().iter().flatten().for_each(|spot| left[spot.part] += 1);
        }
        let mut bins: Bins = groups.into_iter().flatten().collect();
        let rest = self.again(&left)?;
        let progress = |share: f64| (aim.progress)(GROUPS_SHARE + (1.0 - GROUPS_SHARE) * share);
        bins.extend(self.improved_with(rest, shapes, &Aim { progress: &progress, ..*aim })?);
        Ok(bins)
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
        let told = AtomicU64::new(0);
        let is_over = |looks: u64| {
            spent.add(looks - told.swap(looks, Ordering::Relaxed));
            self.clock.is_over()
        };
        let work = Work { looks: aim.looks * copies as u64, cancel: self.cancel, is_over: &is_over };
        let mut search = Search::new(Rng::new(self.seed, STREAM ^ task), work);
        let mut last = bins.len() - 1;
        field.set_length(last, used(self.parts, &bins[last]) + 1e-9);
        loop {
            search.shorten(&mut field, last)?;
            if !field.is_empty(last) || last == 0 {
                break;
            }
            field.set_length(last, 0.0);
            last -= 1;
        }
        let mut made: Bins = vec![Vec::new(); bins.len()];
        for (piece, part) in field.pieces.iter().zip(&scene.parts) {
            if let Some(part) = part {
                let place = piece.place();
                let at = Vec2::new(on_tick(place.at.x), on_tick(place.at.y));
                made[place.window].push(Spot { part: *part, angle_deg: on_tick(place.angle_deg), at });
            }
        }
        while made.last().is_some_and(Vec::is_empty) {
            made.pop();
        }
        Ok(made)
    }

    fn scene(&self, bins: &Bins, shapes: &BTreeMap<usize, Shape>) -> Scene {
        let gutter = self.scale.gutter + SPARE_MM;
        let reach = self.parts.iter().map(|part| part.reach).fold(0.0, f64::max);
        let mut scene = Scene { shapes: Vec::new(), pieces: Vec::new(), parts: Vec::new() };
        let mut shape_of = vec![None; self.parts.len()];
        for (window, spots) in bins.iter().enumerate() {
            for obstacle in &self.sections[window % self.sections.len()].obstacles {
                let place = Place { window, at: Vec2::ZERO, angle_deg: 0.0 };
                let shape = Shape::obstacle(&obstacle.outline, obstacle.radius, reach, gutter, SPARE_MM);
                scene.pieces.push((scene.shapes.len(), place, true));
                scene.parts.push(None);
                scene.shapes.push(shape);
            }
            for spot in spots {
                let shape = *shape_of[spot.part].get_or_insert_with(|| {
                    scene.shapes.push(shapes[&spot.part].clone());
                    scene.shapes.len() - 1
                });
                let place = Place { window, at: spot.at, angle_deg: spot.angle_deg };
                scene.pieces.push((shape, place, false));
                scene.parts.push(Some(spot.part));
            }
        }
        scene
    }
}

/// Bins as the search sees them.
struct Scene {
    shapes: Vec<Shape>,
    /// Shape, place, and whether it stays.
    pieces: Vec<(usize, Place, bool)>,
    /// Which part each piece is; nothing for free zones.
    parts: Vec<Option<usize>>,
}
