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

/// Ways that are followed at once: on lines too long for more, usually, and where a line turns tighter than it should, for
/// many more may find a way around that. More cost time and save little: six instead of two save a tenth of the nodes,
/// twelve instead of six 3 %. Measured on clip art and on drawings by chance, no source.
pub(super) const BEAMS: [usize; 3] = [2, 6, 24];

/// With the most ways, so many cubics are taken back where none leads on, and so often on one line.
const FARTHEST_RETREAT: usize = 3;
const MOST_RETREATS: usize = 40;

/// Steps between stations of a span that are looked at while it is fitted; what is between them only once it fits.
const LOOKED_AT: usize = 24;

/// Where the search for the longest span starts when nothing is known, and by how much it steps from what is, stations.
const FIRST_SPAN: usize = 16;
const FIRST_STEP: usize = 2;

/// In tolerances: farther off after the first round of improvement, and after the second, no cubic has ever come in.
/// Measured, no source.
const FAR_OFF: f64 = 12.0;
const OFF: f64 = 4.0;

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

/// Shares of the cutting radii that are kept then, in turn, by cubics of at most [`FREED`] stations: with less a cubic may
/// double back on itself.
const TIGHTEST: [f64; 7] = [0.94, 0.88, 0.8, 0.7, 0.6, 0.5, 0.4];
const FREED: usize = 20;

/// Shares of the longest span that are tried besides it.
const SHORTER: [f64; 2] = [0.9, 0.78];

/// Where a cubic may end besides on the smoothed ring: so far outward, mm, and turned so far, radians. A joint a little off
/// lets both its neighbours be longer. Found by trial on clip art, no source.
const VARIANTS: [(f64, f64); 7] =
    [(0.0, 0.0), (0.02, 0.0), (-0.018, 0.0), (0.0, 0.04), (0.0, -0.04), (0.0, 0.09), (0.0, -0.09)];

/// A cubic may turn tighter than the cutting radius by this, and than the region itself by `OVER_REGION`.
const OVER_RADIUS: f64 = 1.03;
const OVER_REGION: f64 = 1.03;

/// Of what a cubic may exceed the cutting radius by, so many times for a region that turns tighter: the promise is 1.05 in all.
/// More only where nothing else leads on.
const OVER_OWN: f64 = 1.015;

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
    /// The share of the cutting radii that it keeps everywhere.
    pub(super) kept: f64,
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
    /// The others, in the same order, once they are asked for.
    rest: Option<Vec<Reached>>,
    /// Which of the strict limits they keep; none where that is past the last.
    kept: usize,
}

/// A search for a path: a row for each cubic.
struct Search<'a> {
    stations: &'a Stations,
    strict: [Limits; 2],
    /// For where those lead nowhere.
    loose: [Limits; TIGHTEST.len()],
    /// How many ways are followed.
    beam: usize,
    rows: Vec<Row>,
    /// How often it may still go back over rows that lead nowhere.
    retreats: usize,
    cancel: &'a Cancel,
}

