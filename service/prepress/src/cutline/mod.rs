//! Closed Bézier paths that a blade can follow: contours fitted to a region, and exact geometric shapes.
//!
//! In: rings in millimetres. Out: one closed path each, which runs like its ring: outer lines clockwise as seen with y
//! down, holes the other way.
//!
//! Contours are resampled at a tenth of a millimetre, smoothed a little, and covered by few long cubics that stay within
//! tolerance (see `fit`). Neighbours share the tangent where they meet, so the line has no kinks. Guarantees:
//! within 0.05 mm of the region's edge, no self-crossing and no crossing of two lines. Aimed at: at most 25 nodes in
//! 100 mm; no turn tighter than the cutting radii by more than 5 % where the region itself does not turn tighter.

mod apart;
mod crossing;
mod cubic;
mod fit;
mod shapes;
mod stations;

#[cfg(test)]
mod tests;

use rayon::prelude::*;

use self::cubic::Cubic;
use self::fit::Fitted;
use self::stations::{Stations, Stretch};
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::{BezPath, CutLine, Point, Region, Ring};
use crate::order::Cutting;
use crate::units::Mm;

/// Tolerances in mm to which cubics are fitted: what smoothing moves is taken from them. The first one leaves room for what is
/// measured between stations, so that 0.05 mm is delivered; lines that cross themselves or another take the next ones in turn,
/// which cost nodes.
const TOLERANCES_MM: [f64; 5] = [0.039, 0.025, 0.012, 0.005, 0.002];

/// Tolerance that is tried first, mm, and up to how many nodes per 100 mm that is taken: a line so true differs less between two
/// versions of a picture, and takes 5 % more nodes in the median of clip art behind the usual border.
const TRUER_MM: f64 = 0.032;
const NODES_TO_SPARE: f64 = 24.0;

/// It is not tried where a ring turns so much, radian per 100 mm: of clip art behind borders of 0 to 3 mm, none that turns by more
/// than 27.2 took so few nodes.
const MOST_TURN: f64 = 28.0;

/// A line that lies farther than this from its ring is drawn closer, mm: what is promised, less what flattening may hide.
const MOST_APART_MM: f64 = 0.0495;
const FLATNESS_MM: f64 = 0.0005;

/// Tolerance for smooth outlines: they have nodes to spare, and are drawn much truer.
const FINE_MM: f64 = 0.012;

/// Farthest that smoothing moves a station of a ring, mm: a share of the tolerance, so that sharp places stay in reach.
const SMOOTHING_MM: f64 = 0.015;

/// The same for smooth outlines.
const FINE_SMOOTHING_MM: f64 = 0.006;

/// Nodes per 100 mm up to which an outline, drawn a little truer than it has to be, counts as smooth: fitted finely it seldom needs
/// half as many again.
const SMOOTH_NODES: f64 = 12.6;

/// So many times the nodes are given for it at most.
const MOST_FOR_FINE: f64 = 2.0;

/// Share of the tolerance for the last of the lines that only many ways lead to; the others keep [`fit::CLOSER`].
const CLOSE: f64 = 0.96;

/// Length of all lines together, mm, beyond which each is fitted once, on few ways: only noise drawn metres wide has so
/// much, and would take minutes. Measured, no source.
const LONG_MM: f64 = 10_000.0;

/// Nodes per 100 mm that are a few more than may be: following more ways can do without them.
const A_LITTLE_MANY: std::ops::Range<f64> = 25.0..27.0;

/// Shares of the tolerance for a line that still has too many: more than all, and taken where the line strays no farther than so
/// many mm for it.
const SLACKER: [f64; 2] = [1.03, 1.06];
const MOST_SLACK_MM: f64 = 0.0482;

/// Nodes per 100 mm that are aimed at.
const AIMED_NODES: f64 = 18.0;

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
    let radii = cubic::Radii { inside: cutting.inside_radius.mm(), outside: cutting.outside_radius.mm() };
    let pen = Pen { radii, many: rings.iter().map(|ring| ring.perimeter().mm()).sum::<f64>() <= LONG_MM, cancel };
    let mut lines: Vec<CutLine> = rings.par_iter().map(|ring| pen.usual(ring)).collect::<Result<_, _>>()?;
    let mut crossing = crossing::found(&lines, cancel)?;
    if crossing.is_empty() {
        return Ok(pen.finer(&rings, nodes_per_100_mm(&lines))?.unwrap_or(lines));
    }
    let [_, closer @ ..] = TOLERANCES_MM;
    for tolerance in closer {
        for line in &crossing {
            let stations = Stations::along(rings[*line], SMOOTHING_MM.min(tolerance / 2.0));
            lines[*line] = pen.line(rings[*line], stations, tolerance)?.0;
        }
        crossing = crossing::found(&lines, cancel)?;
        if crossing.is_empty() {
            return Ok(lines);
        }
    }
    // Straight pieces along the rings themselves cross only where the rings do.
    let lines = rings.iter().map(|ring| CutLine::polygon(ring).ok_or_else(broken)).collect::<Result<Vec<_>, _>>()?;
    if !crossing::found(&lines, cancel)?.is_empty() {
        return Err(Fault::CutLineBroken { reason: "the region's edge crosses itself".to_owned() });
    }
    Ok(lines)
}

