//! Is there a trend, and how steep: the Mann-Kendall test and the Theil-Sen
//! slope.
//!
//! Mann 1945, Econometrica 13:245; Kendall 1975, *Rank Correlation Methods*;
//! Sen 1968, JASA 63:1379; the interval after Hollander & Wolfe 1999,
//! *Nonparametric Statistical Methods*, section 9.3. Values are taken to be
//! independent: one value a day, not several of one sitting.

use super::{ALPHA, Interval};
use crate::stats::{median, pairwise_slopes};

/// Up to this many values the exact distribution is used. All its counts
/// stay below 2^53, so that they are exact in floating point.
const MOST_EXACT: usize = 40;

/// The Mann-Kendall test of a series in order of time.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct MannKendall {
    /// Rising pairs minus falling pairs.
    pub s: i64,
    /// Variance of `s` when there is no trend, ties taken into account.
    pub variance: f64,
    /// Normal score with continuity correction.
    pub z: f64,
    /// Two-sided probability of so clear a trend by chance.
    pub p: f64,
    /// Whether `p` comes from the exact distribution.
    pub exact: bool,
}

/// A straight line through a series that outliers do not bend: the line of
/// Theil and Sen, with an interval that needs no shape of the scatter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrendLine {
    /// Median of all pairwise slopes, y per x.
    pub slope: f64,
    /// Median of y minus slope times median of x.
    pub intercept: f64,
    /// Holds the true slope in at least 95 % of cases. `None` below five
    /// values, since no interval of theirs can promise that, and where two
    /// points have one x.
    pub interval: Option<Interval>,
}

/// Tests a series for a trend. `None` below two values.
pub fn mann_kendall(values: &[f64]) -> Option<MannKendall> {
    let n = values.len();
    if n < 2 {
        return None;
    }
    let s: i64 = pairs(n).map(|(i, j)| sign(values[j] - values[i])).sum();
    let ties = ties(values);
    let term = |t: usize| (t * (t - 1) * (2 * t + 5)) as f64;
    let variance = (term(n) - ties.iter().map(|&t| term(t)).sum::<f64>()) / 18.0;
    let z = if s == 0 || variance == 0.0 {
        0.0
    } else {
        (s.abs() - 1) as f64 / variance.sqrt() * s.signum() as f64
    };
    let exact = n <= MOST_EXACT;
    let p = if exact {
        exact_two_sided(&ties, s)
    } else {
        erfc(z.abs() / std::f64::consts::SQRT_2)
    };
    Some(MannKendall {
        s,
        variance,
        z,
        p: p.min(1.0),
        exact,
    })
}

/// The line through points; pairs of equal x are left out. `None` without
/// two different x.
pub fn trend_line(points: &[(f64, f64)]) -> Option<TrendLine> {
    let slopes = pairwise_slopes(points);
    let slope = median(&slopes)?;
    let (xs, ys): (Vec<f64>, Vec<f64>) = points.iter().copied().unzip();
    let intercept = median(&ys)? - slope * median(&xs)?;
    let all_differ = slopes.len() == points.len() * (points.len() - 1) / 2;
    let interval = all_differ
        .then(|| interval_ranks(points.len()))
        .flatten()
        .map(|(low, high)| Interval {
            low: slopes[low],
            high: slopes[high],
        });
    Some(TrendLine {
        slope,
        intercept,
        interval,
    })
}

/// Places of the ends of the interval among the sorted pairwise slopes of n
/// points: those slopes that the test of the residuals cannot refuse.
fn interval_ranks(n: usize) -> Option<(usize, usize)> {
    let count = n * (n - 1) / 2;
    let critical = if n <= MOST_EXACT {
        let falling = falling_pairs(&vec![1; n]);
        // S = count - 2 x falling pairs: the tail with the fewest of them.
        let mut tail = 0.0;
        let within = falling
            .iter()
            .take_while(|p| {
                tail += **p;
                tail <= ALPHA / 2.0
            })
            .count();
        count as f64 - 2.0 * within.checked_sub(1)? as f64
    } else {
        let variance = (n * (n - 1) * (2 * n + 5)) as f64 / 18.0;
        1.959_964 * variance.sqrt() + 2.0
    };
    let low = ((count as f64 - critical) / 2.0).floor() as usize;
    Some((low, count - 1 - low))
}

fn exact_two_sided(ties: &[usize], s: i64) -> f64 {
    let falling = falling_pairs(ties);
    let most = falling.len() as i64 - 1;
    falling
        .iter()
        .enumerate()
        .filter(|(d, _)| (most - 2 * *d as i64).abs() >= s.abs())
        .map(|(_, p)| p)
        .sum()
}

/// Probability of each number of falling pairs when all orders of the values
/// are equally likely; `groups` are the sizes of the groups of equal values.
/// The counts are the q-multinomial coefficients (Stanley, *Enumerative
/// Combinatorics* 1, section 1.7).
fn falling_pairs(groups: &[usize]) -> Vec<f64> {
    let mut distribution = vec![1.0];
    let mut before = 0;
    for &size in groups {
        let counts = gaussian_binomial(before, size);
        let total: f64 = counts.iter().sum();
        let mut next = vec![0.0; distribution.len() + counts.len() - 1];
        for (i, p) in distribution.iter().enumerate() {
            for (j, c) in counts.iter().enumerate() {
                next[i + j] += p * c / total;
            }
        }
        distribution = next;
        before += size;
    }
    distribution
}

