//! Statistics that know nothing of takes: trends, comparisons, curves.
//!
//! Everything is deterministic; where chance is needed it is seeded by a
//! constant ([`chance`]). A result that the data cannot bear is `None`.

pub mod chance;
pub mod difference;
pub mod logistic;
pub mod trend;

/// A range of plausible values, both ends included.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Interval {
    pub low: f64,
    pub high: f64,
}

impl Interval {
    /// Whether a value lies inside.
    pub fn holds(&self, value: f64) -> bool {
        (self.low..=self.high).contains(&value)
    }
}

/// The level at which something is called found: one wrong call in twenty.
pub const ALPHA: f64 = 0.05;

/// A share and its standard uncertainty as an interval that stays between 0
/// and 1 and does not vanish at either (Wilson 1927, JASA 22:209, with z = 1).
/// `None` of nothing.
pub fn share_interval(successes: usize, of: usize) -> Option<Interval> {
    if of == 0 {
        return None;
    }
    let n = of as f64;
    let share = successes as f64 / n;
    let centre = (share + 0.5 / n) / (1.0 + 1.0 / n);
    let half = (share * (1.0 - share) / n + 0.25 / (n * n)).sqrt() / (1.0 + 1.0 / n);
    Some(Interval {
        low: centre - half,
        high: centre + half,
    })
}

/// P-values of several tests made at once, corrected so that one wrong call
/// among all of them stays as rare as the level says (Holm 1979,
/// Scandinavian Journal of Statistics 6:65). In the order given.
pub fn holm(p_values: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..p_values.len()).collect();
    order.sort_by(|&a, &b| p_values[a].total_cmp(&p_values[b]));
    let mut corrected = vec![1.0; p_values.len()];
    let mut so_far: f64 = 0.0;
    for (rank, &i) in order.iter().enumerate() {
        let factor = (p_values.len() - rank) as f64;
        so_far = so_far.max((factor * p_values[i]).min(1.0));
        corrected[i] = so_far;
    }
    corrected
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked by hand from (p + z²/2n ± z sqrt(p(1-p)/n + z²/4n²)) / (1 + z²/n).
    #[test]
    fn a_share_never_is_certain() {
        let close = |found: Interval, low: f64, high: f64| {
            assert!((found.low - low).abs() < 1e-9, "{found:?}");
            assert!((found.high - high).abs() < 1e-9, "{found:?}");
        };
        close(share_interval(10, 10).unwrap(), 10.0 / 11.0, 1.0);
        close(share_interval(0, 4).unwrap(), 0.0, 0.2);
        let half = (0.25_f64 / 8.0 + 0.25 / 64.0).sqrt() / 1.125;
        close(share_interval(4, 8).unwrap(), 0.5 - half, 0.5 + half);
        assert_eq!(share_interval(0, 0), None);
    }

    /// Worked by hand: .01 x 4, .02 x 3, .03 x 2, .04 x 1, kept rising.
    #[test]
    fn holm_multiplies_by_what_is_left() {
        let corrected = holm(&[0.04, 0.01, 0.03, 0.02]);
        for (found, expected) in corrected.iter().zip([0.06, 0.04, 0.06, 0.06]) {
            assert!((found - expected).abs() < 1e-12);
        }
    }
}
