//! From channels to one, after looking whether they agree.
//!
//! A dead channel would halve the level, and a channel with its polarity
//! turned round would cancel the drums. So a stretch is held back until it is
//! known how the channels go together, and the decision is looked at again
//! while the take goes on, weighed by energy: strokes count, noise does not.

/// Held back, seconds, and at most this many samples of all channels.
const HELD_S: f64 = 4.0;
const HELD_SAMPLES: usize = 4 << 20;
/// A channel this far below the loudest is dead, as a ratio of power.
const DEAD: f64 = 1e-3;
/// Correlation below which a channel counts as turned round.
const TURNED: f64 = -0.5;
/// What the correlation is judged on: roughly 40 to 500 Hz, where drums are
/// loudest and where microphones some decimetres apart hear the same phase.
const BAND_HZ: (f64, f64) = (40.0, 500.0);

/// How much of each channel goes into the mix.
type Weights = Vec<f32>;

/// Mixes channels to one while they stream by.
pub(super) struct Mixer {
    channels: usize,
    hold_frames: usize,
    held: Vec<Vec<f32>>,
    filters: Vec<BandPass>,
    /// Products of every pair of channels, summed.
    products: Vec<f64>,
    weights: Option<Weights>,
    /// The decision was changed while sounding.
    changed: bool,
}

#[derive(Clone, Copy)]
struct BandPass {
    low: f64,
    high: f64,
    a_low: f64,
    a_high: f64,
}

impl BandPass {
    fn new(rate_hz: u32) -> Self {
        let pole = |hz: f64| 1.0 - (-std::f64::consts::TAU * hz / f64::from(rate_hz)).exp();
        Self {
            low: 0.0,
            high: 0.0,
            a_low: pole(BAND_HZ.0),
            a_high: pole(BAND_HZ.1),
        }
    }

    fn pass(&mut self, x: f64) -> f64 {
        self.high += self.a_high * (x - self.high);
        self.low += self.a_low * (self.high - self.low);
        self.high - self.low
    }
}

impl Mixer {
    pub(super) fn new(channels: usize, rate_hz: u32) -> Self {
        let hold = (HELD_S * f64::from(rate_hz)) as usize;
        Self {
            channels,
            hold_frames: hold.min(HELD_SAMPLES / channels.max(1)),
            held: vec![Vec::new(); channels],
            filters: vec![BandPass::new(rate_hz); channels],
            products: vec![0.0; channels * channels],
            weights: None,
            changed: false,
        }
    }

    /// Takes frames in and appends what is decided to `out`.
    pub(super) fn push(&mut self, planar: &[Vec<f32>], out: &mut Vec<f32>) {
        if self.channels == 1 {
            out.extend_from_slice(&planar[0]);
            return;
        }
        self.look(planar);
        for (held, new) in self.held.iter_mut().zip(planar) {
            held.extend_from_slice(new);
        }
        // Moving the rest to the front costs, so it goes out in large pieces.
        if self.held[0].len() >= self.hold_frames + self.hold_frames / 2 {
            self.let_go(self.hold_frames / 2, out);
        }
    }

    /// Appends the rest.
    pub(super) fn finish(&mut self, out: &mut Vec<f32>) {
        if self.channels > 1 {
            self.let_go(self.held[0].len(), out);
        }
    }

    fn look(&mut self, planar: &[Vec<f32>]) {
        let n = self.channels;
        let mut now = vec![0.0f64; n];
        for i in 0..planar[0].len() {
            for c in 0..n {
                now[c] = self.filters[c].pass(f64::from(planar[c][i]));
            }
            // Every fourth frame tells enough about what is below 500 Hz.
            if i % 4 == 0 {
                for a in 0..n {
                    for b in a..n {
                        self.products[a * n + b] += now[a] * now[b];
                    }
                }
            }
        }
    }

    fn let_go(&mut self, frames: usize, out: &mut Vec<f32>) {
        let next = self.decide();
        let old = self.weights.replace(next.clone());
        let old = old.unwrap_or_else(|| next.clone());
        self.changed |= old != next;
        let start = out.len();
        out.resize(start + frames, 0.0);
        for c in 0..self.channels {
            let (from, to) = (old[c], next[c]);
            if from == 0.0 && to == 0.0 {
                continue;
            }
            for (i, sample) in self.held[c][..frames].iter().enumerate() {
                let share = i as f32 / frames as f32;
                out[start + i] += sample * (from + (to - from) * share);
            }
        }
        for held in &mut self.held {
            held.drain(..frames);
        }
    }

