//! The exact search: dynamic programming over tunings.
//!
//! The part is cut into spans, stretches without a rest long enough to retune
//! in. A state is the pitch of every drum. Between spans each drum may move to
//! any pitch it will ever need, as many drums as the rest has time for. A drum's
//! starting pitch is free.

/// A stretch without time to retune.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Span {
    /// Keys struck in it, rising, each with its number of strokes.
    pub keys: Vec<(i32, u32)>,
    /// How many drums can be retuned in the rest before it.
    pub changes_before: usize,
    /// Changes that the part itself writes before this span, as pitch classes
    /// from and to (0 = C). A drum that makes one costs nothing.
    pub written: Vec<(i32, i32)>,
}

/// What is asked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// Lowest and highest key of each drum, drum 1 first.
    pub ranges: Vec<(i32, i32)>,
    pub spans: Vec<Span>,
}

/// One retuning.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Change {
    /// The span before which it happens.
    pub span: usize,
    /// Place in the ranges.
    pub drum: usize,
    pub from: i32,
    pub to: i32,
}

/// The best plan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Solution {
    /// Key of every drum in every span.
    pub tunings: Vec<Vec<i32>>,
    pub changes: Vec<Change>,
    /// Strokes that no drum can play.
    pub unplayable: u32,
    pub retunings: u32,
    pub semitones: u32,
    /// Whether every plan was weighed; `false` when there were too many.
    pub exact: bool,
}

/// Costs in the order of their weight, packed so that they add and compare.
type Cost = u128;
const UNPLAYABLE: Cost = 1 << 96;
const RETUNING: Cost = 1 << 72;
const SEMITONE: Cost = 1 << 48;
const INVERSION: Cost = 1 << 24;
const NEVER: Cost = Cost::MAX / 4;

/// States held at once; beyond them only the best are followed.
const MOST_STATES: usize = 300_000;
/// States of all spans together, for the memory.
const MOST_KEPT: usize = 12_000_000;

struct Space {
    /// Keys that each drum may take, rising.
    choices: Vec<Vec<i32>>,
    strides: Vec<usize>,
    size: usize,
    /// No choice was left out.
    complete: bool,
}

impl Space {
    fn new(problem: &Problem) -> Self {
        let mut needed: Vec<i32> = problem
            .spans
            .iter()
            .flat_map(|s| s.keys.iter().map(|k| k.0))
            .collect();
        needed.sort_unstable();
        needed.dedup();
        let mut choices: Vec<Vec<i32>> = problem
            .ranges
            .iter()
            .map(|&(low, high)| {
                let fitting: Vec<i32> = needed
                    .iter()
                    .copied()
                    .filter(|k| (low..=high).contains(k))
                    .collect();
                if fitting.is_empty() {
                    vec![i32::midpoint(low, high)]
                } else {
                    fitting
                }
            })
            .collect();
        let mut complete = true;
        // Too many plans: keep the pitches nearest to the middle of the drums.
        while choices.iter().map(|c| c.len() as u128).product::<u128>() > MOST_STATES as u128 {
            let Some((drum, longest)) = choices.iter_mut().enumerate().max_by_key(|(_, c)| c.len())
            else {
                break;
            };
            complete = false;
            let (low, high) = problem.ranges[drum];
            let far = |k: i32| (2 * k - low - high).abs();
            if far(longest[0]) > far(longest[longest.len() - 1]) {
                longest.remove(0);
            } else {
                longest.pop();
            }
        }
        let mut strides = Vec::new();
        let mut size = 1;
        for drum in &choices {
            strides.push(size);
            size *= drum.len();
        }
        Self {
            choices,
            strides,
            size,
            complete,
        }
    }

    fn place(&self, state: usize, drum: usize) -> usize {
        state / self.strides[drum] % self.choices[drum].len()
    }

    fn key(&self, state: usize, drum: usize) -> i32 {
        self.choices[drum][self.place(state, drum)]
    }

    /// The key of every drum.
    fn tune(&self, state: usize, keys: &mut [i32]) {
        for (drum, key) in keys.iter_mut().enumerate() {
            *key = self.key(state, drum);
        }
    }

    fn tuning(&self, state: usize) -> Vec<i32> {
        let mut keys = vec![0; self.choices.len()];
        self.tune(state, &mut keys);
        keys
    }
}

/// What a tuning costs in a span.
fn span_cost(tuning: &[i32], span: &Span, ranges: &[(i32, i32)]) -> Cost {
    let mut cost = 0;
    for &(key, strokes) in &span.keys {
        match tuning.iter().position(|&k| k == key) {
            Some(drum) => {
                let (low, high) = ranges[drum];
                cost += Cost::from((2 * key - low - high).unsigned_abs());
            }
            None => cost += UNPLAYABLE * Cost::from(strokes),
        }
    }
    for (i, low) in tuning.iter().enumerate() {
        let wrong = tuning[i + 1..].iter().filter(|&high| high <= low).count();
        cost += INVERSION * wrong as Cost;
    }
    cost
}

fn change_cost(from: i32, to: i32, span: &Span) -> Cost {
    let written = span
        .written
        .contains(&(from.rem_euclid(12), to.rem_euclid(12)));
    if written {
        0
    } else {
        RETUNING + SEMITONE * Cost::from((from - to).unsigned_abs())
    }
}

