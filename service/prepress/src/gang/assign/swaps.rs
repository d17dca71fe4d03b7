//! Swaps copies of one lot between orders so that each order touches few sheets.
//!
//! Simulated annealing (S. Kirkpatrick, C. D. Gelatt, M. P. Vecchi, *Optimization by simulated annealing*, 1983) over swaps
//! of single copies. A visit costs one, and a little more for each copy there, ever less: so it pays to move copies from where
//! an order has few to where it has many, long before the last of them leaves. Temperatures, steps and that price: common
//! practice, no source; measured on orders dealt from workloads of 300 and 5,000 copies.

use std::collections::BTreeMap;

use super::super::rng::Rng;
use super::Counts;
use crate::cancel::Cancel;
use crate::fault::Fault;

/// What an order has: by sheet, of each lot so many.
pub(super) type Held = BTreeMap<usize, Counts>;

/// Steps for each copy that may change hands, and for all of them.
const STEPS_PER_COPY: u64 = 400;
const LEAST_STEPS: u64 = 40_000;
const MOST_STEPS: u64 = 8_000_000;
/// Temperature at the first and at the last step, in visits.
const HOT: f64 = 0.5;
const COLD: f64 = 0.02;
/// What the logarithm of the copies at a visit costs, in visits.
const PER_LOG_COPIES: f64 = 0.2;
/// What a visit to the last sheet costs more than one to the first for an order with a day.
const LATE: f64 = 0.15;
/// Steps between two looks at the temperature.
const AT_ONE_TEMPERATURE: u64 = 512;

/// A copy that may change hands.
#[derive(Clone, Copy)]
struct Copy {
    lot: usize,
    sheet: usize,
    /// An order's index, or one past the last for nobody.
    owner: usize,
    /// Copies of its lot: first, and one past the last.
    group: (usize, usize),
}

/// Orders of one day, and the copies among them.
struct Table {
    copies: Vec<Copy>,
    /// For each order the sheets that it touches, with how many copies.
    visits: Vec<Vec<(usize, u32)>>,
    /// What a number of copies at a visit costs.
    price: Vec<f64>,
    /// What a visit costs by sheet.
    toll: Vec<f64>,
}

/// Swaps copies between orders, and with those that nobody has, where that saves visits; never for more visits.
///
/// # Errors
/// `run.cancelled`.
pub(super) fn gather(held: &mut [Held], open: &mut [Counts], dated: bool, cancel: &Cancel) -> Result<(), Fault> {
    let mut table = Table::new(held, open, dated);
    let before = table.worth();
    if table.copies.is_empty() {
        return Ok(());
    }
    let first = table.copies.clone();
    table.anneal(cancel)?;
    if table.worth() < before {
        let moved: Vec<(Copy, Copy)> = first.into_iter().zip(table.copies).collect();
        moved.iter().for_each(|(old, _)| *place(held, open, *old) -= 1);
        moved.iter().for_each(|(_, new)| *place(held, open, *new) += 1);
        for order in held {
            order.values_mut().for_each(|lots| lots.retain(|_, copies| *copies > 0));
            order.retain(|_, lots| !lots.is_empty());
        }
    }
    Ok(())
}

fn place<'a>(held: &'a mut [Held], open: &'a mut [Counts], copy: Copy) -> &'a mut u32 {
    let lots = match held.get_mut(copy.owner) {
        Some(order) => order.entry(copy.sheet).or_default(),
        None => &mut open[copy.sheet],
    };
    lots.entry(copy.lot).or_default()
}

impl Table {
    fn new(held: &[Held], open: &[Counts], dated: bool) -> Table {
        let nobody = held.len();
        let mut groups: BTreeMap<usize, Vec<(usize, usize)>> = BTreeMap::new();
        let mut visits: Vec<Vec<(usize, u32)>> = Vec::new();
        for (owner, order) in held.iter().enumerate() {
            visits.push(order.iter().map(|(sheet, lots)| (*sheet, lots.values().sum())).collect());
            for (sheet, lots) in order {
                for (lot, copies) in lots {
                    let copies = (0..*copies).map(|_| (*sheet, owner));
                    groups.entry(*lot).or_default().extend(copies);
                }
            }
        }
        for (sheet, lots) in open.iter().enumerate() {
            for (lot, copies) in lots {
                if let Some(group) = groups.get_mut(lot) {
                    group.extend((0..*copies).map(|_| (sheet, nobody)));
                }
            }
        }
        let mut copies = Vec::new();
        for (lot, group) in groups {
            let differ = |of: &dyn Fn(&(usize, usize)) -> usize| group.iter().any(|copy| of(copy) != of(&group[0]));
            if differ(&|copy| copy.0) && differ(&|copy| copy.1) {
                let span = (copies.len(), copies.len() + group.len());
                copies.extend(group.into_iter().map(|(sheet, owner)| Copy { lot, sheet, owner, group: span }));
            }
        }
        let most = visits.iter().map(|visits| visits.iter().map(|visit| visit.1).sum::<u32>()).max().unwrap_or(0);
        let price = |copies: u32| if copies == 0 { 0.0 } else { 1.0 + PER_LOG_COPIES * f64::from(copies).ln() };
        let late = if dated { LATE / open.len().max(1) as f64 } else { 0.0 };
        let toll = (0..open.len()).map(|sheet| 1.0 + late * sheet as f64).collect();
        Table { copies, visits, price: (0..=most + 1).map(price).collect(), toll }
    }

