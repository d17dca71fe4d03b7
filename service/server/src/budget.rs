//! The time that a run may spend on improving its layout.

use std::sync::OnceLock;
use std::time::{Duration, Instant};

/// A budget that begins when it is first asked for: a complete layout is always made first.
#[derive(Debug)]
pub(crate) struct Budget {
    limit: Option<Duration>,
    began: OnceLock<Instant>,
}

impl Budget {
    /// So many milliseconds, or as long as it takes.
    pub(crate) fn new(limit_ms: Option<u64>) -> Budget {
        Budget { limit: limit_ms.map(Duration::from_millis), began: OnceLock::new() }
    }

    /// Whether it is spent.
    pub(crate) fn is_spent(&self) -> bool {
        self.limit.is_some_and(|limit| self.began.get_or_init(Instant::now).elapsed() >= limit)
    }
}
