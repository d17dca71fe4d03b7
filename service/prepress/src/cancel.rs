//! A flag by which the caller stops work that nobody waits for any more.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use crate::fault::Fault;

/// Shared by a caller and the stages that work for it. Clones share one flag.
#[derive(Clone, Debug, Default)]
pub struct Cancel(Arc<AtomicBool>);

impl Cancel {
    /// A flag that is not raised.
    pub fn new() -> Cancel {
        Cancel::default()
    }

    /// Asks every stage that polls this flag to stop.
    pub fn raise(&self) {
        self.0.store(true, Ordering::Relaxed);
    }

    /// Whether somebody asked to stop.
    pub fn is_raised(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }

    /// Polled between rows, steps and moves.
    ///
    /// # Errors
    /// `run.cancelled` once the flag is raised.
    pub fn check(&self) -> Result<(), Fault> {
        if self.is_raised() { Err(Fault::Cancelled) } else { Ok(()) }
    }

    /// Polled at the first of so many steps and at each first after them, where a single step is short.
    ///
    /// # Errors
    /// `run.cancelled` once the flag is raised.
    pub fn check_every(&self, steps: usize, step: usize) -> Result<(), Fault> {
        if step.is_multiple_of(steps) { self.check() } else { Ok(()) }
    }
}
