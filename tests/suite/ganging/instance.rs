//! Packing instances of the fixtures as lots, and orders dealt from their copies.

use std::path::Path;

use quoin_prepress::gang::{Claim, Lot};
use quoin_prepress::geom::{Point, Rect, Ring};
use quoin_prepress::order::Rotate;
use quoin_prepress::units::Mm;
use serde_json::Value;

use super::chance::Chance;

/// A workload of stickers on sheets.
pub(super) struct Stickers {
    /// Window of the sheet, in the sheet's frame.
    pub(super) window: Rect,
    pub(super) gutter_mm: f64,
    pub(super) lots: Vec<Lot>,
}

/// One of the fixtures.
pub(super) fn fixture(name: &str) -> Stickers {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/packing");
    let text = std::fs::read_to_string(folder.join(name)).expect("a fixture can be read");
    stickers(&serde_json::from_str(&text).expect("a fixture is JSON"))
}

/// An instance whose container is a sheet.
pub(super) fn stickers(instance: &Value) -> Stickers {
    let number = |value: &Value| value.as_f64().expect("a number");
    let margin = |side: &str| number(&instance["margins_mm"][side]);
    let (width, height) = (number(&instance["sheet"]["width_mm"]), number(&instance["sheet"]["height_mm"]));
    let window = Rect::new(margin("left"), margin("top"), width - margin("right"), height - margin("bottom"));
    let lot = |(item, entry): (usize, &Value)| {
        let corners = entry["outline"].as_array().expect("corners").iter();
        let corners = corners.map(|corner| Point::new(number(&corner[0]), number(&corner[1]))).collect();
        let copies = u32::try_from(entry["demand"].as_u64().expect("a count")).expect("a small count");
        Lot {
            outermost: vec![Ring::new(corners)],
            reach: Mm::ZERO,
            rotate: if entry["allowed_rotations_deg"].is_array() { Rotate::None } else { Rotate::Free },
            claims: vec![Claim { order: 0, item, copies, due: None }],
            filler: false,
        }
    };
    let lots = instance["items"].as_array().expect("items").iter().enumerate().map(lot).collect();
    Stickers { window, gutter_mm: number(&instance["gutter_mm"]), lots }
}

/// Deals the copies of all lots to orders as a shop sells its own designs: each order wants some designs, mostly few
/// copies and now and then many, until nothing is left. With `dues`, each order has one of so many days.
pub(super) fn dealt(lots: &[Lot], seed: u64, designs: u32, dues: u32) -> Vec<Lot> {
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