/// Coefficients of the Gaussian binomial (m + t over t): multiplied by
/// (1 - q^(m+i)) and divided by (1 - q^i) for every i up to t.
fn gaussian_binomial(m: usize, t: usize) -> Vec<f64> {
    let mut c = vec![1.0];
    for i in 1..=t {
        let length = c.len() + m;
        c.resize(length + i, 0.0);
        for k in (m + i..c.len()).rev() {
            c[k] -= c[k - m - i];
        }
        for k in i..c.len() {
            c[k] += c[k - i];
        }
        c.truncate(length);
    }
    c
}

/// Sizes of the groups of equal values.
fn ties(values: &[f64]) -> Vec<usize> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted
        .chunk_by(|a, b| a.total_cmp(b).is_eq())
        .map(<[f64]>::len)
        .collect()
}

fn pairs(n: usize) -> impl Iterator<Item = (usize, usize)> {
    (0..n).flat_map(move |i| (i + 1..n).map(move |j| (i, j)))
}

fn sign(value: f64) -> i64 {
    i64::from(value > 0.0) - i64::from(value < 0.0)
}

/// Complementary error function, relative error below 1.2e-7 (Press et al.,
/// *Numerical Recipes in C*, second edition, section 6.2).
pub fn erfc(x: f64) -> f64 {
    const C: [f64; 10] = [
        -1.265_512_23,
        1.000_023_68,
        0.374_091_96,
        0.096_784_18,
        -0.186_288_06,
        0.278_868_07,
        -1.135_203_98,
        1.488_515_87,
        -0.822_152_23,
        0.170_872_77,
    ];
    let t = 1.0 / (1.0 + 0.5 * x.abs());
    let sum = C.iter().rev().fold(0.0, |sum, c| sum * t + c);
    let y = t * (-x * x + sum).exp();
    if x < 0.0 { 2.0 - y } else { y }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(found: f64, expected: f64, within: f64) {
        assert!((found - expected).abs() <= within, "{found} {expected}");
    }

    /// EPA QA/G-9S (2006), page 109, as reported on the help pages of an
    /// environmental database: ties of 4 and 2, S 22, Var 155.33, Z 1.685.
    #[test]
    fn the_example_of_the_epa() {
        let values = [
            10.0, 10.0, 10.0, 5.0, 10.0, 20.0, 18.0, 17.0, 15.0, 24.0, 15.0,
        ];
        let found = mann_kendall(&values).unwrap();
        assert_eq!(found.s, 22);
        close(found.variance, 155.33, 0.005);
        close(found.z, 1.685, 0.0005);
        let points: Vec<(f64, f64)> = (0..).map(f64::from).zip(values).collect();
        let line = trend_line(&points).unwrap();
        close(line.slope, 1.0, 1e-12);
        close(line.interval.unwrap().low, 0.0, 1e-12);
        close(line.interval.unwrap().high, 2.0, 1e-12);
    }

    /// Wisconsin Administrative Code, technical standard 134, table A.
    #[test]
    fn the_example_of_wisconsin() {
        let found = mann_kendall(&[100.0, 50.0, 85.0, 75.0, 50.0]).unwrap();
        assert_eq!(found.s, -5);
    }

    /// Exact one-sided tails without ties, worked from the recurrence of
    /// Kendall 1975; they agree with table B of Wisconsin's standard 134.
    #[test]
    fn small_series_use_the_exact_distribution() {
        for (n, s, tail) in [
            (4, 6, 0.041_67),
            (5, 8, 0.041_67),
            (5, 10, 0.008_33),
            (6, 9, 0.068_06),
            (7, 13, 0.034_52),
            (8, 22, 0.002_75),
            (10, 21, 0.036_28),
        ] {
            close(exact_two_sided(&vec![1; n], s) / 2.0, tail, 6e-6);
        }
    }

    /// Computed from the formulas of Mann, Kendall and Sen, not published.
    #[test]
    fn one_wild_value_does_not_bend_the_line() {
        let points: Vec<(f64, f64)> = (0..)
            .map(f64::from)
            .zip([1.0, 2.0, 3.0, 4.0, 5.0, 16.0, 7.0])
            .collect();
        close(trend_line(&points).unwrap().slope, 1.0, 1e-12);
        let values: Vec<f64> = points.iter().map(|p| p.1).collect();
        let test = mann_kendall(&values).unwrap();
        assert_eq!(test.s, 19);
        close(test.variance, 44.3333, 5e-5);
        close(test.z, 2.703_381, 5e-7);
    }

    /// Computed from the formulas of Mann, Kendall and Sen, not published.
    #[test]
    fn a_log_of_evenness() {
        let values = [14.2, 13.1, 13.8, 12.0, 12.4, 11.1, 11.6, 10.4];
        let test = mann_kendall(&values).unwrap();
        assert_eq!(test.s, -22);
        close(test.z, -2.598_076, 5e-7);
        close(test.p, 0.0055, 5e-5);
        let points: Vec<(f64, f64)> = (0..).map(f64::from).zip(values).collect();
        close(trend_line(&points).unwrap().slope, -0.475, 1e-9);
    }

    #[test]
    fn four_values_never_show_a_trend() {
        let rising = [1.0, 2.0, 3.0, 4.0];
        assert!(mann_kendall(&rising).unwrap().p > ALPHA);
        let points: Vec<(f64, f64)> = rising.iter().map(|v| (*v, *v)).collect();
        assert_eq!(trend_line(&points).unwrap().interval, None);
        assert_eq!(mann_kendall(&[1.0]), None);
        assert_eq!(trend_line(&[(1.0, 2.0), (1.0, 3.0)]), None);
    }

    /// All equal: nothing rises and nothing falls.
    #[test]
    fn equal_values_have_no_trend() {
        let test = mann_kendall(&[3.0; 6]).unwrap();
        assert_eq!((test.s, test.z), (0, 0.0));
        close(test.p, 1.0, 1e-12);
    }
}
