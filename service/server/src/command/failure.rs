//! Why a command made nothing, told on stderr.

use std::error::Error;
use std::io;
use std::path::PathBuf;

use quoin_prepress::fault::Fault;

use super::folder::FolderFault;
use super::terminal::complain;
use crate::settings::SettingsFault;
use crate::wire::Mistake;

/// What stopped a command.
#[derive(Debug, thiserror::Error)]
pub(super) enum Failure {
    /// The job file cannot be read.
    #[error("cannot read {}", .path.display())]
    JobUnreadable {
        /// Its path.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// The job has mistakes.
    #[error("the job has mistakes")]
    Broken(Vec<Mistake>),
    /// The settings have mistakes.
    #[error("the settings have mistakes")]
    Settings(Vec<SettingsFault>),
    /// The output folder cannot be had.
    #[error(transparent)]
    Folder(#[from] FolderFault),
    /// The output file cannot be had.
    #[error("cannot write {}", .path.display())]
    File {
        /// Its path.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// The work itself failed.
    #[error(transparent)]
    Run(#[from] Fault),
}

/// Tells it, every mistake on a line of its own.
pub(super) fn tell(failure: &Failure) {
    match failure {
        Failure::Broken(mistakes) => {
            for mistake in mistakes {
                complain(&line_of(mistake));
            }
            let count = mistakes.len();
            complain(&format!("{count} mistake{} in the job; nothing was written", if count == 1 { "" } else { "s" }));
        }
        Failure::Settings(faults) => tell_settings(faults),
        Failure::Run(fault) => complain(&format!("error[{}]: {}", fault.code(), with_causes(fault))),
        other @ (Failure::JobUnreadable { .. } | Failure::Folder(_) | Failure::File { .. }) => {
            complain(&format!("error: {}", with_causes(other)));
        }
    }
}

/// Tells everything that is wrong in the settings, each on a line of its own.
pub(super) fn tell_settings(faults: &[SettingsFault]) {
    for fault in faults {
        complain(&format!("error: {}: {}", fault.place, fault.message));
    }
    let count = faults.len();
    complain(&format!("{count} mistake{} in the settings", if count == 1 { "" } else { "s" }));
}

fn line_of(mistake: &Mistake) -> String {
    let Mistake { code, pointer, message } = mistake;
    match pointer.as_str() {
        "" => format!("error[{}]: {message}", code.as_str()),
        pointer => format!("error[{}] at {pointer}: {message}", code.as_str()),
    }
}

fn with_causes(error: &dyn Error) -> String {
    let mut text = error.to_string();
    let mut cause = error.source();
    while let Some(error) = cause {
        text.push_str(&format!(": {error}"));
        cause = error.source();
    }
    text
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::wire::{self, Configured, FolderArt};

    #[test]
    fn a_mistake_is_one_line_with_code_and_place() {
        let mut source = FolderArt::new(Path::new("."), 1).expect("there is always a current folder");
        let nobody = Configured::default();
        let mistakes = wire::read_gang_job(b"[]", &mut source, &nobody).expect_err("no object");
        let lines: Vec<String> = mistakes.iter().map(line_of).collect();
        assert_eq!(lines, ["error[job.wrong_type]: must be an object, not an array"]);
        let mistakes =
            wire::read_gang_job(br#"{"ru/n": 1, "run": "r", "stocks": [], "orders": []}"#, &mut source, &nobody);
        let lines: Vec<String> = mistakes.expect_err("an unknown field").iter().map(line_of).collect();
        assert_eq!(lines[0], "error[job.unknown_field] at /ru~1n: there is no field `ru/n` here; is `run` meant?");
    }
}
