//! Which drum: the spectrum that a stroke adds, explained by voices learned
//! from the take itself.
//!
//! The spectrum after a stroke is what rang before, a little softer, plus the
//! voice of the drum that was struck, plus noise. How badly a voice explains
//! it is measured by the Itakura-Saito divergence, which is the log
//! likelihood of a power spectrum (Itakura & Saito 1968; from memory), cut in
//! every bin.

use super::nearby::{Loudness, SPREAD, SPREAD_DB, Stroke};
use super::views::{AFTER_S, BEFORE_S, BIN_HZ, BINS, FIRST, SPAN, Spectra, Spectrum, View};
use super::{Candidate, Heard};
use crate::align::{Alignment, Evidence, Outcome};
use crate::part::{Note, Part};
use crate::stats;

/// Neighbouring bins are not independent under a Hann window of 100 ms padded
/// to 128 ms: so many bins count as one.
const BINS_A_FACT: f64 = 3.0;
/// A bin speaks no louder than this against a voice, nepers: what is far off is
/// something that no voice knows.
const MOST_A_BIN: f64 = 3.0;
/// Ratios of power between which a bin says less than that.
const TOLD: std::ops::Range<f64> = 0.018_661..5.749_031;
/// Bins whose logarithms are taken together: no product of so many ratios
/// underflows.
const TOGETHER: usize = 8;
/// The share of what speaks for one drum against another that is believed: a
/// stroke meets what rings of its own drum in any phase, so that the bins of a
/// partial rise or fall together.
const BELIEVED: f64 = 0.7;
/// The same while every voice is only foretold from its written pitch, and the
/// most that is worth, nepers. Of powers and cuts tried on tuning seeds 440 to
/// 451 these tell the drums of nearly all sorts of takes about best: so told, the
/// struck drum gains .1 to .6 nepers a stroke against any.
const BELIEVED_BY_PITCH: f64 = 0.2;
const MOST_BY_PITCH: f64 = 2.0;
/// No stroke is heard well enough to be worth more than this, nepers.
const MOST: f64 = 60.0;
/// Nor one that so much a louder stroke follows within its spectrum, dB, than
/// this, nepers.
const LOUDER_DB: f64 = 10.0;
const COVERED: f64 = 2.0;
/// A voice learned from fewer strokes than this leans on the model.
const LEAN: f64 = 1.5;
/// Of so few strokes none may speak for itself.
const FEW: usize = 6;

/// How much of what rang may be left after a stroke; beats may raise it.
const KEPT: [f64; 5] = [1.2, 0.95, 0.75, 0.5, 0.25];
/// Strengths against the expected one at which a stroke of any strength is
/// looked for, dB.
const ANY_DB: [f64; 7] = [-24.0, -18.0, -12.0, -6.0, 0.0, 6.0, 12.0];
/// The voices of a take's drums, and how its candidates sound.
pub struct Voices {
    /// Of every candidate.
    views: Vec<View>,
    /// A much louder stroke falls into the spectrum after a candidate.
    covered: Vec<bool>,
    /// A quiet power of each bin, as noise.
    noise: Spectrum,
    /// Of every place in `Part::settings`, in shares of 1.
    by_setting: Vec<Spectrum>,
    /// What a stroke adds on each where no louder and no softer is played than
    /// usual, dB; `None`: nobody has struck there.
    usual_db: Vec<Option<f64>>,
    loudness: Loudness,
    /// How badly the best voice explains a usual stroke, log of 1 + nepers.
    usual_strange: f64,
    /// How badly each voice explains every candidate, nepers, and the gain of
    /// the voice.
    explained: Vec<Vec<(f64, f64)>>,
}

