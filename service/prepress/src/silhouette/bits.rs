//! A set of a picture's pixels: one bit for each, in whole words for each row, so that a question about a row's pixels is
//! asked of sixty-four at once.

use rayon::prelude::*;

use crate::cancel::Cancel;
use crate::fault::Fault;

/// Pixels of a word.
pub(super) const WORD: usize = u64::BITS as usize;

/// Rows that are dealt with at once. Tried.
const BAND_ROWS: usize = 128;

/// Steps of a flood between two looks at the flag: about a millisecond.
const STEPS: usize = 1 << 18;

/// Pixels of one row, first and last column.
pub(super) type Run = (usize, usize);

/// Which pixels of a picture. Bits beyond the end of a row are never set.
#[derive(Clone)]
pub(super) struct Bits {
    pub width: usize,
    pub height: usize,
    words_per_row: usize,
    /// Row by row, the leftmost pixel the lowest bit.
    words: Vec<u64>,
}

impl Bits {
    /// No pixel.
    pub(super) fn none(width: usize, height: usize) -> Bits {
        let words_per_row = width.div_ceil(WORD);
        Bits { width, height, words_per_row, words: vec![0; words_per_row * height] }
    }

    /// The words of some rows each, to be filled at once; what is set beyond the end of a row is the caller's fault.
    pub(super) fn bands_mut(&mut self, rows: usize) -> impl IndexedParallelIterator<Item = &mut [u64]> {
        self.words.par_chunks_mut((self.words_per_row * rows).max(1))
    }

    pub(super) fn words_per_row(&self) -> usize {
        self.words_per_row
    }

    /// The words of a row.
    pub(super) fn row(&self, y: usize) -> &[u64] {
        &self.words[y * self.words_per_row..(y + 1) * self.words_per_row]
    }

    /// Whether a pixel, by its column and row, is in it.
    pub(super) fn has(&self, x: usize, y: usize) -> bool {
        let (word, bit) = self.locate((x, y));
        self.words[word] >> bit & 1 == 1
    }

    /// Whether a pixel, by its number row by row, is in it.
    pub(super) fn contains(&self, index: usize) -> bool {
        let (x, y) = self.place(index);
        self.has(x, y)
    }

    /// A pixel's column and row.
    pub(super) fn place(&self, index: usize) -> (usize, usize) {
        (index % self.width, index / self.width)
    }

    /// The word, of all, and the bit of it that stand for a column and a row.
    pub(super) fn locate(&self, (x, y): (usize, usize)) -> (usize, usize) {
        (y * self.words_per_row + x / WORD, x % WORD)
    }

    /// All words, row by row.
    pub(super) fn words(&self) -> &[u64] {
        &self.words
    }

    /// Adds a pixel.
    pub(super) fn insert(&mut self, index: usize) {
        let (word, bit) = self.locate(self.place(index));
        self.words[word] |= 1 << bit;
    }

    /// How many there are.
    pub(super) fn count(&self) -> usize {
        self.words.iter().map(|word| word.count_ones() as usize).sum()
    }

    /// How many there are of some columns of a row.
    pub(super) fn count_in(&self, y: usize, columns: std::ops::Range<usize>) -> usize {
        let words = columns.start / WORD..columns.end.div_ceil(WORD);
        let within = |word: usize| {
            let first = columns.start.saturating_sub(word * WORD);
            let last = columns.end - word * WORD;
            (u64::MAX << first) & if last < WORD { (1 << last) - 1 } else { u64::MAX }
        };
        let row = self.row(y);
        words.map(|word| (row[word] & within(word)).count_ones() as usize).sum()
    }

    /// The pixels, by their numbers, in order.
    pub(super) fn indices(&self) -> impl Iterator<Item = usize> {
        (0..self.height).flat_map(|y| self.indices_of_row(y))
    }

