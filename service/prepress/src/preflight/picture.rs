//! What the picture alone tells.

use std::sync::Arc;

use image::RgbaImage;

use super::{ArtFacts, Measures, Thresholds, seen, survey};
use crate::finding::{Code, Finding, Place};
use crate::geom::Rect;
use crate::intake::{Artwork, CMYK, Format};
use crate::silhouette::{BackdropFound, CutOut};

/// Alpha from which a pixel is art: the 50 % iso-line.
pub(super) const ART_ALPHA: u8 = 128;

/// Parts whose box is smaller than this share of the art's longest side are specks. Common practice, no source; the outline
/// counts again in millimetres.
const SPECK_SHARE: f64 = 0.01;

/// How far inside the canvas the art's width is compared with that at its edge, as a share of the art's longest side.
const CLIP_DEPTH_SHARE: f64 = 0.01;

/// Measures of a picture of which no more is known than that it was decoded.
pub fn measures_of(artwork: &Artwork) -> Measures {
    let (width_px, height_px) = artwork.pixels.dimensions();
    Measures {
        format: Some(format_word(artwork.format)),
        width_px: Some(width_px),
        height_px: Some(height_px),
        colour_profile: artwork.colour_profile.clone(),
        ..Measures::default()
    }
}

/// Findings and measures of a picture after its backdrop was judged. `artwork` is the picture as decoded.
pub fn inspect_art(artwork: &Artwork, cut_out: &CutOut, thresholds: &Thresholds) -> ArtFacts {
    let visible = cut_out.visible;
    let measures = Measures {
        art_x_px: Some(visible.x_px),
        art_y_px: Some(visible.y_px),
        art_width_px: Some(visible.width_px),
        art_height_px: Some(visible.height_px),
        // To four decimals, so that reports repeat.
        translucent_share: Some((cut_out.translucent_share * 1e4).round() / 1e4),
        parts: Some(parts(cut_out)),
        backdrop: Some(cut_out.backdrop.word()),
        ..measures_of(artwork)
    };
    let found = [
        backdrop(cut_out),
        clipped(cut_out),
        huge_margin(cut_out, artwork.canvas_px.0, artwork.canvas_px.1, thresholds),
    ];
    let survey = survey::survey(artwork, cut_out);
    let in_pixels = seen::in_picture(&survey, visible, thresholds);
    let told = [
        artwork
            .profile_broken
            .then(|| broken_profile(artwork.colour_profile.as_deref()))
            .or_else(|| colours(artwork.colour_profile.as_deref())),
        artwork.animated.then(|| Finding::new(Code::ArtAnimated)),
        live_text(&artwork.live_text),
        missing(artwork.missing_parts),
    ];
    let findings = found.into_iter().chain(told).flatten().chain(in_pixels).collect();
    ArtFacts { measures, findings, own_longest_mm: own_longest_mm(artwork, visible), survey: Arc::new(survey) }
}

/// Longest side of the visible art, mm, of a drawing.
fn own_longest_mm(artwork: &Artwork, visible: Place) -> Option<f64> {
    let ((width_mm, height_mm), (width_px, height_px)) = (artwork.canvas_mm?, artwork.canvas_px);
    let side = |px: u32, of_px: u32, of_mm: f64| f64::from(px) / f64::from(of_px.max(1)) * of_mm;
    Some(side(visible.width_px, width_px, width_mm).max(side(visible.height_px, height_px, height_mm)))
}

fn format_word(format: Format) -> &'static str {
    match format {
        Format::Png => "png",
        Format::Jpeg => "jpeg",
        Format::Webp => "webp",
        Format::Gif => "gif",
        Format::Bmp => "bmp",
        Format::Tiff => "tiff",
        Format::Svg => "svg",
    }
}

/// Parts of the art, specks apart; at least one.
fn parts(cut_out: &CutOut) -> usize {
    part_boxes(cut_out).count().max(1)
}

fn part_boxes(cut_out: &CutOut) -> impl Iterator<Item = Rect> {
    let least = f64::from(cut_out.visible.width_px.max(cut_out.visible.height_px)) * SPECK_SHARE;
    let boxes = cut_out.edge.outer().map(crate::geom::Ring::bounds);
    boxes.filter(move |bounds| bounds.width().max(bounds.height()) >= least)
}

