//! Where pictures come from. The reader of jobs knows only [`ArtSource`], so that each door brings its own.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::{self, Read};
use std::path::{Component, Path, PathBuf};
use std::sync::Arc;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use quoin_prepress::order::ArtInput;

use super::mistake::{MistakeCode, Mistakes};
use super::node::Node;

/// The ways to send a picture: exactly one of them.
pub(super) const ART_FIELDS: [&str; 3] = ["part", "file", "base64"];

/// How a job names a picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum ArtRef<'a> {
    /// A part of the request's body.
    Part(&'a str),
    /// A file beside the job file.
    File(&'a str),
}

/// Why a picture is not to be had; the code says whether it is missing or not taken here.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct ArtMissing {
    /// The mistake's code.
    pub(crate) code: MistakeCode,
    /// In words.
    pub(crate) message: String,
}

/// A door's pictures.
pub(crate) trait ArtSource {
    /// The bytes of a picture, not yet looked at.
    ///
    /// # Errors
    /// [`ArtMissing`] when there is no such picture here.
    fn fetch(&mut self, art: ArtRef<'_>) -> Result<ArtInput, ArtMissing>;

    /// Bytes that one picture may have; a larger one is not read.
    fn limit_bytes(&self) -> u64;
}

/// Reads an `art` object.
pub(super) fn read(node: &Node<'_>, source: &mut dyn ArtSource, mistakes: &mut Mistakes) -> Option<ArtInput> {
    if !node.expect_object(mistakes) {
        return None;
    }
    node.only_fields(mistakes, &ART_FIELDS);
    let given: Vec<Node<'_>> = ART_FIELDS.iter().filter_map(|key| node.get(key)).collect();
    let [way] = given.as_slice() else {
        let code = if given.is_empty() { MistakeCode::MissingField } else { MistakeCode::Contradiction };
        mistakes.add(code, &node.pointer(), "a picture is exactly one of `part`, `file`, `base64`");
        return None;
    };
    let text = way.as_text(mistakes)?;
    let fetched = if node.get("base64").is_some() {
        inline(text, source.limit_bytes())
    } else if node.get("file").is_some() {
        source.fetch(ArtRef::File(text))
    } else {
        source.fetch(ArtRef::Part(text))
    };
    fetched.map_err(|missing| mistakes.add(missing.code, &way.pointer(), missing.message)).ok()
}

/// A picture written into the JSON itself.
fn inline(text: &str, limit_bytes: u64) -> Result<ArtInput, ArtMissing> {
    let padding = text.bytes().rev().take_while(|byte| *byte == b'=').count() as u64;
    let bytes = (text.len() as u64 / 4 * 3).saturating_sub(padding);
    if bytes > limit_bytes {
        return Ok(ArtInput::OverLimit { bytes, limit_bytes });
    }
    let decoded = STANDARD.decode(text);
    let hint = if text.starts_with("data:") { "; leave out all up to the comma of the data URL" } else { "" };
    let broken = |error| ArtMissing { code: MistakeCode::BadBase64, message: format!("not base64: {error}{hint}") };
    decoded.map(|bytes| ArtInput::Bytes(bytes.into())).map_err(broken)
}

/// Pictures beside a job file. Nothing outside that folder is ever read, links included.
pub(crate) struct FolderArt {
    /// Canonical, so that a link that leads out can be told.
    folder: PathBuf,
    limit_bytes: u64,
    read: BTreeMap<PathBuf, ArtInput>,
}

impl FolderArt {
    /// Pictures below a folder.
    ///
    /// # Errors
    /// When there is no such folder.
    pub(crate) fn new(folder: &Path, limit_bytes: u64) -> io::Result<FolderArt> {
        Ok(FolderArt { folder: folder.canonicalize()?, limit_bytes, read: BTreeMap::new() })
    }

    /// The real paths of the files that were read.
    pub(crate) fn into_paths(self) -> Vec<PathBuf> {
        self.read.into_keys().collect()
    }

    /// The real path of a file, which is inside the folder.
    fn locate(&self, name: &str) -> Result<PathBuf, ArtMissing> {
        let outside = || ArtMissing {
            code: MistakeCode::FileOutsideFolder,
            message: format!("\"{name}\" is outside the job file's folder"),
        };
        if leads_out(Path::new(name)) {
            return Err(outside());
        }
        let path = self.folder.join(name).canonicalize().map_err(|error| missing(name, &error.to_string()))?;
        if path.starts_with(&self.folder) { Ok(path) } else { Err(outside()) }
    }
}

impl ArtSource for FolderArt {
    fn fetch(&mut self, art: ArtRef<'_>) -> Result<ArtInput, ArtMissing> {
        let ArtRef::File(name) = art else {
            let message = "`part` needs a multipart request; name a file beside the job file with `file`";
            return Err(ArtMissing { code: MistakeCode::ArtNotTaken, message: message.to_owned() });
        };
        let path = self.locate(name)?;
        if let Some(known) = self.read.get(&path) {
            return Ok(known.clone());
        }
        let art = read_file(&path, self.limit_bytes).map_err(|error| missing(name, &error.to_string()))?;
        self.read.insert(path, art.clone());
        Ok(art)
    }

