//! The coated output profile: what a stock with `colour: cmyk` is printed through.
//!
//! Two ways through it. [`Press`] reads the profile's own tables, for measuring single colours. [`Converter`] is the way of
//! pictures, through `moxcms`, which resamples the tables once and is then several times as fast; both agree within a
//! delta E 2000 of 0.8 on average, over the whole cube of colours.

use std::sync::{Arc, OnceLock};

use moxcms::{
    BarycentricWeightScale, ColorProfile, InterpolationMethod, Layout, LutWarehouse, RenderingIntent,
    Transform8BitExecutor, TransformOptions,
};

use super::Lab;
use super::table::Table;

/// The profile as embedded and as digests name it: built with Argyll from FOGRA39L's measurements, at most 300 % ink.
pub const ICC: &[u8] = include_bytes!("../../assets/coated.icc");

/// Shares of cyan, magenta, yellow and black, 0 to 1.
pub type Inks = [f32; 4];

/// Codes of L\* and a\*, b\* in a `lut16Type` (ICC.1:2022, 6.3.4.2, the legacy encoding): 0xFF00 is 100, and 0x8000 is 0.
const L_SCALE: f32 = 65_280.0 / 65_535.0 / 100.0;
const AB_SCALE: f32 = 256.0 / 65_535.0;
const AB_ZERO: f32 = 128.0;

/// The profile's own tables, relative colorimetric.
pub struct Press {
    to_inks: Table,
    to_lab: Table,
}

impl Press {
    /// The coated profile's, read once.
    ///
    /// # Panics
    /// Never: the profile is part of the program, and a test reads it.
    pub fn coated() -> &'static Press {
        static PRESS: OnceLock<Press> = OnceLock::new();
        PRESS.get_or_init(|| Press::read().expect("the bundled profile has its tables: a test reads them"))
    }

    fn read() -> Option<Press> {
        let profile = ColorProfile::new_from_slice(ICC).ok()?;
        let table = |lut: &Option<LutWarehouse>| match lut {
            Some(LutWarehouse::Lut(lut)) => Table::of(lut),
            Some(LutWarehouse::Multidimensional(_)) | None => None,
        };
        Some(Press {
            to_inks: table(&profile.lut_b_to_a_colorimetric)?,
            to_lab: table(&profile.lut_a_to_b_colorimetric)?,
        })
    }

    /// The inks that the profile prints for a colour.
    pub fn inks(&self, Lab { l, a, b }: Lab) -> Inks {
        self.to_inks.at([l * L_SCALE, (a + AB_ZERO) * AB_SCALE, (b + AB_ZERO) * AB_SCALE, 0.0])
    }

    /// What inks show.
    pub fn shows(&self, inks: Inks) -> Lab {
        let [l, a, b, _] = self.to_lab.at(inks);
        Lab { l: l / L_SCALE, a: a / AB_SCALE - AB_ZERO, b: b / AB_SCALE - AB_ZERO }
    }
}

/// Converts pictures.
pub struct Converter {
    to_inks: Arc<Transform8BitExecutor>,
    to_srgb: Arc<Transform8BitExecutor>,
}

