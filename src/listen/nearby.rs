//! How loud a stroke is expected to be, from the matched strokes around it.

use super::{Candidate, Heard};
use crate::align::{Alignment, Outcome};
use std::collections::BTreeSet;

/// Strokes this far before or after say how loud a passage is, seconds.
const REACH_S: f64 = 3.0;
/// As many are needed on a side.
const FEWEST: usize = 3;
/// Spread of the levels of strokes about what is expected, dB (five degrees of
/// freedom).
const STROKES_DB: f64 = 5.0;
/// Other sounds: their middle below the strokes around, and their spread, dB.
const OTHERS_BELOW_DB: f64 = 15.0;
const OTHERS_DB: f64 = 10.0;

/// The levels of the matched strokes of a take in order of time.
pub struct Nearby {
    /// Candidate, seconds, dB.
    strokes: Vec<(usize, f64, f64)>,
}

impl Nearby {
    pub fn new(heard: &Heard, alignment: &Alignment) -> Self {
        let mut strokes: Vec<(usize, f64, f64)> = alignment
            .passages
            .iter()
            .flat_map(|p| &p.matches)
            .filter(|m| m.outcome == Outcome::Played)
            .filter_map(|m| m.stroke)
            .map(|c| {
                let candidate = &heard.candidates[c];
                (c, candidate.time_s, candidate.level_db)
            })
            .collect();
        strokes.sort_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0)));
        strokes.dedup_by_key(|s| s.0);
        Self { strokes }
    }

    /// The usual level shortly before and shortly after a time, without the
    /// stroke itself, dB. `None`: too few strokes there.
    pub fn levels_db(&self, time_s: f64, but: Option<usize>) -> [Option<f64>; 2] {
        let from = self.strokes.partition_point(|s| s.1 < time_s - REACH_S);
        let here = self.strokes.partition_point(|s| s.1 < time_s);
        let to = self.strokes.partition_point(|s| s.1 <= time_s + REACH_S);
        [from..here, here..to].map(|range| {
            let mut levels: Vec<f64> = self.strokes[range]
                .iter()
                .filter(|s| Some(s.0) != but)
                .map(|s| s.2)
                .collect();
            let middle = levels.len() / 2;
            (levels.len() >= FEWEST)
                .then(|| *levels.select_nth_unstable_by(middle, f64::total_cmp).1)
        })
    }

    /// Log odds (natural) that a level speaks for a stroke of these passages
    /// against another sound: 0 or less, since a loud sound may be either.
    fn too_soft(&self, time_s: f64, but: Option<usize>, level_db: f64) -> f64 {
        let of_side = |expected: f64| {
            let off = (level_db - expected) / STROKES_DB;
            // Student's t and a normal density; 0.9484 is the ratio of their
            // heights.
            let stroke = -3.0 * (off.min(0.0).powi(2) / 5.0).ln_1p() - STROKES_DB.ln();
            let other = (level_db - expected + OTHERS_BELOW_DB) / OTHERS_DB;
            let other = -0.5 * other * other - OTHERS_DB.ln();
            stroke - other + 0.9484f64.ln()
        };
        self.levels_db(time_s, but)
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
    for (i, candidate) in candidates.iter_mut().enumerate() {
        if !softer.contains(&i) {
            candidate.log_odds += nearby.too_soft(candidate.time_s, Some(i), candidate.level_db);
        }
    }
}
