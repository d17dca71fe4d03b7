//! Measures art against an order and lists every finding.
//!
//! In: the picture as decoded, its cut-out, then the fitted outline. Out: [`ArtFacts`]: measures named as in the contract
//! and findings. Never fails, lists everything; decides nothing. One file for what the picture alone tells, one for what
//! the ordered outline adds.

mod ordered;
mod picture;

pub use ordered::inspect_outline;
pub use picture::inspect_art;

use serde::Serialize;

use crate::finding::{Code, Finding, Severity};

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

impl ArtFacts {
    /// What is left where no size was ordered: nothing that follows from a size.
    #[must_use]
    pub fn without_size(mut self) -> ArtFacts {
        self.measures.effective_ppi = None;
        let follows_from_size = [Code::ResolutionLow, Code::SizeTooSmall, Code::SizeTooLarge];
        self.findings.retain(|finding| !follows_from_size.contains(&finding.code));
        self
    }
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

/// The worst severity of a list; `None` when there is no finding.
pub fn worst(findings: &[Finding]) -> Option<Severity> {
    findings.iter().map(|finding| finding.severity).max()
}
