//! Promises of a nesting, on random stars and blobs.
