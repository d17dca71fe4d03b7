//! Work on a given number of threads.

/// Does work on so many threads and no others; with one, all that it computes is computed on the thread that does it.
pub(crate) fn on_threads<T: Send>(threads: usize, work: impl FnOnce() -> T + Send) -> T {
    rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("a pool").install(work)
}