fn broken() -> Fault {
    Fault::CutLineBroken { reason: "a ring without extent".to_owned() }
}

/// What draws lines along rings.
struct Pen<'a> {
    radii: cubic::Radii,
    /// Whether many ways may be followed.
    many: bool,
    cancel: &'a Cancel,
}

impl Pen<'_> {
    /// A line truer than it has to be, if few nodes are enough for that and it keeps the cutting radii.
    fn usual(&self, ring: &Ring) -> Result<CutLine, Fault> {
        let stations = Stations::along(ring, SMOOTHING_MM);
        if self.many && stations.turn_per_100_mm() < MOST_TURN {
            let is_spared = |line: &CutLine| nodes_per_100_mm(std::slice::from_ref(line)) <= NODES_TO_SPARE;
            let truer = self.gentle(&stations, TRUER_MM)?.filter(is_spared);
            if let Some(line) = truer.filter(|line| strays(line, ring) <= MOST_APART_MM) {
                return Ok(line);
            }
        }
        self.near(ring, stations)
    }

    /// A line that keeps the cutting radii, if the usual ways lead to one.
    fn gentle(&self, stations: &Stations, tolerance: f64) -> Result<Option<CutLine>, Fault> {
        let [_, usual, ..] = fit::BEAMS;
        let line = self.along(stations, (tolerance, Some(fit::NOT_ALL)), usual)?;
        line.filter(Line::is_gentle).map(|line| line.closed()).transpose()
    }

    /// A line that keeps to its ring, if it can be had without a turn tighter than the cutting radii: between the places where
    /// that is seen to it may stray by a hair, and is drawn closer then.
    fn near(&self, ring: &Ring, stations: Stations) -> Result<CutLine, Fault> {
        let [tolerance, ..] = TOLERANCES_MM;
        let (usual, is_gentle) = self.line(ring, stations.clone(), tolerance)?;
        // What is too long for many ways is not drawn twice.
        let strayed = if self.many { strays(&usual, ring) } else { 0.0 };
        if strayed <= MOST_APART_MM {
            return Ok(usual);
        }
        let (closer, is_as_gentle) = self.line(ring, stations, tolerance * fit::CLOSER)?;
        let is_better = (is_as_gentle || !is_gentle) && strays(&closer, ring) < strayed;
        Ok(if is_better { closer } else { usual })
    }

    /// Follows more ways where the few usual ones turn tighter than the cutting radii, and then starts elsewhere; of all lines
    /// the one that keeps most of them.
    fn line(&self, ring: &Ring, mut stations: Stations, tolerance: f64) -> Result<(CutLine, bool), Fault> {
        let [few, usual, _, many] = fit::BEAMS;
        let first = self.along(&stations, (tolerance, None), if self.many { usual } else { few })?;
        let mut line = first.ok_or_else(broken)?;
        if !self.many {
            return Ok((line.closed()?, line.is_gentle()));
        }
        if !line.is_gentle() {
            self.anew(&stations, &mut line, (tolerance * fit::CLOSER, many), |fitted, _| fitted.kept < 1.0)?;
        }
        for (beam, share) in [(usual, fit::CLOSER), (usual, fit::CLOSER), (many, CLOSE)] {
            if line.is_gentle() {
                break;
            }
            stations.start_elsewhere();
            if let Some(other) = self.along(&stations, (tolerance * share, Some(line.kept())), beam)? {
                line = other;
            }
        }
        if line.is_gentle() {
            self.spare_nodes(ring, &stations, &mut line, tolerance)?;
        }
        Ok((line.closed()?, line.is_gentle()))
    }

    /// Draws a line with fewer nodes where it has a few too many: by following more ways where they are, and if that is not enough
    /// by what the tolerance leaves for straying.
    fn spare_nodes(&self, ring: &Ring, stations: &Stations, line: &mut Line, tolerance: f64) -> Result<(), Fault> {
        let [_, _, more, _] = fit::BEAMS;
        if !line.has_a_few_too_many()? {
            return Ok(());
        }
        let too_many =
            |fitted: &Fitted, length_mm| fitted.cubics.len() as f64 / length_mm * 100.0 >= A_LITTLE_MANY.start;
        self.anew(stations, line, (tolerance, more), too_many)?;
        // What is drawn closer because it crosses has no use for slack.
        let shares = if tolerance > TOLERANCES_MM[1] { &SLACKER[..] } else { &[] };
        for share in shares {
            if !line.has_a_few_too_many()? {
                break;
            }
            let other = self.along(stations, (tolerance * share, Some(fit::NOT_ALL)), more)?;
            let Some(other) = other.filter(|other| other.is_gentle() && other.nodes() < line.nodes()) else { continue };
            if strays(&other.closed()?, ring) <= MOST_SLACK_MM {
                *line = other;
            }
        }
        Ok(())
    }

    /// A line along a ring's stretches, within a tolerance; `None` as soon as it is certain to keep no more of the cutting radii
    /// than `at_least`.
    fn along(
        &self,
        stations: &Stations,
        (tolerance, at_least): (f64, Option<f64>),
        beam: usize,
    ) -> Result<Option<Line>, Fault> {
        let path = |stretch: &Stretch<'_>| fit::path(*stretch, (tolerance, at_least), self.radii, beam, self.cancel);
        let fitted = stations.stretches().par_iter().map(path).collect::<Result<Option<_>, _>>()?;
        Ok(fitted.map(Line))
    }

    /// Fits some stretches of a line anew, within a tolerance and on so many ways: those that `which` picks by what they are and
    /// their length in mm. Takes what keeps more of the cutting radii or has fewer nodes.
    fn anew(
        &self,
        stations: &Stations,
        line: &mut Line,
        (tolerance, beam): (f64, usize),
        which: impl Fn(&Fitted, f64) -> bool + Sync,
    ) -> Result<(), Fault> {
        line.0.par_iter_mut().zip(stations.stretches()).try_for_each(|(fitted, stretch)| {
            if !which(fitted, stretch.length_mm()) {
                return Ok(());
            }
            let at_least = fitted.kept.min(fit::NOT_ALL);
            let other = fit::path(stretch, (tolerance, Some(at_least)), self.radii, beam, self.cancel)?;
            let better = |other: &Fitted| other.kept > fitted.kept || other.cubics.len() < fitted.cubics.len();
            if let Some(other) = other.filter(better) {
                *fitted = other;
            }
            Ok(())
        })
    }

    /// Lines much truer to smooth rings, if they need few nodes all the same, keep the radii and do not cross.
    fn finer(&self, rings: &[&Ring], nodes: f64) -> Result<Option<Vec<CutLine>>, Fault> {
        if !self.many || nodes > SMOOTH_NODES {
            return Ok(None);
        }
        let each = |ring: &&Ring| self.gentle(&Stations::along(ring, FINE_SMOOTHING_MM), FINE_MM);
        let lines: Option<Vec<CutLine>> = rings.par_iter().map(each).collect::<Result<_, _>>()?;
        let are_few = |lines: &Vec<CutLine>| nodes_per_100_mm(lines) <= AIMED_NODES.min(nodes * MOST_FOR_FINE);
        let are_near =
            |lines: &Vec<CutLine>| lines.par_iter().zip(rings).all(|(line, ring)| strays(line, ring) <= MOST_APART_MM);
        let Some(lines) = lines.filter(are_few).filter(are_near) else { return Ok(None) };
        Ok(crossing::found(&lines, self.cancel)?.is_empty().then_some(lines))
    }
}

