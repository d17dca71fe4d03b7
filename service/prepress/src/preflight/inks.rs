//! What a press cannot print: colours beyond its gamut, and more ink than its stock takes.
//!
//! Only where the stock's `colour` is `cmyk`. Both are measured on what would be printed: the visible art without its
//! backdrop, through the coated profile. Ink is measured on the picture's own inks too, where it came in CMYK: the profile
//! keeps to its limit, so that too much ink in the art is not printed, but its deep blacks come out as the press's own.

use super::picture::ART_ALPHA;
use super::survey::boxes;
use crate::colour::gamut::{Gamut, Printed};
use crate::finding::{Code, Finding, Place};
use crate::intake::Artwork;
use crate::order::{PrintColour, Stock, Thresholds};
use crate::silhouette::CutOut;

/// Pixels that are looked at, at most, evenly spread: shares are then right to a thousandth, and the cost does not grow with
/// the picture.
const MOST_PIXELS: f64 = 300_000.0;

/// Rounding of inks to bytes and between nodes, in percent: a conversion at its profile's limit is not over it.
const INK_SLACK_PERCENT: f64 = 0.5;

const UNIT_OF_INK: &str = "percent of ink";

/// Findings of a picture on a stock that is printed in CMYK; none on others. `cut_out` is the picture without its backdrop.
pub fn inspect_colours(artwork: &Artwork, cut_out: &CutOut, stock: &Stock, thresholds: &Thresholds) -> Vec<Finding> {
    match stock.colour {
        PrintColour::Rgb => Vec::new(),
        PrintColour::Cmyk => {
            let seen = Seen::of(cut_out, thresholds);
            [seen.beyond_gamut(cut_out.visible, thresholds), seen.ink(cut_out.visible, artwork, thresholds)]
                .into_iter()
                .flatten()
                .collect()
        }
    }
}

/// What the pixels ask of the press.
#[derive(Default)]
struct Seen {
    looked_at: u32,
    /// Pixels outside the gamut, and where.
    outside: Vec<(u32, u32)>,
    /// Their differences, together and at most.
    off_sum: f64,
    off_most: f32,
    /// Pixels with too much ink, where, and the most of all.
    heavy: Vec<(u32, u32)>,
    most_percent: f32,
}

impl Seen {
    fn of(cut_out: &CutOut, thresholds: &Thresholds) -> Seen {
        let Place { x_px, y_px, width_px, height_px } = cut_out.visible;
        let step = (f64::from(width_px) * f64::from(height_px) / MOST_PIXELS).sqrt().ceil().max(1.0) as usize;
        let gamut = Gamut::coated();
        let mut seen = Seen::default();
        // Neighbours are often alike.
        let (mut last, mut known) = ([0; 3], gamut.at([0; 3]));
        for y in (y_px..(y_px + height_px).min(cut_out.pixels.height())).step_by(step) {
            for x in (x_px..(x_px + width_px).min(cut_out.pixels.width())).step_by(step) {
                let [red, green, blue, alpha] = cut_out.pixels.get_pixel(x, y).0;
                if alpha < ART_ALPHA {
                    continue;
                }
                if last != [red, green, blue] {
                    last = [red, green, blue];
                    known = gamut.at(last);
                }
                seen.count((x, y), known, thresholds);
            }
        }
        seen
    }

    fn count(&mut self, at: (u32, u32), pixel: Printed, thresholds: &Thresholds) {
        self.looked_at += 1;
        if pixel.beyond > 0.0 && f64::from(pixel.printed) > thresholds.gamut_delta_e {
            self.outside.push(at);
            self.off_sum += f64::from(pixel.printed);
            self.off_most = self.off_most.max(pixel.printed);
        }
        if f64::from(pixel.ink_percent) > thresholds.ink_limit_percent + INK_SLACK_PERCENT {
            self.heavy.push(at);
        }
        self.most_percent = self.most_percent.max(pixel.ink_percent);
    }

    fn share(&self, places: &[(u32, u32)]) -> f64 {
        places.len() as f64 / f64::from(self.looked_at.max(1))
    }

    fn beyond_gamut(&self, visible: Place, thresholds: &Thresholds) -> Option<Finding> {
        let (share, limit) = (self.share(&self.outside), thresholds.gamut_share);
        if share <= limit || self.outside.is_empty() {
            return None;
        }
        let mean = self.off_sum / self.outside.len() as f64;
        let message = format!(
            "{:.0} % of the picture has colours that printing inks cannot show; they will look duller, by {mean:.1} on average and {:.1} at most (delta E 2000; 1 can just be seen).",
            (share * 100.0).max(1.0),
            self.off_most
        );
        let finding = Finding::new(Code::ColourGamut).measured(share, Some(limit), "share of the art");
        let places = boxes(visible, self.outside.iter().copied());
        Some(finding.saying(message, Code::ColourGamut.remedy()).at(places))
    }

