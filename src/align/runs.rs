//! Finding the runs: every stretch of the take that follows the part.
//!
//! A few candidates are taken for seeds. From each, every onset of the part
//! runs a race: a short stretch for all, longer ones for those that did best.
//! The winner is followed both ways, and what it leaves of the take on either
//! side is searched again.

use super::follow::{End, Follower, Room, State, Step, Task, Way};
use super::score::Score;
use super::sounds::Sounds;

/// Candidates above these log odds may be seeds.
const STRONG: f64 = 1.0;
/// A phrase starts after this much quiet, seconds.
const QUIET_S: f64 = 0.9;
/// Prior spread of the stretch where the part marks a tempo, and where not.
const STRETCH_SD: (f64, f64) = (0.2, 0.4);
/// Seeds tried in one region at most.
const SEEDS: usize = 6;
/// Seeds tried in a take before anything is found, and more for every run
/// found.
const FIRST_SEEDS: usize = 8;
const MORE_SEEDS: usize = 6;
/// A run found buys more seeds when it holds this share of the likely strokes
/// of the take: chance runs in a take of something else are short.
const WEIGHTY: f64 = 0.03;
/// Steps between seeds and onsets that the first heat of a race may take.
const HEAT: usize = 6000;
/// A run is told of only with at least so many strokes.
const LEAST_STEPS: usize = 4;
/// A run must be worth this much over chance to be told of, nats.
const LEAST_WORTH: f64 = 20.0;
/// The same once another run has shown that the take is of this part.
const LEAST_MORE: f64 = 12.0;
/// How much more the bar lines count at the ends of a run than their share of
/// the notes would make them.
const TRUST: f64 = 2.0;

/// One run through some of the part.
#[derive(Clone, Debug)]
pub(super) struct Run {
    /// In order of time; both onsets and candidates rise.
    pub steps: Vec<Step>,
    /// Gain over taking it for anything else, nats.
    pub worth: f64,
}

/// Natural log of the chance that a run starts at an onset.
fn start_worth(score: &Score, onset: usize) -> f64 {
    if onset == 0 {
        return 0.3f64.ln();
    }
    let bars = score.onsets.iter().filter(|o| o.opens_bar).count().max(1);
    if score.onsets[onset].opens_bar {
        (0.5 / bars as f64).ln()
    } else {
        (0.2 / score.onsets.len() as f64).ln()
    }
}

pub(super) struct Search<'a> {
    pub follower: Follower<'a>,
    room: Room,
    seeds_left: usize,
    /// Likely strokes in the whole take.
    strong: usize,
    /// What the last run kept, for the next one.
    stretch: (f64, f64),
    starts: Vec<f64>,
}

impl<'a> Search<'a> {
    pub fn new(score: &'a Score, sounds: &'a Sounds) -> Self {
        let spread = if score.clock.marked {
            STRETCH_SD.0
        } else {
            STRETCH_SD.1
        };
        Self {
            follower: Follower { score, sounds },
            room: Room::default(),
            seeds_left: FIRST_SEEDS,
            strong: sounds.log_odds.iter().filter(|&&o| o > STRONG).count(),
            stretch: (1.0, spread),
            starts: (0..score.onsets.len())
                .map(|o| start_worth(score, o))
                .collect(),
        }
    }

    /// Every run, in order of time.
    pub fn runs(&mut self) -> Vec<Run> {
        let mut runs = Vec::new();
        let mut regions = vec![(0, self.follower.sounds.len())];
        // The longest first, so that a take of something else is soon given up.
        while let Some(place) = (0..regions.len()).max_by_key(|&i| {
            let (from, to): (usize, usize) = regions[i];
            to.saturating_sub(from)
        }) {
            let region = regions.swap_remove(place);
            let Some(run) = self.best(region) else {
                continue;
            };
            let least = if runs.is_empty() {
                LEAST_WORTH
            } else {
                LEAST_MORE
            };
            if run.worth < least || run.steps.len() < LEAST_STEPS {
                continue;
            }
            if run.steps.len() as f64 >= WEIGHTY * self.strong as f64 {
                self.seeds_left += MORE_SEEDS;
            }
            self.remember(&run);
            let first = run.steps[0].candidate;
            let last = run.steps[run.steps.len() - 1].candidate;
            regions.push((region.0, first));
            regions.push((last + 1, region.1));
            runs.push(run);
        }
        runs.sort_by_key(|r| r.steps[0].candidate);
        runs
    }

