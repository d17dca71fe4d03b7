//! Measures art against an order and lists every finding.

use serde::Serialize;

use crate::finding::{Finding, Severity};
use crate::intake::Artwork;
use crate::order::{Design, Stock};
use crate::outline::Outlined;
use crate::silhouette::CutOut;

/// The measures of a report, named as in the contract; `None` where unknown.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
#[allow(missing_docs, reason = "the contract names and explains each")]
pub struct Measures {
    pub format: Option<&'static str>,
    pub width_px: Option<u32>,
    pub height_px: Option<u32>,
    pub art_x_px: Option<u32>,
    pub art_y_px: Option<u32>,
    pub art_width_px: Option<u32>,
    pub art_height_px: Option<u32>,
    pub effective_ppi: Option<f64>,
    pub largest_mm_at_300_ppi: Option<f64>,
    pub largest_mm_at_150_ppi: Option<f64>,
    pub translucent_share: Option<f64>,
    pub parts: Option<usize>,
    pub thinnest_mm: Option<f64>,
    pub backdrop: Option<&'static str>,
    pub colour_profile: Option<String>,
    pub suggested_border_mm: Option<f64>,
    pub suggested_longest_mm: Option<f64>,
}

/// What is known of the picture before anything is drawn: kept apart so that the artwork's pixels can be dropped.
#[derive(Clone, Debug)]
pub struct ArtFacts {
    /// Measures that need only the picture.
    pub measures: Measures,
    /// Findings that need only the picture.
    pub findings: Vec<Finding>,
}

/// Thresholds. Defaults: common practice, no source.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Thresholds {
    /// Effective ppi under which it is a caution.
    pub caution_ppi: f64,
    /// Effective ppi under which it is a reject.
    pub reject_ppi: f64,
}

impl Default for Thresholds {
    fn default() -> Thresholds {
        Thresholds { caution_ppi: 300.0, reject_ppi: 150.0 }
    }
}

/// Findings and measures of a picture after its backdrop was judged. `artwork` is the picture as decoded.
pub fn inspect_art(_artwork: &Artwork, _cut_out: &CutOut) -> ArtFacts {
    unimplemented!()
}

/// Adds what depends on the ordered outline: resolution, parts, thin places, radius. Findings that the design accepts come
/// out as cautions.
pub fn inspect_outline(
    _facts: &ArtFacts,
    _outlined: &Outlined,
    _design: &Design,
    _stock: &Stock,
    _thresholds: &Thresholds,
) -> ArtFacts {
    unimplemented!()
}

/// The worst severity of a list; `None` when there is no finding.
pub fn worst(findings: &[Finding]) -> Option<Severity> {
    findings.iter().map(|finding| finding.severity).max()
}
