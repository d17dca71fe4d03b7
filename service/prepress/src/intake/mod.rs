//! Bytes in, [`Artwork`] out.
//!
//! Recognised by content, not by name. Never allocates past the limits, never panics, never touches network or disk.

use std::sync::Arc;

use image::RgbaImage;

use crate::fault::Fault;

/// What a picture may ask of us. Checked before allocation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// Bytes of the file.
    pub max_bytes: u64,
    /// Width x height.
    pub max_pixels: u64,
    /// Each side.
    pub max_side_px: u32,
}

impl Default for Limits {
    fn default() -> Limits {
        Limits { max_bytes: 100 << 20, max_pixels: 120_000_000, max_side_px: 30_000 }
    }
}

/// Kind of file, recognised by content.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// PNG.
    Png,
    /// JPEG.
    Jpeg,
    /// WebP.
    Webp,
    /// SVG, rendered.
    Svg,
}

/// A decoded picture, upright.
#[derive(Clone, Debug)]
pub struct Artwork {
    /// Straight alpha, sRGB, orientation applied.
    pub pixels: Arc<RgbaImage>,
    /// Kind of file.
    pub format: Format,
    /// More frames than the first.
    pub animated: bool,
    /// Name of the embedded colour profile; `None` where there is none.
    pub colour_profile: Option<String>,
    /// Vector art with live text.
    pub live_text: bool,
}

/// Decodes a picture. `longest_px` is the longest side that vector art is rendered at (the canvas's, not the art's).
///
/// # Errors
/// `art.unreadable`, `art.unsupported`, `art.over_limit`, `art.tiny`.
pub fn open(_bytes: &[u8], _longest_px: u32, _limits: &Limits) -> Result<Artwork, Fault> {
    unimplemented!()
}
