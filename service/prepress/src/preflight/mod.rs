//! Measures art against an order and lists every finding.
//!
//! In: the picture as decoded, its cut-out, then the fitted outline. Out: [`ArtFacts`]: measures named as in the contract
//! and findings. Never fails, lists everything; decides nothing. One file for what the picture alone tells, one for what
//! the ordered outline adds.

mod catalogue;
mod inks;
mod ordered;
mod picture;
mod seen;
mod survey;

pub use catalogue::{catalogue, said};
pub use inks::inspect_colours;
pub use ordered::inspect_outline;
pub use picture::{inspect_art, measures_of, part_places};

use std::sync::Arc;

use schemars::JsonSchema;
use serde::Serialize;

use survey::Survey;

use crate::finding::{Code, Finding, Place, Severity};
pub use crate::order::Thresholds;

/// The measures of a report; null where unknown: no size ordered, art that cannot be read, or a sticker sheet, whose pieces
/// have their own. Of a vector picture `effective_ppi` and both `largest_mm_at_…` are null, and pixel measures are those of
/// its rendering.
#[derive(Clone, Debug, Default, PartialEq, Serialize, JsonSchema)]
pub struct Measures {
    /// The picture's format, told by its content.
    #[schemars(extend("enum" = ["png", "jpeg", "webp", "gif", "bmp", "tiff", "svg", null]))]
    pub format: Option<&'static str>,
    /// Width of the picture in pixels, upright.
    pub width_px: Option<u32>,
    /// Height of the picture in pixels, upright.
    pub height_px: Option<u32>,
    /// Left edge of the visible art in the picture, in pixels.
    pub art_x_px: Option<u32>,
    /// Upper edge of the visible art in the picture, in pixels.
    pub art_y_px: Option<u32>,
    /// Width of the visible art in pixels.
    pub art_width_px: Option<u32>,
    /// Height of the visible art in pixels.
    pub art_height_px: Option<u32>,
    /// Pixels of the art per inch at the ordered size.
    pub effective_ppi: Option<f64>,
    /// Longest side, in millimetres, that the finished sticker may have for 300 ppi, border included.
    pub largest_mm_at_300_ppi: Option<f64>,
    /// Longest side, in millimetres, that the finished sticker may have for 150 ppi, border included.
    pub largest_mm_at_150_ppi: Option<f64>,
    /// Share of the visible art that is neither opaque nor clear, 0 to 1.
    pub translucent_share: Option<f64>,
    /// Floating parts of the art.
    pub parts: Option<usize>,
    /// Width, in millimetres, of the narrowest place of the bordered shape, before it was thickened.
    pub thinnest_mm: Option<f64>,
    /// What became of a plain backdrop.
    #[schemars(extend("enum" = ["none", "removed", "kept", "cannot_tell", null]))]
    pub backdrop: Option<&'static str>,
    /// Name of the colour profile that the picture carries.
    pub colour_profile: Option<String>,
    /// Border, in millimetres, that suits this picture.
    pub suggested_border_mm: Option<f64>,
    /// Longest side of the finished sticker, in millimetres, that suits this picture.
    pub suggested_longest_mm: Option<f64>,
}

/// What is known of the picture before anything is drawn: kept apart so that the artwork's pixels can be dropped.
#[derive(Clone, Debug)]
pub struct ArtFacts {
    /// Measures that need only the picture.
    pub measures: Measures,
    /// Findings that need only the picture.
    pub findings: Vec<Finding>,
    /// Longest side of the art, mm, as a drawing says it.
    own_longest_mm: Option<f64>,
    /// What its pixels tell, for findings that hang on size or border; nothing of art that cannot be read.
    survey: Arc<Survey>,
}

impl ArtFacts {
    /// Of art that cannot be used, with what is known of it.
    pub fn unusable(finding: Finding, measures: Measures) -> ArtFacts {
        ArtFacts { measures, findings: vec![finding], own_longest_mm: None, survey: Arc::default() }
    }

    /// What is left where no size was ordered: nothing that follows from a size.
    #[must_use]
    pub fn without_size(mut self) -> ArtFacts {
        self.measures.effective_ppi = None;
        let follows_from_size = [Code::ResolutionLow, Code::DetailFineLines, Code::SizeTooSmall, Code::SizeTooLarge];
        self.findings.retain(|finding| !follows_from_size.contains(&finding.code));
        self
    }
}

/// The art's own box.
fn art_box(measures: &Measures) -> Option<Place> {
    Some(Place {
        x_px: measures.art_x_px?,
        y_px: measures.art_y_px?,
        width_px: measures.art_width_px?,
        height_px: measures.art_height_px?,
    })
}

/// The worst severity of a list; `None` when there is no finding.
pub fn worst(findings: &[Finding]) -> Option<Severity> {
    findings.iter().map(|finding| finding.severity).max()
}
