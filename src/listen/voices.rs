//! Which drum: the spectrum that a stroke adds, explained by voices learned
//! from the take itself.
//!
//! The spectrum after a stroke is what rang before, a little softer, plus the
//! voice of the drum that was struck, plus noise. How badly a voice explains
//! it is measured by the Itakura-Saito divergence, which is the log
//! likelihood of a power spectrum (Itakura & Saito 1968; from memory), cut in
//! every bin.

use super::{Candidate, Heard, LowBand};
use crate::align::{Alignment, Outcome};
use crate::part::Part;
use realfft::RealFftPlanner;

/// Samples of the low band a spectrum looks at: 100 ms.
const SPAN: usize = 200;
/// Padded for the transform: bins 7.8 Hz apart.
const SIZE: usize = 256;
/// Bins compared: 47 to 900 Hz.
const FIRST: usize = 6;
const BINS: usize = 110;
/// The spectrum after a stroke begins this long after the contact, and the
/// one before ends this long before it, seconds.
const AFTER_S: f64 = 0.008;
const BEFORE_S: f64 = 0.006;
/// Neighbouring bins are not independent under a Hann window of 100 ms padded
/// to 128 ms: so many bins count as one.
const BINS_A_FACT: f64 = 3.0;
/// A bin speaks no louder than this against a voice, nepers: what is far off is
/// something that no voice knows.
const MOST_A_BIN: f64 = 3.0;
/// No stroke is heard well enough to be worth more than this, nepers.
const MOST: f64 = 60.0;
/// Nor one that so much a louder stroke follows within its spectrum, dB, than
/// this, nepers.
const LOUDER_DB: f64 = 10.0;
const COVERED: f64 = 2.0;
/// A voice learned from fewer strokes than this leans on the model.
const LEAN: f64 = 1.5;

type Spectrum = [f32; BINS];

/// Power spectra before and after every candidate.
struct Views {
    before: Vec<Spectrum>,
    after: Vec<Spectrum>,
    /// A quiet power of each bin, as noise.
    noise: Spectrum,
}

impl Views {
    fn of(low: &LowBand, candidates: &[Candidate]) -> Self {
        let fft = RealFftPlanner::<f32>::new().plan_fft_forward(SIZE);
        let mut input = fft.make_input_vec();
        let mut output = fft.make_output_vec();
        let mut scratch = fft.make_scratch_vec();
        let window: Vec<f32> = (0..SPAN)
            .map(|i| {
                let phase = std::f64::consts::TAU * (i as f64 + 0.5) / SPAN as f64;
                (0.5 - 0.5 * phase.cos()) as f32
            })
            .collect();
        let mut spectrum = |start: i64| -> Spectrum {
            input.fill(0.0);
            for (i, w) in window.iter().enumerate() {
                let sample = usize::try_from(start + i as i64)
                    .ok()
                    .and_then(|s| low.samples.get(s));
                input[i] = sample.copied().unwrap_or(0.0) * w;
            }
            let done = fft.process_with_scratch(&mut input, &mut output, &mut scratch);
            debug_assert!(done.is_ok(), "buffers come from the plan itself");
            std::array::from_fn(|k| output[FIRST + k].norm_sqr() + 1e-12)
        };
        let place = |s: f64| (s * low.rate_hz).round() as i64;
        let before: Vec<Spectrum> = candidates
            .iter()
            .map(|c| spectrum(place(c.time_s - BEFORE_S) - SPAN as i64))
            .collect();
        let after: Vec<Spectrum> = candidates
            .iter()
            .map(|c| spectrum(place(c.time_s + AFTER_S)))
            .collect();
        let noise = std::array::from_fn(|k| {
            let mut values: Vec<f32> = before.iter().map(|s| s[k]).collect();
            if values.is_empty() {
                return 1e-12;
            }
            let tenth = values.len() / 10;
            *values.select_nth_unstable_by(tenth, f32::total_cmp).1
        });
        Self {
            before,
            after,
            noise,
        }
    }

    /// How well `voice` explains what candidate `i` added: the divergence per
    /// independent fact, and the gain of the voice.
    fn divergence(&self, i: usize, voice: &Spectrum) -> (f64, f64) {
        let (before, after) = (&self.before[i], &self.after[i]);
        let added: f64 = (0..BINS)
            .map(|k| f64::from((after[k] - before[k]).max(0.0)))
            .sum();
        let whole: f64 = voice.iter().map(|&v| f64::from(v)).sum();
        let middle = added / whole.max(1e-30);
        let mut best = (f64::INFINITY, 0.0);
        // The ring that goes on, and the gain of the voice, on a small grid.
        for kept in [0.95_f64, 0.75, 0.5, 0.25] {
            for step in -5..=5 {
                let gain = middle * 10f64.powf(f64::from(step) * 0.15);
                let mut sum = 0.0;
                for k in 0..BINS {
                    let model = kept * f64::from(before[k])
                        + gain * f64::from(voice[k])
                        + f64::from(self.noise[k]);
                    let ratio = f64::from(after[k]) / model;
                    sum += (ratio - ratio.ln() - 1.0).min(MOST_A_BIN);
                    // No bin takes anything back.
                    if sum >= best.0 {
                        break;
                    }
                }
                if sum < best.0 {
                    best = (sum, gain);
                }
            }
        }
        (best.0 / BINS_A_FACT, best.1)
    }
}

