//! The order in which a sheet is cut.
//!
//! Kiss cuts before through cuts: what is cut loose no longer holds still. Inner lines before the line around them for
//! the same reason. Far from the feed edge first, so that the blade works towards the end that the rollers hold last;
//! among the lines of about the same distance the nearest to the blade is next.

use std::collections::BTreeMap;

use crate::geom::{CutLine, Point, Rect};
use crate::order::FeedEdge;
use crate::sheet::{Placement, Sheet, SheetCut};
use crate::sticker::Cut;
use crate::units::Mm;

/// Lines whose distances from the feed edge differ by less are cut in the order of least travel. Common practice, no
/// source: about a small sticker; larger travels less and strays more from far to near.
const BAND_MM: f64 = 40.0;

/// Accuracy of the polylines by which it is told which line lies inside which.
const NESTING_TOLERANCE: Mm = Mm::of(0.05);

/// Lines that are cut in one go: one outer line with everything inside it, inner first.
struct Unit<'a> {
    cuts: Vec<SheetCut<'a>>,
    /// Distance of its far end from the feed edge.
    far_mm: f64,
    start: Point,
    end: Point,
}

/// Kiss cuts and through cuts of a sheet, each in cutting order.
pub(super) fn in_order(sheet: &Sheet) -> (Vec<SheetCut<'_>>, Vec<SheetCut<'_>>) {
    let mut depths = BTreeMap::new();
    let mut layer = |name: &str, pick: fn(&Placement) -> &[Cut]| {
        let mut units = Vec::new();
        for placement in &sheet.placements {
            let cuts = pick(placement);
            // Copies share one sticker: who lies in whom is told once.
            let key = (std::sync::Arc::as_ptr(&placement.sticker) as usize, name.to_owned());
            let parents: &Vec<Option<usize>> = depths.entry(key).or_insert_with(|| parents(cuts));
            units.extend(units_of(sheet, placement, (name, cuts), parents));
        }
        route(units)
    };
    let kiss = layer("kiss", |placement| &placement.sticker.kiss);
    let through = layer("through", |placement| &placement.sticker.through);
    (kiss, through)
}

/// For each line the smallest line around it.
fn parents(cuts: &[Cut]) -> Vec<Option<usize>> {
    let outlines: Vec<_> = cuts.iter().map(|cut| cut.line.flattened(NESTING_TOLERANCE)).collect();
    let bounds: Vec<Rect> = outlines.iter().map(crate::geom::Ring::bounds).collect();
    let areas: Vec<f64> = outlines.iter().map(crate::geom::Ring::area_mm2).collect();
    let holds = |outer: usize, inner: usize| {
        let (a, b) = (bounds[outer], bounds[inner]);
        let around = a.x0 <= b.x0 && a.y0 <= b.y0 && a.x1 >= b.x1 && a.y1 >= b.y1 && areas[outer] > areas[inner];
        around && outlines[inner].points().first().is_some_and(|point| outlines[outer].contains(*point))
    };
    let smallest_around = |inner: usize| {
        let around = (0..cuts.len()).filter(|outer| *outer != inner && holds(*outer, inner));
        around.min_by(|a, b| areas[*a].total_cmp(&areas[*b]))
    };
    (0..cuts.len()).map(smallest_around).collect()
}

/// How many lines lie around one.
fn depth(parents: &[Option<usize>], line: usize) -> usize {
    std::iter::successors(parents[line], |outer| parents[*outer]).count()
}

/// A placement's lines of one layer, with their ids, in units.
fn units_of<'a>(
    sheet: &Sheet,
    placement: &'a Placement,
    (layer, cuts): (&str, &'a [Cut]),
    parents: &[Option<usize>],
) -> Vec<Unit<'a>> {
    let mut by_depth: Vec<usize> = (0..cuts.len()).collect();
    by_depth.sort_by_key(|line| depth(parents, *line));
    let transform = placement.pose.to_affine();
    let mut units: BTreeMap<usize, Vec<SheetCut<'a>>> = BTreeMap::new();
    for (number, line) in by_depth.into_iter().enumerate() {
        let outermost = std::iter::successors(Some(line), |inner| parents[*inner]).last().unwrap_or(line);
        let cut = &cuts[line];
        units.entry(outermost).or_default().push(SheetCut {
            id: id_of(placement, layer, number + 1),
            placement,
            piece: cut.piece.as_deref(),
            line: cut.line.transformed(transform),
        });
    }
    units.into_values().filter_map(|cuts| unit(sheet, cuts)).collect()
}

/// `p1-kiss`, further ones `p1-kiss-2`; the kiss cuts of a sticker sheet are counted from 1.
fn id_of(placement: &Placement, layer: &str, number: usize) -> String {
    let counted = number > 1 || (layer == "kiss" && placement.product == "sticker_sheet");
    match counted {
        true => format!("p{}-{layer}-{number}", placement.placement),
        false => format!("p{}-{layer}", placement.placement),
    }
}

/// A unit of lines that came outer first.
fn unit<'a>(sheet: &Sheet, mut cuts: Vec<SheetCut<'a>>) -> Option<Unit<'a>> {
    let bounds = cuts.first()?.line.bounds();
    cuts.reverse();
    let far_mm = match sheet.stock.feed_edge {
        FeedEdge::Top => bounds.y1,
        FeedEdge::Right => sheet.frame.width.mm() - bounds.x0,
        FeedEdge::Bottom => sheet.frame.height.mm() - bounds.y0,
        FeedEdge::Left => bounds.x1,
    };
    let start = cuts.first().map(|cut| CutLine::start(&cut.line))?;
    let end = cuts.last().map(|cut| CutLine::start(&cut.line))?;
    Some(Unit { cuts, far_mm, start, end })
}

/// Far ones first; within a band of the farthest that is left, the nearest next. Quadratic in the units of one band.
fn route(mut units: Vec<Unit<'_>>) -> Vec<SheetCut<'_>> {
    units.sort_by(|a, b| b.far_mm.total_cmp(&a.far_mm));
    let mut waiting: Vec<Option<Unit<'_>>> = units.into_iter().map(Some).collect();
    let mut ordered = Vec::new();
    let mut blade: Option<Point> = None;
    let mut first = 0;
    while first < waiting.len() {
        let Some(farthest) = waiting[first].as_ref().map(|unit| unit.far_mm) else {
            first += 1;
            continue;
        };
        let in_band = waiting[first..].iter().enumerate().map_while(|(offset, slot)| match slot {
            Some(unit) if unit.far_mm < farthest - BAND_MM => None,
            slot => Some((first + offset, slot)),
        });
        let travel = |unit: &Unit<'_>| blade.map_or(0.0, |blade| blade.distance(unit.start));
        let next = in_band
            .filter_map(|(index, slot)| slot.as_ref().map(|unit| (index, travel(unit))))
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .map_or(first, |(index, _)| index);
        if let Some(unit) = waiting[next].take() {
            blade = Some(unit.end);
            ordered.extend(unit.cuts);
        }
    }
    ordered
}
