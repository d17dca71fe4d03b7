//! How many sheets orders touch, assigned together and in reading order: a measurement, never a test. See `load/README.md`.

#[expect(dead_code, reason = "the suites use the rest of it")]
#[path = "../suite/ganging/chance.rs"]
mod chance;
#[expect(dead_code, reason = "the suites use the rest of it")]
#[path = "../suite/ganging/instance.rs"]
mod instance;

use std::collections::{BTreeMap, BTreeSet};
use std::error::Error;
use std::io::Write;

use quoin_prepress::cancel::Cancel;
use quoin_prepress::frame::Frame;
use quoin_prepress::gang::{Layout, Lot, Nesting, nest};
use quoin_prepress::order::{Effort, FeedEdge};
use quoin_prepress::units::Mm;

/// Orders, and sheets over one that they touch in all.
fn visits(lots: &[Lot], layout: &Layout) -> (usize, usize) {
    let mut touched: BTreeMap<usize, BTreeSet<usize>> = BTreeMap::new();
    for (sheet, placed) in layout.sheets.iter().enumerate() {
        for placed in placed {
            touched.entry(lots[placed.lot].claims[placed.claim].order).or_default().insert(sheet);
        }
    }
    (touched.len(), touched.values().map(|sheets| sheets.len() - 1).sum())
}

fn main() -> Result<(), Box<dyn Error>> {
    let path = std::env::args().nth(1).ok_or("orders INSTANCE.json")?;
    let stickers = instance::stickers(&serde_json::from_str(&std::fs::read_to_string(path)?)?);
    let frame = Frame {
        width: Mm::of(stickers.window.x0 + stickers.window.x1),
        height: Mm::of(stickers.window.y0 + stickers.window.y1),
        window: stickers.window,
        keep_outs: Vec::new(),
        marks: Vec::new(),
        scale_bars: Vec::new(),
        label: None,
    };
    let mut out = std::io::stdout().lock();
    writeln!(out, "designs  days  orders  together  reading order")?;
    for (designs, dues) in [(1, 0), (2, 0), (4, 0), (4, 5)] {
        let lots = instance::dealt(&stickers.lots, 1, designs, dues);
        let mut nesting = Nesting {
            frame: &frame,
            roll: false,
            feed_edge: FeedEdge::Top,
            gutter: Mm::of(stickers.gutter_mm),
            lots: lots.clone(),
            effort: Effort::Draft,
            out_of_time: &|| false,
            seed: 1,
            keep_orders_together: true,
        };
        let together = nest(&nesting, &|_| (), &Cancel::new()).map_err(|fault| fault.to_string())?;
        nesting.keep_orders_together = false;
        let reading = nest(&nesting, &|_| (), &Cancel::new()).map_err(|fault| fault.to_string())?;
        let ((orders, extra), (_, plain)) = (visits(&lots, &together), visits(&lots, &reading));
        writeln!(out, "{designs:7}  {dues:4}  {orders:6}  {extra:8}  {plain:13}")?;
    }
    Ok(())
}