impl Search<'_> {
    /// The ends of the ways before a row.
    fn starts(&self, row: usize) -> Vec<Joint> {
        let before = row.checked_sub(1).map(|row| &self.rows[row].ways);
        before.map_or(vec![Joint::default()], |ways| ways.iter().map(|way| way.end).collect())
    }

    fn is_complete(&self) -> bool {
        self.rows.last().is_some_and(|row| row.ways[0].end.at >= self.stations.count())
    }

    /// One cubic more on each way; says whether any leads on within the stricter limits.
    fn advance(&mut self) -> bool {
        let starts = self.starts(self.rows.len());
        for (kept, limits) in self.strict.iter().enumerate() {
            let ways = farther(self.stations, &starts, limits, self.beam, self.cancel);
            if !ways.is_empty() {
                self.rows.push(Row { ways, rest: None, kept });
                return true;
            }
        }
        false
    }

    /// Takes up the next ways where those that came farthest lead no further; says whether there are any.
    fn turn_back(&mut self) -> bool {
        let Some(last) = self.rows.len().checked_sub(1) else { return false };
        let starts = self.starts(last);
        let row = &mut self.rows[last];
        let Some(limits) = self.strict.get(row.kept) else { return false };
        let rest = row.rest.get_or_insert_with(|| {
            let mut all = farther(self.stations, &starts, limits, usize::MAX, self.cancel);
            all.split_off(self.beam.min(all.len()))
        });
        if rest.is_empty() {
            return false;
        }
        let next = rest.split_off(self.beam.min(rest.len()));
        row.ways = std::mem::replace(rest, next);
        true
    }

    /// Goes back by a few rows to the first that has other ways, where none leads on any more; says whether there is one.
    fn retreat(&mut self) -> bool {
        if self.retreats == 0 {
            return false;
        }
        let keep = self.rows.len().saturating_sub(FARTHEST_RETREAT).max(1);
        let mut left = Vec::new();
        while self.rows.len() > keep {
            left.extend(self.rows.pop());
            if self.turn_back() {
                self.retreats -= 1;
                return true;
            }
        }
        self.rows.extend(left.into_iter().rev());
        false
    }

    /// On within the tolerance, as gently as can be; says which share of the cutting radii that keeps.
    fn force(&mut self) -> f64 {
        let starts = self.starts(self.rows.len());
        let kept = self.strict.len();
        let ways = self.loose.iter().map(|limits| farther(self.stations, &starts, limits, self.beam, self.cancel));
        let ways = ways.zip(TIGHTEST).find(|(ways, _)| !ways.is_empty());
        let (ways, share) = ways.unwrap_or_else(|| (vec![straightest(self.stations, starts[0])], 0.0));
        self.rows.push(Row { ways, rest: Some(Vec::new()), kept });
        share
    }

    /// The way that came farthest.
    fn path(self) -> BezPath {
        let mut cubics = Vec::with_capacity(self.rows.len());
        let mut at = 0;
        for row in self.rows.iter().rev() {
            cubics.push(row.ways[at].cubic);
            at = row.ways[at].before;
        }
        let mut path = BezPath::new();
        path.move_to(self.stations.smooth[0]);
        for Cubic([_, leave, land, end]) in cubics.into_iter().rev() {
            path.curve_to(leave, land, end);
        }
        path.close_path();
        path
    }
}

/// Covers all stations with cubics: a beam search (Lowerre 1976, "The HARPY speech recognition system") for few. With every
/// cubic more, only those ways that have come farthest are followed.
///
/// # Errors
/// `run.cancelled`.
pub(super) fn path(
    stations: &Stations,
    tolerance: f64,
    radii: Radii,
    beam: usize,
    cancel: &Cancel,
) -> Result<Fitted, Fault> {
    let strict = Limits { tolerance, radii, over_own: OVER_OWN, stations: HEEDED..=MOST_STATIONS };
    // Where no way leads on, the last joint lies badly: a short cubic or a little tighter one gets away from it. Where the
    // region itself turns too tightly, short ones keep the tolerance and hardly any radius.
    let tighter = Radii { inside: radii.inside * TIGHTER, outside: radii.outside * TIGHTER };
    let short = Limits { tolerance, radii: tighter, over_own: OVER_OWN, stations: 1..=MOST_STATIONS };
    let loose = TIGHTEST.map(|share| {
        let radii = Radii { inside: radii.inside * share, outside: radii.outside * share };
        Limits { tolerance, radii, over_own: f64::INFINITY, stations: 1..=FREED }
    });
    let retreats = if beam == BEAMS[2] { MOST_RETREATS } else { 0 };
    let mut search = Search { stations, strict: [strict, short], loose, beam, rows: Vec::new(), retreats, cancel };
    let mut kept = 1.0_f64;
    while !search.is_complete() {
        cancel.check()?;
        if !search.advance() && !search.turn_back() && !search.retreat() {
            kept = kept.min(search.force());
        }
    }
    cancel.check()?;
    Ok(Fitted { path: search.path(), kept })
}

