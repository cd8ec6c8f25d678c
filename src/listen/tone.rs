//! The principal tone of a stroke.
//!
//! Looked for only near the written pitch: a free search lands on the fifth
//! or the octave, and general pitch trackers an octave below. The first
//! moments are left out, for a loud stroke starts sharp.

use super::{LowBand, Tone};
use crate::pitch::cents;
use std::f64::consts::{PI, TAU};

/// Left out after the contact, seconds.
const SETTLE_S: f64 = 0.12;
/// The shortest and longest stretch worth measuring, seconds.
const SHORTEST_S: f64 = 0.14;
const LONGEST_S: f64 = 0.7;
/// The search reaches this far below and above the written pitch, cents.
const REACH_CENTS: f64 = 75.0;
const STEP_CENTS: f64 = 5.0;
/// How much farther off a peak is than the noise beside it would put it: what
/// lies there are tones of other drums and of the room, which pull steadily
/// (92 % of 1890 strokes of tuning takes within two standard uncertainties).
const PULLED: f64 = 4.0;
/// One stroke never tells more exactly than this, cents: the principal tone
/// is a pair of modes that beat.
const LEAST_SD_CENTS: f64 = 4.0;

/// Measures the tone that rings from `contact_s` until `until_s`, the next
/// stroke of the same drum or the end of its ring. `None` where it is too
/// short, too weak, or not a peak within reach.
pub fn principal(low: &LowBand, contact_s: f64, until_s: f64, written_hz: f64) -> Option<Tone> {
    let from = ((contact_s + SETTLE_S) * low.rate_hz).round().max(0.0) as usize;
    let end_s = until_s.min(contact_s + SETTLE_S + LONGEST_S);
    let to = ((end_s * low.rate_hz).max(0.0) as usize).min(low.samples.len());
    let length = to.checked_sub(from)?;
    if (length as f64) < SHORTEST_S * low.rate_hz {
        return None;
    }
    let windowed: Vec<f64> = low.samples[from..to]
        .iter()
        .enumerate()
        .map(|(i, &x)| {
            let phase = TAU * (i as f64 + 0.5) / length as f64;
            f64::from(x) * (0.5 - 0.5 * phase.cos())
        })
        .collect();
    let steps = (REACH_CENTS / STEP_CENTS) as i32;
    let power_at = |c: f64| power(&windowed, written_hz * 2f64.powf(c / 1200.0) / low.rate_hz);
    let powers: Vec<f64> = (-steps..=steps)
        .map(|k| power_at(f64::from(k) * STEP_CENTS))
        .collect();
    let peak = (0..powers.len()).max_by(|&a, &b| powers[a].total_cmp(&powers[b]))?;
    if peak == 0 || peak + 1 == powers.len() {
        return None;
    }
    let (a, b, c) = (
        powers[peak - 1].ln(),
        powers[peak].ln(),
        powers[peak + 1].ln(),
    );
    let bend = a - 2.0 * b + c;
    let fine = if bend < 0.0 {
        0.5 * (a - c) / bend
    } else {
        0.0
    };
    let off = (peak as f64 - f64::from(steps) + fine) * STEP_CENTS;
    let hz = written_hz * 2f64.powf(off / 1200.0);
    // What lies a little beyond the main lobe tells how clear the peak is.
    let lobe_hz = 2.5 * low.rate_hz / length as f64;
    let beside = [-1.6, -1.3, 1.3, 1.6]
        .map(|k| power(&windowed, (hz + k * lobe_hz) / low.rate_hz))
        .iter()
        .sum::<f64>()
        / 4.0;
    let clear = powers[peak] / beside.max(1e-30);
    if clear < 6.0 {
        return None;
    }
    // The spread of a windowed peak's place under noise: the width of the lobe
    // over the root of twice the clearness.
    let width_cents = cents(hz + low.rate_hz / length as f64, hz);
    let noise_cents = 0.6 * width_cents / (2.0 * clear).sqrt();
    let sd = LEAST_SD_CENTS.hypot(PULLED * noise_cents);
    Some(Tone {
        hz,
        cents: off,
        cents_sd: sd,
        glide_cents: None,
    })
}

/// Power at a frequency in cycles a sample.
fn power(samples: &[f64], cycles: f64) -> f64 {
    // Goertzel's recurrence: one multiplication a sample.
    let w = 2.0 * (2.0 * PI * cycles).cos();
    let (mut s1, mut s2) = (0.0, 0.0);
    for &x in samples {
        let s = x + w * s1 - s2;
        s2 = s1;
        s1 = s;
    }
    (s1 * s1 + s2 * s2 - w * s1 * s2).max(1e-30)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tone_under_its_louder_fifth_is_found_to_a_cent() {
        let rate_hz = 2000.0;
        for off in [-35.0, -3.0, 0.0, 22.0] {
            let hz = 110.0 * 2f64.powf(off / 1200.0);
            let samples = (0..3000)
                .map(|i| {
                    let t = f64::from(i) / rate_hz;
                    ((TAU * hz * t).sin() * (-2.0 * t).exp()
                        + 3.0 * (TAU * 1.51 * hz * t).sin() * (-t).exp()) as f32
                })
                .collect();
            let tone = principal(&LowBand { rate_hz, samples }, 0.0, 1.4, 110.0).unwrap();
            assert!((tone.cents - off).abs() < 1.5, "{off}: {tone:?}");
            assert!(tone.cents_sd < 12.0);
        }
    }

    #[test]
    fn silence_and_a_short_stretch_have_no_tone() {
        let low = LowBand {
            rate_hz: 2000.0,
            samples: vec![0.0; 4000],
        };
        assert_eq!(principal(&low, 0.0, 1.0, 110.0), None);
        assert_eq!(principal(&low, 0.0, 0.2, 110.0), None);
    }
}
