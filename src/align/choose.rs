//! Which stretches of which chains are the runs of a take.
//!
//! Chains overlap, and a chain that lost the player goes on by chance: past
//! a break, or through the next run as if bars had been left out. Among all
//! stretches of all chains those are chosen, one after the other in time,
//! whose gains together are highest; each has its price, by where players
//! start and stop. Players who repeat a passage start where they started
//! before: once all runs are known, those sets of them are weighed against one
//! another in which one start, or one stop, is that of most.

use super::follow::{Gained, Step};
use super::runs::{self, LEAST_STEPS};
use super::score::Score;
use super::sounds::Sounds;
use std::collections::BTreeMap;

/// What one more run costs at most, nats: what chance finds in strokes that
/// follow no part.
const PRICE: f64 = 12.0;
/// A run at another tempo than the long ones costs this at most, nats.
const OTHER_TEMPO: f64 = -5.0;
/// So often does a player who has started, or stopped, at a place twice do so
/// again, where all runs did.
const HABIT: f64 = 0.7;
/// Fewer runs have no habits to look for.
const FEWEST_HABITS: usize = 3;
/// So many starts, and stops, are tried as those of most runs.
const HABITS_TRIED: usize = 4;

/// Steps followed onwards from one start, rising in onset and candidate.
pub(super) type Chain = Vec<Gained>;

/// One run through some of the part.
#[derive(Clone, Debug)]
pub(super) struct Run {
    /// In order of time; both onsets and candidates rise.
    pub steps: Vec<Step>,
    /// What each step gained with all that lies before it, nats; the first 0.
    pub gained: Vec<f64>,
    /// Gain over taking it for anything else, nats.
    pub worth: f64,
    /// The candidate after its last: its last roll is behind it.
    pub settled: usize,
}

impl Run {
    /// The first step, and the last.
    pub fn ends(&self) -> [Step; 2] {
        [self.steps[0], self.steps[self.steps.len() - 1]]
    }

    /// Candidates from and before which the run gains little: less than
    /// `share` of what `window` of its steps usually do.
    pub fn weak(&self, window: usize, share: f64) -> Vec<(usize, usize)> {
        let mut sorted = self.gained[1..].to_vec();
        sorted.sort_by(f64::total_cmp);
        let Some(usual) = sorted.get(sorted.len() / 2) else {
            return Vec::new();
        };
        let least = usual * share * window as f64;
        let mut weak: Vec<(usize, usize)> = Vec::new();
        for first in 1..self.gained.len().saturating_sub(window - 1) {
            let last = first + window - 1;
            if self.gained[first..=last].iter().sum::<f64>() >= least {
                continue;
            }
            let from = self.steps[first].candidate;
            let to = self.steps[last].candidate + 1;
            match weak.last_mut() {
                Some(before) if from <= before.1 => before.1 = to,
                _ => weak.push((from, to)),
            }
        }
        weak
    }
}

/// Chooses runs for one part and take.
pub(super) struct Chooser<'a> {
    /// What runs keep, and how far from it others are: a marked second, in
    /// seconds, and the spread of its logarithm.
    pub stretch: Option<(f64, f64)>,
    /// What one more run costs, nats: less where little can be tried.
    price: f64,
    score: &'a Score,
    sounds: &'a Sounds,
}

/// The best of everything up to a candidate.
#[derive(Clone, Copy, Default)]
struct Best {
    worth: f64,
    /// Chain, first and last step of the run that ends here; `None`: the
    /// candidate before is nobody's.
    run: Option<(usize, usize, usize)>,
}

impl<'a> Chooser<'a> {
    pub fn new(score: &'a Score, sounds: &'a Sounds) -> Self {
        Self {
            stretch: None,
            price: runs::tried(score, sounds).min(PRICE),
            score,
            sounds,
        }
    }

    /// The runs that explain a take best, in order of time.
    pub fn choose(&self, chains: &[Chain]) -> Vec<Run> {
        self.choose_twice(chains, &self.score.ends)
    }

    /// The runs where players start and stop like this, and then as those runs
    /// say that this player does.
    fn choose_twice(&self, chains: &[Chain], ends: &[[f64; 2]]) -> Vec<Run> {
        let runs = self.choose_by(chains, ends);
        let habits = self.habits(&runs);
        if habits == ends {
            runs
        } else {
            self.choose_by(chains, &habits)
        }
    }

    /// Where runs start and stop once some have been found: a player who has
    /// started twice at a place starts there again.
    fn habits(&self, runs: &[Run]) -> Vec<[f64; 2]> {
        let mut ends = self.score.ends.clone();
        for side in [0, 1] {
            for (onset, count) in counts(runs, side).into_iter().filter(|c| c.1 > 1) {
                let habit = (HABIT * count as f64 / runs.len() as f64).ln();
                ends[onset][side] = ends[onset][side].max(habit);
            }
        }
        ends
    }

    /// The runs anew, should they be likelier together if a start or a stop of
    /// one of them was that of most: what sounds like the bars behind a run
    /// may be those that the next one starts with, and only all runs together
    /// tell which.
    pub fn settle(&self, chains: &[Chain], runs: Vec<Run>) -> Vec<Run> {
        if runs.len() < FEWEST_HABITS {
            return runs;
        }
        let mut best = (self.together(&runs), runs);
        for side in [0, 1] {
            for place in common(&best.1, side) {
                let mut ends = self.score.ends.clone();
                ends[place][side] = HABIT.ln();
                let runs = self.choose_twice(chains, &ends);
                let worth = self.together(&runs);
                if worth > best.0 {
                    best = (worth, runs);
                }
            }
        }
        best.1
    }

