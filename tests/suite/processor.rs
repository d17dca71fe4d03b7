//! Seconds that threads have computed; what else the machine does costs them nothing. 0 where it is not told.
//!
//! Source: Linux, Documentation/scheduler/sched-stats: a task's `schedstat` begins with its nanoseconds on the processor.

use std::fs;
use std::path::Path;

fn seconds(task: &Path) -> f64 {
    let said = fs::read_to_string(task.join("schedstat")).unwrap_or_default();
    said.split(' ').next().and_then(|nanoseconds| nanoseconds.parse::<f64>().ok()).unwrap_or(0.0) / 1e9
}

/// Of this thread.
pub fn of_this_thread() -> f64 {
    seconds(Path::new("/proc/thread-self"))
}

/// This thread's number, by which others may ask for its time.
///
/// # Panics
/// Where no such numbers are told: on other systems than Linux.
pub fn this_thread() -> String {
    let link = fs::read_link("/proc/thread-self").expect("Linux tells a thread's own number");
    link.file_name().expect("the link ends in it").to_string_lossy().into_owned()
}

/// Of a thread of this program, by its number.
pub fn of_thread(number: &str) -> f64 {
    seconds(&Path::new("/proc/self/task").join(number))
}

/// Of all threads of this program that have not ended.
pub fn of_all_threads() -> f64 {
    let tasks = fs::read_dir("/proc/self/task").into_iter().flatten().flatten();
    tasks.map(|task| seconds(&task.path())).sum()
}
