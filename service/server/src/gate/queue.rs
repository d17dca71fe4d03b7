//! Places in the queue, and how long somebody who finds none should wait.

use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use crate::operation::Operation;

/// How much the newest duration counts in the moving average. Less forgets slower; common practice, no source.
const NEWEST_SHARE: f64 = 0.2;

/// What a job is thought to take before any has been seen.
const FIRST_GUESS: Duration = Duration::from_secs(1);

/// Nobody is sent away for longer: loads change.
const LONGEST_WAIT_S: f64 = 600.0;

/// The places of a service.
#[derive(Debug)]
pub(crate) struct Queue {
    places: usize,
    workers: usize,
    state: Mutex<State>,
}

#[derive(Debug, Default)]
struct State {
    /// Places taken, by operation.
    taken: [usize; Operation::COUNT],
    /// Moving average of what a job of an operation takes, seconds.
    usual_s: [Option<f64>; Operation::COUNT],
}

impl State {
    fn taken(&self) -> usize {
        self.taken.iter().sum()
    }
}

/// A place; given back when dropped.
#[derive(Debug)]
pub(crate) struct Place {
    queue: Arc<Queue>,
    operation: Operation,
}

impl Queue {
    /// So many at work, and so many waiting besides.
    pub(crate) fn new(workers: usize, waiting: usize) -> Arc<Queue> {
        Arc::new(Queue { places: workers + waiting, workers, state: Mutex::default() })
    }

    fn state(&self) -> std::sync::MutexGuard<'_, State> {
        // A poisoned lock only means that a thread panicked while counting; the counts are still whole.
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Takes a place, or says in how many seconds one should be free.
    pub(crate) fn enter(self: &Arc<Queue>, operation: Operation) -> Result<Place, u64> {
        let mut state = self.state();
        if state.taken() >= self.places {
            return Err(self.wait_s(&state));
        }
        state.taken[operation.index()] += 1;
        Ok(Place { queue: Arc::clone(self), operation })
    }

    /// The time in which the workers serve all that wait now, at the usual time of what is here.
    fn wait_s(&self, state: &State) -> u64 {
        let usual = |index: usize| state.usual_s[index].unwrap_or(FIRST_GUESS.as_secs_f64());
        let work_s: f64 = (0..Operation::COUNT).map(|index| state.taken[index] as f64 * usual(index)).sum();
        let usual_s = work_s / state.taken().max(1) as f64;
        let waiting = state.taken().saturating_sub(self.workers).max(1) as f64;
        (waiting * usual_s / self.workers as f64).ceil().clamp(1.0, LONGEST_WAIT_S) as u64
    }

    /// Tells how long the work of a job took.
    pub(crate) fn took(&self, operation: Operation, duration: Duration) {
        let mut state = self.state();
        let usual = &mut state.usual_s[operation.index()];
        let newest = duration.as_secs_f64();
        *usual = Some(usual.map_or(newest, |usual| usual + NEWEST_SHARE * (newest - usual)));
    }

    /// Places taken.
    pub(crate) fn taken(&self) -> usize {
        self.state().taken()
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        self.queue.state().taken[self.operation.index()] -= 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_full_queue_refuses_and_has_room_again_when_a_place_is_given_back() {
        let queue = Queue::new(1, 1);
        let first = queue.enter(Operation::Preflight).expect("room");
        let _second = queue.enter(Operation::Gang).expect("room");
        assert_eq!(queue.enter(Operation::Preflight).err(), Some(1));
        drop(first);
        assert!(queue.enter(Operation::Preflight).is_ok());
        assert_eq!(queue.taken(), 1);
    }

    #[test]
    fn the_wait_grows_with_the_work_that_is_waiting() {
        let queue = Queue::new(2, 8);
        queue.took(Operation::Gang, Duration::from_secs(30));
        let places: Vec<Place> = (0..10).map(|_| queue.enter(Operation::Gang).expect("room")).collect();
        // Eight that wait, of 30 s each, by two workers.
        assert_eq!(queue.enter(Operation::Gang).err(), Some(120));
        drop(places);
        for _ in 0..40 {
            queue.took(Operation::Gang, Duration::from_millis(100));
        }
        let _places: Vec<Place> = (0..10).map(|_| queue.enter(Operation::Gang).expect("room")).collect();
        assert_eq!(queue.enter(Operation::Gang).err(), Some(1));
    }
}
