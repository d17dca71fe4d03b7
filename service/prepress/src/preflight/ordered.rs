//! What the ordered outline adds: resolution, parts, thin places, radius, bleed.

use super::survey::boxes;
use super::{ArtFacts, Thresholds, art_box, seen};
use crate::border::Grown;
use crate::finding::{Code, Finding, Place, Severity};
use crate::geom::{Point, Rect};
use crate::order::{Design, Form, Stock};
use crate::outline::Outlined;
use crate::units::{MM_PER_INCH, Mm};

/// Border suggested as a share of the longest side, between a thinnest and a usual border. Common practice, no source.
const BORDER_SHARE: f64 = 0.05;

/// Thinnest border suggested, mm: thinner ones show every wandering cut. Common practice, no source.
const THINNEST_BORDER_MM: f64 = 1.5;

/// Usual border, mm: the contract's default.
const USUAL_BORDER_MM: f64 = 3.0;

/// Share of a threshold that the rounding of the finished size (within 0.1 mm) and of the report may take: art ordered at
/// exactly the threshold is not low.
const RESOLUTION_SLACK: f64 = 1e-3;

/// Adds what depends on the ordered outline: resolution, parts, thin places, radius. Findings that the design accepts come
/// out as cautions.
pub fn inspect_outline(
    facts: &ArtFacts,
    outlined: &Outlined,
    design: &Design,
    stock: &Stock,
    thresholds: &Thresholds,
) -> ArtFacts {
    let mut facts = facts.clone();
    measure(&mut facts, outlined, design, stock, thresholds);
    facts.findings.extend(resolution(&facts, thresholds));
    if let Some(grown) = &outlined.grown {
        let spot = Spot { outlined, facts: &facts };
        let found = [parts(grown, &spot), thin(grown, stock, &spot), specks(grown, stock, &spot), radius(grown)];
        facts.findings.extend(found.into_iter().flatten());
    }
    let in_print = seen::in_print(&facts, outlined, design, stock, thresholds);
    facts.findings.extend(in_print);
    facts.findings.extend(bleed(outlined, stock));
    for finding in &mut facts.findings {
        if finding.severity == Severity::Reject && design.accept.has(finding.code.as_str()) {
            finding.severity = Severity::Caution;
        }
    }
    facts
}

/// To one decimal, so that reports repeat and read well.
fn tenths(value: f64) -> Option<f64> {
    value.is_finite().then(|| (value * 10.0).round() / 10.0)
}

fn measure(facts: &mut ArtFacts, outlined: &Outlined, design: &Design, stock: &Stock, thresholds: &Thresholds) {
    let measures = &mut facts.measures;
    let is_vector = measures.format == Some("svg");
    let border = design.outline.border.mm();
    let longest = outlined.finished_width.max(outlined.finished_height).mm();
    let ppi = MM_PER_INCH / outlined.art_to_mm.as_coeffs()[0];
    // The border keeps its width while the art between two borders scales.
    let longest_at = |wanted: f64| (longest - 2.0 * border) * ppi / wanted + 2.0 * border;
    if !is_vector {
        measures.effective_ppi = tenths(ppi);
        measures.largest_mm_at_300_ppi = tenths(longest_at(300.0));
        measures.largest_mm_at_150_ppi = tenths(longest_at(150.0));
    }
    if let Some(grown) = &outlined.grown {
        measures.parts = Some(grown.art_parts.max(1));
        measures.thinnest_mm = grown.thinnest.and_then(|width| tenths(width.mm()));
    }
    let sharp = (!is_vector)
        .then(|| (longest_at(thresholds.resolution_caution_ppi), longest_at(thresholds.resolution_reject_ppi)));
    let own = facts.own_longest_mm.map(|own| own + 2.0 * border);
    let suggested = suggested_longest(outlined, stock, thresholds.least_side_mm, sharp, own);
    measures.suggested_longest_mm = suggested;
    measures.suggested_border_mm = Some(suggested_border(suggested.unwrap_or(longest)));
}

