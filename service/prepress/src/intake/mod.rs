//! Bytes in, [`Artwork`] out.
//!
//! Recognised by content, not by name. Never allocates past the limits, never panics, never touches network or disk.

mod budget;
mod colour;
mod drawing;
mod exif;
mod gif;
mod inks;
mod jpeg;
mod kind;
mod limits;
mod live_text;
mod markup;
mod png;
mod profile;
mod raster;
mod samples;
mod tiff;
mod vector;

use std::sync::Arc;
use std::time::Duration;

use image::RgbaImage;

use crate::fault::Fault;
use kind::Kind;
use samples::unreadable;

pub use colour::CMYK;
pub use drawing::{Drawing, Rendering, Scale, Window};
pub use inks::InkLoad;
pub use limits::{Drawings, Limits, Renderer};
pub use vector::render;

/// Kind of file, recognised by content.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// PNG.
    Png,
    /// JPEG.
    Jpeg,
    /// WebP.
    Webp,
    /// GIF.
    Gif,
    /// BMP.
    Bmp,
    /// TIFF.
    Tiff,
    /// SVG, rendered.
    Svg,
}

/// A decoded picture, upright.
#[derive(Clone, Debug)]
pub struct Artwork {
    /// Straight alpha, sRGB, orientation applied.
    pub pixels: Arc<RgbaImage>,
    /// Size of the whole canvas at the scale of the pixels: theirs, but for a drawing of which only a window was rendered.
    pub canvas_px: (u32, u32),
    /// Size of the whole canvas as a drawing says it, mm; `None` of pictures of pixels.
    pub canvas_mm: Option<(f64, f64)>,
    /// Processor time that a drawing took to be rendered, all looks together.
    pub drawn_in: Duration,
    /// Kind of file.
    pub format: Format,
    /// More frames or pages than the first.
    pub animated: bool,
    /// Name of the embedded colour profile; `None` where there is none. Starts with [`CMYK`] when the samples were CMYK
    /// and have been converted.
    pub colour_profile: Option<String>,
    /// How much ink the file's own samples ask for; only of those in CMYK.
    pub ink_load: Option<InkLoad>,
    /// The profile could not be used: the samples were taken for sRGB.
    pub profile_broken: bool,
    /// Words of vector art that are live text in another face than a bundled one, each once, in the file's order.
    pub live_text: Vec<String>,
    /// Pictures and parts that vector art lacks: linked from outside the file, or pictures of no kind that is taken.
    pub missing_parts: usize,
}

impl Artwork {
    /// Pixels of which nothing else is known.
    pub fn new(pixels: Arc<RgbaImage>, format: Format) -> Artwork {
        Artwork {
            canvas_px: pixels.dimensions(),
            pixels,
            canvas_mm: None,
            drawn_in: Duration::ZERO,
            format,
            animated: false,
            colour_profile: None,
            ink_load: None,
            profile_broken: false,
            live_text: Vec::new(),
            missing_parts: 0,
        }
    }

    /// The longer side of its pixels.
    pub fn longest_px(&self) -> u32 {
        self.pixels.width().max(self.pixels.height())
    }
}

/// Decodes a picture. `longest_px` is the longest side that vector art is rendered at (the canvas's, not the art's).
///
/// # Errors
/// `art.unreadable`, `art.unsupported`, `art.over_limit`.
pub fn open(bytes: &[u8], longest_px: u32, limits: &Limits) -> Result<Artwork, Fault> {
    open_scaled(bytes, &Scale::whole(longest_px), Duration::ZERO, limits)
}

/// A drawing once more after a first look, with its scale and window said in full. What the look took of its time counts.
///
/// # Errors
/// As [`open`].
pub fn open_again(bytes: &[u8], look: &Artwork, scale: &Scale, limits: &Limits) -> Result<Artwork, Fault> {
    open_scaled(bytes, scale, look.drawn_in, limits)
}

