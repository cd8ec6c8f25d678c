//! Small filters and transforms for making sound.

use realfft::RealFftPlanner;
use std::f64::consts::{PI, TAU};

/// A second-order filter section in direct form II, transposed.
#[derive(Clone, Copy, Debug)]
pub struct Biquad {
    b: [f64; 3],
    a: [f64; 2],
    z: [f64; 2],
}

impl Biquad {
    /// Low-pass of second order, Butterworth for `q` = 0.7071 (bilinear
    /// transform, as in R. Bristow-Johnson's audio equaliser formulae).
    pub fn low_pass(cutoff_hz: f64, q: f64, rate_hz: f64) -> Self {
        let (cos, alpha) = Self::design(cutoff_hz, q, rate_hz);
        Self::of(
            [0.5 * (1.0 - cos), 1.0 - cos, 0.5 * (1.0 - cos)],
            cos,
            alpha,
        )
    }

    /// High-pass of second order.
    pub fn high_pass(cutoff_hz: f64, q: f64, rate_hz: f64) -> Self {
        let (cos, alpha) = Self::design(cutoff_hz, q, rate_hz);
        Self::of(
            [0.5 * (1.0 + cos), -(1.0 + cos), 0.5 * (1.0 + cos)],
            cos,
            alpha,
        )
    }

    fn design(cutoff_hz: f64, q: f64, rate_hz: f64) -> (f64, f64) {
        let w = TAU * cutoff_hz.min(0.45 * rate_hz) / rate_hz;
        (w.cos(), w.sin() / (2.0 * q))
    }

    fn of(b: [f64; 3], cos: f64, alpha: f64) -> Self {
        let a0 = 1.0 + alpha;
        Self {
            b: b.map(|v| v / a0),
            a: [-2.0 * cos / a0, (1.0 - alpha) / a0],
            z: [0.0; 2],
        }
    }

    /// One sample.
    pub fn next(&mut self, x: f64) -> f64 {
        let y = self.b[0] * x + self.z[0];
        self.z[0] = self.b[1] * x - self.a[0] * y + self.z[1];
        self.z[1] = self.b[2] * x - self.a[1] * y;
        y
    }

    /// Filters in place, from rest.
    pub fn run(mut self, samples: &mut [f32]) {
        for s in samples {
            *s = self.next(f64::from(*s)) as f32;
        }
    }
}

/// Convolution, cut to the length of `signal`.
///
/// # Panics
/// Never: the transform's lengths agree by construction.
pub fn convolve(signal: &[f32], kernel: &[f32]) -> Vec<f32> {
    let size = (signal.len() + kernel.len()).next_power_of_two();
    let mut planner = RealFftPlanner::<f32>::new();
    let (forward, back) = (
        planner.plan_fft_forward(size),
        planner.plan_fft_inverse(size),
    );
    let transform = |x: &[f32]| {
        let mut time = vec![0.0; size];
        time[..x.len()].copy_from_slice(x);
        let mut bins = forward.make_output_vec();
        forward
            .process(&mut time, &mut bins)
            .expect("lengths agree");
        bins
    };
    let mut bins = transform(signal);
    for (a, b) in bins.iter_mut().zip(transform(kernel)) {
        *a *= b;
    }
    // The ends of a real spectrum are real.
    bins[0].im = 0.0;
    bins[size / 2].im = 0.0;
    let mut time = vec![0.0; size];
    back.process(&mut bins, &mut time).expect("lengths agree");
    time.truncate(signal.len());
    let scale = 1.0 / size as f32;
    for v in &mut time {
        *v *= scale;
    }
    time
}

/// Reads `samples` at `step` samples a sample (above 1: higher and shorter)
/// by a windowed sinc that also keeps out what would fold back.
pub fn resample(samples: &[f32], step: f64) -> Vec<f32> {
    const SIDE: f64 = 16.0;
    let cutoff = (1.0 / step).min(1.0) * 0.96;
    let side = SIDE / cutoff;
    let count = (samples.len() as f64 / step) as usize;
    (0..count)
        .map(|n| {
            let at = n as f64 * step;
            let from = (at - side).ceil().max(0.0) as usize;
            let to = ((at + side).floor() as usize).min(samples.len() - 1);
            let mut sum = 0.0;
            for (i, &s) in samples.iter().enumerate().take(to + 1).skip(from) {
                let d = i as f64 - at;
                let window = 0.5 + 0.5 * (PI * d / side).cos();
                let x = PI * d * cutoff;
                let sinc = if x.abs() < 1e-9 { 1.0 } else { x.sin() / x };
                sum += f64::from(s) * window * sinc * cutoff;
            }
            sum as f32
        })
        .collect()
}

/// Power spectrum of `samples` under a window, padded to `size`.
///
/// # Panics
/// Never: the transform's lengths agree by construction.
pub fn power(samples: &[f32], window: impl Fn(usize) -> f32, size: usize) -> Vec<f64> {
    let fft = RealFftPlanner::<f32>::new().plan_fft_forward(size);
    let mut time = vec![0.0; size];
    for (i, (t, s)) in time.iter_mut().zip(samples).enumerate() {
        *t = s * window(i);
    }
    let mut bins = fft.make_output_vec();
    fft.process(&mut time, &mut bins).expect("lengths agree");
    bins.iter().map(|b| f64::from(b.norm_sqr())).collect()
}

/// Frequency of the strongest peak within `cents` of `near_hz`, by a parabola
/// through three bins of a Hann-windowed, padded spectrum.
///
/// # Panics
/// When the range is narrower than one bin.
pub fn peak_hz(samples: &[f32], rate_hz: f64, near_hz: f64, cents: f64) -> f64 {
    let size = (samples.len() * 8).next_power_of_two();
    let n = samples.len() as f32;
    let bins = power(
        samples,
        |i| 0.5 - 0.5 * (std::f32::consts::TAU * (i as f32 + 0.5) / n).cos(),
        size,
    );
    let bin = rate_hz / size as f64;
    let reach = 2f64.powf(cents / 1200.0);
    let (from, to) = (near_hz / reach / bin, near_hz * reach / bin);
    let best = (from.ceil() as usize..=to.floor() as usize)
        .max_by(|&a, &b| bins[a].total_cmp(&bins[b]))
        .expect("the range is not empty");
    let (l, c, r) = (bins[best - 1].ln(), bins[best].ln(), bins[best + 1].ln());
    // At an end of the range the strongest bin may be none of a peak's.
    let off = 0.5 * (l - r) / (l - 2.0 * c + r);
    (best as f64 + off.clamp(-0.5, 0.5)) * bin
}

/// An amplitude ratio from decibels.
pub fn gain(db: f64) -> f64 {
    10f64.powf(db / 20.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_peak_outside_the_range_does_not_lead_far_beyond_its_end() {
        let samples: Vec<f32> = (0..6400u16)
            .map(|i| (std::f32::consts::TAU * 100.0 * f32::from(i) / 32_000.0).sin())
            .collect();
        let inside = peak_hz(&samples, 32_000.0, 101.0, 60.0);
        assert!((inside - 100.0).abs() < 0.05, "{inside}");
        for near_hz in (80..130).map(f64::from) {
            let off = 1200.0 * (peak_hz(&samples, 32_000.0, near_hz, 60.0) / near_hz).log2();
            assert!(off.abs() < 75.0, "{near_hz} Hz: {off} cents");
        }
    }
}
