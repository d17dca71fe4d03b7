//! What is known of one request while it is answered: its id, and how long each stage took.

use std::cell::RefCell;
use std::rc::Rc;
use std::time::{Duration, Instant};

use actix_web::{HttpMessage, HttpRequest};
use uuid::Uuid;

/// Longest id that is taken over from a client.
const ID_MAX_BYTES: usize = 64;

/// A stage of a request.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Stage {
    /// The body comes in.
    Receive,
    /// Waiting for a worker and for memory.
    Wait,
    /// The job is read.
    Read,
    /// The work.
    Work,
}

impl Stage {
    fn index(self) -> usize {
        self as usize
    }
}

#[derive(Debug)]
struct Record {
    id: String,
    began: Instant,
    took: RefCell<[Duration; 4]>,
    key: RefCell<Option<String>>,
    job_sha256: RefCell<Option<String>>,
}

/// One request. Clones share one record.
#[derive(Clone, Debug)]
pub(crate) struct Visit(Rc<Record>);

/// A stage that is being measured.
pub(crate) struct Measured {
    visit: Visit,
    stage: Stage,
    began: Instant,
}

impl Visit {
    /// Begins; a client's own id is kept when it is short and plain.
    pub(crate) fn begin(asked_id: Option<&str>) -> Visit {
        let plain = |id: &&str| {
            !id.is_empty()
                && id.len() <= ID_MAX_BYTES
                && id.bytes().all(|byte| byte.is_ascii_alphanumeric() || b"._-".contains(&byte))
        };
        let id = asked_id.filter(plain).map_or_else(|| Uuid::now_v7().to_string(), str::to_owned);
        let (took, key, job_sha256) = (RefCell::default(), RefCell::default(), RefCell::default());
        Visit(Rc::new(Record { id, began: Instant::now(), took, key, job_sha256 }))
    }

    /// The record of a request.
    pub(crate) fn of(request: &HttpRequest) -> Visit {
        let known = request.extensions().get::<Visit>().cloned();
        known.unwrap_or_else(|| Visit::begin(None))
    }

    /// Its id.
    pub(crate) fn id(&self) -> &str {
        &self.0.id
    }

    /// Remembers the name of the key that let it in.
    pub(crate) fn set_key(&self, name: &str) {
        *self.0.key.borrow_mut() = Some(name.to_owned());
    }

    /// The name of the key that let it in.
    pub(crate) fn key(&self) -> Option<String> {
        self.0.key.borrow().clone()
    }

    /// Remembers the digest of its job.
    pub(crate) fn set_job_sha256(&self, digest: String) {
        *self.0.job_sha256.borrow_mut() = Some(digest);
    }

    /// The digest of its job, once that was read: SHA-256 of the part's bytes, in hexadecimal digits.
    pub(crate) fn job_sha256(&self) -> Option<String> {
        self.0.job_sha256.borrow().clone()
    }

    /// Since it began.
    pub(crate) fn elapsed(&self) -> Duration {
        self.0.began.elapsed()
    }

    /// How long a stage took, all of its times together.
    pub(crate) fn took(&self, stage: Stage) -> Duration {
        self.0.took.borrow()[stage.index()]
    }

    /// Begins a stage.
    pub(crate) fn measure(&self, stage: Stage) -> Measured {
        Measured { visit: self.clone(), stage, began: Instant::now() }
    }
}

impl Measured {
    /// Ends it, and says how long it took.
    pub(crate) fn stop(self) -> Duration {
        let took = self.began.elapsed();
        self.visit.0.took.borrow_mut()[self.stage.index()] += took;
        took
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plain_id_of_the_client_is_kept_and_any_other_replaced() {
        assert_eq!(Visit::begin(Some("order-1042.a")).id(), "order-1042.a");
        for odd in ["", "a b", "a\nb", &"x".repeat(65)] {
            assert_ne!(Visit::begin(Some(odd)).id(), odd);
        }
    }
}
