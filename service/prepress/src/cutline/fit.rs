//! Few cubics along many stations.
//!
//! Least squares for the two handle lengths with given end directions, with the parameters improved by Newton's method:
//! Schneider 1990, "An algorithm for automatically fitting digitized curves" (Graphics Gems). We depart from it in how a
//! curve is divided: each cubic is made as long as its tolerance allows, instead of splitting where the error is largest, and
//! of several places and directions where it may end those are taken from which the next ones come farthest.

use std::ops::RangeInclusive;

use super::stations::Stations;
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::{BezPath, Point, Vec2};

/// Rounds of parameter improvement. More change the error by less than a hundredth of the tolerance. Measured, no source.
const ROUNDS: usize = 6;

/// Ways that are followed at once. More cost time and save little: twelve instead of five save 4 % of the nodes.
const BEAM: usize = 5;

/// Stations of a span that are looked at while it is fitted; the others only once it fits.
const LOOKED_AT: usize = 24;

/// A cubic spans at most this share of a ring, so that even a small circle is true.
const FEWEST_CUBICS: usize = 4;

/// A cubic spans at most so many stations (60 mm): longer ones cost time and save nothing.
const MOST_STATIONS: usize = 600;

/// Spans shorter than this do not heed the turning radius: the region itself turns too tightly there. In stations.
const HEEDED: usize = 5;

/// Stations that the last cubic spans at least.
const LAST: usize = 8;

/// Share of the cutting radii that is kept where nothing else leads on.
const TIGHTER: f64 = 0.98;

/// Shares of the longest span that are tried besides it.
const SHORTER: [f64; 2] = [0.9, 0.78];

/// Where a cubic may end besides on the smoothed ring: so far outward, mm, and turned so far, radians. A joint a little off
/// lets both its neighbours be longer. Found by trial on clip art, no source.
const VARIANTS: [(f64, f64); 7] =
    [(0.0, 0.0), (0.02, 0.0), (-0.018, 0.0), (0.0, 0.04), (0.0, -0.04), (0.0, 0.09), (0.0, -0.09)];

/// A cubic may turn tighter than the cutting radius by this, and than the region itself by `OVER_REGION`.
const OVER_RADIUS: f64 = 1.03;
const OVER_REGION: f64 = 1.03;

/// Places of a cubic at which its curvature is looked at.
const CURVATURE_SAMPLES: usize = 32;

/// Cutting radii, mm; zero: no limit.
#[derive(Clone, Copy, Debug)]
pub(super) struct Radii {
    /// Of inside corners.
    pub(super) inside: f64,
    /// Of outside corners.
    pub(super) outside: f64,
}

/// A line along a ring.
pub(super) struct Fitted {
    /// Closed.
    pub(super) path: BezPath,
    /// It turns nowhere tighter than the cutting radii.
    pub(super) gentle: bool,
}

/// A cubic by its control points.
#[derive(Clone, Copy, Debug)]
struct Cubic([Point; 4]);

impl Cubic {
    fn at(&self, t: f64) -> Point {
        let u = 1.0 - t;
        let [a, b, c, d] = self.0.map(Point::to_vec2);
        (a * (u * u * u) + b * (3.0 * u * u * t) + c * (3.0 * u * t * t) + d * (t * t * t)).to_point()
    }

    fn slope(&self, t: f64) -> Vec2 {
        let u = 1.0 - t;
        let [a, b, c, d] = self.0;
        (b - a) * (3.0 * u * u) + (c - b) * (6.0 * u * t) + (d - c) * (3.0 * t * t)
    }

    fn bend(&self, t: f64) -> Vec2 {
        let [a, b, c, d] = self.0;
        ((c - b) - (b - a)) * (6.0 * (1.0 - t)) + ((d - c) - (c - b)) * (6.0 * t)
    }

    /// Signed, 1/mm.
    fn curvature(&self, t: f64) -> f64 {
        let slope = self.slope(t);
        slope.cross(self.bend(t)) / slope.hypot().powi(3).max(1e-12)
    }
}

/// Where a cubic ends: a station, or near one.
#[derive(Clone, Copy, Debug, Default)]
struct Joint {
    /// The station; the number of stations is the first one again.
    at: usize,
    /// Which of [`VARIANTS`].
    variant: usize,
}

