//! Made pictures with known measures.
