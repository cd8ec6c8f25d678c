//! The candidates as the matching sees them: what each is worth as a note, as
//! part of a roll, or as nobody's.
//!
//! All worths are natural logs of likelihoods relative to the same candidate
//! heard outside any passage, where it is noise, or a stroke that follows no
//! part. The log odds are calibrated at a common rate of strokes a second;
//! dividing by that rate turns them into a density over time, which is what a
//! note's expected place is compared with.

use super::Evidence;
use super::score::Onset;
use crate::listen::Candidate;

/// Strokes a second at which the log odds were calibrated: about the density
/// of generated marches.
const RATE_HZ: f64 = 4.0;
/// Unwritten strokes inside a passage, against `RATE_HZ`.
const EXTRA: f64 = 0.02;
/// Strokes outside any passage (warming up, tuning, talk taken for strokes),
/// against `RATE_HZ`.
const OUTSIDE: f64 = 0.3;
/// Strokes a second in a roll or flam, against `RATE_HZ`.
const ROLLING: f64 = 2.5;
/// The same in a roll whose strokes run together and are hardly heard one by
/// one, and natural log of the share of such rolls.
const BLURRED: f64 = 0.5;
const BLURRED_SHARE: f64 = -1.6;
/// Share of the strokes of a roll that become candidates.
const HEARD: f64 = 0.75;
/// Log odds are cut to this: beyond it the calibration rests on nothing.
const LOG_ODDS: (f64, f64) = (-9.0, 7.0);
/// Share of notes that are struck on another drum than written.
const WRONG_DRUM_SHARE: f64 = 0.03;
/// No single sound speaks louder than this about its drum, nats.
const DRUM_FLOOR: f32 = -14.0;
/// A grace stroke lies this far before its main stroke at most, seconds.
pub(super) const GRACE_S: f64 = 0.085;
/// The strokes of a chord lie this far apart at most, seconds.
pub(super) const CHORD_S: f64 = 0.03;

#[derive(Clone, Debug, Default)]
pub(super) struct Sounds {
    /// Place of each in the list that was given; here they are in order of
    /// time.
    pub given: Vec<usize>,
    pub times: Vec<f64>,
    index: Index,
    pub variance: Vec<f64>,
    pub log_odds: Vec<f64>,
    /// The odds, and the natural log of what they are worth outside any
    /// passage.
    odds: Vec<f64>,
    outside: Vec<f64>,
    /// Worth as the stroke of a note, before its place in time and its drum.
    pub note: Vec<f64>,
    /// Running sums, one longer than the candidates: worth as nobody's inside
    /// a passage, and as part of a roll.
    pub loose: Vec<f64>,
    pub rolling: Vec<f64>,
    /// Likelihood of each setting, best 1; candidates in rows.
    drums: Vec<f32>,
    settings: usize,
    /// How the drums sound has been learned from the take.
    pub learned: bool,
}

impl Sounds {
    /// Candidates whose figures are not numbers count as never heard.
    pub fn new(candidates: &[Candidate], evidence: Option<&Evidence>) -> Self {
        let mut sounds = Self {
            loose: vec![0.0],
            rolling: vec![0.0],
            ..Self::default()
        };
        sounds.given = (0..candidates.len())
            .filter(|&i| candidates[i].time_s.is_finite())
            .collect();
        sounds
            .given
            .sort_by(|&a, &b| candidates[a].time_s.total_cmp(&candidates[b].time_s));
        for &index in &sounds.given {
            let candidate = &candidates[index];
            let odds = if candidate.log_odds.is_nan() {
                LOG_ODDS.0
            } else {
                candidate.log_odds.clamp(LOG_ODDS.0, LOG_ODDS.1)
            };
            let ratio = odds.exp();
            let outside = (OUTSIDE * ratio).ln_1p();
            sounds.times.push(candidate.time_s);
            let sd = candidate.time_sd_s;
            let sd = if sd.is_finite() {
                sd.clamp(0.0, 0.1)
            } else {
                0.02
            };
            sounds.variance.push(sd * sd);
            sounds.log_odds.push(odds);
            sounds.odds.push(ratio);
            sounds.outside.push(outside);
            sounds.note.push(odds - RATE_HZ.ln() - outside);
            let add = |sums: &mut Vec<f64>, worth: f64| {
                let sum = sums.last().copied().unwrap_or(0.0) + worth;
                sums.push(sum);
            };
            add(&mut sounds.loose, (EXTRA * ratio).ln_1p() - outside);
            add(&mut sounds.rolling, (ROLLING * ratio).ln_1p() - outside);
        }
        sounds.index = Index::of(&sounds.times);
        if let Some(evidence) = evidence {
            sounds.learned = !evidence.per.is_empty();
            let rows = if sounds.learned {
                &evidence.per
            } else {
                &evidence.by_pitch
            };
            sounds.settings = rows.iter().map(Vec::len).max().unwrap_or(0);
            sounds.drums.reserve(candidates.len() * sounds.settings);
            for &index in &sounds.given {
                let row: &[f32] = rows.get(index).map_or(&[], Vec::as_slice);
                for place in 0..sounds.settings {
                    let log = row.get(place).copied().unwrap_or(0.0);
                    let log = if log.is_nan() { 0.0 } else { log };
                    sounds.drums.push(log.clamp(DRUM_FLOOR, 0.0).exp());
                }
            }
        }
        sounds
    }

