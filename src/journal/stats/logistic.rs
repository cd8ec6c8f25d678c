//! How the chance of success falls with tempo: logistic regression, and the
//! tempo at which it is nine in ten.
//!
//! Attempts of one take are not independent, so the uncertainty comes from
//! resampling whole takes. A weak penalty keeps the curve finite when all
//! slow attempts succeed and all fast ones fail (ridge on standardised
//! predictors, [`regression`]).

use super::Interval;
use super::chance::Chance;
use crate::regression;
use crate::stats::{mean, quantile, sd};

const SEED: u64 = 0x7465_6d70_6f39_3031;
const RESAMPLINGS: usize = 1_000;
/// So many of them must give an answer: takes of one tempo alone give none.
const LEAST_ANSWERS: usize = 900;
/// Weight of the penalty, half the squared coefficient: little against more
/// than a handful of attempts.
pub const PENALTY: f64 = 0.1;
/// Below so many takes nothing is said.
const FEWEST_TAKES: usize = 4;
/// The slowest and the fastest take must be so far apart, ratio.
const LEAST_SPREAD: f64 = 1.1;
/// Natural log of the odds nine to one.
const LOG_ODDS_NINE_OF_TEN: f64 = 2.197_224_577_336_22;

/// One attempt.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Attempt {
    /// Quarter notes a minute.
    pub bpm: f64,
    /// When, in weeks from any fixed day.
    pub week: f64,
    pub success: bool,
}

/// The fastest tempo at which nine of ten succeed, where the takes span more
/// than a week at the end of the weeks.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
#[serde(tag = "state", rename_all = "kebab-case")]
pub enum Fastest {
    /// Too few takes, or all at about one tempo.
    NotEnough { takes: usize },
    /// Tempi enough, but what is seen may still be chance.
    Unsettled { takes: usize, figures: usize },
    /// Surely nine of ten succeed even at the fastest tempo played.
    AtLeast { bpm: f64 },
    /// Surely fewer do even at the slowest tempo played.
    Below { bpm: f64 },
    /// Success does not fall with tempo, though at one end it is surely on one
    /// side of nine of ten.
    NoFall,
    /// Between the tempi played.
    At {
        bpm: f64,
        /// 95 %, held to the tempi played.
        interval: Interval,
        /// How it moves, quarter notes a minute and week; `None` where the
        /// takes are of one week or do not tell.
        per_week: Option<f64>,
        /// 95 %.
        per_week_interval: Option<Interval>,
    },
}

/// What is said to be on one side of nine of ten is so in this share of
/// resamplings of the takes, and the figures are this much likelier under the
/// curve than under one through nine of ten at the same place: for successes
/// alone the exact binomial bound, which no resampling knows of.
const SURE: f64 = 0.95;
/// Log likelihood ratio, 1 : 1 - [`SURE`].
const LEAST_EVIDENCE: f64 = 2.995_732_273_553_99;

/// Whether the takes span the weeks that it takes to see a curve move.
pub fn span_weeks(takes: &[Vec<Attempt>]) -> bool {
    let weeks = || takes.iter().flatten().map(|a| a.week);
    weeks().fold(f64::MIN, f64::max) - weeks().fold(f64::MAX, f64::min) >= 1.0
}

/// The curve of some takes at the end of their weeks.
pub fn curve(takes: &[Vec<Attempt>]) -> Option<Curve> {
    fit(&takes.concat(), span_weeks(takes))
}

/// Which side of nine of ten a place of the curve surely is on.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Side {
    Above,
    Below,
    Open,
}