impl Converter {
    /// Through the coated profile; made once.
    ///
    /// # Panics
    /// Never: the profile is part of the program, and a test converts with it.
    pub fn coated() -> &'static Converter {
        static CONVERTER: OnceLock<Converter> = OnceLock::new();
        CONVERTER.get_or_init(|| Converter::new().expect("the bundled profile converts: a test does it"))
    }

    fn new() -> Option<Converter> {
        let coated = ColorProfile::new_from_slice(ICC).ok()?;
        let srgb = ColorProfile::new_srgb();
        let options = TransformOptions {
            rendering_intent: RenderingIntent::RelativeColorimetric,
            interpolation_method: InterpolationMethod::Tetrahedral,
            barycentric_weight_scale: BarycentricWeightScale::High,
            prefer_fixed_point: false,
            ..TransformOptions::default()
        };
        Some(Converter {
            to_inks: srgb.create_transform_8bit(Layout::Rgb, &coated, Layout::Rgba, options).ok()?,
            to_srgb: coated.create_transform_8bit(Layout::Rgba, &srgb, Layout::Rgb, options).ok()?,
        })
    }

    /// RGB to CMYK, three bytes to four, 255 is full ink.
    ///
    /// # Panics
    /// Never: only sizes that do not match can fail, and both come from one slice.
    pub fn inks(&self, colours: &[u8]) -> Vec<u8> {
        let whole = colours.len() / 3;
        let mut inks = vec![0; whole * 4];
        self.to_inks.transform(&colours[..whole * 3], &mut inks).expect("both have the same pixels");
        inks
    }

    /// What CMYK shows, as RGB.
    ///
    /// # Panics
    /// Never: as [`Converter::inks`].
    pub fn shows(&self, inks: &[u8]) -> Vec<u8> {
        let whole = inks.len() / 4;
        let mut colours = vec![0; whole * 3];
        self.to_srgb.transform(&inks[..whole * 4], &mut colours).expect("both have the same pixels");
        colours
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Srgb, delta_e_2000};
    use super::*;

    /// Nine steps of each channel.
    fn cube() -> Vec<[u8; 3]> {
        let code = |step: u16| (step * 255 / 8) as u8;
        (0..729_u16).map(|index| [code(index / 81), code(index / 9 % 9), code(index % 9)]).collect()
    }

    #[test]
    fn bare_paper_is_white_and_all_ink_is_the_darkest() {
        let press = Press::coated();
        let paper = press.shows([0.0; 4]);
        assert!((paper.l - 100.0).abs() < 0.1 && paper.a.abs() < 0.1 && paper.b.abs() < 0.1, "{paper:?}");
        let white = press.inks(Lab { l: 100.0, a: 0.0, b: 0.0 });
        assert!(white.iter().all(|ink| *ink < 0.005), "{white:?}");
        let black = press.shows([0.0, 0.0, 0.0, 1.0]);
        assert!((12.0..20.0).contains(&black.l), "{black:?}");
        assert!(press.shows([0.8, 0.7, 0.6, 0.9]).l < black.l);
    }

    #[test]
    fn solid_inks_show_the_colours_of_the_printing_condition() {
        // The solids of ISO 12647-2:2004/Amd 1:2007, table 2, paper types 1 and 2 (from memory): cyan 55 -37 -50, magenta 48 74
        // -3, yellow 89 -5 93, black 16 0 0, red 47 68 48, green 50 -65 27, blue 24 22 -46; brought from paper of 95 0 -2 to
        // its own white (XYZ divided by the paper's). Within the grain of a small table.
        let press = Press::coated();
        for (inks, [l, a, b]) in [
            ([1.0, 0.0, 0.0, 0.0], [58.2, -38.7, -50.4]),
            ([0.0, 1.0, 0.0, 0.0], [50.9, 77.3, -1.9]),
            ([0.0, 0.0, 1.0, 0.0], [93.7, -5.2, 98.1]),
            ([0.0, 0.0, 0.0, 1.0], [17.4, 0.0, 0.6]),
            ([0.0, 1.0, 1.0, 0.0], [49.8, 71.1, 50.8]),
            ([1.0, 0.0, 1.0, 0.0], [53.0, -67.9, 29.2]),
            ([1.0, 1.0, 0.0, 0.0], [25.8, 23.0, -46.8]),
        ] {
            let off = delta_e_2000(press.shows(inks), Lab { l, a, b });
            assert!(off < 3.0, "{inks:?}: {:?}, {off}", press.shows(inks));
        }
    }

    #[test]
    fn no_conversion_takes_more_ink_than_the_profile_was_built_for() {
        let (press, srgb) = (Press::coated(), Srgb::default());
        for colour in cube() {
            let total: f32 = press.inks(srgb.lab(colour)).iter().sum();
            assert!(total < 3.01, "{colour:?}: {total}");
        }
        for inks in Converter::coated().inks(&cube().concat()).chunks_exact(4) {
            let total: u32 = inks.iter().map(|ink| u32::from(*ink)).sum();
            assert!(total <= 3 * 255 + 4, "{inks:?}");
        }
    }

    #[test]
    fn pictures_are_printed_as_single_colours_are_measured() {
        let (press, srgb, colours) = (Press::coated(), Srgb::default(), cube());
        let converted = Converter::coated().inks(&colours.concat());
        let (mut sum, mut worst) = (0.0, 0.0_f64);
        for (colour, inks) in colours.iter().zip(converted.chunks_exact(4)) {
            let inks: Vec<f32> = inks.iter().map(|ink| f32::from(*ink) / 255.0).collect();
            let by_picture = press.shows([inks[0], inks[1], inks[2], inks[3]]);
            let off = delta_e_2000(press.shows(press.inks(srgb.lab(*colour))), by_picture);
            (sum, worst) = (sum + off, worst.max(off));
        }
        let mean = sum / colours.len() as f64;
        assert!(mean < 0.8 && worst < 4.0, "mean {mean}, worst {worst}");
    }

    #[test]
    fn white_stays_white_on_its_way_there_and_back() {
        let converter = Converter::coated();
        assert_eq!(converter.inks(&[255; 3]), [0; 4]);
        assert_eq!(converter.shows(&[0; 4]), [255; 3]);
    }
}