impl Joint {
    fn place(self, stations: &Stations) -> (Point, Vec2) {
        let index = self.at % stations.count();
        let (share, turn) = VARIANTS[self.variant];
        let tangent = stations.tangents[index];
        // The region lies to the right of its rings: this moves outward.
        let outward = Vec2::new(tangent.y, -tangent.x);
        let (sin, cos) = turn.sin_cos();
        let turned = Vec2::new(tangent.x * cos - tangent.y * sin, tangent.x * sin + tangent.y * cos);
        (stations.smooth[index] + outward * share, turned)
    }
}

/// A cubic that a search has come to.
#[derive(Clone, Copy, Debug)]
struct Reached {
    end: Joint,
    cubic: Cubic,
    /// The one before, among those with one cubic less.
    before: usize,
}

/// Ways with one number of cubics.
struct Row {
    /// Those that are followed; the farthest first.
    ways: Vec<Reached>,
    /// The others, in the same order.
    rest: Vec<Reached>,
}

impl Row {
    fn of(mut ways: Vec<Reached>) -> Row {
        let rest = ways.split_off(BEAM.min(ways.len()));
        Row { ways, rest }
    }

    /// Takes up the next ways where those that came farthest lead no further; says whether there are any.
    fn turn_back(&mut self) -> bool {
        let next = self.rest.split_off(BEAM.min(self.rest.len()));
        let any = !self.rest.is_empty();
        if any {
            self.ways = std::mem::replace(&mut self.rest, next);
        }
        any
    }
}

/// Covers all stations with cubics: a beam search (Lowerre 1976, "The HARPY speech recognition system") for few. With every
/// cubic more, only those ways that have come farthest are followed.
///
/// # Errors
/// `run.cancelled`.
pub(super) fn path(stations: &Stations, tolerance: f64, radii: Radii, cancel: &Cancel) -> Result<Fitted, Fault> {
    let strict = Limits { tolerance, radii: Some(radii), stations: HEEDED..=MOST_STATIONS };
    // Where no way leads on, the last joint lies badly: a short cubic or a little tighter one gets away from it. Where the
    // region itself turns too tightly, short ones keep the tolerance only.
    let tighter = Radii { inside: radii.inside * TIGHTER, outside: radii.outside * TIGHTER };
    let short = Limits { tolerance, radii: Some(tighter), stations: 1..=MOST_STATIONS };
    let loose = Limits { tolerance, radii: None, stations: 1..=HEEDED };
    let mut rows: Vec<Row> = Vec::new();
    let mut gentle = true;
    while rows.last().is_none_or(|row| row.ways[0].end.at < stations.count()) {
        cancel.check()?;
        let starts: Vec<Joint> =
            rows.last().map_or(vec![Joint::default()], |row| row.ways.iter().map(|way| way.end).collect());
        let mut ways = [&strict, &short].into_iter().map(|limits| farther(stations, &starts, limits));
        if let Some(row) = ways.find(|row| !row.is_empty()) {
            rows.push(Row::of(row));
        } else if !rows.last_mut().is_some_and(Row::turn_back) {
            gentle = false;
            let row = farther(stations, &starts, &loose);
            rows.push(Row::of(if row.is_empty() { vec![straightest(stations, starts[0])] } else { row }));
        }
    }
    let mut cubics = Vec::with_capacity(rows.len());
    let mut at = 0;
    for row in rows.iter().rev() {
        cubics.push(row.ways[at].cubic);
        at = row.ways[at].before;
    }
    let mut path = BezPath::new();
    path.move_to(stations.smooth[0]);
    for Cubic([_, leave, land, end]) in cubics.into_iter().rev() {
        path.curve_to(leave, land, end);
    }
    path.close_path();
    Ok(Fitted { path, gentle })
}

