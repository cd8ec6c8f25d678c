//! Reproducible chance.
//!
//! The generator is `SplitMix64` (Steele, Lea & Flood 2014, "Fast splittable
//! pseudorandom number generators", OOPSLA). It is written out here because
//! the same seed has to give the same page for years, which general-purpose
//! crates do not promise across versions.

/// Seeds of different uses differ, so that their draws are unrelated.
#[derive(Clone, Debug)]
pub struct Chance(u64);

impl Chance {
    /// A generator that always gives the same numbers for the same seed.
    pub fn seeded(seed: u64) -> Self {
        Self(seed)
    }

    /// 64 random bits.
    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Evenly from 0 inclusive to `end` exclusive; 0 for an `end` of 0. The
    /// bias is below `end` / 2^64.
    pub fn below(&mut self, end: usize) -> usize {
        ((u128::from(self.bits()) * end as u128) >> 64) as usize
    }

    /// Evenly from 0 inclusive to 1 exclusive.
    pub fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Normally distributed, mean 0, standard deviation 1 (Box & Muller
    /// 1958).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.unit()).cos()
    }

    /// Puts a slice into random order (Fisher & Yates).
    pub fn shuffle<T>(&mut self, values: &mut [T]) {
        for last in (1..values.len()).rev() {
            values.swap(last, self.below(last + 1));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The first outputs for seed 1234567, as the public reference program
    /// of the generator prints them (from memory).
    #[test]
    fn the_sequence_is_the_published_one() {
        let mut chance = Chance::seeded(1_234_567);
        assert_eq!(chance.bits(), 6_457_827_717_110_365_317);
        assert_eq!(chance.bits(), 3_203_168_211_198_807_973);
    }

    #[test]
    fn normal_numbers_have_mean_0_and_deviation_1() {
        let mut chance = Chance::seeded(7);
        let drawn: Vec<f64> = (0..20_000).map(|_| chance.normal()).collect();
        assert!(crate::stats::mean(&drawn).unwrap().abs() < 0.03);
        assert!((crate::stats::sd(&drawn).unwrap() - 1.0).abs() < 0.03);
    }
}
