//! Following: from one candidate taken for one onset, onwards or backwards
//! through the part, with the tempo kept as a Kalman state in every branch.

use super::score::{Onset, Score};
use super::sounds::{CHORD_S, GRACE_S, Sounds};
use super::state::State;

/// Natural log of the chance of a hesitation before an onset, already spread
/// over the time in which it may end.
const PAUSE: f64 = -9.0;
/// A hesitation within a passage lasts this long at most, seconds, or this
/// share of the way to the onset: long rests are counted badly.
const PAUSE_S: f64 = 1.6;
const PAUSE_SHARE: f64 = 0.5;
/// Natural log of the chance that the player goes on at another tempo from a
/// note on though nothing is written.
const TURN: f64 = -6.5;
/// A branch that turned is kept beside one that did not for so many steps,
/// after which the strokes have told which is right.
const TURNED: u8 = 4;
/// A branch this far behind the best end is given up, nats.
const GIVE_UP: f64 = 22.0;
/// No link.
const NONE: u32 = u32::MAX;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Way {
    Onwards,
    Backwards,
}

/// One onset struck by one candidate.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Step {
    pub onset: usize,
    pub candidate: usize,
}

/// A step of a chain that was followed onwards.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Gained {
    pub step: Step,
    /// Gain of everything up to here, the step included, nats.
    pub gain: f64,
    /// Candidates before this one belong to the step or to what came before.
    pub settled: usize,
    /// The end of a roll that starts here, seconds.
    pub roll_end_s: Option<f64>,
}

/// From where, and how far, to follow.
#[derive(Clone, Copy, Debug)]
pub(super) struct Task {
    pub from: Step,
    pub state: State,
    pub way: Way,
    /// How many onsets further at most.
    pub horizon: usize,
    /// How many branches are kept.
    pub width: usize,
}

#[derive(Clone, Copy, Debug)]
struct Branch {
    worth: f64,
    state: State,
    /// Onwards: candidates before it are settled. Backwards: from it on.
    settled: usize,
    /// End of the roll or place of the flam in hand, seconds.
    rolling_s: f64,
    link: u32,
    /// The last candidate used, to tell branches apart.
    candidate: u32,
    fresh: bool,
    /// Steps for which it still counts as one that just turned.
    turned: u8,
}

#[derive(Clone, Copy, Debug)]
struct Link {
    before: u32,
    onset: u32,
    candidate: u32,
    worth: f64,
    settled: u32,
    roll_end_s: Option<f64>,
}

/// Room that is used again by every task.
#[derive(Debug, Default)]
pub(super) struct Room {
    branches: Vec<Branch>,
    grown: Vec<Branch>,
    links: Vec<Link>,
}

/// A part and the candidates of a take.
#[derive(Clone, Copy, Debug)]
pub(super) struct Follower<'a> {
    pub score: &'a Score,
    pub sounds: &'a Sounds,
}

/// What following found.
#[derive(Clone, Copy, Debug)]
pub(super) struct End {
    /// Gain over taking every candidate for something outside any passage.
    pub worth: f64,
    link: u32,
}