/// One cubic more on each of the ways so far, the farthest first: those `most` that come farthest, and perhaps some others.
fn farther(stations: &Stations, starts: &[Joint], limits: &Limits, most: usize, cancel: &Cancel) -> Vec<Reached> {
    let mut row: Vec<Reached> = Vec::new();
    let reach = |row: &mut Vec<Reached>, way: Reached| {
        let key = |way: &Reached| (std::cmp::Reverse(way.end.at), way.end.variant);
        if let Err(place) = row.binary_search_by_key(&key(&way), key) {
            row.insert(place, way);
        }
    };
    // What ends no farther than the last of those is of no use.
    let to_beat = |row: &[Reached]| if row.len() < most { 0 } else { row[most - 1].end.at };
    for (before, from) in starts.iter().copied().enumerate() {
        let mut usual = None;
        for variant in 0..VARIANTS.len() {
            // Whoever asks looks at the flag before the next cubic.
            if cancel.check().is_err() {
                return row;
            }
            let least = to_beat(&row).saturating_sub(from.at);
            let Some((span, cubic)) = heeding(stations, from, (variant, least, usual), limits) else { continue };
            usual = Some(span);
            reach(&mut row, Reached { end: Joint { at: from.at + span, variant }, cubic, before });
            for share in if variant == 0 && span > HEEDED { &SHORTER[..] } else { &[] } {
                let shorter = ((span as f64 * share) as usize).max(1);
                let end = Joint { at: from.at + shorter, variant };
                if end.at > to_beat(&row)
                    && let Some(cubic) = fit(stations, from, end, limits)
                {
                    reach(&mut row, Reached { end, cubic, before });
                }
            }
        }
    }
    row.truncate(most);
    row
}

/// The longest span from a joint that keeps the limits, if it is not too short for them. Where the ring closes the line has
/// to meet its own start, and needs room for it: what ends shortly before is shortened.
fn heeding(
    stations: &Stations,
    from: Joint,
    (variant, least, usual): (usize, usize, Option<usize>),
    limits: &Limits,
) -> Option<(usize, Cubic)> {
    let count = stations.count();
    let left = count - from.at;
    let to_last = left.saturating_sub(LAST);
    let longest_allowed = (count / FEWEST_CUBICS).max(1).min(*limits.stations.end());
    let most = if variant == 0 { left } else { to_last }.min(longest_allowed);
    let wanted = Wanted { more_than: least, usual, most };
    let (span, cubic) = longest(stations, from, variant, &wanted, limits)
        .filter(|found| found.0 >= most.min(*limits.stations.start()))?;
    if span == left || span <= to_last || to_last == 0 {
        return Some((span, cubic));
    }
    Some((to_last, fit(stations, from, Joint { at: from.at + to_last, variant }, limits)?))
}

/// What a cubic must keep.
struct Limits {
    tolerance: f64,
    radii: Radii,
    /// How much tighter than the radii the region's own turns let it be.
    over_own: f64,
    /// Fewest and most that it spans; fewer at the end of a ring.
    stations: RangeInclusive<usize>,
}

/// Which spans are looked for.
struct Wanted {
    /// Shorter ones and this one are of no use.
    more_than: usize,
    /// What about to expect.
    usual: Option<usize>,
    /// No more.
    most: usize,
}

