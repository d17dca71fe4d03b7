//! Damaged input from sound seeds: flipped bits, odd numbers, cut and doubled stretches, pieces of other seeds, words of the
//! format. After the mutations that are usual in the field (Zalewski, afl-fuzz, `docs/technical_details.txt`).

/// Numbers that parsers stumble over, in four bytes.
const ODD: [u32; 10] = [0, 1, 0x7F, 0x80, 0xFF, 0x7FFF, 0xFFFF, 0x7FFF_FFFF, 0x8000_0000, 0xFFFF_FFFF];

/// Longest input that is made.
const MAX_BYTES: usize = 1 << 18;

/// `SplitMix64` (Steele, Lea and Flood 2014).
pub(crate) struct Rng(u64);

impl Rng {
    pub(crate) fn new(seed: u64) -> Rng {
        Rng(seed)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    /// A number under a bound, which may be 0.
    fn under(&mut self, bound: usize) -> usize {
        (self.next() % bound.max(1) as u64) as usize
    }
}

/// Makes input from seeds.
pub(crate) struct Mutator {
    rng: Rng,
    seeds: Vec<Vec<u8>>,
    words: &'static [&'static [u8]],
}

impl Mutator {
    pub(crate) fn new(rng: Rng, seeds: Vec<Vec<u8>>, words: &'static [&'static [u8]]) -> Mutator {
        Mutator { rng, seeds, words }
    }

    pub(crate) fn next_input(&mut self) -> Vec<u8> {
        let chosen = self.rng.under(self.seeds.len());
        let mut input = self.seeds[chosen].clone();
        for _ in 0..=self.rng.under(6) {
            self.damage(&mut input);
        }
        input.truncate(MAX_BYTES);
        input
    }

    fn damage(&mut self, input: &mut Vec<u8>) {
        let at = self.place(input.len());
        match self.rng.under(9) {
            0 if !input.is_empty() => input[at] ^= 1 << self.rng.under(8),
            1 if !input.is_empty() => input[at] = self.rng.next() as u8,
            2 => {
                let number = ODD[self.rng.under(ODD.len())];
                let bytes = if self.rng.under(2) == 0 { number.to_be_bytes() } else { number.to_le_bytes() };
                let from = self.rng.under(4);
                for (target, byte) in input.iter_mut().skip(at).zip(&bytes[from..]) {
                    *target = *byte;
                }
            }
            3 => input.truncate(at),
            4 => {
                let length = self.rng.under(64).min(input.len() - at);
                input.drain(at..at + length);
            }
            5 => {
                let length = self.rng.under(256).min(input.len() - at);
                let piece = input[at..at + length].to_vec();
                self.insert(input, &piece);
            }
            6 => {
                let other = self.rng.under(self.seeds.len());
                let from = self.place(self.seeds[other].len());
                let length = self.rng.under(256).min(self.seeds[other].len() - from);
                let piece = self.seeds[other][from..from + length].to_vec();
                self.insert(input, &piece);
            }
            7 if !self.words.is_empty() => {
                let word = self.words[self.rng.under(self.words.len())];
                self.insert(input, word);
            }
            _ => {
                let piece = [self.rng.next() as u8, self.rng.next() as u8];
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
        let near = self.rng.under(2) == 0;
        self.rng.under(if near { length.min(200) } else { length })
    }
}