/// Where the parts of the art lie, specks apart; the largest come first.
pub fn part_places(cut_out: &CutOut) -> Vec<Place> {
    Place::largest(part_boxes(cut_out).map(Place::around).collect())
}

fn backdrop(cut_out: &CutOut) -> Option<Finding> {
    let finding = Finding::new(Code::TransparencyNone);
    match cut_out.backdrop {
        BackdropFound::None | BackdropFound::Kept => None,
        BackdropFound::Removed => Some(finding.saying(
            "The picture has no transparent background; its plain background was taken away.",
            "Check in the proof that nothing is missing, or send the picture with a transparent background.",
        )),
        BackdropFound::CannotTell => Some(finding.saying(
            "The picture has a background that could not be told apart from the art, so it is printed with it.",
            "Send the picture with a transparent background, or order a rectangular sticker.",
        )),
        BackdropFound::CheckerRemoved => Some(Finding::new(Code::TransparencyFakeChecker).saying(
            "The picture has a grey chequerboard painted into it where it was meant to be transparent; it was taken away.",
            "Check in the proof that nothing is missing, or save the picture again with real transparency.",
        )),
        BackdropFound::CheckerCannotTell => Some(Finding::new(Code::TransparencyFakeChecker).saying(
            "The picture has a grey chequerboard painted into it where it was meant to be transparent, and it could not be told apart from the art: it is printed with it.",
            "Save the picture again with real transparency and send that one.",
        )),
    }
}

/// What was done with colours of another space than ours; a profile that is sRGB itself changes nothing.
fn colours(profile: Option<&str>) -> Option<Finding> {
    let name = profile?;
    if name.starts_with(CMYK) {
        return Some(Finding::new(Code::ColourCmyk));
    }
    let is_ours = name.to_ascii_lowercase().starts_with("srgb");
    (!is_ours).then(|| {
        let message = format!("The colours were converted from the profile in the picture ({name}).");
        Finding::new(Code::ColourProfile).saying(message, Code::ColourProfile.remedy())
    })
}

/// A profile that could not be used; in CMYK that is worth a look, as any conversion of inks is.
fn broken_profile(name: Option<&str>) -> Finding {
    let inks = name.is_some_and(|name| name.starts_with(CMYK));
    let taken_for = if inks { "plain CMYK" } else { "sRGB" };
    let code = if inks { Code::ColourCmyk } else { Code::ColourProfile };
    Finding::new(code).saying(
        format!("The colour profile in the picture is damaged or for another kind of picture; the colours were taken for {taken_for}."),
        "Check the colours in the proof, or save the picture again as sRGB.",
    )
}

/// Pictures and parts of a drawing that are not there.
fn missing(parts: usize) -> Option<Finding> {
    (parts > 0).then(|| Finding::new(Code::ArtIncomplete).measured(parts as f64, Some(0.0), "parts"))
}

/// Words that look different here.
fn live_text(words: &[String]) -> Option<Finding> {
    if words.is_empty() {
        return None;
    }
    let listed: Vec<String> = words.iter().map(|words| format!("\u{201c}{words}\u{201d}")).collect();
    let message =
        format!("The drawing has live text in a font that is not here, and may look different: {}.", listed.join(", "));
    Some(
        Finding::new(Code::TextNotOutlined)
            .measured(words.len() as f64, Some(0.0), "texts")
            .saying(message, Code::TextNotOutlined.remedy()),
    )
}

fn huge_margin(cut_out: &CutOut, width_px: u32, height_px: u32, thresholds: &Thresholds) -> Option<Finding> {
    let limit = thresholds.huge_margin_share;
    let area = |width: u32, height: u32| f64::from(width) * f64::from(height);
    let share = area(cut_out.visible.width_px, cut_out.visible.height_px) / area(width_px, height_px).max(1.0);
    (share < limit).then(|| {
        Finding::new(Code::ArtHugeMargin).measured(share, Some(limit), "share of the canvas").at(vec![cut_out.visible])
    })
}

