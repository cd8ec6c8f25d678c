//! Whether a take is of a part at all.

use super::runs::Run;
use super::score::Score;
use super::sounds::Sounds;

/// What the probability rests on.
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

/// Probability that a take is of a part, from its runs.
pub(super) fn probability(score: &Score, sounds: &Sounds, runs: &[Run]) -> f64 {
    let Some(figures) = figures(score, sounds, runs) else {
        return 0.0;
    };
    let logit = 3.0 * (figures[0] - 1.5) + 6.0 * (figures[3] - 0.3);
    1.0 / (1.0 + (-logit).exp())
}
