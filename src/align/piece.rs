//! Whether a take is of a part at all.

use super::runs::Run;
use super::score::Score;
use super::sounds::Sounds;

/// Probability that a take is of a part, from its runs.
pub(super) fn probability(_score: &Score, sounds: &Sounds, runs: &[Run]) -> f64 {
    let Some(best) = runs.iter().max_by(|a, b| a.worth.total_cmp(&b.worth)) else {
        return 0.0;
    };
    let per_step = best.worth / best.steps.len() as f64;
    let strong: usize = sounds.log_odds.iter().filter(|&&l| l > 1.0).count();
    let share = best.steps.len() as f64 / strong.max(1) as f64;
    let logit = 3.0 * (per_step - 1.0) + 4.0 * (share - 0.3) + 0.05 * (best.worth - 40.0);
    1.0 / (1.0 + (-logit).exp())
}
