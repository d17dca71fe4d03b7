//! Nothing: the suites stand in `main.rs`, one test binary for all of them.
