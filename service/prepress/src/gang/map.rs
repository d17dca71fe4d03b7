//! Which cells of a container are taken: one bit each, 64 in a word, so that one operation tests 64 places of a piece.
//!
//! Beside the cells themselves the map keeps them widened by powers of two, so that a run of any length is tested with two
//! shifts (the doubling of sparse tables), and, on demand, widened by discs: a piece whose largest inscribed circle does not
//! fit somewhere need not be tried there. From memory; the bit-parallel raster is common practice, no source.

use super::mask::Mask;
use super::part::Halo;

/// Ratio of neighbouring disc radii. Closer ratios test more sharply and cost more tables.
const DISC_RATIO: f64 = 1.2;
/// Rows of a disc that are tested: a part of the disc, because a test that is too mild is still right.
const DISC_ROWS: i32 = 16;

/// Taken cells.
#[derive(Clone)]
pub(super) struct Map {
    /// Cells across.
    pub(super) cols: usize,
    /// Cells along.
    pub(super) rows: usize,
    cell: f64,
    /// Words of a row: one more than the cells need, so that shifted words are there to be read.
    words: usize,
    doubled: Vec<Vec<u64>>,
    discs: Vec<Option<Disc>>,
    stamped: u32,
    fresh: u32,
}

/// Cells where a disc of one radius cannot be centred.
#[derive(Clone)]
struct Disc {
    blocked: Vec<u64>,
    /// Rows with any place left, one bit each.
    open: Vec<u64>,
    full: bool,
}

/// Columns of a row where a piece may still stand, one bit each.
#[derive(Clone, Debug, Default)]
pub(super) struct Places {
    words: Vec<u64>,
    /// Words outside `low..high` are empty.
    low: usize,
    high: usize,
}

impl Places {
    /// The first so many columns.
    #[inline(always)]
    pub(super) fn first(&mut self, count: usize) {
        (self.low, self.high) = (0, count.div_ceil(64));
        self.words.resize(self.high, 0);
        self.words.fill(u64::MAX);
        if let Some(last) = self.words.last_mut() {
            *last >>= (64 - count % 64) % 64;
        }
    }

    /// One column.
    pub(super) fn only(&mut self, col: usize) {
        (self.low, self.high) = (col / 64, col / 64 + 1);
        self.words.clear();
        self.words.resize(self.high, 0);
        set_bits(&mut self.words, col, col + 1);
    }

    /// Whether there is no place left.
    #[inline(always)]
    pub(super) fn is_none(&self) -> bool {
        self.low >= self.high
    }

    /// Takes away the columns whose bits are set in `cells` moved down by `shift`.
    #[inline(always)]
    fn clear(&mut self, cells: &[u64], shift: i32) {
        let (skip, bits) = (shift.div_euclid(64) as isize, shift.rem_euclid(64) as u32);
        let from = self.low as isize + skip;
        let to = self.high as isize + skip;
        let free = &mut self.words[self.low..self.high];
        if from >= 0 && (to as usize) < cells.len() {
            let pairs = cells[from as usize..=to as usize].windows(2);
            free.iter_mut()
                .zip(pairs)
                .for_each(|(free, pair)| *free &= !((pair[0] >> bits) | (pair[1] << 1 << (63 - bits))));
        } else {
            free.iter_mut().enumerate().for_each(|(index, free)| *free &= !shifted(cells, shift, self.low + index));
        }
        while self.low < self.high && self.words[self.low] == 0 {
            self.low += 1;
        }
        while self.low < self.high && self.words[self.high - 1] == 0 {
            self.high -= 1;
        }
    }

    /// Both ends of every stretch of neighbouring places.
    #[inline(always)]
    pub(super) fn ends(&self) -> impl Iterator<Item = i32> + '_ {
        (self.low..self.high).flat_map(|index| {
            let word = self.words[index];
            let before = index.checked_sub(1).map_or(0, |before| self.words[before] >> 63);
            let after = self.words.get(index + 1).map_or(0, |next| next << 63);
            let mut ends = word & (!((word << 1) | before) | !((word >> 1) | after));
            std::iter::from_fn(move || {
                let bit = (ends != 0).then(|| ends.trailing_zeros())?;
                ends &= ends - 1;
                Some(index as i32 * 64 + bit as i32)
            })
        })
    }
}

