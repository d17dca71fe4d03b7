//! Embedded RGB, grey and CMYK profiles to sRGB.
//!
//! Relative colorimetric, without black point compensation: the colours that both have stay as they are. Accuracy aimed
//! at: within delta E 2000 of 1.0 of LittleCMS for spaces of three primaries, a mean of 0.5 for tables of inks. CMYK without
//! a profile becomes light by the plain product of what each ink lets through (common practice, no source).

use std::borrow::Cow;
use std::ops::Range;

use image::RgbaImage;
use moxcms::{
    BarycentricWeightScale, CicpColorPrimaries, CicpProfile, ColorProfile, DataColorSpace, InterpolationMethod, Layout,
    MatrixCoefficients, RenderingIntent, TransferCharacteristics, TransformOptions,
};
use rayon::prelude::*;

use super::inks::InkLoad;
use super::profile;
use super::samples::{Profile, Samples};

/// How `colour_profile` starts when the file's samples are CMYK.
pub const CMYK: &str = "CMYK";

/// Difference, in codes of 255, up to which a profile is sRGB by another name: its pixels stay bit for bit.
const SAME_CODES: u8 = 1;

/// Steps per channel of the colours by which a profile is compared with sRGB.
const PROBE_STEPS: u16 = 9;

/// Where a profile says its version (ICC.1:2022, 7.2.4).
const VERSION: Range<usize> = 8..12;

/// What became of a picture's profile.
#[derive(Debug, Default, PartialEq, Eq)]
pub(super) struct Used {
    /// Its name; starts with [`CMYK`] where the samples were inks.
    pub(super) name: Option<String>,
    /// It could not be used: the samples were taken for sRGB, or for inks without a profile.
    pub(super) broken: bool,
    /// How much ink the samples asked for, where they were inks.
    pub(super) ink_load: Option<InkLoad>,
}

/// Converts samples to sRGB; alpha stays. A profile that cannot be used leaves them as they are: they are then taken for
/// sRGB, as every viewer without colour management does.
pub(super) fn to_srgb(samples: Samples, profile: Option<&Profile>) -> (RgbaImage, Used) {
    let source = profile.map(|profile| (name_of(profile), read(profile)));
    let (name, source) = source.unzip();
    let source = source.flatten();
    let is_told = profile.is_some_and(|profile| !matches!(profile, Profile::Srgb));
    match samples {
        Samples::Rgb(mut pixels) => {
            let done = is_told && convert(&mut pixels, source.as_ref(), DataColorSpace::Rgb);
            (pixels, Used { name, broken: is_told && !done, ink_load: None })
        }
        Samples::Grey(mut pixels) => {
            // Grey samples under an RGB profile are colours with three equal channels.
            let done = is_told
                && (convert(&mut pixels, source.as_ref(), DataColorSpace::Gray)
                    || convert(&mut pixels, source.as_ref(), DataColorSpace::Rgb));
            (pixels, Used { name, broken: is_told && !done, ink_load: None })
        }
        Samples::Inks { mut pixels, alpha } => {
            let ink_load = Some(InkLoad::of(&pixels, alpha.as_deref()));
            let done = is_told && convert(&mut pixels, source.as_ref(), DataColorSpace::Cmyk);
            if !done {
                pixels.as_flat_samples_mut().samples.par_chunks_exact_mut(4).for_each(product);
            }
            if let Some(alpha) = alpha {
                pixels.pixels_mut().zip(alpha).for_each(|(pixel, alpha)| pixel.0[3] = alpha);
            }
            let name = name.map_or_else(|| CMYK.to_owned(), |name| format!("{CMYK}: {name}"));
            (pixels, Used { name: Some(name), broken: is_told && !done, ink_load })
        }
    }
}

fn name_of(profile: &Profile) -> String {
    match profile {
        Profile::Icc(icc) => profile::name(icc),
        Profile::CodePoints { primaries: 1, transfer: 1 | 13 } | Profile::Srgb => "sRGB".to_owned(),
        Profile::CodePoints { primaries: 12, transfer: 13 } => "Display P3".to_owned(),
        Profile::CodePoints { primaries, transfer } => format!("code points {primaries}/{transfer}"),
    }
}