    pub fn len(&self) -> usize {
        self.times.len()
    }

    /// First candidate not before a time.
    pub fn from(&self, time_s: f64) -> usize {
        let (from, to) = self.index.around(time_s);
        from + self.times[from..to].partition_point(|&t| t < time_s)
    }

    /// Worth of the candidates from `a` up to before `b` as the strokes of the
    /// roll of an onset, which lasts so long: a Poisson process at its rate
    /// against one at the rate outside, whether its strokes are heard one by
    /// one or run together.
    pub fn roll(&self, onset: &Onset, a: usize, b: usize, lasts_s: f64) -> f64 {
        let none = |rate: f64| (HEARD * rate - OUTSIDE) * RATE_HZ * lasts_s.max(0.0);
        let (mut clear, mut blurred) = (-none(ROLLING), BLURRED_SHARE - none(BLURRED));
        for c in a..b {
            let worth = self.in_roll(onset, c);
            clear += worth[0];
            blurred += worth[1];
        }
        clear.max(blurred)
    }

    /// Worth of a candidate as a stroke of the roll of an onset, heard by itself
    /// and run together with others.
    pub fn in_roll(&self, onset: &Onset, candidate: usize) -> [f64; 2] {
        // Inside a roll the drums are heard less surely.
        let drum = self.drum_share(onset, candidate).clamp(0.2, 2.0);
        let (ratio, outside) = (self.odds[candidate], self.outside[candidate]);
        [ROLLING, BLURRED].map(|rate| (rate * drum * ratio).ln_1p() - outside)
    }

    /// Likelihood of a stroke on the drums of an onset, some of them struck
    /// wrongly, relative to one on any drum in force; by the written pitches as
    /// long as nothing is learned.
    pub fn drum_share(&self, onset: &Onset, candidate: usize) -> f64 {
        if self.settings == 0 {
            return 1.0;
        }
        let drum = DrumWorth::of(self.row(candidate), onset);
        (1.0 - WRONG_DRUM_SHARE) * drum.written + WRONG_DRUM_SHARE * drum.other
    }

    /// Likelihood of each setting, best 1; empty where nothing is learned.
    pub fn drums(&self, candidate: usize) -> &[f32] {
        if self.learned {
            self.row(candidate)
        } else {
            &[]
        }
    }

    fn row(&self, candidate: usize) -> &[f32] {
        let from = candidate * self.settings;
        self.drums.get(from..from + self.settings).unwrap_or(&[])
    }

    /// What the drums say of a candidate as the stroke of an onset: the
    /// likelihood on the written drum and on the likeliest other one, relative to
    /// a stroke on any drum in force. Nothing where nothing is learned.
    pub fn drum_worth(&self, onset: &Onset, candidate: usize) -> DrumWorth {
        DrumWorth::of(self.drums(candidate), onset)
    }

    /// Worth as the stroke of an onset apart from its place in time.
    pub fn worth(&self, onset: &Onset, candidate: usize) -> f64 {
        self.note[candidate] + self.drum_share(onset, candidate).max(1e-9).ln()
    }
}

