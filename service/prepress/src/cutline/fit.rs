//! Few cubics along many stations.
//!
//! We depart from Schneider (see `cubic`) in how a curve is divided: each cubic is made as long as its tolerance allows,
//! instead of splitting where the error is largest, and of several places and directions where it may end those are taken
//! from which the next ones come farthest.

use super::cubic::{Cubic, Joint, Limits, MOST_STATIONS, Radii, VARIANTS, fit};
use super::stations::Stretch;
use crate::cancel::Cancel;
use crate::fault::Fault;

/// Ways that are followed at once: on lines too long for more, usually, where a line has a few nodes too many, and where it
/// turns tighter than it should, for then many more may find a way around that. More cost time and save little: six instead of
/// two save a tenth of the nodes, twelve instead of six 3 %, more than that nothing. Measured on clip art and on drawings by
/// chance, no source.
pub(super) const BEAMS: [usize; 4] = [2, USUAL, 12, MANY];
const USUAL: usize = 6;
const MANY: usize = 24;

/// With the most ways, so many cubics are taken back where none leads on, and so often on one line.
const FARTHEST_RETREAT: usize = 3;
const MOST_RETREATS: usize = 40;
const FEW_RETREATS: usize = 8;

/// Share of the tolerance for lines that only many ways lead to: they use all of it where the region turns most tightly, and
/// there it has least border to spare. Measured on fractal edges, no source.
pub(super) const CLOSER: f64 = 0.9;

/// Where the usual ways lead nowhere, so many cubics are taken back, and from there to as many past that place as many ways are
/// followed as can be: that is a small part of what following them all along costs.
const WIDE_AHEAD: usize = 2;

/// Where the search for the longest span starts when nothing is known, and by how much it steps from what is, stations.
const FIRST_SPAN: usize = 16;
const FIRST_STEP: usize = 2;

/// A cubic spans at most this share of a ring, so that even a small circle is true.
const FEWEST_CUBICS: usize = 4;

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

/// The most that a line keeps which does not keep all of the cutting radii.
pub(super) const NOT_ALL: f64 = TIGHTEST[0];

/// Shares of the longest span that are tried besides it.
const SHORTER: [f64; 2] = [0.9, 0.78];

/// Of what a cubic may exceed the cutting radius by, so many times for a region that turns tighter: the promise is 1.05 in all.
/// More only where nothing else leads on.
const OVER_OWN: f64 = 1.015;

/// A line along a stretch.
pub(super) struct Fitted {
    /// From its first station to its last.
    pub(super) cubics: Vec<Cubic>,
    /// The share of the cutting radii that it keeps everywhere.
    pub(super) kept: f64,
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
    /// How many are followed at once.
    beam: usize,
}

/// A search for a path: a row for each cubic.
struct Search<'a> {
    stations: Stretch<'a>,
    strict: [Limits; 2],
    /// The same for where many ways are followed and few usually.
    close: [Limits; 2],
    /// For where those lead nowhere.
    loose: [Limits; TIGHTEST.len()],
    /// How many ways are followed, and up to which row as many as can be.
    beam: usize,
    wide_until: usize,
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
        let beam = if self.is_wide() { MANY } else { self.beam };
        for (kept, limits) in self.limits_of(beam).iter().enumerate() {
            let ways = farther(self.stations, &starts, limits, beam, self.cancel);
            if !ways.is_empty() {
                self.rows.push(Row { ways, rest: None, kept, beam });
                return true;
            }
        }
        false
    }

    fn is_wide(&self) -> bool {
        self.rows.len() < self.wide_until
    }

    fn limits_of(&self, beam: usize) -> &[Limits; 2] {
        if beam == self.beam { &self.strict } else { &self.close }
    }

    /// Takes a few cubics back where the usual ways lead nowhere, to follow many from there; says whether that is new.
    fn widen(&mut self) -> bool {
        if self.beam != USUAL || self.is_wide() {
            return false;
        }
        let stuck = self.rows.len();
        self.rows.truncate(stuck.saturating_sub(FARTHEST_RETREAT));
        (self.wide_until, self.retreats) = (stuck + WIDE_AHEAD, FEW_RETREATS);
        true
    }

    /// Takes up the next ways where those that came farthest lead no further; says whether there are any.
    fn turn_back(&mut self) -> bool {
        let Some(last) = self.rows.len().checked_sub(1) else { return false };
        let Row { kept, beam, .. } = self.rows[last];
        let asked_for = self.rows[last].rest.take();
        let Some(limits) = self.limits_of(beam).get(kept) else { return false };
        let mut rest = asked_for.unwrap_or_else(|| {
            let mut all = farther(self.stations, &self.starts(last), limits, usize::MAX, self.cancel);
            all.split_off(beam.min(all.len()))
        });
        let next = rest.split_off(beam.min(rest.len()));
        let row = &mut self.rows[last];
        row.rest = Some(next);
        let found = !rest.is_empty();
        if found {
            row.ways = rest;
        }
        found
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
        self.rows.push(Row { ways, rest: Some(Vec::new()), kept, beam: self.beam });
        share
    }

    /// The way that came farthest.
    fn cubics(self) -> Vec<Cubic> {
        let mut cubics = Vec::with_capacity(self.rows.len());
        let mut at = 0;
        for row in self.rows.iter().rev() {
            cubics.push(row.ways[at].cubic);
            at = row.ways[at].before;
        }
        cubics.reverse();
        cubics
    }
}

