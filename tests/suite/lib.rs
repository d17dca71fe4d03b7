//! What the suites, which stand in `main.rs` as one test binary, share with the programs that measure.

pub mod processor;