impl Voices {
    /// Learns the voice of every setting from a first matching by time.
    pub fn learn(heard: &Heard, part: &Part, alignment: &Alignment, a4_hz: f64) -> Self {
        let mut spectra = Spectra::of(&heard.low);
        let views: Vec<View> = heard
            .candidates
            .iter()
            .map(|c| spectra.around(c.time_s, BEFORE_S, AFTER_S))
            .collect();
        let noise = quiet(&views);
        let settings = part.settings();
        let strokes = owners(heard, part, alignment);
        let owners: Vec<Vec<usize>> = (0..settings.len())
            .map(|setting| {
                let own = strokes.iter().filter(|s| s.setting == setting);
                own.map(|s| s.candidate).collect()
            })
            .collect();
        let by_setting: Vec<Spectrum> = settings
            .iter()
            .zip(&owners)
            .map(|(s, strokes)| voice(&views, &noise, strokes, s.pitch.hz(a4_hz)))
            .collect();
        let mut learned = Self {
            covered: covered(&heard.candidates, heard.low.rate_hz),
            usual_db: vec![None; settings.len()],
            loudness: Loudness::new(Vec::new(), &[]),
            usual_strange: 0.0,
            explained: Vec::new(),
            views,
            noise,
            by_setting,
        };
        learned.explained = learned
            .views
            .iter()
            .map(|view| {
                let voices = learned.by_setting.iter();
                voices.map(|voice| learned.explain(view, voice)).collect()
            })
            .collect();
        for (setting, own) in owners.iter().enumerate().filter(|(_, o)| o.len() <= FEW) {
            let hz = settings[setting].pitch.hz(a4_hz);
            for &stroke in own {
                let others: Vec<usize> = own.iter().copied().filter(|&o| o != stroke).collect();
                let voice = voice(&learned.views, &learned.noise, &others, hz);
                let explained = learned.explain(&learned.views[stroke], &voice);
                learned.explained[stroke][setting] = explained;
            }
        }
        learned.learn_loudness(strokes);
        let strange = owners
            .iter()
            .flatten()
            .map(|&i| learned.unexplained(i).ln_1p());
        learned.usual_strange = stats::median(&strange.collect::<Vec<f64>>()).unwrap_or(0.0);
        learned
    }

    /// Learns how much strokes add.
    fn learn_loudness(&mut self, mut strokes: Vec<Stroke>) {
        let gain = |s: &Stroke| self.explained[s.candidate][s.setting].1;
        strokes.retain(|s| gain(s) > 0.0);
        let gains_db: Vec<f64> = strokes.iter().map(|s| 10.0 * gain(s).log10()).collect();
        self.loudness = Loudness::new(strokes, &gains_db);
        let usual: Vec<(usize, f64)> = self
            .loudness
            .expected_db()
            .zip(&gains_db)
            .map(|((stroke, expected_db), gain_db)| (stroke.setting, gain_db - expected_db))
            .collect();
        for (setting, usual_db) in self.usual_db.iter_mut().enumerate() {
            let own = usual.iter().filter(|u| u.0 == setting);
            *usual_db = stats::median(&own.map(|u| u.1).collect::<Vec<f64>>());
        }
    }

    /// How well each voice explains every candidate: [candidate][place in
    /// `Part::settings`], nepers, the best 0.
    pub fn evidence(&self) -> Vec<Vec<f32>> {
        self.believed(BELIEVED, MOST)
    }

    /// The same with so much believed of what speaks for one drum against
    /// another, and no stroke worth more than `most`.
    fn believed(&self, share: f64, most: f64) -> Vec<Vec<f32>> {
        self.explained
            .iter()
            .zip(&self.covered)
            .map(|(explained, &covered)| {
                let most = if covered { most.min(COVERED) } else { most };
                let found = explained.iter().map(|e| e.0);
                let least = found.clone().fold(f64::INFINITY, f64::min);
                found
                    .map(|d| -(share * (d - least)).min(most) as f32)
                    .collect()
            })
            .collect()
    }

    /// What a candidate at a time sounds like, beside the strokes around it.
    pub fn sounds(&self, candidate: usize, time_s: f64) -> Sounds {
        let view = &self.views[candidate];
        let unexplained = self.unexplained(candidate);
        let louder_db = self.loudness.of_candidate_db(candidate, time_s);
        let expected = (0..self.by_setting.len()).filter_map(|s| self.louder(s, louder_db));
        let struck = expected.map(|e| self.struck(view, e));
        Sounds {
            struck: struck.reduce(f64::max).unwrap_or(0.0),
            strange: unexplained.ln_1p() - self.usual_strange,
        }
    }

    /// How badly even the best voice explains a candidate, nepers.
    fn unexplained(&self, candidate: usize) -> f64 {
        let all = self.explained[candidate].iter().map(|e| e.0);
        all.fold(f64::INFINITY, f64::min)
    }

    /// What a stroke for a note on a setting at a time is expected to add. `None`
    /// where nobody has struck there.
    pub fn expected(&self, note: &Note, setting: usize, at_s: f64) -> Option<Expected> {
        self.louder(setting, self.loudness.of_note_db(at_s, note))
    }

    /// What a stroke on a setting so much louder than usual is expected to add.
    fn louder(&self, setting: usize, louder_db: f64) -> Option<Expected> {
        let gain_db = self.usual_db[setting]? + louder_db;
        Some(Expected { setting, gain_db })
    }

    /// Log likelihood ratio of a stroke about as strong as expected, against none.
    pub fn struck(&self, view: &View, expected: Expected) -> f64 {
        let silent = self.silent(view);
        let of_strength = |&(off, share): &(f64, f64)| {
            share.ln() + silent - self.ringing_with(view, expected, off * SPREAD_DB)
        };
        stats::log_sum_exp(SPREAD.iter().map(of_strength))
    }

