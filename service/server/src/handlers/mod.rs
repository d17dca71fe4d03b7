//! What answers a request, one file per operation.

pub(crate) mod health;
