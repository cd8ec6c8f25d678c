//! Whether a candidate is a stroke, now that the drums of the take are known.
//!
//! A logistic model of what was said knowing nothing of the part, how well the
//! drums explain the sound, struck as strongly as those around, how plainly it
//! begins, and how near the strokes before and after are.

use super::logistic::Logistic;
use super::rises::Scale;
use super::usual::{Profile, Usual};
use super::voices::Voices;
use super::{Candidate, Heard};
use crate::align::Alignment;
use crate::part::Part;
use std::collections::BTreeSet;
use std::sync::LazyLock;

/// How many signs there are, the constant included.
const SIGNS: usize = SIGN_NAMES.len();

/// What each sign says; the order of the weights file.
pub const SIGN_NAMES: [&str; 17] = [
    "constant",
    "odds",
    "residual_for",
    "residual_for_before",
    "residual_against",
    "struck_for",
    "struck_against",
    "strange",
    "loose",
    "before",
    "before_odds",
    "before_struck",
    "before_strange",
    "after",
    "after_odds",
    "after_struck",
    "after_strange",
];

/// The signs of one candidate.
pub type Signs = [f32; SIGNS];

/// Log odds and nepers beyond which a sign says no more.
const ODDS: (f64, f64) = (-6.0, 7.0);
const STRUCK: (f64, f64) = (-10.0, 12.0);
/// Nepers against a stroke beyond which the residual says no more.
const AGAINST: f32 = -400.0;
/// Standard uncertainties of its time between which that speaks, seconds.
const LOOSE_S: (f64, f64) = (0.0003, 0.04);
/// Bins of the residual compared, after and before.
const SIDES: [(usize, usize); 2] = [(60, 40), (60, 100)];
/// Another stroke this near, before or after, changes what the signs say, the
/// more the nearer it is, down to the second; seconds.
const NEAR_S: (f64, f64) = (0.12, 0.02);

static MODEL: LazyLock<Logistic<SIGNS>> =
    LazyLock::new(|| Logistic::read(&SIGN_NAMES, include_str!("known.csv")));

/// Weighs all candidates anew but those inside rolls and the grace strokes.
/// `candidates` are those of `heard`.
pub fn weigh(
    candidates: &mut [Candidate],
    heard: &Heard,
    part: &Part,
    alignment: &Alignment,
    voices: &Voices,
) {
    let signs = signs(heard, part, alignment, voices);
    for (candidate, signs) in candidates.iter_mut().zip(signs) {
        if let Some(signs) = signs {
            candidate.log_odds = MODEL.log_odds(&signs);
        }
    }
}

/// The signs of every candidate; `None` inside rolls and for grace strokes,
/// which are softer than notes and follow too closely, and where no stroke was
/// matched that could say how the drums sound.
pub fn signs(
    heard: &Heard,
    part: &Part,
    alignment: &Alignment,
    voices: &Voices,
) -> Vec<Option<Signs>> {
    let usual = Usual::learn(heard, part, alignment);
    let matches = alignment.passages.iter().flat_map(|p| &p.matches);
    let softer: BTreeSet<usize> = matches.flat_map(|m| m.further.iter().copied()).collect();
    let profiles: Vec<&Profile> = usual.profiles.iter().flatten().collect();
    if profiles.is_empty() {
        return vec![None; heard.candidates.len()];
    }
    let scale = Scale::of(&heard.residual);
    let neighbours = Neighbours::of(&heard.candidates);
    let sign = |(i, candidate): (usize, &Candidate)| {
        if softer.contains(&i) {
            return None;
        }
        let place = heard.places.get(i)?;
        let time_s = candidate.time_s;
        let stronger_db = usual.loudness.of_candidate_db(i, time_s);
        let [residual, residual_before] = SIDES.map(|sides| {
            let agrees = profiles
                .iter()
                .map(|profile| profile.agrees(&scale, place.bin, stronger_db, sides));
            agrees.reduce(f64::max).unwrap_or(0.0) as f32
        });
        let odds = candidate.log_odds.clamp(ODDS.0, ODDS.1) as f32;
        let sounds = voices.sounds(i, time_s);
        let struck = sounds.struck.clamp(STRUCK.0, STRUCK.1) as f32;
        let strange = (sounds.strange * sounds.strange.abs()) as f32;
        let loose = candidate.time_sd_s.clamp(LOOSE_S.0, LOOSE_S.1) / LOOSE_S.0;
        let [before, after] = neighbours.near(time_s);
        Some([
            1.0,
            odds,
            residual.max(0.0).ln_1p(),
            residual_before.max(0.0).ln_1p(),
            residual.clamp(AGAINST, 0.0).abs().sqrt(),
            struck.max(0.0),
            struck.min(0.0),
            strange,
            loose.ln() as f32,
            before,
            before * odds,
            before * struck,
            before * strange,
            after,
            after * odds,
            after * struck,
            after * strange,
        ])
    };
    heard.candidates.iter().enumerate().map(sign).collect()
}

/// The times of the candidates that are likelier strokes than not, in order,
/// seconds.
struct Neighbours(Vec<f64>);

impl Neighbours {
    fn of(candidates: &[Candidate]) -> Self {
        let likely = candidates.iter().filter(|c| c.log_odds > 0.0);
        let mut times: Vec<f64> = likely.map(|c| c.time_s).collect();
        times.sort_by(f64::total_cmp);
        Self(times)
    }

    /// How near the one before a time is, and the one after: 0 beyond the reach,
    /// rising with the log of the distance.
    fn near(&self, time_s: f64) -> [f32; 2] {
        let before = self.0.partition_point(|&t| t < time_s);
        let after = self.0.partition_point(|&t| t <= time_s);
        [before.checked_sub(1), Some(after)].map(|other| {
            let other_s = other.and_then(|o| self.0.get(o));
            let gap_s = other_s.map_or(f64::INFINITY, |o| (o - time_s).abs());
            (NEAR_S.0 / gap_s.max(NEAR_S.1)).max(1.0).ln() as f32
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_neighbour_counts_the_more_the_nearer_it_is() {
        let candidate = |time_s, log_odds| Candidate {
            time_s,
            time_sd_s: 0.001,
            log_odds,
            level_db: -20.0,
        };
        // What is likelier none is no neighbour, and nobody is his own.
        let candidates = [
            candidate(1.0, 4.0),
            candidate(1.05, -1.0),
            candidate(1.06, 2.0),
            candidate(1.5, 4.0),
        ];
        let neighbours = Neighbours::of(&candidates);
        let [before, after] = neighbours.near(1.05);
        assert!((f64::from(before) - (0.12f64 / 0.05).ln()).abs() < 1e-6);
        assert!((f64::from(after) - (0.12f64 / 0.02).ln()).abs() < 1e-6);
        let [before, after] = neighbours.near(1.5);
        assert!(before.abs() + after.abs() < 1e-9);
        assert!(neighbours.near(1.0)[0].abs() < 1e-9);
    }
}
