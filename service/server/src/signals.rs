//! What the system says to a process that should end.

use std::io;

/// A request to stop.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Signal {
    /// From a person at the terminal.
    Interrupt,
    /// From whoever manages the process.
    Terminate,
}

/// Hears signals from now on.
#[cfg(unix)]
pub(crate) struct Signals {
    interrupt: tokio::signal::unix::Signal,
    terminate: tokio::signal::unix::Signal,
    hang_up: tokio::signal::unix::Signal,
}

/// Begins to listen.
///
/// # Errors
/// When the system does not let signals be heard.
#[cfg(unix)]
pub(crate) fn listen() -> io::Result<Signals> {
    use tokio::signal::unix::{SignalKind, signal};
    Ok(Signals {
        interrupt: signal(SignalKind::interrupt())?,
        terminate: signal(SignalKind::terminate())?,
        hang_up: signal(SignalKind::hangup())?,
    })
}

#[cfg(unix)]
impl Signals {
    /// The next one.
    pub(crate) async fn next(&mut self) -> Signal {
        tokio::select! {
            _ = self.interrupt.recv() => Signal::Interrupt,
            _ = self.terminate.recv() => Signal::Terminate,
            _ = self.hang_up.recv() => Signal::Terminate,
        }
    }
}

/// Hears signals from now on.
#[cfg(not(unix))]
pub(crate) struct Signals;

/// Begins to listen.
///
/// # Errors
/// Never on this system.
#[cfg(not(unix))]
pub(crate) fn listen() -> io::Result<Signals> {
    Ok(Signals)
}

#[cfg(not(unix))]
impl Signals {
    /// The next one; where signals cannot be heard, none ever comes.
    pub(crate) async fn next(&mut self) -> Signal {
        match tokio::signal::ctrl_c().await {
            Ok(()) => Signal::Interrupt,
            Err(_) => std::future::pending().await,
        }
    }
}