/// The largest longest side, in whole millimetres, that prints sharp and fits the window; the soft limit where the sharp
/// one is too small to make. Of a drawing, which is sharp in every size, the size that it says itself to be (`own`), or all
/// of the window where that is too small to make. `None` when nothing can be advised.
fn suggested_longest(
    outlined: &Outlined,
    stock: &Stock,
    least_side: f64,
    sharp: Option<(f64, f64)>,
    own: Option<f64>,
) -> Option<f64> {
    let (width, height) = (outlined.finished_width.mm(), outlined.finished_height.mm());
    let (longest, shortest) = (width.max(height), width.min(height));
    let least = least_side * longest / shortest.max(1e-9);
    let wanted = match sharp {
        None => own.filter(|own| own.floor() >= least).unwrap_or(f64::INFINITY),
        Some((sharp, _)) if sharp >= least => sharp,
        Some((_, soft)) => soft,
    };
    let fits = wanted.min(largest_in_window(outlined, stock)).floor();
    (fits.is_finite() && fits >= least).then_some(fits)
}

/// The longest finished side that fits the window upright or turned by a quarter, with backing and bleed around it.
fn largest_in_window(outlined: &Outlined, stock: &Stock) -> f64 {
    let (sheet_width, sheet_height) = match &stock.form {
        Form::Sheet { width, height, .. } => (*width, *height),
        Form::Roll { width, max_length, .. } => (*width, *max_length),
    };
    let margins = &stock.margins;
    let across = (sheet_width - margins.left - margins.right).mm();
    let down = (sheet_height - margins.top - margins.bottom).mm();
    let (width, height) = (outlined.finished_width.mm(), outlined.finished_height.mm());
    // Around the finished size nothing scales with it.
    let around_x = outlined.overall.width() - width + 2.0 * outlined.reach.mm();
    let around_y = outlined.overall.height() - height + 2.0 * outlined.reach.mm();
    let scale = |across: f64, down: f64| ((across - around_x) / width).min((down - around_y) / height);
    width.max(height) * scale(across, down).max(scale(down, across))
}

/// To half a millimetre.
fn suggested_border(longest: f64) -> f64 {
    ((longest * BORDER_SHARE).clamp(THINNEST_BORDER_MM, USUAL_BORDER_MM) * 2.0).round() / 2.0
}

fn resolution(facts: &ArtFacts, thresholds: &Thresholds) -> Option<Finding> {
    let ppi = facts.measures.effective_ppi?;
    let short_of = |threshold: f64| ppi < threshold * (1.0 - RESOLUTION_SLACK);
    let (limit, severity, words) = if short_of(thresholds.resolution_reject_ppi) {
        (thresholds.resolution_reject_ppi, Severity::Reject, "too few to print well")
    } else if short_of(thresholds.resolution_caution_ppi) {
        (thresholds.resolution_caution_ppi, Severity::Caution, "so it may print a little soft")
    } else {
        return None;
    };
    let message = format!("At this size the picture has {ppi:.0} pixels per inch, {words}.");
    let remedy = match facts.measures.suggested_longest_mm {
        Some(longest) => format!("Send a larger original, or order it with a longest side of at most {longest:.0} mm."),
        None => "Send a larger original of the picture.".to_owned(),
    };
    let finding = Finding::new(Code::ResolutionLow).severity(severity).measured(ppi, Some(limit), "ppi");
    Some(finding.saying(message, remedy).at(art_box(&facts.measures).into_iter().collect()))
}

/// Where things of the sticker lie in the picture.
struct Spot<'a> {
    outlined: &'a Outlined,
    facts: &'a ArtFacts,
}

impl Spot<'_> {
    /// Boxes around many small things, those that lie close together in one.
    fn places(&self, things: &[Rect]) -> Vec<Place> {
        let Some(area) = art_box(&self.facts.measures) else { return Vec::new() };
        let to_px = self.outlined.art_to_mm.inverse();
        let pixel = |thing: &Rect| {
            let at = to_px * thing.center();
            (at.x.max(0.0) as u32, at.y.max(0.0) as u32)
        };
        boxes(area, things.iter().map(pixel))
    }

    /// The box around points of the sticker, a radius more on each side, in whole pixels inside the picture; `None` when it
    /// lies beside it.
    fn place(&self, points: &[Point], radius: Mm) -> Option<Place> {
        let measures = &self.facts.measures;
        let (width, height) = (measures.width_px?, measures.height_px?);
        let to_px = self.outlined.art_to_mm.inverse();
        let corners = points.iter().map(|point| Rect::from_points(*point, *point));
        let area = corners.reduce(|a, b| a.union(b))?.inflate(radius.mm(), radius.mm());
        let area = to_px.transform_rect_bbox(area);
        let clip = |value: f64, most: u32| value.clamp(0.0, f64::from(most)) as u32;
        let (x_px, y_px) = (clip(area.x0.floor(), width), clip(area.y0.floor(), height));
        let (right, bottom) = (clip(area.x1.ceil(), width), clip(area.y1.ceil(), height));
        (right > x_px && bottom > y_px).then(|| Place { x_px, y_px, width_px: right - x_px, height_px: bottom - y_px })
    }
}

