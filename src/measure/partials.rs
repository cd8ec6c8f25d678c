//! Envelopes of single partials in the low band.

use crate::listen::LowBand;
use std::f64::consts::TAU;

/// Length of the window, seconds: a compromise between telling partials of
/// neighbouring drums apart (its main lobe is ±2 / length = ±33 Hz) and
/// showing a stop in time.
pub const WINDOW_S: f64 = 0.06;

/// Power of the sound around `hz` (mean square of that partial, linear, full
/// scale 1), one value every `hop_s` from `from_s`: a Hann window on the sound
/// shifted down by `hz`. Frames that reach beyond the take see silence there.
pub fn envelope(low: &LowBand, hz: f64, from_s: f64, hop_s: f64, count: usize) -> Vec<f64> {
    let rate = low.rate_hz;
    let half = (0.5 * WINDOW_S * rate).round().max(1.0) as i64;
    let window: Vec<f64> = (-half..=half)
        .map(|k| 0.5 + 0.5 * (std::f64::consts::PI * k as f64 / (half + 1) as f64).cos())
        .collect();
    let gain: f64 = window.iter().sum();
    let first = (from_s * rate).round() as i64 - half;
    let hop = hop_s * rate;
    let length = (hop * count.saturating_sub(1) as f64).ceil() as i64 + 2 * half + 2;
    // The shifted sound, by a rotating phasor.
    let (step_sin, step_cos) = (TAU * hz / rate).sin_cos();
    let (mut cos, mut sin) = (1.0f64, 0.0f64);
    let mut shifted = Vec::with_capacity(length as usize);
    for k in 0..length {
        let at = first + k;
        let x = usize::try_from(at)
            .ok()
            .and_then(|i| low.samples.get(i))
            .map_or(0.0, |v| f64::from(*v));
        let x = if x.is_finite() { x } else { 0.0 };
        shifted.push((x * cos, -x * sin));
        (cos, sin) = (
            cos * step_cos - sin * step_sin,
            sin * step_cos + cos * step_sin,
        );
    }
    (0..count)
        .map(|i| {
            let start = (i as f64 * hop).round() as usize;
            let (mut re, mut im) = (0.0, 0.0);
            for (w, (a, b)) in window.iter().zip(&shifted[start..]) {
                re += w * a;
                im += w * b;
            }
            // A sine of amplitude a comes out as a / 2; its mean square is
            // a² / 2.
            2.0 * (re * re + im * im) / (gain * gain)
        })
        .collect()
}
