//! Contours: the scale of the art at which the cut line, border and all, has the ordered size.
//!
//! Border, bridges, thickenings and cutting radii are in millimetres, so that the line does not scale with the art: the
//! scale is searched for.

use super::{ArtEdge, Drawn, about, box_of, refuse_size};
use crate::border::{self, Grown, Growth};
use crate::cancel::Cancel;
use crate::cutline;
use crate::fault::Fault;
use crate::geom::{Affine, CutLine, Rect, Region};
use crate::order::{Cutting, Design, Parts, Size, Stock};
use crate::units::Mm;

use super::FLATNESS;

/// Where the search stops, mm: the line is then scaled by what is left, and border and least width change by no more than
/// this. A tenth of what a border may lack.
const CLOSE_MM: f64 = 0.005;

/// The promise, mm; the search never stops farther off.
const PROMISED_MM: f64 = 0.1;

/// Where the outline jumps - a thickening comes and goes with the scale - no scale may be as near. What is left is scaled
/// all the same as long as border and least width change by no more than this, mm.
const JUMP_MM: f64 = 0.012;

/// The same of a contour that is too small, mm: making it larger makes border, widths and radii larger too, which breaks no
/// promise.
const GROWING_JUMP_MM: f64 = 0.05;

/// Rounds of the search after which whatever may be scaled all the same ends it: what has not come near by then jumps.
const PATIENT_ROUNDS: u32 = 2;

/// Rounds after which that holds for what is too small by more.
const LONG_ROUNDS: u32 = 9;

/// Rounds of the search on a coarse grid. It only tells where to start.
const ROUGH_ROUNDS: u32 = 6;

/// Rounds of the search: two or three are usual; bisection across a jump in the outline takes about a dozen.
const ROUNDS: u32 = 16;

/// How far the measured length may grow slower or faster with the scale than the art itself does, before that is a jump in
/// the outline and no slope. Common practice, no source.
const SLOPES: std::ops::RangeInclusive<f64> = 0.5..=2.0;

/// The length that is held to the order.
#[derive(Clone, Copy)]
struct Ask {
    size: Size,
}

impl Ask {
    /// Measured less ordered, mm: negative when too small.
    fn excess(self, width: f64, height: f64) -> f64 {
        match self.size {
            Size::Width(length) => width - length.mm(),
            Size::Height(length) => height - length.mm(),
            Size::Longest(length) => width.max(height) - length.mm(),
            Size::Both { width: most_width, height: most_height } => {
                (width - most_width.mm()).max(height - most_height.mm())
            }
        }
    }

    /// The scale in mm per pixel at which art with an even border has the ordered size.
    fn first_guess(self, art: Rect, border: f64) -> f64 {
        let scale = |length: Mm, pixels: f64| (length.mm() - 2.0 * border) / pixels;
        match self.size {
            Size::Width(length) => scale(length, art.width()),
            Size::Height(length) => scale(length, art.height()),
            Size::Longest(length) => scale(length, art.width().max(art.height())),
            Size::Both { width, height } => scale(width, art.width()).min(scale(height, art.height())),
        }
    }

    /// What a box must be multiplied by to have the ordered size.
    fn factor(self, bounds: Rect) -> f64 {
        match self.size {
            Size::Width(length) => length.mm() / bounds.width(),
            Size::Height(length) => length.mm() / bounds.height(),
            Size::Longest(length) => length.mm() / bounds.width().max(bounds.height()),
            Size::Both { width, height } => (width.mm() / bounds.width()).min(height.mm() / bounds.height()),
        }
    }

    /// How fast the measured length grows with the scale, pixels.
    fn slope(self, art: Rect) -> f64 {
        match self.size {
            Size::Width(_) => art.width(),
            Size::Height(_) => art.height(),
            Size::Longest(_) | Size::Both { .. } => art.width().max(art.height()),
        }
    }
}

/// One scale tried: the bordered shape there. The line runs along its edge, and is drawn only once.
struct Try {
    scale: f64,
    excess: f64,
    grown: Grown,
}

/// Fits the art's contour to the ordered size.
pub(super) fn fit(
    art: &ArtEdge<'_>,
    design: &Design,
    stock: &Stock,
    least_side: Mm,
    cancel: &Cancel,
) -> Result<Drawn, Fault> {
    let ask = Ask { size: design.size };
    let guess = ask.first_guess(art.bounds, design.outline.border.mm());
    let least = |pixels: f64| pixels * guess + 2.0 * design.outline.border.mm();
    let longest = least(art.bounds.width().max(art.bounds.height()));
    refuse_size(longest, longest, design.outline.border, least_side)?;
    // A speck at the art's rim comes and goes with the scale, and the outline's box jumps with it. Where that leaves no
    // scale that fits, fewer specks are left out.
    let scaled_at_most = |change_mm: f64| scaling(art, ask, design, stock, guess, change_mm);
    let close = scaled_at_most(CLOSE_MM).min(PROMISED_MM);
    let settled = scaled_at_most(JUMP_MM).max(PROMISED_MM);
    let grown = scaled_at_most(GROWING_JUMP_MM).max(settled);
    let ends = Ends { close, settled, grown, rounds: ROUNDS };
    let mut nearest = f64::INFINITY;
    for speck_share in [1.0, 0.5, 0.0] {
        let cutting = Cutting { speck: stock.cutting.speck * speck_share, ..stock.cutting };
        let found = search(art, ask, &growth(design, cutting), (guess, ends), cancel)?;
        if ends.are_borne(found.excess) {
            let lines = cutline::draw(&found.grown.region, &cutting, cancel)?;
            return finish(art, design, scaled(&found, &lines, ask)?);
        }
        nearest = nearest.min(found.excess.abs());
    }
    Err(Fault::CutLineBroken { reason: format!("no scale comes nearer to the ordered size than {nearest:.2} mm") })
}

