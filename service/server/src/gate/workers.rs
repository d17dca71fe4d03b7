//! Workers: each with a pool of threads of its own.
//!
//! A pool for each, because a pool that several jobs share lets one that waits for its own pieces pick up another's whole
//! job meanwhile: a preflight of 30 ms would be answered after somebody's gang run. The system's scheduler shares the cores.

use std::panic::{self, AssertUnwindSafe};
use std::sync::{Arc, Mutex, PoisonError};

use rayon::{ThreadPool, ThreadPoolBuildError, ThreadPoolBuilder};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, oneshot};

/// The work panicked: a mistake of ours, and the end of that job alone.
#[derive(Debug)]
pub(crate) struct Panicked;

/// All workers.
#[derive(Debug)]
pub(crate) struct Workers {
    free: Arc<Semaphore>,
    count: usize,
    pools: Mutex<Vec<Arc<ThreadPool>>>,
}

/// A worker for one job; free again when dropped.
#[derive(Debug)]
pub(crate) struct Worker {
    pool: Arc<ThreadPool>,
    workers: Arc<Workers>,
    _permit: OwnedSemaphorePermit,
}

impl Workers {
    /// Starts so many workers of so many threads.
    pub(crate) fn start(count: usize, threads: usize) -> Result<Arc<Workers>, ThreadPoolBuildError> {
        let pool = |worker: usize| {
            let name = move |thread| format!("work-{worker}-{thread}");
            ThreadPoolBuilder::new().num_threads(threads).thread_name(name).build().map(Arc::new)
        };
        let pools = (0..count).map(pool).collect::<Result<_, _>>()?;
        Ok(Arc::new(Workers { free: Arc::new(Semaphore::new(count)), count, pools: Mutex::new(pools) }))
    }

    fn pools(&self) -> std::sync::MutexGuard<'_, Vec<Arc<ThreadPool>>> {
        self.pools.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Waits for a free worker, in the order of arrival.
    pub(crate) async fn free(self: &Arc<Workers>) -> Worker {
        let permit = Arc::clone(&self.free).acquire_owned().await.expect("the semaphore is never closed");
        let pool = self.pools().pop().expect("there are as many pools as permits");
        Worker { pool, workers: Arc::clone(self), _permit: permit }
    }

    /// Workers at work.
    pub(crate) fn busy(&self) -> usize {
        self.count - self.free.available_permits()
    }
}

impl Worker {
    /// Does a piece of work on this worker's threads. The worker comes back with the result; when nobody waits for it any
    /// more, it is free once the work is over, and no sooner.
    pub(crate) async fn work<T: Send + 'static>(
        self,
        work: impl FnOnce() -> T + Send + 'static,
    ) -> Result<(T, Worker), Panicked> {
        let (sender, receiver) = oneshot::channel();
        let pool = Arc::clone(&self.pool);
        pool.spawn(move || {
            let done = panic::catch_unwind(AssertUnwindSafe(work));
            // When the receiver is gone, so is everything in here.
            let _ = sender.send((done, self));
        });
        match receiver.await {
            Ok((Ok(result), worker)) => Ok((result, worker)),
            Ok((Err(_), _)) | Err(_) => Err(Panicked),
        }
    }
}

impl Drop for Worker {
    fn drop(&mut self) {
        // Before the permit is given back, which happens after this.
        self.workers.pools().push(Arc::clone(&self.pool));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn block_on<F: Future>(future: F) -> F::Output {
        tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime").block_on(future)
    }

    #[test]
    fn a_panic_ends_its_own_job_and_the_worker_is_free_again() {
        block_on(async {
            let workers = Workers::start(1, 1).expect("threads");
            let panicked = workers.free().await.work(|| -> u32 { panic!("on purpose") }).await;
            assert!(panicked.is_err());
            let (sum, _worker) = workers.free().await.work(|| 1 + 1).await.expect("works on");
            assert_eq!((sum, workers.busy()), (2, 1));
        });
    }

    #[test]
    fn work_that_nobody_waits_for_keeps_its_worker_until_it_is_over() {
        block_on(async {
            let workers = Workers::start(1, 1).expect("threads");
            let (sender, receiver) = std::sync::mpsc::channel::<()>();
            let worker = workers.free().await;
            let work = worker.work(move || receiver.recv());
            let gone = tokio::time::timeout(std::time::Duration::from_millis(20), work).await;
            assert!(gone.is_err());
            assert_eq!(workers.busy(), 1);
            sender.send(()).expect("still at work");
            workers.free().await;
        });
    }
}