/// One cubic more on each of the ways so far; the farthest first.
fn farther(stations: &Stations, starts: &[Joint], limits: &Limits) -> Vec<Reached> {
    let mut row = Vec::new();
    for (before, from) in starts.iter().copied().enumerate() {
        for variant in 0..VARIANTS.len() {
            if let Some((span, cubic)) = heeding(stations, from, variant, limits) {
                let mut reach = |span: usize, cubic| {
                    row.push(Reached { end: Joint { at: from.at + span, variant }, cubic, before });
                };
                reach(span, cubic);
                for share in if variant == 0 { &SHORTER[..] } else { &[] } {
                    let shorter = ((span as f64 * share) as usize).max(1);
                    if span > HEEDED
                        && let Some(cubic) = fit(stations, from, Joint { at: from.at + shorter, variant }, limits)
                    {
                        reach(shorter, cubic);
                    }
                }
            }
        }
    }
    row.sort_by_key(|way| (std::cmp::Reverse(way.end.at), way.end.variant));
    row.dedup_by_key(|way| (way.end.at, way.end.variant));
    row
}

/// The longest span from a joint that keeps the limits, if it is not too short for them. Where the ring closes the line has
/// to meet its own start, and needs room for it: what ends shortly before is shortened.
fn heeding(stations: &Stations, from: Joint, variant: usize, limits: &Limits) -> Option<(usize, Cubic)> {
    let count = stations.count();
    let left = count - from.at;
    let to_last = left.saturating_sub(LAST);
    let longest_allowed = (count / FEWEST_CUBICS).max(1).min(*limits.stations.end());
    let most = if variant == 0 { left } else { to_last }.min(longest_allowed);
    let (span, cubic) =
        longest(stations, from, variant, most, limits).filter(|found| found.0 >= most.min(*limits.stations.start()))?;
    if span == left || span <= to_last || to_last == 0 {
        return Some((span, cubic));
    }
    Some((to_last, fit(stations, from, Joint { at: from.at + to_last, variant }, limits)?))
}

/// What a cubic must keep.
struct Limits {
    tolerance: f64,
    radii: Option<Radii>,
    /// Fewest and most that it spans; fewer at the end of a ring.
    stations: RangeInclusive<usize>,
}

/// The longest span from a joint, found by doubling and then halving.
fn longest(stations: &Stations, from: Joint, variant: usize, most: usize, limits: &Limits) -> Option<(usize, Cubic)> {
    let mut good: Option<(usize, Cubic)> = None;
    let mut bad = most + 1;
    let mut span = 16.min(most);
    while span > 0 {
        match fit(stations, from, Joint { at: from.at + span, variant }, limits) {
            Some(cubic) => good = Some((span, cubic)),
            None => bad = span,
        }
        let low = good.map_or(0, |(span, _)| span);
        if bad <= low + 1 {
            return good;
        }
        span = if bad > most { (low * 2).min(most) } else { (low + bad) / 2 };
    }
    None
}

/// To the next station with handles of a third of the distance: always near the ring.
fn straightest(stations: &Stations, from: Joint) -> Reached {
    let end = Joint { at: from.at + 1, variant: 0 };
    let ((start, leave), (stop, land)) = (from.place(stations), end.place(stations));
    let handle = start.distance(stop) / 3.0;
    Reached { end, cubic: Cubic([start, start + leave * handle, stop - land * handle, stop]), before: 0 }
}

fn fit(stations: &Stations, from: Joint, to: Joint, limits: &Limits) -> Option<Cubic> {
    let count = stations.count();
    let span = to.at - from.at;
    let (start, leave) = from.place(stations);
    let (end, land) = to.place(stations);
    let stride = (span / LOOKED_AT).max(1);
    let mut order: Vec<usize> = (0..span).step_by(stride).collect();
    order.push(span);
    let index = |k: usize| (from.at + k) % count;
    let mut points: Vec<Point> = order.iter().map(|k| stations.smooth[index(*k)]).collect();
    let last = points.len() - 1;
    (points[0], points[last]) = (start, end);
    let mut parameters: Vec<f64> = order.iter().map(|k| *k as f64 / span as f64).collect();
    for round in 0..ROUNDS {
        let cubic = least_squares(&points, &parameters, (leave, land))?;
        parameters.iter_mut().zip(&points).for_each(|(t, point)| *t = improved(&cubic, *t, *point));
        let farthest =
            order.iter().zip(&parameters).map(|(k, t)| stations.off(index(*k), cubic.at(*t))).fold(0.0, f64::max);
        if farthest <= limits.tolerance {
            let rising = parameters.windows(2).all(|pair| pair[0] <= pair[1] + 1e-3);
            let sound = rising && (stride == 1 || everywhere(&cubic, stations, from.at, (&order, &parameters), limits));
            return (sound && turns_gently(&cubic, stations, from.at, span, limits)).then_some(cubic);
        }
        // Far off after the first improvements: more will not bring it in.
        if farthest > limits.tolerance * if round == 0 { 12.0 } else { 4.0 } && round < 2 {
            return None;
        }
    }
    None
}