/// Fits the curve to attempts, one list a take.
pub fn fastest_nine_of_ten(takes: &[Vec<Attempt>]) -> Fastest {
    let takes: Vec<Vec<Attempt>> = takes.iter().filter(|t| !t.is_empty()).cloned().collect();
    let all: Vec<Attempt> = takes.concat();
    let bpm: Vec<f64> = takes
        .iter()
        .filter_map(|t| mean(&t.iter().map(|a| a.bpm).collect::<Vec<_>>()))
        .collect();
    let slowest = bpm.iter().copied().fold(f64::INFINITY, f64::min);
    let fastest = bpm.iter().copied().fold(0.0, f64::max);
    if takes.len() < FEWEST_TAKES || fastest < LEAST_SPREAD * slowest {
        return Fastest::NotEnough { takes: takes.len() };
    }
    let unsettled = Fastest::Unsettled {
        takes: takes.len(),
        figures: all.len(),
    };
    let Some(curve) = curve(&takes) else {
        return unsettled;
    };
    let curves = resampled(&takes, curve.now);
    let side = |bpm: f64| side(&curve, &curves, &all, bpm);
    let falls = curve.per_bpm < 0.0;
    match (side(slowest), side(fastest)) {
        (Side::Above, Side::Above) => Fastest::AtLeast { bpm: fastest },
        (_, Side::Above) if falls => Fastest::AtLeast { bpm: fastest },
        (Side::Below, Side::Below) => Fastest::Below { bpm: slowest },
        (Side::Below, _) if falls => Fastest::Below { bpm: slowest },
        (Side::Below, _) | (_, Side::Above) => Fastest::NoFall,
        _ => between(&curve, &curves, (slowest, fastest)).unwrap_or(unsettled),
    }
}

/// Curves of resampled takes, all told at one week.
fn resampled(takes: &[Vec<Attempt>], now: f64) -> Vec<Curve> {
    let with_weeks = span_weeks(takes);
    let mut chance = Chance::seeded(SEED);
    (0..RESAMPLINGS)
        .filter_map(|_| {
            let drawn: Vec<Attempt> = (0..takes.len())
                .flat_map(|_| takes[chance.below(takes.len())].iter().copied())
                .collect();
            fit(&drawn, with_weeks).map(|c| Curve { now, ..c })
        })
        .collect()
}

fn side(curve: &Curve, curves: &[Curve], all: &[Attempt], bpm: f64) -> Side {
    let above = |c: &Curve| c.log_odds(bpm, c.now) >= LOG_ODDS_NINE_OF_TEN;
    let here = above(curve);
    let agree = curves.iter().filter(|c| above(c) == here).count();
    let through = Curve {
        constant: curve.constant + LOG_ODDS_NINE_OF_TEN - curve.log_odds(bpm, curve.now),
        ..*curve
    };
    let evidence = curve.log_likelihood(all) - through.log_likelihood(all);
    let answers = curves.len() >= LEAST_ANSWERS;
    if !answers || (agree as f64) < SURE * curves.len() as f64 || evidence < LEAST_EVIDENCE {
        Side::Open
    } else if here {
        Side::Above
    } else {
        Side::Below
    }
}

/// Where the curve crosses nine of ten between two tempi; `None` where it does
/// not, or may do so anywhere between them.
fn between(curve: &Curve, curves: &[Curve], (slowest, fastest): (f64, f64)) -> Option<Fastest> {
    let place = |c: &Curve| {
        let above = |bpm: f64| c.log_odds(bpm, c.now) >= LOG_ODDS_NINE_OF_TEN;
        match (above(slowest), above(fastest)) {
            (_, true) => fastest,
            (false, false) => slowest,
            (true, false) => c.nine_of_ten(),
        }
    };
    let bpm = place(curve);
    let places: Vec<f64> = curves.iter().map(place).collect();
    let interval = middle(&places)?;
    if bpm <= slowest || bpm >= fastest || interval.low <= slowest && interval.high >= fastest {
        return None;
    }
    let moving = curve.per_week != 0.0;
    let slopes: Vec<f64> = curves
        .iter()
        .filter_map(|c| c.nine_of_ten_per_week().filter(|_| moving))
        .collect();
    Some(Fastest::At {
        bpm,
        interval,
        per_week: curve.nine_of_ten_per_week().filter(|_| moving),
        per_week_interval: middle(&slopes),
    })
}