    /// Those of a row.
    pub(super) fn indices_of_row(&self, y: usize) -> impl Iterator<Item = usize> {
        self.runs(y).flat_map(move |(first, last)| y * self.width + first..y * self.width + last + 1)
    }

    /// The first column of a row's pixels from one on.
    pub(super) fn next_of_row(&self, y: usize, from: usize) -> Option<usize> {
        next(self.row(y), from, 0)
    }

    /// The runs of a row, in order.
    pub(super) fn runs(&self, y: usize) -> impl Iterator<Item = Run> {
        let row = self.row(y);
        std::iter::successors(Some((0, 0)), move |(_, after)| {
            let first = next(row, *after, 0)?;
            Some((first, next(row, first, u64::MAX).unwrap_or(self.width).min(self.width)))
        })
        .skip(1)
        .map(|(first, after)| (first, after - 1))
    }

    /// Adds those of another set.
    pub(super) fn add(&mut self, other: &Bits) {
        self.words.iter_mut().zip(&other.words).for_each(|(word, other)| *word |= other);
    }

    /// Those of both.
    pub(super) fn and(mut self, other: &Bits) -> Bits {
        self.words.iter_mut().zip(&other.words).for_each(|(word, other)| *word &= other);
        self
    }

    /// Those that the other has not.
    pub(super) fn without(mut self, other: &Bits) -> Bits {
        self.words.iter_mut().zip(&other.words).for_each(|(word, other)| *word &= !other);
        self
    }

    /// All others of the picture.
    pub(super) fn others(mut self) -> Bits {
        let beyond = self.beyond();
        for row in self.words.chunks_exact_mut(self.words_per_row) {
            row.iter_mut().for_each(|word| *word = !*word);
            row[self.words_per_row - 1] &= !beyond;
        }
        self
    }

    /// Bits of the last word of a row that stand for nothing.
    fn beyond(&self) -> u64 {
        if self.width.is_multiple_of(WORD) { 0 } else { u64::MAX << (self.width % WORD) }
    }

    /// With each pixel's eight neighbours.
    pub(super) fn widened(&self) -> Bits {
        self.by_neighbours(
            |above, own, below| above | own | below,
            |before, own, after| own | own << 1 | own >> 1 | before >> (WORD - 1) | after << (WORD - 1),
        )
    }

    /// Those whose eight neighbours are all in it; beyond the canvas there is none.
    pub(super) fn narrowed(&self) -> Bits {
        self.by_neighbours(
            |above, own, below| above & own & below,
            |before, own, after| own & (own << 1 | before >> (WORD - 1)) & (own >> 1 | after << (WORD - 1)),
        )
    }

    /// Each word from those above and below it, then from those to its left and right; beyond the canvas there is nothing.
    fn by_neighbours(
        &self,
        down: impl Fn(u64, u64, u64) -> u64 + Sync,
        along: impl Fn(u64, u64, u64) -> u64 + Sync,
    ) -> Bits {
        let mut made = Bits::none(self.width, self.height);
        let beyond = self.beyond();
        let nothing = vec![0; self.words_per_row];
        made.bands_mut(BAND_ROWS).enumerate().for_each(|(band, rows)| {
            for (row, y) in rows.chunks_exact_mut(self.words_per_row).zip(band * BAND_ROWS..) {
                let above = if y == 0 { &nothing } else { self.row(y - 1) };
                let below = if y + 1 == self.height { &nothing } else { self.row(y + 1) };
                for (word, ((above, own), below)) in row.iter_mut().zip(above.iter().zip(self.row(y)).zip(below)) {
                    *word = down(*above, *own, *below);
                }
                let mut before = 0;
                for place in 0..row.len() {
                    let (own, after) = (row[place], row.get(place + 1).copied().unwrap_or(0));
                    row[place] = along(before, own, after);
                    before = own;
                }
                row[self.words_per_row - 1] &= !beyond;
            }
        });
        made
    }