/// Number of the largest disc that is not larger than a radius, for cells of a size.
pub(super) fn disc_for(radius: f64, cell: f64) -> Option<usize> {
    // A centre may lie half a cell's diagonal from the middle of its cell.
    let safe = radius - std::f64::consts::FRAC_1_SQRT_2 * cell - 1e-6;
    (safe >= cell).then(|| ((safe / cell).ln() / DISC_RATIO.ln()).floor().clamp(0.0, 63.0) as usize)
}

impl Map {
    /// All free.
    pub(super) fn new(cols: usize, rows: usize, cell: f64) -> Map {
        let words = cols / 64 + 2;
        let levels = (usize::BITS - cols.max(1).leading_zeros()) as usize;
        let doubled = vec![vec![0; words * rows]; levels];
        Map { cols, rows, cell, words, doubled, discs: vec![None; 64], stamped: 0, fresh: 0 }
    }

    #[inline(always)]
    fn row(&self, level: usize, row: usize) -> &[u64] {
        &self.doubled[level][row * self.words..(row + 1) * self.words]
    }

    /// Takes the cells of a mask moved to a place; cells outside the map are left out.
    pub(super) fn stamp(&mut self, mask: &Mask, col: i32, row: i32) {
        for index in 0..mask.rows() {
            let at = mask.top + index as i32 + row;
            if at < 0 || at as usize >= self.rows {
                continue;
            }
            let base = at as usize * self.words;
            for run in mask.row(index) {
                let from = (run.from + col).clamp(0, self.cols as i32) as usize;
                let to = (run.to + col).clamp(0, self.cols as i32) as usize;
                set_bits(&mut self.doubled[0][base..base + self.words], from, to);
            }
            self.widen(base);
        }
        self.stamped += 1;
    }

    fn widen(&mut self, base: usize) {
        for level in 1..self.doubled.len() {
            let (lower, upper) = self.doubled.split_at_mut(level);
            let narrow = &lower[level - 1][base..base + self.words];
            let wide = &mut upper[0][base..base + self.words];
            wide.copy_from_slice(narrow);
            or_shifted(wide, narrow, 1 << (level - 1));
        }
    }

    /// Takes away the places where a row of a mask meets taken cells.
    #[inline(always)]
    pub(super) fn test_row(&self, mask: &Mask, index: usize, row: i32, free: &mut Places) {
        let at = mask.top + index as i32 + row;
        if at < 0 || at as usize >= self.rows {
            return;
        }
        for run in mask.row(index) {
            let length = (run.to - run.from).clamp(1, self.cols as i32) as u32;
            let level = length.ilog2() as usize;
            let cells = self.row(level, at as usize);
            free.clear(cells, run.from);
            let last = run.from + length as i32 - (1 << level);
            if last != run.from {
                free.clear(cells, last);
            }
        }
    }

    /// Takes away the places where a disc does not fit with its centre that many cells from the place. The tables may be some
    /// pieces old, which only makes the test milder.
    #[inline(always)]
    pub(super) fn test_disc(&self, disc: usize, col: i32, row: i32, free: &mut Places) {
        if let Some(Some(table)) = self.discs.get(disc)
            && row >= 0
            && (row as usize) < self.rows
        {
            let base = row as usize * self.words;
            free.clear(&table.blocked[base..base + self.words], col);
        }
    }

    /// Of 64 rows from `64 * word` those where a disc fits anywhere with its centre `down` rows below, one bit each.
    #[inline(always)]
    pub(super) fn open_rows(&self, disc: usize, down: i32, word: usize) -> u64 {
        self.discs[disc].as_ref().map_or(u64::MAX, |table| shifted(&table.open, down, word))
    }

    /// Whether a disc fits nowhere.
    pub(super) fn disc_is_full(&self, disc: usize) -> bool {
        matches!(&self.discs[disc], Some(table) if table.full)
    }

    /// Makes the table of a disc, and drops old tables once many pieces were stamped since.
    pub(super) fn prepare_disc(&mut self, disc: usize) {
        if self.stamped > self.fresh + 2 + self.stamped / 8 {
            self.discs.iter_mut().for_each(|table| *table = None);
            self.fresh = self.stamped;
        }
        if self.discs[disc].is_none() {
            self.discs[disc] = Some(self.disc_table(disc));
        }
    }

