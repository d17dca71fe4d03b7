//! The walls around the child.

use std::io;
use std::process::ExitStatus;
use std::time::Duration;

/// How the child's own watch ends it, when it waits instead of working.
pub(super) const EXIT_OUT_OF_TIME: u8 = 124;

/// Limits the process that calls: memory and processor time as said, and no file that is not open already, of any size.
#[cfg(unix)]
pub(super) fn close(memory_bytes: u64, cpu_s: u32) -> io::Result<()> {
    use rustix::process::{Resource, Rlimit, setrlimit};
    let limit = |resource, most: u64| setrlimit(resource, Rlimit { current: Some(most), maximum: Some(most) });
    limit(Resource::As, memory_bytes)?;
    limit(Resource::Cpu, u64::from(cpu_s))?;
    limit(Resource::Fsize, 0)?;
    limit(Resource::Core, 0)?;
    // Input, output and errors are open; nothing else ever is, no file and no connection.
    limit(Resource::Nofile, 3)?;
    Ok(())
}

/// Where a process cannot be limited, nothing is rendered.
#[cfg(not(unix))]
pub(super) fn close(_: u64, _: u32) -> io::Result<()> {
    Err(io::ErrorKind::Unsupported.into())
}

/// Processor time of the process that calls.
#[cfg(unix)]
pub(super) fn spent() -> Duration {
    use rustix::time::{ClockId, clock_gettime};
    Duration::try_from(clock_gettime(ClockId::ProcessCPUTime)).unwrap_or_default()
}

/// Processor time of the process that calls, which renders nothing.
#[cfg(not(unix))]
pub(super) fn spent() -> Duration {
    Duration::ZERO
}

/// Whether a child was ended by the limit of time.
#[cfg(unix)]
pub(super) fn is_out_of_time(status: ExitStatus) -> bool {
    use std::os::unix::process::ExitStatusExt;

    use rustix::process::Signal;
    let signals = [Signal::XCPU, Signal::KILL].map(Signal::as_raw);
    status.signal().is_some_and(|signal| signals.contains(&signal)) || says_so(status)
}

/// Whether a child was ended by the limit of time.
#[cfg(not(unix))]
pub(super) fn is_out_of_time(status: ExitStatus) -> bool {
    says_so(status)
}

fn says_so(status: ExitStatus) -> bool {
    status.code() == Some(i32::from(EXIT_OUT_OF_TIME))
}
