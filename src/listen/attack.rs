//! The moment of contact, to a fraction of a millisecond where the sound
//! allows it.
//!
//! What rings is predictable, a new contact is not: linear prediction fitted
//! to the sound before the stroke leaves a residual that jumps at the
//! contact. The jump is found as a change of variance (the criterion that
//! seismologists pick arrivals with: Akaike's, as used by Maeda 1985; from
//! memory).

use crate::take::ANALYSIS_RATE_HZ;

/// Coefficients of the prediction.
const ORDER: usize = 24;
/// Samples it is fitted to: 128 ms.
const FIT: usize = 2048;
/// The contact is looked for this far before and after the coarse time:
/// 28 ms and 22 ms.
const BACK: usize = 448;
const AHEAD: usize = 352;
/// The variance needs this many samples on each side.
const EDGE: usize = 8;

/// A contact.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Contact {
    /// Sample, fractional.
    pub at: f64,
    /// Its standard uncertainty in samples.
    pub sd: f64,
    /// How much better two variances describe the residual than one, nepers.
    pub gain: f64,
}

/// Working memory for many contacts.
pub struct Picker {
    window: Vec<f64>,
    fit: Vec<f64>,
    residual: Vec<f64>,
    energy: Vec<f64>,
}

impl Picker {
    pub fn new() -> Self {
        let window = (0..FIT)
            .map(|i| {
                let phase = std::f64::consts::PI * (i as f64 + 0.5) / FIT as f64;
                phase.sin()
            })
            .collect();
        Self {
            window,
            fit: vec![0.0; FIT],
            residual: Vec::new(),
            energy: Vec::new(),
        }
    }

    /// The contact near sample `coarse` of `samples`. `None` too near the
    /// ends.
    pub fn pick(&mut self, samples: &[f32], coarse: usize) -> Option<Contact> {
        let from = coarse.checked_sub(BACK + ORDER)?;
        let to = coarse + AHEAD;
        if to > samples.len() {
            return None;
        }
        let fit_from = from.saturating_sub(FIT);
        let prediction = self.fit(&samples[fit_from..from]);
        self.residual.clear();
        for i in from + ORDER..to {
            let past = &samples[i - ORDER..i];
            let guess: f64 = past
                .iter()
                .rev()
                .zip(&prediction)
                .map(|(&x, a)| f64::from(x) * a)
                .sum();
            self.residual.push(f64::from(samples[i]) - guess);
        }
        Some(self.change(from + ORDER))
    }

    /// Prediction coefficients by the autocorrelation method.
    fn fit(&mut self, past: &[f32]) -> [f64; ORDER] {
        let offset = FIT - past.len();
        self.fit.fill(0.0);
        for (i, &x) in past.iter().enumerate() {
            self.fit[offset + i] = f64::from(x) * self.window[offset + i];
        }
        let mut auto = [0.0; ORDER + 1];
        for (lag, out) in auto.iter_mut().enumerate() {
            *out = self.fit[lag..]
                .iter()
                .zip(&self.fit[..FIT - lag])
                .map(|(a, b)| a * b)
                .sum();
        }
        levinson(&auto)
    }

    /// The best split of the residual into a quiet and a loud part.
    fn change(&mut self, first: usize) -> Contact {
        let n = self.residual.len();
        self.energy.clear();
        self.energy.push(0.0);
        let mut total = 0.0;
        for r in &self.residual {
            total += r * r;
            self.energy.push(total);
        }
        let tiny = total / n as f64 * 1e-9 + 1e-18;
        let cost = |k: usize| {
            let quiet = self.energy[k] / k as f64 + tiny;
            let loud = (total - self.energy[k]) / (n - k) as f64 + tiny;
            0.5 * (k as f64 * quiet.ln() + (n - k) as f64 * loud.ln())
        };
        let one = 0.5 * n as f64 * (total / n as f64 + tiny).ln();
        let best = (EDGE..n - EDGE)
            .min_by(|&a, &b| cost(a).total_cmp(&cost(b)))
            .unwrap_or(BACK);
        let least = cost(best);
        // The likelihood of every split gives the mean and spread.
        let (mut sum, mut mean, mut square) = (0.0, 0.0, 0.0);
        for k in EDGE..n - EDGE {
            let weight = (least - cost(k)).exp();
            let x = k as f64 - best as f64;
            sum += weight;
            mean += weight * x;
            square += weight * x * x;
        }
        mean /= sum;
        let sd = (square / sum - mean * mean).max(0.0).sqrt();
        Contact {
            at: first as f64 + best as f64 + mean,
            sd,
            gain: one - least,
        }
    }
}

/// Solves the normal equations of linear prediction (Levinson-Durbin).
fn levinson(auto: &[f64; ORDER + 1]) -> [f64; ORDER] {
    let mut a = [0.0; ORDER];
    // A noise floor 90 dB down keeps a pure tone from being predicted too
    // well to be true.
    let mut error = auto[0] * (1.0 + 1e-9) + 1e-15;
    for m in 0..ORDER {
        let reached: f64 = (0..m).map(|i| a[i] * auto[m - i]).sum();
        let k = (auto[m + 1] - reached) / error;
        let previous = a;
        a[m] = k;
        for i in 0..m {
            a[i] = previous[i] - k * previous[m - 1 - i];
        }
        error *= 1.0 - k * k;
        if error <= 0.0 {
            break;
        }
    }
    a
}

/// How plainly a contact was picked, on a logarithmic scale.
pub fn plainness(gain: f64) -> f64 {
    gain.max(0.0).ln_1p()
}

/// By how many seconds a pick is late on average, and the standard uncertainty
/// of that. Where noise or a room covers the first milliseconds, the pick falls
/// on the growth of the sound some 12 ms after the contact instead; how often,
/// depends on how plainly this contact and the others of the take were picked.
/// Fitted by eye to the table of `cargo bench --bench train -- --check`.
pub fn lateness(gain: f64, of_take: f64) -> (f64, f64) {
    const GROWTH_S: f64 = 0.012;
    let plain = plainness(gain);
    // One in a hundred is late however plain it looks.
    let covered = 0.01 + 0.99 / (1.0 + (-2.0 * (6.0 - 0.5 * of_take - plain)).exp());
    let either = GROWTH_S * (covered * (1.0 - covered)).sqrt();
    let own = 0.0006 + 0.006 * covered + 0.006 * (1.0 - plain / 3.0).max(0.0);
    (GROWTH_S * covered, either.hypot(own))
}

/// Seconds of a sample.
pub fn sample_s(sample: f64) -> f64 {
    sample / f64::from(ANALYSIS_RATE_HZ)
}