    /// The same for the stroke of the likeliest strength, however soft or loud.
    pub fn struck_anyhow(&self, view: &View, expected: Expected) -> f64 {
        let of_strength = |&off_db: &f64| self.ringing_with(view, expected, off_db);
        let least = ANY_DB.iter().map(of_strength).fold(f64::INFINITY, f64::min);
        self.silent(view) - least
    }

    /// How badly a stroke so far from the expected strength explains a view,
    /// nepers.
    fn ringing_with(&self, view: &View, expected: Expected, off_db: f64) -> f64 {
        let gain = 10f64.powf(0.1 * (expected.gain_db + off_db));
        self.ringing(view, gain, &self.by_setting[expected.setting])
    }

    /// How badly no stroke explains a view, nepers.
    fn silent(&self, view: &View) -> f64 {
        self.ringing(view, 0.0, &self.noise)
    }

    /// How badly a voice at a gain explains a view, however much of what rang is
    /// left; nepers.
    fn ringing(&self, view: &View, gain: f64, voice: &Spectrum) -> f64 {
        KEPT.iter().fold(f64::INFINITY, |best, &kept| {
            best.min(self.divergence(view, kept, gain, voice, best))
        })
    }

    /// How badly `voice` explains what a view adds, nepers, and the gain of
    /// the voice.
    fn explain(&self, view: &View, voice: &Spectrum) -> (f64, f64) {
        let added: f64 = (0..BINS)
            .map(|k| f64::from((view.after[k] - view.before[k]).max(0.0)))
            .sum();
        let whole: f64 = voice.iter().map(|&v| f64::from(v)).sum();
        let middle = added / whole.max(1e-30);
        let mut best = (f64::INFINITY, 0.0);
        // The ring that goes on, and the gain of the voice, on a small grid.
        for kept in &KEPT[1..] {
            for step in -5..=5 {
                let gain = middle * 10f64.powf(f64::from(step) * 0.15);
                let sum = self.divergence(view, *kept, gain, voice, best.0);
                if sum < best.0 {
                    best = (sum, gain);
                }
            }
        }
        best
    }

    /// The divergence of a view from a ring that is kept and a voice, per
    /// independent fact. Beyond `enough` it is not worked out to the end.
    fn divergence(&self, view: &View, kept: f64, gain: f64, voice: &Spectrum, enough: f64) -> f64 {
        let mut sum = 0.0;
        for first in (0..BINS).step_by(TOGETHER) {
            let mut product = 1.0;
            for k in first..(first + TOGETHER).min(BINS) {
                let model = kept * f64::from(view.before[k])
                    + gain * f64::from(voice[k])
                    + f64::from(self.noise[k]);
                let ratio = f64::from(view.after[k]) / model;
                if TOLD.contains(&ratio) {
                    sum += ratio - 1.0;
                    product *= ratio;
                } else {
                    sum += MOST_A_BIN;
                }
            }
            sum -= f64::ln(product);
            // No bin takes anything back.
            if sum >= enough * BINS_A_FACT {
                break;
            }
        }
        sum / BINS_A_FACT
    }
}

/// What can be said of the drums before anything is learned from the take: how
/// well each explains every candidate as its written pitch alone foretells it.
pub fn foretold(heard: &Heard, part: &Part, a4_hz: f64) -> Evidence {
    let voices = Voices::learn(heard, part, &Alignment::default(), a4_hz);
    Evidence {
        by_pitch: voices.believed(BELIEVED_BY_PITCH, MOST_BY_PITCH),
        ..Evidence::default()
    }
}

/// What a stroke on a setting is expected to add, dB.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expected {
    setting: usize,
    gain_db: f64,
}

/// What a candidate sounds like.
pub struct Sounds {
    /// As [`Voices::struck`] for the setting that speaks most for it, nepers; 0
    /// where nobody has struck any.
    pub struck: f64,
    /// How badly even the best voice explains it against the matched strokes of
    /// the take: difference of logs of 1 + nepers.
    pub strange: f64,
}

/// A power that each bin falls below before one candidate of ten.
fn quiet(views: &[View]) -> Spectrum {
    std::array::from_fn(|k| {
        let mut values: Vec<f32> = views.iter().map(|v| v.before[k]).collect();
        if values.is_empty() {
            return 1e-12;
        }
        let tenth = values.len() / 10;
        *values.select_nth_unstable_by(tenth, f32::total_cmp).1
    })
}

