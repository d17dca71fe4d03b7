//! The output folder: all files of a run or none.
//!
//! Files are written to a hidden staging folder, on the same file system, and moved at the very end. A folder that is not
//! there yet appears by one rename. Into one that is there, which may be a mount point or a link and must then stay what
//! it is, the finished files are moved one by one; old content is moved out first, and back in when anything fails.

use std::fs;
use std::io;
use std::path::{Component, Path, PathBuf};

use quoin_prepress::run::Store;
use tempfile::TempDir;

/// Why a run may not write to a folder.
#[derive(Debug, thiserror::Error)]
pub(super) enum FolderFault {
    /// Something that is no folder has this name.
    #[error("{} is not a folder", .0.display())]
    NotAFolder(PathBuf),
    /// There are files, and nobody said that they may go.
    #[error("{} is not empty; --replace replaces what is in it", .0.display())]
    NotEmpty(PathBuf),
    /// Replacing would remove what the job needs.
    #[error("{} holds {}, which --replace would remove", .folder.display(), .input.display())]
    HoldsInput {
        /// The output folder.
        folder: PathBuf,
        /// A file of the job.
        input: PathBuf,
    },
    /// The root of the file system.
    #[error("{} is never replaced", .0.display())]
    Root(PathBuf),
    /// The system said no.
    #[error("cannot write to {}", .folder.display())]
    Io {
        /// The output folder.
        folder: PathBuf,
        /// Why.
        source: io::Error,
    },
}

/// Folders made for the output folder to stand in; removed again unless the run succeeds.
#[derive(Debug, Default)]
struct MadeParents(Vec<PathBuf>);

impl MadeParents {
    fn make(folder: &Path) -> io::Result<MadeParents> {
        let missing = folder.ancestors().take_while(|path| !path.as_os_str().is_empty() && !path.exists());
        let missing: Vec<PathBuf> = missing.map(Path::to_path_buf).collect();
        let mut made = MadeParents::default();
        for path in missing.into_iter().rev() {
            fs::create_dir(&path)?;
            made.0.push(path);
        }
        Ok(made)
    }
}

impl Drop for MadeParents {
    fn drop(&mut self) {
        for path in self.0.iter().rev() {
            // Never removes what somebody else has put there meanwhile.
            let _ = fs::remove_dir(path);
        }
    }
}

/// A place for a run's files that becomes the output folder when the run succeeds.
#[derive(Debug)]
pub(super) struct OutputFolder {
    /// As named by the caller, or its real path when it is there.
    target: PathBuf,
    is_there: bool,
    replace: bool,
    // Dropped in this order: the staging folder stands in the parents.
    staging: TempDir,
    parents: MadeParents,
}

impl OutputFolder {
    /// Prepares to write to a folder. `inputs` are the job's own files, which replacing must not remove.
    pub(super) fn prepare(folder: &Path, replace: bool, inputs: &[PathBuf]) -> Result<OutputFolder, FolderFault> {
        let io_fault = |source| FolderFault::Io { folder: folder.to_path_buf(), source };
        match fs::metadata(folder) {
            Ok(metadata) if !metadata.is_dir() => Err(FolderFault::NotAFolder(folder.to_path_buf())),
            Ok(_) => {
                let target = folder.canonicalize().map_err(io_fault)?;
                if !is_empty(&target).map_err(io_fault)? {
                    check_replaceable(folder, &target, replace, inputs)?;
                }
                let staging = hidden_folder(".quoin-", &target).map_err(io_fault)?;
                Ok(OutputFolder { target, is_there: true, replace, staging, parents: MadeParents::default() })
            }
            Err(error) if error.kind() == io::ErrorKind::NotFound && !folder.is_symlink() => {
                let parent = folder.parent().filter(|parent| !parent.as_os_str().is_empty()).unwrap_or(Path::new("."));
                let parents = MadeParents::make(parent).map_err(io_fault)?;
                let staging = hidden_folder(".quoin-", parent).map_err(io_fault)?;
                Ok(OutputFolder { target: folder.to_path_buf(), is_there: false, replace, staging, parents })
            }
            Err(error) => Err(io_fault(error)),
        }
    }

