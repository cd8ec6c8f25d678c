//! Whether a take is of a part at all.

use super::choose::Run;
use super::runs::tried;
use super::score::Score;
use super::sounds::Sounds;
use crate::regression;

/// How many terms the probability rests on.
pub const TERMS: usize = 10;
/// Gain beyond this says no more, nats.
const MOST_GAIN: f64 = 30.0;
/// A longest run of fewer strokes is weighed as one of few.
const MANY: f64 = 8.0;

/// The terms of the logistic regression: a constant; gain of the longest run
/// against the most its candidates could be worth; gain of all runs against
/// the most that all candidates could be worth; natural log of the gain of the
/// longest run a step; share of its onsets struck; how well the strokes of all
/// runs are on the drums written, mean natural log of the likelihood against
/// any drum; natural log of the gain of all runs; natural log of how many drums
/// there are to tell apart; gain of all runs over what chance finds, which is
/// as much as was tried; one over the strokes of the longest run.
pub(super) fn terms(score: &Score, sounds: &Sounds, runs: &[Run]) -> Option<[f64; TERMS]> {
    let best = runs.iter().max_by(|a, b| a.worth.total_cmp(&b.worth))?;
    let steps = best.steps.len() as f64;
    let [first, last] = best.ends();
    // What strokes would be worth, each just where expected.
    let most = |from: usize, to: usize| {
        let worth = |c: usize| (sounds.note[c] + 2.5).max(0.0);
        (from..to).map(worth).sum::<f64>().max(1.0)
    };
    let told: f64 = runs.iter().map(|r| r.worth).sum();
    let struck = runs.iter().flat_map(|r| &r.steps);
    let drums: f64 = struck
        .clone()
        .map(|s| {
            sounds
                .drum_share(&score.onsets[s.onset], s.candidate)
                .max(1e-3)
                .ln()
        })
        .sum();
    Some([
        1.0,
        (best.worth / most(first.candidate, last.candidate + 1)).min(1.2),
        (told / most(0, sounds.len())).min(1.2),
        (best.worth / steps).clamp(0.1, 5.0).ln(),
        steps / (last.onset - first.onset + 1) as f64,
        drums / struck.count() as f64,
        told.max(1.0).ln(),
        f64::from(score.onsets[first.onset].in_force.count_ones().max(1)).ln(),
        (told - tried(score, sounds)).clamp(-10.0, MOST_GAIN),
        1.0 / steps,
    ])
}

/// Whether the terms are of a longest run of few strokes.
pub fn few(terms: &[f64; TERMS]) -> bool {
    terms[TERMS - 1] > 1.0 / MANY
}

/// The weights of many strokes, which need no more than eight terms, and of
/// few, fitted to made pairs of tuning seeds, with sound and without, by
/// `cargo bench --bench pieces -- --fit` and `-- --fit --short`.
pub const WEIGHTS: [[f64; TERMS]; 2] = [
    [
        1.619, -3.421, 14.845, -0.194, -5.343, 5.315, -0.516, -5.528, 0.0, 0.0,
    ],
    [
        5.895, -2.266, 8.427, 1.035, -5.064, 2.125, -1.366, -2.840, 0.035, -5.458,
    ],
];

/// Probability that a take is of a part, from its terms.
pub(super) fn probability(terms: &[f64; TERMS]) -> f64 {
    let weights = &WEIGHTS[usize::from(few(terms))];
    let logit: f64 = weights.iter().zip(terms).map(|(w, t)| w * t).sum();
    regression::probability(logit)
}
