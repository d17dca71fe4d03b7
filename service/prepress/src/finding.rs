//! What preflight and the later stages say about an item: data, not an error.
//!
//! Every finding has a stable code, a severity, what was measured against which limit, where in the picture, plain words
//! for the customer and a remedy. Thresholds are common practice, no source, unless their constant says otherwise.

use std::borrow::Cow;
use std::cmp::Reverse;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::Serialize;

use crate::geom::Rect;
use crate::units::Mm;

/// How bad it is; the worst finding is the report's verdict.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Severity {
    /// Good to know.
    Note,
    /// Can be printed; somebody should look.
    Caution,
    /// Cannot be printed as it is.
    Reject,
}

macro_rules! codes {
    ($($(#[$doc:meta])* $name:ident = $code:literal, $severity:ident, $message:literal, $remedy:literal;)*) => {
        /// The stable code of a finding.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
        pub enum Code { $($(#[$doc])* $name,)* }

        impl Code {
            /// Every code there is.
            pub const ALL: &[Code] = &[$(Code::$name,)*];

            /// As written in reports.
            pub const fn as_str(self) -> &'static str {
                match self { $(Code::$name => $code,)* }
            }

            /// Its severity where nothing else is said.
            pub const fn severity(self) -> Severity {
                match self { $(Code::$name => Severity::$severity,)* }
            }

            /// Plain words for a customer where nothing more particular is said.
            pub const fn message(self) -> &'static str {
                match self { $(Code::$name => $message,)* }
            }

            /// What to do about it.
            pub const fn remedy(self) -> &'static str {
                match self { $(Code::$name => $remedy,)* }
            }
        }
    };
}

codes! {
    /// Too few pixels for the ordered size.
    ResolutionLow = "resolution.low", Caution,
        "The picture has few pixels for this size and may print soft.",
        "Send a larger original, or order a smaller size.";
    /// Enlarged before it was sent.
    ResolutionUpscaled = "resolution.upscaled", Caution,
        "The picture looks enlarged: it holds less detail than its size says.",
        "Send the picture as it was before it was enlarged, or check in the proof that it is sharp enough.";
    /// Opaque picture whose backdrop was removed, or stays.
    TransparencyNone = "transparency.none", Caution,
        "The picture has no transparent background.",
        "Check the proof, or send the picture with its background removed.";
    /// Areas of faint alpha.
    TransparencyHaze = "transparency.haze", Caution,
        "The picture has a soft shadow or glow, which prints as a dirty edge.",
        "Check the proof, or send the picture without shadow and glow.";
    /// A halo of an earlier cut-out.
    TransparencyFringe = "transparency.fringe", Caution,
        "A thin rim is left around the picture, as if from an earlier cut-out.",
        "Check the proof, or cut the picture out a little tighter and send it again.";
    /// An opaque grey chequerboard where transparency was meant.
    TransparencyFakeChecker = "transparency.fake_checker", Caution,
        "The picture has a grey chequerboard painted into it where it was meant to be transparent.",
        "Save the picture again with real transparency and send that one.";
    /// Floating parts: joined, bridged, separate or out of reach.
    ShapeParts = "shape.parts", Note,
        "The picture has several separate parts.",
        "Nothing to do: they are held together by the border.";
    /// Specks that move no cut line.
    ShapeSpecks = "shape.specks", Note,
        "Tiny specks in the picture were left out of the outline.",
        "Nothing to do, or clean the picture.";
    /// Thin places that were thickened.
    ShapeThin = "shape.thin", Note,
        "Thin places were given a wider border so that they do not tear.",
        "Nothing to do: check the proof.";
    /// Art that touches the edge of its canvas.
    ShapeClipped = "shape.clipped", Caution,
        "The picture touches the edge of its canvas and may be cut off.",
        "Check that nothing is missing, or send the whole picture.";
    /// No line could be drawn around the art that keeps its promises.
    ShapeUndrawable = "shape.undrawable", Reject,
        "No clean cut line could be drawn around this picture.",
        "Send a simpler picture, or choose a rectangle, circle or ellipse.";
    /// Finished size too small to make.
    SizeTooSmall = "size.too_small", Reject,
        "The sticker is too small.",
        "Order a larger size or a thinner border.";
    /// Finished size larger than the window.
    SizeTooLarge = "size.too_large", Reject,
        "The sticker is larger than the sheet can hold.",
        "Order a smaller size or another material.";
    /// A sticker sheet that cannot hold its pieces.
    PageFull = "page.full", Reject,
        "The page is too small for its stickers.",
        "Order a larger page, fewer copies or smaller stickers.";
    /// Another sticker than the one whose proof was approved.
    ProofChanged = "proof.changed", Reject,
        "The sticker would now be another than the one in the approved proof.",
        "Look at a new proof and approve it.";
    /// More copies than the material at hand holds.
    StockShort = "stock.short", Reject,
        "There is not enough material at hand for these copies.",
        "Order the copies that were set aside again when there is more material, or choose another one.";
    /// Printed bleed clipped between near neighbours.
    BleedClipped = "bleed.clipped", Note,
        "Neighbours stand closer than twice the bleed: each keeps half of the gap.",
        "Widen the stock's gutter to at least twice its bleed.";
    /// The cutting radius wins over a thinner border.
    RadiusWins = "radius.wins", Note,
        "The outline was rounded a little so that a blade can follow it.",
        "Nothing to do: check the proof.";
    /// An embedded colour profile was converted.
    ColourProfile = "colour.profile", Note,
        "The colours were converted from the profile in the picture.",
        "Nothing to do.";
    /// A picture in CMYK was converted.
    ColourCmyk = "colour.cmyk", Caution,
        "The picture is in print colours (CMYK) and was converted; colours may shift.",
        "Check the proof, or send the picture in RGB.";
    /// Colours outside the gamut of the inks that it is printed in.
    ColourGamut = "colour.gamut", Caution,
        "The picture has colours that printing inks cannot show; they will look duller.",
        "Check the colours in the proof, or choose less vivid ones.";
    /// More ink than the stock takes, or in the art than is printed.
    ColourInk = "colour.ink", Caution,
        "The picture has colours with more ink than the material takes.",
        "Check the dark colours in the proof, or send the picture with lighter or plainer darks, or in RGB.";
    /// Art in the colour of what is around it.
    ColourWhiteOnWhite = "colour.white_on_white", Caution,
        "Parts of the picture have the colour of what is around it and cannot be told from it.",
        "Choose another border colour, or add a dark outline to the picture.";
    /// Lines too thin for print.
    DetailFineLines = "detail.fine_lines", Caution,
        "Lines in the picture are so thin at this size that they may not print well.",
        "Order a larger size, or send the picture with thicker lines.";
    /// Damaged bytes, or no picture.
    ArtUnreadable = "art.unreadable", Reject,
        "The file is damaged or is not a picture.",
        "Save the picture again as PNG or JPEG and send it once more.";
    /// A kind of picture that is not taken.
    ArtUnsupported = "art.unsupported", Reject,
        "Pictures of this kind are not taken.",
        "Send the picture as PNG, JPEG, WebP, TIFF, GIF, BMP or SVG.";
    /// Larger than an intake limit.
    ArtOverLimit = "art.over_limit", Reject,
        "The picture is larger than we can take.",
        "Send a smaller picture.";
    /// Nothing visible.
    ArtBlank = "art.blank", Reject,
        "Nothing is visible in the picture.",
        "Send the picture again.";
    /// Too few pixels to be art.
    ArtTiny = "art.tiny", Reject,
        "The picture is too tiny to print.",
        "Send the original picture.";
    /// The first frame of an animation was used.
    ArtAnimated = "art.animated", Note,
        "The picture moves or has several pages; its first one is printed.",
        "Send the frame or page that you want as a picture of its own.";
    /// Vector art without some of its pictures or parts.
    ArtIncomplete = "art.incomplete", Caution,
        "Parts of the drawing are missing: what it takes from other files is not drawn.",
        "Put all pictures into the drawing's own file, or send it as PNG.";
    /// The canvas is mostly empty.
    ArtHugeMargin = "art.huge_margin", Note,
        "The picture is mostly empty around the art; it was cropped to the art.",
        "Nothing to do.";
    /// Vector art with live text.
    TextNotOutlined = "text.not_outlined", Caution,
        "The drawing has live text, which may look different here.",
        "Convert text to outlines and send the drawing again.";
}

impl Serialize for Code {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.as_str())
    }
}