    /// The pixels along the canvas's edge, clockwise from the upper left; corners of a canvas of one row or column twice.
    pub(super) fn rim(&self) -> impl Iterator<Item = usize> + use<> {
        let (width, height) = (self.width, self.height);
        let top = 0..width;
        let right = (1..height).map(move |y| y * width + width - 1);
        let bottom = (0..width - 1).rev().map(move |x| (height - 1) * width + x);
        let left = (1..height.max(2) - 1).rev().map(move |y| y * width);
        top.chain(right).chain(bottom).chain(left)
    }

    /// The up to eight neighbours of a pixel on the canvas.
    pub(super) fn around(&self, index: usize) -> impl Iterator<Item = usize> + use<> {
        let width = self.width;
        self.around_place(self.place(index)).map(move |(x, y)| y * width + x)
    }

    /// The same of a column and a row.
    pub(super) fn around_place(&self, (x, y): (usize, usize)) -> impl Iterator<Item = (usize, usize)> + use<> {
        let (first_x, first_y) = (x.saturating_sub(1), y.saturating_sub(1));
        let (last_x, last_y) = ((x + 1).min(self.width - 1), (y + 1).min(self.height - 1));
        let mut places = [(0, 0); 8];
        let mut count = 0;
        for row in first_y..=last_y {
            for column in first_x..=last_x {
                if (column, row) != (x, y) {
                    places[count] = (column, row);
                    count += 1;
                }
            }
        }
        places.into_iter().take(count)
    }

    /// Takes out what hangs together with some pixels, by their sides; tells each run with its row.
    pub(super) fn flood(
        &mut self,
        seeds: impl Iterator<Item = usize>,
        cancel: &Cancel,
        mut tell: impl FnMut(usize, Run),
    ) -> Result<(), Fault> {
        let mut open: Vec<(usize, usize)> = seeds.map(|index| self.place(index)).collect();
        let mut steps = 0;
        while let Some((x, y)) = open.pop() {
            if !self.has(x, y) {
                continue;
            }
            let (first, last) = self.run_at(x, y);
            steps += (last - first) / WORD + 8;
            if steps > STEPS {
                cancel.check()?;
                steps = 0;
            }
            self.remove_run(y, (first, last));
            tell(y, (first, last));
            if y > 0 {
                self.open_runs(y - 1, (first, last), &mut open);
            }
            if y + 1 < self.height {
                self.open_runs(y + 1, (first, last), &mut open);
            }
        }
        Ok(())
    }

    /// The run that a pixel of it belongs to.
    fn run_at(&self, x: usize, y: usize) -> Run {
        let row = self.row(y);
        let last = next(row, x, u64::MAX).unwrap_or(self.width).min(self.width) - 1;
        let mut word = x / WORD;
        // Clear bits up to the pixel's.
        let mut clear = !row[word] & u64::MAX >> (WORD - 1 - x % WORD);
        while clear == 0 && word > 0 {
            word -= 1;
            clear = !row[word];
        }
        let first = if clear == 0 { 0 } else { (word + 1) * WORD - clear.leading_zeros() as usize };
        (first, last)
    }

    /// Adds a run of a row.
    pub(super) fn insert_run(&mut self, y: usize, run: Run) {
        self.on_run(y, run, |word, run| *word |= run);
    }

    /// Takes a run of a row out.
    pub(super) fn remove_run(&mut self, y: usize, run: Run) {
        self.on_run(y, run, |word, run| *word &= !run);
    }

    fn on_run(&mut self, y: usize, (first, last): Run, act: impl Fn(&mut u64, u64)) {
        for word in first / WORD..=last / WORD {
            let low = first.saturating_sub(word * WORD);
            let high = (last - word * WORD).min(WORD - 1);
            let run = (u64::MAX << low) & u64::MAX >> (WORD - 1 - high);
            act(&mut self.words[y * self.words_per_row + word], run);
        }
    }