    fn disc_table(&self, disc: usize) -> Disc {
        let radius = DISC_RATIO.powi(disc as i32);
        let reach = radius.floor() as i32;
        let step = (2 * reach / DISC_ROWS).max(1);
        let mut blocked = vec![0; self.words * self.rows];
        let mut open = vec![0; self.rows / 64 + 1];
        for row in 0..self.rows as i32 {
            let base = row as usize * self.words;
            let out = &mut blocked[base..base + self.words];
            for dy in (-reach..=reach).step_by(step as usize) {
                if row + dy < 0 || row + dy >= self.rows as i32 {
                    continue;
                }
                let half = (radius * radius - f64::from(dy * dy)).max(0.0).sqrt().floor() as i32;
                let length = (2 * half + 1).min(self.cols as i32) as u32;
                let level = length.ilog2() as usize;
                let cells = self.row(level, (row + dy) as usize);
                or_shifted(out, cells, -half);
                or_shifted(out, cells, length as i32 - (1 << level) - half);
            }
            let any = (0..self.cols).step_by(64).any(|col| {
                let valid = if self.cols - col >= 64 { u64::MAX } else { (1 << (self.cols - col)) - 1 };
                !out[col / 64] & valid != 0
            });
            open[row as usize / 64] |= u64::from(any) << (row % 64);
        }
        let full = open.iter().all(|word| *word == 0);
        Disc { blocked, open, full }
    }

    /// How many cells of a ring at a place are taken, in the rows that are looked at; cells outside the map count as taken. Once
    /// `least` cannot be reached, fewer are told: looks from the far side, because parts crowd at the near side and a hopeless
    /// place shows where there is nothing.
    #[inline(always)]
    pub(super) fn taken(&self, halo: &Halo, col: i32, row: i32, least: u32) -> u32 {
        let mut sum = 0;
        for (index, left) in halo.cells.iter().enumerate().rev() {
            if sum + left < least {
                return sum;
            }
            let index = index * halo.step;
            let at = halo.mask.top + index as i32 + row;
            let inside = at >= 0 && (at as usize) < self.rows;
            for run in halo.mask.row(index) {
                let from = (run.from + col).clamp(0, self.cols as i32);
                let to = (run.to + col).clamp(0, self.cols as i32);
                let outside = (run.to - run.from) - (to - from);
                sum += if inside {
                    outside as u32 + count_bits(self.row(0, at as usize), from as usize, to as usize)
                } else {
                    (run.to - run.from) as u32
                };
            }
        }
        sum
    }

    /// Size of a cell, mm.
    pub(super) fn cell(&self) -> f64 {
        self.cell
    }
}

/// Sets the bits `from..to`.
pub(super) fn set_bits(words: &mut [u64], from: usize, to: usize) {
    for_words(from, to, |index, bits| words[index] |= bits);
}

#[inline(always)]
fn count_bits(words: &[u64], from: usize, to: usize) -> u32 {
    let mut sum = 0;
    for_words(from, to, |index, bits| sum += (words[index] & bits).count_ones());
    sum
}

#[inline(always)]
fn for_words(from: usize, to: usize, mut each: impl FnMut(usize, u64)) {
    if from >= to {
        return;
    }
    let (first, last) = (from / 64, (to - 1) / 64);
    for index in first..=last {
        let low = if index == first { u64::MAX << (from % 64) } else { u64::MAX };
        let high = if index == last { u64::MAX >> (63 - (to - 1) % 64) } else { u64::MAX };
        each(index, low & high);
    }
}

/// Bit x of the result is bit x + shift of `words`.
#[inline(always)]
fn shifted(words: &[u64], shift: i32, index: usize) -> u64 {
    let (skip, bits) = (shift.div_euclid(64), shift.rem_euclid(64) as u32);
    let word = |at: i64| usize::try_from(at).ok().and_then(|at| words.get(at)).copied().unwrap_or(0);
    let at = index as i64 + i64::from(skip);
    if bits == 0 { word(at) } else { (word(at) >> bits) | (word(at + 1) << (64 - bits)) }
}

/// Sets the bits of `words` moved down by `shift`, or up; the last of `words` is empty.
fn or_shifted(out: &mut [u64], words: &[u64], shift: i32) {
    let (skip, bits) = (shift.div_euclid(64), shift.rem_euclid(64) as u32);
    let (from, skip) = ((-skip).clamp(0, out.len() as i32) as usize, skip.clamp(0, words.len() as i32) as usize);
    if let (Some(first), Some(word)) = (from.checked_sub(1).and_then(|at| out.get_mut(at)), words.first()) {
        *first |= word << 1 << (63 - bits);
    }
    let pairs = words[skip..].windows(2);
    out[from..].iter_mut().zip(pairs).for_each(|(out, pair)| *out |= (pair[0] >> bits) | (pair[1] << 1 << (63 - bits)));
}