impl Follower<'_> {
    /// Variance of a candidate's time about the grid as a stroke of an onset.
    pub fn noise(&self, onset: &Onset, candidate: usize) -> f64 {
        self.sounds.variance[candidate] + onset.jitter_s * onset.jitter_s
    }

    /// Worth of the candidates from `a` up to before `b` as nobody's, those
    /// before `rolling_s` as part of a roll.
    fn between(&self, a: usize, b: usize, rolling_s: f64) -> f64 {
        if a >= b {
            return 0.0;
        }
        let sounds = self.sounds;
        let split = if rolling_s <= sounds.times[a] {
            a
        } else if rolling_s > sounds.times[b - 1] {
            b
        } else {
            a + sounds.times[a..b].partition_point(|&t| t < rolling_s)
        };
        sounds.rolling[split] - sounds.rolling[a] + sounds.loose[b] - sounds.loose[split]
    }

    /// Worth of the candidates from `a` up to before `b`, those from `from_s`
    /// on as grace strokes, those before `rolling_s` as part of a roll.
    fn gap(&self, a: usize, b: usize, rolling_s: f64, grace_s: f64) -> f64 {
        if a >= b || grace_s > self.sounds.times[b - 1] {
            return self.between(a, b, rolling_s);
        }
        let mut split = b;
        while split > a && self.sounds.times[split - 1] >= grace_s {
            split -= 1;
        }
        let grace = self.sounds.rolling[b] - self.sounds.rolling[split];
        self.between(a, split, rolling_s) + grace
    }

    fn grace_s(&self, onset: &Onset, candidate: usize) -> f64 {
        let time_s = self.sounds.times[candidate];
        if onset.flam {
            time_s - GRACE_S
        } else if onset.is_chord() {
            time_s - CHORD_S
        } else {
            f64::INFINITY
        }
    }

    /// Follows the part. `None` where the task starts nowhere.
    pub fn follow(&self, task: &Task, room: &mut Room) -> Option<End> {
        let onsets = &self.score.onsets;
        let (start, first) = (task.from.onset, task.from.candidate);
        let onset = onsets.get(start)?;
        if first >= self.sounds.len() {
            return None;
        }
        room.links.clear();
        room.branches.clear();
        room.links.push(Link {
            before: NONE,
            onset: start as u32,
            candidate: first as u32,
            worth: 0.0,
            settled: 0,
            roll_end_s: None,
        });
        let onwards = task.way == Way::Onwards;
        room.branches.push(Branch {
            worth: if onwards {
                self.sounds.worth(onset, first)
            } else {
                0.0
            },
            state: task.state,
            settled: if onwards { first + 1 } else { first },
            rolling_s: self.rolling_s(onset, first, task.state.stretch, onwards),
            link: 0,
            candidate: first as u32,
            fresh: true,
            turned: 0,
        });
        room.links[0].worth = room.branches[0].worth;
        room.links[0].settled = room.branches[0].settled as u32;
        let side = usize::from(onwards);
        let mut end = End {
            worth: room.branches[0].worth,
            link: 0,
        };
        // Where it ends is chosen by where players start and stop as well.
        let mut ended = end.worth + self.score.ends[start][side];
        for step in 1..=task.horizon {
            let index = if onwards {
                start + step
            } else {
                match start.checked_sub(step) {
                    Some(index) => index,
                    None => break,
                }
            };
            if index >= onsets.len() || room.branches.is_empty() {
                break;
            }
            self.grow(task, index, room);
            self.keep(task.width, index, room);
            for branch in &room.branches {
                let ends = branch.worth + self.score.ends[index][side];
                if branch.fresh && ends > ended {
                    ended = ends;
                    end = End {
                        worth: branch.worth,
                        link: branch.link,
                    };
                }
            }
            let best = room.branches.first().map_or(f64::NEG_INFINITY, |b| b.worth);
            if best < end.worth - GIVE_UP {
                break;
            }
        }
        Some(end)
    }

    fn rolling_s(&self, onset: &Onset, candidate: usize, stretch: f64, onwards: bool) -> f64 {
        let time_s = self.sounds.times[candidate];
        if onwards {
            let roll = onset.roll_s.map_or(0.0, |r| r * stretch);
            let chord = if onset.is_chord() { CHORD_S } else { 0.0 };
            time_s + roll.max(chord)
        } else {
            self.grace_s(onset, candidate)
        }
    }

    /// Worth of a roll that starts at a time, with the candidates from `next`
    /// on and before `until` as its strokes, all but those at its very end,
    /// which may be the next onset's; and the candidate after them. They count
    /// at once, so that a run may well end with a roll. As strokes of a roll
    /// come fast, few of them speak against it.
    fn roll(
        &self,
        onset: &Onset,
        from_s: f64,
        (next, until): (usize, usize),
        stretch: f64,
    ) -> (f64, usize) {
        const OPEN_SHARE: f64 = 0.06;
        const OPEN_S: f64 = 0.03;
        let Some(roll_s) = onset.roll_s else {
            return (0.0, next);
        };
        let sure_s = roll_s * stretch * (1.0 - OPEN_SHARE) - OPEN_S;
        let settled = self.sounds.from(from_s + sure_s).min(until).max(next);
        (self.sounds.roll(onset, next, settled, sure_s), settled)
    }

    /// Every branch goes on to the onset, struck by any candidate near the
    /// expected time, or not at all.
    fn grow(&self, task: &Task, index: usize, room: &mut Room) {
        let onsets = &self.score.onsets;
        let onset = &onsets[index];
        let onwards = task.way == Way::Onwards;
        let (came_from, loose) = if onwards {
            (index - 1, onset)
        } else {
            (index + 1, &onsets[index + 1])
        };
        let way_s = (onset.marked_s - onsets[came_from].marked_s).abs();
        let sign = if onwards { 1.0 } else { -1.0 };
        let jitter = onset.jitter_s * onset.jitter_s;
        room.grown.clear();
        for place in 0..room.branches.len() {
            let branch = room.branches[place];
            let state = branch
                .state
                .advanced(way_s, sign, loose.loose_time, loose.loose_stretch);
            let sd = (state.var[0] + jitter).sqrt();
            let wide = sd > 0.06;
            let reach = if wide { 2.3 * sd } else { 4.0 * sd + 0.01 };
            let (low, high) = (state.time_s - reach, state.time_s + reach);
            let span = if onwards {
                (branch.settled, self.sounds.len())
            } else {
                (0, branch.settled)
            };
            let mut candidate = self.sounds.from(low).max(span.0);
            while candidate < span.1 && self.sounds.times[candidate] <= high {
                if !(wide && self.sounds.log_odds[candidate] < -1.5) {
                    let grown = self.struck(&branch, &state, index, candidate, onwards);
                    room.grown.push(grown);
                }
                candidate += 1;
            }
            // The strokes of a roll stand wherever a tempo would have its first.
            if place < 2 && branch.turned == 0 && onset.roll_s.is_none() {
                let turned =
                    branch
                        .state
                        .turned(way_s, sign, loose.loose_time, loose.loose_stretch);
                let usual = (state.time_s, sd);
                self.turn(&branch, &turned, usual, (index, onwards), span, room);
            }
            if place < 2 && onwards {
                let longest = PAUSE_S.max(PAUSE_SHARE * way_s * state.stretch);
                let until = (high + longest, span.1);
                self.hesitate(&branch, &state, index, (high, until), room);
            }
            // What lies before the expected time can no longer be this note's.
            let passed = self.sounds.from(state.time_s);
            // A roll whose first stroke is not heard is rolled all the same.
            let roll_end_s = onset
                .roll_s
                .map_or(f64::NEG_INFINITY, |r| state.time_s + r * state.stretch);
            let (gap, settled) = if onwards {
                let to = passed.max(branch.settled);
                let gap = self.between(branch.settled, to, branch.rolling_s);
                let span = (to, self.sounds.len());
                let (roll, settled) = self.roll(onset, state.time_s, span, state.stretch);
                (gap + roll, settled)
            } else {
                let to = passed.min(branch.settled);
                let span = (to, branch.settled);
                let (roll, from) = self.roll(onset, state.time_s, span, state.stretch);
                let gap = self.gap(from, branch.settled, roll_end_s, branch.rolling_s);
                (gap + roll, to)
            };
            let rolling_s = if onwards {
                branch.rolling_s.max(roll_end_s)
            } else {
                branch.rolling_s
            };
            room.grown.push(Branch {
                worth: branch.worth + onset.missed + gap,
                state,
                settled,
                rolling_s,
                fresh: false,
                ..branch
            });
        }
    }

    fn struck(
        &self,
        branch: &Branch,
        state: &State,
        index: usize,
        candidate: usize,
        onwards: bool,
    ) -> Branch {
        let onset = &self.score.onsets[index];
        let time_s = self.sounds.times[candidate];
        let (log, after) = state.update(time_s, self.noise(onset, candidate));
        let (gap, settled) = if onwards {
            let grace_s = self.grace_s(onset, candidate);
            let gap = self.gap(branch.settled, candidate, branch.rolling_s, grace_s);
            let span = (candidate + 1, self.sounds.len());
            let (roll, settled) = self.roll(onset, time_s, span, after.stretch);
            (gap + roll, settled)
        } else {
            let roll_s = self.rolling_s(onset, candidate, after.stretch, true);
            let span = (candidate + 1, branch.settled);
            let (roll, from) = self.roll(onset, time_s, span, after.stretch);
            let gap = self.gap(from, branch.settled, roll_s, branch.rolling_s);
            (gap + roll, candidate)
        };
        Branch {
            worth: branch.worth + gap + log + self.sounds.worth(onset, candidate),
            state: after,
            settled,
            rolling_s: self.rolling_s(onset, candidate, after.stretch, onwards),
            link: branch.link,
            candidate: candidate as u32,
            fresh: true,
            turned: branch.turned.saturating_sub(1),
        }
    }

    /// The player has gone on at another tempo since the last note: strokes
    /// that are out of time otherwise. `usual`: where the onset was expected,
    /// and how surely.
    fn turn(
        &self,
        branch: &Branch,
        state: &State,
        usual: (f64, f64),
        (index, onwards): (usize, bool),
        span: (usize, usize),
        room: &mut Room,
    ) {
        let reach = 2.0 * state.var[0].sqrt();
        let mut candidate = self.sounds.from(state.time_s - reach).max(span.0);
        while candidate < span.1 && self.sounds.times[candidate] <= state.time_s + reach {
            let off = (self.sounds.times[candidate] - usual.0).abs();
            if off > usual.1 && self.sounds.log_odds[candidate] > 0.0 {
                let mut grown = self.struck(branch, state, index, candidate, onwards);
                grown.worth += TURN;
                grown.turned = TURNED;
                room.grown.push(grown);
            }
            candidate += 1;
        }
    }

    /// The player stops for a moment before the onset and goes on.
    fn hesitate(
        &self,
        branch: &Branch,
        state: &State,
        index: usize,
        (after_s, (until_s, until)): (f64, (f64, usize)),
        room: &mut Room,
    ) {
        let mut tries = 0;
        let mut candidate = self.sounds.from(after_s).max(branch.settled);
        while candidate < until && tries < 2 && self.sounds.times[candidate] < until_s {
            if self.sounds.log_odds[candidate] > 1.0 {
                let onset = &self.score.onsets[index];
                let time_s = self.sounds.times[candidate];
                let gap = self.between(branch.settled, candidate, branch.rolling_s);
                let noise = self.noise(onset, candidate);
                let spread = state.var[2].max(0.03f64.powi(2)).sqrt();
                room.grown.push(Branch {
                    worth: branch.worth + gap + PAUSE + self.sounds.worth(onset, candidate),
                    state: State::at(time_s, noise, state.stretch, spread),
                    settled: candidate + 1,
                    rolling_s: self.rolling_s(onset, candidate, state.stretch, true),
                    link: branch.link,
                    candidate: candidate as u32,
                    fresh: true,
                    turned: 0,
                });
                tries += 1;
            }
            candidate += 1;
        }
    }

    /// Keeps the best branches, one for each last candidate.
    fn keep(&self, width: usize, index: usize, room: &mut Room) {
        room.branches.clear();
        for branch in &room.grown {
            insert(&mut room.branches, branch, width);
        }
        let roll = self.score.onsets[index].roll_s;
        for branch in room.branches.iter_mut().filter(|b| b.fresh) {
            room.links.push(Link {
                before: branch.link,
                onset: index as u32,
                candidate: branch.candidate,
                worth: branch.worth,
                settled: branch.settled as u32,
                roll_end_s: roll.map(|r| {
                    let from_s = self.sounds.times[branch.candidate as usize];
                    from_s + r * branch.state.stretch
                }),
            });
            branch.link = room.links.len() as u32 - 1;
        }
    }

    /// The steps of an end, in the order they were taken, the first included.
    pub fn steps(end: &End, room: &Room) -> Vec<Step> {
        let mut steps = Vec::new();
        let mut link = end.link;
        while let Some(found) = room.links.get(link as usize) {
            steps.push(Step {
                onset: found.onset as usize,
                candidate: found.candidate as usize,
            });
            link = found.before;
        }
        steps.reverse();
        steps
    }

    /// What an end of following onwards has gone through, step by step.
    pub fn chain(end: &End, room: &Room) -> Vec<Gained> {
        let mut chain = Vec::new();
        let mut link = end.link;
        while let Some(found) = room.links.get(link as usize) {
            chain.push(Gained {
                step: Step {
                    onset: found.onset as usize,
                    candidate: found.candidate as usize,
                },
                gain: found.worth,
                settled: found.settled as usize,
                roll_end_s: found.roll_end_s,
            });
            link = found.before;
        }
        chain.reverse();
        chain
    }
}

/// Puts a branch in its place among the best: at most `width`, and only the
/// better of two that go on from the same candidate.
fn insert(best: &mut Vec<Branch>, branch: &Branch, width: usize) {
    let order = |other: &Branch| {
        (other.worth.total_cmp(&branch.worth).reverse())
            .then(other.candidate.cmp(&branch.candidate))
            .then(other.link.cmp(&branch.link))
    };
    let full = best.len() >= width;
    if full && best.last().is_none_or(|last| order(last).is_le()) {
        return;
    }
    let key = |b: &Branch| (b.candidate, b.fresh, b.turned > 0);
    let same = |b: &Branch| key(b) == key(branch);
    match best.iter().position(same) {
        Some(known) if order(&best[known]).is_le() => return,
        Some(known) => drop(best.remove(known)),
        None if full => drop(best.pop()),
        None => {}
    }
    let place = best.partition_point(|other| order(other).is_lt());
    best.insert(place, *branch);
}