/// The longest span from a joint: steps that double away from a first try, then halves.
fn longest(
    stations: &Stations,
    from: Joint,
    variant: usize,
    wanted: &Wanted,
    limits: &Limits,
) -> Option<(usize, Cubic)> {
    if wanted.more_than >= wanted.most {
        return None;
    }
    let mut good: Option<(usize, Cubic)> = None;
    let mut bad = wanted.most + 1;
    let (mut span, mut step) = match wanted.usual {
        _ if wanted.more_than > 0 => (wanted.more_than + 1, FIRST_STEP),
        Some(usual) => (usual, FIRST_STEP),
        None => (FIRST_SPAN, FIRST_SPAN),
    };
    span = span.clamp(1, wanted.most);
    loop {
        match fit(stations, from, Joint { at: from.at + span, variant }, limits) {
            Some(cubic) => good = Some((span, cubic)),
            None => bad = span,
        }
        let low = good.map_or(wanted.more_than, |(span, _)| span);
        if bad <= low + 1 {
            return good;
        }
        span = if bad > wanted.most {
            (low + step).min(wanted.most)
        } else if good.is_none() && bad > low + step {
            bad - step
        } else {
            (low + bad) / 2
        };
        step *= 2;
    }
}

/// To the next station with handles of a third of the distance: always near the ring.
fn straightest(stations: &Stations, from: Joint) -> Reached {
    let end = Joint { at: from.at + 1, variant: 0 };
    let ((start, leave), (stop, land)) = (from.place(stations), end.place(stations));
    let handle = start.distance(stop) / 3.0;
    Reached { end, cubic: Cubic([start, start + leave * handle, stop - land * handle, stop]), before: 0 }
}

/// The stations of a span that are looked at while it is fitted, at even distances and both its ends.
struct Looked {
    count: usize,
    /// Which of the ring's stations.
    indices: [usize; LOOKED_AT + 1],
    points: [Point; LOOKED_AT + 1],
    /// Where on the cubic.
    parameters: [f64; LOOKED_AT + 1],
    /// Along the points.
    length: f64,
}

impl Looked {
    fn of(stations: &Stations, at: usize, span: usize, ends: (Point, Point)) -> Looked {
        let stride = span.div_ceil(LOOKED_AT);
        let last = span.div_ceil(stride);
        let mut looked = Looked {
            count: last + 1,
            indices: [0; LOOKED_AT + 1],
            points: [Point::ORIGIN; LOOKED_AT + 1],
            parameters: [0.0; LOOKED_AT + 1],
            length: 0.0,
        };
        for place in 0..=last {
            let step = (place * stride).min(span);
            let index = (at + step) % stations.count();
            looked.indices[place] = index;
            looked.parameters[place] = step as f64 / span as f64;
            looked.points[place] = stations.smooth[index];
        }
        (looked.points[0], looked.points[last]) = ends;
        looked.length = looked.points[..=last].windows(2).map(|pair| pair[0].distance(pair[1])).sum();
        looked
    }

    /// Newton's step towards the parameters of the nearest points (Schneider 1990); the farthest of the stations then.
    fn improve(&mut self, cubic: &Cubic, stations: &Stations) -> f64 {
        let mut farthest = 0.0_f64;
        for place in 0..self.count {
            let t = improved(cubic, self.parameters[place], self.points[place]);
            self.parameters[place] = t;
            farthest = farthest.max(stations.off(self.indices[place], cubic.at(t)));
        }
        farthest
    }

    /// Whether a cubic runs on and is near all stations of the span, those left out too.
    fn passes(&self, cubic: &Cubic, stations: &Stations, limits: &Limits) -> bool {
        let parameters = &self.parameters[..self.count];
        let rising = parameters.windows(2).all(|pair| pair[0] <= pair[1] + 1e-3);
        let count = stations.count();
        let near = |place: usize| {
            let (from, to) = (self.indices[place], self.indices[place + 1]);
            let steps = (to + count - from) % count;
            (1..steps).all(|step| {
                let t = parameters[place] + (parameters[place + 1] - parameters[place]) * step as f64 / steps as f64;
                stations.off((from + step) % count, cubic.at(t)) <= limits.tolerance
            })
        };
        rising && (0..self.count - 1).all(near)
    }
}

