//! What a JPEG's markers say before it is decoded.
//!
//! The decoder fills the missing part of a cut file with grey and says nothing, so the end marker is looked for here.
//! Source: ITU-T T.81, Annex B; Adobe Technical Note 5116 for the APP14 marker.

use image::metadata::Orientation;
use zune_jpeg::JpegDecoder;
use zune_jpeg::errors::DecodeErrors;
use zune_jpeg::zune_core::bytestream::ZCursor;
use zune_jpeg::zune_core::colorspace::ColorSpace;
use zune_jpeg::zune_core::options::DecoderOptions;

use super::exif;
use super::limits::{Limits, within};
use super::samples::{Decoded, Profile, Samples, cut_short, image_of, rgb_of_ycbcr, unreadable};
use crate::fault::Fault;

/// How the segments of a profile begin (ICC.1:2022, B.4).
const PROFILE_HEAD: &[u8] = b"ICC_PROFILE\0";

/// Most that the header can say of a side; our own limit is held against it first.
const MOST_SIDE_PX: usize = 65_535;

/// Least length of Adobe's marker; a shorter one says nothing (Adobe Technical Note 5116, as common decoders take it).
const ADOBE_BYTES: usize = 12;

/// What the markers say.
#[derive(Clone, Debug, Default, PartialEq)]
struct Markers {
    /// The end marker stands behind the scans.
    ends: bool,
    /// Samples per pixel; 4 is CMYK or YCCK.
    components: u8,
    /// Adobe's marker is present, with how the colours were transformed (0 not, 1 YCbCr, 2 YCCK): CMYK samples are then
    /// stored inverted, as everybody does.
    adobe: Option<u8>,
    /// Adobe's marker is there, and too short to say anything; the decoder would refuse the file for it.
    adobe_broken: bool,
    /// The first that an Exif block says.
    orientation: Option<Orientation>,
    /// Pieces of a colour profile by their number.
    profile: Vec<(u8, Vec<u8>)>,
}

impl Markers {
    /// The profile put together; a piece that is missing leaves a broken one.
    fn profile(mut self) -> Option<Profile> {
        self.profile.sort_by_key(|(number, _)| *number);
        let whole: Vec<u8> = self.profile.into_iter().flat_map(|(_, piece)| piece).collect();
        (!whole.is_empty()).then_some(Profile::Icc(whole))
    }

    fn segment(&mut self, marker: u8, body: &[u8]) {
        let is_frame = matches!(marker, 0xC0..=0xCF) && !matches!(marker, 0xC4 | 0xC8 | 0xCC);
        if is_frame {
            self.components = body.get(5).copied().unwrap_or_default();
        } else if marker == 0xEE && body.starts_with(b"Adobe") {
            self.adobe_broken |= body.len() < ADOBE_BYTES;
            self.adobe = self.adobe.or(body.get(11).copied());
        } else if marker == 0xE1 && self.orientation.is_none() {
            self.orientation = body.strip_prefix(b"Exif\0\0").and_then(exif::orientation);
        } else if marker == 0xE2
            && let Some([number, _of, piece @ ..]) = body.strip_prefix(PROFILE_HEAD)
        {
            self.profile.push((*number, piece.to_vec()));
        }
    }
}

/// Walks the markers of a JPEG from its start to its end marker. Linear; what follows the end marker is ignored.
fn walk(bytes: &[u8]) -> Markers {
    let mut found = Markers::default();
    let mut at = 2;
    while let Some((marker, next)) = next_marker(bytes, at) {
        at = next;
        match marker {
            0xD9 => {
                found.ends = true;
                return found;
            }
            // Stand-alone markers: restarts inside scans, start of image, TEM.
            0xD0..=0xD8 | 0x01 => {}
            _ => {
                let Some(length) = segment_bytes(bytes, at) else { return found };
                found.segment(marker, bytes.get(at + 2..at + length).unwrap_or_default());
                at += length;
            }
        }
    }
    found
}

pub(super) fn open(bytes: &[u8], limits: &Limits) -> Result<Decoded, Fault> {
    let markers = walk(bytes);
    let profile_bytes: usize = markers.profile.iter().map(|(_, piece)| piece.len()).sum();
    within(profile_bytes as u64, limits.max_profile_bytes, "bytes")?;
    let options =
        DecoderOptions::default().set_strict_mode(false).set_max_width(MOST_SIDE_PX).set_max_height(MOST_SIDE_PX);
    let stripped = markers.adobe_broken.then(|| without_adobe(bytes));
    let source = stripped.as_deref().unwrap_or(bytes);
    let mut decoder = JpegDecoder::new_with_options(ZCursor::new(source), options);
    decoder.decode_headers().map_err(|error| fault_of(&error))?;
    let (width, height) = decoder.dimensions().ok_or_else(|| unreadable("the header is damaged"))?;
    let side = |side: usize| u32::try_from(side).unwrap_or(u32::MAX);
    let (width_px, height_px) = (side(width), side(height));
    limits.check_samples(width_px, height_px, 4)?;
    if !markers.ends {
        return Err(cut_short());
    }
    let stored = Stored::of(&markers, decoder.input_colorspace());
    // The decoder settles how it converts while it reads the header: it has to be asked before.
    let options = options.jpeg_set_out_colorspace(stored.wanted());
    let mut decoder = JpegDecoder::new_with_options(ZCursor::new(source), options);
    let mut samples = decoder.decode().map_err(|error| fault_of(&error))?;
    if stored == Stored::PlainRgb {
        samples = with_alpha(&samples);
    }
    if stored == Stored::Ycck {
        samples.chunks_exact_mut(4).for_each(to_inks);
    }
    if matches!(stored, Stored::Cmyk | Stored::Ycck) && markers.adobe.is_some() {
        samples.iter_mut().for_each(|sample| *sample = 255 - *sample);
    }
    let pixels = image_of(width_px, height_px, samples)?;
    let samples = match stored {
        Stored::Grey => Samples::Grey(pixels),
        Stored::Cmyk | Stored::Ycck => Samples::Inks { pixels, alpha: None },
        Stored::YCbCr | Stored::PlainRgb => Samples::Rgb(pixels),
    };
    let orientation = markers.orientation.unwrap_or(Orientation::NoTransforms);
    Ok(Decoded { orientation, profile: markers.profile(), ..Decoded::of(samples) })
}