fn parts(grown: &Grown, spot: &Spot<'_>) -> Option<Finding> {
    let finding = Finding::new(Code::ShapeParts);
    if grown.parts > 1 {
        let message = format!("The picture falls into {} parts; each is cut by itself.", grown.parts);
        let remedy = "Check in the proof that you want them apart, or move the parts closer together.";
        let measured = finding.severity(Severity::Caution).measured(grown.parts as f64, Some(1.0), "parts");
        let places = grown.region.outer().filter_map(|part| spot.place(part.points(), Mm::ZERO)).collect();
        return Some(measured.saying(message, remedy).at(places));
    }
    if grown.art_parts <= 1 {
        return None;
    }
    let joined = match grown.bridges.len() {
        0 => "the border holds them together".to_owned(),
        1 => "a small bridge holds them together".to_owned(),
        bridges => format!("{bridges} small bridges hold them together"),
    };
    let message = format!("The picture has {} separate parts; {joined}.", grown.art_parts);
    let remedy =
        if grown.bridges.is_empty() { "Nothing to do." } else { "Nothing to do: check the bridges in the proof." };
    let places = grown.bridges.iter().filter_map(|bridge| spot.place(&[bridge.from, bridge.to], Mm::of(1.0))).collect();
    Some(finding.measured(grown.art_parts as f64, Some(1.0), "parts").saying(message, remedy).at(places))
}

fn thin(grown: &Grown, stock: &Stock, spot: &Spot<'_>) -> Option<Finding> {
    let narrowest = grown.thickenings.iter().map(|place| place.width_before).reduce(Mm::min)?;
    let limit = stock.cutting.minimum_width;
    let count = grown.thickenings.len();
    let places = if count == 1 { "One place".to_owned() } else { format!("{count} places") };
    let (was, were) = if count == 1 { ("was", "is") } else { ("were", "are") };
    let thinnest =
        if narrowest < Mm::of(0.1) { "under 0.1 mm".to_owned() } else { format!("down to {:.1} mm", narrowest.mm()) };
    let message = format!(
        "{places} {was} so thin ({thinnest}) that the sticker could tear there, and {were} now {:.1} mm wide.",
        limit.mm()
    );
    let boxes = grown.thickenings.iter().filter_map(|place| spot.place(&[place.at], limit / 2.0)).collect();
    let finding = Finding::new(Code::ShapeThin).measured(narrowest.mm(), Some(limit.mm()), "mm");
    Some(finding.saying(message, "Nothing to do: check the proof, or choose a wider border.").at(boxes))
}

fn specks(grown: &Grown, stock: &Stock, spot: &Spot<'_>) -> Option<Finding> {
    let (number, speck) = (grown.specks.len(), stock.cutting.speck.mm());
    if number == 0 {
        return None;
    }
    let count = if number == 1 { "One speck".to_owned() } else { format!("{number} specks") };
    let message = format!("{count} smaller than {speck:.1} mm did not count for the outline.");
    let finding = Finding::new(Code::ShapeSpecks).measured(number as f64, Some(0.0), "specks");
    Some(finding.saying(message, Code::ShapeSpecks.remedy()).at(spot.places(&grown.specks)))
}

fn radius(grown: &Grown) -> Option<Finding> {
    grown.radius_wins.then(|| Finding::new(Code::RadiusWins))
}

/// Only stickers whose print goes past their cut need the room.
fn bleed(outlined: &Outlined, stock: &Stock) -> Option<Finding> {
    let needed = stock.bleed * 2.0;
    (outlined.reach > Mm::ZERO && stock.gutter < needed)
        .then(|| Finding::new(Code::BleedClipped).measured(stock.gutter.mm(), Some(needed.mm()), "mm"))
}

#[cfg(test)]
mod tests;