fn fit(stations: &Stations, from: Joint, to: Joint, limits: &Limits) -> Option<Cubic> {
    let span = to.at - from.at;
    let (start, leave) = from.place(stations);
    let (end, land) = to.place(stations);
    let mut looked = Looked::of(stations, from.at, span, (start, end));
    let mut before = f64::INFINITY;
    for round in 0..ROUNDS {
        let cubic = least_squares(&looked, (leave, land))?;
        let farthest = looked.improve(&cubic, stations);
        if farthest <= limits.tolerance {
            let sound =
                turns_gently(&cubic, stations, from.at, span, limits) && looked.passes(&cubic, stations, limits);
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

/// Newton's step towards the parameter of the nearest point (Schneider 1990).
fn improved(cubic: &Cubic, t: f64, point: Point) -> f64 {
    let off = cubic.at(t) - point;
    let slope = cubic.slope(t);
    let below = slope.hypot2() + off.dot(cubic.bend(t));
    if below.abs() < 1e-12 { t } else { (t - off.dot(slope) / below).clamp(0.0, 1.0) }
}

/// Handle lengths by the normal equations (Schneider 1990); `None` when a handle would point backwards or run far past
/// the span.
fn least_squares(looked: &Looked, ends: (Vec2, Vec2)) -> Option<Cubic> {
    let points = &looked.points[..looked.count];
    let (first, last) = (points[0], points[points.len() - 1]);
    let chord = last - first;
    let (leave, land) = (ends.0, -ends.1);
    let (mut b11, mut b12, mut b22, mut x0, mut x1) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (point, t) in points.iter().zip(&looked.parameters) {
        let u = 1.0 - t;
        let (b1, b2) = (3.0 * u * u * t, 3.0 * u * t * t);
        let rest = *point - first - chord * (b2 + t * t * t);
        b11 += b1 * b1;
        b12 += b1 * b2;
        b22 += b2 * b2;
        x0 += leave.dot(rest) * b1;
        x1 += land.dot(rest) * b2;
    }
    // Both directions have length one.
    let (c00, c01, c11) = (b11, b12 * leave.dot(land), b22);
    let determinant = c00 * c11 - c01 * c01;
    let third = chord.hypot() / 3.0;
    let (mut out, mut back) = (third, third);
    if determinant.abs() > 1e-9 * c00 * c11 {
        (out, back) = ((x0 * c11 - x1 * c01) / determinant, (c00 * x1 - c01 * x0) / determinant);
    }
    let sound = |handle: f64| handle > looked.length * 0.02 && handle < looked.length * 1.5;
    (sound(out) && sound(back)).then(|| Cubic([first, first + leave * out, last + land * back, last]))
}

fn turns_gently(cubic: &Cubic, stations: &Stations, at: usize, span: usize, limits: &Limits) -> bool {
    let radii = limits.radii;
    let own = (0..=span).map(|k| stations.curvature[(at + k) % stations.count()]);
    let (sharpest_in, sharpest_out) = own.fold((0.0_f64, 0.0_f64), |(low, high), k| (low.min(k), high.max(k)));
    let limit = |radius: f64, own: f64| {
        let blade = if radius > 0.0 { OVER_RADIUS / radius } else { f64::INFINITY };
        blade.max((own * OVER_REGION).min(limits.over_own * blade))
    };
    let (most_in, most_out) = (limit(radii.inside, -sharpest_in), limit(radii.outside, sharpest_out));
    (0..=CURVATURE_SAMPLES).all(|sample| {
        let t = sample as f64 / CURVATURE_SAMPLES as f64;
        let slope = cubic.slope(t);
        // Curvature is the cross product over the cube of the speed.
        let (turn, speed2) = (slope.cross(cubic.bend(t)), slope.hypot2().max(1e-8));
        let cube = speed2 * speed2.sqrt();
        turn <= most_out * cube && -turn <= most_in * cube
    })
}
