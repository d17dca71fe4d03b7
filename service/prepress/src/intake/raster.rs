//! PNG, JPEG and WebP.
//!
//! Sizes are read from the header and held against the limits before anything of that size is allocated; the decoders'
//! own limit guards what they allocate besides (inflated profiles and texts).

use std::io::Cursor;
use std::panic::catch_unwind;
use std::sync::Arc;

use image::codecs::jpeg::JpegDecoder;
use image::codecs::png::PngDecoder;
use image::codecs::webp::WebPDecoder;
use image::error::ImageError;
use image::metadata::Orientation;
use image::{DynamicImage, ImageDecoder, Rgba};

use super::{Artwork, Format, Limits, colour, jpeg, profile};
use crate::fault::Fault;

/// What a decoder may allocate besides its input: enough for the largest picture of the default limits at 8 bytes a
/// pixel, and no more. Common practice, no source.
const MAX_DECODER_ALLOC_BYTES: u64 = 1 << 30;

/// What a PNG's profile and texts may inflate to; real profiles have at most a few MiB. Common practice, no source.
const MAX_PNG_METADATA_BYTES: u64 = 32 << 20;

/// Decodes one of the raster kinds.
///
/// Decoders run behind `catch_unwind`: the release profile checks arithmetic overflow in them too, and a damaged file can
/// make one panic where it would otherwise wrap. Nothing outlives the closure, so there is no broken state to see.
pub(super) fn open(bytes: &[u8], format: Format, limits: &Limits) -> Result<Artwork, Fault> {
    let limits = *limits;
    catch_unwind(move || match format {
        Format::Png => open_png(bytes, &limits),
        Format::Jpeg => open_jpeg(bytes, &limits),
        Format::Webp | Format::Svg => open_webp(bytes, &limits),
    })
    .unwrap_or_else(|_| Err(Fault::ArtUnreadable { reason: "damaged in a way that breaks the decoder".to_owned() }))
}

fn open_png(bytes: &[u8], limits: &Limits) -> Result<Artwork, Fault> {
    let (width_px, height_px) = png_size(bytes)?;
    limits.check_size(width_px, height_px)?;
    let mut metadata_limits = image::Limits::no_limits();
    metadata_limits.max_alloc = Some(MAX_PNG_METADATA_BYTES);
    let decoder = PngDecoder::with_limits(Cursor::new(bytes), metadata_limits).map_err(fault_of)?;
    let animated = decoder.is_apng().map_err(fault_of)?;
    let mut artwork = finish(decoder, Format::Png, limits, whole)?;
    artwork.animated = animated;
    // PNG 3rd edition, 11.3.2: of several colour descriptions, sRGB yields only to cICP and iCCP.
    if artwork.colour_profile.is_none() && has_png_chunk(bytes, b"sRGB") {
        artwork.colour_profile = Some("sRGB".to_owned());
    }
    Ok(artwork)
}

fn open_jpeg(bytes: &[u8], limits: &Limits) -> Result<Artwork, Fault> {
    let markers = jpeg::walk(bytes);
    let decoder = JpegDecoder::new(Cursor::new(bytes)).map_err(fault_of)?;
    let (width_px, height_px) = decoder.dimensions();
    limits.check_size(width_px, height_px)?;
    if !markers.ends {
        return Err(Fault::ArtUnreadable { reason: "the file is cut short".to_owned() });
    }
    let plain = markers.components == 4 && !markers.adobe;
    let read = |decoder| {
        if !plain {
            return DynamicImage::from_decoder(decoder).map_err(fault_of);
        }
        let picture = jpeg::decode_plain_cmyk(bytes, width_px, height_px).map(DynamicImage::ImageRgb8);
        picture.ok_or_else(|| Fault::ArtUnreadable { reason: "the CMYK samples are damaged".to_owned() })
    };
    let mut artwork = finish(decoder, Format::Jpeg, limits, read)?;
    if markers.components == 4 {
        let named = artwork.colour_profile.take().map(|name| format!("{CMYK}: {name}"));
        artwork.colour_profile = Some(named.unwrap_or_else(|| CMYK.to_owned()));
    }
    Ok(artwork)
}

fn open_webp(bytes: &[u8], limits: &Limits) -> Result<Artwork, Fault> {
    let mut decoder = WebPDecoder::new(Cursor::new(bytes)).map_err(fault_of)?;
    let (width_px, height_px) = decoder.dimensions();
    limits.check_size(width_px, height_px)?;
    let animated = decoder.has_animation();
    if animated {
        // The file's background is only a hint (RFC 9649, 2.7.1.1): a sticker's ground is transparent.
        decoder.set_background_color(Rgba([0; 4])).map_err(fault_of)?;
    }
    let mut artwork = finish(decoder, Format::Webp, limits, whole)?;
    artwork.animated = animated;
    Ok(artwork)
}

