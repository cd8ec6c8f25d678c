//! Spectra of the clicks of a metronome.

use super::Metronome;
use crate::stats;
use crate::take::ANALYSIS_RATE_HZ;
use realfft::num_complex::Complex;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};
use std::sync::Arc;

/// Samples of a spectrum, and of the sound that it is of, 128 and 100 ms; of
/// these so many come before the click, 7 ms.
pub const FFT: usize = 2048;
const LASTS: usize = 1600;
const EARLY: i64 = 112;
/// Samples over which a sound fades in and out, and the longest share of the
/// time to the next click that it lasts.
const FADE_IN: usize = 40;
const FADE_OUT: usize = 400;
const LASTS_SHARE: f64 = 0.9;
/// Hertz below which nothing is heard of a click: drums are there.
const FROM_HZ: f64 = 150.0;
/// Bins of a spectrum.
pub const BINS: usize = FFT / 2 + 1;
/// Bins to either side over which power is smoothed: 94 Hz.
pub const SMOOTH: usize = 12;
/// Power of a bin that counts as nothing.
pub const LEAST_POWER: f32 = 1e-20;

/// The bins of a sound.
pub type Spectrum = Vec<Complex<f32>>;

/// Where the clicks of a take are looked at.
pub struct Bench<'a> {
    metronome: &'a Metronome,
    forward: Arc<dyn RealToComplex<f32>>,
    backward: Arc<dyn ComplexToReal<f32>>,
    window: Vec<f32>,
    /// Degrees of freedom of a bin.
    pub freedom: f64,
}

impl<'a> Bench<'a> {
    pub fn new(metronome: &'a Metronome) -> Self {
        let mut planner = RealFftPlanner::new();
        let most = LASTS_SHARE * metronome.period_s * f64::from(ANALYSIS_RATE_HZ);
        let lasts = LASTS.min(most as usize);
        let fade = |i: usize, over: usize| {
            let share = ((i as f32 + 0.5) / over as f32).min(1.0);
            (std::f32::consts::FRAC_PI_2 * share).sin().powi(2)
        };
        let window: Vec<f32> = (0..lasts)
            .map(|i| fade(i, FADE_IN) * fade(lasts - 1 - i, FADE_OUT))
            .collect();
        let energy: f32 = window.iter().map(|w| w * w).sum();
        Self {
            metronome,
            forward: planner.plan_fft_forward(FFT),
            backward: planner.plan_fft_inverse(FFT),
            freedom: 2.0 * f64::from(energy) / FFT as f64,
            window,
        }
    }

    /// The numbers of all clicks that fall into the take, heard or not.
    pub fn numbers(&self, samples: &[f32]) -> std::ops::RangeInclusive<i64> {
        let number = |time_s: f64| (time_s - self.metronome.zero_s) / self.metronome.period_s;
        let end_s = samples.len() as f64 / f64::from(ANALYSIS_RATE_HZ);
        number(0.0).ceil() as i64..=number(end_s).floor() as i64
    }

    /// The first sample of a click's sound, and by how much the grid has it
    /// begin later.
    fn first(&self, number: i64) -> (i64, f64) {
        let at = self.metronome.click_s(number as f64) * f64::from(ANALYSIS_RATE_HZ);
        (at.floor() as i64 - EARLY, at - at.floor())
    }

    /// The spectrum of a click, as if it stood on a sample.
    pub fn see(&self, samples: &[f32], number: i64) -> Spectrum {
        let (first, beyond) = self.first(number);
        let mut input = self.forward.make_input_vec();
        for ((x, w), at) in input.iter_mut().zip(&self.window).zip(first..) {
            let sample = usize::try_from(at).ok().and_then(|at| samples.get(at));
            *x = w * sample.copied().unwrap_or(0.0);
        }
        let mut spectrum = self.forward.make_output_vec();
        let done = self.forward.process(&mut input, &mut spectrum);
        debug_assert!(done.is_ok(), "buffers come from the plan itself");
        spectrum[..heard_bins().start].fill(Complex::default());
        shifted(&spectrum, -beyond)
    }

    /// Takes a sound from a click, so many samples later than on the grid.
    pub fn subtract(
        &self,
        samples: &mut [f32],
        number: i64,
        sound: &[Complex<f32>],
        late: f64,
        gain: f64,
    ) {
        let (first, beyond) = self.first(number);
        let wave = self.wave(shifted(sound, beyond + late));
        let gain = gain as f32 / FFT as f32;
        for (x, at) in wave.iter().zip(first..) {
            let sample = usize::try_from(at).ok().and_then(|at| samples.get_mut(at));
            if let Some(sample) = sample {
                *sample -= gain * x;
            }
        }
    }

    /// The wave of a spectrum, so many times too large as it has samples.
    pub fn wave(&self, mut spectrum: Spectrum) -> Vec<f32> {
        // Neither end has a phase.
        spectrum[0].im = 0.0;
        spectrum[FFT / 2].im = 0.0;
        let mut wave = self.backward.make_output_vec();
        let done = self.backward.process(&mut spectrum, &mut wave);
        debug_assert!(done.is_ok(), "buffers come from the plan itself");
        wave
    }
}

/// The bins in which clicks are heard.
pub fn heard_bins() -> std::ops::Range<usize> {
    (FROM_HZ * FFT as f64 / f64::from(ANALYSIS_RATE_HZ)) as usize..FFT / 2
}

/// A spectrum so many samples later.
pub fn shifted(spectrum: &[Complex<f32>], later: f64) -> Spectrum {
    let turn = Complex::from_polar(1.0, -std::f64::consts::TAU * later / FFT as f64);
    let mut turned = Complex::new(1.0, 0.0);
    let mut shifted = Vec::with_capacity(spectrum.len());
    for x in spectrum {
        shifted.push(x * Complex::new(turned.re as f32, turned.im as f32));
        turned *= turn;
    }
    shifted
}

/// The power of every bin.
pub fn powers(spectrum: &[Complex<f32>]) -> Vec<f32> {
    spectrum.iter().map(Complex::norm_sqr).collect()
}

/// Means over so many neighbours to either side.
pub fn smooth(powers: &[f32], over: usize) -> Vec<f32> {
    let powers: Vec<f64> = powers.iter().map(|&power| f64::from(power)).collect();
    let means = stats::moving_mean(&powers, over);
    means.into_iter().map(|mean| mean as f32).collect()
}