impl JsonSchema for Code {
    fn schema_name() -> Cow<'static, str> {
        "FindingCode".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        let codes: Vec<&str> = Code::ALL.iter().map(|code| code.as_str()).collect();
        json_schema!({
            "type": "string",
            "enum": codes,
            "description": "Stable code of a finding; it never changes its meaning. New codes may be added.",
        })
    }
}

/// A box in the picture, in pixels after orientation.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Place {
    /// Left edge in pixels.
    pub x_px: u32,
    /// Upper edge in pixels.
    pub y_px: u32,
    /// Width in pixels.
    pub width_px: u32,
    /// Height in pixels.
    pub height_px: u32,
}

/// Places that are told at most of things that may be many: a customer looks at no more.
const MOST_PLACES: usize = 8;

impl Place {
    /// The whole pixels around a box, but for what the last digits of its numbers reach into; what lies left of the picture or
    /// above it is cut off.
    pub(crate) fn around(bounds: Rect) -> Place {
        const LAST_DIGITS_PX: f64 = 1e-6;
        let first = |from: f64| (from + LAST_DIGITS_PX).floor().max(0.0);
        let size = |first: f64, to: f64| ((to - LAST_DIGITS_PX).ceil() - first) as u32;
        let (left, top) = (first(bounds.x0), first(bounds.y0));
        Place { x_px: left as u32, y_px: top as u32, width_px: size(left, bounds.x1), height_px: size(top, bounds.y1) }
    }

