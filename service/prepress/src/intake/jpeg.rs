//! What a JPEG's markers say before it is decoded.
//!
//! The decoder fills the missing part of a cut file with grey and says nothing, so the end marker is looked for here.
//! Source: ITU-T T.81, Annex B; Adobe Technical Note 5116 for the APP14 marker.

use image::RgbImage;
use zune_jpeg::JpegDecoder;
use zune_jpeg::zune_core::bytestream::ZCursor;
use zune_jpeg::zune_core::colorspace::ColorSpace;
use zune_jpeg::zune_core::options::DecoderOptions;

/// What the markers say.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Markers {
    /// The end marker stands behind the scans.
    pub ends: bool,
    /// Samples per pixel; 4 is CMYK or YCCK.
    pub components: u8,
    /// Adobe's marker is present: CMYK samples are then stored inverted, as everybody does.
    pub adobe: bool,
}

/// Walks the markers of a JPEG from its start to its end marker. Linear; what follows the end marker is ignored.
pub(super) fn walk(bytes: &[u8]) -> Markers {
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
                let Some(length) = bytes.get(at..at + 2) else { return found };
                let length = usize::from(u16::from_be_bytes([length[0], length[1]])).max(2);
                let body = bytes.get(at + 2..at + length).unwrap_or_default();
                let is_frame = matches!(marker, 0xC0..=0xCF) && !matches!(marker, 0xC4 | 0xC8 | 0xCC);
                if is_frame {
                    found.components = body.get(5).copied().unwrap_or_default();
                }
                found.adobe |= marker == 0xEE && body.starts_with(b"Adobe");
                at += length;
            }
        }
    }
    found
}

/// Decodes a CMYK file whose samples are plain (0 is no ink), which files without Adobe's marker have: `image` takes
/// every CMYK file for an inverted one and would show a negative. The size must have been held against the limits.
/// Ink to light by the plain product of what each lets through, as the decoder does for inverted files: no profile.
pub(super) fn decode_plain_cmyk(bytes: &[u8], width_px: u32, height_px: u32) -> Option<RgbImage> {
    let options = DecoderOptions::default()
        .jpeg_set_out_colorspace(ColorSpace::CMYK)
        .set_strict_mode(false)
        .set_max_width(width_px as usize)
        .set_max_height(height_px as usize);
    let inks = JpegDecoder::new_with_options(ZCursor::new(bytes), options).decode().ok()?;
    let light = |ink: u8, black: u8| {
        let product = u16::from(255 - ink) * u16::from(255 - black);
        ((product + 127) / 255) as u8
    };
    let samples =
        inks.chunks_exact(4).flat_map(|ink| [light(ink[0], ink[3]), light(ink[1], ink[3]), light(ink[2], ink[3])]);
    RgbImage::from_raw(width_px, height_px, samples.collect())
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
