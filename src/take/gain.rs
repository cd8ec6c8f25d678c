//! Whether the recorder steers the level by itself.
//!
//! A gain control turns down for a stroke and comes back up in the pause
//! after it, and the hiss of the recording comes up with it. Nothing a drum
//! does looks like that: what rings only decays. So the level above 3 kHz,
//! where a drum is silent again soon after the stroke, is followed through
//! the pauses. Common practice, no source; the limits are ours, set so that
//! an unsure case stays unsure.

use super::ANALYSIS_RATE_HZ;

/// 32 ms.
const FRAME: usize = 512;
const FRAMES_PER_S: f64 = ANALYSIS_RATE_HZ as f64 / FRAME as f64;
/// A stroke lifts the level by this much within two frames, dB.
const ONSET_DB: f32 = 12.0;
/// A pause shorter than this says nothing, s.
const SHORTEST_PAUSE_S: f64 = 1.2;
/// The hiss is compared from here after the stroke, s.
const EARLY_S: (f64, f64) = (0.45, 0.65);
/// ... to here before the next one, s.
const LATE_S: (f64, f64) = (0.3, 0.1);
/// What is compared must lie this far below the stroke, dB.
const BELOW_STROKE_DB: f32 = 18.0;
/// Hiss is steadier than this from frame to frame, dB.
const STEADY_DB: f32 = 2.5;
/// Fewer pauses than this tell nothing.
const FEWEST: usize = 5;
/// Rise of the hiss that no room explains; and one that is none, dB.
const RISE_DB: f32 = 3.0;
const LEVEL_DB: f32 = 1.0;
/// Below this there is no hiss to go by, dB re full scale.
const SILENT_DB: f32 = -105.0;
/// Strokes that differ by this much while the hiss stays were not levelled.
const SPREAD_DB: f32 = 10.0;

/// Follows the level above 3 kHz.
pub(super) struct GainWatch {
    state: [f64; 4],
    sum: f64,
    count: usize,
    /// dB re full scale, one a frame.
    levels: Vec<f32>,
}

impl GainWatch {
    pub(super) fn new() -> Self {
        Self {
            state: [0.0; 4],
            sum: 0.0,
            count: 0,
            levels: Vec::new(),
        }
    }

    pub(super) fn push(&mut self, samples: &[f32]) {
        for &sample in samples {
            let high = self.high_pass(f64::from(sample));
            self.sum += high * high;
            self.count += 1;
            if self.count == FRAME {
                let power = (self.sum / FRAME as f64).max(1e-15);
                self.levels.push(10.0 * power.log10() as f32);
                self.sum = 0.0;
                self.count = 0;
            }
        }
    }

    /// Four one-pole high passes at 3 kHz one after another.
    fn high_pass(&mut self, mut x: f64) -> f64 {
        let pole = 1.0 - (-std::f64::consts::TAU * 3000.0 / f64::from(ANALYSIS_RATE_HZ)).exp();
        for low in &mut self.state {
            *low += pole * (x - *low);
            x -= *low;
        }
        x
    }

    /// `None` where the take does not tell.
    pub(super) fn verdict(&self) -> Option<bool> {
        let onsets = self.onsets();
        let mut rises = Vec::new();
        let mut strokes = Vec::new();
        for pair in onsets.windows(2) {
            if let Some((rise, stroke)) = self.pause(pair[0], pair[1]) {
                rises.push(rise);
                strokes.push(stroke);
            }
        }
        if rises.len() < FEWEST {
            return None;
        }
        let share = |is: &dyn Fn(f32) -> bool| {
            rises.iter().filter(|r| is(**r)).count() as f64 / rises.len() as f64
        };
        if median(&mut rises.clone()) >= RISE_DB && share(&|r| r > RISE_DB / 2.0) >= 0.8 {
            return Some(true);
        }
        strokes.sort_by(f32::total_cmp);
        let spread = strokes[strokes.len() - 1] - strokes[0];
        (share(&|r| r.abs() <= LEVEL_DB) >= 0.8 && spread >= SPREAD_DB).then_some(false)
    }

    fn onsets(&self) -> Vec<usize> {
        let mut onsets: Vec<usize> = Vec::new();
        for i in 2..self.levels.len() {
            let lift = self.levels[i] - self.levels[i - 2].min(self.levels[i - 1]);
            if lift >= ONSET_DB && onsets.last().is_none_or(|last| i > last + 2) {
                onsets.push(i);
            }
        }
        onsets
    }

    /// Rise of the hiss in the pause between two strokes, and the level of
    /// the first, dB. `None` where the pause holds anything but hiss.
    fn pause(&self, from: usize, to: usize) -> Option<(f32, f32)> {
        let frames = |s: f64| (s * FRAMES_PER_S) as usize;
        if to - from < frames(SHORTEST_PAUSE_S) {
            return None;
        }
        let stroke = self.levels[from..from + 3]
            .iter()
            .copied()
            .fold(f32::MIN, f32::max);
        let early = &self.levels[from + frames(EARLY_S.0)..from + frames(EARLY_S.1)];
        let late = &self.levels[to - frames(LATE_S.0)..to - frames(LATE_S.1)];
        let (a, b) = (median(&mut early.to_vec()), median(&mut late.to_vec()));
        let steady =
            |window: &[f32], middle: f32| window.iter().all(|v| (v - middle).abs() < STEADY_DB);
        let hiss = a > SILENT_DB
            && a < stroke - BELOW_STROKE_DB
            && b < stroke - BELOW_STROKE_DB
            && steady(early, a)
            && steady(late, b);
        hiss.then_some((b - a, stroke))
    }
}

fn median(values: &mut [f32]) -> f32 {
    values.sort_by(f32::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f32::MIN)
}
