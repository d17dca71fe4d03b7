//! The Rust suites: house rules, published geometry, contours by chance, and the binary as a shop runs it.

mod backdrop;
mod border;
mod chance;
mod command_line;
mod contour;
mod findings;
mod ganging;
mod threads;
mod tidy;
