//! Findings from what the survey of the pixels saw.

use super::ArtFacts;
use super::survey::{FineLine, RimSample, Survey, boxes};
use crate::finding::{Code, Finding, Place, Severity};
use crate::order::{ArtFit, Colour, Design, Face, Shape, Stock, Thresholds};
use crate::outline::Outlined;
use crate::silhouette::oklab::{Converter, distance_squared};
use crate::units::Mm;

/// Of the fine lines, the share of their length that is at most as thin as the width told: the thinnest bits are where
/// lines end. Common practice, no source.
const THINNEST_SHARE: f64 = 0.1;

/// Findings that need no size.
pub(super) fn in_picture(survey: &Survey, visible: Place, thresholds: &Thresholds) -> Vec<Finding> {
    [upscaled(survey, visible, thresholds), haze(survey, thresholds), fringe(survey, thresholds)]
        .into_iter()
        .flatten()
        .collect()
}

/// Findings that hang on size, border or stock.
pub(super) fn in_print(
    facts: &ArtFacts,
    outlined: &Outlined,
    design: &Design,
    stock: &Stock,
    thresholds: &Thresholds,
) -> Vec<Finding> {
    let Some(area) = super::art_box(&facts.measures) else { return Vec::new() };
    let survey = &facts.survey;
    let mm_per_px = outlined.art_to_mm.as_coeffs()[0];
    [white_on_white(survey, area, design, stock, thresholds), fine_lines(&survey.lines, area, mm_per_px, thresholds)]
        .into_iter()
        .flatten()
        .collect()
}

fn upscaled(survey: &Survey, visible: Place, thresholds: &Thresholds) -> Option<Finding> {
    let (width, limit) = (survey.edge_px?, thresholds.upscaled_edge_px);
    (width > limit).then(|| {
        let message = format!(
            "The picture looks enlarged: its sharpest edges are {width:.1} pixels wide, so it holds less detail than its size says."
        );
        Finding::new(Code::ResolutionUpscaled)
            .measured(width, Some(limit), "px")
            .saying(message, Code::ResolutionUpscaled.remedy())
            .at(vec![visible])
    })
}

fn haze(survey: &Survey, thresholds: &Thresholds) -> Option<Finding> {
    let limit = thresholds.haze_share;
    (survey.haze_share > limit).then(|| {
        let message = format!(
            "{} of the picture is a soft shadow or glow, which prints as a dirty edge.",
            percent(survey.haze_share)
        );
        Finding::new(Code::TransparencyHaze)
            .measured(survey.haze_share, Some(limit), "share of the art")
            .saying(message, Code::TransparencyHaze.remedy())
            .at(survey.haze_places.clone())
    })
}

fn fringe(survey: &Survey, thresholds: &Thresholds) -> Option<Finding> {
    let limit = thresholds.fringe_share;
    let (share, shade) = if survey.light_rim_share >= survey.dark_rim_share {
        (survey.light_rim_share, "light")
    } else {
        (survey.dark_rim_share, "dark")
    };
    (share > limit).then(|| {
        let message = format!("A thin {shade} rim is left around the picture, as if from an earlier cut-out.");
        Finding::new(Code::TransparencyFringe)
            .measured(share, Some(limit), "share of the edge")
            .saying(message, Code::TransparencyFringe.remedy())
            .at(survey.rim_places.clone())
    })
}

/// The colour around the art: its border's, or that of white stock where there is none; `None` where something else is
/// around it.
fn around(design: &Design, stock: &Stock) -> Option<Colour> {
    if design.outline.border > Mm::ZERO {
        Some(design.outline.border_colour)
    } else {
        (stock.face == Face::White).then_some(Colour([255; 3]))
    }
}

fn white_on_white(
    survey: &Survey,
    area: Place,
    design: &Design,
    stock: &Stock,
    thresholds: &Thresholds,
) -> Option<Finding> {
    let is_cropped = design.outline.art_fit == ArtFit::Cover && design.outline.shape != Shape::Contour;
    let Colour([red, green, blue]) = around(design, stock).filter(|_| !is_cropped)?;
    let converter = Converter::new();
    let ground = converter.lab(red, green, blue);
    let within = (thresholds.white_delta_e / 100.0).powi(2) as f32;
    let vanishes = |[r, g, b]: [u8; 3]| distance_squared(converter.lab(r, g, b), ground) <= within;
    let gone: Vec<&RimSample> = survey.rim.iter().filter(|sample| vanishes(sample.colour)).collect();
    let rim_share = gone.len() as f64 / survey.rim.len().max(1) as f64;
    let finding = Finding::new(Code::ColourWhiteOnWhite);
    if rim_share > thresholds.white_rim_share {
        let message = format!(
            "{} of the picture's edge has the colour of what is around it and cannot be told from it.",
            percent(rim_share)
        );
        return Some(
            finding
                .measured(rim_share, Some(thresholds.white_rim_share), "share of the edge")
                .saying(message, Code::ColourWhiteOnWhite.remedy())
                .at(boxes(area, gone.iter().map(|sample| sample.at))),
        );
    }
    let area_share = survey.colours.share(vanishes);
    // Without an edge against clear ground there is no cut-out to vanish.
    (area_share > thresholds.white_area_share && !survey.rim.is_empty()).then(|| {
        let message = format!(
            "{} of the picture has the colour of what is around it; only its lines and other colours stand out.",
            percent(area_share)
        );
        finding
            .severity(Severity::Note)
            .measured(area_share, Some(thresholds.white_area_share), "share of the art")
            .saying(message, "Nothing to do: check the proof, or choose another border colour.")
            .at(vec![area])
    })
}

fn fine_lines(lines: &[FineLine], area: Place, mm_per_px: f64, thresholds: &Thresholds) -> Option<Finding> {
    let limit = thresholds.fine_line_mm;
    let mut fine: Vec<&FineLine> = lines.iter().filter(|line| f64::from(line.width_px) * mm_per_px < limit).collect();
    fine.sort_by(|a, b| a.width_px.total_cmp(&b.width_px));
    let length_px: f64 = fine.iter().map(|line| f64::from(line.length_px)).sum();
    if length_px * mm_per_px < thresholds.fine_line_length_mm || fine.is_empty() {
        return None;
    }
    let mut passed = 0.0;
    let told = fine.iter().find(|line| {
        passed += f64::from(line.length_px);
        passed >= length_px * THINNEST_SHARE
    });
    let width = f64::from(told?.width_px) * mm_per_px;
    let thinnest = if width < 0.05 { "under 0.05 mm".to_owned() } else { format!("about {width:.2} mm") };
    let message = format!("Lines in the picture are so thin at this size ({thinnest}) that they may not print well.");
    let places = boxes(area, fine.iter().map(|line| line.at));
    let finding = Finding::new(Code::DetailFineLines).measured(width, Some(limit), "mm");
    Some(finding.saying(message, Code::DetailFineLines.remedy()).at(places))
}

fn percent(share: f64) -> String {
    format!("{:.0} %", (share * 100.0).max(1.0))
}
