//! Pictures made of pixels: decode, convert colours, turn upright.
//!
//! Sizes are read from the header and held against the limits before anything of that size is allocated.

use std::io::Cursor;
use std::panic::catch_unwind;
use std::sync::Arc;

use image::codecs::bmp::BmpDecoder;
use image::codecs::webp::WebPDecoder;
use image::error::ImageError;
use image::metadata::Orientation;
use image::{DynamicImage, ImageDecoder, Rgba};

use super::limits::{Limits, within};
use super::samples::{Decoded, Profile, Samples, cut_short, unreadable};
use super::{Artwork, Format, colour, gif, jpeg, png, tiff};
use crate::fault::Fault;

/// Decodes one of the raster kinds.
///
/// Decoders run behind `catch_unwind`: the release profile checks arithmetic overflow in them too, and a damaged file can
/// make one panic where it would otherwise wrap. Nothing outlives the closure, so there is no broken state to see.
pub(super) fn open(bytes: &[u8], format: Format, limits: &Limits) -> Result<Artwork, Fault> {
    let limits = *limits;
    let decoded = catch_unwind(move || match format {
        Format::Png => png::open(bytes, &limits),
        Format::Jpeg => jpeg::open(bytes, &limits),
        Format::Gif => gif::open(bytes, &limits),
        Format::Tiff => tiff::open(bytes, &limits),
        Format::Bmp => open_bmp(bytes, &limits),
        Format::Webp => open_webp(bytes, &limits),
        Format::Svg => Err(Fault::ArtUnsupported { kind: "SVG".to_owned() }),
    })
    .unwrap_or_else(|_| Err(unreadable("damaged in a way that breaks the decoder")))?;
    finish(decoded, format)
}

/// Brings a picture to sRGB and upright.
fn finish(decoded: Decoded, format: Format) -> Result<Artwork, Fault> {
    let (pixels, used) = colour::to_srgb(decoded.samples, decoded.profile.as_ref());
    let mut picture = DynamicImage::ImageRgba8(pixels);
    picture.apply_orientation(decoded.orientation);
    Ok(Artwork {
        animated: decoded.animated,
        colour_profile: used.name,
        ink_load: used.ink_load,
        profile_broken: used.broken,
        ..Artwork::new(Arc::new(picture.into_rgba8()), format)
    })
}

fn open_webp(bytes: &[u8], limits: &Limits) -> Result<Decoded, Fault> {
    let mut decoder = WebPDecoder::new(Cursor::new(bytes)).map_err(fault_of(limits))?;
    let (width_px, height_px) = decoder.dimensions();
    limits.check_samples(width_px, height_px, 4)?;
    check_chunks(bytes, limits)?;
    let animated = decoder.has_animation();
    if animated {
        // The file's background is only a hint (RFC 9649, 2.7.1.1): a sticker's ground is transparent.
        decoder.set_background_color(Rgba([0; 4])).map_err(fault_of(limits))?;
    }
    let decoded = whole(decoder, limits)?;
    Ok(Decoded { animated, ..decoded })
}

fn open_bmp(bytes: &[u8], limits: &Limits) -> Result<Decoded, Fault> {
    let decoder = BmpDecoder::new(Cursor::new(bytes)).map_err(fault_of(limits))?;
    let (width_px, height_px) = decoder.dimensions();
    limits.check_samples(width_px, height_px, 4)?;
    whole(decoder, limits)
}

/// Decodes with what the decoder itself says of profile and orientation.
fn whole<D: ImageDecoder>(mut decoder: D, limits: &Limits) -> Result<Decoded, Fault> {
    let mut own = image::Limits::no_limits();
    own.max_alloc = Some(limits.max_decoded_bytes);
    decoder.set_limits(own).map_err(fault_of(limits))?;
    within(decoder.total_bytes(), limits.max_decoded_bytes, "bytes")?;
    let orientation = decoder.orientation().unwrap_or(Orientation::NoTransforms);
    // A profile that cannot be read is the picture's only fault, and told as broken.
    let profile = decoder.icc_profile().unwrap_or(Some(Vec::new()));
    within(profile.as_ref().map_or(0, Vec::len) as u64, limits.max_profile_bytes, "bytes")?;
    let pixels = DynamicImage::from_decoder(decoder).map_err(fault_of(limits))?.into_rgba8();
    Ok(Decoded { orientation, profile: profile.map(Profile::Icc), ..Decoded::of(Samples::Rgb(pixels)) })
}

/// Holds the chunks of a WebP against the limits, before the decoder copies any (RFC 9649, 2.3 and 2.7.1).
fn check_chunks(bytes: &[u8], limits: &Limits) -> Result<(), Fault> {
    let (mut at, mut frames) = (12_usize, 0);
    while let Some(head) = bytes.get(at..at.saturating_add(8)) {
        let length = u32::from_le_bytes([head[4], head[5], head[6], head[7]]);
        match &head[..4] {
            b"ANMF" => {
                frames += 1;
                limits.check_frames(frames)?;
            }
            b"EXIF" => within(u64::from(length), limits.max_metadata_bytes, "bytes")?,
            b"ICCP" => within(u64::from(length), limits.max_profile_bytes, "bytes")?,
            _ => {}
        }
        at = at.saturating_add(8).saturating_add(length as usize).saturating_add(length as usize & 1);
    }
    Ok(())
}

fn fault_of(limits: &Limits) -> impl Fn(ImageError) -> Fault {
    let most = limits.max_decoded_bytes;
    move |error| {
        if let ImageError::Unsupported(cause) = &error {
            return Fault::ArtUnsupported { kind: plain(&cause.to_string()) };
        }
        if matches!(error, ImageError::Limits(_)) {
            return Fault::art_just_over(most as f64, "bytes");
        }
        // What the decoder says is for us; a report is for customers.
        tracing::debug!(%error, "a picture could not be decoded");
        if matches!(error, ImageError::IoError(_)) { cut_short() } else { unreadable("its data are damaged") }
    }
}

/// A decoder's words made fit for a report: one short line.
fn plain(words: &str) -> String {
    words.chars().map(|character| if character.is_control() { ' ' } else { character }).take(160).collect()
}
