//! How strong a stroke is expected to be, from the matched strokes around it.

use super::residual::BIN_S;
use super::rises::Scale;
use super::{Candidate, Heard};
use crate::align::{Alignment, Outcome};
use crate::stats::{mad_sd, median};
use std::collections::BTreeSet;

/// Strokes this far before or after say how strong a passage is, seconds.
const REACH_S: f64 = 3.0;
/// As many are needed on a side.
const FEWEST: usize = 3;
/// Spread of the strengths of strokes about what is expected, dB (five degrees
/// of freedom).
const STROKES_DB: f64 = 5.0;
/// Other sounds: how far their middle lies below the strokes around, and their
/// spread, dB; of few sounds, and at least and at most of many.
const OTHERS_BELOW_DB: (f64, f64, f64) = (15.0, 12.0, 40.0);
const OTHERS_DB: (f64, f64, f64) = (10.0, 7.0, 12.0);
/// As many other sounds of a take say how strong such sounds are.
const MANY: usize = 20;

/// The strengths of the matched strokes of a take in order of time.
pub struct Nearby {
    /// Candidate, seconds, dB.
    strokes: Vec<(usize, f64, f64)>,
    /// Of every candidate, dB re full scale: what its contact adds to the
    /// residual in its first 30 ms.
    strengths_db: Vec<f64>,
}

impl Nearby {
    pub fn new(heard: &Heard, alignment: &Alignment) -> Self {
        let scale = Scale::of(&heard.residual);
        // Strokes of a roll may have a time alone.
        let bin_at = |time_s: f64| (time_s / BIN_S).round().max(0.0) as usize;
        let strength = |(i, candidate): (usize, &Candidate)| {
            let place = heard.places.get(i).map(|p| p.bin);
            let bin = place.unwrap_or_else(|| bin_at(candidate.time_s));
            let fresh: f32 = scale.fresh(bin).iter().sum();
            10.0 * f64::from(fresh.max(1e-12)).log10()
        };
        let candidates = heard.candidates.iter();
        let strengths_db: Vec<f64> = if heard.places.is_empty() {
            candidates.map(|c| c.level_db).collect()
        } else {
            candidates.enumerate().map(strength).collect()
        };
        let mut strokes: Vec<(usize, f64, f64)> = alignment
            .passages
            .iter()
            .flat_map(|p| &p.matches)
            .filter(|m| m.outcome == Outcome::Played)
            .filter_map(|m| m.stroke)
            .map(|c| (c, heard.candidates[c].time_s, strengths_db[c]))
            .collect();
        strokes.sort_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0)));
        strokes.dedup_by_key(|s| s.0);
        Self {
            strokes,
            strengths_db,
        }
    }

    /// The usual strength shortly before and shortly after a time, without the
    /// stroke itself, dB. `None`: too few strokes there.
    pub fn around_db(&self, time_s: f64, but: Option<usize>) -> [Option<f64>; 2] {
        let from = self.strokes.partition_point(|s| s.1 < time_s - REACH_S);
        let here = self.strokes.partition_point(|s| s.1 < time_s);
        let to = self.strokes.partition_point(|s| s.1 <= time_s + REACH_S);
        [from..here, here..to].map(|range| {
            let strokes = self.strokes[range].iter();
            let others: Vec<f64> = strokes.filter(|s| Some(s.0) != but).map(|s| s.2).collect();
            (others.len() >= FEWEST).then(|| median(&others)).flatten()
        })
    }

    /// The usual strength of all strokes, dB. `None`: there are none.
    pub fn usual_db(&self) -> Option<f64> {
        let all: Vec<f64> = self.strokes.iter().map(|s| s.2).collect();
        median(&all)
    }

    /// Of the sounds that were not matched, `spared` left out: how far their
    /// middle lies below the strokes around, and their spread, dB.
    fn others(&self, candidates: &[Candidate], spared: &BTreeSet<usize>) -> (f64, f64) {
        let matched: BTreeSet<usize> = self.strokes.iter().map(|s| s.0).collect();
        let below: Vec<f64> = (0..candidates.len())
            .filter(|c| !matched.contains(c) && !spared.contains(c))
            .filter_map(|c| {
                let around = self.around_db(candidates[c].time_s, None);
                let expected = around.into_iter().flatten().reduce(f64::min)?;
                Some(expected - self.strengths_db[c])
            })
            .collect();
        if below.len() < MANY {
            return (OTHERS_BELOW_DB.0, OTHERS_DB.0);
        }
        let middle = median(&below).unwrap_or(OTHERS_BELOW_DB.0);
        let spread = mad_sd(&below).unwrap_or(OTHERS_DB.0);
        (
            middle.clamp(OTHERS_BELOW_DB.1, OTHERS_BELOW_DB.2),
            spread.clamp(OTHERS_DB.1, OTHERS_DB.2),
        )
    }

    /// Log odds (natural) that the strength of a candidate speaks for a stroke
    /// of these passages against another sound: 0 or less, since a strong
    /// sound may be either. `others` as in [`Self::others`].
    fn too_soft(&self, time_s: f64, candidate: usize, others: (f64, f64)) -> f64 {
        let strength_db = self.strengths_db[candidate];
        let of_side = |expected: f64| {
            let off = (strength_db - expected) / STROKES_DB;
            // Student's t and a normal density; 0.9484 is the ratio of their
            // heights.
            let stroke = -3.0 * (off.min(0.0).powi(2) / 5.0).ln_1p() - STROKES_DB.ln();
            let other = (strength_db - expected + others.0) / others.1;
            let other = -0.5 * other * other - others.1.ln();
            stroke - other + 0.9484f64.ln()
        };
        self.around_db(time_s, Some(candidate))
            .into_iter()
            .flatten()
            .map(of_side)
            .reduce(f64::max)
            .map_or(0.0, |odds| odds.min(0.0))
    }
}

/// Takes down the odds of candidates that are too soft for the strokes around
/// them. `candidates` are those of `heard`.
pub fn doubt_soft(candidates: &mut [Candidate], heard: &Heard, alignment: &Alignment) {
    let nearby = Nearby::new(heard, alignment);
    let matches = alignment.passages.iter().flat_map(|p| &p.matches);
    // The strokes of a roll, and grace strokes, are softer than notes.
    let softer: BTreeSet<usize> = matches.flat_map(|m| m.further.iter().copied()).collect();
    let others = nearby.others(candidates, &softer);
    for (i, candidate) in candidates.iter_mut().enumerate() {
        if !softer.contains(&i) {
            candidate.log_odds += nearby.too_soft(candidate.time_s, i, others);
        }
    }
}
