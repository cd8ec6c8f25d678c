//! Whether a take is of a part at all.

use super::choose::Run;
use super::score::Score;
use super::sounds::Sounds;
use crate::regression;

/// How many terms the probability rests on.
pub const TERMS: usize = 8;

/// The terms of the logistic regression: a constant; gain of the longest run
/// against the most its candidates could be worth; gain of all runs against
/// the most that all candidates could be worth; natural log of the gain of the
/// longest run a step; share of its onsets struck; how well the strokes of all
/// runs are on the drums written, mean natural log of the likelihood against
/// any drum; natural log of the gain of all runs; natural log of how many drums
/// there are to tell apart.
pub(super) fn terms(score: &Score, sounds: &Sounds, runs: &[Run]) -> Option<[f64; TERMS]> {
    let best = runs.iter().max_by(|a, b| a.worth.total_cmp(&b.worth))?;
    let steps = best.steps.len() as f64;
    let (first, last) = (best.steps[0], best.steps[best.steps.len() - 1]);
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
    ])
}

/// The weights, fitted to made pairs of tuning seeds, with sound and without,
/// by `cargo bench --bench pieces -- --fit`.
pub const WEIGHTS: [f64; TERMS] = [-4.168, -1.067, 17.850, -1.274, -4.915, 7.347, 0.029, -8.297];

/// Probability that a take is of a part, from its runs.
pub(super) fn probability(score: &Score, sounds: &Sounds, runs: &[Run]) -> f64 {
    let Some(terms) = terms(score, sounds, runs) else {
        return 0.0;
    };
    let logit: f64 = WEIGHTS.iter().zip(terms).map(|(w, t)| w * t).sum();
    regression::probability(logit)
}