    /// Moves the finished files to where they belong.
    pub(super) fn finish(mut self) -> Result<(), FolderFault> {
        let moved = if self.is_there { self.move_into() } else { fs::rename(self.staging.path(), &self.target) };
        moved.map_err(|source| FolderFault::Io { folder: self.target.clone(), source })?;
        if !self.is_there {
            // The staging folder has moved: there is nothing left to remove.
            self.staging.disable_cleanup(true);
        }
        self.parents.0.clear();
        Ok(())
    }

    fn move_into(&self) -> io::Result<()> {
        let old = entries(&self.target, self.staging.path())?;
        if !old.is_empty() && !self.replace {
            return Err(io::Error::new(io::ErrorKind::DirectoryNotEmpty, "files have appeared in it during the run"));
        }
        let aside = hidden_folder(".quoin-old-", &self.target)?;
        let new = entries(self.staging.path(), Path::new(""))?;
        let moved = move_all(&old, aside.path()).and_then(|()| move_all(&new, &self.target));
        if moved.is_err() {
            // Whatever has been moved out goes back; what cannot is kept in its hidden folder, not removed.
            let back = entries(aside.path(), Path::new("")).and_then(|paths| move_all(&paths, &self.target));
            if back.is_err() {
                let kept = aside.keep();
                tracing::error!(folder = %kept.display(), "the old files could not be moved back and are kept here");
            }
        }
        moved
    }
}

impl Store for OutputFolder {
    fn put(&self, path: &str, bytes: &[u8]) -> io::Result<()> {
        let relative = Path::new(path);
        if !relative.components().all(|component| matches!(component, Component::Normal(_))) {
            return Err(io::Error::new(io::ErrorKind::InvalidInput, "not a path inside the run"));
        }
        let full = self.staging.path().join(relative);
        if let Some(folder) = full.parent() {
            fs::create_dir_all(folder)?;
        }
        fs::write(full, bytes)
    }
}

/// A new folder with a hidden name of its own, removed when dropped. Open to whom the user's mask lets in, because it may
/// become the output folder.
fn hidden_folder(prefix: &str, parent: &Path) -> io::Result<TempDir> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(prefix);
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o777));
    builder.tempdir_in(parent)
}

fn is_empty(folder: &Path) -> io::Result<bool> {
    Ok(fs::read_dir(folder)?.next().is_none())
}

fn check_replaceable(folder: &Path, target: &Path, replace: bool, inputs: &[PathBuf]) -> Result<(), FolderFault> {
    if !replace {
        return Err(FolderFault::NotEmpty(folder.to_path_buf()));
    }
    if target.parent().is_none() {
        return Err(FolderFault::Root(folder.to_path_buf()));
    }
    match inputs.iter().find(|input| input.starts_with(target)) {
        Some(input) => Err(FolderFault::HoldsInput { folder: folder.to_path_buf(), input: input.clone() }),
        None => Ok(()),
    }
}

/// What is in a folder, sorted, but for one entry.
fn entries(folder: &Path, but: &Path) -> io::Result<Vec<PathBuf>> {
    let mut paths = Vec::new();
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path != but {
            paths.push(path);
        }
    }
    paths.sort();
    Ok(paths)
}

