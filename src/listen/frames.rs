//! Short-time power in a few bands: the frames that every later stage shares.

use super::{BANDS, Bands};
use crate::take::ANALYSIS_RATE_HZ;
use realfft::{RealFftPlanner, RealToComplex};
use std::sync::Arc;

/// Samples between frames: 5 ms.
pub const HOP: usize = 80;
/// Samples a frame looks at: 32 ms, weighted by a Hann window.
pub const WINDOW: usize = 512;
/// Seconds between frames.
pub const HOP_S: f64 = HOP as f64 / ANALYSIS_RATE_HZ as f64;
/// Power that counts as silence, re full scale.
const SILENCE: f32 = 1e-13;

/// First and past-the-last FFT bin of each band. A bin is 31.25 Hz wide, so
/// the bands span 47-140, -250, -430, -750, -1300, -2300, -4200 and -7600 Hz:
/// near-equal steps on a logarithmic scale above the principal tones.
const EDGES: [usize; BANDS + 1] = [2, 5, 8, 14, 24, 42, 74, 135, 244];

/// Turns a stream of samples into band frames. Frame `i` is centred on sample
/// `i * HOP`; what lies before the take counts as silence.
pub struct Framer {
    fft: Arc<dyn RealToComplex<f32>>,
    window: Vec<f32>,
    input: Vec<f32>,
    spectrum: Vec<realfft::num_complex::Complex<f32>>,
    scratch: Vec<realfft::num_complex::Complex<f32>>,
    pending: Vec<f32>,
    bands: Bands,
}

impl Framer {
    pub fn new() -> Self {
        let fft = RealFftPlanner::<f32>::new().plan_fft_forward(WINDOW);
        let window: Vec<f32> = (0..WINDOW)
            .map(|i| {
                let phase = std::f64::consts::TAU * (i as f64 + 0.5) / WINDOW as f64;
                (0.5 - 0.5 * phase.cos()) as f32
            })
            .collect();
        Self {
            input: fft.make_input_vec(),
            spectrum: fft.make_output_vec(),
            scratch: fft.make_scratch_vec(),
            fft,
            window,
            pending: vec![0.0; WINDOW / 2],
            bands: Bands {
                hop_s: HOP_S,
                level_db: Vec::new(),
            },
        }
    }

    /// Takes in further samples.
    pub fn push(&mut self, samples: &[f32]) {
        self.pending.extend_from_slice(samples);
        let mut start = 0;
        while start + WINDOW <= self.pending.len() {
            let frame = self.frame(start);
            self.bands.level_db.push(frame);
            start += HOP;
        }
        self.pending.drain(..start);
    }

    /// Ends the stream; the frames at the end look into silence.
    pub fn finish(mut self) -> Bands {
        self.push(&[0.0; WINDOW / 2]);
        self.bands
    }

    fn frame(&mut self, start: usize) -> [f32; BANDS] {
        let samples = &self.pending[start..start + WINDOW];
        for ((out, x), w) in self.input.iter_mut().zip(samples).zip(&self.window) {
            *out = x * w;
        }
        let mut levels = [0.0; BANDS];
        let done =
            self.fft
                .process_with_scratch(&mut self.input, &mut self.spectrum, &mut self.scratch);
        debug_assert!(done.is_ok(), "buffers come from the plan itself");
        // A full-scale sine gives power 1/2: 4 / (sum of the window)^2 per
        // bin pair, spread over 1.5 bins by the Hann window.
        let scale = 8.0 / (3.0 * (WINDOW * WINDOW) as f32) * 2.0;
        for (level, edge) in levels.iter_mut().zip(EDGES.windows(2)) {
            let power: f32 = self.spectrum[edge[0]..edge[1]]
                .iter()
                .map(|c| c.norm_sqr())
                .sum();
            *level = 10.0 * (power * scale + SILENCE).log10();
        }
        levels
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_full_scale_sine_has_its_power_in_its_band_alone() {
        let rate = f64::from(ANALYSIS_RATE_HZ);
        let sine: Vec<f32> = (0..16_000)
            .map(|i| (std::f64::consts::TAU * 590.0 * f64::from(i) / rate).sin() as f32)
            .collect();
        let mut framer = Framer::new();
        framer.push(&sine);
        let bands = framer.finish();
        assert_eq!(bands.level_db.len(), 201);
        let middle = bands.level_db[100];
        assert!((middle[3] + 3.01).abs() < 0.1, "{middle:?}");
        assert!(middle[0] < -80.0 && middle[7] < -80.0, "{middle:?}");
    }
}