    /// The largest of many, the largest first.
    pub(crate) fn largest(mut places: Vec<Place>) -> Vec<Place> {
        places.sort_by_key(|place| {
            let size = u64::from(place.width_px) * u64::from(place.height_px);
            (Reverse(size), place.y_px, place.x_px)
        });
        places.truncate(MOST_PLACES);
        places
    }
}

/// One thing to say about an item.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Finding {
    /// Stable code.
    pub code: Code,
    /// How bad it is.
    pub severity: Severity,
    /// What was measured, where something was. Never NaN.
    pub measured: Option<f64>,
    /// The limit it was held against, where there is one.
    pub limit: Option<f64>,
    /// The unit of both, like `ppi`, `mm`, `px` or `parts`.
    pub unit: Option<&'static str>,
    /// The piece of a sticker sheet that it is about; null otherwise.
    pub piece: Option<String>,
    /// Where in the picture; may be empty.
    pub places: Vec<Place>,
    /// What is the matter, in plain words that a customer may read.
    pub message: String,
    /// What to do about it, in plain words.
    pub remedy: String,
}

impl Finding {
    /// A finding in its code's own severity and words.
    pub fn new(code: Code) -> Finding {
        Finding {
            code,
            severity: code.severity(),
            measured: None,
            limit: None,
            unit: None,
            piece: None,
            places: Vec::new(),
            message: code.message().to_owned(),
            remedy: code.remedy().to_owned(),
        }
    }

    /// With a measure held against a limit; both rounded to four decimals so that reports repeat.
    #[must_use]
    pub fn measured(mut self, measured: f64, limit: Option<f64>, unit: &'static str) -> Finding {
        let tidy = |value: f64| (value * 1e4).round() / 1e4;
        self.measured = measured.is_finite().then(|| tidy(measured));
        self.limit = limit.filter(|value| value.is_finite()).map(tidy);
        self.unit = Some(unit);
        self
    }

    /// With another severity.
    #[must_use]
    pub fn severity(mut self, severity: Severity) -> Finding {
        self.severity = severity;
        self
    }

    /// With more particular words.
    #[must_use]
    pub fn saying(mut self, message: impl Into<String>, remedy: impl Into<String>) -> Finding {
        self.message = message.into();
        self.remedy = remedy.into();
        self
    }