    /// Visits, or what they cost by sheet where sheets differ.
    fn worth(&self) -> f64 {
        self.visits.iter().flatten().map(|(sheet, _)| self.toll[*sheet]).sum()
    }

    fn anneal(&mut self, cancel: &Cancel) -> Result<(), Fault> {
        let owned = self.copies.iter().filter(|copy| copy.owner < self.visits.len()).count() as u64;
        let steps = (owned * STEPS_PER_COPY).clamp(LEAST_STEPS, MOST_STEPS);
        let mut rng = Rng::new(1, owned);
        let mut heat = HOT;
        for step in 0..steps {
            if step.is_multiple_of(AT_ONE_TEMPERATURE) {
                cancel.check()?;
                heat = HOT * (COLD / HOT).powf(step as f64 / steps as f64);
            }
            let a = (rng.next() % self.copies.len() as u64) as usize;
            let (from, to) = self.copies[a].group;
            let b = from + (rng.next() % (to - from) as u64) as usize;
            let (one, other) = (self.copies[a], self.copies[b]);
            if one.sheet == other.sheet || one.owner == other.owner {
                continue;
            }
            let more =
                self.change(one.owner, one.sheet, other.sheet) + self.change(other.owner, other.sheet, one.sheet);
            if more <= 0.0 || rng.unit() < (-more / heat).exp() {
                self.copies[a].owner = other.owner;
                self.copies[b].owner = one.owner;
                self.shift(one.owner, one.sheet, other.sheet);
                self.shift(other.owner, other.sheet, one.sheet);
            }
        }
        Ok(())
    }

    fn count(&self, owner: usize, sheet: usize) -> u32 {
        self.visits[owner].iter().find(|visit| visit.0 == sheet).map_or(0, |visit| visit.1)
    }

    /// What it costs an order to have a copy on another sheet.
    fn change(&self, owner: usize, from: usize, to: usize) -> f64 {
        if owner >= self.visits.len() {
            return 0.0;
        }
        let (here, there) = (self.count(owner, from) as usize, self.count(owner, to) as usize);
        let leaves = self.price[here] - self.price[here - 1];
        let comes = self.price[there + 1] - self.price[there];
        self.toll[to] * comes - self.toll[from] * leaves
    }

    fn shift(&mut self, owner: usize, from: usize, to: usize) {
        let Some(visits) = self.visits.get_mut(owner) else { return };
        if let Some(at) = visits.iter().position(|visit| visit.0 == from) {
            visits[at].1 -= 1;
            if visits[at].1 == 0 {
                visits.swap_remove(at);
            }
        }
        match visits.iter_mut().find(|visit| visit.0 == to) {
            Some(visit) => visit.1 += 1,
            None => visits.push((to, 1)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn held(entries: &[(usize, usize, u32)]) -> Held {
        let mut held = Held::new();
        for (sheet, lot, copies) in entries {
            held.entry(*sheet).or_default().insert(*lot, *copies);
        }
        held
    }

    #[test]
    fn two_orders_that_stand_crosswise_are_set_straight() {
        let mut orders = vec![held(&[(0, 5, 3), (1, 5, 2)]), held(&[(0, 5, 2), (1, 5, 3)])];
        let mut open = vec![Counts::new(); 2];
        gather(&mut orders, &mut open, false, &Cancel::new()).expect("nobody cancels");
        assert!(orders.iter().all(|order| order.len() == 1), "{orders:?}");
        let copies: u32 = orders.iter().flat_map(|order| order.values()).flat_map(Counts::values).sum();
        assert_eq!(copies, 10);
    }

    #[test]
    fn copies_that_nobody_has_are_taken_where_they_save_a_visit() {
        let mut orders = vec![held(&[(0, 5, 1), (1, 6, 4)])];
        let mut open = vec![Counts::new(), Counts::from([(5, 7)])];
        gather(&mut orders, &mut open, true, &Cancel::new()).expect("nobody cancels");
        assert_eq!(
            orders,
            [held(&[(1, 5, 1), (1, 6, 4)])].map(|mut order| {
                order.entry(1).or_default().insert(5, 1);
                order
            })
        );
        assert_eq!((open[0].get(&5), open[1].get(&5)), (Some(&1), Some(&6)));
    }
}
