//! Where the player's tempo turns though nothing is written: he goes on faster
//! or slower from one note to the next and stays there, or holds a note.
//!
//! A smooth pulse would take the notes around such a place for early or late,
//! and the farthest for missed. For every step of a run it is asked how much
//! better the steps around it follow one another if the tempo was free there,
//! or the time: a ratio of likelihoods under the same Kalman filter that
//! follows the part, so that the freedom pays for itself.

use super::follow::{Follower, Step};
use super::score::Score;
use super::sounds::Sounds;
use super::state::State;

/// Steps looked at before and after.
const AROUND: usize = 8;
/// Fewest steps before and after a turn of the tempo, and a held note.
const LEAST: [(usize, usize); 2] = [(3, 3), (2, 1)];
/// A turn is one when it makes what follows so much likelier, nats: few notes
/// are.
const WORTH: f64 = 7.0;
/// Standard deviation of how long a note is held, seconds.
const HELD_SD_S: f64 = 0.5;
/// Spread of the tempo where a run is looked at from its middle.
const STRETCH_SD: f64 = 0.2;
/// Times that all steps are looked at, each with the turns found before.
const ROUNDS: usize = 4;

/// What became free on the way to a step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Turn {
    Tempo,
    Time,
}

/// The turns on the way to each step of a run.
pub(super) fn turns(
    score: &Score,
    sounds: &Sounds,
    steps: &[Step],
    stretch: f64,
) -> Vec<Option<Turn>> {
    let around = Around {
        follower: Follower { score, sounds },
        steps,
        stretch,
    };
    let mut found: Vec<Option<Turn>> = vec![None; steps.len()];
    for _ in 0..ROUNDS {
        let mut gains: Vec<(f64, usize, Turn)> = Vec::new();
        for step in (1..steps.len()).filter(|&s| found[s].is_none()) {
            let as_is = around.likelihood(step, &found, None);
            for (turn, (before, after)) in [Turn::Tempo, Turn::Time].into_iter().zip(LEAST) {
                if step < before || step + after > steps.len() {
                    continue;
                }
                let gain = around.likelihood(step, &found, Some(turn)) - as_is;
                if gain > WORTH {
                    gains.push((gain, step, turn));
                }
            }
        }
        gains.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        let mut settled: Vec<usize> = Vec::new();
        for (_, step, turn) in gains {
            if settled.iter().all(|s| s.abs_diff(step) > AROUND) {
                settled.push(step);
                found[step] = Some(turn);
            }
        }
        if settled.is_empty() {
            break;
        }
    }
    found
}

struct Around<'a> {
    follower: Follower<'a>,
    steps: &'a [Step],
    stretch: f64,
}

impl Around<'_> {
    /// Natural log of the likelihood of the steps around one, with the turns
    /// found and, perhaps, one more on the way to it.
    fn likelihood(&self, at: usize, found: &[Option<Turn>], more: Option<Turn>) -> f64 {
        let (onsets, sounds) = (&self.follower.score.onsets, self.follower.sounds);
        let noise = |s: &Step| self.follower.noise(&onsets[s.onset], s.candidate);
        let first = at.saturating_sub(AROUND);
        let last = (at + AROUND).min(self.steps.len());
        let start = &self.steps[first];
        let from_s = sounds.times[start.candidate];
        let mut state = State::at(from_s, noise(start), self.stretch, STRETCH_SD);
        let mut sum = 0.0;
        for index in first + 1..last {
            let (before, step) = (self.steps[index - 1], &self.steps[index]);
            let way_s = onsets[step.onset].marked_s - onsets[before.onset].marked_s;
            let passed = &onsets[before.onset + 1..=step.onset];
            let time: f64 = passed.iter().map(|o| o.loose_time).sum();
            let stretch: f64 = passed.iter().map(|o| o.loose_stretch).sum();
            let expected = match found[index].or(more.filter(|_| index == at)) {
                Some(Turn::Tempo) => state.turned(way_s, 1.0, time, stretch),
                Some(Turn::Time) => {
                    state.advanced(way_s, 1.0, time + HELD_SD_S * HELD_SD_S, stretch)
                }
                None => state.advanced(way_s, 1.0, time, stretch),
            };
            let (log, after) = expected.update(sounds.times[step.candidate], noise(step));
            sum += log;
            state = after;
        }
        sum
    }
}
