//! Values of the pixels of a set, found by their places without searching.

use rayon::prelude::*;

use super::bits::{Bits, WORD};
use crate::cancel::Cancel;
use crate::fault::Fault;

/// Rows whose values are made at once, between two looks at the flag. Tried.
const ROWS: usize = 16;

/// One value for each pixel of a set.
pub(super) struct Values<'a, T> {
    of: &'a Bits,
    /// How many of the set's pixels there are before each word of it.
    before: Vec<u32>,
    values: Vec<T>,
}

impl<'a, T: Copy + Send + Sync> Values<'a, T> {
    /// Makes a value from each pixel's number.
    pub(super) fn new(of: &'a Bits, make: impl Fn(usize) -> T + Sync, cancel: &Cancel) -> Result<Values<'a, T>, Fault> {
        let of_band = |band: usize| {
            cancel.check()?;
            let rows = band * ROWS..((band + 1) * ROWS).min(of.height);
            let mut values = Vec::new();
            // Not collected: a chain of chains is slow to be stepped through from without.
            rows.flat_map(|y| of.indices_of_row(y)).for_each(|index| values.push(make(index)));
            Ok(values)
        };
        let values: Vec<Vec<T>> =
            (0..of.height.div_ceil(ROWS)).into_par_iter().map(of_band).collect::<Result<_, Fault>>()?;
        let before =
            of.words().iter().scan(0, |before, word| Some(std::mem::replace(before, *before + word.count_ones())));
        Ok(Values { of, before: before.collect(), values: values.concat() })
    }

    /// The value of a pixel; `None` where it is not of the set.
    pub(super) fn get(&self, index: usize) -> Option<T> {
        self.at(self.of.place(index))
    }

    /// Folds the values of those of a pixel's neighbours that are of the set, in order.
    pub(super) fn fold_around<A>(&self, index: usize, mut folded: A, fold: impl Fn(A, T) -> A) -> A {
        let (x, y) = self.of.place(index);
        let bit = x % WORD;
        if bit == 0 || bit == WORD - 1 {
            let values = self.of.around_place((x, y)).filter_map(|place| self.at(place));
            return values.fold(folded, fold);
        }
        for row in y.saturating_sub(1)..=(y + 1).min(self.of.height - 1) {
            let (word, _) = self.of.locate((x, row));
            let bits = self.of.words()[word];
            let three = bits >> (bit - 1) & if row == y { 0b101 } else { 0b111 };
            if three != 0 {
                // The pixel itself is no neighbour, but has its place among the values.
                let first = self.rank(word, bit - 1);
                let mut rest = three;
                while rest != 0 {
                    let at = rest.trailing_zeros();
                    rest &= rest - 1;
                    let between = (bits >> (bit - 1) & ((1 << at) - 1)).count_ones() as usize;
                    folded = fold(folded, self.values[first + between]);
                }
            }
        }
        folded
    }

    fn at(&self, place: (usize, usize)) -> Option<T> {
        let (word, bit) = self.of.locate(place);
        let is_of_set = self.of.words()[word] >> bit & 1 == 1;
        is_of_set.then(|| self.values[self.rank(word, bit)])
    }

    /// How many pixels of the set there are before a bit of a word.
    fn rank(&self, word: usize, bit: usize) -> usize {
        (self.before[word] + (self.of.words()[word] & ((1 << bit) - 1)).count_ones()) as usize
    }

    /// All pixels with their values, in order.
    pub(super) fn iter(&self) -> impl Iterator<Item = (usize, T)> {
        self.of.indices().zip(self.values.iter().copied())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_pixel_of_the_set_has_its_own_value() {
        let mut set = Bits::none(130, 40);
        (0..130 * 40).filter(|index| index % 7 == 0 || index % 130 == 64).for_each(|index| set.insert(index));
        let values = Values::new(&set, |index| index * 3, &Cancel::new()).expect("nobody cancels");
        for index in 0..130 * 40 {
            assert_eq!(values.get(index), set.contains(index).then_some(index * 3));
            let around: Vec<usize> = set.around(index).filter(|at| set.contains(*at)).map(|at| at * 3).collect();
            let folded = values.fold_around(index, Vec::new(), |mut all, value| {
                all.push(value);
                all
            });
            assert_eq!(folded, around);
        }
        assert!(values.iter().eq(set.indices().map(|index| (index, index * 3))));
    }
}
