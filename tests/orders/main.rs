//! How many sheets orders touch, assigned together and in reading order: a measurement, never a test. See `load/README.md`.

#[expect(dead_code, reason = "the suites use the rest of it")]
#[path = "../suite/chance.rs"]
mod chance;
mod dealing;
#[path = "../ganging/instance.rs"]
mod instance;

use std::error::Error;
use std::io::Write;

use quoin_prepress::cancel::Cancel;
use quoin_prepress::gang::{Nesting, nest};
use quoin_prepress::order::Effort;

use dealing::{dealt, extra_visits, touched};

fn main() -> Result<(), Box<dyn Error>> {
    let path = std::env::args().nth(1).ok_or("orders INSTANCE.json")?;
    let instance = serde_json::from_str(&std::fs::read_to_string(path)?)?;
    let (container, whole) = (instance::container(&instance)?, instance::lots(&instance)?);
    let mut out = std::io::stdout().lock();
    writeln!(out, "designs  days  orders  together  reading order")?;
    for (designs, dues) in [(1, 0), (2, 0), (4, 0), (4, 5)] {
        let lots = dealt(&whole, 1, designs, dues);
        let mut nesting = Nesting {
            frame: &container.frame,
            roll: container.roll,
            feed_edge: container.feed_edge,
            gutter: container.gutter,
            lots: lots.clone(),
            effort: Effort::Draft,
            out_of_time: &|| false,
            seed: 1,
            keep_orders_together: true,
        };
        let together = nest(&nesting, &|_| (), &Cancel::new()).map_err(|fault| fault.to_string())?;
        nesting.keep_orders_together = false;
        let reading = nest(&nesting, &|_| (), &Cancel::new()).map_err(|fault| fault.to_string())?;
        let orders = touched(&lots, &together).len();
        let (extra, plain) = (extra_visits(&lots, &together), extra_visits(&lots, &reading));
        writeln!(out, "{designs:7}  {dues:4}  {orders:6}  {extra:8}  {plain:13}")?;
    }
    Ok(())
}
