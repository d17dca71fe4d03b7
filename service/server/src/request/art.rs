//! Pictures that came with a request.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::io::{self, Cursor, Read, Seek, SeekFrom};
use std::sync::{Arc, Mutex, PoisonError};

use quoin_prepress::order::{ArtFile, ArtInput};

use crate::gate::{Sizes, size_of};
use crate::wire::{ArtMissing, ArtRef, ArtSource, Mistake, MistakeCode, Pointer};

/// What a head of a picture surely fits into: most say their size within, and a longer look costs a read of all of it.
const HEAD_BYTES: u64 = 1 << 20;

/// Everything that one request sent, in a temporary file that has no name any more: it is gone when nobody holds it. One file
/// for all of it, because a request may have a thousand parts, and a process not many thousand files.
#[derive(Debug)]
pub(super) struct Spool(Mutex<File>);

impl Spool {
    /// A file that was written to its end.
    pub(super) fn new(file: File) -> Arc<Spool> {
        Arc::new(Spool(Mutex::new(file)))
    }
}

/// A stretch of a spool.
#[derive(Debug)]
pub(super) struct Stretch {
    spool: Arc<Spool>,
    from: u64,
    bytes: u64,
}

impl Stretch {
    /// So many bytes from there.
    pub(super) fn new(spool: &Arc<Spool>, from: u64, bytes: u64) -> Stretch {
        Stretch { spool: Arc::clone(spool), from, bytes }
    }

    fn read(&self, most: u64) -> io::Result<Arc<[u8]>> {
        let length = usize::try_from(self.bytes.min(most)).map_err(io::Error::other)?;
        // Allocated at its full length, so that no second copy is ever made.
        let mut bytes: Arc<[u8]> = std::iter::repeat_n(0, length).collect();
        // Whoever panicked while reading left nothing but a position behind.
        let mut file = self.spool.0.lock().unwrap_or_else(PoisonError::into_inner);
        file.seek(SeekFrom::Start(self.from))?;
        file.read_exact(Arc::get_mut(&mut bytes).expect("nobody else knows it yet"))?;
        Ok(bytes)
    }

    /// Width and height as the head of the picture says.
    fn size_px(&self) -> Option<(u64, u64)> {
        let look = |most: u64| size_of(Cursor::new(&self.read(most).ok()?[..]));
        look(HEAD_BYTES).or_else(|| (self.bytes > HEAD_BYTES).then(|| look(u64::MAX)).flatten())
    }
}

impl ArtFile for Stretch {
    fn load(&self) -> io::Result<Arc<[u8]>> {
        self.read(u64::MAX)
    }
}

/// Parts by name.
pub(super) type ByName = BTreeMap<String, ArtInput>;

/// The parts of a body.
#[derive(Debug, Default)]
pub(super) struct Parts {
    /// The first of each name.
    pub(super) by_name: ByName,
    /// Their files, for a look at their heads.
    pub(super) files: BTreeMap<[u8; 32], Arc<Stretch>>,
    /// Names that came more than once.
    pub(super) doubled: BTreeSet<String>,
}

/// Gives the parts to whoever mentions them, and knows which nobody mentioned.
pub(super) struct PartsArt {
    parts: Parts,
    mentioned: BTreeSet<String>,
    sizes: Sizes,
    limit_bytes: u64,
}

impl PartsArt {
    /// Parts, of each at most so many bytes.
    pub(super) fn new(parts: Parts, limit_bytes: u64) -> PartsArt {
        PartsArt { parts, mentioned: BTreeSet::new(), sizes: Sizes::new(), limit_bytes }
    }

    /// What is wrong with the parts themselves. A job that was not read to its end may have mentioned any of them.
    pub(super) fn mistakes(&self, has_others: bool) -> Vec<Mistake> {
        let doubled = self.parts.doubled.iter().map(|name| Mistake {
            code: MistakeCode::PartDoubled,
            pointer: Pointer::root(),
            message: format!("the part \"{name}\" comes twice"),
        });
        let unused = self.parts.by_name.keys().filter(|name| !has_others && !self.mentioned.contains(*name));
        let unused = unused.map(|name| Mistake {
            code: MistakeCode::PartUnused,
            pointer: Pointer::root(),
            message: format!("nothing in the job mentions the part \"{name}\""),
        });
        doubled.chain(unused).collect()
    }

    /// Most part names that a message lists.
    const NAMES_LISTED: usize = 10;

    fn no_part(&self, name: &str) -> String {
        let names: Vec<String> = self.parts.by_name.keys().map(|name| format!("\"{name}\"")).collect();
        match names.len() {
            0 => format!(
                "the body has no part \"{name}\"; send multipart/form-data with the picture as a part of that name, or \
                 write the picture as `base64`"
            ),
            count if count <= Self::NAMES_LISTED => {
                format!("the body has no part \"{name}\"; its pictures are {}", names.join(", "))
            }
            count => format!("the body has no part \"{name}\" among its {count} pictures"),
        }
    }

    /// Sizes of the pictures that were mentioned.
    pub(super) fn sizes(&self) -> &Sizes {
        &self.sizes
    }
}

impl ArtSource for PartsArt {
    fn fetch(&mut self, art: ArtRef<'_>) -> Result<ArtInput, ArtMissing> {
        let name = match art {
            ArtRef::Part(name) => name,
            ArtRef::File(_) => {
                let message = "over HTTP no files are read; send the picture as a part and name it with `part`";
                return Err(ArtMissing { code: MistakeCode::ArtNotTaken, message: message.to_owned() });
            }
        };
        let Some(art) = self.parts.by_name.get(name) else {
            return Err(ArtMissing { code: MistakeCode::PartMissing, message: self.no_part(name) });
        };
        if self.mentioned.insert(name.to_owned())
            && let ArtInput::Stored { sha256, .. } = art
            && let Some(size) = self.parts.files.get(sha256).and_then(|file| file.size_px())
        {
            self.sizes.insert(*sha256, size);
        }
        Ok(art.clone())
    }

    fn limit_bytes(&self) -> u64 {
        self.limit_bytes
    }
}
