//! From any rate to [`ANALYSIS_RATE_HZ`] without moving anything in time.
//!
//! A polyphase filter: a Kaiser-windowed sinc (Kaiser 1974; the formulas as
//! in Oppenheim & Schafer, Discrete-Time Signal Processing, ch. 7.5) centred
//! on each output instant, so its delay is zero by construction. What lies
//! outside the recording counts as silence. Streaming resamplers on offer
//! delay by a latency that they round to whole samples; this one does not.

#![allow(
    clippy::inline_always,
    reason = "what is not inlined is not compiled for the machine's vectors"
)]

use super::ANALYSIS_RATE_HZ;
use pulp::{Arch, Simd, WithSimd};

/// Suppression of what would fold back, dB.
const ATTENUATION_DB: f64 = 80.0;
/// Where the passband ends and the stopband begins, re the lower of the two
/// Nyquist frequencies. What folds lands above the passband's end.
const PASS: f64 = 0.875;
const STOP: f64 = 1.125;
/// Taps are padded to whole groups of lanes.
const LANES: usize = 8;

/// A streaming resampler for one channel.
pub(super) struct Resampler {
    /// Input samples per output sample as a fraction `step / phases`.
    step: u64,
    phases: u64,
    taps: usize,
    /// `taps` coefficients a phase.
    filters: Vec<f32>,
    /// Input not yet used up, after `taps / 2` samples of silence.
    input: Vec<f32>,
    /// Place in `input` of the first tap of the next output, and its phase.
    at: usize,
    phase: u64,
    taken: u64,
    given: u64,
}

impl Resampler {
    /// A resampler from `rate_hz` (not 0).
    pub(super) fn new(rate_hz: u32) -> Self {
        let common = gcd(rate_hz, ANALYSIS_RATE_HZ);
        let step = u64::from(rate_hz / common);
        let phases = u64::from(ANALYSIS_RATE_HZ / common);
        let lower = f64::from(rate_hz.min(ANALYSIS_RATE_HZ));
        let width = (STOP - PASS) * lower / 2.0 / f64::from(rate_hz);
        let wanted = (ATTENUATION_DB - 7.95) / (2.285 * std::f64::consts::TAU * width);
        let taps = (wanted.ceil() as usize).next_multiple_of(LANES);
        let cutoff = lower / f64::from(rate_hz);
        Self {
            step,
            phases,
            taps,
            filters: filters(phases, taps, cutoff),
            input: vec![0.0; taps / 2 - 1],
            at: 0,
            phase: 0,
            taken: 0,
            given: 0,
        }
    }

    /// Takes samples in and appends what can be said by now to `out`.
    pub(super) fn push(&mut self, samples: &[f32], out: &mut Vec<f32>) {
        self.taken += samples.len() as u64;
        self.input.extend_from_slice(samples);
        self.run(u64::MAX, out);
        // Moving the rest to the front costs, so it waits until it pays.
        if self.at > 1 << 15 {
            self.input.drain(..self.at);
            self.at = 0;
        }
    }

    /// Appends the rest: altogether as many samples as lie within the input.
    pub(super) fn finish(&mut self, out: &mut Vec<f32>) {
        self.input.extend(std::iter::repeat_n(0.0, self.taps));
        let total = (self.taken * self.phases).div_ceil(self.step);
        self.run(total, out);
    }

    fn run(&mut self, total: u64, out: &mut Vec<f32>) {
        Arch::new().dispatch(Run {
            resampler: self,
            total,
            out,
        });
    }

    #[inline(always)]
    fn filter(&mut self, total: u64, out: &mut Vec<f32>) {
        while self.at + self.taps <= self.input.len() && self.given < total {
            let filter = &self.filters[self.phase as usize * self.taps..][..self.taps];
            out.push(dot(filter, &self.input[self.at..self.at + self.taps]));
            self.given += 1;
            self.phase += self.step;
            self.at += (self.phase / self.phases) as usize;
            self.phase %= self.phases;
        }
    }
}

fn gcd(a: u32, b: u32) -> u32 {
    if b == 0 { a } else { gcd(b, a % b) }
}

