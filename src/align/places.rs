//! Whether a run of a few strokes may stand at another place of the part.
//!
//! A few strokes fit in many places. The run's first stroke is taken for every
//! onset in turn, and what follows is weighed as it was for the run itself.

use super::choose::Run;
use super::follow::{Follower, Room, Step, Task, Way};
use super::state::State;

/// So many strokes stand where they stand.
const MANY: usize = 16;
/// Branches kept.
const WIDTH: usize = 6;

/// Probability that a run stands at another place of the part, where it would
/// sound differently.
pub(super) fn elsewhere(follower: Follower, run: &Run, (stretch, spread): (f64, f64)) -> f64 {
    if run.steps.len() >= MANY {
        return 0.0;
    }
    let (score, sounds) = (follower.score, follower.sounds);
    let [first, last] = run.ends();
    let mut room = Room::default();
    let mut place = |onset: usize| {
        let noise = follower.noise(&score.onsets[onset], first.candidate);
        let time_s = sounds.times[first.candidate];
        let task = Task {
            from: Step { onset, ..first },
            state: State::at(time_s, noise, stretch, spread),
            way: Way::Onwards,
            horizon: 2 * (last.onset - first.onset) + 2,
            width: WIDTH,
        };
        let end = follower.follow(&task, &mut room)?;
        Some((
            end.worth + score.ends[onset][0],
            Follower::steps(&end, &room),
        ))
    };
    let Some((here, own)) = place(first.onset) else {
        return 0.0;
    };
    let alike = |steps: &[Step]| {
        steps.len() == own.len()
            && steps.iter().zip(&own).all(|(a, b)| {
                let (a_on, b_on) = (&score.onsets[a.onset], &score.onsets[b.onset]);
                let since = |s: &Step, first: &Step| {
                    score.onsets[s.onset].marked_s - score.onsets[first.onset].marked_s
                };
                a.candidate == b.candidate
                    && a_on.own == b_on.own
                    && (since(a, &steps[0]) - since(b, &own[0])).abs() < 0.01
            })
    };
    // Relative to the run where it was found.
    let (mut same, mut other) = (1.0, 0.0);
    for onset in (0..score.onsets.len()).filter(|&o| o != first.onset) {
        if let Some((worth, steps)) = place(onset) {
            let share = (worth - here).exp();
            if alike(&steps) {
                same += share;
            } else {
                other += share;
            }
        }
    }
    other / (same + other)
}