    /// The next run will keep about the same tempo as a long one before.
    fn remember(&mut self, run: &Run) {
        const LONG: usize = 12;
        const SPREAD: f64 = 0.1;
        let (first, last) = (run.steps[0], run.steps[run.steps.len() - 1]);
        let (onsets, times) = (&self.follower.score.onsets, &self.follower.sounds.times);
        let way = onsets[last.onset].marked_s - onsets[first.onset].marked_s;
        if run.steps.len() >= LONG && self.stretch.1 > SPREAD {
            let took = times[last.candidate] - times[first.candidate];
            self.stretch = ((took / way).clamp(0.35, 3.0), SPREAD);
        }
    }

    /// The best run in a region of the candidates.
    fn best(&mut self, region: (usize, usize)) -> Option<Run> {
        let strong: Vec<usize> = (region.0..region.1)
            .filter(|&c| self.follower.sounds.log_odds[c] > STRONG)
            .collect();
        if strong.len() < LEAST_STEPS {
            return None;
        }
        let mut best: Option<Run> = None;
        for seed in seeds(self.follower.sounds, &strong) {
            if self.seeds_left == 0 {
                break;
            }
            let covered = best.as_ref().is_some_and(|b| {
                let last = b.steps[b.steps.len() - 1].candidate;
                (b.steps[0].candidate..=last).contains(&seed.0)
            });
            if covered {
                continue;
            }
            self.seeds_left -= 1;
            let found = self.through_seed(seed, region);
            if let Some(run) = found
                && best.as_ref().is_none_or(|b| run.worth > b.worth)
            {
                best = Some(run);
            }
        }
        best
    }

    /// The best run through one candidate.
    fn through_seed(
        &mut self,
        (seed, opens): (usize, bool),
        region: (usize, usize),
    ) -> Option<Run> {
        let score = self.follower.score;
        let count = score.onsets.len();
        let time_s = self.follower.sounds.times[seed];
        let mut field: Vec<(f64, usize)> = (0..count).map(|o| (0.0, o)).collect();
        let mut horizon = (HEAT / count.max(1)).clamp(5, 12);
        let mut last_heat: Vec<(End, Vec<Step>)> = Vec::new();
        for (heat, keep) in [40usize, 8, 2, 1].into_iter().enumerate() {
            let width = [3, 6, 10, 12][heat];
            last_heat.clear();
            for entry in &mut field {
                let onset = &score.onsets[entry.1];
                let noise = self.follower.noise(onset, seed);
                let task = Task {
                    from: Step {
                        onset: entry.1,
                        candidate: seed,
                    },
                    state: State::at(time_s, noise, self.stretch.0, self.stretch.1),
                    way: Way::Onwards,
                    horizon,
                    width,
                    within: region,
                };
                let Some(end) = self.follower.follow(&task, &mut self.room) else {
                    entry.0 = f64::NEG_INFINITY;
                    continue;
                };
                entry.0 = end.worth + if opens { self.starts[entry.1] } else { 0.0 };
                if keep == 1 {
                    last_heat.push((end, Follower::steps(&end, &self.room)));
                }
            }
            if keep > 1 {
                field.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
                field.truncate(keep);
                horizon = if keep == 2 { count } else { horizon * 5 };
            }
        }
        last_heat
            .into_iter()
            .filter_map(|(_, steps)| self.both_ways(&steps, region))
            .max_by(|a, b| a.worth.total_cmp(&b.worth))
    }