fn read(profile: &Profile) -> Option<ColorProfile> {
    match profile {
        Profile::Icc(icc) => {
            ColorProfile::new_from_slice(&as_its_tables_are(icc)).ok().map(with_tables_for_every_intent)
        }
        Profile::CodePoints { primaries, transfer } => Some(ColorProfile::new_from_cicp(CicpProfile {
            color_primaries: CicpColorPrimaries::try_from(*primaries).ok()?,
            transfer_characteristics: TransferCharacteristics::try_from(*transfer).ok()?,
            matrix_coefficients: MatrixCoefficients::Identity,
            full_range: true,
        })),
        Profile::Srgb => None,
    }
}

/// A profile that gives the version whose L*a*b* its tables have: old in `mft2` whatever the profile's version, new in the
/// other types (ICC.1:2022, 10.10 to 10.12), while the converter goes by the version alone.
fn as_its_tables_are(icc: &[u8]) -> Cow<'_, [u8]> {
    let table = [*b"A2B1", *b"A2B0"].into_iter().find_map(|name| profile::tag(icc, name));
    let version = match table.and_then(|table| table.get(..4)) {
        Some(b"mft2") => [2, 0x40, 0, 0],
        Some(b"mft1" | b"mAB ") => [4, 0x30, 0, 0],
        _ => return Cow::Borrowed(icc),
    };
    let mut told = icc.to_vec();
    if let Some(place) = told.get_mut(VERSION) {
        place.copy_from_slice(&version);
    }
    Cow::Owned(told)
}

/// A profile whose only table is that of the perceptual intent, `A2B0`, means it for every intent (ICC.1:2022, 8.10.2);
/// profiles of scanners and of colour spaces often have no other.
fn with_tables_for_every_intent(mut profile: ColorProfile) -> ColorProfile {
    if profile.lut_a_to_b_colorimetric.is_none() {
        profile.lut_a_to_b_colorimetric = profile.lut_a_to_b_perceptual.take();
    }
    profile
}

/// Ink to light by the plain product of what each ink lets through.
fn product(pixel: &mut [u8]) {
    let black = u32::from(255 - pixel[3]);
    for ink in &mut pixel[..3] {
        *ink = ((u32::from(255 - *ink) * black + 127) / 255) as u8;
    }
    pixel[3] = 255;
}

/// Converts a run of samples in place; whether it could.
type Convert = Box<dyn Fn(&mut [u8]) -> bool + Sync>;

/// Converts pixels through a profile for samples of one kind; whether it could.
fn convert(pixels: &mut RgbaImage, source: Option<&ColorProfile>, space: DataColorSpace) -> bool {
    let Some(source) = source.filter(|source| source.color_space == space) else { return false };
    let inks = space == DataColorSpace::Cmyk;
    let converter = if inks {
        of_inks(source)
    } else if space == DataColorSpace::Gray {
        of_greys(source)
    } else {
        of_colours(source)
    };
    let Some(convert) = converter else { return false };
    let mut probe = probe(space == DataColorSpace::Gray);
    let before = probe.clone();
    if !convert(&mut probe) {
        return false;
    }
    let same = before.iter().zip(&probe).all(|(before, after)| before.abs_diff(*after) <= SAME_CODES);
    if inks || !same {
        let row_bytes = pixels.width() as usize * 4;
        pixels.as_flat_samples_mut().samples.par_chunks_mut(row_bytes).for_each(|row| {
            convert(row);
        });
    }
    true
}

fn options() -> TransformOptions {
    TransformOptions {
        rendering_intent: RenderingIntent::RelativeColorimetric,
        interpolation_method: InterpolationMethod::Tetrahedral,
        barycentric_weight_scale: BarycentricWeightScale::High,
        // In fixed point single colours of a wide space are off by more than the accuracy aimed at.
        prefer_fixed_point: false,
        ..TransformOptions::default()
    }
}

fn of_colours(source: &ColorProfile) -> Option<Convert> {
    let srgb = ColorProfile::new_srgb();
    let transform = source.create_transform_8bit(Layout::Rgba, &srgb, Layout::Rgba, options()).ok()?;
    // Only sizes that do not match can fail, and these come from one slice.
    Some(Box::new(move |samples| {
        let colours = samples.to_vec();
        transform.transform(&colours, samples).is_ok()
    }))
}

fn of_greys(source: &ColorProfile) -> Option<Convert> {
    let srgb = ColorProfile::new_srgb();
    let transform = source.create_transform_8bit(Layout::GrayAlpha, &srgb, Layout::Rgba, options()).ok()?;
    Some(Box::new(move |samples| {
        let greys: Vec<u8> = samples.chunks_exact(4).flat_map(|pixel| [pixel[0], pixel[3]]).collect();
        transform.transform(&greys, samples).is_ok()
    }))
}

