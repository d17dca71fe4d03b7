//! Empties the last of many containers into the others.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::{Aim, STREAM, Spent};
use crate::fault::Fault;
use crate::gang::fill::Spot;
use crate::gang::plan::{Bins, Shop};
use crate::gang::rng::Rng;
use crate::gang::separate::{Field, Place, Search, Shape, Work};

/// Share of the containers that are emptied in a round. Measured: with fewer, little is there to choose from; with more, much is
/// laid out anew in vain.
const EMPTIED: f64 = 0.08;
/// Containers that share what was in those that were emptied, about.
const SHARING: usize = 24;
/// Looks for each copy in a round.
const LOOKS: u64 = 20_000;

impl Shop<'_> {
    /// Bins of the same copies, fewer or less used at the end; rounds until the looks of the aim are spent.
    ///
    /// # Errors
    /// `run.cancelled`.
    pub(super) fn emptied(
        &self,
        mut bins: Bins,
        shapes: &BTreeMap<usize, Shape>,
        aim: &Aim<'_>,
        spent: &Spent<'_>,
    ) -> Result<Bins, Fault> {
        let rounds = (aim.looks / LOOKS).max(1);
        for round in 0..rounds {
            let looks = aim.looks / rounds;
            let made = self.round(bins.clone(), shapes, (looks, round), spent)?;
            if self.rank(&made) < self.rank(&bins) {
                bins = made;
            }
            if self.clock.is_over() {
                break;
            }
        }
        Ok(bins)
    }

    fn round(
        &self,
        mut bins: Bins,
        shapes: &BTreeMap<usize, Shape>,
        (looks, round): (u64, u64),
        spent: &Spent<'_>,
    ) -> Result<Bins, Fault> {
        let emptied = (bins.len() as f64 * EMPTIED).ceil() as usize;
        let taken = bins.split_off(bins.len() - emptied);
        let count = (bins.len() / SHARING).max(1);
        let mut groups: Vec<(Bins, Vec<usize>)> = vec![(Bins::new(), Vec::new()); count];
        taken.iter().flatten().enumerate().for_each(|(index, spot)| groups[index % count].1.push(spot.part));
        bins.into_iter().enumerate().for_each(|(index, bin)| groups[index % count].0.push(bin));
        let crammed = |(group, (mut bins, mut waiting)): (usize, (Bins, Vec<usize>))| {
            for (index, bin) in bins.iter_mut().enumerate() {
                let task = ((round << 32) + group as u64) << 16 | index as u64;
                self.cram(bin, &mut waiting, shapes, (looks, task), spent)?;
            }
            Ok((bins, waiting))
        };
        let made: Vec<Result<(Bins, Vec<usize>), Fault>> = groups.into_par_iter().enumerate().map(crammed).collect();
        let mut left = vec![0; self.parts.len()];
        let mut bins = Bins::new();
        for group in made {
            let (filled, waiting) = group?;
            bins.extend(filled);
            waiting.into_iter().for_each(|part| left[part] += 1);
        }
        bins.extend(self.again(&left)?);
        Ok(bins)
    }

    /// One bin with more in it, and what waits with less.
    fn cram(
        &self,
        bin: &mut Vec<Spot>,
        waiting: &mut Vec<usize>,
        shapes: &BTreeMap<usize, Shape>,
        (looks, task): (u64, u64),
        spent: &Spent<'_>,
    ) -> Result<(), Fault> {
        if waiting.is_empty() {
            return Ok(());
        }
        let copies = bin.len() as u64;
        let mut scene = self.scene(std::slice::from_ref(bin), shapes);
        scene.wait(waiting, shapes);
        let section = &self.sections[0];
        let mut field = Field::new(&scene.shapes, &[(section.width, section.length), (0.0, 0.0)], &scene.pieces);
        let meter = spent.meter();
        let is_over = |looks: u64| {
            meter.tell(looks);
            self.clock.is_over()
        };
        let work = Work { looks: looks * copies, cancel: self.cancel, is_over: &is_over };
        if Search::new(Rng::new(self.seed, STREAM ^ task), work).cram(&mut field)? {
            let made = scene.bins(&field, 2);
            bin.clone_from(&made[0]);
            *waiting = made[1].iter().map(|spot| spot.part).collect();
        }
        Ok(())
    }
}

impl super::Scene {
    /// Lets copies of parts wait.
    fn wait(&mut self, waiting: &[usize], shapes: &BTreeMap<usize, Shape>) {
        for part in waiting {
            self.add(*part, Place::waiting(self.pieces.len()), true, shapes);
        }
    }
}