/// Moves entries into a folder; when one cannot be moved, those before it go back.
fn move_all(paths: &[PathBuf], folder: &Path) -> io::Result<()> {
    let mut moved: Vec<(&PathBuf, PathBuf)> = Vec::new();
    for path in paths {
        let Some(name) = path.file_name() else { continue };
        let to = folder.join(name);
        if let Err(error) = fs::rename(path, &to) {
            for (from, to) in moved.iter().rev() {
                let _ = fs::rename(to, from);
            }
            return Err(error);
        }
        moved.push((path, to));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let paths = entries(folder, Path::new("")).expect("a folder");
        paths.iter().filter_map(|path| path.file_name()).map(|name| name.to_string_lossy().into_owned()).collect()
    }

    fn write_run(folder: &OutputFolder) {
        folder.put("ticket.json", b"{}").expect("written");
        folder.put("sheet-001/print.pdf", b"%PDF").expect("written");
    }

    #[test]
    fn a_new_folder_appears_whole_with_its_parents() {
        let root = tempfile::tempdir().expect("a temporary folder");
        let out = root.path().join("a/b/out");
        let folder = OutputFolder::prepare(&out, false, &[]).expect("may be written");
        write_run(&folder);
        assert!(!out.exists());
        folder.finish().expect("moved");
        assert_eq!(names(&out), ["sheet-001", "ticket.json"]);
        assert_eq!(names(&root.path().join("a/b")), ["out"]);
    }

    #[test]
    fn a_run_that_fails_leaves_nothing() {
        let root = tempfile::tempdir().expect("a temporary folder");
        let out = root.path().join("a/b/out");
        let folder = OutputFolder::prepare(&out, false, &[]).expect("may be written");
        write_run(&folder);
        drop(folder);
        assert_eq!(names(root.path()), [""; 0]);

        fs::create_dir(root.path().join("old")).expect("a folder");
        fs::write(root.path().join("old/keep.txt"), b"keep").expect("a file");
        let folder = OutputFolder::prepare(&root.path().join("old"), true, &[]).expect("may be written");
        write_run(&folder);
        drop(folder);
        assert_eq!(names(&root.path().join("old")), ["keep.txt"]);
    }

    #[test]
    fn an_empty_folder_is_filled_and_a_full_one_only_replaced_when_asked() {
        let root = tempfile::tempdir().expect("a temporary folder");
        let folder = OutputFolder::prepare(root.path(), false, &[]).expect("empty");
        write_run(&folder);
        folder.finish().expect("moved");
        assert_eq!(names(root.path()), ["sheet-001", "ticket.json"]);

        let refused = OutputFolder::prepare(root.path(), false, &[]);
        assert!(matches!(refused, Err(FolderFault::NotEmpty(_))));

        let folder = OutputFolder::prepare(root.path(), true, &[]).expect("may be replaced");
        folder.put("only.txt", b"new").expect("written");
        folder.finish().expect("moved");
        assert_eq!(names(root.path()), ["only.txt"]);
    }

    #[test]
    fn what_the_job_reads_is_never_replaced() {
        let root = tempfile::tempdir().expect("a temporary folder");
        let job = root.path().canonicalize().expect("there").join("job.json");
        fs::write(&job, b"{}").expect("a file");
        let refused = OutputFolder::prepare(root.path(), true, std::slice::from_ref(&job));
        assert!(matches!(refused, Err(FolderFault::HoldsInput { .. })));
        assert!(matches!(OutputFolder::prepare(&job, true, &[]), Err(FolderFault::NotAFolder(_))));
        assert_eq!(names(root.path()), ["job.json"]);
    }

    #[cfg(unix)]
    #[test]
    fn a_link_to_a_folder_stays_a_link_and_links_in_it_are_not_followed() {
        let root = tempfile::tempdir().expect("a temporary folder");
        let (real, other) = (root.path().join("real"), root.path().join("other"));
        fs::create_dir(&real).expect("a folder");
        fs::create_dir(&other).expect("a folder");
        fs::write(other.join("keep.txt"), b"keep").expect("a file");
        std::os::unix::fs::symlink(&other, real.join("link")).expect("a link");
        std::os::unix::fs::symlink(&real, root.path().join("out")).expect("a link");
        let folder = OutputFolder::prepare(&root.path().join("out"), true, &[]).expect("may be replaced");
        write_run(&folder);
        folder.finish().expect("moved");
        assert!(root.path().join("out").is_symlink());
        assert_eq!(names(&real), ["sheet-001", "ticket.json"]);
        assert_eq!(names(&other), ["keep.txt"]);
    }

    #[test]
    fn paths_that_leave_the_run_are_not_stored() {
        let root = tempfile::tempdir().expect("a temporary folder");
        let folder = OutputFolder::prepare(&root.path().join("out"), false, &[]).expect("may be written");
        for path in ["../x", "/x", "a/../../x"] {
            assert!(folder.put(path, b"x").is_err(), "{path}");
        }
    }
}
