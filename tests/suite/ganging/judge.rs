//! Every promise of a layout, looked at with the `geo` crate's distances and areas and with nothing of ganging's own.

use geo::{Area, BooleanOps, Contains, Coord, Distance, Euclidean, LineString, Polygon};
use quoin_prepress::frame::KeepOut;
use quoin_prepress::gang::{Layout, Lot, Nesting, Placed};
use quoin_prepress::geom::{Point, Rect};

/// What a length may be off by: a pose is rounded to a millionth of a millimetre and of a degree.
const TOLERANCE_MM: f64 = 1.01e-6;

/// A piece on its sheet: x and y of the contract's placement, clockwise with y down.
fn standing(lot: &Lot, placed: &Placed) -> Polygon {
    let (sin, cos) = placed.pose.rotation_deg.to_radians().sin_cos();
    let corner = |point: &Point| Coord {
        x: point.x * cos - point.y * sin + placed.pose.x_mm,
        y: point.x * sin + point.y * cos + placed.pose.y_mm,
    };
    Polygon::new(LineString::new(lot.outermost[0].points().iter().map(corner).collect()), Vec::new())
}

fn bounds(polygon: &Polygon) -> Rect {
    let points = polygon.exterior().0.iter().map(|corner| Rect::new(corner.x, corner.y, corner.x, corner.y));
    points.reduce(|a, b| a.union(b)).unwrap_or(Rect::ZERO)
}

/// Stops the test where a promise is broken: the window, free zones, the gutter, allowed turns, and every copy once.
pub(super) fn judge(nesting: &Nesting<'_>, layout: &Layout) {
    for sheet in &layout.sheets {
        let pieces: Vec<Polygon> = sheet.iter().map(|placed| standing(&nesting.lots[placed.lot], placed)).collect();
        for (placed, piece) in sheet.iter().zip(&pieces) {
            inside(nesting, &nesting.lots[placed.lot], placed, piece);
        }
        apart(nesting.gutter.mm(), &pieces);
    }
    conserved(nesting, layout);
}

fn inside(nesting: &Nesting<'_>, lot: &Lot, placed: &Placed, piece: &Polygon) {
    let (window, reach) = (nesting.frame.window, lot.reach.mm());
    let b = bounds(piece);
    let out = (window.x0 - b.x0).max(window.y0 - b.y0).max(b.x1 - window.x1).max(b.y1 - window.y1) + reach;
    assert!(out <= TOLERANCE_MM, "{out} mm outside the window");
    let turn = placed.pose.rotation_deg;
    let quarters = turn / 90.0;
    match lot.rotate {
        quoin_prepress::order::Rotate::None => assert!(turn.abs() < 1e-9, "turned by {turn}"),
        quoin_prepress::order::Rotate::QuarterTurns => assert!((quarters - quarters.round()).abs() < 1e-9, "{turn}"),
        quoin_prepress::order::Rotate::HalfTurns => {
            let halves = quarters / 2.0;
            assert!((halves - halves.round()).abs() < 1e-9, "{turn}");
        }
        quoin_prepress::order::Rotate::Free => {}
    }
    for keep_out in &nesting.frame.keep_outs {
        let (gap, need) = match keep_out {
            KeepOut::Disc { centre, radius } => {
                let centre = geo::Point::new(centre.x, centre.y);
                let gap = if piece.contains(&centre) { 0.0 } else { Euclidean.distance(&centre, piece) };
                (gap, radius.mm() + reach)
            }
            KeepOut::Box(rect) => {
                let rect = geo::Rect::new((rect.x0, rect.y0), (rect.x1, rect.y1)).to_polygon();
                let run_in = if reach > 0.0 { 0.0 } else { shared(piece, &rect) };
                assert!(run_in <= 1e-3, "{run_in} mm² in a free zone");
                (Euclidean.distance(piece, &rect), reach)
            }
        };
        assert!(gap >= need - TOLERANCE_MM, "{gap} mm from a free zone, {need} are needed");
    }
}

/// Area that two pieces share.
fn shared(a: &Polygon, b: &Polygon) -> f64 {
    a.intersection(b).unsigned_area()
}

fn apart(gutter: f64, pieces: &[Polygon]) {
    let boxes: Vec<Rect> = pieces.iter().map(bounds).collect();
    for (index, piece) in pieces.iter().enumerate() {
        for other in 0..index {
            let near = boxes[index].inflate(gutter, gutter);
            let beside = boxes[other];
            if near.x0 > beside.x1 || beside.x0 > near.x1 || near.y0 > beside.y1 || beside.y0 > near.y1 {
                continue;
            }
            if gutter > TOLERANCE_MM {
                let gap = Euclidean.distance(piece, &pieces[other]);
                assert!(gap >= gutter - TOLERANCE_MM, "{gap} mm between two copies, the gutter is {gutter}");
            } else {
                // Touching is allowed, and rounding may run them into each other by the tolerance along a side.
                let sides = boxes[index].width() + boxes[index].height() + beside.width() + beside.height();
                let area = shared(piece, &pieces[other]);
                assert!(area <= sides * 2.0 * TOLERANCE_MM, "{area} mm² of two copies overlap");
            }
        }
    }
}

/// Every copy of every claim stands once or is set aside once; only what is too large, or a filler, may be.
fn conserved(nesting: &Nesting<'_>, layout: &Layout) {
    for (index, lot) in nesting.lots.iter().enumerate() {
        for (claim, wanted) in lot.claims.iter().enumerate() {
            let placed = layout.sheets.iter().flatten().filter(|placed| placed.lot == index && placed.claim == claim);
            let mut copies: Vec<u32> = placed.map(|placed| placed.copy).collect();
            for entry in layout.unplaced.iter().filter(|entry| entry.lot == index && entry.claim == claim) {
                assert!(entry.fault.is_some() != lot.filler, "set aside without a reason");
                copies.extend(&entry.copies);
            }
            copies.sort_unstable();
            assert_eq!(copies, (1..=wanted.copies).collect::<Vec<_>>(), "copies of lot {index}, claim {claim}");
        }
    }
}
