//! Suites.