/// A line along a ring, stretch by stretch.
struct Line(Vec<Fitted>);

impl Line {
    /// The share of the cutting radii that it keeps everywhere.
    fn kept(&self) -> f64 {
        self.0.iter().map(|fitted| fitted.kept).fold(1.0, f64::min)
    }

    fn nodes(&self) -> usize {
        self.0.iter().map(|fitted| fitted.cubics.len()).sum()
    }

    /// Whether it has a few nodes more than may be.
    fn has_a_few_too_many(&self) -> Result<bool, Fault> {
        Ok(A_LITTLE_MANY.contains(&nodes_per_100_mm(&[self.closed()?])))
    }

    fn is_gentle(&self) -> bool {
        self.kept() >= 1.0
    }

    fn closed(&self) -> Result<CutLine, Fault> {
        let cubics = || self.0.iter().flat_map(|fitted| &fitted.cubics);
        let mut path = BezPath::new();
        path.move_to(cubics().next().ok_or_else(broken)?.0[0]);
        cubics().for_each(|Cubic([_, leave, land, end])| path.curve_to(*leave, *land, *end));
        path.close_path();
        CutLine::new(path).ok_or_else(broken)
    }
}

/// How far a line lies from its ring at most, mm.
fn strays(line: &CutLine, ring: &Ring) -> f64 {
    apart::farthest(ring, &line.flattened(Mm::of(FLATNESS_MM)))
}

fn nodes_per_100_mm(lines: &[CutLine]) -> f64 {
    let nodes: usize = lines.iter().map(CutLine::nodes).sum();
    nodes as f64 / lines.iter().map(|line| line.length().mm()).sum::<f64>() * 100.0
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
