//! One cubic along a span of stations.
//!
//! Least squares for the two handle lengths with given end directions, with the parameters improved by Newton's method:
//! Schneider 1990, "An algorithm for automatically fitting digitized curves" (Graphics Gems).
//!
//! Nearly all time of a cut line is spent here. What is done to every station of a span stands in loops over plain arrays, a
//! lane for each station, which the compiler turns into the widest instructions of the processor at hand. Sums are taken in the
//! stations' order and nothing is contracted, so that every processor comes to the same bytes.

use std::ops::RangeInclusive;

use pulp::{Arch, NullaryFnOnce};

use super::stations::Stretch;
use crate::geom::{Point, Vec2};

/// Rounds of parameter improvement. More change the error by less than a hundredth of the tolerance. Measured, no source.
const ROUNDS: usize = 6;

/// Steps between stations of a span that are looked at while it is fitted; what is between them only once it fits.
const LOOKED_AT: usize = 24;

/// A cubic spans at most so many stations (60 mm): longer ones cost time and save nothing.
pub(super) const MOST_STATIONS: usize = 600;

/// Stations that are dealt with at once at least: two for the narrowest registers, four for usual ones.
const TOGETHER: usize = 4;

/// Lanes: the stations looked at and both ends, in whole groups.
const LANES: usize = (LOOKED_AT + 1).next_multiple_of(TOGETHER);

/// In tolerances: farther off after the first round of improvement, and after the second, no cubic has ever come in.
/// Measured, no source.
const FAR_OFF: f64 = 12.0;
const OFF: f64 = 4.0;

/// Where a cubic may end besides on the smoothed ring: so far outward, mm, and turned so far, radians. A joint a little off
/// lets both its neighbours be longer. Found by trial on clip art, no source.
pub(super) const VARIANTS: [(f64, f64); 7] =
    [(0.0, 0.0), (0.02, 0.0), (-0.018, 0.0), (0.0, 0.04), (0.0, -0.04), (0.0, 0.09), (0.0, -0.09)];

/// A cubic may lie farther out than in: out it costs no border, and shallow dents are passed over.
const MORE_OUTWARD: f64 = 1.1;

/// A cubic may turn tighter than the cutting radius by this, and than the region itself by `OVER_REGION`.
const OVER_RADIUS: f64 = 1.03;
const OVER_REGION: f64 = 1.03;

/// Steps between places of a cubic at which its curvature is looked at.
const CURVATURE_STEPS: usize = 32;

/// Cutting radii, mm; zero: no limit.
#[derive(Clone, Copy, Debug)]
pub(super) struct Radii {
    /// Of inside corners.
    pub(super) inside: f64,
    /// Of outside corners.
    pub(super) outside: f64,
}

/// What a cubic must keep.
pub(super) struct Limits {
    /// Farthest from the ring, mm.
    pub(super) tolerance: f64,
    /// Tightest turns.
    pub(super) radii: Radii,
    /// How much tighter than the radii the region's own turns let it be.
    pub(super) over_own: f64,
    /// Fewest and most that it spans; fewer at the end of a ring.
    pub(super) stations: RangeInclusive<usize>,
}

/// A cubic by its control points.
#[derive(Clone, Copy, Debug)]
pub(super) struct Cubic(pub(super) [Point; 4]);

impl Cubic {
    #[inline(always)]
    fn at(&self, t: f64) -> Point {
        let u = 1.0 - t;
        let [a, b, c, d] = self.0.map(Point::to_vec2);
        (a * (u * u * u) + b * (3.0 * u * u * t) + c * (3.0 * u * t * t) + d * (t * t * t)).to_point()
    }

    #[inline(always)]
    fn slope(&self, t: f64) -> Vec2 {
        let u = 1.0 - t;
        let [a, b, c, d] = self.0;
        (b - a) * (3.0 * u * u) + (c - b) * (6.0 * u * t) + (d - c) * (3.0 * t * t)
    }

    #[inline(always)]
    fn bend(&self, t: f64) -> Vec2 {
        let [a, b, c, d] = self.0;
        ((c - b) - (b - a)) * (6.0 * (1.0 - t)) + ((d - c) - (c - b)) * (6.0 * t)
    }
}