/// The middle 95 %, where most resamplings gave an answer.
fn middle(values: &[f64]) -> Option<Interval> {
    if values.len() < LEAST_ANSWERS {
        return None;
    }
    Some(Interval {
        low: quantile(values, 0.025)?,
        high: quantile(values, 0.975)?,
    })
}

/// Log odds = constant + `per_bpm` x bpm + `per_week` x week.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Curve {
    pub constant: f64,
    pub per_bpm: f64,
    pub per_week: f64,
    /// The week that it is told at: the last of those it was fitted to.
    pub now: f64,
}

impl Curve {
    fn log_odds(&self, bpm: f64, week: f64) -> f64 {
        self.constant + self.per_week * week + self.per_bpm * bpm
    }

    /// The share that succeeds at a tempo, at the end of the weeks.
    pub fn share_at(&self, bpm: f64) -> f64 {
        regression::probability(self.log_odds(bpm, self.now))
    }

    /// The tempo of nine in ten, at the end of the weeks.
    pub fn nine_of_ten(&self) -> f64 {
        (LOG_ODDS_NINE_OF_TEN - self.constant - self.per_week * self.now) / self.per_bpm
    }

    fn log_likelihood(&self, attempts: &[Attempt]) -> f64 {
        let of = |a: &Attempt| {
            let log_odds = self.log_odds(a.bpm, a.week);
            // Of what happened; ln(1 + e^x) without overflow.
            let x = if a.success { -log_odds } else { log_odds };
            -(x.max(0.0) + (-x.abs()).exp().ln_1p())
        };
        attempts.iter().map(of).sum()
    }

    fn nine_of_ten_per_week(&self) -> Option<f64> {
        (self.per_bpm < 0.0).then(|| -self.per_week / self.per_bpm)
    }
}

/// Fits with [`PENALTY`]; `None` where the attempts are all at one tempo.
pub fn fit(attempts: &[Attempt], with_weeks: bool) -> Option<Curve> {
    fit_with(attempts, with_weeks, PENALTY)
}

