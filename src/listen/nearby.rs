//! How strong a stroke is expected to be, from the matched strokes around it.

use super::Heard;
use super::residual::BIN_S;
use super::rises::Scale;
use crate::align::{Alignment, Outcome};
use crate::stats::median;

/// Strokes this far before or after say how strong a passage is, seconds.
const REACH_S: f64 = 3.0;
/// As many are needed on a side.
const FEWEST: usize = 3;
/// How far the strength of a stroke lies from what is expected beside the
/// strokes around it, standard deviation, dB.
pub const SPREAD_DB: f64 = 3.5;
/// Points at which that spread is looked at, in standard deviations, with the
/// normal share of each.
pub const SPREAD: [(f64, f64); 7] = [
    (-3.0, 0.0060),
    (-2.0, 0.0606),
    (-1.0, 0.2417),
    (0.0, 0.3834),
    (1.0, 0.2417),
    (2.0, 0.0606),
    (3.0, 0.0060),
];

/// The strengths of the matched strokes of a take: what a contact adds to the
/// residual in its first 30 ms.
pub struct Nearby {
    /// Candidate, seconds, dB re full scale; in order of time.
    strokes: Vec<(usize, f64, f64)>,
    /// The usual strength of all strokes, dB. `None`: there are none.
    usual_db: Option<f64>,
}

impl Nearby {
    pub fn new(heard: &Heard, alignment: &Alignment) -> Self {
        let scale = Scale::of(&heard.residual);
        let strength_db = |candidate: usize| {
            let time_s = heard.candidates[candidate].time_s;
            // Strokes of a roll may have a time alone.
            let bin = heard.places.get(candidate).map_or_else(
                || (time_s / BIN_S).round().max(0.0) as usize,
                |place| place.bin,
            );
            let fresh: f32 = scale.fresh(bin).iter().sum();
            10.0 * f64::from(fresh.max(1e-12)).log10()
        };
        let mut strokes: Vec<(usize, f64, f64)> = alignment
            .passages
            .iter()
            .flat_map(|p| &p.matches)
            .filter(|m| m.outcome == Outcome::Played)
            .filter_map(|m| m.stroke)
            .map(|c| (c, heard.candidates[c].time_s, strength_db(c)))
            .collect();
        strokes.sort_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0)));
        strokes.dedup_by_key(|s| s.0);
        let all: Vec<f64> = strokes.iter().map(|s| s.2).collect();
        Self {
            usual_db: median(&all),
            strokes,
        }
    }

    /// The usual strength shortly before and shortly after a time, without the
    /// stroke `but`, dB. `None`: too few strokes there.
    fn around_db(&self, time_s: f64, but: Option<usize>) -> [Option<f64>; 2] {
        let from = self.strokes.partition_point(|s| s.1 < time_s - REACH_S);
        let here = self.strokes.partition_point(|s| s.1 < time_s);
        let to = self.strokes.partition_point(|s| s.1 <= time_s + REACH_S);
        [from..here, here..to].map(|range| {
            let strokes = self.strokes[range].iter();
            let others: Vec<f64> = strokes.filter(|s| Some(s.0) != but).map(|s| s.2).collect();
            (others.len() >= FEWEST).then(|| median(&others)).flatten()
        })
    }

    /// How much stronger than usual strokes are about a time, dB: the softer of
    /// the two sides, since a mark may change there.
    pub fn stronger_db(&self, time_s: f64, but: Option<usize>) -> f64 {
        let usual_db = self.usual_db.unwrap_or(0.0);
        let around = self.around_db(time_s, but).into_iter().flatten();
        around.fold(usual_db, f64::min) - usual_db
    }
}