/// How far a point beside a station lies off the ring, mm; outward counts less: it costs no border.
#[inline(always)]
fn off(station: Point, tangent: Vec2, point: Point) -> f64 {
    // The region lies to the right of its rings.
    let inward = tangent.cross(point - station);
    if inward < 0.0 { -inward / MORE_OUTWARD } else { inward }
}

/// Where a cubic ends: a station, or near one.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Joint {
    /// The station; the number of stations is the first one again.
    pub(super) at: usize,
    /// Which of [`VARIANTS`].
    pub(super) variant: usize,
}

impl Joint {
    /// Its place, and the direction of travel there.
    pub(super) fn place(self, stations: Stretch<'_>) -> (Point, Vec2) {
        let (share, turn) = VARIANTS[self.variant];
        let tangent = stations.tangents[self.at];
        // The region lies to the right of its rings: this moves outward.
        let outward = Vec2::new(tangent.y, -tangent.x);
        let (sin, cos) = turn.sin_cos();
        let turned = Vec2::new(tangent.x * cos - tangent.y * sin, tangent.x * sin + tangent.y * cos);
        (stations.smooth[self.at] + outward * share, turned)
    }
}

/// The cubic from one joint to another, if one keeps the limits.
pub(super) fn fit(stations: Stretch<'_>, from: Joint, to: Joint, limits: &Limits) -> Option<Cubic> {
    Arch::new().dispatch(Attempt { stations, from, to, limits })
}

struct Attempt<'a> {
    stations: Stretch<'a>,
    from: Joint,
    to: Joint,
    limits: &'a Limits,
}

impl NullaryFnOnce for Attempt<'_> {
    type Output = Option<Cubic>;

    #[inline(always)]
    fn call(self) -> Option<Cubic> {
        let Attempt { stations, from, to, limits } = self;
        let (start, leave) = from.place(stations);
        let (end, land) = to.place(stations);
        let mut looked = Looked::of(stations, from.at..=to.at, (start, end));
        let mut before = f64::INFINITY;
        for round in 0..ROUNDS {
            let cubic = looked.least_squares((leave, land))?;
            let farthest = looked.improve(&cubic);
            if farthest <= limits.tolerance {
                let sound = turns_gently(&cubic, &stations.curvature[from.at..=to.at], limits)
                    && looked.passes(&cubic, stations, limits);
                return sound.then_some(cubic);
            }
            // Far off after the first improvements: more will not bring it in.
            if round == 0 && farthest > limits.tolerance * FAR_OFF || round == 1 && farthest > limits.tolerance * OFF {
                return None;
            }
            // Rounds gain less and less: if as much as the last one is not enough, nothing is.
            let gain = farthest / before;
            if round > 0 && farthest * gain.powi((ROUNDS - 1 - round) as i32) > limits.tolerance {
                return None;
            }
            before = farthest;
        }
        None
    }
}

/// The stations of a span that are looked at while it is fitted, at even distances and both its ends. Lanes past the last
/// station are off by nothing.
struct Looked {
    count: usize,
    /// Which of the ring's stations.
    indices: [usize; LANES],
    /// Where the cubic should pass.
    x: [f64; LANES],
    y: [f64; LANES],
    /// The stations themselves, and the ring's direction there.
    raw_x: [f64; LANES],
    raw_y: [f64; LANES],
    tangent_x: [f64; LANES],
    tangent_y: [f64; LANES],
    /// Where on the cubic.
    parameters: [f64; LANES],
    /// Along the points.
    length: f64,
}