/// Finds the best plan. An empty part or set of drums gives an empty one.
pub fn solve(problem: &Problem) -> Solution {
    let space = Space::new(problem);
    let mut exact = space.complete;
    let mut layers: Vec<Vec<(u32, Cost)>> = Vec::with_capacity(problem.spans.len());
    let mut costs = vec![0; space.size];
    let mut tuning = vec![0; space.choices.len()];
    let share = (MOST_KEPT / problem.spans.len().max(1)).max(200);
    for (index, span) in problem.spans.iter().enumerate() {
        if index > 0 {
            spread(&space, &mut costs, span);
        }
        for (state, cost) in costs.iter_mut().enumerate() {
            if *cost < NEVER {
                space.tune(state, &mut tuning);
                *cost += span_cost(&tuning, span, &problem.ranges);
            }
        }
        let least = costs.iter().copied().min().unwrap_or(0);
        let mut layer: Vec<(u32, Cost)> = costs
            .iter()
            .enumerate()
            .filter(|(_, c)| **c < NEVER)
            .map(|(s, c)| (s as u32, *c))
            .collect();
        if layer.len() > share {
            layer.sort_by_key(|&(s, c)| (c, s));
            layer.truncate(share);
            layer.sort_unstable_by_key(|&(s, _)| s);
            exact = false;
        }
        costs.fill(NEVER);
        for &(state, cost) in &layer {
            costs[state as usize] = cost - least;
        }
        for item in &mut layer {
            item.1 -= least;
        }
        layers.push(layer);
    }
    trace(problem, &space, &layers, exact)
}

/// Lets drums move, as many as the rest has time for.
fn spread(space: &Space, costs: &mut Vec<Cost>, span: &Span) {
    let drums = space.choices.len();
    let rounds = span.changes_before.min(drums);
    if rounds == 0 {
        return;
    }
    if rounds >= drums {
        for drum in 0..drums {
            *costs = moved(space, costs, drum, span);
        }
        return;
    }
    // The costs after so many changes; each drum moves at most once.
    let mut after: Vec<Vec<Cost>> = vec![vec![NEVER; costs.len()]; rounds + 1];
    after[0].clone_from(costs);
    for drum in 0..drums {
        for count in (0..rounds).rev() {
            let more = moved(space, &after[count], drum, span);
            lower(&mut after[count + 1], &more);
        }
    }
    for more in &after[1..] {
        lower(costs, more);
    }
}

/// Keeps the lower of two costs everywhere.
fn lower(costs: &mut [Cost], others: &[Cost]) {
    for (cost, other) in costs.iter_mut().zip(others) {
        *cost = (*cost).min(*other);
    }
}

/// The costs after one drum may have moved.
fn moved(space: &Space, costs: &[Cost], drum: usize, span: &Span) -> Vec<Cost> {
    let (stride, keys) = (space.strides[drum], &space.choices[drum]);
    let mut after = costs.to_vec();
    for (base, _) in costs.iter().enumerate() {
        if space.place(base, drum) != 0 {
            continue;
        }
        for (to, &to_key) in keys.iter().enumerate() {
            let target = base + to * stride;
            for (from, &from_key) in keys.iter().enumerate() {
                let source = costs[base + from * stride];
                if from != to && source < NEVER {
                    let cost = source + change_cost(from_key, to_key, span);
                    if cost < after[target] {
                        after[target] = cost;
                    }
                }
            }
        }
    }
    after
}

/// Walks back from the cheapest last state.
fn trace(problem: &Problem, space: &Space, layers: &[Vec<(u32, Cost)>], exact: bool) -> Solution {
    let mut states = Vec::with_capacity(layers.len());
    for (index, layer) in layers.iter().enumerate().rev() {
        let state = match states.last() {
            None => layer.iter().min_by_key(|(s, c)| (*c, *s)).map(|(s, _)| *s),
            Some(&next) => {
                let span: &Span = &problem.spans[index + 1];
                let target = space.tuning(next as usize);
                layer
                    .iter()
                    .filter_map(|&(state, cost)| {
                        let mut total = cost;
                        let mut moves = 0;
                        for (drum, &to) in target.iter().enumerate() {
                            let from = space.key(state as usize, drum);
                            if from != to {
                                moves += 1;
                                total += change_cost(from, to, span);
                            }
                        }
                        (moves <= span.changes_before).then_some((total, moves, state))
                    })
                    .min()
                    .map(|(_, _, state)| state)
            }
        };
        states.push(state.unwrap_or(0));
    }
    states.reverse();
    let tunings: Vec<Vec<i32>> = states.iter().map(|&s| space.tuning(s as usize)).collect();
    let mut changes = Vec::new();
    for (index, pair) in tunings.windows(2).enumerate() {
        for (drum, (&from, &to)) in pair[0].iter().zip(&pair[1]).enumerate() {
            if from != to {
                changes.push(Change {
                    span: index + 1,
                    drum,
                    from,
                    to,
                });
            }
        }
    }
    let unplayable = problem
        .spans
        .iter()
        .zip(&tunings)
        .flat_map(|(span, tuning)| {
            span.keys
                .iter()
                .filter(|(key, _)| !tuning.contains(key))
                .map(|(_, strokes)| *strokes)
        })
        .sum();
    Solution {
        unplayable,
        retunings: changes.len() as u32,
        semitones: changes.iter().map(|c| (c.from - c.to).unsigned_abs()).sum(),
        tunings,
        changes,
        exact,
    }
}
