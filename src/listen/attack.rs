//! The moment of contact, to a fraction of a millisecond where the sound
//! allows it.
//!
//! What rings is predictable, a new contact is not: linear prediction fitted
//! to the sound before the stroke leaves a residual that jumps at the
//! contact. The jump is found as a change of variance (the criterion that
//! seismologists pick arrivals with: Akaike's, as used by Maeda 1985; from
//! memory).

use super::opening::{self, Opening};
use crate::take::ANALYSIS_RATE_HZ;
use std::sync::LazyLock;

/// Coefficients of the prediction.
const ORDER: usize = 24;
/// Samples it is fitted to: 128 ms.
const FIT: usize = 2048;
/// A single contact is looked for this far before and after the coarse time:
/// 28 ms and 22 ms.
const BACK: usize = 448;
const AHEAD: usize = 352;
/// A rise is placed this long after the contact on average: 8 ms.
const RISE_LATE: usize = 128;
/// Taps of the filters that split the residual, and samples they need beyond
/// either end.
const TAPS: usize = 2 * MARGIN + 1;
const MARGIN: usize = 16;
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
    /// The residual below two of the frequencies that split it.
    through: Vec<f32>,
    below: Vec<f32>,
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
            through: Vec::new(),
            below: Vec::new(),
        }
    }

    /// The contact near sample `coarse` of `samples`, as this rise alone tells
    /// it, and the residual around it. `None` too near the ends.
    pub fn pick(&mut self, samples: &[f32], coarse: usize) -> Option<(Contact, Opening)> {
        let centre = coarse.checked_sub(RISE_LATE)?;
        let from = centre.checked_sub(opening::BACK + MARGIN)?;
        let to = centre + opening::AHEAD + MARGIN;
        if from < ORDER || to > samples.len() {
            return None;
        }
        let past = from - ORDER;
        let prediction = self.fit(&samples[past.saturating_sub(FIT)..past]);
        self.residual.clear();
        self.residual
            .extend(samples[from..to].iter().map(|&x| f64::from(x)));
        for (k, a) in prediction.iter().enumerate() {
            let past = &samples[from - 1 - k..to - 1 - k];
            for (r, &x) in self.residual.iter_mut().zip(past) {
                *r -= a * f64::from(x);
            }
        }
        let near = coarse - BACK - from;
        let contact = self.change(near..near + BACK + AHEAD);
        let contact = Contact {
            at: contact.at + from as f64,
            ..contact
        };
        let opening = Opening::new(&self.powers(), centre, contact.at);
        Some((contact, opening))
    }

    /// Power of the residual in each part of the spectrum, bin by bin.
    fn powers(&mut self) -> [[f32; opening::BINS]; opening::PARTS] {
        const LENGTH: usize = opening::BINS * opening::BIN;
        let mut powers = [[0.0; opening::BINS]; opening::PARTS];
        // Each low-pass takes what lies below it; the next part is what the
        // next one lets through besides.
        self.below.clear();
        self.below.resize(LENGTH, 0.0);
        for (part, powers) in powers.iter_mut().enumerate() {
            self.through.clear();
            if let Some(taps) = LOW_PASS.get(part) {
                self.through.resize(LENGTH, 0.0);
                for (k, &tap) in taps.iter().enumerate() {
                    let shifted = &self.residual[k..k + LENGTH];
                    for (out, &r) in self.through.iter_mut().zip(shifted) {
                        *out += tap * r as f32;
                    }
                }
            } else {
                let middle = &self.residual[MARGIN..MARGIN + LENGTH];
                self.through.extend(middle.iter().map(|&r| r as f32));
            }
            for (power, (through, below)) in powers.iter_mut().zip(
                self.through
                    .chunks(opening::BIN)
                    .zip(self.below.chunks(opening::BIN)),
            ) {
                let sum: f32 = through
                    .iter()
                    .zip(below)
                    .map(|(t, b)| (t - b) * (t - b))
                    .sum();
                *power = sum / opening::BIN as f32;
            }
            std::mem::swap(&mut self.through, &mut self.below);
        }
        powers
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

    /// The best split of a range of the residual into a quiet and a loud part.
    fn change(&mut self, range: std::ops::Range<usize>) -> Contact {
        let first = range.start;
        let residual = &self.residual[range];
        let n = residual.len();
        self.energy.clear();
        self.energy.push(0.0);
        let mut total = 0.0;
        for r in residual {
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

/// Low-passes of linear phase, each a sinc under a Hamming window.
static LOW_PASS: LazyLock<[[f32; TAPS]; opening::SPLITS_HZ.len()]> = LazyLock::new(|| {
    opening::SPLITS_HZ.map(|split_hz| {
        let corner = 2.0 * split_hz / f64::from(ANALYSIS_RATE_HZ);
        let taps: [f64; TAPS] = std::array::from_fn(|i| {
            let x = std::f64::consts::PI * (i as f64 - MARGIN as f64) * corner;
            let sinc = if x == 0.0 { 1.0 } else { x.sin() / x };
            let phase = std::f64::consts::TAU * i as f64 / (TAPS - 1) as f64;
            sinc * (0.54 - 0.46 * phase.cos())
        });
        let sum: f64 = taps.iter().sum();
        taps.map(|tap| (tap / sum) as f32)
    })
});

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

/// Seconds of a sample.
pub fn sample_s(sample: f64) -> f64 {
    sample / f64::from(ANALYSIS_RATE_HZ)
}
