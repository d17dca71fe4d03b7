//! Damaged input from sound seeds: flipped bits, odd numbers, cut and doubled stretches, pieces of other seeds, words of the
//! format. After the mutations that are usual in the field (Zalewski, afl-fuzz, `docs/technical_details.txt`).

use crate::chance::Chance;

/// Numbers that parsers stumble over, in four bytes.
const ODD: [u32; 10] = [0, 1, 0x7F, 0x80, 0xFF, 0x7FFF, 0xFFFF, 0x7FFF_FFFF, 0x8000_0000, 0xFFFF_FFFF];

/// Longest input that is made.
const MAX_BYTES: usize = 1 << 18;

/// Makes input from seeds.
pub(crate) struct Mutator {
    chance: Chance,
    seeds: Vec<Vec<u8>>,
    words: &'static [&'static [u8]],
}

impl Mutator {
    pub(crate) fn new(chance: Chance, seeds: Vec<Vec<u8>>, words: &'static [&'static [u8]]) -> Mutator {
        Mutator { chance, seeds, words }
    }

    /// A number under a bound, which may be 0.
    fn under(&mut self, bound: usize) -> usize {
        (self.chance.next() % bound.max(1) as u64) as usize
    }

    pub(crate) fn next_input(&mut self) -> Vec<u8> {
        let chosen = self.under(self.seeds.len());
        let mut input = self.seeds[chosen].clone();
        for _ in 0..=self.under(6) {
            self.damage(&mut input);
        }
        input.truncate(MAX_BYTES);
        input
    }

    fn damage(&mut self, input: &mut Vec<u8>) {
        let at = self.place(input.len());
        match self.under(9) {
            0 if !input.is_empty() => input[at] ^= 1 << self.under(8),
            1 if !input.is_empty() => input[at] = self.chance.next() as u8,
            2 => {
                let number = ODD[self.under(ODD.len())];
                let bytes = if self.under(2) == 0 { number.to_be_bytes() } else { number.to_le_bytes() };
                let from = self.under(4);
                for (target, byte) in input.iter_mut().skip(at).zip(&bytes[from..]) {
                    *target = *byte;
                }
            }
            3 => input.truncate(at),
            4 => {
                let length = self.under(64).min(input.len() - at);
                input.drain(at..at + length);
            }
            5 => {
                let length = self.under(256).min(input.len() - at);
                let piece = input[at..at + length].to_vec();
                self.insert(input, &piece);
            }
            6 => {
                let other = self.under(self.seeds.len());
                let from = self.place(self.seeds[other].len());
                let length = self.under(256).min(self.seeds[other].len() - from);
                let piece = self.seeds[other][from..from + length].to_vec();
                self.insert(input, &piece);
            }
            7 if !self.words.is_empty() => {
                let word = self.words[self.under(self.words.len())];
                self.insert(input, word);
            }
            _ => {
                let piece = [self.chance.next() as u8, self.chance.next() as u8];
                self.insert(input, &piece);
            }
        }
    }

    fn insert(&mut self, input: &mut Vec<u8>, piece: &[u8]) {
        let at = self.place(input.len());
        input.splice(at..at, piece.iter().copied());
    }

    /// A place in an input; every second one in its first bytes, where headers are.
    fn place(&mut self, length: usize) -> usize {
        let near = self.under(2) == 0;
        self.under(if near { length.min(200) } else { length })
    }
}