/// Learns the voice of every setting from a first matching by time, and says
/// of every candidate how well each voice explains it: [candidate][place in
/// `Part::settings`], nepers, the best 0.
pub fn evidence(heard: &Heard, part: &Part, alignment: &Alignment, a4_hz: f64) -> Vec<Vec<f32>> {
    let views = Views::of(&heard.low, &heard.candidates);
    let settings = part.settings();
    let note_settings = part.note_settings();
    let mut owners: Vec<Vec<usize>> = vec![Vec::new(); settings.len()];
    for passage in &alignment.passages {
        for (offset, found) in passage.matches.iter().enumerate() {
            let note = passage.notes.0 + offset;
            let chord = is_chord(part, note);
            let sure = matches!(found.outcome, Outcome::Played | Outcome::Unsure);
            if let (true, false, Some(stroke), Some(setting)) =
                (sure, chord, found.stroke, note_settings[note])
            {
                owners[setting].push(stroke);
            }
        }
    }
    let voices: Vec<Spectrum> = settings
        .iter()
        .zip(&owners)
        .map(|(s, strokes)| voice(&views, strokes, s.pitch.hz(a4_hz)))
        .collect();
    let covered = covered(&heard.candidates, heard.low.rate_hz);
    (0..heard.candidates.len())
        .map(|i| {
            let most = if covered[i] { COVERED } else { MOST };
            let found: Vec<f64> = voices.iter().map(|v| views.divergence(i, v).0).collect();
            let least = found.iter().copied().fold(f64::INFINITY, f64::min);
            found
                .iter()
                .map(|d| -(d - least).min(most) as f32)
                .collect()
        })
        .collect()
}

/// Whether a much louder stroke falls into the spectrum after each candidate.
fn covered(candidates: &[Candidate], rate_hz: f64) -> Vec<bool> {
    let until_s = AFTER_S + SPAN as f64 / rate_hz;
    let mut order: Vec<usize> = (0..candidates.len()).collect();
    order.sort_by(|&a, &b| candidates[a].time_s.total_cmp(&candidates[b].time_s));
    let mut covered = vec![false; candidates.len()];
    for (rank, &i) in order.iter().enumerate() {
        let this = &candidates[i];
        covered[i] = order[rank + 1..]
            .iter()
            .map(|&j| &candidates[j])
            .take_while(|c| c.time_s < this.time_s + until_s)
            .any(|c| c.log_odds > 0.0 && c.level_db > this.level_db + LOUDER_DB);
    }
    covered
}

/// Whether another note is struck at the same written time.
fn is_chord(part: &Part, note: usize) -> bool {
    let at = part.notes[note].at;
    let same = |n: Option<usize>| {
        n.and_then(|n| part.notes.get(n))
            .is_some_and(|n| n.at == at)
    };
    same(note.checked_sub(1)) || same(Some(note + 1))
}

/// The usual added spectrum of some strokes, in shares of 1, leaning on a
/// modelled one where there are few.
fn voice(views: &Views, strokes: &[usize], hz: f64) -> Spectrum {
    let mut shares: Vec<Spectrum> = Vec::new();
    for &i in strokes {
        let added: Spectrum = std::array::from_fn(|k| {
            (views.after[i][k] - 0.85 * views.before[i][k] - views.noise[k]).max(0.0)
        });
        let whole: f32 = added.iter().sum();
        if whole > 0.0 {
            shares.push(added.map(|a| a / whole));
        }
    }
    let lean = LEAN / (LEAN + shares.len() as f64);
    let model = modelled(hz);
    let mut voice: Spectrum = std::array::from_fn(|k| {
        // The middle half is averaged: a stroke on another drum among them
        // does not show.
        let mut values: Vec<f32> = shares.iter().map(|s| s[k]).collect();
        values.sort_by(f32::total_cmp);
        let cut = values.len() / 4;
        let middle = &values[cut..values.len() - cut];
        let learned = if middle.is_empty() {
            0.0
        } else {
            middle.iter().sum::<f32>() / middle.len() as f32
        };
        (f64::from(learned) * (1.0 - lean) + f64::from(model[k]) * lean) as f32
    });
    let whole: f32 = voice.iter().sum();
    voice.iter_mut().for_each(|v| *v = (*v / whole).max(1e-6));
    voice
}

/// A drum's spectrum from its principal tone alone: the mode ratios measured
/// on recorded strokes (medians of 24 recorded strokes; see the contributors'
/// guide), each a bump as wide as the window makes it.
fn modelled(hz: f64) -> Spectrum {
    const MODES: [(f64, f64); 6] = [
        (0.855, 0.15),
        (1.0, 1.0),
        (1.509, 1.0),
        (1.998, 0.6),
        (2.45, 0.3),
        (2.94, 0.2),
    ];
    let bin_hz = 2000.0 / SIZE as f64;
    std::array::from_fn(|k| {
        let here = (FIRST + k) as f64 * bin_hz;
        let sum: f64 = MODES
            .iter()
            .map(|(ratio, power)| {
                let off = (here - ratio * hz) / (1.1 * bin_hz);
                power * (-0.5 * off * off).exp()
            })
            .sum();
        (sum + 1e-3) as f32
    })
}
