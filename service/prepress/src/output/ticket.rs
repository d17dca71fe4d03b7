//! The machine-readable record of a run.
