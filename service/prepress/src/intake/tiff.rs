//! The first page of a TIFF: grey, RGB, CMYK, YCbCr, palettes and CIE L*a*b* of up to 16 bits, packed by LZW, Deflate,
//! PackBits, JPEG, fax group 4 or not at all. Samples that are floating-point numbers are not taken: nothing in the file says
//! which of them is white.
//!
//! Source: TIFF 6.0 (1992), sections 3 to 8, 16 (CMYK), 18 (associated alpha), 23 (CIE L*a*b*); Adobe Technical Note on the ICC
//! tag 34675; Adobe Photoshop TIFF Technical Notes (2002), "ICC L*a*b*".

mod directory;
mod lab;

use std::io::Cursor;

use image::RgbaImage;
use image::metadata::Orientation;
use tiff::decoder::{BufferLayoutPreference, Decoder, DecodingResult};
use tiff::tags::Tag;
use tiff::{ColorType, TiffError, TiffUnsupportedError};

use super::limits::Limits;
use super::samples::{
    Decoded, Profile, Samples, cut_short, image_of, rgb_of_ycbcr, straight, to_eight_bits, unreadable,
};
use crate::fault::Fault;
use directory::Meaning;

/// Associated alpha in the tag `ExtraSamples`.
const ASSOCIATED: u64 = 1;

type Source<'a> = Decoder<Cursor<&'a [u8]>>;

pub(super) fn open(bytes: &[u8], limits: &Limits) -> Result<Decoded, Fault> {
    let pages = directory::pages(bytes, limits.max_frames);
    limits.check_frames(pages)?;
    let decoded = match directory::unknown_to_decoder(bytes) {
        Some((meaning, disguised)) => open_as(&disguised, meaning, limits),
        None => open_as(bytes, Meaning::AsSaid, limits),
    }?;
    Ok(Decoded { animated: pages > 1, ..decoded })
}

fn open_as(bytes: &[u8], meaning: Meaning, limits: &Limits) -> Result<Decoded, Fault> {
    let fault_of = |error| fault_of(&error, limits);
    let mut decoder = Decoder::new(Cursor::new(bytes)).map_err(fault_of)?.with_limits(decoder_limits(limits));
    let (width_px, height_px) = decoder.dimensions().map_err(fault_of)?;
    limits.check_size(width_px, height_px)?;
    let colours = decoder.colortype().map_err(fault_of)?;
    let pixel_bytes = u64::from(colours.num_samples()) * u64::from(colours.bit_depth()).div_ceil(8);
    limits.check_samples(width_px, height_px, pixel_bytes.max(4))?;
    let extra = decoder.find_tag_unsigned_vec::<u64>(Tag::ExtraSamples).ok().flatten().unwrap_or_default();
    let orientation = decoder.find_tag_unsigned::<u8>(Tag::Orientation).ok().flatten();
    let palette = if meaning == Meaning::Palette { palette(&mut decoder)? } else { Vec::new() };
    // A profile of a palette or of L*a*b* is for colours that are RGB by then, or needs none.
    let profile = if meaning.is_lab() { None } else { profile(&mut decoder, limits)? };
    let mut stored = DecodingResult::U8(Vec::new());
    let layout = decoder.read_image_to_buffer(&mut stored).map_err(fault_of)?;
    let page = Page { width_px, height_px, colours, meaning, palette, associated: extra.first() == Some(&ASSOCIATED) };
    let samples = page.samples(&page.eight_bits(stored, &layout)?)?;
    Ok(Decoded {
        orientation: orientation.and_then(Orientation::from_exif).unwrap_or(Orientation::NoTransforms),
        profile,
        ..Decoded::of(samples)
    })
}

fn decoder_limits(limits: &Limits) -> tiff::decoder::Limits {
    let size = |bytes: u64| usize::try_from(bytes).unwrap_or(usize::MAX);
    let mut own = tiff::decoder::Limits::default();
    own.decoding_buffer_size = size(limits.max_decoded_bytes);
    own.intermediate_buffer_size = size(limits.max_decoded_bytes);
    own.ifd_value_size = size(limits.max_profile_bytes.max(limits.max_metadata_bytes));
    own
}

fn profile(decoder: &mut Source<'_>, limits: &Limits) -> Result<Option<Profile>, Fault> {
    let entry = decoder.image_ifd().find_entry(Tag::IccProfile);
    let Some(entry) = entry else { return Ok(None) };
    super::limits::within(entry.count(), limits.max_profile_bytes, "bytes")?;
    // A tag that cannot be read is a broken profile.
    Ok(Some(Profile::Icc(decoder.get_tag_u8_vec(Tag::IccProfile).unwrap_or_default())))
}