    /// Adds the first pixel within the columns of each run there.
    fn open_runs(&self, y: usize, (first, last): Run, open: &mut Vec<(usize, usize)>) {
        let row = self.row(y);
        let mut from = first;
        while let Some(x) = next(row, from, 0).filter(|x| *x <= last) {
            open.push((x, y));
            let Some(after) = next(row, x, u64::MAX) else { break };
            from = after;
        }
    }
}

/// The first place from another one on whose bit is set, in words turned by a mask: all ones look for a bit that is not.
fn next(row: &[u64], from: usize, turned: u64) -> Option<usize> {
    let mut word = from / WORD;
    let mut bits = (row.get(word)? ^ turned) & u64::MAX << (from % WORD);
    while bits == 0 {
        word += 1;
        bits = row.get(word)? ^ turned;
    }
    Some(word * WORD + bits.trailing_zeros() as usize)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Pixels that look random, about half of them, in rows that end within a word.
    fn scattered(width: usize, height: usize) -> Bits {
        let mut bits = Bits::none(width, height);
        let mut state = 1_u64;
        for index in 0..width * height {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            if state >> 63 == 1 {
                bits.insert(index);
            }
        }
        bits
    }

    #[test]
    fn sets_answer_as_lists_of_their_pixels_do() {
        for width in [1, 2, 63, 64, 65, 130, 192] {
            let bits = scattered(width, 9);
            let all: Vec<usize> = (0..width * 9).filter(|index| bits.contains(*index)).collect();
            assert_eq!(bits.indices().collect::<Vec<_>>(), all);
            assert_eq!(bits.count(), all.len());
            assert_eq!(bits.clone().others().count(), width * 9 - all.len());
            let in_runs = (0..9).flat_map(|y| bits.runs(y).map(move |run| (y, run)));
            let of_runs = in_runs.flat_map(|(y, (first, last))| (first..=last).map(move |x| y * width + x));
            assert_eq!(of_runs.collect::<Vec<_>>(), all);
            for (first, after) in [(0, width), (width / 3, width), (width / 3, width * 2 / 3)] {
                let counted = (first..after).filter(|x| bits.has(*x, 4)).count();
                assert_eq!(bits.count_in(4, first..after), counted, "{first} to {after} of {width}");
            }
        }
    }

    #[test]
    fn sets_grow_and_shrink_by_all_neighbours() {
        for width in [1, 2, 63, 64, 65, 130, 192] {
            let bits = scattered(width, 9);
            let (wide, narrow) = (bits.widened(), bits.narrowed());
            for index in 0..width * 9 {
                let is = bits.contains(index);
                assert_eq!(wide.contains(index), is || bits.around(index).any(|at| bits.contains(at)));
                let within = bits.around(index).filter(|at| bits.contains(*at)).count() == 8;
                assert_eq!(narrow.contains(index), is && within, "{index} of {width}");
            }
            assert_eq!(wide.clone().others().count() + wide.count(), width * 9);
        }
    }

    #[test]
    fn a_flood_reaches_what_a_search_by_single_pixels_reaches() {
        for width in [1, 2, 63, 64, 65, 130, 192] {
            let bits = scattered(width, 40);
            let mut searched = Bits::none(width, 40);
            let mut open: Vec<usize> = bits.rim().collect();
            while let Some(index) = open.pop() {
                if bits.contains(index) && !searched.contains(index) {
                    searched.insert(index);
                    let sides = |at: &usize| at % width == index % width || at / width == index / width;
                    open.extend(bits.around(index).filter(sides));
                }
            }
            let (mut rest, mut reached) = (bits.clone(), Bits::none(width, 40));
            rest.flood(bits.rim(), &Cancel::new(), |y, run| reached.insert_run(y, run)).expect("nobody cancels");
            assert!(reached.indices().eq(searched.indices()), "{width}");
            rest.add(&reached);
            assert!(rest.indices().eq(bits.indices()), "{width}");
        }
    }
}
