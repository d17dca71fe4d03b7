//! Readers and schemas held against each other.
