//! Finding the runs: every stretch of the take that follows the part.
//!
//! A few candidates are taken for seeds. From each, every onset of the part
//! runs a race: a short stretch for all, longer ones for those that did best.
//! The winners are followed both ways and become chains. Of all chains
//! together those stretches are chosen that explain the take best, one after
//! the other (`choose`); where that leaves strokes alone, or follows badly, new
//! seeds are tried.

use super::choose::{Chain, Chooser, Run};
use super::follow::{End, Follower, Room, Step, Task, Way};
use super::places;
use super::score::Score;
use super::sounds::Sounds;
use super::state::State;
use std::collections::BTreeSet;

/// Candidates above these log odds may be seeds.
const STRONG: f64 = 1.0;
/// A phrase starts after this much quiet, seconds.
const QUIET_S: f64 = 0.9;
/// Prior spread of the stretch where the part marks a tempo, and where not.
const STRETCH_SD: (f64, f64) = (0.2, 0.4);
/// Seeds tried in one place at most.
const SEEDS: usize = 6;
/// Seeds tried in a take before anything is found, and more for every run
/// found.
const FIRST_SEEDS: usize = 8;
const MORE_SEEDS: usize = 6;
/// A run found buys more seeds when it holds this share of the likely strokes
/// of the take: chance runs in a take of something else are short.
const WEIGHTY: f64 = 0.03;
/// Branches kept while a chain is followed back to its start, and onwards from
/// there: the strokes of a roll can be taken for later notes in many ways, all of
/// them better for a while than the true one.
const WIDTH: (usize, usize) = (12, 40);
/// Steps between seeds and onsets that the first heat of a race may take.
const HEAT: usize = 6000;
/// A run is told of only with at least so many strokes.
pub(super) const LEAST_STEPS: usize = 4;
/// Tempi that one stroke after another tells apart, within the prior spread.
const TEMPI: f64 = 25.0;
/// So many steps together gain less than this share of what the run's steps
/// usually gain: it may have lost the player there.
const WINDOW: usize = 6;
const WEAK: f64 = 0.5;

/// Natural log of how many runs are tried: every likely stroke as every onset
/// at every tempo. What chance gains where nothing follows the part.
pub(super) fn tried(score: &Score, sounds: &Sounds) -> f64 {
    let strong = sounds.log_odds.iter().filter(|&&l| l > STRONG).count();
    (strong.max(1) as f64 * score.onsets.len().max(1) as f64 * TEMPI).ln()
}

/// A first step, and the stretch there with its spread.
type Start = (Step, (f64, f64));

pub(super) struct Search<'a> {
    pub follower: Follower<'a>,
    room: Room,
    chooser: Chooser<'a>,
    chains: Vec<Chain>,
    /// Chains by where they were followed from.
    followed: Vec<(Start, Chain)>,
    tried: BTreeSet<usize>,
    /// Places of the likely strokes of the take.
    strong: Vec<usize>,
    /// What a long run kept, for the next one.
    stretch: (f64, f64),
}

impl<'a> Search<'a> {
    pub fn new(score: &'a Score, sounds: &'a Sounds) -> Self {
        let spread = if score.clock.marked {
            STRETCH_SD.0
        } else {
            STRETCH_SD.1
        };
        let strong = (0..sounds.len()).filter(|&c| sounds.log_odds[c] > STRONG);
        Self {
            follower: Follower { score, sounds },
            room: Room::default(),
            chooser: Chooser::new(score, sounds),
            chains: Vec::new(),
            followed: Vec::new(),
            tried: BTreeSet::new(),
            strong: strong.collect(),
            stretch: (1.0, spread),
        }
    }

    /// Every run, in order of time.
    pub fn runs(&mut self) -> Vec<Run> {
        let mut runs = Vec::new();
        let mut chosen_at = self.chooser.stretch;
        while let Some(seed) = self.next_seed(&runs) {
            self.tried.insert(seed.0);
            let found = self.through_seed(seed);
            if found.is_empty() {
                continue;
            }
            let known = self.chains.len();
            for chain in found {
                if !self.chains.contains(&chain) {
                    self.chains.push(chain);
                }
            }
            if self.chains.len() > known || self.chooser.stretch != chosen_at {
                chosen_at = self.chooser.stretch;
                runs = self.chooser.choose(&self.chains);
                self.remember(&runs);
            }
        }
        self.chooser.settle(&self.chains, runs)
    }

    /// Probability that a run stands elsewhere in the part.
    pub fn elsewhere(&self, run: &Run) -> f64 {
        places::elsewhere(self.follower, run, self.stretch)
    }

    /// Where to look next: in the place that holds most likely strokes of all
    /// that no run goes through, or goes through badly. `None`: enough was
    /// tried.
    fn next_seed(&self, runs: &[Run]) -> Option<(usize, bool)> {
        let weighty = |r: &&Run| r.steps.len() as f64 >= WEIGHTY * self.strong.len() as f64;
        let weighty = runs.iter().filter(weighty).count();
        if self.tried.len() >= FIRST_SEEDS + MORE_SEEDS * weighty {
            return None;
        }
        let mut places = self.places(runs);
        // The busiest first, so that a take of something else is soon given up.
        places.sort_by_key(|p| std::cmp::Reverse(p.len()));
        let seed = places.iter().find_map(|place| self.seed(place));
        seed.or_else(|| self.opening(runs))
    }