impl Looked {
    #[inline(always)]
    fn of(stations: Stretch<'_>, span: RangeInclusive<usize>, (start, end): (Point, Point)) -> Looked {
        let (at, steps) = (*span.start(), span.end() - span.start());
        let stride = steps.div_ceil(LOOKED_AT);
        let last = steps.div_ceil(stride);
        let none = [0.0; LANES];
        let mut looked = Looked {
            count: last + 1,
            indices: [0; LANES],
            x: none,
            y: none,
            raw_x: none,
            raw_y: none,
            tangent_x: none,
            tangent_y: none,
            parameters: none,
            length: 0.0,
        };
        let mut before = start;
        for place in 0..=last {
            let step = (place * stride).min(steps);
            let index = at + step;
            let point = match place {
                0 => start,
                _ if place == last => end,
                _ => stations.smooth[index],
            };
            looked.length += before.distance(point);
            before = point;
            looked.indices[place] = index;
            looked.parameters[place] = step as f64 / steps as f64;
            (looked.x[place], looked.y[place]) = (point.x, point.y);
            (looked.raw_x[place], looked.raw_y[place]) = (stations.raw[index].x, stations.raw[index].y);
            (looked.tangent_x[place], looked.tangent_y[place]) =
                (stations.tangents[index].x, stations.tangents[index].y);
        }
        looked
    }

    /// Lanes in use, in whole groups.
    #[inline(always)]
    fn lanes(&self) -> usize {
        self.count.next_multiple_of(TOGETHER).min(LANES)
    }

    /// Newton's step towards the parameters of the nearest points (Schneider 1990); the farthest of the stations then.
    #[inline(always)]
    #[expect(clippy::needless_range_loop, reason = "one index into arrays of one length is what the compiler widens")]
    fn improve(&mut self, cubic: &Cubic) -> f64 {
        let mut offs = [0.0; LANES];
        for lane in 0..self.lanes() {
            let t = improved(cubic, self.parameters[lane], Point::new(self.x[lane], self.y[lane]));
            self.parameters[lane] = t;
            let station = Point::new(self.raw_x[lane], self.raw_y[lane]);
            offs[lane] = off(station, Vec2::new(self.tangent_x[lane], self.tangent_y[lane]), cubic.at(t));
        }
        most(&offs)
    }

    /// Handle lengths by the normal equations (Schneider 1990); `None` when a handle would point backwards or run far past
    /// the span.
    #[inline(always)]
    #[expect(clippy::needless_range_loop, reason = "one index into arrays of one length is what the compiler widens")]
    fn least_squares(&self, ends: (Vec2, Vec2)) -> Option<Cubic> {
        let (first, last) =
            (Point::new(self.x[0], self.y[0]), Point::new(self.x[self.count - 1], self.y[self.count - 1]));
        let chord = last - first;
        let (leave, land) = (ends.0, -ends.1);
        let mut products = [[0.0; LANES]; 5];
        for lane in 0..self.lanes() {
            let t = self.parameters[lane];
            let u = 1.0 - t;
            let (b1, b2) = (3.0 * u * u * t, 3.0 * u * t * t);
            let rest = Point::new(self.x[lane], self.y[lane]) - first - chord * (b2 + t * t * t);
            products[0][lane] = b1 * b1;
            products[1][lane] = b1 * b2;
            products[2][lane] = b2 * b2;
            products[3][lane] = leave.dot(rest) * b1;
            products[4][lane] = land.dot(rest) * b2;
        }
        let mut sums = [0.0; 5];
        for lane in 0..self.count {
            for (sum, products) in sums.iter_mut().zip(&products) {
                *sum += products[lane];
            }
        }
        let [b11, b12, b22, x0, x1] = sums;
        // Both directions have length one.
        let (c00, c01, c11) = (b11, b12 * leave.dot(land), b22);
        let determinant = c00 * c11 - c01 * c01;
        let third = chord.hypot() / 3.0;
        let (mut out, mut back) = (third, third);
        if determinant.abs() > 1e-9 * c00 * c11 {
            (out, back) = ((x0 * c11 - x1 * c01) / determinant, (c00 * x1 - c01 * x0) / determinant);
        }
        let sound = |handle: f64| handle > self.length * 0.02 && handle < self.length * 1.5;
        (sound(out) && sound(back)).then(|| Cubic([first, first + leave * out, last + land * back, last]))
    }