/// Fits with any penalty.
pub fn fit_with(attempts: &[Attempt], with_weeks: bool, penalty: f64) -> Option<Curve> {
    let bpm: Vec<f64> = attempts.iter().map(|a| a.bpm).collect();
    let week: Vec<f64> = attempts.iter().map(|a| a.week).collect();
    let (mean_bpm, sd_bpm) = (mean(&bpm)?, sd(&bpm).filter(|s| *s > 0.0)?);
    let mean_week = mean(&week)?;
    let sd_week = if with_weeks {
        sd(&week).filter(|s| *s > 0.0)?
    } else {
        1.0
    };
    let features: Vec<[f64; 3]> = attempts
        .iter()
        .map(|a| {
            let week = if with_weeks {
                (a.week - mean_week) / sd_week
            } else {
                0.0
            };
            [1.0, (a.bpm - mean_bpm) / sd_bpm, week]
        })
        .collect();
    let labels = attempts.iter().map(|a| a.success);
    let rows: Vec<(&[f64; 3], bool)> = features.iter().zip(labels).collect();
    // The constant is held as well, a hundred times more weakly, so that it
    // stays finite when everything succeeds.
    let penalties = [penalty / 100.0, penalty, penalty];
    let b = regression::fit(&rows, &penalties)?;
    let (per_bpm, per_week) = (b[1] / sd_bpm, b[2] / sd_week);
    Some(Curve {
        constant: b[0] - per_bpm * mean_bpm - per_week * mean_week,
        per_bpm,
        per_week,
        now: week.iter().copied().fold(f64::MIN, f64::max),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Hours of study and passing, 20 students: a textbook example that an
    /// encyclopedia prints with constant -4.0777 and slope 1.5046 (from
    /// memory).
    #[test]
    fn the_hours_of_study() {
        let hours = [
            0.50, 0.75, 1.00, 1.25, 1.50, 1.75, 1.75, 2.00, 2.25, 2.50, 2.75, 3.00, 3.25, 3.50,
            4.00, 4.25, 4.50, 4.75, 5.00, 5.50,
        ];
        let passed = [0, 0, 0, 0, 0, 0, 1, 0, 1, 0, 1, 0, 1, 0, 1, 1, 1, 1, 1, 1];
        let attempts: Vec<Attempt> = hours
            .iter()
            .zip(passed)
            .map(|(h, p)| Attempt {
                bpm: *h,
                week: 0.0,
                success: p == 1,
            })
            .collect();
        let curve = fit_with(&attempts, false, 1e-9).unwrap();
        assert!((curve.per_bpm - 1.5046).abs() < 5e-5, "{curve:?}");
        assert!((curve.constant + 4.0777).abs() < 5e-5, "{curve:?}");
        // The penalty draws the curve in, never out.
        let held = fit(&attempts, false).unwrap();
        assert!(held.per_bpm > 0.0 && held.per_bpm < curve.per_bpm);
        // Log odds 2.1972 are odds of nine to one.
        assert!((curve.share_at(curve.nine_of_ten()) - 0.9).abs() < 1e-12);
    }

    /// Success falls through 0.9 at 100 and a step later each week.
    fn history(per_week: f64, seed: u64) -> Vec<Vec<Attempt>> {
        let mut chance = Chance::seeded(seed);
        (0..24)
            .map(|take| {
                let week = f64::from(take / 3);
                let bpm = 80.0 + 20.0 * f64::from(take % 3) + 4.0 * chance.unit();
                let edge = 100.0 + per_week * (week - 3.5);
                let p = 1.0 / (1.0 + (-(2.1972 - 0.12 * (bpm - edge))).exp());
                (0..16)
                    .map(|_| Attempt {
                        bpm,
                        week,
                        success: chance.unit() < p,
                    })
                    .collect()
            })
            .collect()
    }

    #[test]
    fn the_edge_is_found_and_its_interval_keeps_its_promise() {
        let (mut held, mut moved) = (0, 0);
        let histories = 40;
        for seed in 0..histories {
            let Fastest::At {
                interval,
                per_week_interval: Some(per_week),
                ..
            } = fastest_nine_of_ten(&history(2.0, seed))
            else {
                panic!("history {seed} has no edge");
            };
            // In the last of the eight weeks, not in their middle.
            held += usize::from(interval.holds(107.0));
            moved += usize::from(per_week.holds(2.0));
        }
        // 95 % of 40 is 38; 34 or fewer would happen once in 20 times 20.
        assert!(held >= 35, "{held} of {histories}");
        assert!(moved >= 35, "{moved} of {histories}");
    }

    #[test]
    fn what_the_takes_cannot_tell_is_not_told() {
        let take = |bpm: f64, clean: usize| -> Vec<Attempt> {
            (0..10)
                .map(|i| Attempt {
                    bpm,
                    week: 0.0,
                    success: i < clean,
                })
                .collect()
        };
        let one_tempo = vec![take(100.0, 9); 8];
        assert_eq!(
            fastest_nine_of_ten(&one_tempo),
            Fastest::NotEnough { takes: 8 }
        );
        let always: Vec<_> = (0..6)
            .map(|i| take(80.0 + 10.0 * f64::from(i), 10))
            .collect();
        assert_eq!(
            fastest_nine_of_ten(&always),
            Fastest::AtLeast { bpm: 130.0 }
        );
        let never: Vec<_> = (0..6)
            .map(|i| take(80.0 + 10.0 * f64::from(i), 6 - i as usize))
            .collect();
        assert_eq!(fastest_nine_of_ten(&never), Fastest::Below { bpm: 80.0 });
    }
    /// Takes of some figures at the tempi and weeks given, so many of them
    /// clean.
    fn takes(played: &[(f64, f64, usize, usize)]) -> Vec<Vec<Attempt>> {
        let take = |&(bpm, week, clean, of): &(f64, f64, usize, usize)| {
            let attempt = |i| Attempt {
                bpm,
                week,
                success: i < clean,
            };
            (0..of).map(attempt).collect()
        };
        played.iter().map(take).collect()
    }

    /// Twenty takes over ten weeks of a player who learns: of all figures six
    /// of ten are clean, of those of the last six takes 47 of 49.
    #[test]
    fn the_last_week_counts_and_not_the_middle() {
        let clean = [0, 0, 1, 1, 1, 2, 2, 3, 4, 4, 6, 6, 7, 7, 8, 8, 8, 7, 8, 8];
        let played: Vec<_> = clean
            .iter()
            .enumerate()
            .map(|(i, clean)| {
                let bpm = [84.0, 96.0, 108.0][i % 3];
                (bpm, (i / 2) as f64 + 0.4 * (i % 2) as f64, *clean, 8)
            })
            .collect();
        let found = fastest_nine_of_ten(&takes(&played));
        assert_eq!(found, Fastest::AtLeast { bpm: 108.0 });
        // The other way round he has lost it.
        let lost: Vec<_> = played.iter().map(|p| (p.0, 20.0 - p.1, p.2, p.3)).collect();
        let found = fastest_nine_of_ten(&takes(&lost));
        assert_eq!(found, Fastest::Below { bpm: 84.0 });
    }

    #[test]
    fn a_few_clean_figures_settle_nothing() {
        let few = |clean: usize, of: usize| -> Vec<_> {
            let bpm = [84.0, 96.0, 108.0, 84.0];
            (0..4)
                .map(|i| (bpm[i], 0.4 * i as f64, clean, of))
                .collect()
        };
        for of in [1, 4, 7] {
            let found = fastest_nine_of_ten(&takes(&few(of, of)));
            let (takes, figures) = (4, 4 * of);
            assert_eq!(found, Fastest::Unsettled { takes, figures });
        }
        // 0.9 to the power of 29 is below one in twenty.
        let found = fastest_nine_of_ten(&takes(&few(8, 8)));
        assert_eq!(found, Fastest::AtLeast { bpm: 108.0 });
    }

    #[test]
    fn what_never_is_clean_is_below_though_it_cannot_fall() {
        let none: Vec<_> = (0..8)
            .map(|i| (80.0 + 8.0 * f64::from(i), f64::from(i), 0, 8))
            .collect();
        let found = fastest_nine_of_ten(&takes(&none));
        assert_eq!(found, Fastest::Below { bpm: 80.0 });
    }

    /// Players who are clean 86 or 94 times of a hundred at all tempi are said
    /// to be on the wrong side of nine of ten at most once in twenty times.
    #[test]
    fn what_is_sure_is_seldom_wrong() {
        let histories = 200;
        for (share, wrong) in [(0.86, "at least"), (0.94, "below")] {
            for count in [4, 16] {
                let mut false_claims = 0;
                for seed in 0..histories {
                    let mut chance = Chance::seeded(9_000 + seed);
                    let played: Vec<_> = (0..count)
                        .map(|i| {
                            let clean = (0..6).filter(|_| chance.unit() < share).count();
                            (84.0 + 12.0 * f64::from(i % 3), 0.4 * f64::from(i), clean, 6)
                        })
                        .collect();
                    false_claims += usize::from(match fastest_nine_of_ten(&takes(&played)) {
                        Fastest::AtLeast { .. } => wrong == "at least",
                        Fastest::Below { .. } => wrong == "below",
                        _ => false,
                    });
                }
                assert!(false_claims <= 10, "{wrong}, {count}: {false_claims}");
            }
        }
    }
}
