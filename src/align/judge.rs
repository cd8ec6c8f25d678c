//! What became of each note of a passage: likelihoods of "as written",
//! "missed" and "on another drum", given what all the other notes say of the
//! pulse.
//!
//! For an onset expected at a time, every candidate near it may be its stroke.
//! "As written" is the sum over them, and the small chance that the stroke is
//! not among the candidates at all; "missed" is that each of them is something
//! else. Where none is likelier a stroke than not, what the second listening
//! says of the note stands for most of that sum. The ratio is free of any prior
//! belief in the player: the caution is in the ratio that the settings ask for.
//! Only what counts as played leans on what is usual.

use super::follow::{Follower, Step};
use super::pulse::Fit;
use super::sounds::{CHORD_S, GRACE_S};
use super::{Evidence, Match, Outcome};
use crate::settings::Settings;

/// Chance that a stroke that was played leaves no candidate at all.
const UNHEARD: f64 = 0.006;
/// Chance that a stroke lies elsewhere than the second listening looked, which
/// is where the pulse has the note. From a tenth to a fiftieth the log loss on
/// tuning takes hardly differs.
const ELSEWHERE: f64 = 0.05;
/// No note that was looked into is less likely to have been played than this,
/// against left out.
const LEAST: f64 = 1e-4;
/// A note counts as played as written until another drum is likelier by more
/// than the inverse of this, or, once the second listening has spoken, that it
/// was left out: both are rare.
const RARE: f64 = 0.15;
/// Candidates within a roll or before a flam are its strokes from these log
/// odds on.
const FURTHER: f64 = -0.5;
/// Two strokes of a roll lie this far apart at least, seconds.
const ROLL_GAP_S: f64 = 0.03;
/// So many strokes inside its span show that a roll is played.
const ROLLED: usize = 3;
/// Evidence for a drum is told from this ratio on, nats.
const CLEAR_DRUM: f64 = 2.0;

/// A passage about to be judged.
pub(super) struct Bench<'a> {
    pub follower: Follower<'a>,
    pub evidence: Option<&'a Evidence>,
    pub settings: &'a Settings,
    pub fit: &'a Fit,
    pub steps: &'a [Step],
    /// First and last onset.
    pub onsets: (usize, usize),
}

/// The verdicts on the notes of a passage in order, and the candidates they
/// use, in no order.
pub(super) struct Verdicts {
    pub matches: Vec<Match>,
    pub used: Vec<usize>,
}

struct Sums {
    written: f64,
    other: f64,
    /// The candidate that adds most to either, and how much.
    best: Option<(usize, f64)>,
}

