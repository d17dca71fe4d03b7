//! Puts pieces that wait into a window that looks full: one is forced in where it overlaps least, all are separated, and what
//! still overlaps may have to leave as long as it is smaller than what came.
//!
//! In: a field whose first window is a waiting room. Out: a fuller second window, never an overlap.
//!
//! Ejection of what stands in the way is that of ejection chains, F. Glover, *Ejection chains, reference structures and
//! alternating path methods for traveling salesman problems*, 1996; its use here is our own.

use super::moves::best_of;
use super::{Field, Place, Search};
use crate::fault::Fault;
use crate::geom::Vec2;

/// The window where pieces wait; it has no size, and they stand far apart.
const WAITING: usize = 0;
const FAR_APART: f64 = 1e6;

impl Place {
    /// Of a piece that waits.
    pub(in crate::gang) fn waiting(index: usize) -> Place {
        Place { window: WAITING, at: Vec2::new(index as f64 * FAR_APART, 0.0), angle_deg: 0.0 }
    }
}

/// A piece to be forced in.
struct Bid {
    score: f64,
    index: usize,
    place: Place,
}

impl Search<'_> {
    /// Fills up the second window with pieces that wait in the first, until work is spent. False when what stands there could
    /// not be taken as it is; then nothing was changed.
    ///
    /// # Errors
    /// `run.cancelled`.
    pub(in crate::gang) fn cram(&mut self, field: &mut Field<'_>) -> Result<bool, Fault> {
        let q = super::qenv;
        if !self.separate(field, 1)? {
            return Ok(false);
        }
        let mut greed = q("QGREED", 2.0);
        let (mut tried, mut done, mut gain) = (0, 0, 0.0);
        while !self.work.is_spent(field) {
            let waiting: Vec<usize> = (0..field.pieces.len()).filter(|index| field.waits(*index)).collect();
            if waiting.is_empty() {
                break;
            }
            let Some(bid) = self.bid(field, &waiting, greed) else { continue };
            let places = field.places();
            let before = field.area_in(1);
            field.enter(bid.index, bid.place);
            let ok = self.settled(field, bid.index)?;
            tried += 1;
            if ok {
                done += 1;
                gain += field.area_in(1) - before;
                greed *= q("QUP", 1.2);
            } else {
                field.restore_all(&places);
                greed *= q("QDOWN", 0.9);
            }
        }
        if std::env::var_os("QSUM").is_some() {
            eprintln!("crammed {done} of {tried} gain {gain:.0} looks {}k greed {greed:.2}", field.looks / 1000);
        }
        Ok(true)
    }

    /// The waiting piece that seems to go in best, and where.
    fn bid(&mut self, field: &mut Field<'_>, waiting: &[usize], greed: f64) -> Option<Bid> {
        let q = super::qenv;
        let mut best: Option<Bid> = None;
        for _ in 0..q("QCAND", 30.0) as usize {
            let index = waiting[(self.rng.unit() * waiting.len() as f64) as usize];
            let worth = field.area_of(index) * greed;
            let limit = best.as_ref().map_or(f64::INFINITY, |best| best.score + worth);
            let found = best_of(field, index, q("QSAMP", 30.0) as usize, limit as f32, &mut self.rng, &mut self.scratch);
            if let Some((loss, place)) = found {
                best = Some(Bid { score: f64::from(loss) - worth, index, place });
            }
        }
        best
    }

    /// Separates all after a piece came; what still overlaps leaves while it is smaller in all than what came.
    fn settled(&mut self, field: &mut Field<'_>, came: usize) -> Result<bool, Fault> {
        let q = super::qenv;
        let mut room = field.area_of(came) * q("QEJ", 0.9);
        let all = self.work.looks;
        let mut budget = q("QTRY", 30_000.0) as u64;
        loop {
            field.forget_weights();
            self.work.looks = all.min(field.looks + budget);
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
            field.leave(leaves);
            budget = q("QTRY2", 10_000.0) as u64;
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

    fn area_in(&self, window: usize) -> f64 {
        self.windows[window].members.iter().filter(|index| !self.pieces[**index].fixed).map(|index| self.area_of(*index)).sum()
    }

    fn enter(&mut self, index: usize, place: Place) {
        self.pieces[index].fixed = false;
        self.put(index, place);
    }

    fn leave(&mut self, index: usize) {
        self.pieces[index].fixed = true;
        self.put(index, Place::waiting(index));
    }

    fn restore_all(&mut self, places: &[Place]) {
        for (index, place) in places.iter().enumerate() {
            if self.pieces[index].place() != *place {
                self.pieces[index].fixed = place.window == WAITING;
                self.put(index, *place);
            }
        }
    }
}
