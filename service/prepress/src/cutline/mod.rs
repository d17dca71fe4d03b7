//! Closed Bézier paths that a blade can follow: contours fitted to a region, and exact geometric shapes.
//!
//! In: rings in millimetres. Out: one closed path each, which runs like its ring: outer lines clockwise as seen with y
//! down, holes the other way.
//!
//! Contours are resampled at a tenth of a millimetre, smoothed a little, and covered greedily by the longest cubics that
//! stay within tolerance (see `fit`). Neighbours share the tangent where they meet, so the line has no kinks. Guarantees:
//! within 0.05 mm of the region's edge, no self-crossing and no crossing of two lines. Aimed at: at most 25 nodes in
//! 100 mm; no turn tighter than the cutting radii by more than 5 % where the region itself does not turn tighter.

mod crossing;
mod fit;
mod shapes;
mod stations;

#[cfg(test)]
mod tests;

use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::{BezPath, CutLine, Point, Region, Ring};
use crate::order::Cutting;
use crate::units::Mm;

/// Tolerances in mm to which cubics are fitted, tried in turn until no line crosses itself or another. The first one
/// leaves room for what is measured between stations, so that 0.05 mm is delivered; smaller ones cost nodes.
const TOLERANCES_MM: [f64; 4] = [0.03, 0.012, 0.005, 0.002];

/// Fits one closed path to each ring of a region, within 0.05 mm of it: outer rings first, by area, falling (so the
/// outermost is the first of all), then holes likewise. Rings without area are left out.
///
/// # Errors
/// `cutline.broken` when the region's own rings cross, `order.not_finite`, `run.cancelled`.
pub fn draw(region: &Region, cutting: &Cutting, cancel: &Cancel) -> Result<Vec<CutLine>, Fault> {
    if region.rings.iter().flat_map(Ring::points).any(|point| !point.is_finite()) {
        return Err(Fault::NotFinite);
    }
    let mut rings: Vec<&Ring> =
        region.rings.iter().filter(|ring| ring.points().len() > 2 && ring.area_mm2() > 0.0).collect();
    let hole = |ring: &Ring| ring.signed_area() < 0.0;
    rings.sort_by(|a, b| hole(a).cmp(&hole(b)).then(b.area_mm2().total_cmp(&a.area_mm2())));
    let broken = || Fault::CutLineBroken { reason: "a ring without extent".to_owned() };
    for tolerance in TOLERANCES_MM {
        let mut lines = Vec::with_capacity(rings.len());
        for ring in &rings {
            cancel.check()?;
            lines.push(CutLine::new(fitted(ring, tolerance, cutting)).ok_or_else(broken)?);
        }
        if !crossing::any(&lines, cancel)? {
            return Ok(lines);
        }
    }
    // Straight pieces along the rings themselves cross only where the rings do.
    let lines = rings.iter().map(|ring| CutLine::polygon(ring).ok_or_else(broken)).collect::<Result<Vec<_>, _>>()?;
    if crossing::any(&lines, cancel)? {
        return Err(Fault::CutLineBroken { reason: "the region's edge crosses itself".to_owned() });
    }
    Ok(lines)
}

fn fitted(ring: &Ring, tolerance: f64, cutting: &Cutting) -> BezPath {
    let stations = stations::Stations::along(ring);
    let radii = fit::Radii { inside: cutting.inside_radius.mm(), outside: cutting.outside_radius.mm() };
    fit::path(&stations, tolerance, radii)
}

/// An axis-parallel rectangle with corners of a radius (zero: sharp; at most half the shorter side), centred on a point.
/// Radial error of the corners under 0.001 mm. Runs clockwise as seen with y down.
pub fn rounded_rectangle(centre: Point, width: Mm, height: Mm, corner_radius: Mm) -> CutLine {
    shapes::rounded_rectangle(centre, width.mm(), height.mm(), corner_radius.mm())
}

/// An ellipse (equal sides: a circle) centred on a point. Error under 0.001 mm. Runs clockwise as seen with y down.
pub fn ellipse(centre: Point, width: Mm, height: Mm) -> CutLine {
    shapes::ellipse(centre, width.mm(), height.mm())
}