    /// What runs gain together, nats, where each starts and stops as those
    /// before it did, or anew.
    fn together(&self, runs: &[Run]) -> f64 {
        let mut sum = 0.0;
        for (before, run) in runs.iter().enumerate() {
            let [first, last] = run.ends();
            sum += run.worth - self.price + self.tempo(first, last);
            sum -= self.score.ends[first.onset][0];
            for (side, place) in [first.onset, last.onset].into_iter().enumerate() {
                let same = runs[..before]
                    .iter()
                    .filter(|r| r.ends()[side].onset == place);
                let habit = HABIT * same.count() as f64 / before.max(1) as f64;
                let anew = if before == 0 { 1.0 } else { 1.0 - HABIT };
                sum += (habit + anew * self.score.ends[place][side].exp()).ln();
            }
        }
        sum
    }

    fn choose_by(&self, chains: &[Chain], ends: &[[f64; 2]]) -> Vec<Run> {
        // (candidate, chain, step), in order of time.
        let mut events: Vec<(usize, usize, usize)> = Vec::new();
        for (c, chain) in chains.iter().enumerate() {
            events.extend(
                chain
                    .iter()
                    .enumerate()
                    .map(|(i, g)| (g.step.candidate, c, i)),
            );
        }
        events.sort_unstable();
        let mut best = vec![Best::default(); self.sounds.len() + 1];
        // The best first step of each chain up to now, and what a run from
        // there gains beside the gains of the chain.
        let mut open: Vec<Option<(f64, usize)>> = vec![None; chains.len()];
        let mut events = events.into_iter().peekable();
        for candidate in 0..best.len() {
            if candidate > 0 && best[candidate - 1].worth >= best[candidate].worth {
                best[candidate] = Best {
                    worth: best[candidate - 1].worth,
                    run: None,
                };
            }
            while let Some((_, c, last)) = events.next_if(|e| e.0 == candidate) {
                let Some(first) = (last + 1).checked_sub(LEAST_STEPS) else {
                    continue;
                };
                let entry = self.entry(&chains[c][first], ends)
                    + best[chains[c][first].step.candidate].worth;
                if open[c].is_none_or(|o| entry > o.0) {
                    open[c] = Some((entry, first));
                }
                let Some((beside, first)) = open[c] else {
                    continue;
                };
                let end = &chains[c][last];
                let (rest, settled) = self.rest(end);
                let tempo = self.tempo(chains[c][first].step, end.step);
                let worth = beside + end.gain + rest + tempo + ends[end.step.onset][1];
                if worth > best[settled].worth {
                    best[settled] = Best {
                        worth,
                        run: Some((c, first, last)),
                    };
                }
            }
        }
        let mut runs = Vec::new();
        let mut at = self.sounds.len();
        loop {
            match best[at].run {
                Some((c, first, last)) => {
                    let run = self.run(&chains[c][first..=last]);
                    at = run.steps[0].candidate;
                    runs.push(run);
                }
                None if at == 0 => break,
                None => at -= 1,
            }
        }
        runs.reverse();
        runs
    }

    /// What a run gains that starts with a step, beside the gains of its
    /// chain.
    fn entry(&self, first: &Gained, ends: &[[f64; 2]]) -> f64 {
        let Step { onset, candidate } = first.step;
        let own = self.sounds.worth(&self.score.onsets[onset], candidate);
        own + ends[onset][0] - first.gain - self.price
    }

    /// The end of a roll that ends a run, which could have been the next
    /// onset's: its worth, and the candidate after it.
    fn rest(&self, last: &Gained) -> (f64, usize) {
        let end = last.roll_end_s.map_or(0, |s| self.sounds.from(s));
        if end <= last.settled {
            return (0.0, last.settled);
        }
        let onset = &self.score.onsets[last.step.onset];
        let own = (last.settled..end).map(|c| self.sounds.in_roll(onset, c)[0]);
        (own.sum(), end)
    }

    /// What the tempo of a run says for it.
    fn tempo(&self, first: Step, last: Step) -> f64 {
        let Some((stretch, spread)) = self.stretch else {
            return 0.0;
        };
        let onsets = &self.score.onsets;
        let way = onsets[last.onset].marked_s - onsets[first.onset].marked_s;
        let took = self.sounds.times[last.candidate] - self.sounds.times[first.candidate];
        let off = (took / way / stretch).ln() / spread;
        (-0.5 * off * off).max(OTHER_TEMPO)
    }

    fn run(&self, chain: &[Gained]) -> Run {
        let (first, last) = (&chain[0], &chain[chain.len() - 1]);
        let (rest, settled) = self.rest(last);
        let gained = |i: usize| {
            i.checked_sub(1)
                .map_or(0.0, |j| chain[i].gain - chain[j].gain)
        };
        Run {
            steps: chain.iter().map(|g| g.step).collect(),
            gained: (0..chain.len()).map(gained).collect(),
            worth: self.entry(first, &self.score.ends) + self.price + last.gain + rest,
            settled,
        }
    }
}

/// How many runs start, or stop, at each onset.
fn counts(runs: &[Run], side: usize) -> BTreeMap<usize, usize> {
    let mut counts = BTreeMap::new();
    for run in runs {
        *counts.entry(run.ends()[side].onset).or_default() += 1;
    }
    counts
}

/// The onsets at which most runs start, or stop, the commonest first.
fn common(runs: &[Run], side: usize) -> Vec<usize> {
    let mut places: Vec<(usize, usize)> = counts(runs, side).into_iter().collect();
    places.sort_by_key(|&(place, count)| (std::cmp::Reverse(count), place));
    places.iter().map(|p| p.0).take(HABITS_TRIED).collect()
}
