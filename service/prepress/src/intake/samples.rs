//! What a decoder gives, before colours are converted and the picture is turned upright.

use image::RgbaImage;
use image::metadata::Orientation;

use crate::fault::Fault;

/// Pixels as stored, in the file's own colour space.
pub(super) enum Samples {
    /// Straight alpha.
    Rgb(RgbaImage),
    /// The same with three equal channels: a grey profile may be for them.
    Grey(RgbaImage),
    /// CMYK, four bytes a pixel, 255 is full ink; with alpha where the file has it.
    Inks {
        /// The inks in the place of the colours.
        pixels: RgbaImage,
        /// One byte a pixel.
        alpha: Option<Vec<u8>>,
    },
}

/// A colour profile that came with a picture.
pub(super) enum Profile {
    /// ICC, as it stands in the file.
    Icc(Vec<u8>),
    /// Code points of ITU-T H.273: colour primaries and transfer characteristics, for RGB.
    CodePoints {
        /// Table 2.
        primaries: u8,
        /// Table 3.
        transfer: u8,
    },
    /// The file says that it is sRGB.
    Srgb,
}

/// A picture as it was stored.
pub(super) struct Decoded {
    pub(super) samples: Samples,
    pub(super) orientation: Orientation,
    pub(super) profile: Option<Profile>,
    pub(super) animated: bool,
}

impl Decoded {
    /// A picture that says nothing of itself.
    pub(super) fn of(samples: Samples) -> Decoded {
        Decoded { samples, orientation: Orientation::NoTransforms, profile: None, animated: false }
    }
}

/// 16 bits to 8, to the nearest.
pub(super) fn to_eight_bits(sample: u16) -> u8 {
    ((u32::from(sample) + 128) / 257) as u8
}

/// Straight from associated alpha (TIFF 6.0, section 18).
pub(super) fn straight(sample: u8, alpha: u8) -> u8 {
    if alpha == 0 {
        return 0;
    }
    let alpha = u32::from(alpha);
    ((u32::from(sample) * 255 + alpha / 2) / alpha).min(255) as u8
}

/// Y, Cb, Cr to RGB (JFIF 1.02 and TIFF 6.0, section 21: the coefficients of ITU-R BT.601).
pub(super) fn rgb_of_ycbcr([luma, blue, red]: [u8; 3]) -> [u8; 3] {
    let (luma, blue, red) = (f32::from(luma), f32::from(blue) - 128.0, f32::from(red) - 128.0);
    [luma + 1.402 * red, luma - 0.344_136 * blue - 0.714_136 * red, luma + 1.772 * blue]
        .map(|light| light.round().clamp(0.0, 255.0) as u8)
}

/// A big-endian number of four bytes.
pub(super) fn number(bytes: &[u8], at: usize) -> Option<u32> {
    let four: [u8; 4] = bytes.get(at..at.checked_add(4)?)?.try_into().ok()?;
    Some(u32::from_be_bytes(four))
}

/// A picture from its samples.
pub(super) fn image_of(width_px: u32, height_px: u32, samples: Vec<u8>) -> Result<RgbaImage, Fault> {
    RgbaImage::from_raw(width_px, height_px, samples).ok_or_else(|| unreadable("its data are damaged"))
}

/// A file that is damaged, in words for a customer.
pub(super) fn unreadable(reason: &str) -> Fault {
    Fault::ArtUnreadable { reason: reason.to_owned() }
}

/// A file that ends before its picture does.
pub(super) fn cut_short() -> Fault {
    unreadable("the file is cut short")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sixteen_bits_round_to_the_nearest() {
        for code in 0..=255_u16 {
            assert_eq!(u16::from(to_eight_bits(code * 257)), code);
        }
        assert_eq!((to_eight_bits(128), to_eight_bits(129), to_eight_bits(65_535)), (0, 1, 255));
    }
}