    /// Follows a run back to its start, and then once more from there.
    fn both_ways(&mut self, steps: &[Step], region: (usize, usize)) -> Option<Run> {
        let score = self.follower.score;
        let seed = *steps.first()?;
        let (stretch, spread) = self.stretch_of(steps);
        let noise = self
            .follower
            .noise(&score.onsets[seed.onset], seed.candidate);
        let state = State::at(
            self.follower.sounds.times[seed.candidate],
            noise,
            stretch,
            spread,
        );
        let back = Task {
            from: seed,
            state,
            way: Way::Backwards,
            horizon: score.onsets.len(),
            width: 12,
            within: region,
        };
        let end = self.follower.follow(&back, &mut self.room)?;
        let mut all = Follower::steps(&end, &self.room);
        all.reverse();
        all.extend_from_slice(&steps[1..]);
        let start = *all.first()?;
        let (stretch, spread) = self.stretch_of(&all);
        let noise = self
            .follower
            .noise(&score.onsets[start.onset], start.candidate);
        let time_s = self.follower.sounds.times[start.candidate];
        let whole = Task {
            from: start,
            state: State::at(time_s, noise, stretch, spread),
            way: Way::Onwards,
            horizon: score.onsets.len(),
            width: 16,
            within: region,
        };
        let end = self.follower.follow(&whole, &mut self.room)?;
        let steps = Follower::steps(&end, &self.room);
        let gains = Follower::gains(&end, &self.room);
        Some(self.trimmed(&steps, &gains))
    }

    /// The best stretch of a run: chance matches before its start and after
    /// its end are cut off. Players start and stop at bar lines.
    fn trimmed(&self, steps: &[Step], gains: &[f64]) -> Run {
        let before = |i: usize| i.checked_sub(1).map_or(0.0, |j| gains[j]);
        let (mut from, mut to) = (0, steps.len() - 1);
        // A cut at either end never takes more than the other leaves.
        let start = |i: usize| TRUST * self.starts[steps[i].onset] - before(i);
        for i in 0..steps.len() {
            if start(i) > start(from) {
                from = i;
            }
        }
        let end = |i: usize| TRUST * self.end_worth(steps[i].onset) + gains[i];
        for i in from..steps.len() {
            if end(i) > end(to) {
                to = i;
            }
        }
        Run {
            worth: gains[to] - before(from) + self.starts[steps[from].onset],
            steps: steps[from..=to].to_vec(),
        }
    }

    /// Natural log of the chance that a run ends at an onset.
    fn end_worth(&self, onset: usize) -> f64 {
        match self.starts.get(onset + 1) {
            Some(&next) => next,
            None => self.starts[0],
        }
    }

    /// Stretch at the start of a row of steps, and how sure it is.
    fn stretch_of(&self, steps: &[Step]) -> (f64, f64) {
        let near = &steps[..steps.len().min(8)];
        let mut slopes = Vec::new();
        for (i, a) in near.iter().enumerate() {
            for b in &near[i + 1..] {
                let onsets = &self.follower.score.onsets;
                let way = onsets[b.onset].marked_s - onsets[a.onset].marked_s;
                let times = &self.follower.sounds.times;
                if way > 0.05 {
                    slopes.push((times[b.candidate] - times[a.candidate]) / way);
                }
            }
        }
        if slopes.len() < 3 {
            return self.stretch;
        }
        slopes.sort_by(f64::total_cmp);
        (slopes[slopes.len() / 2].clamp(0.35, 3.0), 0.06)
    }
}

/// Candidates to begin with, each with whether it opens a phrase: the openings
/// of the busiest phrases first, then some from all over.
fn seeds(sounds: &Sounds, strong: &[usize]) -> Vec<(usize, bool)> {
    let time = |i: usize| sounds.times[strong[i]];
    let mut openings: Vec<(usize, usize)> = Vec::new();
    for i in 0..strong.len() {
        if i == 0 || time(i) - time(i - 1) > QUIET_S {
            let busy = strong[i..]
                .iter()
                .take_while(|&&c| sounds.times[c] < time(i) + 8.0)
                .count();
            openings.push((busy, i));
        }
    }
    openings.sort_by(|a, b| b.0.cmp(&a.0).then(a.1.cmp(&b.1)));
    let mut seeds: Vec<(usize, bool)> = openings
        .iter()
        .take(2)
        .map(|&(_, i)| (strong[i], true))
        .collect();
    for eighth in [1, 4, 6, 2, 7, 3, 5] {
        if seeds.len() >= SEEDS {
            break;
        }
        let c = strong[(strong.len() - 1) * eighth / 8];
        if seeds.iter().all(|s| s.0 != c) {
            seeds.push((c, false));
        }
    }
    seeds
}