/// How much of the ordered length may be scaled away while border and least width change by a length, mm.
fn scaling(art: &ArtEdge<'_>, ask: Ask, design: &Design, stock: &Stock, guess: f64, change_mm: f64) -> f64 {
    let kept = design.outline.border.mm().max(stock.cutting.minimum_width.mm()).max(1.0);
    change_mm * ask.slope(art.bounds) * guess / kept
}

fn growth(design: &Design, cutting: Cutting) -> Growth {
    Growth {
        border: design.outline.border,
        keep_holes_wider_than: design.outline.keep_holes_wider_than,
        parts: design.outline.parts,
        cutting,
    }
}

/// How near to the ordered size a search ends, mm: at once, after a few rounds, and after many what is too small.
#[derive(Clone, Copy)]
struct Ends {
    close: f64,
    settled: f64,
    grown: f64,
    rounds: u32,
}

impl Ends {
    /// Whether what is off by so much may be scaled all the same.
    fn are_borne(self, excess: f64) -> bool {
        (-self.grown..=self.settled).contains(&excess)
    }

    /// Whether the search ends with what is off by so much, after so many rounds.
    fn are_met(self, excess: f64, round: u32) -> bool {
        let near = if round > PATIENT_ROUNDS { self.settled } else { self.close };
        excess.abs() <= near || round > LONG_ROUNDS && self.are_borne(excess)
    }

    /// How bad it is to be off by so much: what is settled is best, what is borne next; then by how much.
    fn badness(self, excess: f64) -> (bool, bool, f64) {
        (excess.abs() > self.settled, !self.are_borne(excess), excess.abs())
    }
}

fn search(
    art: &ArtEdge<'_>,
    ask: Ask,
    growth: &Growth,
    (guess, ends): (f64, Ends),
    cancel: &Cancel,
) -> Result<Try, Fault> {
    let start = if growth.border < growth.cutting.outside_radius {
        // Rounding moves the line at the art's outermost places: a coarse grid tells how far.
        let rough = Ends { close: ends.close / 2.0, rounds: ROUGH_ROUNDS, ..ends };
        let rough_excess = |scale: f64| {
            cancel.check()?;
            let edge = art.region.transformed(about(art.bounds.center(), scale));
            let bounds = border::rough_bounds(&edge, growth, cancel)?;
            Ok((ask.excess(bounds.width(), bounds.height()), scale))
        };
        let (_, scale) = nearest_zero(guess, ask.slope(art.bounds), rough, rough_excess)?;
        scale
    } else {
        guess
    };
    let attempt = |scale: f64| {
        let tried = attempt(art, ask, growth, scale, cancel)?;
        Ok((tried.excess, tried))
    };
    Ok(nearest_zero(start, ask.slope(art.bounds), ends, attempt)?.1)
}

/// What comes nearest to no excess: a secant's step where it stays between the nearest scales known to be too small and too
/// large, else bisection.
fn nearest_zero<T>(
    start: f64,
    art_slope: f64,
    ends: Ends,
    mut attempt: impl FnMut(f64) -> Result<(f64, T), Fault>,
) -> Result<(f64, T), Fault> {
    let (mut low, mut high): (Option<f64>, Option<f64>) = (None, None);
    let mut best = attempt(start)?;
    let (mut scale, mut excess, mut slope) = (start, best.0, art_slope);
    for round in 1..ends.rounds {
        if ends.are_met(best.0, round) {
            break;
        }
        if excess < 0.0 {
            low = Some(scale)
        } else {
            high = Some(scale)
        }
        let step = scale - excess / slope;
        let next = match (low, high) {
            (Some(low), Some(high)) if high - low <= 1e-12 * high => break,
            (Some(low), Some(high)) if round > 5 || step <= low || step >= high => (low + high) / 2.0,
            _ if step <= 0.0 => scale / 2.0,
            _ => step,
        };
        let tried = attempt(next)?;
        let secant = (tried.0 - excess) / (next - scale);
        slope = if SLOPES.contains(&(secant / art_slope)) { secant } else { art_slope };
        (scale, excess) = (next, tried.0);
        if ends.badness(excess) < ends.badness(best.0) {
            best = tried;
        }
    }
    Ok(best)
}

