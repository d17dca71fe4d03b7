//! Fills one container: each part goes where it fits best among the places nearest the feed edge.

use pulp::{Arch, NullaryFnOnce};

use super::map::{Map, Places};
use super::mask::Mask;
use super::part::{Part, Scale, Turn};
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::{Point, Pose, Vec2};

/// A part that stands in a container.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Spot {
    /// Index of the part.
    pub(super) part: usize,
    /// Angle in the feed frame.
    pub(super) angle_deg: f64,
    /// Where its origin lands, from the corner of the container's window.
    pub(super) at: Vec2,
}

/// Most words that remember rows without room; for more parts and longer windows they are tried again.
const MOST_DEAD: usize = 4 << 20;

/// What makes a place good.
#[derive(Clone, Copy, Debug)]
pub(super) struct Taste {
    /// What a millimetre of depth costs, measured in shares of the ring around the part that touch something.
    pub(super) depth_per_mm: f64,
    /// Where in the part depth is measured: 0 at its near side, 1 at its far side.
    pub(super) depth_at: f64,
    /// How far past the first place others are tried, mm.
    pub(super) look_mm: f64,
}

/// A container while it is filled.
#[derive(Clone)]
pub(super) struct Fill<'a> {
    parts: &'a [Part],
    scale: Scale,
    width: f64,
    length: f64,
    map: Map,
    /// For each part and angle the first row that may have room; rows only fill up.
    hints: Vec<Vec<u32>>,
    /// For each part, once it was sought, rows known to have no room at each angle, one bit each.
    dead: Vec<Vec<u64>>,
    /// Columns still open, while a row is looked at.
    free: Places,
    /// What stands in it.
    pub(super) spots: Vec<Spot>,
}

/// The best place found for a part.
#[derive(Clone, Copy, Debug)]
pub(super) struct Best {
    /// Share of the ring that touches something, less the cost of depth.
    pub(super) score: f64,
    turn: usize,
    col: i32,
    row: i32,
}

/// What a search came to.
#[derive(Clone, Copy, Debug)]
pub(super) enum Found {
    /// The best place.
    At(Best),
    /// There may be room, but not at the score asked for.
    NoBetter,
    /// There is no room, and will be none.
    Nowhere,
}