/// The filter of every phase; `cutoff` re the input's Nyquist frequency.
fn filters(phases: u64, taps: usize, cutoff: f64) -> Vec<f32> {
    let beta = 0.1102 * (ATTENUATION_DB - 8.7);
    let norm = bessel_i0(beta);
    let half = taps as f64 / 2.0;
    let mut all = Vec::with_capacity(phases as usize * taps);
    let mut one = vec![0.0f64; taps];
    for phase in 0..phases {
        let fraction = phase as f64 / phases as f64;
        for (k, value) in one.iter_mut().enumerate() {
            // Distance of tap k from the output instant, input samples.
            let t = k as f64 - (half - 1.0) - fraction;
            let inside = 1.0 - (t / half).powi(2);
            let window = bessel_i0(beta * inside.max(0.0).sqrt()) / norm;
            let x = std::f64::consts::PI * cutoff * t;
            let sinc = if x.abs() < 1e-9 { 1.0 } else { x.sin() / x };
            *value = window * sinc;
        }
        // Every phase passes a constant unchanged.
        let sum: f64 = one.iter().sum();
        all.extend(one.iter().map(|v| (v / sum) as f32));
    }
    all
}

/// Modified Bessel function of the first kind and order 0, by its series.
fn bessel_i0(x: f64) -> f64 {
    let quarter = x * x / 4.0;
    let (mut term, mut sum, mut k) = (1.0, 1.0, 1.0);
    while term > sum * 1e-12 {
        term *= quarter / (k * k);
        sum += term;
        k += 1.0;
    }
    sum
}

/// [`Resampler::filter`], in the widest vectors of the machine.
struct Run<'a> {
    resampler: &'a mut Resampler,
    total: u64,
    out: &'a mut Vec<f32>,
}

impl WithSimd for Run<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) {
        self.resampler.filter(self.total, self.out);
    }
}

#[inline(always)]
fn dot(a: &[f32], b: &[f32]) -> f32 {
    let mut lanes = [0.0f32; LANES];
    for (x, y) in a.chunks_exact(LANES).zip(b.chunks_exact(LANES)) {
        for i in 0..LANES {
            lanes[i] += x[i] * y[i];
        }
    }
    lanes.iter().sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(rate: u32, input: &[f32], block: usize) -> Vec<f32> {
        let mut resampler = Resampler::new(rate);
        let mut out = Vec::new();
        for part in input.chunks(block) {
            resampler.push(part, &mut out);
        }
        resampler.finish(&mut out);
        out
    }

    // Abramowitz & Stegun, Handbook of Mathematical Functions, table 9.8:
    // e^-x I0(x) = 0.46575 96077 at x = 1 and 0.18354 08126 at x = 5.
    #[test]
    fn bessel_function_as_in_abramowitz_and_stegun() {
        assert!((bessel_i0(1.0) * (-1.0f64).exp() - 0.465_759_607_7).abs() < 1e-9);
        assert!((bessel_i0(5.0) * (-5.0f64).exp() - 0.183_540_812_6).abs() < 1e-9);
    }

    #[test]
    fn a_sine_stays_in_place_and_high_tones_do_not_fold() {
        for rate in [
            8000, 11_025, 22_050, 32_000, 44_100, 48_000, 47_999, 96_000, 192_000,
        ] {
            let tone = |hz: f64, rate: u32, n: usize| -> Vec<f32> {
                (0..n)
                    .map(|i| (std::f64::consts::TAU * hz * i as f64 / f64::from(rate)).sin() as f32)
                    .collect()
            };
            let out = run(rate, &tone(1000.0, rate, rate as usize), 1000);
            assert_eq!(out.len(), 16_000, "{rate}");
            let truth = tone(1000.0, 16_000, 16_000);
            for i in 200..15_800 {
                assert!((out[i] - truth[i]).abs() < 1e-3, "{rate}: {i}");
            }
            if rate > 22_050 {
                let out = run(rate, &tone(9500.0, rate, rate as usize), 777);
                let most = out[200..15_800].iter().fold(0.0f32, |a, v| a.max(v.abs()));
                assert!(most < 3e-4, "{rate}: {most}");
            }
        }
    }

    #[test]
    fn blocks_of_any_size_give_the_same_samples() {
        let input: Vec<f32> = (0..30_000u64)
            .map(|i| (i.wrapping_mul(2_654_435_761) % 1000) as f32 / 500.0 - 1.0)
            .collect();
        let whole = run(44_100, &input, 30_000);
        assert_eq!(whole, run(44_100, &input, 1));
        assert_eq!(whole, run(44_100, &input, 4097));
    }
}
