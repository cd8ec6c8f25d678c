//! Power spectra of samples as they come, frame by frame.

use realfft::num_complex::Complex;
use realfft::{RealFftPlanner, RealToComplex};
use std::sync::Arc;

/// Cuts samples into frames under a Hann window, one beside the other.
pub(super) struct Spectra {
    length: usize,
    window: Vec<f32>,
    frame: Vec<f32>,
    fft: Arc<dyn RealToComplex<f32>>,
    spectrum: Vec<Complex<f32>>,
    power: Vec<f64>,
}

impl Spectra {
    /// Frames of `length` samples.
    pub fn new(length: usize) -> Self {
        let fft = RealFftPlanner::new().plan_fft_forward(length);
        let window = (0..length)
            .map(|i| 0.5 - 0.5 * (std::f32::consts::TAU * i as f32 / length as f32).cos())
            .collect();
        Self {
            length,
            window,
            frame: Vec::with_capacity(length),
            spectrum: fft.make_output_vec(),
            power: Vec::with_capacity(length / 2 + 1),
            fft,
        }
    }

    /// Takes in samples, and hands over the power spectrum of every frame that
    /// is then full: mean square re full scale, from 0 to half the rate.
    pub fn push(&mut self, mut samples: &[f32], mut each: impl FnMut(&[f64])) {
        while !samples.is_empty() {
            let room = (self.length - self.frame.len()).min(samples.len());
            let (now, later) = samples.split_at(room);
            self.frame.extend_from_slice(now);
            samples = later;
            if self.frame.len() == self.length {
                if self.transform() {
                    each(&self.power);
                }
                self.frame.clear();
            }
        }
    }

    /// Whether the spectrum could be taken; lengths that fit always can.
    fn transform(&mut self) -> bool {
        for (v, w) in self.frame.iter_mut().zip(&self.window) {
            *v *= w;
        }
        // A Hann window keeps 3/8 of the power.
        let scale = 2.0 / (0.375 * (self.length * self.length) as f64);
        let done = self.fft.process(&mut self.frame, &mut self.spectrum);
        self.power.clear();
        self.power.extend(
            self.spectrum
                .iter()
                .map(|c| f64::from(c.norm_sqr()) * scale),
        );
        done.is_ok()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sine_has_half_the_power_of_its_square_however_it_comes() {
        const LENGTH: usize = 256;
        let sine: Vec<f32> = (0..3 * LENGTH)
            .map(|i| (std::f32::consts::TAU * 10.0 * i as f32 / LENGTH as f32).sin())
            .collect();
        let mut spectra = Spectra::new(LENGTH);
        let mut frames = 0;
        for some in sine.chunks(100) {
            spectra.push(some, |power| {
                frames += 1;
                assert!((power.iter().sum::<f64>() - 0.5).abs() < 1e-3);
            });
        }
        assert_eq!(frames, 3);
    }
}