/// How `colour_profile` starts when the file's samples are CMYK.
pub const CMYK: &str = "CMYK";

/// Decodes, turns upright, brings to 8-bit RGBA.
fn finish<D: ImageDecoder>(
    mut decoder: D,
    format: Format,
    limits: &Limits,
    read: impl FnOnce(D) -> Result<DynamicImage, Fault>,
) -> Result<Artwork, Fault> {
    decoder.set_limits(decoder_limits()).map_err(fault_of)?;
    if decoder.total_bytes() > MAX_DECODER_ALLOC_BYTES {
        return Err(Fault::ArtOverLimit {
            measured: decoder.total_bytes() as f64,
            limit: MAX_DECODER_ALLOC_BYTES as f64,
            unit: "bytes",
        });
    }
    let orientation = decoder.orientation().unwrap_or(Orientation::NoTransforms);
    // A profile that cannot be read is the picture's only fault: it is printed as sRGB.
    let embedded = decoder.icc_profile().unwrap_or_default();
    let mut picture = read(decoder)?;
    picture = DynamicImage::ImageRgba8(picture.into_rgba8());
    picture.apply_orientation(orientation);
    let mut pixels = picture.into_rgba8();
    limits.check_size(pixels.width(), pixels.height())?;
    let colour_profile = embedded.map(|icc| {
        colour::to_srgb(&mut pixels, &icc);
        let name = profile::name(&icc);
        if profile::is_cmyk(&icc) && format != Format::Jpeg { format!("{CMYK}: {name}") } else { name }
    });
    Ok(Artwork { pixels: Arc::new(pixels), format, animated: false, colour_profile, live_text: false })
}

fn whole<D: ImageDecoder>(decoder: D) -> Result<DynamicImage, Fault> {
    DynamicImage::from_decoder(decoder).map_err(fault_of)
}

fn decoder_limits() -> image::Limits {
    let mut limits = image::Limits::no_limits();
    limits.max_alloc = Some(MAX_DECODER_ALLOC_BYTES);
    limits
}

/// The size that a PNG's IHDR claims (PNG 3rd edition, 11.2.1).
fn png_size(bytes: &[u8]) -> Result<(u32, u32), Fault> {
    let side = |at: usize| {
        let four: Option<[u8; 4]> = bytes.get(at..at + 4).and_then(|slice| slice.try_into().ok());
        four.map(u32::from_be_bytes)
    };
    let cut = || Fault::ArtUnreadable { reason: "the file is cut short".to_owned() };
    if bytes.get(12..16) != Some(b"IHDR") {
        return Err(Fault::ArtUnreadable { reason: "the header is damaged".to_owned() });
    }
    Ok((side(16).ok_or_else(cut)?, side(20).ok_or_else(cut)?))
}

/// Whether a PNG has a chunk before its pixels.
fn has_png_chunk(bytes: &[u8], wanted: &[u8; 4]) -> bool {
    let mut at = 8;
    while let Some(head) = bytes.get(at..at + 8) {
        let length = u32::from_be_bytes([head[0], head[1], head[2], head[3]]) as usize;
        match head.get(4..8) {
            Some(kind) if kind == wanted => return true,
            Some(b"IDAT") | None => return false,
            Some(_) => at += 12 + length,
        }
    }
    false
}

#[expect(clippy::needless_pass_by_value, reason = "the shape that map_err wants")]
fn fault_of(error: ImageError) -> Fault {
    if let ImageError::Unsupported(cause) = &error {
        return Fault::ArtUnsupported { kind: plain(&cause.to_string()) };
    }
    if matches!(error, ImageError::Limits(_)) {
        // The decoder does not say how much it wanted: a byte more than it may have is what we know.
        let limit = MAX_DECODER_ALLOC_BYTES as f64;
        return Fault::ArtOverLimit { measured: limit + 1.0, limit, unit: "bytes" };
    }
    // What the decoder says is for us; a report is for customers.
    tracing::debug!(%error, "a picture could not be decoded");
    let reason = if matches!(error, ImageError::IoError(_)) { "the file is cut short" } else { "its data are damaged" };
    Fault::ArtUnreadable { reason: reason.to_owned() }
}

/// A decoder's words made fit for a report: one short line.
fn plain(words: &str) -> String {
    words.chars().map(|character| if character.is_control() { ' ' } else { character }).take(160).collect()
}