fn of_inks(source: &ColorProfile) -> Option<Convert> {
    let srgb = ColorProfile::new_srgb();
    let transform = source.create_transform_8bit(Layout::Rgba, &srgb, Layout::Rgb, options()).ok()?;
    Some(Box::new(move |samples| {
        let mut light = vec![0; samples.len() / 4 * 3];
        let done = transform.transform(samples, &mut light).is_ok();
        for (pixel, light) in samples.chunks_exact_mut(4).zip(light.chunks_exact(3)) {
            pixel.copy_from_slice(&[light[0], light[1], light[2], 255]);
        }
        done
    }))
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

    fn through(pixels: RgbaImage, icc: &[u8]) -> (RgbaImage, Used) {
        to_srgb(Samples::Rgb(pixels), Some(&Profile::Icc(icc.to_vec())))
    }

    #[test]
    fn srgb_by_any_name_changes_nothing() {
        let pixels = RgbaImage::from_fn(64, 64, |x, y| image::Rgba([x as u8 * 4, y as u8 * 4, 77, 200]));
        let (after, used) = through(pixels.clone(), include_bytes!("../../assets/srgb.icc"));
        assert_eq!(after, pixels);
        assert!(!used.broken);
    }

    #[test]
    fn a_wide_red_becomes_the_nearest_srgb_has() {
        // Display P3 to sRGB from the primaries of SMPTE EG 432-1 and IEC 61966-2-1: P3 (0.5, 0.25, 0.25) in codes
        // (128, 64, 64) is sRGB (138, 60, 61); its full red is out of gamut and clips to (255, 0, 0).
        let icc = ColorProfile::new_display_p3().encode().unwrap();
        let mut pixels = RgbaImage::from_pixel(2, 1, image::Rgba([128, 64, 64, 99]));
        pixels.put_pixel(1, 0, image::Rgba([255, 0, 0, 255]));
        let by_code_points = Profile::CodePoints { primaries: 12, transfer: 13 };
        for profile in [Profile::Icc(icc), by_code_points] {
            let (after, used) = to_srgb(Samples::Rgb(pixels.clone()), Some(&profile));
            assert!(!used.broken, "{used:?}");
            for (found, wanted) in after.pixels().zip([[138_u8, 60, 61, 99], [255, 0, 0, 255]]) {
                let off = found.0.iter().zip(wanted).map(|(found, wanted)| found.abs_diff(wanted)).max();
                assert!(off <= Some(1), "{found:?} {wanted:?}");
            }
        }
    }

    #[test]
    fn a_broken_profile_changes_nothing_and_is_told() {
        let pixels = RgbaImage::from_pixel(4, 4, image::Rgba([1, 2, 3, 4]));
        for icc in [&[0; 200][..], b""] {
            let (after, used) = through(pixels.clone(), icc);
            assert_eq!(after, pixels);
            assert!(used.broken);
        }
    }

    #[test]
    fn a_profile_for_other_samples_is_broken() {
        let pixels = RgbaImage::from_pixel(4, 4, image::Rgba([1, 2, 3, 255]));
        let grey = ColorProfile::new_gray_with_gamma(2.2).encode().unwrap();
        let (after, used) = through(pixels.clone(), &grey);
        assert_eq!(after, pixels);
        assert!(used.broken);
        let (_, used) = to_srgb(Samples::Grey(pixels), Some(&Profile::Icc(grey)));
        assert!(!used.broken);
    }

    #[test]
    fn inks_without_a_profile_let_light_through_one_after_the_other() {
        let inks = RgbaImage::from_pixel(1, 1, image::Rgba([255, 128, 0, 51]));
        let (light, used) = to_srgb(Samples::Inks { pixels: inks, alpha: Some(vec![201]) }, None);
        // (255 - 128) x (255 - 51) / 255 = 101.6; 255 x 204 / 255 = 204.
        assert_eq!(light.get_pixel(0, 0).0, [0, 102, 204, 201]);
        assert_eq!((used.name.as_deref(), used.broken), (Some(CMYK), false));
        assert!((used.ink_load.unwrap().most_percent() - 170.0).abs() < 1e-9);
    }
}
