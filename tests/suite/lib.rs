//! The suites stand in `main.rs`.
