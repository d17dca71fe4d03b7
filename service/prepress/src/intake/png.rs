//! PNG and the first frame of APNG.
//!
//! Source: PNG (3rd edition, W3C 2025): 5.2 signature, 11.2 chunks, 11.3.2 colour, 11.3.3 texts, 4.9 animation. Rows are
//! brought to eight bits as they are inflated, so that a deep picture never stands in memory at its own depth.

use std::io::Cursor;
use std::ops::Range;

use flate2::Crc;
use flate2::read::ZlibDecoder;
use image::metadata::Orientation;
use png::{BitDepth, ColorType, Decoder, DecodingError, InterlaceInfo, Reader, Transformations};

use super::exif;
use super::limits::{Allowance, Limits, inflated};
use super::samples::{Decoded, Profile, Samples, cut_short, image_of, number, to_eight_bits, unreadable};
use crate::fault::Fault;

/// The keyword of a text chunk that holds an Exif block.
const RAW_EXIF: &[u8] = b"Raw profile type exif";

/// Another keyword for the same, with the block as JPEG has it.
const RAW_APP1: &[u8] = b"Raw profile type APP1";

/// What the chunks say besides the pixels.
struct Chunks {
    orientation: Orientation,
    profile: Option<Profile>,
    frames: u32,
    /// Where the body of the chunk stands that makes one colour transparent.
    transparent: Option<Range<usize>>,
    /// The picture before the animation is not part of it.
    still_apart: bool,
}

pub(super) fn open(bytes: &[u8], limits: &Limits) -> Result<Decoded, Fault> {
    let (width_px, height_px, pixel_bytes) = claimed(bytes)?;
    limits.check_samples(width_px, height_px, pixel_bytes)?;
    let chunks = read_chunks(bytes, limits)?;
    limits.check_frames(chunks.frames)?;
    let masked = chunks.transparent.as_ref().and_then(|range| with_masked_transparency(bytes, range.clone()));
    let source = masked.as_deref().unwrap_or(bytes);
    let mut decoder = Decoder::new_with_limits(Cursor::new(source), decoder_limits(limits));
    decoder.set_ignore_text_chunk(true);
    decoder.set_ignore_iccp_chunk(true);
    decoder.set_transformations(transformations(bytes));
    let mut reader = decoder.read_info().map_err(fault_of(limits))?;
    let mut samples = vec![0; width_px as usize * height_px as usize * 4];
    let shape = Shape::of(reader.output_color_type());
    read_rows(&mut reader, shape, width_px as usize, &mut samples, limits)?;
    let pixels = image_of(width_px, height_px, samples)?;
    Ok(Decoded {
        samples: if shape.is_grey() { Samples::Grey(pixels) } else { Samples::Rgb(pixels) },
        orientation: chunks.orientation,
        profile: chunks.profile,
        animated: chunks.frames > 1 || (chunks.frames == 1 && chunks.still_apart),
    })
}

/// Sides and bytes of a decoded pixel as IHDR claims them (11.2.1).
fn claimed(bytes: &[u8]) -> Result<(u32, u32, u64), Fault> {
    if bytes.get(12..16) != Some(b"IHDR") {
        return Err(unreadable("the header is damaged"));
    }
    let side = |at: usize| number(bytes, at).ok_or_else(cut_short);
    let depth = *bytes.get(24).ok_or_else(cut_short)?;
    Ok((side(16)?, side(20)?, if depth == 16 { 8 } else { 4 }))
}

/// What the decoder is asked to do. It looks palettes up with their alpha; where there is none to look up, giving every pixel
/// a full one is left to us: the decoder takes a quarter of all its time for that.
fn transformations(bytes: &[u8]) -> Transformations {
    let is_palette = bytes.get(25) == Some(&3);
    if is_palette { Transformations::EXPAND | Transformations::ALPHA } else { Transformations::EXPAND }
}

/// What the decoder may hold besides its input: a few rows, and the chunks that we do not read ourselves.
fn decoder_limits(limits: &Limits) -> png::Limits {
    let row_bytes = u64::from(limits.max_side_px) * 8 * 4;
    png::Limits { bytes: usize::try_from(limits.max_metadata_bytes + row_bytes).unwrap_or(usize::MAX) }
}