    /// With places in the picture.
    #[must_use]
    pub fn at(mut self, places: Vec<Place>) -> Finding {
        self.places = places;
        self
    }

    pub(crate) fn art_unreadable(reason: &str) -> Finding {
        let message = format!("The file is damaged or is not a picture ({reason}).");
        Finding::new(Code::ArtUnreadable).saying(message, Code::ArtUnreadable.remedy())
    }

    pub(crate) fn art_unsupported(kind: &str) -> Finding {
        let message = format!("Pictures of this kind are not taken: {kind}.");
        Finding::new(Code::ArtUnsupported).saying(message, Code::ArtUnsupported.remedy())
    }

    pub(crate) fn art_over_limit(measured: f64, limit: f64, unit: &'static str) -> Finding {
        let words = |value: f64| match unit {
            "bytes" => format!("{:.1} MiB", value / f64::from(1 << 20)),
            "pixels" => format!("{:.0} megapixels", value / 1e6),
            "s" => format!("{value:.0} seconds of work"),
            _ => format!("{value:.0} {unit}"),
        };
        let message = format!("The picture is larger than we can take: {}, at most {}.", words(measured), words(limit));
        let finding = Finding::new(Code::ArtOverLimit).measured(measured, Some(limit), unit);
        finding.saying(message, Code::ArtOverLimit.remedy())
    }

    pub(crate) fn art_tiny(longest_px: u32, least_px: f64) -> Finding {
        Finding::new(Code::ArtTiny).measured(f64::from(longest_px), Some(least_px), "px")
    }

    pub(crate) fn size_too_small(measured: Mm, limit: Mm) -> Finding {
        let message = format!(
            "The sticker is too small: {:.1} mm where more than {:.1} mm are needed.",
            measured.mm(),
            limit.mm()
        );
        Finding::new(Code::SizeTooSmall)
            .measured(measured.mm(), Some(limit.mm()), "mm")
            .saying(message, Code::SizeTooSmall.remedy())
    }

    pub(crate) fn size_too_large(measured: Mm, limit: Mm, would_fit: Option<Mm>) -> Finding {
        let finding = Finding::new(Code::SizeTooLarge).measured(measured.mm(), Some(limit.mm()), "mm");
        let Some(fits) = would_fit else { return finding };
        let message =
            format!("The sticker is {:.1} mm too large for the sheet.", (measured - limit).max(Mm::ZERO).mm());
        let remedy = format!(
            "Order it with a longest side of at most {:.1} mm, or on another material.",
            (fits.mm() * 10.0).floor() / 10.0
        );
        finding.saying(message, remedy)
    }

    pub(crate) fn shape_parts_out_of_reach(parts: usize) -> Finding {
        Finding::new(Code::ShapeParts).severity(Severity::Reject).measured(parts as f64, Some(1.0), "parts").saying(
            format!("The picture falls into {parts} parts too far apart to be held together by a border."),
            "Move the parts closer together, widen the border, or have each part cut by itself.",
        )
    }

    pub(crate) fn stock_short(needed: f64, at_hand: f64, unit: &'static str) -> Finding {
        let message = format!(
            "There is not enough material at hand for these copies: all of the run's would take {} {unit}, and there are {}.",
            needed.ceil(),
            at_hand.floor(),
        );
        Finding::new(Code::StockShort).measured(needed, Some(at_hand), unit).saying(message, Code::StockShort.remedy())
    }

    pub(crate) fn page_full(would_fit: Option<(Mm, Mm)>) -> Finding {
        let finding = Finding::new(Code::PageFull);
        let Some((width, height)) = would_fit else { return finding };
        let remedy = format!("A page of {:.0} x {:.0} mm would hold them.", width.mm().ceil(), height.mm().ceil());
        finding.saying(Code::PageFull.message(), remedy)
    }
}

/// Copies of an item that are not printed, and why.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct SetAside {
    /// The order; null for a filler.
    pub order: Option<String>,
    /// The shop's line id.
    pub item: String,
    /// Their copy numbers, from 1.
    pub copies: Vec<u32>,
    /// Why; at least one.
    pub findings: Vec<Finding>,
}
