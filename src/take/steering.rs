//! Signs that the recorder steered the level: the background sinks while the
//! drums are loud.
//!
//! A recording holds a background that the drums know nothing of. Above most
//! of what rings, a few tenths of a second after a stroke, it can be heard by
//! itself while the drums still sound below. Where the recorder leaves the
//! level alone, the background is as loud then as in a rest; an automatic gain
//! control pulls it down with the drums. How the player plays does not matter.

use super::ANALYSIS_RATE_HZ;
use super::spectra::Spectra;
use std::collections::VecDeque;

/// 32 ms.
const FRAME: usize = 512;
/// Where the drums ring, and where the background is listened to, hertz.
const DRUMS_HZ: (f64, f64) = (40.0, 900.0);
const ABOVE_HZ: (f64, f64) = (3500.0, 7000.0);
/// Levels are counted in steps of 1 dB from this on, dB re full scale.
const LOWEST_DB: f64 = -130.0;
const CLASSES: usize = 131;
/// Below this there is no background but what a codec makes up.
const SILENT_DB: f64 = -115.0;
/// Levels of the drums are looked at in steps of this many classes.
const STEP: usize = 4;
/// Frames that a step must have.
const FEWEST: u32 = 8;
/// The background is what this share of frames stays below.
const FLOOR_SHARE: f64 = 0.1;
/// Two moments this many frames apart (1 s) are compared where the drums have
/// died away by so many dB in between.
const LAG: usize = 31;
const FALL_DB: usize = 10;
/// So many such pairs are needed. In this share of them the background rises
/// by no more than what is told: the rest may have a change of its own, or the
/// high sound of a stroke in it.
const PAIRS: u32 = 30;
const PAIR_SHARE: f64 = 0.7;
/// A background that rises so far as the drums die away is steered, dB. Made
/// takes that were not steered gave 0 at most, a background that comes and goes
/// every five seconds 1, steered ones 3 to 10 where it is heard at all.
const RISES_DB: f64 = 2.0;
/// The background stays: nine in ten of the pairs, and its level over all
/// levels of the drums, dB.
const MOST_SHARE: f64 = 0.9;
const STAYS_DB: f64 = 1.5;
/// How far the drums' level must range for that to mean anything, and how near
/// to the loudest it must be known, steps.
const RANGE_STEPS: usize = 4;
const TOP_STEPS: usize = 2;

/// Watches the background of one take.
pub(super) struct Steering {
    spectra: Spectra,
    background: Background,
}

/// What was counted of it.
struct Background {
    /// Frames by the level of the drums (rows) and the level above them.
    counts: Vec<u32>,
    /// Both classes of the last frames.
    recent: VecDeque<(usize, usize)>,
    /// Pairs by how many classes the background rises, from `-CLASSES` on.
    rises: Vec<u32>,
}

impl Default for Steering {
    fn default() -> Self {
        Self {
            spectra: Spectra::new(FRAME),
            background: Background {
                counts: vec![0; CLASSES * CLASSES],
                recent: VecDeque::with_capacity(LAG + 1),
                rises: vec![0; 2 * CLASSES],
            },
        }
    }
}

impl Steering {
    /// Takes in samples at the analysis rate.
    pub(super) fn push(&mut self, samples: &[f32]) {
        let background = &mut self.background;
        self.spectra.push(samples, |power| background.look(power));
    }

    /// Whether the level was steered. `None`: cannot be told, because the
    /// background is not heard through the drums.
    pub(super) fn finish(&self) -> Option<bool> {
        self.background.steered()
    }
}

impl Background {
    fn look(&mut self, power: &[f64]) {
        let bin = f64::from(ANALYSIS_RATE_HZ) / FRAME as f64;
        let class = |(from, to): (f64, f64)| {
            let span = (from / bin).ceil() as usize..(to / bin) as usize;
            let level = 10.0 * power[span].iter().sum::<f64>().max(1e-30).log10();
            (level - LOWEST_DB).clamp(0.0, (CLASSES - 1) as f64) as usize
        };
        let (drums, above) = (class(DRUMS_HZ), class(ABOVE_HZ));
        self.counts[drums * CLASSES + above] += 1;
        self.recent.push_back((drums, above));
        if self.recent.len() > LAG
            && let Some((drums_then, above_then)) = self.recent.pop_front()
            && drums_then >= drums + FALL_DB
            && above_then as f64 + LOWEST_DB > SILENT_DB
        {
            self.rises[above + CLASSES - above_then] += 1;
        }
    }

    /// How far the background rises at most in a share of the pairs, dB.
    fn rise(&self, share: f64) -> Option<f64> {
        let pairs: u32 = self.rises.iter().sum();
        let class = (pairs >= PAIRS).then(|| below(&self.rises, share))??;
        Some(class as f64 - CLASSES as f64)
    }

    fn steered(&self) -> Option<bool> {
        if self.rise(PAIR_SHARE)? >= RISES_DB {
            return Some(true);
        }
        let steps: Vec<(usize, f64)> = self
            .counts
            .chunks(CLASSES * STEP)
            .enumerate()
            .filter_map(|(step, rows)| {
                let mut histogram = [0; CLASSES];
                for row in rows.chunks(CLASSES) {
                    for (sum, count) in histogram.iter_mut().zip(row) {
                        *sum += count;
                    }
                }
                floor_db(&histogram).map(|db| (step, db))
            })
            .collect();
        let (first, last) = (steps.first()?, steps.last()?);
        let ranges = steps.len() > RANGE_STEPS + TOP_STEPS && steps.len() == last.0 - first.0 + 1;
        let known = &steps[..steps.len().saturating_sub(TOP_STEPS)];
        let stays = known
            .iter()
            .all(|s| s.1 > SILENT_DB && (s.1 - first.1).abs() <= STAYS_DB);
        let rises = self.rise(MOST_SHARE)?;
        (ranges && stays && rises < RISES_DB).then_some(false)
    }
}

/// The level that few frames stay below, dB. `None` where there are too few
/// frames altogether.
fn floor_db(histogram: &[u32; CLASSES]) -> Option<f64> {
    let all: u32 = histogram.iter().sum();
    let class = (all >= FEWEST).then(|| below(histogram, FLOOR_SHARE))??;
    Some(class as f64 + 0.5 + LOWEST_DB)
}

/// The class that a share of everything counted does not exceed.
fn below(histogram: &[u32], share: f64) -> Option<usize> {
    let all: u32 = histogram.iter().sum();
    let mut seen = 0;
    histogram.iter().position(|count| {
        seen += count;
        f64::from(seen) >= share * f64::from(all)
    })
}
