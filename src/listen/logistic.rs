//! Logistic models of a few features, each with its weights in a small file.
//!
//! The weights are fitted by `cargo bench --bench train` on generated takes
//! and kept beside the file of the model.

/// The weight of each of `N` features.
pub struct Logistic<const N: usize>(pub [f64; N]);

impl<const N: usize> Logistic<N> {
    /// From lines of a name, a comma and a weight; a name that is not there
    /// has no weight.
    pub fn read(names: &[&str; N], lines: &str) -> Self {
        let mut weights = [0.0; N];
        for line in lines.lines() {
            if let Some((name, weight)) = line.split_once(',')
                && let Some(place) = names.iter().position(|n| *n == name)
            {
                weights[place] = weight.trim().parse().unwrap_or(0.0);
            }
        }
        Self(weights)
    }

    /// Natural log odds.
    pub fn log_odds(&self, features: &[f32; N]) -> f64 {
        let pairs = features.iter().zip(&self.0);
        pairs.map(|(&f, w)| f64::from(f) * w).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weights_find_their_features() {
        let model = Logistic::read(&["one", "two", "three"], "three,-2.5\none,0.5\nfour,9\n");
        assert!((model.log_odds(&[2.0, 100.0, 1.0]) - -1.5).abs() < 1e-12);
    }
}
