//! The Rust suites: house rules, published geometry, and the binary as a shop runs it.

mod backdrop;
mod border;
mod chance;
mod command_line;
mod findings;
mod ganging;
mod tidy;
