//! The take below 1 kHz, at an eighth of the rate.

use super::LowBand;
use crate::take::ANALYSIS_RATE_HZ;

/// How many samples make one.
const FACTOR: usize = 8;
/// Half the length of the filter, in samples of the full rate: a multiple of
/// [`FACTOR`].
const HALF: usize = 96;

/// Filters and thins out a stream of samples (windowed-sinc low-pass at
/// 900 Hz, zero phase: the delay is taken out).
pub struct Decimator {
    taps: Vec<f32>,
    /// Samples from the first that the next output looks at: each phase holds
    /// every [`FACTOR`]th.
    phases: [Vec<f32>; FACTOR],
    /// The phase of the next sample.
    phase: usize,
    out: Vec<f32>,
}

impl Decimator {
    pub fn new() -> Self {
        let cut = 900.0 / f64::from(ANALYSIS_RATE_HZ);
        let mut taps: Vec<f64> = (0..=2 * HALF)
            .map(|i| {
                let x = i as f64 - HALF as f64;
                let phase = std::f64::consts::TAU * cut * x;
                let sinc = if x == 0.0 {
                    2.0 * cut
                } else {
                    phase.sin() / (std::f64::consts::PI * x)
                };
                let hann = 0.5 + 0.5 * (std::f64::consts::PI * x / (HALF as f64 + 1.0)).cos();
                sinc * hann
            })
            .collect();
        let sum: f64 = taps.iter().sum();
        taps.iter_mut().for_each(|t| *t /= sum);
        Self {
            taps: taps.iter().map(|&t| t as f32).collect(),
            phases: std::array::from_fn(|_| vec![0.0; HALF / FACTOR]),
            phase: 0,
            out: Vec::new(),
        }
    }

    /// Takes in further samples.
    pub fn push(&mut self, samples: &[f32]) {
        for i in 0..FACTOR {
            let phase = &mut self.phases[(self.phase + i) % FACTOR];
            phase.extend(samples.iter().skip(i).step_by(FACTOR));
        }
        self.phase = (self.phase + samples.len()) % FACTOR;
        // The last tap stands in the first phase.
        let ready = self.phases[0].len().saturating_sub(2 * HALF / FACTOR);
        if ready == 0 {
            return;
        }
        let first = self.out.len();
        self.out.resize(first + ready, 0.0);
        for (k, tap) in self.taps.iter().enumerate() {
            let phase = &self.phases[k % FACTOR][k / FACTOR..];
            for (sum, x) in self.out[first..].iter_mut().zip(phase) {
                *sum += x * tap;
            }
        }
        for phase in &mut self.phases {
            phase.drain(..ready);
        }
    }

    /// Ends the stream.
    pub fn finish(mut self) -> LowBand {
        self.push(&[0.0; HALF]);
        LowBand {
            rate_hz: f64::from(ANALYSIS_RATE_HZ) / FACTOR as f64,
            samples: self.out,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_take_of_any_length_has_one_for_every_eighth_begun() {
        for samples in [0, 1, 7, 8, 9, 200] {
            let mut decimator = Decimator::new();
            vec![0.5; samples]
                .iter()
                .for_each(|&s| decimator.push(&[s]));
            assert_eq!(decimator.finish().samples.len(), samples.div_ceil(FACTOR));
        }
    }

    #[test]
    fn a_low_sine_passes_without_delay_and_a_high_one_does_not() {
        let rate = f64::from(ANALYSIS_RATE_HZ);
        for (hz, gain) in [(100.0, 1.0), (400.0, 1.0), (1300.0, 0.0), (1900.0, 0.0)] {
            let mut decimator = Decimator::new();
            let wave = |i: usize| (std::f64::consts::TAU * hz * i as f64 / rate).sin() as f32;
            let all: Vec<f32> = (0..16_000).map(wave).collect();
            all.chunks(777).for_each(|c| decimator.push(c));
            let low = decimator.finish();
            assert_eq!(low.samples.len(), 2_000);
            for i in 100..1900 {
                assert!(
                    (low.samples[i] - gain * wave(i * 8)).abs() < 0.01,
                    "{hz} Hz at {i}"
                );
            }
        }
    }
}