/// The strokes from which the voices are learned.
fn owners(heard: &Heard, part: &Part, alignment: &Alignment) -> Vec<Stroke> {
    let sure = [Outcome::Played, Outcome::Unsure];
    let mut strokes = Stroke::matched(&heard.candidates, part, alignment, &sure);
    strokes.retain(|s| !is_chord(part, s.note));
    strokes
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
fn voice(views: &[View], noise: &Spectrum, strokes: &[usize], hz: f64) -> Spectrum {
    let mut shares: Vec<Spectrum> = Vec::new();
    for &i in strokes {
        let added: Spectrum = std::array::from_fn(|k| {
            (views[i].after[k] - 0.85 * views[i].before[k] - noise[k]).max(0.0)
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
    std::array::from_fn(|k| {
        let here = (FIRST + k) as f64 * BIN_HZ;
        let sum: f64 = MODES
            .iter()
            .map(|(ratio, power)| {
                let off = (here - ratio * hz) / (1.1 * BIN_HZ);
                power * (-0.5 * off * off).exp()
            })
            .sum();
        (sum + 1e-3) as f32
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOISE: f32 = 1e-9;

    fn spectrum(of: impl Fn(usize) -> f32) -> Spectrum {
        std::array::from_fn(of)
    }

    /// Two drums on which usual strokes add a power of 1e-3 and are nowise
    /// strange, and one candidate.
    fn voices(view: &View) -> Voices {
        let by_setting = [90.0, 120.0].map(|hz| {
            let voice = modelled(hz);
            let whole: f32 = voice.iter().sum();
            voice.map(|v| v / whole)
        });
        let mut voices = Voices {
            views: vec![*view],
            covered: vec![false],
            noise: [NOISE; BINS],
            by_setting: by_setting.to_vec(),
            usual_db: vec![Some(-30.0), None],
            loudness: Loudness::new(Vec::new(), &[]),
            usual_strange: 0.0,
            explained: Vec::new(),
        };
        let explain = |v: &Spectrum| voices.explain(view, v);
        voices.explained = vec![voices.by_setting.iter().map(explain).collect()];
        voices
    }

    /// A stroke on the first drum while what rings has so much power a bin.
    fn struck_at(voices: &Voices, ring: f32, gain: f32) -> View {
        View {
            before: [ring; BINS],
            after: spectrum(|k| 0.9 * ring + gain * voices.by_setting[0][k] + NOISE),
        }
    }

    const SILENT: View = View {
        before: [1e-7; BINS],
        after: [0.9e-7; BINS],
    };

    #[test]
    fn a_stroke_speaks_for_itself_and_silence_against_one() {
        let voices = voices(&SILENT);
        let usual = voices.louder(0, 0.0).unwrap();
        let of = |view: &View| voices.struck(view, usual);
        assert!(of(&struck_at(&voices, 1e-7, 1e-3)) > 5.0);
        let silent = of(&SILENT);
        assert!(silent < -3.0, "{silent}");
        // Where what rings covers a stroke nothing can be told.
        let covered = of(&struck_at(&voices, 1e-1, 1e-3));
        assert!(covered.abs() < 0.5, "{covered}");
        assert_eq!(voices.louder(1, 0.0), None);
    }

    #[test]
    fn a_stroke_far_softer_than_expected_speaks_for_itself_only_at_any_strength() {
        let voices = voices(&SILENT);
        let soft = struck_at(&voices, 1e-9, 1e-5);
        let usual = voices.louder(0, 0.0).unwrap();
        let expected = voices.struck(&soft, usual);
        let anyhow = voices.struck_anyhow(&soft, usual);
        assert!(
            anyhow > 5.0 && anyhow > expected + 5.0,
            "{anyhow} {expected}"
        );
        assert!(voices.struck_anyhow(&SILENT, usual) < 0.5);
    }

    #[test]
    fn what_bins_say_ends_where_they_are_told_no_more() {
        for ratio in [TOLD.start, TOLD.end] {
            let says = ratio - ratio.ln() - 1.0;
            assert!((says - MOST_A_BIN).abs() < 1e-4, "{says}");
        }
    }

    #[test]
    fn what_no_drum_explains_is_strange() {
        let drum = voices(&struck_at(&voices(&SILENT), 1e-7, 1e-3)).sounds(0, 0.0);
        let hiss = View {
            before: [1e-7; BINS],
            after: spectrum(|k| if k > BINS / 2 { 1e-4 } else { 1e-7 }),
        };
        let hiss = voices(&hiss).sounds(0, 0.0);
        assert!(drum.strange < 0.1 && drum.struck > 5.0, "{}", drum.strange);
        assert!(hiss.strange > 1.0, "{}", hiss.strange);
    }
}