/// A copy of the file in which the transparent colour has no bits beyond the samples' depth: those must not count (11.3.1.1),
/// and the decoder counts them. `None` where there are none.
fn with_masked_transparency(bytes: &[u8], body: Range<usize>) -> Option<Vec<u8>> {
    let (depth, colours) = (*bytes.get(24)?, *bytes.get(25)?);
    if depth >= 16 || !matches!(colours, 0 | 2) {
        return None;
    }
    let mask = ((1_u16 << depth) - 1).to_be_bytes();
    let mut copy = bytes.to_vec();
    for pair in copy.get_mut(body.clone())?.chunks_exact_mut(2) {
        pair[0] &= mask[0];
        pair[1] &= mask[1];
    }
    if copy.get(body.clone()) == bytes.get(body.clone()) {
        return None;
    }
    let mut checksum = Crc::new();
    checksum.update(copy.get(body.start - 4..body.end)?);
    copy.get_mut(body.end..body.end + 4)?.copy_from_slice(&checksum.sum().to_be_bytes());
    Some(copy)
}

/// How the decoder's rows are laid out.
#[derive(Clone, Copy)]
struct Shape {
    /// Grey, grey and alpha, RGB, RGBA.
    channels: usize,
    deep: bool,
}

impl Shape {
    fn of((colours, depth): (ColorType, BitDepth)) -> Shape {
        Shape { channels: colours.samples(), deep: depth == BitDepth::Sixteen }
    }

    fn is_grey(self) -> bool {
        self.channels < 3
    }

    /// Whether a row is RGBA of eight bits already.
    fn is_ours(self) -> bool {
        self.channels == 4 && !self.deep
    }

    fn pixel_bytes(self) -> usize {
        self.channels * if self.deep { 2 } else { 1 }
    }

    /// A row as RGBA of eight bits.
    fn row(self, stored: &[u8], target: &mut [u8]) {
        if self.deep {
            let (pairs, _) = stored.as_chunks();
            let narrow: Vec<u8> = pairs.iter().map(|pair| to_eight_bits(u16::from_be_bytes(*pair))).collect();
            return Shape { deep: false, ..self }.row(&narrow, target);
        }
        match self.channels {
            1 => each(stored, target, |[grey]| [grey, grey, grey, u8::MAX]),
            2 => each(stored, target, |[grey, alpha]| [grey, grey, grey, alpha]),
            3 => each(stored, target, |[red, green, blue]| [red, green, blue, u8::MAX]),
            _ => each(stored, target, |pixel| pixel),
        }
    }
}

/// Makes RGBA of every pixel of a row.
fn each<const CHANNELS: usize>(stored: &[u8], target: &mut [u8], pixel: impl Fn([u8; CHANNELS]) -> [u8; 4]) {
    let ((stored, _), (target, _)) = (stored.as_chunks(), target.as_chunks_mut());
    target.iter_mut().zip(stored).for_each(|(target, stored)| *target = pixel(*stored));
}

fn read_rows(
    reader: &mut Reader<Cursor<&[u8]>>,
    shape: Shape,
    width: usize,
    samples: &mut [u8],
    limits: &Limits,
) -> Result<(), Fault> {
    let row_bytes = width * 4;
    let mut row = vec![0; width * shape.pixel_bytes()];
    if !reader.info().interlaced {
        for target in samples.chunks_exact_mut(row_bytes) {
            if shape.is_ours() {
                reader.read_row(target).map_err(fault_of(limits))?.ok_or_else(cut_short)?;
            } else {
                reader.read_row(&mut row).map_err(fault_of(limits))?.ok_or_else(cut_short)?;
                shape.row(&row, target);
            }
        }
    }
    // Of a picture in rows nothing is left but its checksum.
    while let Some(place) = reader.read_row(&mut row).map_err(fault_of(limits))? {
        if let InterlaceInfo::Adam7(place) = place {
            let mut pixels = vec![0; row_bytes];
            shape.row(&row, &mut pixels);
            png::expand_interlaced_row(samples, row_bytes, &pixels, &place, 32);
        }
    }
    Ok(())
}