/// Covers all stations with cubics: a beam search (Lowerre 1976, "The HARPY speech recognition system") for few. With every
/// cubic more, only those ways that have come farthest are followed.
///
/// `None` as soon as it is certain to keep no more of the radii than `at_least` (a share).
///
/// # Errors
/// `run.cancelled`.
pub(super) fn path(
    stations: Stretch<'_>,
    (tolerance, at_least): (f64, Option<f64>),
    radii: Radii,
    beam: usize,
    cancel: &Cancel,
) -> Result<Option<Fitted>, Fault> {
    // Where no way leads on, the last joint lies badly: a short cubic or a little tighter one gets away from it. Where the
    // region itself turns too tightly, short ones keep the tolerance and hardly any radius.
    let tighter = Radii { inside: radii.inside * TIGHTER, outside: radii.outside * TIGHTER };
    let strict = |tolerance: f64| {
        let limits = |radii, fewest| Limits { tolerance, radii, over_own: OVER_OWN, stations: fewest..=MOST_STATIONS };
        [limits(radii, HEEDED), limits(tighter, 1)]
    };
    let loose = TIGHTEST.map(|share| {
        let radii = Radii { inside: radii.inside * share, outside: radii.outside * share };
        Limits { tolerance, radii, over_own: f64::INFINITY, stations: 1..=FREED }
    });
    let retreats = if beam == MANY { MOST_RETREATS } else { 0 };
    let (strict, close) = (strict(tolerance), strict(tolerance * CLOSER));
    let mut search = Search { stations, strict, close, loose, beam, wide_until: 0, rows: Vec::new(), retreats, cancel };
    let mut kept = 1.0_f64;
    while !search.is_complete() {
        cancel.check()?;
        let leads_on = search.advance() || search.turn_back() || kept >= 1.0 && search.widen() || search.retreat();
        if !leads_on {
            kept = kept.min(search.force());
            if at_least.is_some_and(|least| kept <= least) {
                return Ok(None);
            }
        }
    }
    cancel.check()?;
    Ok(Some(Fitted { cubics: search.cubics(), kept }))
}

/// One cubic more on each of the ways so far, the farthest first: those `most` that come farthest, and perhaps some others.
fn farther(stations: Stretch<'_>, starts: &[Joint], limits: &Limits, most: usize, cancel: &Cancel) -> Vec<Reached> {
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
    stations: Stretch<'_>,
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
    stations: Stretch<'_>,
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
fn straightest(stations: Stretch<'_>, from: Joint) -> Reached {
    let end = Joint { at: from.at + 1, variant: 0 };
    let ((start, leave), (stop, land)) = (from.place(stations), end.place(stations));
    let handle = start.distance(stop) / 3.0;
    Reached { end, cubic: Cubic([start, start + leave * handle, stop - land * handle, stop]), before: 0 }
}