/// Whether a cubic is near all stations of a span, those left out in fitting too.
fn everywhere(
    cubic: &Cubic,
    stations: &Stations,
    at: usize,
    (order, parameters): (&[usize], &[f64]),
    limits: &Limits,
) -> bool {
    let between = order.windows(2).zip(parameters.windows(2));
    between
        .flat_map(|(pair, ends)| {
            let share = move |k: usize| (k - pair[0]) as f64 / (pair[1] - pair[0]) as f64;
            (pair[0] + 1..pair[1]).map(move |k| (k, ends[0] + (ends[1] - ends[0]) * share(k)))
        })
        .all(|(k, t)| {
            let index = (at + k) % stations.count();
            stations.off(index, cubic.at(t)) <= limits.tolerance
        })
}

/// Newton's step towards the parameter of the nearest point (Schneider 1990).
fn improved(cubic: &Cubic, t: f64, point: Point) -> f64 {
    let off = cubic.at(t) - point;
    let slope = cubic.slope(t);
    let below = slope.hypot2() + off.dot(cubic.bend(t));
    if below.abs() < 1e-12 { t } else { (t - off.dot(slope) / below).clamp(0.0, 1.0) }
}

/// Handle lengths by the normal equations (Schneider 1990); `None` when a handle would point backwards or run far past
/// the span.
fn least_squares(points: &[Point], parameters: &[f64], ends: (Vec2, Vec2)) -> Option<Cubic> {
    let (first, last) = (points[0], points[points.len() - 1]);
    let (leave, land) = (ends.0, -ends.1);
    let (mut c00, mut c01, mut c11, mut x0, mut x1) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (point, t) in points.iter().zip(parameters) {
        let u = 1.0 - t;
        let (b0, b1, b2, b3) = (u * u * u, 3.0 * u * u * t, 3.0 * u * t * t, t * t * t);
        let (a0, a1) = (leave * b1, land * b2);
        let rest = point.to_vec2() - first.to_vec2() * (b0 + b1) - last.to_vec2() * (b2 + b3);
        c00 += a0.dot(a0);
        c01 += a0.dot(a1);
        c11 += a1.dot(a1);
        x0 += a0.dot(rest);
        x1 += a1.dot(rest);
    }
    let determinant = c00 * c11 - c01 * c01;
    let third = first.distance(last) / 3.0;
    let (mut out, mut back) = (third, third);
    if determinant.abs() > 1e-9 * c00 * c11 {
        (out, back) = ((x0 * c11 - x1 * c01) / determinant, (c00 * x1 - c01 * x0) / determinant);
    }
    let length: f64 = points.windows(2).map(|pair| pair[0].distance(pair[1])).sum();
    let sound = |handle: f64| handle > length * 0.02 && handle < length * 1.5;
    (sound(out) && sound(back)).then(|| Cubic([first, first + leave * out, last + land * back, last]))
}

fn turns_gently(cubic: &Cubic, stations: &Stations, at: usize, span: usize, limits: &Limits) -> bool {
    let Some(radii) = limits.radii else { return true };
    let own = (0..=span).map(|k| stations.curvature[(at + k) % stations.count()]);
    let (sharpest_in, sharpest_out) = own.fold((0.0_f64, 0.0_f64), |(low, high), k| (low.min(k), high.max(k)));
    let limit = |radius: f64, own: f64| {
        let blade = if radius > 0.0 { OVER_RADIUS / radius } else { f64::INFINITY };
        blade.max(own * OVER_REGION)
    };
    let (most_in, most_out) = (limit(radii.inside, -sharpest_in), limit(radii.outside, sharpest_out));
    (0..=CURVATURE_SAMPLES).all(|sample| {
        let curvature = cubic.curvature(sample as f64 / CURVATURE_SAMPLES as f64);
        curvature <= most_out && -curvature <= most_in
    })
}
