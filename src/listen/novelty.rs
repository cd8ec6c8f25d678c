//! New energy: what rises in each band against what was ringing before.

use super::frames::HOP_S;
use super::residual::BIN_S;
use super::rises::Rise;
use super::{BANDS, is_peak};

/// Frames between a moment and the first frame that looks only behind it.
const AHEAD: usize = 3;
/// Frames taken for "after": their powers are averaged in pairs.
const AFTER: [usize; 3] = [AHEAD, AHEAD + 1, AHEAD + 3];
/// Frames taken for "before": the loudest counts, so that a beating ring does
/// not look like a stroke.
const BEFORE: [usize; 4] = [3, 4, 6, 9];
/// Frames from the first of those to the last.
const AROUND: usize = BEFORE[BEFORE.len() - 1] + AFTER[AFTER.len() - 1] + 1;
/// A rise in one band counts up to this, in nepers of power.
const CAP: f32 = 3.5;
/// Two peaks are at least this far apart: 25 ms.
const APART: usize = 5;
/// A peak comes this long after the contact on average, seconds.
const LATE_S: f64 = 0.008;
/// Frames from a contact on in which its energy shows: 20 ms.
const SHOWS: usize = 4;

/// Power of a level in dB.
fn power(level_db: f32) -> f32 {
    10f32.powf(level_db * 0.1)
}

/// A quiet level of each band: the given share of frames lies below it.
pub fn floors(levels_db: &[[f32; BANDS]], share: f64) -> [f32; BANDS] {
    let mut floors = [-130.0; BANDS];
    // A few thousand frames tell a percentile as well as a million.
    let step = (levels_db.len() / 4000).max(1);
    for (band, floor) in floors.iter_mut().enumerate() {
        let mut values: Vec<f32> = levels_db.iter().step_by(step).map(|l| l[band]).collect();
        if values.is_empty() {
            continue;
        }
        let place = ((values.len() - 1) as f64 * share) as usize;
        *floor = *values.select_nth_unstable_by(place, f32::total_cmp).1;
    }
    floors
}

/// The rise in each band at every frame, in nepers of power, 0 to [`CAP`].
pub struct Novelty {
    pub rise: Vec<[f32; BANDS]>,
    /// Their sum.
    pub sum: Vec<f32>,
}

impl Novelty {
    /// `floor_db` is the quiet level of each band.
    pub fn of(levels_db: &[[f32; BANDS]], floor_db: &[f32; BANDS]) -> Self {
        let floor = floor_db.map(|f| 4.0 * power(f) + 1e-12);
        let none = [0.0; BANDS];
        // Powers of the frames around the one looked at, by frame modulo their
        // number: those of a long take would need much memory.
        let mut powers = [none; AROUND];
        let mut known = 0;
        let rise: Vec<[f32; BANDS]> = (0..levels_db.len())
            .map(|i| {
                while known <= i + AFTER[AFTER.len() - 1] {
                    powers[known % AROUND] = levels_db.get(known).map_or(none, |l| l.map(power));
                    known += 1;
                }
                let mut rise = none;
                for (band, out) in rise.iter_mut().enumerate() {
                    let after = AFTER
                        .iter()
                        .map(|&k| powers[(i + k) % AROUND][band])
                        .sum::<f32>()
                        / AFTER.len() as f32;
                    let before = BEFORE
                        .iter()
                        .map(|&k| i.checked_sub(k).map_or(0.0, |j| powers[j % AROUND][band]))
                        .fold(0.0, f32::max);
                    let whole = ((after + floor[band]) / (before + floor[band])).ln();
                    *out = whole.clamp(0.0, CAP);
                }
                rise
            })
            .collect();
        let sum = rise.iter().map(|r| r.iter().sum()).collect();
        Self { rise, sum }
    }

    /// The frame at which the energy of a rise of the residual shows best.
    pub fn frame_of(&self, rise: &Rise) -> usize {
        let first = (rise.bin as f64 * BIN_S / HOP_S).round() as usize;
        let to = (first + SHOWS).min(self.sum.len().saturating_sub(1));
        (first.min(to)..=to)
            .max_by(|&a, &b| self.sum[a].total_cmp(&self.sum[b]).then(b.cmp(&a)))
            .unwrap_or(0)
    }

    /// Bins at which the contacts of peaks of the sum above `threshold` are
    /// looked for.
    pub fn peaks(&self, threshold: f32) -> Vec<usize> {
        let sum = &self.sum;
        (0..sum.len())
            .filter(|&i| sum[i] > threshold && is_peak(sum, i, APART))
            .map(|i| ((i as f64 * HOP_S - LATE_S).max(0.0) / BIN_S).round() as usize)
            .collect()
    }
}
