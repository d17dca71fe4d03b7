//! What of a sticker is printed, and how far.

use crate::geom::{CutLine, Rect, Ring};
use crate::order::{ArtFit, Backing, Colour, Design, Shape, Stock, White};
use crate::outline::{Outlined, colour_is_printed};
use crate::silhouette::CutOut;
use crate::units::Mm;

/// Decisions about one sticker's print.
pub(super) struct Plan<'a> {
    pub(super) cut_out: &'a CutOut,
    pub(super) outlined: &'a Outlined,
    pub(super) design: &'a Design,
    pub(super) stock: &'a Stock,
    /// Printed colour of the backing.
    pub(super) backing_colour: Option<Colour>,
    /// Printed colour under the art, out to the sticker's own line and the bleed.
    pub(super) ground: Option<Colour>,
    /// Whether the art's edge colours are carried outward.
    pub(super) carries_colour: bool,
    /// How far print reaches past the sticker's own line (kiss or through).
    pub(super) face_reach: Mm,
}

impl<'a> Plan<'a> {
    pub(super) fn new(
        cut_out: &'a CutOut,
        outlined: &'a Outlined,
        design: &'a Design,
        backing: Option<&Backing>,
        stock: &'a Stock,
    ) -> Plan<'a> {
        let outline = &design.outline;
        let printed = |colour: Colour| colour_is_printed(colour, design.white, stock);
        let backing_colour = backing.and_then(|backing| backing.colour).filter(|colour| printed(*colour));
        let cut_in_art = outline.border <= Mm::ZERO;
        // A contour without border has no ground of its own: what shows in its holes is bare stock. On a printed backing
        // even white must be printed, or the backing's colour would show.
        let has_ground = !cut_in_art || outline.shape != Shape::Contour;
        let shows = backing_colour.is_some() || (has_ground && printed(outline.border_colour));
        let ground = shows.then_some(outline.border_colour);
        let reaches = cut_in_art || ground.is_some();
        Plan {
            cut_out,
            outlined,
            design,
            stock,
            backing_colour,
            ground,
            carries_colour: cut_in_art || outline.art_fit == ArtFit::Cover,
            face_reach: if reaches { stock.bleed.max(Mm::ZERO) } else { Mm::ZERO },
        }
    }

    /// Whether the outline follows the art.
    pub(super) fn is_contour(&self) -> bool {
        self.design.outline.shape == Shape::Contour
    }

    /// Whether white ink is printed at all.
    pub(super) fn prints_white(&self) -> bool {
        self.stock.face.takes_white_ink() && self.design.white != White::None
    }

    /// The lines around the art: kiss cuts, or through cuts of a die cut.
    pub(super) fn face_lines(&self) -> &'a [CutLine] {
        if self.outlined.kiss.is_empty() { &self.outlined.through } else { &self.outlined.kiss }
    }

    /// The line by which the art is cropped; none without border, where the art goes on to the bleed's end.
    pub(super) fn crop(&self) -> Option<&'a CutLine> {
        self.outlined.crop.as_ref().filter(|_| self.design.outline.border > Mm::ZERO)
    }

    /// The box that the print must cover.
    pub(super) fn area(&self) -> Rect {
        let face = box_of(self.face_lines());
        if self.backing_colour.is_some() {
            let reach = self.stock.bleed.mm();
            return box_of(&self.outlined.through).inflate(reach, reach);
        }
        if self.ground.is_some() || self.face_reach > Mm::ZERO {
            return face.inflate(self.face_reach.mm(), self.face_reach.mm());
        }
        let pixels = &self.cut_out.pixels;
        let canvas = Rect::new(0.0, 0.0, f64::from(pixels.width()), f64::from(pixels.height()));
        let art = self.outlined.art_to_mm.transform_rect_bbox(canvas).intersect(face);
        if art.width() > 0.0 && art.height() > 0.0 { art } else { face }
    }

    /// How deep inside its own line a contour takes carried colour: as far as thickening can move the line from the art, and
    /// as far as the bleed, for a cut that wanders inward. Less would leave thickened places bare, more would flood spaces
    /// that a bridge or the cutting radius closed off.
    pub(super) fn carried_depth(&self) -> Mm {
        (self.stock.cutting.minimum_width / 2.0).max(self.stock.bleed).max(Mm::ZERO)
    }

    /// The art's rings in pixels, without the holes that the outline fills: beyond them colours are carried outward.
    pub(super) fn solid_art(&self) -> Vec<Ring> {
        let edge = &self.cut_out.edge;
        let to_art = self.outlined.art_to_mm.inverse();
        let kept_lines = self.face_lines().iter().skip(self.outlined.outer_lines);
        // Of the holes around a kept hole's line, the smallest is its own.
        let kept: Vec<&Ring> = kept_lines
            .filter_map(|line| {
                let start = to_art * line.start();
                let around = edge.holes().filter(|hole| hole.contains(start));
                around.min_by(|a, b| a.area_mm2().total_cmp(&b.area_mm2()))
            })
            .collect();
        let is_kept = |hole: &Ring| kept.iter().any(|ring| std::ptr::eq(*ring, hole));
        edge.outer().chain(edge.holes().filter(|hole| is_kept(hole))).cloned().collect()
    }
}

fn box_of(lines: &[CutLine]) -> Rect {
    lines.iter().map(CutLine::bounds).reduce(|a, b| a.union(b)).unwrap_or_default()
}
