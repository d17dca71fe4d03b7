//! Picks what goes next into a container: of the next few lots the one that lies closest against what stands, large ones
//! preferred.

use std::collections::BTreeMap;

use super::fill::{Best, Fill, Found, Taste};
use super::plan::Shop;
use crate::fault::Fault;

/// What being as large as the largest of the lots is worth, in shares of the ring around a part that touch something.
/// Measured: with less, large parts are left over; with more, nothing is chosen.
const SIZE_WORTH: f64 = 1.0;

/// Lots that still have copies, and places found for some of them.
struct Picker<'a, 'b> {
    shop: &'a Shop<'b>,
    taste: Taste,
    open: Vec<usize>,
    known: BTreeMap<usize, Best>,
}

impl Shop<'_> {
    /// Places what fits, each time the best of the next `choices` lots; returns how many.
    ///
    /// # Errors
    /// `run.cancelled`.
    pub(super) fn fill_choosing(
        &self,
        fill: &mut Fill<'_>,
        order: &[usize],
        left: &mut [u32],
        (taste, choices): (Taste, usize),
    ) -> Result<u32, Fault> {
        let open = order.iter().copied().filter(|part| left[*part] > 0).collect();
        let mut picker = Picker { shop: self, taste, open, known: BTreeMap::new() };
        let mut placed = 0;
        while let Some((part, best)) = picker.pick(fill, choices)? {
            fill.put(part, best);
            left[part] -= 1;
            placed += 1;
            picker.known.remove(&part);
            if left[part] == 0 {
                picker.open.retain(|other| *other != part);
            }
        }
        Ok(placed)
    }
}

impl Picker<'_, '_> {
    /// The best of the next few and its place; lots that have room nowhere make way for later ones.
    fn pick(&mut self, fill: &mut Fill<'_>, choices: usize) -> Result<Option<(usize, Best)>, Fault> {
        while let Some(largest) = self.open.first() {
            let whole = self.shop.parts[*largest].hull_area;
            let worth = |part: usize| SIZE_WORTH * (self.shop.parts[part].hull_area / whole).sqrt();
            let next: Vec<usize> = self.open.iter().take(choices).copied().collect();
            // A place that is still free is as good as it was; better ones beside what came since are passed up.
            self.known.retain(|part, best| fill.is_free(*part, *best));
            let known = next.iter().filter_map(|part| self.known.get(part).map(|best| (*part, *best)));
            let mut best: Option<(f64, usize, Best)> = None;
            for (part, place) in known {
                let score = place.score + worth(part);
                if best.is_none_or(|best| score > best.0) {
                    best = Some((score, part, place));
                }
            }
            let mut gone = Vec::new();
            for part in next.into_iter().filter(|part| !self.known.contains_key(part)).collect::<Vec<_>>() {
                let floor = best.map_or(f64::NEG_INFINITY, |best| best.0 - worth(part));
                match fill.search_above(part, (self.taste, floor), f64::INFINITY, self.shop.cancel)? {
                    Found::At(place) => {
                        self.known.insert(part, place);
                        best = Some((place.score + worth(part), part, place));
                    }
                    Found::NoBetter => {}
                    Found::Nowhere => gone.push(part),
                }
            }
            self.open.retain(|part| !gone.contains(part));
            if let Some((_, part, place)) = best {
                return Ok(Some((part, place)));
            }
        }
        Ok(None)
    }
}
