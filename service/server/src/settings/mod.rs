//! How the service is set up: built-in values, a TOML file over them, environment over that, flags over all.
//!
//! Everything wrong is told at once, with its place and what would be right, and then nothing starts.

mod args;
mod file;
mod keys;

use std::net::{SocketAddr, ToSocketAddrs};
use std::path::{Path, PathBuf};
use std::time::Duration;

use quoin_prepress::intake::Limits;

pub(crate) use args::SettingsArgs;
pub(crate) use keys::{Keys, Opened, Scope, hash_of, key_name};

use crate::drawing_process;
use crate::wire::Configured;

/// Most seconds, threads, MiB and so on that any setting takes: more is a slip of the pen.
const MOST: u64 = 1_000_000;

/// Where a service listens that is not told.
const LISTEN: &str = "127.0.0.1:8080";

/// One MiB.
const MIB: u64 = 1 << 20;

/// Something that is wrong in the settings.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct SettingsFault {
    /// Where it is written: `quoin.toml:12`, `QUOIN_WORKERS`, `--workers`.
    pub(crate) place: String,
    /// What is wrong and what would be right.
    pub(crate) message: String,
}

/// All settings, checked.
#[derive(Debug)]
pub(crate) struct Settings {
    /// Address and port to listen on.
    pub(crate) listen: String,
    /// Whether other machines may reach a service without keys.
    pub(crate) open_without_keys: bool,
    /// Who may do what; empty: everybody everything.
    pub(crate) keys: Keys,
    /// Jobs at work at the same time.
    pub(crate) workers: usize,
    /// Threads of one job.
    pub(crate) threads_per_job: usize,
    /// Jobs that may wait besides those at work.
    pub(crate) queue_length: usize,
    /// MiB of decoded pixels in work at the same time.
    pub(crate) pixels_in_work_mib: u32,
    /// Bounds of a request's body.
    pub(crate) body: BodyLimits,
    /// Bounds of one picture.
    pub(crate) picture: Limits,
    /// From the request to stop until no new work is taken.
    pub(crate) drain_notice: Duration,
    /// From the request to stop until work that still runs is given up.
    pub(crate) drain_deadline: Duration,
    /// Folder for temporary files.
    pub(crate) temporary_folder: PathBuf,
    /// The shop's stocks.
    pub(crate) stocks: Configured,
}

/// Bounds of a request's body.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct BodyLimits {
    /// All of it. Stops: filling the disk.
    pub(crate) max_bytes: u64,
    /// The JSON of the job, which is held in memory. Stops: filling the memory.
    pub(crate) max_job_bytes: u64,
    /// Parts. Stops: a body that is all headers.
    pub(crate) max_parts: usize,
    /// From its first to its last byte. Stops: a client that sends a byte a minute and keeps a place in the queue.
    pub(crate) deadline: Duration,
}

/// A setting that is a whole number, with what it may be.
#[derive(Clone, Copy)]
struct Number {
    name: &'static str,
    least: u64,
    built_in: fn() -> u64,
}

fn cores() -> u64 {
    std::thread::available_parallelism().map_or(1, |cores| cores.get() as u64)
}

const WORKERS: Number = Number { name: "workers", least: 1, built_in: cores };
const THREADS_PER_JOB: Number = Number { name: "threads_per_job", least: 1, built_in: cores };
const QUEUE_LENGTH: Number = Number { name: "queue_length", least: 0, built_in: || 32 };
const PIXELS_IN_WORK: Number = Number { name: "pixels_in_work_mib", least: 1, built_in: || 1024 };
const MAX_BODY: Number = Number { name: "max_body_mib", least: 1, built_in: || 256 };
const MAX_JOB: Number = Number { name: "max_job_mib", least: 1, built_in: || 64 };
const MAX_PARTS: Number = Number { name: "max_parts", least: 1, built_in: || 1000 };
const BODY_DEADLINE: Number = Number { name: "body_deadline_s", least: 1, built_in: || 120 };
const MAX_PICTURE: Number =
    Number { name: "max_picture_mib", least: 1, built_in: || Limits::default().max_bytes / MIB };
const MAX_MEGAPIXELS: Number =
    Number { name: "max_picture_megapixels", least: 1, built_in: || Limits::default().max_pixels / 1_000_000 };
const MAX_SIDE: Number =
    Number { name: "max_picture_side_px", least: 32, built_in: || u64::from(Limits::default().max_side_px) };
const DRAIN_NOTICE: Number = Number { name: "drain_notice_s", least: 0, built_in: || 5 };
const DRAIN_DEADLINE: Number = Number { name: "drain_deadline_s", least: 0, built_in: || 25 };

impl Settings {
    /// Reads all settings.
    ///
    /// # Errors
    /// Everything that is wrong.
    pub(crate) fn read(args: &SettingsArgs) -> Result<Settings, Vec<SettingsFault>> {
        let mut faults = Vec::new();
        let file = file::File::read(args.settings.as_deref(), &mut faults);
        let settings = Settings::merge(args, &file, &mut faults);
        settings.check_listen(args, &file, &mut faults);
        if faults.is_empty() { Ok(settings) } else { Err(faults) }
    }