/// How the samples of a file are to be understood.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stored {
    Grey,
    YCbCr,
    /// Three components that are no YCbCr: Adobe's marker says so, or their names.
    PlainRgb,
    Cmyk,
    Ycck,
}

impl Stored {
    fn of(markers: &Markers, decoder_says: Option<ColorSpace>) -> Stored {
        match markers.components {
            4 if markers.adobe == Some(2) => Stored::Ycck,
            4 => Stored::Cmyk,
            1 => Stored::Grey,
            _ if decoder_says == Some(ColorSpace::RGB) => Stored::PlainRgb,
            _ => Stored::YCbCr,
        }
    }

    /// What the decoder is asked for. Inks and plain RGB come as they are stored: our own arithmetic turns them.
    fn wanted(self) -> ColorSpace {
        match self {
            Stored::Grey | Stored::YCbCr => ColorSpace::RGBA,
            Stored::PlainRgb => ColorSpace::RGB,
            Stored::Cmyk => ColorSpace::CMYK,
            Stored::Ycck => ColorSpace::YCCK,
        }
    }
}

/// A copy of the file without Adobe's markers.
fn without_adobe(bytes: &[u8]) -> Vec<u8> {
    let mut kept = Vec::with_capacity(bytes.len());
    let (mut from, mut at) = (0, 2);
    while let Some((marker, next)) = next_marker(bytes, at) {
        at = next;
        if matches!(marker, 0xD0..=0xD9 | 0x01) {
            continue;
        }
        let Some(length) = segment_bytes(bytes, at) else { break };
        let end = (at + length).min(bytes.len());
        // Behind the first scan there are no more.
        if marker == 0xDA {
            break;
        }
        if marker == 0xEE {
            kept.extend_from_slice(&bytes[from..at - 2]);
            from = end;
        }
        at = end;
    }
    kept.extend_from_slice(&bytes[from..]);
    kept
}

fn with_alpha(samples: &[u8]) -> Vec<u8> {
    samples.chunks_exact(3).flat_map(|pixel| [pixel[0], pixel[1], pixel[2], 255]).collect()
}

/// Y, Cb, Cr, K to C, M, Y, K as stored (Adobe Technical Note 5116).
fn to_inks(pixel: &mut [u8]) {
    let light = rgb_of_ycbcr([pixel[0], pixel[1], pixel[2]]);
    pixel[..3].copy_from_slice(&light.map(|light| 255 - light));
}

fn fault_of(error: &DecodeErrors) -> Fault {
    tracing::debug!(?error, "a JPEG could not be decoded");
    if matches!(error, DecodeErrors::ExhaustedData) {
        return cut_short();
    }
    if matches!(error, DecodeErrors::Unsupported(_)) {
        return Fault::ArtUnsupported { kind: "JPEG of an unusual kind".to_owned() };
    }
    unreadable("its data are damaged")
}

/// The length that a segment says of itself behind its marker; the two bytes that say it count.
fn segment_bytes(bytes: &[u8], at: usize) -> Option<usize> {
    let length = bytes.get(at..at + 2)?;
    Some(usize::from(u16::from_be_bytes([length[0], length[1]])).max(2))
}

/// The next marker at or after a place and the place behind it. Entropy-coded data holds no markers but restarts: a 0xFF
/// in it is followed by zero.
fn next_marker(bytes: &[u8], from: usize) -> Option<(u8, usize)> {
    let mut at = from;
    loop {
        at += bytes.get(at..)?.iter().position(|byte| *byte == 0xFF)?;
        let code = *bytes.get(at + 1)?;
        match code {
            0xFF => at += 1,
            0x00 => at += 2,
            _ => return Some((code, at + 2)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_end_marker_inside_a_segment_does_not_count() {
        // APP1 of 6 bytes whose body holds FF D9, as an embedded thumbnail's does.
        let cut = [0xFF, 0xD8, 0xFF, 0xE1, 0, 6, 0xFF, 0xD9, 0xFF, 0xD9, 0xFF, 0xDA, 0, 2, 1, 2, 0xFF, 0, 3];
        assert!(!walk(&cut).ends);
        let mut whole = cut.to_vec();
        whole.extend([0xFF, 0xD9, 7, 7, 7]);
        assert!(walk(&whole).ends, "bytes behind the end marker are ignored");
    }

    #[test]
    fn rubbish_ends_the_walk() {
        assert_eq!(walk(b""), Markers::default());
        assert_eq!(walk(&[0xFF; 64]), Markers::default());
    }
}
