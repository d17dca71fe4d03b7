//! Memory for decoded pictures, counted before anything is decoded.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{BufRead, Cursor, Seek};
use std::sync::Arc;

use quoin_prepress::intake::{Limits, is_drawing};
use quoin_prepress::order::ArtInput;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};

/// Bytes of a decoded pixel: eight-bit RGBA.
const PIXEL_BYTES: u64 = 4;

const MIB: u64 = 1 << 20;

/// MiB of decoded pixels that may be in work at the same time.
#[derive(Debug)]
pub(crate) struct Pixels {
    free: Arc<Semaphore>,
    all_mib: u32,
}

impl Pixels {
    /// So many MiB.
    pub(crate) fn new(all_mib: u32) -> Pixels {
        Pixels { free: Arc::new(Semaphore::new(all_mib as usize)), all_mib }
    }

    /// Waits until so much is free, in the order of arrival. A job that wants more than there is takes all, and is then
    /// alone with its pictures: each is still held to the intake's limits.
    pub(crate) async fn take(&self, mib: u32) -> OwnedSemaphorePermit {
        let mib = mib.min(self.all_mib);
        Arc::clone(&self.free).acquire_many_owned(mib).await.expect("the semaphore is never closed")
    }

    /// All there is, MiB.
    pub(crate) fn all_mib(&self) -> u32 {
        self.all_mib
    }

    /// MiB in use.
    pub(crate) fn in_use_mib(&self) -> usize {
        (self.all_mib as usize).saturating_sub(self.free.available_permits())
    }
}

/// A picture, and the pixels that it has if it is a drawing.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Picture<'a> {
    /// The picture.
    pub(crate) art: &'a ArtInput,
    /// Pixels of its rendering.
    pub(crate) drawing_px: u64,
}

/// Width and height that the head of a stored picture says, by its SHA-256.
pub(crate) type Sizes = BTreeMap<[u8; 32], (u64, u64)>;

/// MiB that pictures have when they are decoded. Pictures come in groups that are decoded together: the pieces of a sticker
/// sheet, or one alone. As many groups are in work as there are threads: the largest ones count. A picture that no decoder
/// will take counts nothing, and one that several groups have counts once in each.
pub(crate) fn decoded_mib(groups: &[Vec<Picture<'_>>], sizes: &Sizes, threads: usize, limits: &Limits) -> u32 {
    let together = |group: &Vec<Picture<'_>>| -> BTreeSet<_> {
        group.iter().map(|picture| (identity(picture.art), decoded_bytes(picture, sizes, limits))).collect()
    };
    let distinct: BTreeSet<BTreeSet<_>> = groups.iter().map(together).collect();
    let mut bytes: Vec<u64> = distinct.iter().map(|group| group.iter().map(|(_, bytes)| bytes).sum()).collect();
    bytes.sort_unstable_by(|a, b| b.cmp(a));
    let sum: u64 = bytes.into_iter().take(threads).sum();
    u32::try_from(sum.div_ceil(MIB)).unwrap_or(u32::MAX)
}

/// Tells pictures apart: their place in memory, or what they hash to.
fn identity(art: &ArtInput) -> (usize, [u8; 32]) {
    match art {
        ArtInput::Bytes(bytes) => (bytes.as_ptr().addr(), [0; 32]),
        ArtInput::Stored { sha256, .. } => (0, *sha256),
        ArtInput::OverLimit { .. } => (0, [0; 32]),
    }
}

fn decoded_bytes(picture: &Picture<'_>, sizes: &Sizes, limits: &Limits) -> u64 {
    let size = match picture.art {
        ArtInput::Bytes(bytes) if is_drawing(bytes) => None,
        ArtInput::Bytes(bytes) => Some(size_of(Cursor::new(&bytes[..])).unwrap_or_default()),
        ArtInput::Stored { sha256, .. } => sizes.get(sha256).copied(),
        ArtInput::OverLimit { .. } => Some((0, 0)),
    };
    // A drawing has no size of its own, nor has what only a decoder can tell from one.
    let Some((width, height)) = size else { return picture.drawing_px * PIXEL_BYTES };
    let taken = width.max(height) <= u64::from(limits.max_side_px) && width.saturating_mul(height) <= limits.max_pixels;
    if taken { width * height * PIXEL_BYTES } else { 0 }
}

/// Width and height as a picture's head says; nothing is decoded.
pub(crate) fn size_of(picture: impl BufRead + Seek) -> Option<(u64, u64)> {
    imagesize::reader_size(picture).ok().map(|size| (size.width as u64, size.height as u64))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Signature and IHDR of a PNG (ISO/IEC 15948, 11.2.1) that says it has these sides.
    fn head(width: u32, height: u32) -> ArtInput {
        let mut bytes = b"\x89PNG\r\n\x1A\n\0\0\0\x0DIHDR".to_vec();
        bytes.extend(width.to_be_bytes());
        bytes.extend(height.to_be_bytes());
        bytes.extend([8, 6, 0, 0, 0, 0, 0, 0, 0]);
        ArtInput::Bytes(bytes.into())
    }

    #[test]
    fn the_largest_pictures_count_as_many_as_there_are_threads() {
        let art = [head(1024, 1024), head(2048, 1024), head(512, 512), head(60_000, 60_000)];
        let limits = Limits::default();
        // 4 bytes a pixel: 4, 8 and 1 MiB; the last is over the limits and never decoded.
        let picture = |art| Picture { art, drawing_px: 1 << 20 };
        let alone: Vec<Vec<Picture<'_>>> = art.iter().chain(&art).map(|art| vec![picture(art)]).collect();
        assert_eq!(decoded_mib(&alone, &Sizes::new(), 2, &limits), 12);
        assert_eq!(decoded_mib(&alone, &Sizes::new(), 8, &limits), 13, "each once");
        let together = [art.iter().chain(&art).map(picture).collect::<Vec<_>>()];
        assert_eq!(decoded_mib(&together, &Sizes::new(), 1, &limits), 13, "the pieces of a sheet are decoded together");
    }

    #[test]
    fn a_drawing_counts_what_it_will_be_rendered_at() {
        let drawing = ArtInput::Bytes(b"<svg xmlns=\"http://www.w3.org/2000/svg\"/>".as_slice().into());
        let letter = ArtInput::Bytes(b"dear printer".as_slice().into());
        let mib =
            |art| decoded_mib(&[vec![Picture { art, drawing_px: 2 << 20 }]], &Sizes::new(), 1, &Limits::default());
        assert_eq!((mib(&drawing), mib(&letter)), (8, 0));
    }
}