/// The colours of a palette: all reds, all greens, all blues, of 16 bits (TIFF 6.0, section 5). Writers make them of eight bits
/// by 256 or by 257, so that the high byte is what they meant; some write eight bits as they are, seen by no value needing more.
fn palette(decoder: &mut Source<'_>) -> Result<Vec<[u8; 3]>, Fault> {
    let values = decoder.get_tag_u16_vec(Tag::ColorMap).map_err(|_| unreadable("its palette is damaged"))?;
    let is_short = values.iter().all(|value| *value < 256);
    let code = |value: u16| (if is_short { value } else { value >> 8 }) as u8;
    let count = values.len() / 3;
    Ok((0..count).map(|at| [values[at], values[count + at], values[2 * count + at]].map(code)).collect())
}

struct Page {
    width_px: u32,
    height_px: u32,
    colours: ColorType,
    meaning: Meaning,
    palette: Vec<[u8; 3]>,
    associated: bool,
}

impl Page {
    fn pixels(&self) -> usize {
        self.width_px as usize * self.height_px as usize
    }

    /// Samples of eight bits, pixel by pixel.
    #[expect(clippy::wildcard_enum_match_arm, reason = "whatever else the decoder knows is not taken")]
    fn eight_bits(&self, stored: DecodingResult, layout: &BufferLayoutPreference) -> Result<Vec<u8>, Fault> {
        let bytes = match stored {
            DecodingResult::U8(bytes) if self.colours.bit_depth() < 8 => self.unpacked(&bytes, layout),
            DecodingResult::U8(bytes) => bytes,
            DecodingResult::U16(_) if self.meaning == Meaning::Palette => {
                return Err(unsupported("TIFF of an unusual kind"));
            }
            // What may be negative is not rounded past its end.
            DecodingResult::U16(words) if self.meaning.is_lab() => {
                words.into_iter().map(|word| (word >> 8) as u8).collect()
            }
            DecodingResult::F16(_) | DecodingResult::F32(_) | DecodingResult::F64(_) => {
                return Err(unsupported("TIFF with floating-point samples"));
            }
            DecodingResult::U16(words) => words.into_iter().map(to_eight_bits).collect(),
            _ => return Err(unsupported("TIFF of an unusual kind")),
        };
        if layout.planes <= 1 {
            return Ok(bytes);
        }
        let planes: Vec<&[u8]> = bytes.chunks_exact(self.pixels()).collect();
        Ok((0..self.pixels()).flat_map(|at| planes.iter().map(move |plane| plane[at])).collect())
    }

    /// Rows of one, two or four bits a sample, each padded to whole bytes; indices of a palette stay as they are.
    fn unpacked(&self, packed: &[u8], layout: &BufferLayoutPreference) -> Vec<u8> {
        let depth = usize::from(self.colours.bit_depth());
        let most = (1_u16 << depth) - 1;
        let in_row = self.width_px as usize * usize::from(self.colours.num_samples());
        let row_bytes = layout.row_stride.map_or(in_row * depth / 8 + 1, std::num::NonZero::get);
        let sample = |row: &[u8], at: usize| {
            let (byte, bit) = (at * depth / 8, at * depth % 8);
            let code = u16::from(row[byte]) >> (8 - depth - bit) & most;
            if self.meaning == Meaning::Palette { code as u8 } else { (code * 255 / most) as u8 }
        };
        packed.chunks_exact(row_bytes).flat_map(|row| (0..in_row).map(move |at| sample(row, at))).collect()
    }

    #[expect(clippy::wildcard_enum_match_arm, reason = "whatever else the decoder knows is not taken")]
    fn samples(&self, bytes: &[u8]) -> Result<Samples, Fault> {
        match self.colours {
            ColorType::Gray(_) if self.meaning == Meaning::Palette => {
                Ok(Samples::Rgb(self.image(bytes, 1, |p| opaque(self.colour(p[0])))?))
            }
            ColorType::Multiband { num_samples: 2, .. } if self.meaning == Meaning::Palette => {
                let pixel = |p: &[u8]| {
                    let [red, green, blue] = self.colour(p[0]);
                    [red, green, blue, p[1]]
                };
                Ok(Samples::Rgb(self.image(bytes, 2, pixel)?))
            }
            ColorType::RGB(_) if self.meaning.is_lab() => {
                Ok(Samples::Rgb(self.image(bytes, 3, |p| opaque(self.of_lab(p)))?))
            }
            ColorType::RGBA(_) if self.meaning.is_lab() => {
                let pixel = |p: &[u8]| {
                    let [red, green, blue] = self.of_lab(p);
                    [red, green, blue, p[3]]
                };
                Ok(Samples::Rgb(self.image(bytes, 4, pixel)?))
            }
            ColorType::Gray(_) => Ok(Samples::Grey(self.image(bytes, 1, |p| [p[0], p[0], p[0], 255])?)),
            ColorType::GrayA(_) | ColorType::Multiband { num_samples: 2, .. } => {
                Ok(Samples::Grey(self.image(bytes, 2, |p| self.straight([p[0], p[0], p[0], p[1]]))?))
            }
            ColorType::RGB(_) => Ok(Samples::Rgb(self.image(bytes, 3, |p| opaque([p[0], p[1], p[2]]))?)),
            ColorType::RGBA(_) => Ok(Samples::Rgb(self.image(bytes, 4, |p| self.straight([p[0], p[1], p[2], p[3]]))?)),
            ColorType::YCbCr(_) => {
                Ok(Samples::Rgb(self.image(bytes, 3, |p| opaque(rgb_of_ycbcr([p[0], p[1], p[2]])))?))
            }
            ColorType::CMYK(_) => {
                let pixels = self.image(bytes, 4, |p| [p[0], p[1], p[2], p[3]])?;
                Ok(Samples::Inks { pixels, alpha: None })
            }
            ColorType::CMYKA(_) => {
                let ink = |ink: u8, alpha: u8| if self.associated { straight(ink, alpha) } else { ink };
                let pixels = self.image(bytes, 5, |p| [0, 1, 2, 3].map(|at| ink(p[at], p[4])))?;
                Ok(Samples::Inks { pixels, alpha: Some(bytes.chunks_exact(5).map(|pixel| pixel[4]).collect()) })
            }
            _ => Err(unsupported("TIFF of an unusual kind")),
        }
    }

