//! Embedded RGB and grey profiles to sRGB.
//!
//! Relative colorimetric, without black point compensation: the colours that both have stay as they are. Accuracy aimed
//! at: a mean difference from a reference engine under 0.5 in CIE 1976.

use image::RgbaImage;
use moxcms::{ColorProfile, DataColorSpace, Layout, RenderingIntent, TransformOptions};
use rayon::prelude::*;

/// Difference, in codes of 255, up to which a profile is sRGB by another name: its pixels stay bit for bit.
const SAME_CODES: u8 = 1;

/// Steps per channel of the colours by which a profile is compared with sRGB.
const PROBE_STEPS: u16 = 9;

/// Converts pixels to sRGB; alpha stays. A profile that cannot be used leaves them as they are: they are then taken for
/// sRGB, as every viewer without colour management does.
pub(super) fn to_srgb(pixels: &mut RgbaImage, profile: &[u8]) {
    let Ok(source) = ColorProfile::new_from_slice(profile) else { return };
    let layout = if source.color_space == DataColorSpace::Rgb {
        Layout::Rgba
    } else if source.color_space == DataColorSpace::Gray {
        Layout::GrayAlpha
    } else {
        return;
    };
    let grey = layout == Layout::GrayAlpha;
    let options =
        TransformOptions { rendering_intent: RenderingIntent::RelativeColorimetric, ..TransformOptions::default() };
    let srgb = ColorProfile::new_srgb();
    let Ok(transform) = source.create_transform_8bit(layout, &srgb, Layout::Rgba, options) else { return };
    let convert = |samples: &mut [u8]| {
        let input: Vec<u8> = if grey {
            samples.chunks_exact(4).flat_map(|pixel| [pixel[0], pixel[3]]).collect()
        } else {
            samples.to_vec()
        };
        // Only sizes that do not match can fail, and these come from one slice.
        transform.transform(&input, samples).is_ok()
    };
    let mut probe = probe(grey);
    let before = probe.clone();
    let usable = convert(&mut probe);
    let same = before.iter().zip(&probe).all(|(before, after)| before.abs_diff(*after) <= SAME_CODES);
    if usable && !same {
        let row_bytes = pixels.width() as usize * 4;
        pixels.as_flat_samples_mut().samples.par_chunks_mut(row_bytes).for_each(|row| {
            convert(row);
        });
    }
}

/// Colours spread over the cube, or greys.
fn probe(grey: bool) -> Vec<u8> {
    let code = |step: u16| (step * 255 / (PROBE_STEPS - 1)) as u8;
    (0..PROBE_STEPS.pow(3))
        .flat_map(|index| {
            let (red, green, blue) =
                (index / PROBE_STEPS.pow(2), index / PROBE_STEPS % PROBE_STEPS, index % PROBE_STEPS);
            if grey { [code(red), code(red), code(red), 255] } else { [code(red), code(green), code(blue), 255] }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn srgb_by_any_name_changes_nothing() {
        let mut pixels = RgbaImage::from_fn(64, 64, |x, y| image::Rgba([x as u8 * 4, y as u8 * 4, 77, 200]));
        let before = pixels.clone();
        to_srgb(&mut pixels, include_bytes!("../../assets/srgb.icc"));
        assert_eq!(pixels, before);
    }

    #[test]
    fn a_wide_red_becomes_the_nearest_srgb_has() {
        // Display P3 to sRGB from the primaries of SMPTE EG 432-1 and IEC 61966-2-1: P3 (0.5, 0.25, 0.25) in codes
        // (128, 64, 64) is sRGB (138, 60, 61); its full red is out of gamut and clips to (255, 0, 0).
        let profile = ColorProfile::new_display_p3().encode().unwrap();
        let mut pixels = RgbaImage::from_pixel(2, 1, image::Rgba([128, 64, 64, 99]));
        pixels.put_pixel(1, 0, image::Rgba([255, 0, 0, 255]));
        to_srgb(&mut pixels, &profile);
        for (found, wanted) in pixels.pixels().zip([[138_u8, 60, 61, 99], [255, 0, 0, 255]]) {
            let off = found.0.iter().zip(wanted).map(|(found, wanted)| found.abs_diff(wanted)).max();
            assert!(off <= Some(1), "{found:?} {wanted:?}");
        }
    }

    #[test]
    fn a_broken_profile_changes_nothing() {
        let mut pixels = RgbaImage::from_pixel(4, 4, image::Rgba([1, 2, 3, 4]));
        let before = pixels.clone();
        to_srgb(&mut pixels, &[0; 200]);
        to_srgb(&mut pixels, b"");
        assert_eq!(pixels, before);
    }
}