impl<'a> Fill<'a> {
    /// An empty container; `obstacles` are stamped as they are.
    pub(super) fn new(parts: &'a [Part], scale: Scale, width: f64, length: f64, obstacles: &[Mask]) -> Fill<'a> {
        let cells = |side: f64| ((side + 2.0 * scale.pad) / scale.cell - 1e-7).ceil().max(1.0) as usize;
        let mut map = Map::new(cells(width), cells(length), scale.cell);
        obstacles.iter().for_each(|mask| map.stamp(mask, 0, 0));
        let hints = parts.iter().map(|part| vec![0; part.turns.len()]).collect();
        let dead = vec![Vec::new(); parts.len()];
        Fill { parts, scale, width, length, map, hints, dead, free: Places::default(), spots: Vec::new() }
    }

    /// Takes the room of a part that stands anywhere.
    pub(super) fn add(&mut self, spot: Spot) {
        let pose =
            Pose { x_mm: spot.at.x + self.scale.pad, y_mm: spot.at.y + self.scale.pad, rotation_deg: spot.angle_deg };
        let affine = pose.to_affine();
        let part = &self.parts[spot.part];
        let rings: Vec<Vec<Point>> =
            part.coarse.iter().map(|ring| ring.points().iter().map(|p| affine * *p).collect()).collect();
        self.map.stamp(&Mask::of(&rings, self.scale.gutter / 2.0 + part.stray, self.scale.cell), 0, 0);
        self.spots.push(spot);
    }

    /// Places one copy of a part if there is room above `limit` (mm from the feed edge).
    ///
    /// # Errors
    /// `run.cancelled`.
    pub(super) fn place(&mut self, part: usize, taste: Taste, limit: f64, cancel: &Cancel) -> Result<bool, Fault> {
        let Some(best) = self.search(part, taste, limit, cancel)? else { return Ok(false) };
        self.put(part, best);
        Ok(true)
    }

    /// Where a part would stand.
    pub(super) fn spot(&self, part: usize, best: Best) -> Spot {
        let turn = &self.parts[part].turns[best.turn];
        let at = turn.anchor + Vec2::new(f64::from(best.col), f64::from(best.row)) * self.map.cell();
        Spot { part, angle_deg: turn.angle_deg, at }
    }

    /// Places a copy of a part where the search found room.
    pub(super) fn put(&mut self, part: usize, best: Best) {
        self.map.stamp(&self.parts[part].turns[best.turn].mask, best.col, best.row);
        self.spots.push(self.spot(part, best));
    }

    /// The best place for a part above `limit` (mm from the feed edge); `None` when there is no room.
    ///
    /// # Errors
    /// `run.cancelled`.
    pub(super) fn search(
        &mut self,
        part: usize,
        taste: Taste,
        limit: f64,
        cancel: &Cancel,
    ) -> Result<Option<Best>, Fault> {
        match self.search_above(part, (taste, f64::NEG_INFINITY), limit, cancel)? {
            Found::At(best) => Ok(Some(best)),
            Found::NoBetter | Found::Nowhere => Ok(None),
        }
    }

    /// The same for places that score more than a floor.
    ///
    /// # Errors
    /// `run.cancelled`.
    pub(super) fn search_above(
        &mut self,
        part: usize,
        (taste, floor): (Taste, f64),
        limit: f64,
        cancel: &Cancel,
    ) -> Result<Found, Fault> {
        let parts = self.parts;
        let turns = &parts[part].turns;
        if let Some(disc) = turns.first().and_then(|turn| turn.discs.first()) {
            self.map.prepare_disc(disc.0);
            if self.map.disc_is_full(disc.0) {
                return Ok(Found::Nowhere);
            }
        }
        for disc in turns.iter().flat_map(|turn| &turn.discs) {
            self.map.prepare_disc(disc.0);
        }
        let row_words = self.row_words();
        if self.dead[part].is_empty() && row_words * turns.len() * parts.len() <= MOST_DEAD {
            self.dead[part] = vec![0; row_words * turns.len()];
        }
        let mut sought = Sought { taste, limit, floor, best: None, has_room: false };
        for index in 0..turns.len() {
            cancel.check()?;
            Arch::new().dispatch(SearchTurn { fill: self, part, index, sought: &mut sought });
        }
        Ok(match sought.best {
            Some(best) => Found::At(best),
            None if sought.has_room => Found::NoBetter,
            None => Found::Nowhere,
        })
    }

    /// Whether a place found before is still free.
    pub(super) fn is_free(&mut self, part: usize, best: Best) -> bool {
        let mask = &self.parts[part].turns[best.turn].mask;
        self.free.only(best.col as usize);
        (0..mask.rows()).for_each(|at| self.map.test_row(mask, at, best.row, &mut self.free));
        !self.free.is_none()
    }

    /// Whether a part stands in the window at any angle, free zones aside.
    pub(super) fn holds(&self, part: usize) -> bool {
        self.parts[part].turns.iter().any(|turn| self.last(&self.parts[part], turn, f64::INFINITY).is_some())
    }

    /// Last column and row at which a turn still stands in the window.
    fn last(&self, part: &Part, turn: &Turn, limit: f64) -> Option<(i32, i32)> {
        let room =
            |side: f64, far: f64, anchor: f64| ((side - part.reach - far - anchor) / self.map.cell() + 1e-6).floor();
        let length = self.length.min(limit + part.reach);
        let (col, row) = (room(self.width, turn.bounds.x1, turn.anchor.x), room(length, turn.bounds.y1, turn.anchor.y));
        (col >= 0.0 && row >= 0.0).then_some((col as i32, row as i32))
    }

    /// Words that hold a bit for each row.
    fn row_words(&self) -> usize {
        self.map.rows / 64 + 1
    }

    #[inline(always)]
    fn search_turn(&mut self, part: usize, index: usize, sought: &mut Sought) {
        let parts = self.parts;
        let turn = &parts[part].turns[index];
        let Some((last_col, last_row)) = self.last(&parts[part], turn, sought.limit) else { return };
        let (mut first, mut at) = (None::<i32>, self.hints[part][index] as i32);
        let mut free = std::mem::take(&mut self.free);
        while let Some(row) = self.next_row(part, index, at, last_row) {
            let depth = self.depth(turn, row, sought.taste);
            if 1.0 - depth <= sought.least()
                || first.is_some_and(|first| f64::from(row - first) * self.map.cell() > sought.taste.look_mm)
            {
                sought.has_room = true;
                break;
            }
            if self.free_places(turn, row, last_col, &mut free) {
                first.get_or_insert(row);
                sought.has_room = true;
                self.judge(turn, (index, row), depth, &free, sought);
            } else {
                self.mark_dead(part, index, row);
            }
            at = row + 1;
        }
        self.free = free;
        if first.is_none() {
            // Rows that were passed have no room, and never will.
            self.hints[part][index] = at as u32;
        }
    }

    /// The next row, from one on, where there may be room for a turn.
    #[inline(always)]
    fn next_row(&self, part: usize, index: usize, from: i32, last: i32) -> Option<i32> {
        let discs = &self.parts[part].turns[index].discs;
        let row_words = self.row_words();
        let dead = self.dead[part].get(index * row_words..(index + 1) * row_words).unwrap_or_default();
        let mut mask = u64::MAX << (from % 64);
        for word in from as usize / 64..=last.max(0) as usize / 64 {
            let mut open = mask & !dead.get(word).copied().unwrap_or(0);
            mask = u64::MAX;
            for (disc, _, down) in discs {
                open &= self.map.open_rows(*disc, *down, word);
            }
            if open != 0 {
                let row = word as i32 * 64 + open.trailing_zeros() as i32;
                return (row <= last).then_some(row);
            }
        }
        None
    }

    fn mark_dead(&mut self, part: usize, index: usize, row: i32) {
        let word = index * self.row_words() + row as usize / 64;
        if let Some(word) = self.dead[part].get_mut(word) {
            *word |= 1 << (row % 64);
        }
    }

    fn depth(&self, turn: &Turn, row: i32, taste: Taste) -> f64 {
        let near = turn.anchor.y + f64::from(row) * self.map.cell() + turn.bounds.y0;
        (near + turn.bounds.height() * taste.depth_at) * taste.depth_per_mm
    }

    /// Marks the columns of a row where a turn fits; false when there is none.
    #[inline(always)]
    fn free_places(&self, turn: &Turn, row: i32, last_col: i32, free: &mut Places) -> bool {
        free.first(last_col as usize + 1);
        for (disc, col, down) in &turn.discs {
            self.map.test_disc(*disc, *col, row + down, free);
            if free.is_none() {
                return false;
            }
        }
        let rows = turn.mask.rows();
        // Rows far apart first: they are the least alike and end hopeless tests soonest.
        let stride =
            [61, 37, 17, 7, 1].into_iter().find(|stride| !rows.is_multiple_of(*stride) || *stride == 1).unwrap_or(1);
        let mut at = rows / 2;
        for _ in 0..rows {
            self.map.test_row(&turn.mask, at, row, free);
            if free.is_none() {
                return false;
            }
            at = (at + stride) % rows;
        }
        !free.is_none()
    }

    /// Scores both ends of every free stretch.
    #[inline(always)]
    fn judge(&self, turn: &Turn, (index, row): (usize, i32), depth: f64, free: &Places, sought: &mut Sought) {
        let all = f64::from(turn.halo.all().max(1));
        for col in free.ends() {
            let least = ((sought.least() + depth) * all).max(0.0) as u32;
            let contact = f64::from(self.map.taken(&turn.halo, col, row, least)) / all;
            let score = contact - depth;
            if score > sought.least() + 1e-12 {
                sought.best = Some(Best { score, turn: index, col, row });
            }
        }
    }
}

/// A search at one angle, on the widest registers that the machine has: what it calls is inlined into it for that.
struct SearchTurn<'a, 'b, 'c> {
    fill: &'a mut Fill<'b>,
    part: usize,
    index: usize,
    sought: &'c mut Sought,
}

impl NullaryFnOnce for SearchTurn<'_, '_, '_> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        self.fill.search_turn(self.part, self.index, self.sought);
    }
}

/// What is sought, and what was found so far.
struct Sought {
    taste: Taste,
    limit: f64,
    floor: f64,
    best: Option<Best>,
    /// Whether there may be room at all.
    has_room: bool,
}

impl Sought {
    /// What a place must score more than.
    fn least(&self) -> f64 {
        self.best.map_or(self.floor, |best| best.score)
    }
}

/// From the feed edge to the farthest outline of spots, mm.
pub(super) fn used(parts: &[Part], spots: &[Spot]) -> f64 {
    let far = |spot: &Spot| spot.at.y + super::part::turned_bounds(&parts[spot.part].rings, spot.angle_deg).y1;
    spots.iter().map(far).fold(0.0, f64::max)
}
