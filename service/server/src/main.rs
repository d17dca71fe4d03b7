//! quoin.
fn main() {}
