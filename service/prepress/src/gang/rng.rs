//! Seeded random numbers: SplitMix64.
//!
//! Source: G. L. Steele, D. Lea, C. H. Flood, *Fast splittable pseudorandom number generators*, OOPSLA 2014, figure 16
//! (the constants are those of the reference implementation by S. Vigna). Small, and a stream per task is one addition
//! away, which is what keeps layouts the same on any number of threads.

/// A stream of random numbers.
#[derive(Clone, Debug)]
pub(super) struct Rng(u64);

impl Rng {
    /// The stream of a task: equal seeds and tasks give equal streams.
    pub(super) fn new(seed: u64, task: u64) -> Rng {
        let mut rng = Rng(seed ^ task.wrapping_mul(0xd134_2543_de82_ef95));
        rng.next();
        rng
    }

    /// The next 64 bits.
    pub(super) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// At least 0, under 1.
    pub(super) fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_stream_is_that_of_the_reference_implementation() {
        // First outputs of SplitMix64 seeded with 1234567, as published with S. Vigna's reference code's test vectors.
        let mut rng = Rng(1_234_567);
        assert_eq!(rng.next(), 6_457_827_717_110_365_317);
        assert_eq!(rng.next(), 3_203_168_211_198_807_973);
    }
}
