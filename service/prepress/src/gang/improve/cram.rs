//! Empties the last of many containers into the others.

use rayon::prelude::*;

use super::Improver;
use crate::fault::Fault;
use crate::gang::fill::Spot;
use crate::gang::plan::Bins;
use crate::gang::separate::{Field, Place};

/// Share of the containers that are emptied in a round. Measured: with fewer, little is there to choose from; with more, much is
/// laid out anew in vain.
const EMPTIED: f64 = 0.08;
/// Containers that share what was in those that were emptied, about.
const SHARING: usize = 24;
/// Looks for each copy in a round.
const LOOKS: u64 = 20_000;

impl Improver<'_> {
    /// Bins of the same copies, fewer or less used at the end; rounds until the looks are spent.
    ///
    /// # Errors
    /// `run.cancelled`.
    pub(super) fn emptied(&self, mut bins: Bins) -> Result<Bins, Fault> {
        let rounds = (self.looks / LOOKS).max(1);
        for round in 0..rounds {
            let made = self.round(bins.clone(), (self.looks / rounds, round))?;
            if self.shop.rank(&made) < self.shop.rank(&bins) {
                bins = made;
            }
            if self.shop.clock.is_over() {
                break;
            }
        }
        Ok(bins)
    }

    fn round(&self, mut bins: Bins, (looks, round): (u64, u64)) -> Result<Bins, Fault> {
        let emptied = (bins.len() as f64 * EMPTIED).ceil() as usize;
        let taken = bins.split_off(bins.len() - emptied);
        let count = (bins.len() / SHARING).max(1);
        let mut groups: Vec<(Bins, Vec<usize>)> = vec![(Bins::new(), Vec::new()); count];
        taken.iter().flatten().enumerate().for_each(|(index, spot)| groups[index % count].1.push(spot.part));
        bins.into_iter().enumerate().for_each(|(index, bin)| groups[index % count].0.push(bin));
        let crammed = |(group, (mut bins, mut waiting)): (usize, (Bins, Vec<usize>))| {
            for (index, bin) in bins.iter_mut().enumerate() {
                let task = ((round << 32) + group as u64) << 16 | index as u64;
                self.cram(bin, &mut waiting, (looks, task))?;
            }
            Ok((bins, waiting))
        };
        let made: Vec<Result<(Bins, Vec<usize>), Fault>> = groups.into_par_iter().enumerate().map(crammed).collect();
        let mut left = vec![0; self.shop.parts.len()];
        let mut bins = Bins::new();
        for group in made {
            let (filled, waiting) = group?;
            bins.extend(filled);
            waiting.into_iter().for_each(|part| left[part] += 1);
        }
        bins.extend(self.shop.again(&left)?);
        Ok(bins)
    }

    /// One bin with more in it, and what waits with less.
    fn cram(&self, bin: &mut Vec<Spot>, waiting: &mut Vec<usize>, (looks, task): (u64, u64)) -> Result<(), Fault> {
        if waiting.is_empty() {
            return Ok(());
        }
        let mut scene = self.scene(std::slice::from_ref(bin));
        for part in &*waiting {
            scene.add(*part, Place::waiting(scene.pieces.len()), true, &self.shapes);
        }
        let section = &self.shop.sections[0];
        let mut field = Field::new(&scene.shapes, &[(section.width, section.length), (0.0, 0.0)], &scene.pieces);
        if self.search((looks * bin.len() as u64, task), |search| search.cram(&mut field))? {
            let made = scene.bins(&field, 2);
            bin.clone_from(&made[0]);
            *waiting = made[1].iter().map(|spot| spot.part).collect();
        }
        Ok(())
    }
}
