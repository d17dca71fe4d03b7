//! How much is at work at the same time: places in the queue, workers, pixels in memory.
//!
//! A request takes a place in the queue or is refused at once; then, in the order of arrival, a worker; then as many MiB
//! as its pictures will have when they are decoded. Each is given back when the work is over, also when nobody waits for
//! it any more.

mod pixels;
mod queue;
mod workers;

pub(crate) use pixels::{Picture, Pixels, Sizes, decoded_mib, size_of};
pub(crate) use queue::{Place, Queue};
pub(crate) use workers::{Worker, Workers};
