//! What a picture may ask of us, and the attack that each limit stops.

use std::fmt;
use std::io::Read;
use std::panic::RefUnwindSafe;

use serde::{Deserialize, Serialize};

use super::drawing::{Drawing, Rendering};
use crate::fault::Fault;

const MIB: u64 = 1 << 20;

/// Limits of one picture. Each is checked before what it bounds is allocated or worked on. The defaults fit a shop: common
/// practice, no source, unless a field says otherwise.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Limits {
    /// Bytes of the file. Stops: a file that fills memory by its own size.
    pub max_bytes: u64,
    /// Width x height. Stops: a small file of one colour that decodes to gigabytes (20,000 x 20,000 px in 48 kB).
    pub max_pixels: u64,
    /// Each side. Stops: a canvas of 1 x 2^31 px, whose rows or columns overflow what later stages count with.
    pub max_side_px: u32,
    /// Bytes of the decoded samples at their own depth. Stops: 16 bits and many channels, which multiply the pixels.
    pub max_decoded_bytes: u64,
    /// Frames or pages. Stops: animations of a million frames, and page lists that go round in circles.
    pub max_frames: u32,
    /// Bytes of what is read of metadata, inflated, all of a file's texts together: Exif blocks, compressed texts, tags. Stops:
    /// a text that inflates a thousandfold, thousands of texts that do, a tag that says it has 4 GB.
    pub max_metadata_bytes: u64,
    /// Bytes of an embedded colour profile, inflated. Stops: a profile that inflates a thousandfold, or whose tables cost
    /// minutes to prepare. Press profiles have at most about 4 MiB.
    pub max_profile_bytes: u64,
    /// Bytes of a drawing's text, inflated. Stops: compressed drawings that inflate to gigabytes, and documents of a
    /// hundred million elements. The largest drawings seen in the trade have a few MiB.
    pub max_drawing_bytes: u64,
    /// Seconds of processor time that a drawing may take, all its renderings together. Stops: filters and references that run for hours. Held by whoever
    /// renders drawings in a process of its own; pictures of pixels need no clock, their work is linear in bytes and pixels.
    pub max_drawing_cpu_s: u32,
    /// Address space of the process that renders a drawing. Stops: layers, patterns and pictures inside the drawing that
    /// together want more than any one of them may have.
    pub max_drawing_memory_bytes: u64,
    /// Who renders drawings; limits that were written down and read again have nobody.
    #[serde(skip, default = "nobody")]
    pub drawings: Drawings,
}

fn nobody() -> Drawings {
    Drawings::Refused
}

impl Default for Limits {
    fn default() -> Limits {
        Limits {
            max_bytes: 100 * MIB,
            max_pixels: 120_000_000,
            max_side_px: 30_000,
            // The largest picture at 8 bytes a pixel.
            max_decoded_bytes: 960_000_000,
            max_frames: 10_000,
            max_metadata_bytes: 8 * MIB,
            max_profile_bytes: 8 * MIB,
            max_drawing_bytes: 16 * MIB,
            max_drawing_cpu_s: 3,
            // 1.2 GiB.
            max_drawing_memory_bytes: 6 * 1024 * MIB / 5,
            drawings: Drawings::Here,
        }
    }
}

/// Who renders drawings (SVG).
#[derive(Clone, Copy, Debug)]
pub enum Drawings {
    /// Nobody: a drawing is `art.unsupported`.
    Refused,
    /// This process. What the checks before rendering let through can still end the process (a failed allocation, the
    /// stack): for drawings that are trusted, and for tests.
    Here,
    /// Somebody else, who holds the limits of time and memory.
    Elsewhere(&'static dyn Renderer),
}

impl PartialEq for Drawings {
    fn eq(&self, other: &Drawings) -> bool {
        match (self, other) {
            (Drawings::Refused, Drawings::Refused) | (Drawings::Here, Drawings::Here) => true,
            (Drawings::Elsewhere(one), Drawings::Elsewhere(two)) => std::ptr::addr_eq(*one, *two),
            (Drawings::Refused | Drawings::Here | Drawings::Elsewhere(_), _) => false,
        }
    }
}

impl Eq for Drawings {}

/// Renders drawings somewhere that their death does no harm. Its answer must be what [`super::render`] gives.
pub trait Renderer: Send + Sync + RefUnwindSafe + fmt::Debug {
    /// Renders a drawing.
    ///
    /// # Errors
    /// As [`super::render`]; `art.over_limit` when a limit of time or memory ended it.
    fn render(&self, drawing: &Drawing<'_>) -> Result<Rendering, Fault>;
}

impl Limits {
    /// Holds the size of a file against its limit.
    pub(super) fn check_bytes(&self, bytes: u64) -> Result<(), Fault> {
        within(bytes, self.max_bytes, "bytes")
    }