/// Art of a picture with transparency that runs straight off the canvas. An opaque picture fills its canvas, and art
/// trimmed to its own box only touches the edge: it widens at once behind the place where it touches.
fn clipped(cut_out: &CutOut) -> Option<Finding> {
    if cut_out.backdrop != BackdropFound::None {
        return None;
    }
    let pixels = &cut_out.pixels;
    let depth = f64::from(cut_out.visible.width_px.max(cut_out.visible.height_px)) * CLIP_DEPTH_SHARE;
    let depth = depth.ceil().max(2.0) as u32;
    let places: Vec<Place> = Side::ALL.into_iter().flat_map(|side| side.cut_off(pixels, depth)).collect();
    let longest = places.iter().map(|place| place.width_px.max(place.height_px)).max()?;
    Some(
        Finding::new(Code::ShapeClipped)
            .measured(f64::from(longest), Some(0.0), "px")
            .saying(
                "The picture runs off the edge of its canvas and may be cut off there.",
                "Check in the proof that nothing is missing, or send the whole picture with some room around it.",
            )
            .at(places),
    )
}

/// A side of the canvas.
#[derive(Clone, Copy)]
enum Side {
    Top,
    Right,
    Bottom,
    Left,
}

impl Side {
    const ALL: [Side; 4] = [Side::Top, Side::Right, Side::Bottom, Side::Left];

    /// Length along the side and depth away from it.
    fn extent(self, pixels: &RgbaImage) -> (u32, u32) {
        match self {
            Side::Top | Side::Bottom => pixels.dimensions(),
            Side::Left | Side::Right => (pixels.height(), pixels.width()),
        }
    }

    /// Whether the pixel at a place along the side, so deep, is art.
    fn is_art(self, pixels: &RgbaImage, along: u32, deep: u32) -> bool {
        let (x, y) = match self {
            Side::Top => (along, deep),
            Side::Bottom => (along, pixels.height() - 1 - deep),
            Side::Left => (deep, along),
            Side::Right => (pixels.width() - 1 - deep, along),
        };
        pixels.get_pixel(x, y).0[3] >= ART_ALPHA
    }

    /// Stretches of art on the side's outermost pixels, as first and past-last place.
    fn touching(self, pixels: &RgbaImage) -> Vec<(u32, u32)> {
        let (length, _) = self.extent(pixels);
        let mut stretches = Vec::new();
        let mut start = None;
        for along in 0..=length {
            let is_art = along < length && self.is_art(pixels, along, 0);
            match (start, is_art) {
                (None, true) => start = Some(along),
                (Some(from), false) => {
                    stretches.push((from, along));
                    start = None;
                }
                (None, false) | (Some(_), true) => {}
            }
        }
        stretches
    }

    /// Stretches where the art runs off: at least as long as deep, and at one end the art's own edge meets the canvas
    /// steeply, at more than about 45 degrees: so deep inside it has not widened by more than the depth.
    fn cut_off(self, pixels: &RgbaImage, depth: u32) -> Vec<Place> {
        let (length, deepest) = self.extent(pixels);
        if depth >= deepest {
            return Vec::new();
        }
        let steep_start = |from: u32| from > depth && !self.is_art(pixels, from - depth - 1, depth);
        let steep_end = |to: u32| to + depth < length && !self.is_art(pixels, to + depth, depth);
        let goes_on = |from: u32, to: u32| self.is_art(pixels, from.midpoint(to), depth);
        self.touching(pixels)
            .into_iter()
            .filter(|(from, to)| to - from >= depth && goes_on(*from, *to) && (steep_start(*from) || steep_end(*to)))
            .map(|(from, to)| self.place(pixels, from, to, depth))
            .collect()
    }