    fn image(&self, bytes: &[u8], channels: usize, pixel: impl Fn(&[u8]) -> [u8; 4]) -> Result<RgbaImage, Fault> {
        let mut samples = Vec::with_capacity(self.pixels() * 4);
        bytes.chunks_exact(channels).take(self.pixels()).for_each(|stored| samples.extend(pixel(stored)));
        image_of(self.width_px, self.height_px, samples)
    }

    /// A colour of the palette; black for an index past its end.
    fn colour(&self, index: u8) -> [u8; 3] {
        self.palette.get(usize::from(index)).copied().unwrap_or_default()
    }

    fn of_lab(&self, pixel: &[u8]) -> [u8; 3] {
        let turned = if self.meaning == Meaning::IccLab { 0 } else { 0x80 };
        lab::to_srgb([pixel[0], pixel[1] ^ turned, pixel[2] ^ turned])
    }

    fn straight(&self, pixel: [u8; 4]) -> [u8; 4] {
        let [red, green, blue, alpha] = pixel;
        if !self.associated {
            return pixel;
        }
        [straight(red, alpha), straight(green, alpha), straight(blue, alpha), alpha]
    }
}

fn opaque([red, green, blue]: [u8; 3]) -> [u8; 4] {
    [red, green, blue, 255]
}

fn unsupported(kind: &str) -> Fault {
    Fault::ArtUnsupported { kind: kind.to_owned() }
}

fn fault_of(error: &TiffError, limits: &Limits) -> Fault {
    tracing::debug!(%error, "a TIFF could not be decoded");
    match error {
        TiffError::IoError(_) => cut_short(),
        TiffError::LimitsExceeded | TiffError::IntSizeError => {
            Fault::art_just_over(limits.max_decoded_bytes as f64, "bytes")
        }
        TiffError::UnsupportedError(TiffUnsupportedError::UnsupportedCompressionMethod(_)) => {
            unsupported("TIFF with a compression that is not known here")
        }
        TiffError::UnsupportedError(_) => unsupported("TIFF of an unusual kind"),
        TiffError::FormatError(_) | TiffError::UsageError(_) => unreadable("its data are damaged"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tiff::encoder::{TiffEncoder, colortype};

    fn grey(pages: usize) -> Vec<u8> {
        let mut bytes = Vec::new();
        let mut encoder = TiffEncoder::new(Cursor::new(&mut bytes)).unwrap();
        for _ in 0..pages {
            encoder.write_image::<colortype::Gray8>(3, 2, &[0, 50, 100, 150, 200, 250]).unwrap();
        }
        bytes
    }

    #[test]
    fn grey_becomes_three_equal_channels() {
        let decoded = open(&grey(1), &Limits::default()).unwrap();
        assert!(!decoded.animated);
        let Samples::Grey(pixels) = decoded.samples else { unreachable!("it is grey") };
        assert_eq!(pixels.get_pixel(1, 1).0, [200, 200, 200, 255]);
    }

    #[test]
    fn further_pages_are_told_and_limited() {
        assert!(open(&grey(3), &Limits::default()).unwrap().animated);
        let few = Limits { max_frames: 2, ..Limits::default() };
        assert!(matches!(open(&grey(3), &few), Err(Fault::ArtOverLimit { unit: "frames", .. })));
    }

    #[test]
    fn a_file_cut_short_is_unreadable() {
        let whole = grey(1);
        for length in 0..whole.len() {
            if let Err(fault) = open(&whole[..length], &Limits::default()) {
                assert!(fault.code().starts_with("art."), "{fault}");
            }
        }
    }
}
