//! Is it a stroke? A logistic model of a few physically meant features.

use super::BANDS;
use super::logistic::Logistic;
use super::novelty::Novelty;
use super::rises::Rise;
use std::sync::LazyLock;

/// How many features there are, the constant included.
pub const FEATURES: usize = FEATURE_NAMES.len();

/// What each feature says; the order of the weights file.
pub const FEATURE_NAMES: [&str; 34] = [
    "constant",
    "rise_1",
    "rise_2",
    "rise_3",
    "rise_4",
    "rise_5",
    "rise_6",
    "rise_7",
    "rise_8",
    "lasting_1",
    "lasting_2",
    "lasting_3",
    "lasting_4",
    "lasting_5",
    "lasting_6",
    "lasting_7",
    "lasting_8",
    "sum",
    "sum_square",
    "stronger_before",
    "stronger_after",
    "weaker_than_loud",
    "fresh_level",
    "gain_1",
    "gain_2",
    "gain_3",
    "gain_4",
    "gain",
    "gain_square",
    "quick",
    "long",
    "loose",
    "gain_before",
    "gain_after",
];

/// The features of one candidate.
pub type Features = [f32; FEATURES];

/// Frames that a lasting rise is averaged over, after and before.
const LASTING_AFTER: std::ops::Range<usize> = 4..14;
const LASTING_BEFORE: std::ops::Range<usize> = 3..11;
/// Frames in which a stronger neighbour counts: 150 ms.
const NEIGHBOURS: usize = 30;
/// Bins in which a rise of the residual that gains more counts: 100 ms.
const CLOSE: usize = 200;

/// Everything a feature is drawn from, for one take.
pub struct Scene<'a> {
    pub levels_db: &'a [[f32; BANDS]],
    pub floor_db: [f32; BANDS],
    pub novelty: &'a Novelty,
    /// In order.
    pub rises: &'a [Rise],
    /// Level of a loud stroke of this take, dB re full scale.
    pub loud_db: f64,
}

impl Scene<'_> {
    /// Mean power of a band over frames relative to `frame`.
    fn mean_power(&self, band: usize, frames: impl Iterator<Item = Option<usize>>) -> f32 {
        let (mut sum, mut count) = (0.0, 0.0);
        for frame in frames {
            count += 1.0;
            if let Some(level) = frame.and_then(|f| self.levels_db.get(f)) {
                sum += 10f32.powf(level[band] * 0.1);
            }
        }
        sum / count
    }

    /// The features of a rise whose new energy shows best at `frame`, and has
    /// `level_db`.
    pub fn features(&self, rise: usize, frame: usize, level_db: f64) -> Features {
        let mut f = [0.0; FEATURES];
        f[0] = 1.0;
        f[1..=BANDS].copy_from_slice(&self.novelty.rise[frame]);
        for band in 0..BANDS {
            let after = self.mean_power(band, LASTING_AFTER.map(|k| Some(frame + k)));
            let before = self.mean_power(band, LASTING_BEFORE.map(|k| frame.checked_sub(k)));
            let floor = 4.0 * 10f32.powf(self.floor_db[band] * 0.1) + 1e-12;
            f[9 + band] = ((after + floor) / (before + floor)).ln().clamp(-1.5, 3.5);
        }
        let sum = self.novelty.sum[frame];
        f[17] = sum;
        f[18] = (sum * sum * 0.05).min(20.0);
        let all = &self.novelty.sum;
        let from = frame.saturating_sub(NEIGHBOURS);
        let to = (frame + NEIGHBOURS + 1).min(all.len());
        let strongest = |s: &[f32]| s.iter().copied().fold(0.0, f32::max);
        f[19] = (strongest(&all[from..frame]) - sum).max(0.0);
        f[20] = (strongest(&all[frame + 1..to]) - sum).max(0.0);
        f[21] = ((self.loud_db - level_db) * 0.1).clamp(-1.0, 5.0) as f32;
        f[22] = (f[21] * sum * 0.1).clamp(-10.0, 10.0);
        let this = &self.rises[rise];
        let log = |gain: f32| (gain.max(0.0) + 1.0).ln();
        for (out, &gain) in f[23..].iter_mut().zip(&this.gains) {
            *out = log(gain);
        }
        let gain = log(this.gain());
        f[27] = gain;
        f[28] = gain * gain * 0.1;
        f[29] = log(this.quick) - gain;
        f[30] = log(this.long) - gain;
        f[31] = (this.loose + 0.1).ln();
        let near = |other: &&Rise| other.bin.abs_diff(this.bin) < CLOSE;
        let before = self.rises[..rise].iter().rev().take_while(near);
        let after = self.rises[rise + 1..].iter().take_while(near);
        let stronger = |gain_of: f32| (log(gain_of) - gain).max(0.0);
        f[32] = before.map(|r| stronger(r.gain())).fold(0.0, f32::max);
        f[33] = after.map(|r| stronger(r.gain())).fold(0.0, f32::max);
        f
    }
}

static MODEL: LazyLock<Logistic<FEATURES>> =
    LazyLock::new(|| Logistic::read(&FEATURE_NAMES, include_str!("judge.csv")));

/// Log odds (natural) of a stroke.
pub fn log_odds(features: &Features) -> f64 {
    MODEL.log_odds(features)
}
