//! Every finding with the measure from which on it is said, where that measure comes from, and the remedy: as a page.

use std::fmt::Write as _;

use crate::finding::{Code, Severity};
use crate::order::Thresholds;

const PRACTICE: &str = "common practice, no source";
const MEASURED: &str = "measured by `load/findings`";
const CONTRACT: &str = "the contract";

/// When each finding is said, and where that comes from. `{name}` stands for a threshold's built-in value and its name.
const SAID: &[(Code, &str, &str)] = &[
    (
        Code::ResolutionLow,
        "art under {resolution_caution_ppi} ppi at the ordered size: caution; under {resolution_reject_ppi} ppi: reject",
        PRACTICE,
    ),
    (Code::ResolutionUpscaled, "sharpest edges wider than {upscaled_edge_px} px", MEASURED),
    (
        Code::TransparencyNone,
        "opaque picture: its plain backdrop was removed, or could not be told from the art",
        PRACTICE,
    ),
    (
        Code::TransparencyHaze,
        "areas of 2 to 60 % alpha over {haze_share} of the visible art",
        "alpha: the contract; share: measured by `load/findings`",
    ),
    (
        Code::TransparencyFakeChecker,
        "opaque picture on a painted grey chequerboard: it was removed, or could not be told from the art",
        "measured on pictures with known alpha: `tests/suite/backdrop`",
    ),
    (Code::TransparencyFringe, "light or dark rim on more than {fringe_share} of the edge", MEASURED),
    (Code::ShapeParts, "more than 1 part: joined (note), cut apart (caution), out of reach (reject)", CONTRACT),
    (Code::ShapeSpecks, "parts under the stock's `cutting.speck_mm` across", CONTRACT),
    (Code::ShapeThin, "places under the stock's `cutting.minimum_width_mm`", CONTRACT),
    (Code::ShapeClipped, "transparent picture whose art meets the canvas edge steeply", PRACTICE),
    (Code::ShapeUndrawable, "no line keeps the promised distance", CONTRACT),
    (Code::SizeTooSmall, "a side under {least_side_mm} mm, or a size of at most twice the border", CONTRACT),
    (Code::SizeTooLarge, "outermost line with its bleed over the stock's window in every allowed rotation", CONTRACT),
    (Code::PageFull, "pieces that the page cannot hold", CONTRACT),
    (Code::ProofChanged, "another digest than `approved`", CONTRACT),
    (Code::StockShort, "more sheets, or mm of roll, than the stock's `available`; of a gang run only", CONTRACT),
    (Code::BleedClipped, "gutter under twice the bleed", CONTRACT),
    (Code::RadiusWins, "border thinner than the stock's cutting radius asks for", CONTRACT),
    (Code::ColourProfile, "embedded profile other than sRGB", CONTRACT),
    (Code::ColourCmyk, "samples in CMYK", CONTRACT),
    (
        Code::ColourGamut,
        "stock with `colour: cmyk`: more than {gamut_share} of the visible art outside the gamut of the coated profile's inks and more than {gamut_delta_e} (delta E 2000) off in print; black and what is darker than the press's black is inside",
        "share and difference: common practice, no source; gamut: the profile",
    ),
    (
        Code::ColourInk,
        "stock with `colour: cmyk`: more than {ink_limit_percent} % of ink on more than {ink_share} of the visible art, in print or, of a picture in CMYK, in its own samples",
        CONTRACT,
    ),
    (
        Code::ColourWhiteOnWhite,
        "within {white_delta_e} (100 x distance in OKLab) of the border's colour, or of white stock: more than {white_rim_share} of the edge: caution; more than {white_area_share} of the area: note",
        MEASURED,
    ),
    (
        Code::DetailFineLines,
        "lines on clear ground, and light lines on an even dark one, under {fine_line_mm} mm in print, {fine_line_length_mm} mm of them or more; tips of wider shapes are no lines, and dark lines inside the art are not judged",
        PRACTICE,
    ),
    (Code::ArtUnreadable, "bytes that are no whole picture", CONTRACT),
    (Code::ArtUnsupported, "a kind of picture that this door does not take", CONTRACT),
    (
        Code::ArtOverLimit,
        "`max_picture_mib`, `max_picture_megapixels`, `max_picture_side_px` of the settings",
        CONTRACT,
    ),
    (Code::ArtBlank, "alpha nowhere over 5 %", PRACTICE),
    (Code::ArtTiny, "longest side under {least_picture_px} px", CONTRACT),
    (Code::ArtAnimated, "more frames than one", CONTRACT),
    (
        Code::ArtIncomplete,
        "a drawing with links to other files, or with pictures in it of no kind that is taken",
        PRACTICE,
    ),
    (Code::ArtHugeMargin, "art's box under {huge_margin_share} of the canvas", PRACTICE),
    (Code::TextNotOutlined, "a drawing with live text", CONTRACT),
];

/// When a code is said, with the built-in values of its thresholds, and where that comes from.
pub fn said(code: Code) -> (String, &'static str) {
    let known = SAID.iter().find(|(of, _, _)| *of == code);
    known.map_or((String::new(), ""), |(_, when, source)| (with_values(when), *source))
}

/// All findings and all thresholds as Markdown.
pub fn catalogue() -> String {
    let mut page = String::from(
        "# Findings\n\nWritten by `quoin openapi --findings`. Findings of preflight, proofs, estimates and tickets; how bad: as far as \
         nothing else is said. Values in brackets are settings.\n\n| code | how bad | said of | source | remedy |\n|---|---|---|---|---|\n",
    );
    for code in Code::ALL {
        let (when, source) = said(*code);
        let (word, remedy) = (severity(code.severity()), code.remedy());
        let _ = writeln!(page, "| `{}` | {word} | {when} | {source} | {remedy} |", code.as_str());
    }
    page.push_str(
        "\n## Thresholds\n\nA shop sets its own in the table `[preflight]` of its settings file. Every report and ticket echoes \
         those that it used.\n\n| setting | built in | takes | meaning | source |\n|---|---|---|---|---|\n",
    );
    for threshold in Thresholds::ALL {
        let (name, built_in, meaning, source) =
            (threshold.name, threshold.built_in, threshold.meaning, threshold.source);
        let _ = writeln!(
            page,
            "| `{name}` | {built_in} | {} to {} | {meaning} | {source} |",
            threshold.least, threshold.most
        );
    }
    page
}

fn severity(severity: Severity) -> &'static str {
    match severity {
        Severity::Note => "note",
        Severity::Caution => "caution",
        Severity::Reject => "reject",
    }
}

fn with_values(when: &str) -> String {
    let mut text = when.to_owned();
    for threshold in Thresholds::ALL {
        let value = format!("{} (`{}`)", threshold.built_in, threshold.name);
        text = text.replace(&format!("{{{}}}", threshold.name), &value);
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_finding_says_when_it_is_said_and_every_threshold_is_somewhere() {
        for code in Code::ALL {
            let (when, source) = said(*code);
            assert!(!when.is_empty() && !source.is_empty(), "{}", code.as_str());
            assert!(!when.contains('{'), "{when}");
        }
        assert_eq!(SAID.len(), Code::ALL.len());
        for threshold in Thresholds::ALL {
            let named = format!("{{{}}}", threshold.name);
            assert!(SAID.iter().any(|(_, when, _)| when.contains(&named)), "{named}");
        }
    }
}