    fn place(self, pixels: &RgbaImage, from: u32, to: u32, depth: u32) -> Place {
        let long = to - from;
        match self {
            Side::Top => Place { x_px: from, y_px: 0, width_px: long, height_px: depth },
            Side::Bottom => Place { x_px: from, y_px: pixels.height() - depth, width_px: long, height_px: depth },
            Side::Left => Place { x_px: 0, y_px: from, width_px: depth, height_px: long },
            Side::Right => Place { x_px: pixels.width() - depth, y_px: from, width_px: depth, height_px: long },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::{Rect, Region, Ring};
    use image::Rgba;

    fn picture(width: u32, height: u32, art: impl Fn(f64, f64) -> bool) -> RgbaImage {
        RgbaImage::from_fn(width, height, |x, y| {
            let inside = art(f64::from(x) + 0.5, f64::from(y) + 0.5);
            Rgba([200, 30, 30, if inside { 255 } else { 0 }])
        })
    }

    fn facts(pixels: RgbaImage, visible: Place, backdrop: BackdropFound) -> ArtFacts {
        let pixels = Arc::new(pixels);
        let edge = Rect::new(
            f64::from(visible.x_px),
            f64::from(visible.y_px),
            f64::from(visible.x_px + visible.width_px),
            f64::from(visible.y_px + visible.height_px),
        );
        let cut_out = CutOut {
            pixels: Arc::clone(&pixels),
            edge: Region::new(vec![Ring::rectangle(edge)]),
            visible,
            backdrop,
            translucent_share: 0.0,
        };
        let artwork = Artwork::new(pixels, Format::Png);
        inspect_art(&artwork, &cut_out, &Thresholds::default())
    }

    fn has(facts: &ArtFacts, code: Code) -> bool {
        facts.findings.iter().any(|finding| finding.code == code)
    }

    fn place(x_px: u32, y_px: u32, width_px: u32, height_px: u32) -> Place {
        Place { x_px, y_px, width_px, height_px }
    }

    #[test]
    fn art_that_runs_off_its_canvas_is_clipped_and_art_that_touches_it_is_not() {
        let column = picture(400, 400, |x, _| (100.0..220.0).contains(&x));
        let found = facts(column, place(100, 0, 120, 400), BackdropFound::None);
        let clipped = found.findings.iter().find(|finding| finding.code == Code::ShapeClipped).expect("is found");
        assert_eq!(clipped.places.len(), 2, "above and below");
        assert_eq!(clipped.places[0], place(100, 0, 120, 4));
        let disc = picture(400, 400, |x, y| (x - 200.0).hypot(y - 200.0) < 200.0);
        assert!(!has(&facts(disc, place(0, 0, 400, 400), BackdropFound::None), Code::ShapeClipped));
        let cut_disc = picture(400, 400, |x, y| (x - 200.0).hypot(y - 300.0) < 180.0);
        assert!(has(&facts(cut_disc, place(20, 120, 360, 280), BackdropFound::None), Code::ShapeClipped));
    }

    #[test]
    fn an_opaque_picture_is_not_clipped() {
        let found = facts(picture(64, 64, |_, _| true), place(0, 0, 64, 64), BackdropFound::Kept);
        assert!(found.findings.is_empty(), "{:?}", found.findings);
        let found = facts(picture(64, 64, |_, _| true), place(0, 0, 64, 64), BackdropFound::CannotTell);
        assert!(has(&found, Code::TransparencyNone));
    }

    #[test]
    fn art_lost_in_its_canvas_is_said() {
        let small = picture(500, 500, |x, y| x > 400.0 && y > 400.0 && x < 480.0 && y < 480.0);
        let found = facts(small, place(400, 400, 80, 80), BackdropFound::None);
        let finding = found.findings.iter().find(|finding| finding.code == Code::ArtHugeMargin).expect("is found");
        // 80 x 80 of 500 x 500.
        assert_eq!(finding.measured, Some(0.0256));
    }

    #[test]
    fn converted_colours_are_told_and_srgb_is_not() {
        assert_eq!(colours(None), None);
        assert_eq!(colours(Some("sRGB IEC61966-2.1")), None);
        assert_eq!(colours(Some("Wide Gamut")).map(|finding| finding.code), Some(Code::ColourProfile));
        let cmyk = format!("{CMYK} coated");
        assert_eq!(colours(Some(&cmyk)).map(|finding| finding.code), Some(Code::ColourCmyk));
    }

    #[test]
    fn the_schema_knows_the_word_of_every_format() {
        let schema = schemars::schema_for!(Measures).to_value();
        let words = schema.pointer("/properties/format/enum").and_then(|words| words.as_array()).expect("words");
        let formats = [Format::Png, Format::Jpeg, Format::Webp, Format::Gif, Format::Bmp, Format::Tiff, Format::Svg];
        assert!(formats.iter().all(|format| words.contains(&format_word(*format).into())), "{words:?}");
    }
}