    fn merge(args: &SettingsArgs, file: &file::File, faults: &mut Vec<SettingsFault>) -> Settings {
        let mut number = |setting: Number, arg: Option<u64>| pick(setting, arg, file, faults);
        let seconds = Duration::from_secs;
        let (workers, threads) = (number(WORKERS, args.workers), number(THREADS_PER_JOB, args.threads_per_job));
        let (queue, pixels) =
            (number(QUEUE_LENGTH, args.queue_length), number(PIXELS_IN_WORK, args.pixels_in_work_mib));
        let body = BodyLimits {
            max_bytes: number(MAX_BODY, args.max_body_mib) * MIB,
            max_job_bytes: number(MAX_JOB, args.max_job_mib) * MIB,
            max_parts: number(MAX_PARTS, args.max_parts) as usize,
            deadline: seconds(number(BODY_DEADLINE, args.body_deadline_s)),
        };
        let picture = Limits {
            max_bytes: number(MAX_PICTURE, args.max_picture_mib) * MIB,
            max_pixels: number(MAX_MEGAPIXELS, args.max_picture_megapixels) * 1_000_000,
            max_side_px: number(MAX_SIDE, args.max_picture_side_px) as u32,
            ..drawing_process::limits()
        };
        let (notice, deadline) =
            (number(DRAIN_NOTICE, args.drain_notice_s), number(DRAIN_DEADLINE, args.drain_deadline_s));
        let temporary_folder = args.temporary_folder.clone().or_else(|| file.path("temporary_folder"));
        check_folder(temporary_folder.as_ref(), args.temporary_folder.is_some(), file, faults);
        if notice > deadline {
            let place = file.place_of("/drain_notice_s");
            let message = format!("drain_notice_s ({notice}) must not be longer than drain_deadline_s ({deadline})");
            faults.push(SettingsFault { place, message });
        }
        let listen = args.listen.clone().or_else(|| file.text("listen")).unwrap_or_else(|| LISTEN.to_owned());
        Settings {
            listen,
            open_without_keys: args.open_without_keys || file.flag("open_without_keys"),
            keys: Keys::merge(args.keys.as_deref(), file, faults),
            workers: workers as usize,
            threads_per_job: threads as usize,
            queue_length: queue as usize,
            pixels_in_work_mib: pixels as u32,
            body,
            picture,
            drain_notice: seconds(notice),
            drain_deadline: seconds(deadline),
            temporary_folder: temporary_folder.unwrap_or_else(std::env::temp_dir),
            stocks: file.stocks(faults),
        }
    }

    /// The address must be one, and strangers must be kept out.
    fn check_listen(&self, args: &SettingsArgs, file: &file::File, faults: &mut Vec<SettingsFault>) {
        let place = || if args.listen.is_some() { args::place_of("listen") } else { file.place_of("/listen") };
        let listen = &self.listen;
        let message = match listen.to_socket_addrs() {
            Err(error) => format!("{listen} is no address to listen on, like 127.0.0.1:8080: {error}"),
            Ok(mut addresses) => match addresses.find(|address| !self.may_listen_on(*address)) {
                None => return,
                Some(open) => format!(
                    "{open} can be reached from other machines, and there are no keys: configure keys (`quoin key NAME` makes \
                     one), listen on 127.0.0.1, or say --open-without-keys"
                ),
            },
        };
        faults.push(SettingsFault { place: place(), message });
    }

    /// Whether an address may be listened on: loopback always; others with keys, or when told in so many words.
    pub(crate) fn may_listen_on(&self, address: SocketAddr) -> bool {
        address.ip().is_loopback() || !self.keys.is_empty() || self.open_without_keys
    }
}

/// Where a service with these settings listens; whatever else is wrong in the file is not asked here.
pub(crate) fn listen_of(given: Option<String>, path: Option<&Path>) -> String {
    let of_file = || file::File::read(path, &mut Vec::new()).text("listen");
    given.or_else(of_file).unwrap_or_else(|| LISTEN.to_owned())
}

/// The stocks of a settings file; none without one.
///
/// # Errors
/// Everything that is wrong in the file.
pub(crate) fn stocks_of(path: Option<&Path>) -> Result<Configured, Vec<SettingsFault>> {
    let mut faults = Vec::new();
    let stocks = file::File::read(path, &mut faults).stocks(&mut faults);
    if faults.is_empty() { Ok(stocks) } else { Err(faults) }
}

/// A number from the flag or environment, else the file, else the built-in one.
fn pick(setting: Number, arg: Option<u64>, file: &file::File, faults: &mut Vec<SettingsFault>) -> u64 {
    let name = setting.name;
    let (value, place) = match (arg, file.number(name, faults)) {
        (Some(value), _) => (value, args::place_of(name)),
        (None, Some(value)) => (value, file.place_of(&format!("/{name}"))),
        (None, None) => return (setting.built_in)(),
    };
    if !(setting.least..=MOST).contains(&value) {
        let message = format!("{name} must be {} to {MOST}, not {value}", setting.least);
        faults.push(SettingsFault { place, message });
        return (setting.built_in)();
    }
    value
}

fn check_folder(folder: Option<&PathBuf>, from_args: bool, file: &file::File, faults: &mut Vec<SettingsFault>) {
    if let Some(folder) = folder.filter(|folder| !folder.is_dir()) {
        let name = "temporary_folder";
        let place = if from_args { args::place_of(name) } else { file.place_of(&format!("/{name}")) };
        let message = format!("{name} is {}, which is no folder; make it, or leave it out", folder.display());
        faults.push(SettingsFault { place, message });
    }
}

#[cfg(test)]
mod tests;
