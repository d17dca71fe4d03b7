//! Containers of one lot alone.

use super::fill::{Spot, Taste, used};
use super::lattice::Lattice;
use super::plan::{Bins, Shop};
use crate::fault::Fault;
use crate::order::Rotate;

/// Up to so many copies in a container the map is tried too: few copies leave more rim than pattern.
const FEW: usize = 24;
/// How the map looks for room that a pattern leaves.
const TOP_UP: Taste = Taste { depth_per_mm: 0.01, depth_at: 0.7, look_mm: 12.0 };

/// One lot and the containers that it fills.
pub(super) struct Lone<'a> {
    shop: &'a Shop<'a>,
    part: usize,
    lattice: Lattice<'a>,
    /// For each section, as many copies as it holds, once somebody asked.
    full: Vec<Option<Vec<Spot>>>,
}

impl<'a> Lone<'a> {
    /// For one of the shop's parts.
    pub(super) fn new(shop: &'a Shop<'a>, part: usize, rotate: Rotate) -> Lone<'a> {
        let lattice = Lattice::new(shop.parts, part, rotate, shop.scale, shop.cancel);
        Lone { shop, part, lattice, full: vec![None; shop.sections.len()] }
    }

    /// As many copies as a section holds.
    ///
    /// # Errors
    /// `run.cancelled`.
    pub(super) fn full(&mut self, section: usize) -> Result<Vec<Spot>, Fault> {
        if let Some(full) = &self.full[section] {
            return Ok(full.clone());
        }
        let room = &self.shop.sections[section];
        let alike = (0..section).find(|other| {
            let other = &self.shop.sections[*other];
            let same = |a: f64, b: f64| (a - b).abs() < 1e-9;
            let free = room.obstacles.is_empty() && other.obstacles.is_empty();
            free && same(other.width, room.width) && same(other.length, room.length)
        });
        let made = match alike.and_then(|alike| self.full[alike].clone()) {
            Some(same) => same,
            None => self.fill(section)?,
        };
        self.full[section] = Some(made.clone());
        Ok(made)
    }

    fn fill(&self, section: usize) -> Result<Vec<Spot>, Fault> {
        let room = &self.shop.sections[section];
        let spots = self.lattice.most(room)?;
        let mut fill = self.shop.empty(section);
        spots.iter().for_each(|spot| fill.add(*spot));
        while fill.place(self.part, TOP_UP, f64::INFINITY, self.shop.cancel)? {}
        let spots = fill.spots;
        if spots.len() <= FEW {
            let mapped = self.mapped(section, u32::MAX)?;
            if mapped.len() > spots.len() {
                return Ok(mapped);
            }
        }
        Ok(spots)
    }

    /// What the map makes of so many copies.
    fn mapped(&self, section: usize, copies: u32) -> Result<Vec<Spot>, Fault> {
        let mut left = vec![0; self.shop.parts.len()];
        left[self.part] = copies;
        self.shop.filled(section, &left)
    }

    /// So many copies as near to the feed edge as may be.
    fn last(&mut self, section: usize, copies: u32) -> Result<Vec<Spot>, Fault> {
        let parts = self.shop.parts;
        let mut best = self.full(section)?;
        self.lattice.nearest(&mut best, copies);
        let mut others = vec![self.lattice.shortest(&self.shop.sections[section], copies)?];
        if copies as usize <= FEW {
            others.push(self.mapped(section, copies)?);
        }
        for spots in others {
            if spots.len() == copies as usize && used(parts, &spots) < used(parts, &best) - 1e-6 {
                best = spots;
            }
        }
        Ok(best)
    }

    /// Section after section of copies of this lot; all of them unless a section holds none.
    ///
    /// # Errors
    /// `run.cancelled`.
    pub(super) fn layout(&mut self, copies: u32) -> Result<Bins, Fault> {
        let mut bins = Bins::new();
        let (mut left, mut idle) = (copies, 0);
        while left > 0 && idle < self.shop.sections.len() {
            let section = bins.len() % self.shop.sections.len();
            let full = self.full(section)?;
            let spots = if full.len() > left as usize { self.last(section, left)? } else { full };
            idle = if spots.is_empty() { idle + 1 } else { 0 };
            left -= spots.len() as u32;
            bins.push(spots);
        }
        while bins.last().is_some_and(Vec::is_empty) {
            bins.pop();
        }
        Ok(bins)
    }
}