    /// An opening of a phrase inside a run that was not tried yet.
    fn opening(&self, runs: &[Run]) -> Option<(usize, bool)> {
        let times = &self.follower.sounds.times;
        let inside = |c: usize| {
            let next = runs.partition_point(|r| r.settled <= c);
            runs.get(next).is_some_and(|r| r.steps[0].candidate < c)
        };
        self.strong
            .windows(2)
            .filter(|w| times[w[1]] - times[w[0]] > QUIET_S)
            .map(|w| w[1])
            .find(|&c| inside(c) && !self.tried.contains(&c))
            .map(|c| (c, true))
    }

    /// Likely strokes of each place where a run may still be found.
    fn places(&self, runs: &[Run]) -> Vec<&[usize]> {
        let among = |from: usize, to: usize| {
            let place = |c: usize| self.strong.partition_point(|&s| s < c);
            &self.strong[place(from)..place(to).max(place(from))]
        };
        let mut places = Vec::new();
        let mut from = 0;
        for run in runs {
            places.push(among(from, run.steps[0].candidate));
            for (a, b) in run.weak(WINDOW, WEAK) {
                places.push(among(a, b));
            }
            from = run.settled;
        }
        places.push(among(from, self.follower.sounds.len()));
        places.retain(|p| p.len() >= LEAST_STEPS);
        places
    }

    /// The next candidate to begin with in a place, and whether it opens a
    /// phrase: the openings of the busiest phrases first, then some from all
    /// over.
    fn seed(&self, place: &[usize]) -> Option<(usize, bool)> {
        let last = place[place.len() - 1];
        if self.tried.range(place[0]..=last).count() >= SEEDS {
            return None;
        }
        let times = &self.follower.sounds.times;
        let mut openings: Vec<(usize, usize)> = Vec::new();
        for (i, &c) in place.iter().enumerate() {
            if i == 0 || times[c] - times[place[i - 1]] > QUIET_S {
                let busy = place[i..]
                    .iter()
                    .take_while(|&&d| times[d] < times[c] + 8.0)
                    .count();
                openings.push((busy, c));
            }
        }
        openings.sort_by(|a, b| b.0.cmp(&a.0).then(a.1.cmp(&b.1)));
        let openings = openings.iter().take(2).map(|&(_, c)| (c, true));
        let others = [1, 4, 6, 2, 7, 3, 5]
            .into_iter()
            .map(|eighth| (place[(place.len() - 1) * eighth / 8], false));
        openings
            .chain(others)
            .find(|(c, _)| !self.tried.contains(c))
    }

    /// The next run will keep about the same tempo as a long one before.
    fn remember(&mut self, runs: &[Run]) {
        const LONG: usize = 12;
        const LEAST_WORTH: f64 = 20.0;
        const SPREAD: f64 = 0.1;
        let Some(run) = runs.iter().max_by_key(|r| r.steps.len()) else {
            return;
        };
        let [first, last] = run.ends();
        let (onsets, times) = (&self.follower.score.onsets, &self.follower.sounds.times);
        let way = onsets[last.onset].marked_s - onsets[first.onset].marked_s;
        if run.steps.len() >= LONG && run.worth >= LEAST_WORTH {
            let took = times[last.candidate] - times[first.candidate];
            self.stretch = ((took / way).clamp(0.35, 3.0), SPREAD);
            self.chooser.stretch = Some(self.stretch);
        }
    }

    /// The best chains through one candidate.
    fn through_seed(&mut self, (seed, opens): (usize, bool)) -> Vec<Chain> {
        let score = self.follower.score;
        let count = score.onsets.len();
        let time_s = self.follower.sounds.times[seed];
        let mut field: Vec<(f64, usize)> = (0..count).map(|o| (0.0, o)).collect();
        let mut horizon = (HEAT / count.max(1)).clamp(5, 12);
        let mut last_heat: Vec<Vec<Step>> = Vec::new();
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
                };
                let Some(end) = self.follower.follow(&task, &mut self.room) else {
                    entry.0 = f64::NEG_INFINITY;
                    continue;
                };
                let start = if opens { score.ends[entry.1][0] } else { 0.0 };
                entry.0 = end.worth + start;
                if keep == 1 {
                    last_heat.push(Follower::steps(&end, &self.room));
                }
            }
            if keep > 1 {
                field.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
                field.truncate(keep);
                horizon = if keep == 2 { count } else { horizon * 5 };
            }
        }
        last_heat
            .iter()
            .filter_map(|steps| self.both_ways(steps))
            .collect()
    }

    /// Follows a chain back to its start, and then once more from there.
    fn both_ways(&mut self, steps: &[Step]) -> Option<Chain> {
        let seed = *steps.first()?;
        let end = self.again(steps, Way::Backwards, WIDTH.0)?;
        let mut all = Follower::steps(&end, &self.room);
        all.reverse();
        all.extend(steps.iter().filter(|s| s.candidate > seed.candidate));
        // From many openings the way back leads to the same start.
        let start: Start = (*all.first()?, self.stretch_of(&all));
        if let Some((_, chain)) = self.followed.iter().find(|(s, _)| *s == start) {
            return Some(chain.clone());
        }
        let end = self.again(&all, Way::Onwards, WIDTH.1)?;
        let chain = Follower::chain(&end, &self.room);
        self.followed.push((start, chain.clone()));
        Some(chain)
    }

    /// Follows from the first of some steps, at their tempo.
    fn again(&mut self, steps: &[Step], way: Way, width: usize) -> Option<End> {
        let from = *steps.first()?;
        let (score, sounds) = (self.follower.score, self.follower.sounds);
        let (stretch, spread) = self.stretch_of(steps);
        let noise = self
            .follower
            .noise(&score.onsets[from.onset], from.candidate);
        let task = Task {
            from,
            state: State::at(sounds.times[from.candidate], noise, stretch, spread),
            way,
            horizon: score.onsets.len(),
            width,
        };
        self.follower.follow(&task, &mut self.room)
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
