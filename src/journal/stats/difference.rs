//! Do two sets of values differ, by how much, and how many more would tell.
//!
//! The unit is the take: strokes of one take are not independent of one
//! another, so every take brings one value into the test. Permutation test:
//! Fisher 1935; Good 2005, *Permutation, Parametric and Bootstrap Tests of
//! Hypotheses*. Bootstrap: Efron & Tibshirani 1993.

use super::chance::Chance;
use super::{ALPHA, Interval};
use crate::stats::{mean, median, sd};

/// Up to this many ways of dividing the values all are tried.
const MOST_WAYS: usize = 20_000;
/// Beyond it, so many are drawn.
const DRAWN: usize = 9_999;
const PERMUTATION_SEED: u64 = 0x7065_726d_7574_6531;
const BOOTSTRAP_SEED: u64 = 0x626f_6f74_7374_7231;
const RESAMPLINGS: usize = 4_000;
/// With fewer takes each nothing can be settled, unless the other set has many
/// more; and a resampling says more about the takes left out than about the
/// player.
pub const FEWEST_EACH: usize = 4;
/// More takes than this nobody will record to settle a question.
pub const MOST_MORE_TAKES: usize = 200;

/// What two sets of values say about each other.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Difference {
    pub count_a: usize,
    pub count_b: usize,
    pub mean_a: f64,
    pub mean_b: f64,
    /// Mean of B minus mean of A.
    pub difference: f64,
    /// Differences that the test cannot refuse at 5 %. `None`: so few values
    /// that none could be refused.
    pub interval: Option<Interval>,
    /// Two-sided probability of so large a difference if the two sets were
    /// one. `None`: so few values that no difference could be rarer than 5 %.
    pub p: Option<f64>,
    /// Whether all ways of dividing the values were tried.
    pub exact: bool,
    /// How many more values a set would most likely settle it (80 %), if the
    /// difference seen is the true one. 0 when it is settled, `None` when
    /// more than [`MOST_MORE_TAKES`], or unknown.
    pub more_each: Option<usize>,
}

/// Compares two sets. `None` when one of them is empty.
pub fn difference(a: &[f64], b: &[f64]) -> Option<Difference> {
    let (mean_a, mean_b) = (mean(a)?, mean(b)?);
    let (ways, exact) = ways(a, b);
    let seen = mean_b - mean_a;
    let interval = interval(&ways, exact, seen);
    // Where no shift however far could be refused, nothing that may be seen
    // settles anything.
    let p = interval.map(|_| p_of_shift(&ways, exact, seen, 0.0));
    Some(Difference {
        count_a: a.len(),
        count_b: b.len(),
        mean_a,
        mean_b,
        difference: seen,
        interval,
        p,
        exact,
        more_each: more_each(a, b, seen, p),
    })
}

/// One way of dividing all values into two sets of the same sizes.
struct Way {
    /// Mean of the second set minus mean of the first.
    difference: f64,
    /// By how much `difference` falls when every value that came from B is
    /// lowered by 1.
    share: f64,
}

fn ways(a: &[f64], b: &[f64]) -> (Vec<Way>, bool) {
    let all: Vec<f64> = a.iter().chain(b).copied().collect();
    let (n, m) = (a.len(), b.len());
    let total: f64 = all.iter().sum();
    let way = |second: &[usize]| {
        let sum: f64 = second.iter().map(|&i| all[i]).sum();
        let from_b = second.iter().filter(|&&i| i >= n).count() as f64;
        Way {
            difference: sum / m as f64 - (total - sum) / n as f64,
            share: from_b / m as f64 - (m as f64 - from_b) / n as f64,
        }
    };
    if binomial(n + m, m).is_some_and(|count| count <= MOST_WAYS) {
        return (choices(n + m, m).iter().map(|c| way(c)).collect(), true);
    }
    let mut chance = Chance::seeded(PERMUTATION_SEED);
    let mut order: Vec<usize> = (0..n + m).collect();
    let drawn = (0..DRAWN)
        .map(|_| {
            chance.shuffle(&mut order);
            way(&order[..m])
        })
        .collect();
    (drawn, false)
}