    /// What each channel does in the mix, by everything seen so far.
    fn decide(&self) -> Weights {
        let n = self.channels;
        let power = |c: usize| self.products[c * n + c];
        // The first of equals.
        let loudest = (1..n).fold(0, |best, c| if power(c) > power(best) { c } else { best });
        let mut weights = vec![0.0f32; n];
        let mut disagree = false;
        for (c, weight) in weights.iter_mut().enumerate() {
            if power(c) <= power(loudest) * DEAD {
                continue;
            }
            let product = self.products[c.min(loudest) * n + c.max(loudest)];
            let r = product / (power(c) * power(loudest)).sqrt();
            if r < TURNED {
                *weight = -1.0;
            } else if r < 0.0 {
                disagree = true;
            } else {
                *weight = 1.0;
            }
        }
        if disagree || weights.iter().all(|w| *w == 0.0) {
            weights = vec![0.0; n];
            weights[loudest] = 1.0;
        }
        let used = weights.iter().filter(|w| **w != 0.0).count() as f32;
        weights.iter_mut().for_each(|w| *w /= used);
        weights
    }

    /// What is worth a word.
    pub(super) fn remarks(&self) -> Vec<String> {
        let Some(weights) = self.weights.as_ref() else {
            return Vec::new();
        };
        let names = |wanted: &dyn Fn(f32) -> bool| {
            let found: Vec<String> = weights
                .iter()
                .enumerate()
                .filter(|(_, w)| wanted(**w))
                .map(|(c, _)| (c + 1).to_string())
                .collect();
            found.join(", ")
        };
        let mut remarks = Vec::new();
        let silent = names(&|w| w == 0.0);
        if !silent.is_empty() {
            remarks.push(format!(
                "of {} channels, these are silent or do not agree with the loudest and are left \
                 out: {silent}",
                self.channels
            ));
        }
        let turned = names(&|w| w < 0.0);
        if !turned.is_empty() {
            remarks.push(format!(
                "these channels have their polarity turned round, which was undone: {turned}"
            ));
        }
        if self.changed {
            remarks.push("how the channels go together changes during the take".into());
        }
        remarks
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mixed(channels: &[Vec<f32>]) -> (Vec<f32>, Vec<String>) {
        let mut mixer = Mixer::new(channels.len(), 8000);
        let mut out = Vec::new();
        let frames = channels[0].len();
        for from in (0..frames).step_by(1000) {
            let to = (from + 1000).min(frames);
            let block: Vec<Vec<f32>> = channels.iter().map(|c| c[from..to].to_vec()).collect();
            mixer.push(&block, &mut out);
        }
        mixer.finish(&mut out);
        (out, mixer.remarks())
    }

    fn tone(frames: usize) -> Vec<f32> {
        (0..frames).map(|i| (i as f32 * 0.1).sin() * 0.5).collect()
    }

    #[test]
    fn dead_and_turned_channels_do_not_cancel() {
        let drum = tone(80_000);
        let turned: Vec<f32> = drum.iter().map(|v| -v).collect();
        let dead = vec![0.0; drum.len()];
        for channels in [
            vec![drum.clone(), drum.clone()],
            vec![drum.clone(), turned.clone()],
            vec![drum.clone(), dead.clone()],
            vec![drum.clone(), turned, dead.clone(), dead, drum.clone()],
        ] {
            let (out, _) = mixed(&channels);
            assert_eq!(out.len(), drum.len());
            assert!(out.iter().zip(&drum).all(|(a, b)| (a - b).abs() < 1e-5));
        }
    }

    #[test]
    fn a_stroke_after_a_long_silence_decides_before_it_sounds() {
        let mut drum = vec![0.0; 200_000];
        drum.extend(tone(40_000));
        // The hiss of two microphones before the first stroke does not agree.
        let hiss = |seed: u64| -> Vec<f32> {
            let mut state = seed;
            (0..drum.len())
                .map(|_| {
                    state = state
                        .wrapping_mul(6_364_136_223_846_793_005)
                        .wrapping_add(1);
                    ((state >> 40) as f32 / (1 << 24) as f32 - 0.5) * 1e-4
                })
                .collect()
        };
        let left: Vec<f32> = drum.iter().zip(hiss(1)).map(|(d, h)| d + h).collect();
        let right: Vec<f32> = drum.iter().zip(hiss(2)).map(|(d, h)| h - d).collect();
        let (out, _) = mixed(&[left, right]);
        let worst = out
            .iter()
            .zip(&drum)
            .fold(0.0f32, |a, (x, y)| a.max((x.abs() - y.abs()).abs()));
        assert!(worst < 1e-3, "{worst}");
    }
}
