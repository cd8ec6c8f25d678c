//! Whether a take is of a part at all.

use super::runs::Run;
use super::score::Score;
use super::sounds::Sounds;

/// What the probability rests on: gain of the longest run a step; the same
/// against the most its candidates could be worth; share of its onsets struck;
/// gain of all runs against the most that all candidates could be worth; share
/// of the part reached.
pub(super) fn figures(score: &Score, sounds: &Sounds, runs: &[Run]) -> Option<[f64; 5]> {
    let best = runs.iter().max_by(|a, b| a.worth.total_cmp(&b.worth))?;
    let steps = best.steps.len() as f64;
    let (first, last) = (best.steps[0], best.steps[best.steps.len() - 1]);
    // What the strokes of the run would be worth, each just where expected.
    let most: f64 = (first.candidate..=last.candidate)
        .map(|c| (sounds.note[c] + 2.5).max(0.0))
        .sum();
    let all: f64 = (0..sounds.len())
        .map(|c| (sounds.note[c] + 2.5).max(0.0))
        .sum();
    let told: f64 = runs.iter().map(|r| r.worth).sum();
    let reached = (last.onset - first.onset + 1) as f64;
    Some([
        best.worth / steps,
        best.worth / most.max(1.0),
        steps / reached,
        told / all.max(1.0),
        reached / score.onsets.len() as f64,
    ])
}

/// Weights of a logistic regression on the figures (cut at 1.2, 1.2 and 5 for
/// the second, the fourth and the first, of which the logarithm is taken):
/// constant, 2nd, 4th, ln of the 1st, 3rd. Fitted once to simulated pairs as in
/// `tests/align/piece.rs`, seeds 0 to 71 (72 takes of the part, 142 of another
/// part or of no drums), before the limits on seeds in `runs` were tightened;
/// on so few pairs it is a ranking rather than a calibrated probability.
const WEIGHTS: [f64; 5] = [-6.57, 1.94, 12.53, -2.38, -1.36];

/// Probability that a take is of a part, from its runs.
pub(super) fn probability(score: &Score, sounds: &Sounds, runs: &[Run]) -> f64 {
    let Some(figures) = figures(score, sounds, runs) else {
        return 0.0;
    };
    let terms = [
        1.0,
        figures[1].min(1.2),
        figures[3].min(1.2),
        figures[0].clamp(0.1, 5.0).ln(),
        figures[2],
    ];
    let logit: f64 = WEIGHTS.iter().zip(terms).map(|(w, t)| w * t).sum();
    1.0 / (1.0 + (-logit).exp())
}