fn open_scaled(bytes: &[u8], scale: &Scale, spent: Duration, limits: &Limits) -> Result<Artwork, Fault> {
    limits.check_bytes(bytes.len() as u64)?;
    let kind = kind::recognise(bytes);
    match (kind.of_pixels(), kind) {
        (Some(format), _) => raster::open(bytes, format, limits),
        (None, Kind::Svg | Kind::Gzip) => drawing::open(bytes, scale, spent, limits),
        (None, Kind::Other(name)) => Err(Fault::ArtUnsupported { kind: name.to_owned() }),
        (None, _) if bytes.is_empty() => Err(unreadable("the file is empty")),
        (None, _) => Err(unreadable("no known kind of picture")),
    }
}

/// Whether bytes may be a drawing, which has no size in pixels of its own.
pub fn is_drawing(bytes: &[u8]) -> bool {
    matches!(kind::recognise(bytes), Kind::Svg | Kind::Gzip)
}

#[cfg(test)]
mod tests {
    use std::io::Cursor;

    use image::codecs::jpeg::JpegEncoder;
    use image::{DynamicImage, GrayImage, ImageFormat, Luma, RgbImage, Rgba};

    use super::*;

    /// 48 x 32: red left half, blue right half, half-transparent last row.
    fn flag() -> RgbaImage {
        RgbaImage::from_fn(48, 32, |x, y| {
            let alpha = if y == 31 { 128 } else { 255 };
            if x < 24 { Rgba([255, 0, 0, alpha]) } else { Rgba([0, 0, 255, alpha]) }
        })
    }

    fn encoded(picture: &DynamicImage, format: ImageFormat) -> Vec<u8> {
        let mut bytes = Vec::new();
        picture.write_to(&mut Cursor::new(&mut bytes), format).unwrap();
        bytes
    }

    fn open_default(bytes: &[u8]) -> Result<Artwork, Fault> {
        open(bytes, 1000, &Limits::default())
    }

