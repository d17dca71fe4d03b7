//! A job file with the pictures beside it.

use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use quoin_prepress::intake::Limits;

use super::failure::Failure;
use crate::wire::{ArtSource, FolderArt, Mistake};

/// Bytes of a job file, pictures in base64 included: as large as a whole request may be (the contract, section 4).
const MAX_JOB_BYTES: u64 = 256 << 20;

/// What a job file says.
pub(super) struct JobFile<T> {
    /// As read.
    pub(super) job: T,
    /// Real paths of the job file and of every picture that it names.
    pub(super) inputs: Vec<PathBuf>,
}

/// Reads a job file with one of the readers of [`crate::wire`].
pub(super) fn read<T>(
    path: &Path,
    limits: &Limits,
    reader: impl FnOnce(&[u8], &mut dyn ArtSource) -> Result<T, Vec<Mistake>>,
) -> Result<JobFile<T>, Failure> {
    let unreadable = |source| Failure::JobUnreadable { path: path.to_path_buf(), source };
    let text = read_whole(path).map_err(unreadable)?;
    let mut art = FolderArt::new(folder_of(path), limits.max_bytes).map_err(unreadable)?;
    let job = reader(&text, &mut art).map_err(Failure::Broken)?;
    let mut inputs = art.into_paths();
    inputs.push(path.canonicalize().map_err(unreadable)?);
    Ok(JobFile { job, inputs })
}

fn read_whole(path: &Path) -> io::Result<Vec<u8>> {
    let mut text = Vec::new();
    File::open(path)?.take(MAX_JOB_BYTES + 1).read_to_end(&mut text)?;
    if text.len() as u64 > MAX_JOB_BYTES {
        return Err(io::Error::new(io::ErrorKind::FileTooLarge, format!("it has more than {MAX_JOB_BYTES} bytes")));
    }
    Ok(text)
}

/// The folder that a file stands in.
pub(super) fn folder_of(file: &Path) -> &Path {
    file.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."))
}