impl Bench<'_> {
    pub fn judge(&self) -> Verdicts {
        let mut verdicts = Verdicts {
            matches: Vec::new(),
            used: self.steps.iter().map(|s| s.candidate).collect(),
        };
        let mut next = 0;
        for index in self.onsets.0..=self.onsets.1 {
            while next < self.steps.len() && self.steps[next].onset < index {
                next += 1;
            }
            let step = self.steps.get(next).filter(|s| s.onset == index);
            let before = next.checked_sub(1).map(|i| self.steps[i]);
            let after = self.steps.get(next + usize::from(step.is_some()));
            self.onset(index, step, before, after.copied(), &mut verdicts);
        }
        verdicts
    }

    fn onset(
        &self,
        index: usize,
        step: Option<&Step>,
        before: Option<Step>,
        after: Option<Step>,
        verdicts: &mut Verdicts,
    ) {
        let onset = &self.follower.score.onsets[index];
        let low = before.map_or(0, |s| s.candidate + 1);
        let high = after.map_or(self.follower.sounds.len(), |s| s.candidate);
        let sums = self.sums(index, low, high);
        let stroke = step
            .map(|s| s.candidate)
            .or(sums.best.filter(|b| b.1 > 0.5).map(|b| b.0));
        let doubtful = stroke.is_none_or(|s| self.follower.sounds.log_odds[s] < 0.0);
        let examined = self
            .evidence
            .filter(|_| doubtful)
            .and_then(|e| e.unheard.get(onset.notes.0).copied().flatten());
        let written = match examined {
            Some(ratio) => {
                let looked = f64::from(ratio).max(LEAST);
                (1.0 - ELSEWHERE) * looked + ELSEWHERE * sums.written
            }
            None => (1.0 - UNHEARD) * sums.written + UNHEARD,
        };
        let other = sums.other;
        let log_ratio = written.ln() - other.max(1.0).ln();
        let accuse = super::sure(self.settings);
        let heard = stroke.and_then(|s| self.heard_drum(index, s));
        // The beginning of a roll may not be heard though it was played.
        let rolled = || self.rolled(index, low, high);
        let learned = self.follower.sounds.learned;
        let left_out = if learned { RARE } else { 1.0 };
        let as_written = written >= (RARE * other).max(left_out);
        let (outcome, stroke) = if as_written && stroke.is_some() {
            (Outcome::Played, stroke)
        } else if log_ratio > -accuse || self.fit.expected[index - self.onsets.0].0 < 0.0 {
            // Before the first sample nothing can be heard.
            (Outcome::Unsure, stroke.or_else(rolled))
        } else if other > 1.0 && stroke.is_some() {
            (Outcome::OtherDrum, stroke)
        } else if let Some(first) = rolled() {
            (Outcome::Unsure, Some(first))
        } else {
            (Outcome::Missed, None)
        };
        let further = stroke.map_or_else(Vec::new, |s| self.further(index, s, low, high));
        if let Some(stroke) = stroke {
            verdicts.used.push(stroke);
            verdicts.used.extend(&further);
        }
        let places: Vec<usize> = (0..128).filter(|p| onset.own >> p & 1 == 1).collect();
        for note in onset.notes.0..onset.notes.1 {
            let own = places.get(note - onset.notes.0).copied();
            let setting = match outcome {
                Outcome::Played if learned => own.or(heard),
                Outcome::OtherDrum | Outcome::Unsure => heard,
                _ => None,
            };
            verdicts.matches.push(Match {
                outcome,
                stroke: stroke.map(|s| self.follower.sounds.given[s]),
                further: further
                    .iter()
                    .map(|&s| self.follower.sounds.given[s])
                    .collect(),
                setting,
                log_ratio,
            });
        }
    }

    /// Sums over the candidates that are free for an onset.
    fn sums(&self, index: usize, low: usize, high: usize) -> Sums {
        let sounds = self.follower.sounds;
        let onset = &self.follower.score.onsets[index];
        let (time_s, variance) = self.fit.expected[index - self.onsets.0];
        let jitter = self.fit.scale_s.max(0.6 * onset.jitter_s);
        let reach = (6.0 * (variance + jitter * jitter).sqrt()).max(0.06);
        let mut sums = Sums {
            written: 0.0,
            other: 0.0,
            best: None,
        };
        let mut most = 0.0;
        for candidate in low.max(sounds.from(time_s - reach))..high {
            if sounds.times[candidate] > time_s + reach {
                break;
            }
            let spread = variance + jitter * jitter + sounds.variance[candidate];
            let density = student(sounds.times[candidate] - time_s, spread);
            let loose = sounds.loose[candidate + 1] - sounds.loose[candidate];
            let weight = density * (sounds.note[candidate] - loose).exp();
            let drum = sounds.drum_worth(onset, candidate);
            sums.written += weight * drum.written;
            sums.other += weight * drum.other;
            let worth = weight * drum.written.max(drum.other);
            if worth > most {
                most = worth;
                sums.best = Some((candidate, worth));
            }
        }
        sums
    }

    /// The drum that a stroke was heard on, `None` without clear evidence.
    fn heard_drum(&self, index: usize, candidate: usize) -> Option<usize> {
        let onset = &self.follower.score.onsets[index];
        let row = self.follower.sounds.drums(candidate);
        let in_force = |place: usize| place < 128 && onset.in_force >> place & 1 == 1;
        clear_drum(row, in_force)
    }

    /// The strokes of a roll after its first, or the grace strokes before.
    fn further(&self, index: usize, stroke: usize, low: usize, high: usize) -> Vec<usize> {
        let sounds = self.follower.sounds;
        let onset = &self.follower.score.onsets[index];
        let mut further = Vec::new();
        let grace_s = if onset.flam {
            GRACE_S
        } else if onset.is_chord() {
            CHORD_S
        } else {
            0.0
        };
        if grace_s > 0.0 {
            let from = sounds.from(sounds.times[stroke] - grace_s).max(low);
            further.extend((from..stroke).filter(|&c| sounds.log_odds[c] > FURTHER));
        }
        let span_s = match onset.roll_s {
            Some(_) => self.roll_end_s(index) - sounds.times[stroke],
            None if onset.is_chord() => CHORD_S,
            None => 0.0,
        };
        let mut last_s = sounds.times[stroke];
        for candidate in stroke + 1..high {
            let time_s = sounds.times[candidate];
            if time_s - sounds.times[stroke] >= span_s {
                break;
            }
            let apart = onset.roll_s.is_none() || time_s - last_s >= ROLL_GAP_S;
            if apart && sounds.log_odds[candidate] > FURTHER {
                further.push(candidate);
                last_s = time_s;
            }
        }
        further
    }

    /// The first stroke inside the span of a roll, if there are so many that a
    /// roll is played there.
    fn rolled(&self, index: usize, low: usize, high: usize) -> Option<usize> {
        let sounds = self.follower.sounds;
        self.follower.score.onsets[index].roll_s?;
        let from_s = self.fit.expected[index - self.onsets.0].0;
        let to_s = self.roll_end_s(index);
        let mut strokes = (low.max(sounds.from(from_s))..high)
            .take_while(|&c| sounds.times[c] < to_s)
            .filter(|&c| sounds.log_odds[c] > FURTHER);
        let first = strokes.next()?;
        (strokes.count() + 1 >= ROLLED).then_some(first)
    }

    /// Where the pulse puts the end of a roll.
    fn roll_end_s(&self, index: usize) -> f64 {
        let onset = &self.follower.score.onsets[index];
        self.fit
            .pulse
            .time_s(onset.roll_end)
            .unwrap_or(f64::NEG_INFINITY)
    }
}

/// The best of a row of likelihoods, if it is clearly better than the next.
pub(super) fn clear_drum(row: &[f32], in_force: impl Fn(usize) -> bool) -> Option<usize> {
    let mut best: Option<(f32, usize)> = None;
    let mut second = 0.0f32;
    for (place, &likelihood) in row.iter().enumerate() {
        if !in_force(place) {
            continue;
        }
        match best {
            Some((most, _)) if likelihood <= most => second = second.max(likelihood),
            _ => {
                second = second.max(best.map_or(0.0, |b| b.0));
                best = Some((likelihood, place));
            }
        }
    }
    let (most, place) = best?;
    (f64::from(second) * CLEAR_DRUM.exp() <= f64::from(most)).then_some(place)
}

/// Density of Student's t with five degrees of freedom.
fn student(off: f64, variance: f64) -> f64 {
    // Γ(3) / (Γ(2.5) √(5π))
    const PEAK: f64 = 0.379_606_689_822_494_4;
    PEAK / variance.sqrt() * (1.0 + off * off / variance / 5.0).powi(-3)
}
