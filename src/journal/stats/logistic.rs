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

/// The fastest tempo at which nine of ten succeed.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
#[serde(tag = "state", rename_all = "kebab-case")]
pub enum Fastest {
    /// Too few takes, or all at about one tempo.
    NotEnough { takes: usize },
    /// Even at the fastest tempo played nine of ten succeed.
    AtLeast { bpm: f64 },
    /// Even at the slowest tempo played fewer do.
    Below { bpm: f64 },
    /// Success does not fall with tempo.
    NoFall,
    /// Between the tempi played.
    At {
        bpm: f64,
        /// 95 %, held to the tempi played.
        interval: Option<Interval>,
        /// How it moves, quarter notes a minute and week; `None` where the
        /// takes are of one week or do not tell.
        per_week: Option<f64>,
        /// 95 %.
        per_week_interval: Option<Interval>,
    },
}

/// Fits the curve to attempts, one list a take.
pub fn fastest_nine_of_ten(takes: &[Vec<Attempt>]) -> Fastest {
    let takes: Vec<&Vec<Attempt>> = takes.iter().filter(|t| !t.is_empty()).collect();
    let all: Vec<Attempt> = takes.iter().flat_map(|t| t.iter().copied()).collect();
    let bpm: Vec<f64> = takes
        .iter()
        .filter_map(|t| mean(&t.iter().map(|a| a.bpm).collect::<Vec<_>>()))
        .collect();
    let slowest = bpm.iter().copied().fold(f64::INFINITY, f64::min);
    let fastest = bpm.iter().copied().fold(0.0, f64::max);
    if takes.len() < FEWEST_TAKES || fastest < LEAST_SPREAD * slowest {
        return Fastest::NotEnough { takes: takes.len() };
    }
    let share = all.iter().filter(|a| a.success).count() as f64 / all.len() as f64;
    let Some(curve) = fit(&all, false).filter(|c| c.per_bpm < 0.0) else {
        return match share {
            s if s >= 0.9 => Fastest::AtLeast { bpm: fastest },
            _ => Fastest::NoFall,
        };
    };
    let at = curve.nine_of_ten();
    if at >= fastest {
        return Fastest::AtLeast { bpm: fastest };
    }
    if at <= slowest {
        return Fastest::Below { bpm: slowest };
    }
    let weeks: Vec<f64> = all.iter().map(|a| a.week).collect();
    let span = weeks.iter().copied().fold(f64::MIN, f64::max)
        - weeks.iter().copied().fold(f64::MAX, f64::min);
    let moving = (span >= 1.0).then(|| fit(&all, true)).flatten();
    let per_week = moving.as_ref().and_then(Curve::nine_of_ten_per_week);
    let (mut places, mut slopes) = (Vec::new(), Vec::new());
    let mut chance = Chance::seeded(SEED);
    for _ in 0..RESAMPLINGS {
        let drawn: Vec<Attempt> = (0..takes.len())
            .flat_map(|_| takes[chance.below(takes.len())].iter().copied())
            .collect();
        if let Some(curve) = fit(&drawn, false) {
            // A curve that does not fall says no more than "as fast as was
            // played, or faster".
            places.push(if curve.per_bpm < 0.0 {
                curve.nine_of_ten().clamp(slowest, fastest)
            } else {
                fastest
            });
        }
        if per_week.is_some() {
            slopes.extend(fit(&drawn, true).and_then(|c| c.nine_of_ten_per_week()));
        }
    }
    Fastest::At {
        bpm: at,
        interval: middle(&places),
        per_week,
        per_week_interval: middle(&slopes),
    }
}

/// The middle 95 %, where most resamplings gave an answer.
fn middle(values: &[f64]) -> Option<Interval> {
    if values.len() < RESAMPLINGS * 9 / 10 {
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
    mean_week: f64,
}

impl Curve {
    /// The share that succeeds at a tempo, in the middle of the weeks.
    pub fn share_at(&self, bpm: f64) -> f64 {
        let log_odds = self.constant + self.per_week * self.mean_week + self.per_bpm * bpm;
        regression::probability(log_odds)
    }

    /// The tempo of nine in ten, in the middle of the weeks.
    pub fn nine_of_ten(&self) -> f64 {
        (LOG_ODDS_NINE_OF_TEN - self.constant - self.per_week * self.mean_week) / self.per_bpm
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
        mean_week,
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
                interval: Some(interval),
                per_week_interval: Some(per_week),
                ..
            } = fastest_nine_of_ten(&history(2.0, seed))
            else {
                panic!("history {seed} has no edge");
            };
            held += usize::from(interval.holds(100.0));
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
}
