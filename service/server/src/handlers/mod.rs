//! What answers a request, one file per operation.

pub(crate) mod documents;
pub(crate) mod estimates;
pub(crate) mod gangs;
pub(crate) mod health;
pub(crate) mod metrics;
pub(crate) mod preflight;
pub(crate) mod proofs;
pub(crate) mod stocks;
