//! From values to places on a drawing, and where an axis has its ticks.

/// A straight scale. `from` and `to` are values, `at_from` and `at_to` where
/// they lie.
#[derive(Clone, Copy, Debug)]
pub struct Scale {
    pub from: f64,
    pub to: f64,
    pub at_from: f64,
    pub at_to: f64,
}

impl Scale {
    /// Where a value lies; values outside lie outside.
    pub fn at(&self, value: f64) -> f64 {
        let span = self.to - self.from;
        if span == 0.0 {
            return self.at_from;
        }
        self.at_from + (value - self.from) / span * (self.at_to - self.at_from)
    }

    /// Where a value lies, held inside the ends.
    pub fn held(&self, value: f64) -> f64 {
        let (low, high) = (self.from.min(self.to), self.from.max(self.to));
        self.at(value.clamp(low, high))
    }

    /// Round values along the scale, about `most` of them at most.
    pub fn ticks(&self, most: usize) -> Vec<f64> {
        ticks(self.from.min(self.to), self.from.max(self.to), most)
    }
}

/// Multiples of 1, 2 or 5 times a power of ten from `from` to `to`.
pub fn ticks(from: f64, to: f64, most: usize) -> Vec<f64> {
    let step = step(to - from, most);
    if !(step > 0.0 && step.is_finite()) {
        return Vec::new();
    }
    let first = (from / step - 1e-9).ceil() as i64;
    let last = (to / step + 1e-9).floor() as i64;
    (first..=last).map(|k| k as f64 * step).collect()
}

/// The distance of round ticks over a span.
pub fn step(span: f64, most: usize) -> f64 {
    let raw = span / most.max(1) as f64;
    if raw.is_nan() || raw <= 0.0 {
        return 0.0;
    }
    let power = 10f64.powf(raw.log10().floor());
    let factor = [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .find(|f| f * power >= raw * (1.0 - 1e-9))
        .unwrap_or(10.0);
    factor * power
}

/// Decimals that tell ticks of this distance apart.
pub fn decimals(step: f64) -> usize {
    match step {
        s if s >= 1.0 => 0,
        s if s >= 0.1 => 1,
        _ => 2,
    }
}

/// Every `step`-th of `count` places, so that at most `most` are named.
pub fn thinned(count: usize, most: usize) -> usize {
    [1, 2, 4, 5, 8, 10, 20, 25, 50, 100, 200, 500]
        .into_iter()
        .find(|s| count.div_ceil(*s) <= most.max(1))
        .unwrap_or(1000)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_inside() {
        assert_eq!(
            ticks(-30.0, 30.0, 6),
            [-30.0, -20.0, -10.0, 0.0, 10.0, 20.0, 30.0]
        );
        assert_eq!(ticks(96.2, 103.9, 4), [98.0, 100.0, 102.0]);
        assert!(ticks(1.0, 1.0, 5).is_empty());
        assert!(ticks(f64::NAN, 1.0, 5).is_empty());
    }

    #[test]
    fn a_scale_holds_what_lies_outside() {
        let scale = Scale {
            from: 0.0,
            to: -40.0,
            at_from: 10.0,
            at_to: 50.0,
        };
        assert!((scale.at(-20.0) - 30.0).abs() < 1e-9);
        assert!((scale.held(-99.0) - 50.0).abs() < 1e-9);
    }
}
