//! A recording to tune by: the reference, then each drum in its order.

use super::order::Plan;
use crate::error::Error;
use crate::pitch::Pitch;
use hound::{SampleFormat, WavSpec, WavWriter};
use std::f64::consts::TAU;
use std::path::Path;

const RATE_HZ: u32 = 44_100;
/// How long each tone sounds, seconds.
const TONE_S: f64 = 3.0;
/// Silence between tones, seconds.
const GAP_S: f64 = 0.7;
/// Rise and fall of a tone, seconds, so that it does not click.
const FADE_S: f64 = 0.02;
/// Level of each harmonic, so that low tones are heard on small loudspeakers.
const HARMONICS: [f64; 4] = [0.5, 0.22, 0.12, 0.08];

/// Writes the reference pitch and each drum's starting pitch, in the order of
/// tuning, as a mono WAV of 16 bits at 44.1 kHz.
///
/// # Errors
/// The file cannot be written.
pub fn write_tones(plan: &Plan, reference: Pitch, a4_hz: f64, path: &Path) -> Result<(), Error> {
    let fault = |error: hound::Error| Error::Write {
        path: path.to_owned(),
        source: match error {
            hound::Error::IoError(source) => source,
            other => std::io::Error::other(other),
        },
    };
    let spec = WavSpec {
        channels: 1,
        sample_rate: RATE_HZ,
        bits_per_sample: 16,
        sample_format: SampleFormat::Int,
    };
    let mut writer = WavWriter::create(path, spec).map_err(fault)?;
    let rate = f64::from(RATE_HZ);
    let pitches = std::iter::once(reference).chain(plan.order.iter().map(|s| s.pitch));
    for pitch in pitches {
        let hz = pitch.hz(a4_hz);
        for i in 0..(TONE_S * rate) as usize {
            let t = i as f64 / rate;
            let fade = (t.min(TONE_S - t) / FADE_S).min(1.0);
            let wave: f64 = HARMONICS
                .iter()
                .enumerate()
                .map(|(h, level)| level * (TAU * hz * (h + 1) as f64 * t).sin())
                .sum();
            let sample = wave * fade * 0.8 * f64::from(i16::MAX);
            writer.write_sample(sample.round() as i16).map_err(fault)?;
        }
        for _ in 0..(GAP_S * rate) as usize {
            writer.write_sample(0_i16).map_err(fault)?;
        }
    }
    writer.finalize().map_err(fault)
}