    /// Holds a size against the limits.
    pub(super) fn check_size(&self, width_px: u32, height_px: u32) -> Result<(), Fault> {
        if width_px == 0 || height_px == 0 {
            return Err(Fault::ArtUnreadable { reason: "a side has no pixels".to_owned() });
        }
        within(u64::from(width_px.max(height_px)), u64::from(self.max_side_px), "px")?;
        within(u64::from(width_px) * u64::from(height_px), self.max_pixels, "pixels")
    }

    /// Holds a size and the samples of its pixels against the limits.
    pub(super) fn check_samples(&self, width_px: u32, height_px: u32, pixel_bytes: u64) -> Result<(), Fault> {
        self.check_size(width_px, height_px)?;
        let bytes = u64::from(width_px) * u64::from(height_px) * pixel_bytes;
        within(bytes, self.max_decoded_bytes, "bytes")
    }

    /// Holds a count of frames or pages against the limit.
    pub(super) fn check_frames(&self, frames: u32) -> Result<(), Fault> {
        within(u64::from(frames), u64::from(self.max_frames), "frames")
    }
}

/// Inflates no further than a limit; `None` where the stream is damaged.
pub(super) fn inflated(packed: impl Read, limit_bytes: u64) -> Result<Option<Vec<u8>>, Fault> {
    Allowance::of(limit_bytes).inflated(packed)
}

/// What several streams may be inflated to together: each may be small, and a file may hold thousands.
pub(super) struct Allowance {
    limit_bytes: u64,
    left_bytes: u64,
}

impl Allowance {
    pub(super) fn of(limit_bytes: u64) -> Allowance {
        Allowance { limit_bytes, left_bytes: limit_bytes }
    }

    /// See [`inflated`].
    pub(super) fn inflated(&mut self, packed: impl Read) -> Result<Option<Vec<u8>>, Fault> {
        let mut plain = Vec::new();
        let outcome = packed.take(self.left_bytes + 1).read_to_end(&mut plain);
        // What turns out damaged counts too: it was inflated until then.
        let left = self.left_bytes.checked_sub(plain.len() as u64);
        self.left_bytes = left.ok_or_else(|| Fault::art_just_over(self.limit_bytes as f64, "bytes"))?;
        Ok(outcome.is_ok().then_some(plain))
    }
}

/// A measure that must not be over a limit.
pub(super) fn within(measured: u64, limit: u64, unit: &'static str) -> Result<(), Fault> {
    if measured <= limit {
        return Ok(());
    }
    Err(Fault::ArtOverLimit { measured: measured as f64, limit: limit as f64, unit })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_default_takes_the_largest_picture_of_the_shop() {
        let limits = Limits::default();
        // 12,000 x 10,000 px at 16 bits RGBA: the most that the limits on pixels let through.
        assert!(limits.check_samples(12_000, 10_000, 8).is_ok());
        assert!(limits.check_size(30_000, 4_000).is_ok());
    }

    #[test]
    fn a_limit_says_what_was_measured() {
        let limits = Limits::default();
        let over = |result: Result<(), Fault>| match result {
            Err(Fault::ArtOverLimit { measured, limit, unit }) => (measured as u64, limit as u64, unit),
            _ => (0, 0, ""),
        };
        assert_eq!(over(limits.check_size(30_001, 1)), (30_001, 30_000, "px"));
        assert_eq!(over(limits.check_size(12_001, 10_000)), (120_010_000, 120_000_000, "pixels"));
        assert_eq!(over(limits.check_samples(12_000, 10_000, 16)), (1_920_000_000, 960_000_000, "bytes"));
        assert_eq!(over(limits.check_frames(10_001)), (10_001, 10_000, "frames"));
        assert!(limits.check_size(0, 5).is_err());
    }
}
