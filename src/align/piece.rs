//! Whether a take is of a part at all.

use super::choose::Run;
use super::follow::Step;
use super::runs::tried;
use super::score::Score;
use super::sounds::Sounds;
use crate::regression;

/// How many terms the probability rests on.
pub const TERMS: usize = 10;
/// Gain beyond this says no more, nats.
const MOST_GAIN: f64 = 30.0;
/// Nor do shares of the most gain beyond these, of the longest run and of all:
/// so much gains what is in the right rhythm, on whatever drums.
const MOST_OF_RUN: f64 = 0.9;
const MOST_OF_ALL: f64 = 0.85;
/// A longest run of fewer strokes is weighed as one of few.
const MANY: f64 = 8.0;

/// The terms of the logistic regression: a constant; gain of the longest run
/// against the most its candidates could be worth; gain of all runs against
/// the most that all candidates could be worth; natural log of the gain of the
/// longest run a step; share of its onsets struck; how well the strokes of all
/// runs are on the drums written, mean natural log of the likelihood against
/// any drum, in shares of the most that so many drums allow; natural log of the
/// gain of all runs; 1 where there are drums to tell apart; gain of all runs over
/// what chance finds, which is as much as was tried; one over the strokes of the
/// longest run.
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
    let apart = score.onsets[first.onset].in_force.count_ones();
    let drums = if apart > 1 {
        let share = |s: &Step| sounds.drum_share(&score.onsets[s.onset], s.candidate);
        let logs = struck.clone().map(|s| share(s).max(1e-3).ln());
        logs.sum::<f64>() / struck.count() as f64 / f64::from(apart).ln()
    } else {
        0.0
    };
    Some([
        1.0,
        (best.worth / most(first.candidate, last.candidate + 1)).min(MOST_OF_RUN),
        (told / most(0, sounds.len())).min(MOST_OF_ALL),
        (best.worth / steps).clamp(0.1, 5.0).ln(),
        steps / (last.onset - first.onset + 1) as f64,
        drums,
        told.max(1.0).ln(),
        f64::from(u8::from(apart > 1)),
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
/// `cargo bench --bench pieces -- --fit`.
pub const WEIGHTS: [[f64; TERMS]; 2] = [
    [
        -4.847, -5.475, 28.302, -0.671, -5.376, 6.683, -0.357, -7.936, 0.0, 0.0,
    ],
    [
        5.899, -4.610, 12.807, 1.199, -3.413, 2.461, -2.094, -3.077, 0.059, -10.477,
    ],
];

/// Probability that a take is of a part, from its terms.
pub(super) fn probability(terms: &[f64; TERMS]) -> f64 {
    let weights = &WEIGHTS[usize::from(few(terms))];
    let logit: f64 = weights.iter().zip(terms).map(|(w, t)| w * t).sum();
    regression::probability(logit)
}
