//! Spectra of the low band before and after a moment: what rang, and what a
//! stroke there would have added.

use super::LowBand;
use realfft::num_complex::Complex;
use realfft::{RealFftPlanner, RealToComplex};
use std::sync::Arc;

/// Samples of the low band a spectrum looks at: 100 ms.
pub const SPAN: usize = 200;
/// Padded for the transform: bins 7.8 Hz apart.
const SIZE: usize = 256;
/// Bins compared: 47 to 900 Hz.
pub const FIRST: usize = 6;
pub const BINS: usize = 110;
/// The spectrum after a stroke begins this long after the contact, and the
/// one before ends this long before it, seconds.
pub const AFTER_S: f64 = 0.008;
pub const BEFORE_S: f64 = 0.006;
/// Hertz from bin to bin.
pub const BIN_HZ: f64 = 2000.0 / SIZE as f64;
/// A spectrum that neighbouring strokes leave less room than this says nothing,
/// samples: 40 ms.
const SHORTEST: usize = 80;

pub type Spectrum = [f32; BINS];

/// Power spectra before and after a moment.
#[derive(Clone, Copy)]
pub struct View {
    pub before: Spectrum,
    pub after: Spectrum,
}

/// Makes spectra of the low band.
pub struct Spectra<'a> {
    low: &'a LowBand,
    fft: Arc<dyn RealToComplex<f32>>,
    window: Vec<f32>,
    input: Vec<f32>,
    output: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
}

impl<'a> Spectra<'a> {
    pub fn of(low: &'a LowBand) -> Self {
        let fft = RealFftPlanner::<f32>::new().plan_fft_forward(SIZE);
        Self {
            low,
            window: hann(SPAN),
            input: fft.make_input_vec(),
            output: fft.make_output_vec(),
            scratch: fft.make_scratch_vec(),
            fft,
        }
    }

    /// The spectra that end and begin so long before and after a time.
    pub fn around(&mut self, time_s: f64, before_s: f64, after_s: f64) -> View {
        let (end, start) = (self.place(time_s - before_s), self.place(time_s + after_s));
        self.view(end, start, SPAN)
    }

    /// The same of a candidate's contact at a time, of no more than lies between
    /// the strokes before and after it. `None` where these are too near.
    pub fn between(&mut self, time_s: f64, strokes_s: (f64, f64)) -> Option<View> {
        let (end, start) = (self.place(time_s - BEFORE_S), self.place(time_s + AFTER_S));
        let room = |samples: i64| usize::try_from(samples).unwrap_or(0).min(SPAN);
        let span = room(end - self.place(strokes_s.0 + AFTER_S))
            .min(room(self.place(strokes_s.1 - BEFORE_S) - start));
        (span >= SHORTEST).then(|| self.view(end, start, span))
    }

    fn place(&self, time_s: f64) -> i64 {
        (time_s * self.low.rate_hz).round() as i64
    }

    /// The spectra of so many samples before one place and from another on.
    fn view(&mut self, end: i64, start: i64, span: usize) -> View {
        if self.window.len() != span {
            self.window = hann(span);
        }
        View {
            before: self.from(end - span as i64),
            after: self.from(start),
        }
    }

    fn from(&mut self, start: i64) -> Spectrum {
        self.input.fill(0.0);
        for (i, w) in self.window.iter().enumerate() {
            let sample = usize::try_from(start + i as i64)
                .ok()
                .and_then(|s| self.low.samples.get(s));
            self.input[i] = sample.copied().unwrap_or(0.0) * w;
        }
        let done =
            self.fft
                .process_with_scratch(&mut self.input, &mut self.output, &mut self.scratch);
        debug_assert!(done.is_ok(), "buffers come from the plan itself");
        std::array::from_fn(|k| self.output[FIRST + k].norm_sqr() + 1e-12)
    }
}

/// A Hann window under which a partial has the same power at any length.
fn hann(samples: usize) -> Vec<f32> {
    let of = |i: usize| {
        let phase = std::f64::consts::TAU * (i as f64 + 0.5) / samples as f64;
        (0.5 - 0.5 * phase.cos()) * SPAN as f64 / samples as f64
    };
    (0..samples).map(|i| of(i) as f32).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_lies_beyond_the_neighbouring_strokes_is_not_looked_at() {
        // 125 Hz from half a second on, four times as loud from one on.
        let sample = |i: usize| {
            let level = [0.0, 0.1, 0.4][(i / 1000).min(2)];
            level * (std::f32::consts::TAU * i as f32 / 16.0).sin()
        };
        let low = LowBand {
            rate_hz: 2000.0,
            samples: (0..4000).map(sample).collect(),
        };
        let mut spectra = Spectra::of(&low);
        let power = |s: &Spectrum| f64::from(s[16 - FIRST]);
        let whole = power(&spectra.around(0.8, BEFORE_S, AFTER_S).before);
        let between = spectra.between(0.93, (0.5, 1.0)).unwrap();
        for spectrum in [&between.before, &between.after] {
            let db = 10.0 * (power(spectrum) / whole).log10();
            assert!(db.abs() < 0.5, "{db}");
        }
        assert!(power(&spectra.around(0.93, BEFORE_S, AFTER_S).after) > 2.0 * whole);
        assert!(spectra.between(0.98, (0.5, 1.0)).is_none());
    }
}