/// Two-sided p of the hypothesis that B is A moved up by `shift`. Drawn ways
/// are joined by the one that was seen (Phipson & Smyth 2010, Statistical
/// Applications in Genetics and Molecular Biology 9:39).
fn p_of_shift(ways: &[Way], exact: bool, seen: f64, shift: f64) -> f64 {
    let limit = (seen - shift).abs();
    let slack = 1e-9 * limit.max(f64::MIN_POSITIVE);
    let as_far = ways
        .iter()
        .filter(|w| (w.difference - shift * w.share).abs() >= limit - slack)
        .count();
    let extra = usize::from(!exact);
    (as_far + extra) as f64 / (ways.len() + extra) as f64
}

fn interval(ways: &[Way], exact: bool, seen: f64) -> Option<Interval> {
    let scale = ways
        .iter()
        .map(|w| (w.difference - seen).abs())
        .fold(0.0, f64::max);
    let refused = |shift: f64| p_of_shift(ways, exact, seen, shift) <= ALPHA;
    let end = |direction: f64| {
        let mut far = scale.max(1e-12);
        let mut doublings = 0;
        while !refused(seen + direction * far) {
            far *= 2.0;
            doublings += 1;
            if doublings > 40 {
                return None;
            }
        }
        let mut near = 0.0;
        for _ in 0..60 {
            let middle = f64::midpoint(near, far);
            if refused(seen + direction * middle) {
                far = middle;
            } else {
                near = middle;
            }
        }
        Some(seen + direction * far)
    };
    Some(Interval {
        low: end(-1.0)?,
        high: end(1.0)?,
    })
}

/// Values a set needed in all for a power of 80 % at 5 % two-sided (normal
/// approximation: 2 (1.96 + 0.84)^2 s^2 / d^2, plus one for the small
/// sample; Cohen 1988), less what is there.
fn more_each(a: &[f64], b: &[f64], seen: f64, p: Option<f64>) -> Option<usize> {
    if p.is_some_and(|p| p <= ALPHA) {
        return Some(0);
    }
    let (sa, sb) = (sd(a)?, sd(b)?);
    let pooled = f64::midpoint(sa * sa, sb * sb);
    if seen == 0.0 || pooled == 0.0 {
        return None;
    }
    let needed = 2.0 * (1.959_964f64 + 0.841_621).powi(2) * pooled / (seen * seen) + 1.0;
    let there = a.len().min(b.len());
    let more = (needed.ceil() - there as f64).max(1.0);
    (more <= MOST_MORE_TAKES as f64).then_some(more as usize)
}

/// In which share of resamplings B came out below A; each set is a list of
/// takes, each take a list of values. Takes are drawn first, then the values
/// inside each; a take counts by its median. `None` when a set has fewer
/// than four takes.
pub fn share_b_below_a(a: &[Vec<f64>], b: &[Vec<f64>]) -> Option<f64> {
    if a.len().min(b.len()) < FEWEST_EACH || a.iter().chain(b).any(Vec::is_empty) {
        return None;
    }
    let mut chance = Chance::seeded(BOOTSTRAP_SEED);
    let mut below = 0.0;
    for _ in 0..RESAMPLINGS {
        let (x, y) = (resampled(a, &mut chance)?, resampled(b, &mut chance)?);
        below += match y.total_cmp(&x) {
            std::cmp::Ordering::Less => 1.0,
            std::cmp::Ordering::Equal => 0.5,
            std::cmp::Ordering::Greater => 0.0,
        };
    }
    Some(below / RESAMPLINGS as f64)
}

fn resampled(takes: &[Vec<f64>], chance: &mut Chance) -> Option<f64> {
    let medians: Option<Vec<f64>> = (0..takes.len())
        .map(|_| {
            let take = &takes[chance.below(takes.len())];
            let drawn: Vec<f64> = take
                .iter()
                .map(|_| take[chance.below(take.len())])
                .collect();
            median(&drawn)
        })
        .collect();
    mean(&medians?)
}

