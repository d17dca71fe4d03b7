//! Puts pieces that wait into a window that looks full: one is forced in where it overlaps least, all are separated, and what
//! still overlaps may have to leave as long as it is smaller than what came.
//!
//! In: a field with a window and a waiting room. Out: a fuller window, never an overlap.
//!
//! What stands in the way leaves as in ejection chains (F. Glover, *Ejection chains, reference structures and alternating path
//! methods for traveling salesman problems*, 1996); the rest is our own.

use super::moves::best_of;
use super::{Field, Place, Search};
use crate::fault::Fault;
use crate::geom::Vec2;

/// The window that is filled, and the one where pieces wait; it has no size, and they stand far apart.
const FILLED: usize = 0;
const WAITING: usize = 1;
const FAR_APART_MM: f64 = 1e6;

/// Pieces of which one is chosen to be forced in, and places looked at for each. Measured: more find little that is better.
const BIDS: u32 = 30;
const PLACES: u32 = 30;
/// What a square millimetre is worth in overlap at first, and how that changes when a piece went in and when it did not.
const GREED: f64 = 2.0;
const GREED_GROWS: f64 = 1.2;
const GREED_FALLS: f64 = 0.9;
/// Looks that separation may take after a piece came, and after one left. Measured: what takes longer seldom succeeds.
const LOOKS_AFTER_COMING: u64 = 30_000;
const LOOKS_AFTER_LEAVING: u64 = 10_000;
/// What leaves has at most this share of the area of what came.
const LEAVES: f64 = 0.9;

impl Place {
    /// Of the piece of an index while it waits.
    pub(in crate::gang) fn waiting(index: usize) -> Place {
        Place { window: WAITING, at: Vec2::new(index as f64 * FAR_APART_MM, 0.0), angle_deg: 0.0 }
    }
}

/// A piece to be forced in.
struct Bid {
    score: f64,
    index: usize,
    place: Place,
}

impl Search<'_> {
    /// Fills up the first window with pieces that wait in the second, until work is spent. False when what stands there could
    /// not be taken as it is.
    ///
    /// # Errors
    /// `run.cancelled`.
    pub(in crate::gang) fn cram(&mut self, field: &mut Field<'_>) -> Result<bool, Fault> {
        if !self.separate(field, 1)? {
            return Ok(false);
        }
        let mut greed = GREED;
        while !self.work.is_spent(field) {
            let waiting: Vec<usize> = (0..field.pieces.len()).filter(|index| field.waits(*index)).collect();
            if waiting.is_empty() {
                break;
            }
            let Some(bid) = self.bid(field, &waiting, greed)? else { continue };
            let places = field.places();
            field.stand(bid.index, bid.place);
            if self.settle(field, bid.index)? {
                greed *= GREED_GROWS;
            } else {
                places.iter().enumerate().for_each(|(index, place)| field.stand(index, *place));
                greed *= GREED_FALLS;
            }
        }
        Ok(true)
    }

    /// The waiting piece that seems to go in best, and where.
    fn bid(&mut self, field: &mut Field<'_>, waiting: &[usize], greed: f64) -> Result<Option<Bid>, Fault> {
        let mut best: Option<Bid> = None;
        for _ in 0..BIDS {
            self.work.cancel.check()?;
            let index = waiting[(self.rng.unit() * waiting.len() as f64) as usize];
            let worth = field.area_of(index) * greed;
            let limit = best.as_ref().map_or(f64::INFINITY, |best| best.score + worth);
            let found = best_of(field, index, (PLACES, limit as f32), &mut self.rng, &mut self.scratch.turned);
            if let Some((loss, place)) = found {
                best = Some(Bid { score: f64::from(loss) - worth, index, place });
            }
        }
        Ok(best)
    }

    /// Separates all after a piece came; what still overlaps leaves while it is smaller in all than what came.
    fn settle(&mut self, field: &mut Field<'_>, came: usize) -> Result<bool, Fault> {
        let mut room = field.area_of(came) * LEAVES;
        let all = self.work.looks;
        let mut looks = LOOKS_AFTER_COMING;
        loop {
            field.forget_weights();
            self.work.looks = all.min(field.looks + looks);
            let apart = self.separate(field, 1);
            self.work.looks = all;
            if apart? {
                return Ok(true);
            }
            let cost = |index: &usize| f64::from(field.loss_of(*index)) / field.area_of(*index);
            let leaves = (0..field.pieces.len())
                .filter(|index| *index != came && !field.pieces[*index].fixed && field.loss_of(*index) > 0.0)
                .filter(|index| field.area_of(*index) <= room)
                .max_by(|a, b| cost(a).total_cmp(&cost(b)));
            let Some(leaves) = leaves else { return Ok(false) };
            room -= field.area_of(leaves);
            field.stand(leaves, Place::waiting(leaves));
            looks = LOOKS_AFTER_LEAVING;
        }
    }
}

impl Field<'_> {
    fn waits(&self, index: usize) -> bool {
        self.pieces[index].window == WAITING
    }

    fn area_of(&self, index: usize) -> f64 {
        self.shapes[self.pieces[index].shape].area
    }

    /// Puts a piece into the window or where it waits; free zones stay.
    fn stand(&mut self, index: usize, place: Place) {
        let now = self.pieces[index].place();
        if now != place {
            self.pieces[index].fixed = place.window != FILLED;
            self.put(index, place);
        }
    }
}