    fn limit_bytes(&self) -> u64 {
        self.limit_bytes
    }
}

fn missing(name: &str, why: &str) -> ArtMissing {
    ArtMissing { code: MistakeCode::FileMissing, message: format!("\"{name}\" cannot be read: {why}") }
}

/// Whether a path leaves its folder by its own words: absolute, or more steps up than down on the way.
fn leads_out(path: &Path) -> bool {
    let mut depth = 0_usize;
    for component in path.components() {
        match component {
            Component::Prefix(_) | Component::RootDir => return true,
            Component::CurDir => {}
            Component::Normal(_) => depth += 1,
            Component::ParentDir => match depth.checked_sub(1) {
                Some(higher) => depth = higher,
                None => return true,
            },
        }
    }
    false
}

/// Reads a regular file. Its kind is asked before it is opened, because opening a pipe would wait for ever.
fn read_file(path: &Path, limit_bytes: u64) -> io::Result<ArtInput> {
    let metadata = fs::metadata(path)?;
    if !metadata.is_file() {
        return Err(io::Error::other("not a regular file"));
    }
    if metadata.len() > limit_bytes {
        return Ok(ArtInput::OverLimit { bytes: metadata.len(), limit_bytes });
    }
    // A file may grow while it is read: never take more than the limit.
    let mut bytes = Vec::with_capacity(usize::try_from(metadata.len()).unwrap_or(0));
    File::open(path)?.take(limit_bytes + 1).read_to_end(&mut bytes)?;
    let taken = bytes.len() as u64;
    Ok(if taken > limit_bytes {
        ArtInput::OverLimit { bytes: taken, limit_bytes }
    } else {
        ArtInput::Bytes(Arc::from(bytes))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn folder() -> (tempfile::TempDir, FolderArt) {
        let root = tempfile::tempdir().expect("a temporary folder");
        let job = root.path().join("job");
        fs::create_dir_all(job.join("art")).expect("a folder");
        fs::write(job.join("art/fox.png"), b"fox").expect("a file");
        fs::write(root.path().join("secret.png"), b"secret").expect("a file");
        let source = FolderArt::new(&job, 10).expect("the folder is there");
        (root, source)
    }

    fn code(source: &mut FolderArt, name: &str) -> Option<MistakeCode> {
        source.fetch(ArtRef::File(name)).err().map(|missing| missing.code)
    }

    #[test]
    fn the_same_file_is_read_once_and_shared() {
        let (_root, mut source) = folder();
        let first = source.fetch(ArtRef::File("art/fox.png"));
        let again = source.fetch(ArtRef::File("./art/../art/fox.png"));
        match (first, again) {
            (Ok(ArtInput::Bytes(first)), Ok(ArtInput::Bytes(again))) => {
                assert_eq!(&first[..], b"fox");
                assert!(Arc::ptr_eq(&first, &again));
            }
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn nothing_outside_the_folder_is_read() {
        let (root, mut source) = folder();
        let absolute = root.path().join("job/art/fox.png");
        for name in ["../secret.png", "art/../../secret.png", "..", "../job/art/fox.png", &absolute.to_string_lossy()] {
            assert_eq!(code(&mut source, name), Some(MistakeCode::FileOutsideFolder), "{name}");
        }
    }

    #[cfg(unix)]
    #[test]
    fn links_that_lead_out_of_the_folder_are_not_followed() {
        let (root, mut source) = folder();
        let job = root.path().join("job");
        let link = |to: &Path, name: &str| std::os::unix::fs::symlink(to, job.join(name)).expect("a link");
        link(&root.path().join("secret.png"), "link.png");
        link(root.path(), "up");
        link(&job.join("art/fox.png"), "inside.png");
        link(Path::new("nowhere.png"), "dangling.png");
        assert_eq!(code(&mut source, "link.png"), Some(MistakeCode::FileOutsideFolder));
        assert_eq!(code(&mut source, "up/secret.png"), Some(MistakeCode::FileOutsideFolder));
        assert_eq!(code(&mut source, "inside.png"), None);
        assert_eq!(code(&mut source, "dangling.png"), Some(MistakeCode::FileMissing));
    }

    #[test]
    fn what_is_no_readable_file_is_missing() {
        let (_root, mut source) = folder();
        for name in ["cat.png", "art", "", ".", "a\0b", "art/fox.png/x"] {
            assert_eq!(code(&mut source, name), Some(MistakeCode::FileMissing), "{name:?}");
        }
        let part = source.fetch(ArtRef::Part("fox")).expect_err("no parts on the command line");
        assert_eq!(part.code, MistakeCode::ArtNotTaken);
    }

    #[test]
    fn a_file_over_the_limit_is_not_read() {
        let (root, mut source) = folder();
        fs::write(root.path().join("job/big.png"), [0; 11]).expect("a file");
        let art = source.fetch(ArtRef::File("big.png"));
        assert_eq!(art, Ok(ArtInput::OverLimit { bytes: 11, limit_bytes: 10 }));
        assert_eq!(inline(&STANDARD.encode([0; 11]), 10), Ok(ArtInput::OverLimit { bytes: 11, limit_bytes: 10 }));
        assert!(matches!(inline(&STANDARD.encode([0; 10]), 10), Ok(ArtInput::Bytes(bytes)) if bytes.len() == 10));
    }

    #[test]
    fn broken_base64_is_refused() {
        for text in ["%%%%", "Zm94\n", "Zm9", "Zm94Zg", "Zm94Zh=="] {
            let refused = inline(text, 100).expect_err("not base64");
            assert_eq!(refused.code, MistakeCode::BadBase64, "{text:?}");
        }
        assert_eq!(inline("Zm94", 100), Ok(ArtInput::Bytes(Arc::from(*b"fox"))));
    }
}