    fn code(bytes: &[u8]) -> &'static str {
        open_default(bytes).map_or_else(|fault| fault.code(), |_| "opened")
    }

    /// A PNG of a signature, an IHDR and no more, with right checksums.
    fn png_that_claims(width_px: u32, height_px: u32) -> Vec<u8> {
        let mut ihdr = b"IHDR".to_vec();
        ihdr.extend(width_px.to_be_bytes());
        ihdr.extend(height_px.to_be_bytes());
        ihdr.extend([8, 6, 0, 0, 0]);
        let mut bytes = b"\x89PNG\r\n\x1A\n\0\0\0\x0D".to_vec();
        let mut checksum = flate2::Crc::new();
        checksum.update(&ihdr);
        bytes.extend(&ihdr);
        bytes.extend(checksum.sum().to_be_bytes());
        bytes
    }

    #[test]
    fn lossless_kinds_come_back_bit_for_bit() {
        let picture = DynamicImage::ImageRgba8(flag());
        for (kind, format) in [(ImageFormat::Png, Format::Png), (ImageFormat::WebP, Format::Webp)] {
            let art = open_default(&encoded(&picture, kind)).unwrap();
            assert_eq!((art.format, art.animated, art.colour_profile), (format, false, None));
            assert_eq!(*art.pixels, flag());
        }
    }

    #[test]
    fn sixteen_bit_and_grey_become_rgba_of_eight_bit() {
        let deep = DynamicImage::ImageRgba8(flag()).into_rgba16();
        let art = open_default(&encoded(&DynamicImage::ImageRgba16(deep), ImageFormat::Png)).unwrap();
        assert_eq!(*art.pixels, flag());
        let grey = GrayImage::from_pixel(40, 40, Luma([99]));
        let art = open_default(&encoded(&DynamicImage::ImageLuma8(grey), ImageFormat::Png)).unwrap();
        assert_eq!(art.pixels.get_pixel(3, 3).0, [99, 99, 99, 255]);
    }

    #[test]
    fn limits_hold_before_anything_is_decoded() {
        let over = |width_px, height_px| match open_default(&png_that_claims(width_px, height_px)) {
            Err(Fault::ArtOverLimit { measured, limit, unit }) => (measured as u64, limit as u64, unit),
            _ => (0, 0, ""),
        };
        assert_eq!(over(60_000, 60_000), (60_000, 30_000, "px"));
        assert_eq!(over(30_000, 30_000), (900_000_000, 120_000_000, "pixels"));
        let tight = Limits { max_bytes: 10, ..Limits::default() };
        assert!(matches!(open(&[0; 11], 100, &tight), Err(Fault::ArtOverLimit { unit: "bytes", .. })));
    }

    #[test]
    fn damaged_and_foreign_files_say_which() {
        let whole = encoded(&DynamicImage::ImageRgba8(flag()), ImageFormat::Png);
        assert_eq!(code(&whole[..whole.len() / 2]), "art.unreadable");
        assert_eq!(code(&whole[..20]), "art.unreadable");
        assert_eq!(code(&png_that_claims(100, 100)), "art.unreadable");
        assert_eq!(code(&png_that_claims(0, 100)), "art.unreadable");
        assert_eq!(code(b""), "art.unreadable");
        assert_eq!(code(&[0x91; 300]), "art.unreadable");
        assert_eq!(code(b"GIF89a\x40\0\x40\0"), "art.unreadable");
        assert_eq!(code(b"\0\0\0\x1Cftypavif\0\0\0\0mif1avif"), "art.unsupported");
        assert_eq!(code(b"dear printer, please find attached"), "art.unsupported");
        let webp = encoded(&DynamicImage::ImageRgba8(flag()), ImageFormat::WebP);
        assert_eq!(code(&webp[..webp.len() - 30]), "art.unreadable");
    }

    #[test]
    fn a_jpeg_cut_short_is_unreadable_though_its_decoder_fills_it() {
        let noisy = RgbImage::from_fn(200, 200, |x, y| image::Rgb([(x * y) as u8, (x * 7) as u8, (y * 5) as u8]));
        let whole = encoded(&DynamicImage::ImageRgb8(noisy), ImageFormat::Jpeg);
        assert_eq!(code(&whole), "opened");
        assert_eq!(code(&whole[..whole.len() * 3 / 4]), "art.unreadable");
        let mut trailed = whole.clone();
        trailed.extend(b"trailing bytes");
        assert_eq!(code(&trailed), "opened");
    }

    #[test]
    fn orientation_is_applied() {
        // EXIF 2.32, 4.6.4 A, tag 0x0112: 6 is shown after a quarter turn clockwise; the stored left becomes the top.
        let picture = DynamicImage::ImageRgba8(flag()).into_rgb8();
        let mut jpeg = Vec::new();
        picture.write_with_encoder(JpegEncoder::new_with_quality(&mut jpeg, 95)).unwrap();
        let mut app1 = vec![0xFF, 0xE1, 0, 34];
        app1.extend(b"Exif\0\0II*\0\x08\0\0\0\x01\0\x12\x01\x03\0\x01\0\0\0\x06\0\0\0\0\0\0\0");
        jpeg.splice(2..2, app1);
        let art = open_default(&jpeg).unwrap();
        assert_eq!(art.pixels.dimensions(), (32, 48));
        let [top, bottom] = [art.pixels.get_pixel(16, 4).0, art.pixels.get_pixel(16, 44).0];
        assert!(top[0] > 200 && top[2] < 60 && bottom[2] > 200 && bottom[0] < 60, "{top:?} {bottom:?}");
    }

    #[test]
    fn a_webp_stored_turned_comes_out_upright() {
        let art = open_default(include_bytes!("../../../../tests/fixtures/art/orientation_6.webp")).unwrap();
        assert_eq!(art.pixels.dimensions(), (480, 320), "stored as 320 x 480");
    }

    #[test]
    fn no_flipped_byte_brings_the_house_down() {
        let picture = DynamicImage::ImageRgba8(flag());
        let opaque = DynamicImage::ImageRgb8(picture.to_rgb8());
        for (picture, format) in
            [(&picture, ImageFormat::Png), (&opaque, ImageFormat::Jpeg), (&picture, ImageFormat::WebP)]
        {
            let whole = encoded(picture, format);
            for at in 0..whole.len() {
                let mut damaged = whole.clone();
                damaged[at] ^= 0x55;
                match open_default(&damaged) {
                    Ok(art) => assert!(art.pixels.width() <= 30_000),
                    Err(fault) => assert!(fault.code().starts_with("art."), "{fault}"),
                }
            }
        }
    }
}
