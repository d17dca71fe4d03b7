//! Seeded numbers for random cases.

/// SplitMix64 (G. L. Steele, D. Lea, C. H. Flood, *Fast splittable pseudorandom number generators*, 2014).
pub(crate) struct Chance(u64);

impl Chance {
    pub(crate) fn new(seed: u64) -> Chance {
        Chance(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15))
    }

    /// The next 64 bits.
    pub(crate) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// 0 to below 1.
    pub(crate) fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// 0 to below `count`.
    pub(crate) fn below(&mut self, count: u32) -> u32 {
        (self.next() % u64::from(count)) as u32
    }

    pub(crate) fn of<T: Copy>(&mut self, choices: &[T]) -> T {
        choices[self.below(choices.len() as u32) as usize]
    }

    /// In another order.
    pub(crate) fn shuffled<T: Clone>(&mut self, list: &[T]) -> Vec<T> {
        let mut list = list.to_vec();
        for last in (1..list.len()).rev() {
            list.swap(last, self.below(last as u32 + 1) as usize);
        }
        list
    }
}
