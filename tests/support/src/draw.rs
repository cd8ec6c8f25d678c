//! Random draws that depend on a seed alone.

/// A stream of random numbers.
pub struct Draw(fastrand::Rng);

impl Draw {
    /// A stream of its own for every `(seed, purpose)`.
    pub fn new(seed: u64, purpose: u64) -> Self {
        let mixed = seed
            .wrapping_mul(0x9E37_79B9_7F4A_7C15)
            .wrapping_add(purpose.wrapping_mul(0xD1B5_4A32_D192_ED03));
        let mut rng = fastrand::Rng::with_seed(mixed ^ (mixed >> 29));
        // Neighbouring seeds give similar first values.
        for _ in 0..4 {
            rng.u64(..);
        }
        Self(rng)
    }

    /// Even between the two.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.0.f64()
    }

    /// Even on a logarithmic scale between the two.
    pub fn ratio(&mut self, low: f64, high: f64) -> f64 {
        self.between(low.ln(), high.ln()).exp()
    }

    /// Normal, mean 0, standard deviation 1 (Box and Muller 1958).
    pub fn normal(&mut self) -> f64 {
        let u = 1.0 - self.0.f64();
        let v = self.0.f64();
        (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()
    }

    /// True with this probability.
    pub fn chance(&mut self, probability: f64) -> bool {
        self.0.f64() < probability
    }

    /// 0 to `count - 1`; `count` must not be 0.
    pub fn below(&mut self, count: usize) -> usize {
        self.0.usize(..count)
    }

    /// One of several.
    pub fn one<T: Copy>(&mut self, of: &[T]) -> T {
        of[self.below(of.len())]
    }

    /// One of several by weight.
    pub fn weighted<T: Copy>(&mut self, of: &[(T, f64)]) -> T {
        let sum: f64 = of.iter().map(|(_, w)| w).sum();
        let mut left = self.between(0.0, sum);
        for &(item, weight) in of {
            left -= weight;
            if left < 0.0 {
                return item;
            }
        }
        of[of.len() - 1].0
    }
}