/// All choices of `k` out of `n`, in lexical order.
fn choices(n: usize, k: usize) -> Vec<Vec<usize>> {
    let mut choice: Vec<usize> = (0..k).collect();
    let mut all = vec![choice.clone()];
    while let Some(i) = (0..k).rev().find(|&i| choice[i] < n - k + i) {
        choice[i] += 1;
        for j in i + 1..k {
            choice[j] = choice[j - 1] + 1;
        }
        all.push(choice.clone());
    }
    all
}

/// `None` when too large to count.
fn binomial(n: usize, k: usize) -> Option<usize> {
    (0..k.min(n - k)).try_fold(1usize, |count, i| {
        count.checked_mul(n - i).map(|c| c / (i + 1))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Efron & Tibshirani 1993, table 2.1: survival of treated and untreated
    /// mice; the difference of the means is 30.63 (56.22 and 86.86). From
    /// memory.
    #[test]
    fn the_mouse_data() {
        let treated = [94.0, 197.0, 16.0, 38.0, 99.0, 141.0, 23.0];
        let control = [52.0, 104.0, 146.0, 10.0, 51.0, 30.0, 40.0, 27.0, 46.0];
        let found = difference(&control, &treated).unwrap();
        assert!((found.mean_a - 56.22).abs() < 0.005);
        assert!((found.mean_b - 86.86).abs() < 0.005);
        assert!(found.exact);
        // Efron & Tibshirani, section 15.2: one-sided level about .132-.14.
        let p = found.p.unwrap();
        assert!((p / 2.0 - 0.14).abs() < 0.015, "{p}");
        assert!(found.interval.unwrap().holds(0.0));
        assert!(found.more_each.unwrap() > 20);
    }

    /// Three against three can be divided in 20 ways: the farthest apart are
    /// two of them, one in ten.
    #[test]
    fn three_takes_each_settle_nothing() {
        let found = difference(&[1.0, 2.0, 3.0], &[11.0, 12.0, 13.0]).unwrap();
        assert_eq!((found.p, found.interval), (None, None));
        assert_eq!(found.more_each, Some(1));
        let single = difference(&[1.0], &[11.0]).unwrap();
        assert_eq!((single.p, single.interval), (None, None));
        assert_eq!(single.more_each, None);
        assert_eq!(difference(&[], &[1.0]), None);
    }

    /// Four against four can be divided in 70 ways, one against nineteen in 20.
    #[test]
    fn the_fewest_takes_that_settle_something() {
        let found = difference(&[1.0, 2.0, 3.0, 4.0], &[11.0, 12.0, 13.0, 14.0]).unwrap();
        assert!((found.p.unwrap() - 2.0 / 70.0).abs() < 1e-12);
        let many: Vec<f64> = (0..19).map(f64::from).collect();
        assert!((difference(&[99.0], &many).unwrap().p.unwrap() - 0.05).abs() < 1e-12);
        assert_eq!(difference(&[99.0], &many[1..]).unwrap().p, None);
    }

    #[test]
    fn a_clear_difference_is_found_and_bracketed() {
        let a: Vec<f64> = (0..12).map(|i| 20.0 + f64::from(i % 4)).collect();
        let b: Vec<f64> = a.iter().map(|v| v - 6.0).collect();
        let found = difference(&a, &b).unwrap();
        assert!(!found.exact && found.p.unwrap() < 0.001);
        assert!(found.interval.unwrap().holds(-6.0));
        assert_eq!(found.more_each, Some(0));
        let takes = |v: &[f64]| v.iter().map(|x| vec![*x, x + 0.5]).collect::<Vec<_>>();
        assert_eq!(share_b_below_a(&takes(&a), &takes(&b)), Some(1.0));
        assert_eq!(share_b_below_a(&takes(&a[..3]), &takes(&b)), None);
    }

    #[test]
    fn equal_values_do_not_differ() {
        let found = difference(&[5.0; 6], &[5.0; 6]).unwrap();
        assert!((found.p.unwrap() - 1.0).abs() < 1e-12);
        assert_eq!(found.more_each, None);
    }

    #[test]
    fn choices_are_all_there() {
        assert_eq!(choices(6, 3).len(), 20);
        assert_eq!(binomial(16, 7), Some(11_440));
        assert_eq!(binomial(200, 100), None);
    }
}
