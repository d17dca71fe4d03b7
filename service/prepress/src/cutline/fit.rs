//! Few cubics along many stations.
//!
//! Least squares for the two handle lengths with given end directions, with the parameters improved by Newton's method:
//! Schneider 1990, "An algorithm for automatically fitting digitized curves" (Graphics Gems). We depart from it in how a
//! curve is divided: each cubic is made as long as its tolerance allows, instead of splitting where the error is largest.

use super::stations::Stations;
use crate::geom::{BezPath, Point, Vec2};

/// Rounds of parameter improvement. More change the error by less than a hundredth of the tolerance. Measured, no source.
const ROUNDS: usize = 6;

/// A cubic spans at most this share of a ring, so that even a small circle is true.
const FEWEST_CUBICS: usize = 4;

/// A cubic spans at most so many stations (60 mm): longer ones cost time and save nothing.
const MOST_STATIONS: usize = 600;

/// Spans shorter than this do not heed the turning radius: the region itself turns too tightly there. In stations.
const HEEDED: usize = 5;

/// Shares of the longest span that are tried instead of it.
const SHORTER: [f64; 4] = [0.92, 0.84, 0.75, 0.6];

/// A cubic may turn tighter than the cutting radius by this, and than the region itself by `OVER_REGION`.
const OVER_RADIUS: f64 = 1.05;
const OVER_REGION: f64 = 1.15;

/// A cubic may lie farther out than in: out it costs no border, and shallow dents are passed over.
const MORE_OUTWARD: f64 = 1.4;

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

/// Covers all stations with cubics.
pub(super) fn path(stations: &Stations, tolerance: f64, radii: Radii) -> BezPath {
    let count = stations.count();
    let mut path = BezPath::new();
    path.move_to(stations.smooth[0]);
    let mut at = 0;
    while at < count {
        let (span, cubic) = best_from(stations, at, tolerance, radii);
        let [_, leave, land, end] = cubic.0;
        path.curve_to(leave, land, end);
        at += span;
    }
    path.close_path();
    path
}

/// The span from a station after which, together with the next one, most is covered: the longest, or a shorter one that
/// ends at a better place.
fn best_from(stations: &Stations, at: usize, tolerance: f64, radii: Radii) -> (usize, Cubic) {
    let limits = Limits { tolerance, radii: Some(radii) };
    let longest = heeding(stations, at, &limits);
    let left = stations.count() - at - longest.0;
    if left == 0 || longest.0 <= HEEDED {
        return longest;
    }
    let reach =
        |span: usize| if at + span < stations.count() { span + heeding(stations, at + span, &limits).0 } else { span };
    let mut best = (reach(longest.0), longest);
    for share in SHORTER {
        let span = (longest.0 as f64 * share) as usize;
        let Some(cubic) = fit(stations, at, span.max(1), &limits) else { continue };
        let covered = reach(span.max(1));
        if covered > best.0 {
            best = (covered, (span.max(1), cubic));
        }
    }
    best.1
}

/// The longest span that keeps the limits; a short one that keeps the tolerance only, where the region itself turns too
/// tightly.
fn heeding(stations: &Stations, at: usize, limits: &Limits) -> (usize, Cubic) {
    let count = stations.count();
    let most = (count - at).min((count / FEWEST_CUBICS).max(1)).min(MOST_STATIONS);
    match longest(stations, at, most, limits) {
        Some(found) if found.0 >= HEEDED.min(most) => found,
        _ => {
            let loose = Limits { tolerance: limits.tolerance, radii: None };
            longest(stations, at, most.min(HEEDED), &loose).unwrap_or_else(|| (1, straightest(stations, at)))
        }
    }
}

/// What a cubic must keep.
struct Limits {
    tolerance: f64,
    radii: Option<Radii>,
}

/// The longest span from a station, found by doubling and then halving.
fn longest(stations: &Stations, at: usize, most: usize, limits: &Limits) -> Option<(usize, Cubic)> {
    let mut good: Option<(usize, Cubic)> = None;
    let mut bad = most + 1;
    let mut span = 8.min(most);
    loop {
        match fit(stations, at, span, limits) {
            Some(cubic) => good = Some((span, cubic)),
            None => bad = span,
        }
        let low = good.map_or(0, |(span, _)| span);
        if bad <= low + 1 {
            return good;
        }
        span = if bad > most { (low * 2).min(most) } else { (low + bad) / 2 };
    }
}

/// A cubic between two neighbouring stations with handles of a third of their distance: always near the ring.
fn straightest(stations: &Stations, at: usize) -> Cubic {
    let next = (at + 1) % stations.count();
    let (from, to) = (stations.smooth[at], stations.smooth[next]);
    let handle = from.distance(to) / 3.0;
    Cubic([from, from + stations.tangents[at] * handle, to - stations.tangents[next] * handle, to])
}

fn fit(stations: &Stations, at: usize, span: usize, limits: &Limits) -> Option<Cubic> {
    let count = stations.count();
    let index = |k: usize| (at + k) % count;
    let points: Vec<Point> = (0..=span).map(|k| stations.smooth[index(k)]).collect();
    let ends = (stations.tangents[at], stations.tangents[index(span)]);
    let mut parameters: Vec<f64> = (0..=span).map(|k| k as f64 / span as f64).collect();
    let mut best: Option<Cubic> = None;
    for round in 0..ROUNDS {
        let cubic = least_squares(&points, &parameters, ends)?;
        parameters.iter_mut().zip(&points).for_each(|(t, point)| *t = improved(&cubic, *t, *point));
        let off = |k: usize| {
            let off = cubic.at(parameters[k]) - stations.raw[index(k)];
            // The region lies to the right of its rings.
            let outward = stations.tangents[index(k)].cross(off) < 0.0;
            if outward { off.hypot() / MORE_OUTWARD } else { off.hypot() }
        };
        let farthest = (0..=span).map(off).fold(0.0, f64::max);
        if farthest <= limits.tolerance {
            best = Some(cubic);
            break;
        }
        // Far off after the first improvements: more will not bring it in.
        if round == 1 && farthest > limits.tolerance * 8.0 {
            return None;
        }
    }
    let cubic = best?;
    let rising = parameters.windows(2).all(|pair| pair[0] <= pair[1] + 1e-3);
    (rising && turns_gently(&cubic, stations, at, span, limits)).then_some(cubic)
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