/// Where in a rising list of times to look for one.
#[derive(Clone, Debug, Default)]
struct Index {
    first_s: f64,
    /// Steps a second.
    rate_hz: f64,
    /// How many times lie in the steps before each; one more at the end.
    before: Vec<usize>,
}

impl Index {
    /// Steps for every time, on average: few hold more than one.
    const FINE: usize = 4;

    fn of(times: &[f64]) -> Self {
        let (Some(&first_s), Some(&last_s)) = (times.first(), times.last()) else {
            return Self::default();
        };
        let steps = Self::FINE * times.len();
        let mut index = Self {
            first_s,
            rate_hz: steps as f64 / (last_s - first_s),
            before: vec![0; steps + 1],
        };
        for &time_s in times {
            let step = index.step(time_s);
            index.before[step + 1] += 1;
        }
        for step in 0..steps {
            index.before[step + 1] += index.before[step];
        }
        index
    }

    /// The step of a time. No later time has an earlier step; a time that is no
    /// number has the first.
    fn step(&self, time_s: f64) -> usize {
        let step = ((time_s - self.first_s) * self.rate_hz) as usize;
        step.min(self.before.len().saturating_sub(2))
    }

    /// The place of the first time that is not before a time lies in this
    /// span, its end included.
    fn around(&self, time_s: f64) -> (usize, usize) {
        let step = self.step(time_s);
        match self.before.get(step..step + 2) {
            Some(&[from, to]) => (from, to),
            _ => (0, 0),
        }
    }
}

/// See [`Sounds::drum_worth`]; likelihoods, not logs.
#[derive(Clone, Copy, Debug)]
pub(super) struct DrumWorth {
    pub written: f64,
    pub other: f64,
}

impl Default for DrumWorth {
    fn default() -> Self {
        Self {
            written: 1.0,
            other: 0.0,
        }
    }
}

impl DrumWorth {
    /// Of the likelihoods of a candidate on every setting.
    fn of(row: &[f32], onset: &Onset) -> Self {
        let (mut own, mut own_count, mut all, mut count) = (0.0f32, 0u32, 0.0f32, 0u32);
        let mut other = 0.0f32;
        for (place, &likelihood) in row.iter().enumerate().take(128) {
            let bit = 1u128 << place;
            if onset.in_force & bit == 0 {
                continue;
            }
            all += likelihood;
            count += 1;
            if onset.own & bit != 0 {
                own += likelihood;
                own_count += 1;
            } else {
                other = other.max(likelihood);
            }
        }
        if own_count == 0 || count < 2 || all <= 0.0 {
            return Self::default();
        }
        let mean = f64::from(all) / f64::from(count);
        Self {
            written: f64::from(own) / f64::from(own_count) / mean,
            other: f64::from(other) / mean,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sounds(times: &[f64]) -> Sounds {
        let candidate = |&time_s: &f64| Candidate {
            time_s,
            time_sd_s: 0.01,
            log_odds: 0.0,
            level_db: -20.0,
        };
        let candidates: Vec<Candidate> = times.iter().map(candidate).collect();
        Sounds::new(&candidates, None)
    }

    #[test]
    fn the_first_candidate_not_before_a_time_is_found_among_any_times() {
        let even: Vec<f64> = (0..50).map(|i| f64::from(i) * 0.125).collect();
        let lists = [
            vec![],
            vec![2.5],
            vec![1.0, 1.0, 1.0],
            vec![-3.0, -1.0, 0.0, 0.5, 0.5, 9.0],
            vec![0.1, 0.2, 0.3, 1e300],
            vec![f64::MIN, 0.0, f64::MAX],
            even,
        ];
        for times in lists {
            let sounds = sounds(&times);
            let around = times.iter().flat_map(|&t| [t, t.next_down(), t.next_up()]);
            for time_s in around.chain([f64::NEG_INFINITY, -5.0, 0.0, 3.3, 1e9, f64::INFINITY]) {
                let first = times.iter().position(|&t| t >= time_s);
                let first = first.unwrap_or(times.len());
                assert_eq!(sounds.from(time_s), first, "{time_s} in {times:?}");
            }
        }
    }
}