/// Walks the chunks. Only what is asked for is inflated, and all of it together no further than the limits.
fn read_chunks(bytes: &[u8], limits: &Limits) -> Result<Chunks, Fault> {
    let mut chunks = Chunks {
        orientation: Orientation::NoTransforms,
        profile: None,
        frames: 0,
        transparent: None,
        still_apart: true,
    };
    let (mut text, mut block) = (None, None);
    let mut left = Allowance::of(limits.max_metadata_bytes);
    let (mut code_points, mut is_srgb, mut in_pixels) = (None, false, false);
    let mut at = 8_usize;
    while let Some(length) = number(bytes, at) {
        let Some(kind) = bytes.get(at + 4..at + 8) else { break };
        let end = (at + 8).saturating_add(length as usize).min(bytes.len());
        let body = &bytes[at + 8..end];
        match kind {
            b"IDAT" => in_pixels = true,
            b"fcTL" if !in_pixels => chunks.still_apart = false,
            b"acTL" if !in_pixels => chunks.frames = number(body, 0).unwrap_or(1),
            b"iCCP" if chunks.profile.is_none() => {
                chunks.profile = Some(Profile::Icc(profile(body, limits.max_profile_bytes)?));
            }
            b"cICP" => code_points = body.get(..2).map(|pair| (pair[0], pair[1])),
            b"sRGB" => is_srgb = true,
            b"tRNS" if !in_pixels => chunks.transparent = Some(at + 8..end),
            b"eXIf" => block = block.or_else(|| exif::orientation(body)),
            b"tEXt" | b"zTXt" | b"iTXt" if text.is_none() => text = orientation_of_text(kind, body, &mut left)?,
            b"IEND" => break,
            _ => {}
        }
        at = end.saturating_add(4);
    }
    chunks.orientation = block.or(text).unwrap_or(Orientation::NoTransforms);
    // Of several colour descriptions cICP comes first, then iCCP, then sRGB (11.3.2).
    if let Some((primaries, transfer)) = code_points {
        chunks.profile = Some(Profile::CodePoints { primaries, transfer });
    } else if chunks.profile.is_none() && is_srgb {
        chunks.profile = Some(Profile::Srgb);
    }
    Ok(chunks)
}

/// The profile in an iCCP chunk: a name, a zero, the method, the deflated profile. One that is no stream at all is an empty
/// one, and told as broken.
fn profile(body: &[u8], limit_bytes: u64) -> Result<Vec<u8>, Fault> {
    let packed = body.iter().position(|byte| *byte == 0).and_then(|end| body.get(end + 2..));
    Ok(inflated(ZlibDecoder::new(packed.unwrap_or_default()), limit_bytes)?.unwrap_or_default())
}

/// The orientation in a text chunk that holds an Exif block; other texts are not looked at.
fn orientation_of_text(kind: &[u8], body: &[u8], left: &mut Allowance) -> Result<Option<Orientation>, Fault> {
    let Some(end) = body.iter().position(|byte| *byte == 0) else { return Ok(None) };
    if !matches!(&body[..end], keyword if *keyword == *RAW_EXIF || *keyword == *RAW_APP1) {
        return Ok(None);
    }
    let rest = body.get(end + 1..).unwrap_or_default();
    let plain = match kind {
        b"tEXt" => Some(rest.to_vec()),
        b"zTXt" => left.inflated(ZlibDecoder::new(rest.get(1..).unwrap_or_default()))?,
        // iTXt: whether it is packed, how, then language and translated keyword, each closed by a zero.
        _ => {
            let mut parts = rest.get(2..).unwrap_or_default().splitn(3, |byte| *byte == 0);
            let text = parts.nth(2).unwrap_or_default();
            if rest.first() == Some(&1) { left.inflated(ZlibDecoder::new(text))? } else { Some(text.to_vec()) }
        }
    };
    Ok(plain.and_then(|text| exif::orientation_in_text(&text)))
}

fn fault_of(limits: &Limits) -> impl Fn(DecodingError) -> Fault {
    let most = limits.max_metadata_bytes;
    move |error| {
        tracing::debug!(%error, "a PNG could not be decoded");
        match error {
            DecodingError::IoError(_) => cut_short(),
            DecodingError::LimitsExceeded => Fault::art_just_over(most as f64, "bytes"),
            DecodingError::Format(_) | DecodingError::Parameter(_) => unreadable("its data are damaged"),
        }
    }
}