fn attempt(art: &ArtEdge<'_>, ask: Ask, growth: &Growth, scale: f64, cancel: &Cancel) -> Result<Try, Fault> {
    cancel.check()?;
    let grown = border::grow(&art.region.transformed(about(art.bounds.center(), scale)), growth, cancel)?;
    let bounds = grown.region.bounds().ok_or(Fault::ArtBlank)?;
    Ok(Try { scale, excess: ask.excess(bounds.width(), bounds.height()), grown })
}

/// A contour of the ordered size.
struct Fitted {
    scale: f64,
    grown: Grown,
    lines: Vec<CutLine>,
}

/// Everything scaled about the origin to the ordered size, by a hair.
fn scaled(found: &Try, lines: &[CutLine], ask: Ask) -> Result<Fitted, Fault> {
    let factor = ask.factor(box_of(lines)?);
    let by = Affine::scale(factor);
    let lines = lines.iter().map(|line| line.transformed(by)).collect();
    Ok(Fitted { scale: found.scale * factor, grown: found.grown.transformed(by), lines })
}

fn finish(art: &ArtEdge<'_>, design: &Design, found: Fitted) -> Result<Drawn, Fault> {
    let separate = design.outline.parts == Parts::Separate || design.accept.has("shape.parts");
    if found.grown.parts > 1 && !separate {
        return Err(Fault::ShapeParts { parts: found.grown.parts });
    }
    let (lines, outer_lines) = outer_first(found.lines);
    let art_to_mm = about(art.bounds.center(), found.scale);
    Ok(Drawn { art_to_mm, lines, outer_lines, crop: None, grown: Some(found.grown) })
}

/// Outer lines before kept holes, each kind in the order given. A line inside an odd number of others is a hole: a part
/// may stand in another's hole.
fn outer_first(lines: Vec<CutLine>) -> (Vec<CutLine>, usize) {
    let rings: Vec<_> = lines.iter().map(|line| line.flattened(FLATNESS)).collect();
    let is_hole = |index: usize| {
        let others = rings.iter().enumerate().filter(|(other, _)| *other != index);
        others.filter(|(_, ring)| ring.contains(lines[index].start())).count() % 2 == 1
    };
    let holes: Vec<bool> = (0..lines.len()).map(is_hole).collect();
    let (mut outer, mut inner) = (Vec::new(), Vec::new());
    for (line, hole) in lines.into_iter().zip(holes) {
        if hole { inner.push(line) } else { outer.push(line) }
    }
    let count = outer.len();
    outer.append(&mut inner);
    (outer, count)
}

/// The contour backing's line around kiss-cut lines that stand apart or together.
pub(super) fn around(
    kiss: &Region,
    margin: Mm,
    stock: &Stock,
    cancel: &Cancel,
) -> Result<(usize, Vec<CutLine>), Fault> {
    let growth = Growth { border: margin, keep_holes_wider_than: None, parts: Parts::Join, cutting: stock.cutting };
    let grown = border::grow(kiss, &growth, cancel)?;
    Ok((grown.parts, cutline::draw(&grown.region, &stock.cutting, cancel)?))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::Point;

    #[test]
    fn a_part_inside_a_hole_is_outer_and_the_hole_is_not() {
        let (lines, outer) = outer_first([20.0, 15.0, 5.0].map(square).to_vec());
        assert_eq!(outer, 2);
        assert!((lines[1].bounds().width() - 10.0).abs() < 1e-9 && (lines[2].bounds().width() - 30.0).abs() < 1e-9);
    }

    fn square(half: f64) -> CutLine {
        let ring = crate::geom::Ring::rectangle(Rect::from_center_size(Point::ORIGIN, (half * 2.0, half * 2.0)));
        CutLine::polygon(&ring).expect("four corners")
    }

    #[test]
    fn of_a_jump_the_side_that_is_too_small_is_taken() {
        let ends = Ends { close: 0.02, settled: 0.1, grown: 0.4, rounds: ROUNDS };
        // 25 mm are ordered: of 100 px, and 0.5 mm more where a thickening comes.
        let search = |thickening_from: f64| {
            let attempt = |scale: f64| {
                let thickening = if scale >= thickening_from { 0.5 } else { 0.0 };
                Ok((100.0 * scale + thickening - 25.0, ()))
            };
            nearest_zero(0.25, 100.0, ends, attempt).expect("nothing cancels").0
        };
        let small = search(0.2478);
        assert!((small + 0.22).abs() < 0.02, "{small}");
        // What is a little too large before what is far too small; what fits where anything does.
        let large = search(0.2455);
        assert!((large - 0.05).abs() < 0.02 && search(0.26) == 0.0, "{large}");
    }

    #[test]
    fn the_first_guess_is_exact_for_an_even_border() {
        let art = Rect::new(0.0, 0.0, 1200.0, 600.0);
        // 66 mm with 3 mm of border: 60 mm of art over 1200 px.
        let scale = Ask { size: Size::Longest(Mm::of(66.0)) }.first_guess(art, 3.0);
        assert!((scale - 0.05).abs() < 1e-12);
    }
}
