//! Orders dealt from the copies of a workload, and the sheets that they touch.

use std::collections::{BTreeMap, BTreeSet};

use quoin_prepress::gang::{Claim, Layout, Lot};

use crate::chance::Chance;

/// Deals the copies of all lots to orders as a shop sells its own designs: each order wants some designs, mostly few
/// copies and now and then many, until nothing is left. With `dues`, each order has one of so many days.
pub(crate) fn dealt(lots: &[Lot], seed: u64, designs: u32, dues: u32) -> Vec<Lot> {
    let chance = &mut Chance::new(seed);
    let mut left: Vec<u32> = lots.iter().map(|lot| lot.claims.iter().map(|claim| claim.copies).sum()).collect();
    let mut made: Vec<Lot> = lots.iter().map(|lot| Lot { claims: Vec::new(), ..lot.clone() }).collect();
    let mut order = 0;
    loop {
        let open: Vec<usize> = (0..left.len()).filter(|lot| left[*lot] > 0).collect();
        if open.is_empty() {
            return made;
        }
        let due = (dues > 0).then(|| format!("2030-01-{:02}", 1 + chance.below(dues)));
        for item in 0..1 + chance.below(designs) as usize {
            let lot = chance.of(&open);
            let copies = chance.of(&[1, 1, 2, 3, 5, 5, 10, 25]).min(left[lot]);
            if copies > 0 {
                left[lot] -= copies;
                made[lot].claims.push(Claim { order, item, copies, due: due.clone() });
            }
        }
        order += 1;
    }
}

/// The sheets that each order touches.
pub(crate) fn touched(lots: &[Lot], layout: &Layout) -> BTreeMap<usize, BTreeSet<usize>> {
    let mut touched: BTreeMap<usize, BTreeSet<usize>> = BTreeMap::new();
    for (sheet, placed) in layout.sheets.iter().enumerate() {
        for placed in placed {
            let order = lots[placed.lot].claims[placed.claim].order;
            touched.entry(order).or_default().insert(sheet);
        }
    }
    touched
}

/// Sheets touched over the one that each order needs at least.
pub(crate) fn extra_visits(lots: &[Lot], layout: &Layout) -> usize {
    touched(lots, layout).values().map(|sheets| sheets.len() - 1).sum()
}