    /// Whether a cubic runs on and is near all stations of the span, those left out too.
    #[inline(always)]
    fn passes(&self, cubic: &Cubic, stations: Stretch<'_>, limits: &Limits) -> bool {
        let parameters = &self.parameters[..self.count];
        if !parameters.windows(2).all(|pair| pair[0] <= pair[1] + 1e-3) {
            return false;
        }
        let (first, stride) = (self.indices[0], self.indices[1] - self.indices[0]);
        if stride == 1 {
            // All of them were looked at.
            return true;
        }
        let span = first..self.indices[self.count - 1];
        let mut on_cubic = parameters.windows(2).zip(self.indices.windows(2)).flat_map(|(ends, indices)| {
            let steps = indices[1] - indices[0];
            (0..steps).map(move |step| ends[0] + (ends[1] - ends[0]) * step as f64 / steps as f64)
        });
        let mut lanes = stations.raw[span.clone()].chunks(LANES).zip(stations.tangents[span].chunks(LANES));
        lanes.all(|(raw, tangents)| {
            let (mut offs, mut parameters) = ([0.0; LANES], [0.0; LANES]);
            parameters.iter_mut().zip(raw).for_each(|(t, _)| *t = on_cubic.next().unwrap_or(1.0));
            for (far, ((station, tangent), t)) in offs.iter_mut().zip(raw.iter().zip(tangents).zip(parameters)) {
                *far = off(*station, *tangent, cubic.at(t));
            }
            most(&offs) <= limits.tolerance
        })
    }
}

/// The largest of values that are not negative.
#[inline(always)]
fn most(values: &[f64; LANES]) -> f64 {
    let mut largest = [0.0_f64; TOGETHER];
    for group in values.as_chunks().0 {
        for (largest, value) in largest.iter_mut().zip::<&[f64; TOGETHER]>(group) {
            *largest = largest.max(*value);
        }
    }
    largest.into_iter().fold(0.0, f64::max)
}

/// Newton's step towards the parameter of the nearest point (Schneider 1990).
#[inline(always)]
fn improved(cubic: &Cubic, t: f64, point: Point) -> f64 {
    let off = cubic.at(t) - point;
    let slope = cubic.slope(t);
    let below = slope.hypot2() + off.dot(cubic.bend(t));
    let stepped = (t - off.dot(slope) / below).clamp(0.0, 1.0);
    if below.abs() < 1e-12 { t } else { stepped }
}

/// Whether a cubic turns no tighter than the radii, or than the region itself along the span.
#[inline(always)]
fn turns_gently(cubic: &Cubic, own: &[f64], limits: &Limits) -> bool {
    let (sharpest_in, sharpest_out) = extremes(own);
    let radii = limits.radii;
    let limit = |radius: f64, own: f64| {
        let blade = if radius > 0.0 { OVER_RADIUS / radius } else { f64::INFINITY };
        blade.max((own * OVER_REGION).min(limits.over_own * blade))
    };
    let (most_in, most_out) = (limit(radii.inside, -sharpest_in), limit(radii.outside, sharpest_out));
    let gentle = |step: usize| {
        let t = step as f64 / CURVATURE_STEPS as f64;
        let slope = cubic.slope(t);
        // Curvature is the cross product over the cube of the speed.
        let (turn, speed2) = (slope.cross(cubic.bend(t)), slope.hypot2().max(1e-8));
        let cube = speed2 * speed2.sqrt();
        (turn <= most_out * cube) & (-turn <= most_in * cube)
    };
    // No early end: all at once is quicker.
    (0..CURVATURE_STEPS).fold(true, |all, step| all & gentle(step)) && gentle(CURVATURE_STEPS)
}

/// The least and the largest of values, or zero.
#[inline(always)]
fn extremes(values: &[f64]) -> (f64, f64) {
    let (groups, rest) = values.as_chunks::<TOGETHER>();
    let (mut least, mut largest) = ([0.0_f64; TOGETHER], [0.0_f64; TOGETHER]);
    for group in groups {
        for lane in 0..TOGETHER {
            least[lane] = least[lane].min(group[lane]);
            largest[lane] = largest[lane].max(group[lane]);
        }
    }
    let all = |of: [f64; TOGETHER]| of.into_iter().chain(rest.iter().copied());
    (all(least).fold(0.0, f64::min), all(largest).fold(0.0, f64::max))
}
