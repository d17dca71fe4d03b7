//! What numbers a field takes. Where the contract says nothing the bounds are common practice, no source: wide enough for
//! every machine, narrow enough that nothing absurd reaches the geometry.

use std::fmt;

/// Bounds of a number.
#[derive(Clone, Copy, Debug)]
pub(super) struct Range {
    pub(super) least: f64,
    pub(super) most: f64,
    /// The lower bound itself is out.
    pub(super) above: bool,
    pub(super) unit: &'static str,
}

impl Range {
    const fn mm(least: f64, most: f64) -> Range {
        Range { least, most, above: false, unit: " mm" }
    }

    const fn mm_above(least: f64, most: f64) -> Range {
        Range { least, most, above: true, unit: " mm" }
    }

    const fn plain(least: f64, most: f64) -> Range {
        Range { least, most, above: false, unit: "" }
    }

    /// The same with a higher lower bound.
    pub(super) fn at_least(self, least: f64) -> Range {
        Range { least: self.least.max(least), above: self.above && least <= self.least, ..self }
    }

    /// Whether a number is inside. NaN never is.
    pub(super) fn holds(&self, value: f64) -> bool {
        value <= self.most && (value > self.least || (!self.above && value >= self.least))
    }
}

impl fmt::Display for Range {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Range { least, most, above, unit } = self;
        if *above {
            write!(formatter, "over {least} and at most {most}{unit}")
        } else {
            write!(formatter, "{least} to {most}{unit}")
        }
    }
}

/// A sticker's or page's ordered length (the contract, section 1, "Size").
pub(super) const ORDERED: Range = Range::mm_above(0.0, 100_000.0);
/// `outline.border_mm` (the contract, section 1).
pub(super) const BORDER: Range = Range::mm(0.0, 20.0);
/// Any corner radius; one larger than half of a side is what the shape makes of it.
pub(super) const CORNER_RADIUS: Range = Range::mm(0.0, 100_000.0);
/// `outline.keep_holes_wider_than_mm`.
pub(super) const HOLE: Range = Range::mm(0.0, 100_000.0);
/// `backing.margin_mm` and `page.gap_mm`, before what the bleed asks for.
pub(super) const SPACING: Range = Range::mm(0.0, 1_000.0);
/// What `backing.margin_mm` and `page.gap_mm` may not be under, whatever the bleed (the contract, section 1).
pub(super) const BACKING_MARGIN_LEAST_MM: f64 = 2.0;
/// See [`BACKING_MARGIN_LEAST_MM`].
pub(super) const PAGE_GAP_LEAST_MM: f64 = 1.0;
/// `backdrop.tolerance_delta_e`: 100 is the way from black to white in OKLab.
pub(super) const TOLERANCE: Range = Range::plain(0.0, 100.0);

/// A side of a sheet, a roll's width and length. A PDF page ends at 14,400 pt = 5080 mm (ISO 32000-1, annex C).
pub(super) const MEDIA_SIDE: Range = Range::mm_above(0.0, 5_080.0);
/// `margins_mm` and `unprintable_mm`.
pub(super) const MARGIN: Range = Range::mm(0.0, 1_000.0);
/// `gutter_mm`.
pub(super) const GUTTER: Range = Range::mm(0.0, 100.0);
/// `bleed_mm`.
pub(super) const BLEED: Range = Range::mm(0.0, 20.0);
/// `register_marks.diameter_mm`.
pub(super) const MARK_DIAMETER: Range = Range::mm(1.0, 50.0);
/// `register_marks.clear_mm`.
pub(super) const MARK_CLEAR: Range = Range::mm(0.0, 50.0);
/// A coordinate of `register_marks.at`.
pub(super) const MARK_PLACE: Range = Range::mm(0.0, 5_080.0);
/// `print_ppi`.
pub(super) const PRINT_PPI: Range = Range::plain(72.0, 2_400.0);
/// `available`: sheets, or mm of roll.
pub(super) const AT_HAND: Range = Range::plain(0.0, 10_000_000.0);
/// `cutting.minimum_width_mm`.
pub(super) const MINIMUM_WIDTH: Range = Range::mm(0.0, 50.0);
/// `cutting.bridge_reach_mm`.
pub(super) const BRIDGE_REACH: Range = Range::mm(0.0, 200.0);
/// `cutting.inside_radius_mm` and `outside_radius_mm`.
pub(super) const CUTTING_RADIUS: Range = Range::mm(0.0, 20.0);
/// `cutting.speck_mm`.
pub(super) const SPECK: Range = Range::mm(0.0, 20.0);
/// `underbase.choke_mm`.
pub(super) const CHOKE: Range = Range::mm(0.0, 5.0);
/// `underbase.threshold`, an alpha.
pub(super) const THRESHOLD: Range = Range::plain(0.0, 1.0);
/// A side of the pick list's page: its table needs room.
pub(super) const REPORT_SIDE: Range = Range::mm(100.0, 1_500.0);

/// `quantity` and `at_most` (the contract, section 1).
pub(super) const QUANTITY: Range = Range::plain(1.0, 100_000.0);
/// Entries of `quantities` (the contract, section 1).
pub(super) const QUANTITIES: usize = 100;
/// `view.longest_px` (the contract, section 1); on fewer pixels nothing can be seen.
pub(super) const PROOF_PX: Range = Range::plain(32.0, 2_000.0);
/// `pieces` of one page: more kinds than anybody orders, few enough that their pictures are a burden that can be borne.
pub(super) const PIECES: usize = 200;
/// `copies` of a piece on one page.
pub(super) const PIECE_COPIES: Range = Range::plain(1.0, 10_000.0);
/// `time_budget_ms`: at most a day.
pub(super) const TIME_BUDGET: Range = Range::plain(0.0, 86_400_000.0);
/// `seed`: integers that every JSON reader keeps exact (RFC 8259, section 6).
pub(super) const SEED: Range = Range::plain(0.0, 9_007_199_254_740_991.0);

/// Copies in one job, fillers apart.
pub(super) const COPIES_PER_JOB: u64 = 1_000_000;
/// `tags` of an item (the contract, section 1).
pub(super) const TAGS: usize = 32;
/// Centres in `register_marks.at`.
pub(super) const MARKS: usize = 100;
/// Characters of `finish`.
pub(super) const FINISH_CHARS: usize = 200;
/// Bytes of a layer's name, where a PDF name ends (ISO 32000-1, annex C).
pub(super) const LAYER_BYTES: usize = 127;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bounds_are_in_unless_said_otherwise() {
        assert!(BORDER.holds(0.0) && BORDER.holds(20.0) && !BORDER.holds(20.000_001) && !BORDER.holds(-0.1));
        assert!(!ORDERED.holds(0.0) && ORDERED.holds(1e-9) && ORDERED.holds(1e5));
        assert!(!BORDER.holds(f64::NAN) && !BORDER.holds(f64::INFINITY));
        assert!(!SPACING.at_least(2.0).holds(1.9) && SPACING.at_least(2.0).holds(2.0));
        assert!(!ORDERED.at_least(-1.0).holds(0.0));
    }
}
