//! Bytes in, [`Artwork`] out.
//!
//! Recognised by content, not by name. Never allocates past the limits, never panics, never touches network or disk.

mod budget;
mod jpeg;
mod kind;
mod profile;
mod raster;
mod vector;

use std::sync::Arc;

use image::RgbaImage;

use crate::fault::Fault;
use kind::Kind;

pub use raster::CMYK;

/// A picture whose longest side is shorter is no art.
const MIN_LONGEST_PX: u32 = 32;

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
    /// Name of the embedded colour profile; `None` where there is none. Starts with [`CMYK`] when the samples were CMYK
    /// and have been converted.
    pub colour_profile: Option<String>,
    /// Vector art with live text.
    pub live_text: bool,
}

/// Decodes a picture. `longest_px` is the longest side that vector art is rendered at (the canvas's, not the art's).
///
/// # Errors
/// `art.unreadable`, `art.unsupported`, `art.over_limit`, `art.tiny`.
pub fn open(bytes: &[u8], longest_px: u32, limits: &Limits) -> Result<Artwork, Fault> {
    let size = bytes.len() as u64;
    if size > limits.max_bytes {
        return Err(Fault::ArtOverLimit { measured: size as f64, limit: limits.max_bytes as f64, unit: "bytes" });
    }
    let artwork = match kind::recognise(bytes) {
        Kind::Png => raster::open(bytes, Format::Png, limits),
        Kind::Jpeg => raster::open(bytes, Format::Jpeg, limits),
        Kind::Webp => raster::open(bytes, Format::Webp, limits),
        Kind::Svg => vector::open(bytes, longest_px, limits),
        Kind::Other(name) => Err(Fault::ArtUnsupported { kind: name.to_owned() }),
        Kind::Unknown if bytes.is_empty() => Err(Fault::ArtUnreadable { reason: "the file is empty".to_owned() }),
        Kind::Unknown => Err(Fault::ArtUnreadable { reason: "no known kind of picture".to_owned() }),
    }?;
    let longest_px = artwork.pixels.width().max(artwork.pixels.height());
    if longest_px < MIN_LONGEST_PX { Err(Fault::ArtTiny { longest_px }) } else { Ok(artwork) }
}

impl Limits {
    /// Holds a size against the limits.
    ///
    /// # Errors
    /// `art.over_limit`; `art.unreadable` for a side of nothing.
    fn check_size(&self, width_px: u32, height_px: u32) -> Result<(), Fault> {
        if width_px == 0 || height_px == 0 {
            return Err(Fault::ArtUnreadable { reason: "a side has no pixels".to_owned() });
        }
        let longest = width_px.max(height_px);
        if longest > self.max_side_px {
            return Err(Fault::ArtOverLimit {
                measured: f64::from(longest),
                limit: f64::from(self.max_side_px),
                unit: "px",
            });
        }
        let area = u64::from(width_px) * u64::from(height_px);
        if area > self.max_pixels {
            return Err(Fault::ArtOverLimit { measured: area as f64, limit: self.max_pixels as f64, unit: "pixels" });
        }
        Ok(())
    }
}