    fn ink(&self, visible: Place, artwork: &Artwork, thresholds: &Thresholds) -> Option<Finding> {
        let limit = thresholds.ink_limit_percent;
        let finding = |most: f64, message: String| {
            let measured = Finding::new(Code::ColourInk).measured(most, Some(limit), UNIT_OF_INK);
            measured.saying(message, Code::ColourInk.remedy())
        };
        let share = self.share(&self.heavy);
        if share > thresholds.ink_share {
            let most = f64::from(self.most_percent);
            let message = format!(
                "{:.0} % of the picture takes up to {most:.0} % of ink in print, more than the {limit:.0} % that this material takes: it may dry slowly and smear.",
                (share * 100.0).max(1.0)
            );
            return Some(finding(most, message).at(boxes(visible, self.heavy.iter().copied())));
        }
        let own = artwork.ink_load.as_ref()?;
        let share = own.share_over(limit + INK_SLACK_PERCENT);
        (share > thresholds.ink_share).then(|| {
            let most = own.most_percent();
            let message = format!(
                "{:.0} % of the picture asks for up to {most:.0} % of ink. It is printed with less, at most {:.0} %, so that its darkest colours may look different.",
                (share * 100.0).max(1.0),
                self.most_percent
            );
            finding(most, message).at(vec![visible])
        })
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use image::{Rgba, RgbaImage};

    use super::*;
    use crate::geom::Region;
    use crate::intake::{Format, InkLoad};
    use crate::order::Form;
    use crate::silhouette::BackdropFound;
    use crate::units::Mm;

    fn stock(colour: PrintColour) -> Stock {
        let form = Form::Sheet { width: Mm::of(210.0), height: Mm::of(297.0), media: None };
        Stock { colour, ..Stock::with_defaults("coated", form) }
    }

    fn cut_out(pixels: RgbaImage) -> CutOut {
        let visible = Place { x_px: 0, y_px: 0, width_px: pixels.width(), height_px: pixels.height() };
        let pixels = Arc::new(pixels);
        CutOut { pixels, edge: Region::default(), visible, backdrop: BackdropFound::None, translucent_share: 0.0 }
    }

    fn found(pixels: RgbaImage, load: Option<InkLoad>, thresholds: &Thresholds, colour: PrintColour) -> Vec<Finding> {
        let cut_out = cut_out(pixels);
        let artwork = Artwork { ink_load: load, ..Artwork::new(Arc::clone(&cut_out.pixels), Format::Png) };
        inspect_colours(&artwork, &cut_out, &stock(colour), thresholds)
    }

    /// 100 x 100 in one colour, the first so many rows in another.
    fn flag(ground: [u8; 4], rows: u32, top: [u8; 4]) -> RgbaImage {
        RgbaImage::from_fn(100, 100, |_, y| Rgba(if y < rows { top } else { ground }))
    }

    #[test]
    fn a_screens_green_is_outside_and_its_share_and_place_are_told() {
        let picture = flag([128, 128, 128, 255], 25, [0, 255, 0, 255]);
        let told = found(picture.clone(), None, &Thresholds::default(), PrintColour::Cmyk);
        let [gamut] = told.as_slice() else { panic!("{told:?}") };
        assert_eq!((gamut.code, gamut.measured), (Code::ColourGamut, Some(0.25)));
        assert!(gamut.places.iter().all(|place| place.y_px + place.height_px <= 30), "{:?}", gamut.places);
        assert!(gamut.message.contains("25 %"), "{}", gamut.message);
        assert_eq!(found(picture, None, &Thresholds::default(), PrintColour::Rgb), []);
    }

    #[test]
    fn black_white_grey_and_printable_colours_are_no_alarm() {
        for colour in
            [[0, 0, 0, 255], [255, 255, 255, 255], [90, 90, 90, 255], [180, 60, 50, 255], [240, 230, 140, 255]]
        {
            assert_eq!(
                found(flag(colour, 0, colour), None, &Thresholds::default(), PrintColour::Cmyk),
                [],
                "{colour:?}"
            );
        }
    }

    #[test]
    fn what_does_not_show_is_not_counted() {
        let hidden = flag([128, 128, 128, 255], 50, [0, 255, 0, 0]);
        assert_eq!(found(hidden, None, &Thresholds::default(), PrintColour::Cmyk), []);
        assert_eq!(found(RgbaImage::new(50, 50), None, &Thresholds::default(), PrintColour::Cmyk), []);
    }

    #[test]
    fn ink_over_a_shops_own_limit_is_told_where_it_is_printed() {
        let thin = Thresholds { ink_limit_percent: 240.0, ..Thresholds::default() };
        let picture = flag([255, 255, 255, 255], 10, [0, 0, 0, 255]);
        let told = found(picture, None, &thin, PrintColour::Cmyk);
        let [ink] = told.as_slice() else { panic!("{told:?}") };
        assert!(ink.code == Code::ColourInk && ink.limit == Some(240.0) && ink.measured > Some(290.0), "{ink:?}");
        assert!(ink.places.iter().all(|place| place.y_px < 15), "{:?}", ink.places);
    }

    #[test]
    fn too_much_ink_in_the_art_itself_is_told_though_less_is_printed() {
        let load = |rows: u32| {
            let inks = flag([0, 0, 0, 255], rows, [255, 255, 255, 255]);
            Some(InkLoad::of(&inks, None))
        };
        let black = || flag([0, 0, 0, 255], 0, [0; 4]);
        let told = found(black(), load(30), &Thresholds::default(), PrintColour::Cmyk);
        let [ink] = told.as_slice() else { panic!("{told:?}") };
        assert_eq!((ink.code, ink.measured, ink.limit), (Code::ColourInk, Some(400.0), Some(300.0)));
        assert_eq!(found(black(), load(0), &Thresholds::default(), PrintColour::Cmyk), []);
        assert_eq!(found(black(), load(30), &Thresholds::default(), PrintColour::Rgb), []);
    }
}
