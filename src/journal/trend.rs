//! How a player's measures move over weeks.
//!
//! A day counts once, by the median of its takes: takes of one sitting are
//! not independent of one another. The first measure, the evenness of the
//! figure that is played most, is tested for itself; all others are corrected
//! for being many (Holm), so that a history without any change shows a false
//! improvement in at most one case of twenty.

use super::charts::Point;
use super::date;
use super::log::{Entry, Log};
use super::measures::{
    Better, Choice, DEFINITIONS, Definition, MOST_SHOWN, Measure, definition_of, is_charted,
    is_triplet, place_of, standing,
};
use super::stats::logistic::{Attempt, Curve, Fastest, curve, fastest_nine_of_ten, span_weeks};
use super::stats::trend::{MannKendall, TrendLine, mann_kendall, trend_line};
use super::stats::{ALPHA, Interval, holm};
use crate::error::Error;
use crate::review::Review;
use crate::settings::Settings;
use crate::stats::{mean, median};
use crate::words::journal as words;
use serde::Serialize;
use std::collections::BTreeMap;

pub use super::trend_page::files;

/// Below five days no order of values is rare enough to mean anything.
pub const FEWEST_DAYS: usize = 5;

/// What is said of a measure.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    NotEnough,
    NoTrend,
    Better,
    Worse,
    /// For measures where neither way is better.
    Rising,
    Falling,
}

/// One day's value.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Day {
    pub date: String,
    /// Median of the day's takes.
    pub value: f64,
    pub takes: usize,
}

/// One measure over the days.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Series {
    pub measure: &'static str,
    pub unit: &'static str,
    /// Which figure kind or drum; empty for the whole take.
    pub of: String,
    pub days: Vec<Day>,
    /// Takes left out because an earlier definition measured them.
    pub other_definition: usize,
    /// Takes left out because they were reviewed with other settings than the
    /// newest, of those that the measure depends on.
    pub other_settings: usize,
    /// Per week; `None` below two days.
    pub per_week: Option<f64>,
    /// Holds the true slope in 95 % of cases; `None` below five days.
    pub per_week_interval: Option<Interval>,
    pub test: Option<MannKendall>,
    /// P of the test, corrected for the number of measures looked at.
    pub p_corrected: Option<f64>,
    /// Two single days must differ by more than this before it is more than
    /// measurement and day-to-day scatter (1.96 x root 2 x their standard
    /// deviation about the line). `None` below five days, and where all are
    /// equal.
    pub smallest_change: Option<f64>,
    pub verdict: Verdict,
    #[serde(skip)]
    pub definition: &'static Definition,
    #[serde(skip)]
    pub line: Option<TrendLine>,
    #[serde(skip)]
    pub points: Vec<Point>,
}

/// Evenness against tempo for one figure kind.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TempoEdge {
    pub figure: String,
    /// The fastest tempo at which it is clean nine times of ten.
    pub fastest: Fastest,
    /// Whether that is told at the end of the weeks; else the takes are of
    /// one week and told together.
    pub at_the_end: bool,
    /// Every take with such figures, in order of time.
    pub takes: Vec<AtTempo>,
    /// Takes left out because an earlier definition says what is clean.
    pub other_definition: usize,
    /// Takes left out because their figures were held to another limit than
    /// those of the newest.
    pub other_settings: usize,
    /// How often they are clean, by tempo, at the end of the weeks; `None` where the takes do not
    /// tell.
    #[serde(skip)]
    pub curve: Option<Curve>,
}

/// The figures of one kind in one take.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct AtTempo {
    pub date: String,
    /// Mean of the figures, quarter notes a minute.
    pub bpm: f64,
    pub clean: usize,
    /// How many have a verdict; at least one.
    pub of: usize,
}

/// All trends of one player on one part.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Trends {
    pub player: Option<String>,
    pub part: Option<String>,
    pub takes: usize,
    pub days: usize,
    /// Takes whose day is not known, or that were not judged.
    pub left_out: usize,
    pub series: Vec<Series>,
    pub tempo_edges: Vec<TempoEdge>,
}

impl Trends {
    /// The measures that are said and drawn before all others.
    pub fn shown(&self) -> impl Iterator<Item = &Series> {
        let charted = |s: &&Series| is_charted(s.definition);
        self.series.iter().filter(charted).take(MOST_SHOWN)
    }
}

/// A take with what a trend needs of it.
#[derive(Clone, Debug)]
pub struct Kept {
    pub date: String,
    pub settings: Settings,
    pub measures: Vec<Measure>,
    /// Figure kind and attempt; `week` counts from 1970.
    pub attempts: Vec<(String, Attempt)>,
}

/// Reads what a trend needs of some entries. `figure` keeps one kind only.
pub fn kept<'a>(
    log: &Log,
    entries: impl IntoIterator<Item = &'a Entry>,
    figure: Option<&str>,
) -> Result<Vec<Kept>, Error> {
    let mut takes = Vec::new();
    for entry in entries.into_iter().filter(|e| e.judged) {
        let Some(day) = entry.recorded.as_ref().and_then(|r| date::day(&r.at)) else {
            continue;
        };
        let mut measures = log.measures(entry.id)?;
        let review = log.review(entry.id)?;
        let mut attempts = attempts(&review, weeks(&day.to_string()));
        if let Some(kind) = figure {
            measures.retain(|m| m.scope == "figure" && m.key == kind);
            attempts.retain(|a| a.0 == kind);
        }
        takes.push(Kept {
            date: day.to_string(),
            settings: review.settings,
            measures,
            attempts,
        });
    }
    Ok(takes)
}

/// Every figure of a take that has a verdict, at the tempo it was played.
pub fn attempts(review: &Review, week: f64) -> Vec<(String, Attempt)> {
    let at = |index: usize| review.notes.get(index).map(|n| n.at);
    review
        .figures
        .iter()
        .filter_map(|f| {
            let step = at(*f.notes.get(1)?)? - at(*f.notes.first()?)?;
            let attempt = Attempt {
                bpm: 60_000.0 * step / f.interval_ms.filter(|ms| *ms > 0.0)?,
                week,
                success: f.clean?,
            };
            (step > 0.0).then(|| (f.kind.clone(), attempt))
        })
        .collect()
}

/// Weeks from the first day of 1970.
fn weeks(date: &str) -> f64 {
    days(date) / 7.0
}

fn days(date: &str) -> f64 {
    const EPOCH: jiff::civil::Date = jiff::civil::Date::constant(1970, 1, 1);
    date::day(date)
        .and_then(|d| EPOCH.until(d).ok())
        .map_or(0.0, |span| f64::from(span.get_days()))
}

/// The trends of takes; `entries` is how many there were before those
/// without a day were left out.
pub fn trends(takes: &[Kept], entries: usize) -> Trends {
    let mut by_key: BTreeMap<(usize, String), Vec<(&Kept, &Measure)>> = BTreeMap::new();
    for take in takes {
        for m in take.measures.iter().filter(|m| m.scope != "bar") {
            if let Some(place) = place_of(&m.name) {
                let key = (place, m.key.clone());
                by_key.entry(key).or_default().push((take, m));
            }
        }
    }
    let mut series: Vec<Series> = by_key
        .into_iter()
        .map(|((place, of), rows)| one(&DEFINITIONS[place], of, &rows))
        .collect();
    let played = |kind: &str| -> usize {
        let measures = takes.iter().flat_map(|t| &t.measures);
        measures
            .filter(|m| m.scope == "figure" && m.name == DEFINITIONS[0].name && m.key == kind)
            .map(|m| m.count)
            .sum()
    };
    // Triplets lead where there are days enough of them, else the figure
    // played most.
    let main = series
        .iter()
        .filter(|s| s.measure == DEFINITIONS[0].name)
        .max_by_key(|s| {
            let days = s.days.len().min(FEWEST_DAYS);
            (days, is_triplet(&s.of), played(&s.of))
        })
        .map(|s| s.of.clone());
    series.sort_by_cached_key(|s| standing(s.definition, &s.of, main.as_deref()));
    judge(&mut series, main.is_some());
    let mut dates: Vec<&str> = takes.iter().map(|t| t.date.as_str()).collect();
    dates.sort_unstable();
    dates.dedup();
    Trends {
        player: None,
        part: None,
        takes: takes.len(),
        days: dates.len(),
        left_out: entries.saturating_sub(takes.len()),
        series,
        tempo_edges: edges(takes),
    }
}

/// What was chosen for the newest of some takes; of those of one day the last
/// in order counts.
fn newest_choice<'a>(choice: Choice, takes: impl Iterator<Item = &'a Kept>) -> Option<[f64; 2]> {
    let newest = takes.max_by(|a, b| a.date.cmp(&b.date))?;
    Some(choice.made(&newest.settings))
}

fn one(definition: &'static Definition, of: String, rows: &[(&Kept, &Measure)]) -> Series {
    let mut by_day: BTreeMap<&str, Vec<(f64, Option<f64>)>> = BTreeMap::new();
    let (rows, earlier): (Vec<_>, Vec<_>) = rows
        .iter()
        .partition(|(_, m)| m.version == definition.version);
    let choice = definition.choice;
    let newest = newest_choice(choice, rows.iter().map(|(take, _)| *take));
    let (rows, otherwise): (Vec<_>, Vec<_>) = rows
        .into_iter()
        .partition(|(take, _)| Some(choice.made(&take.settings)) == newest);
    let mut sds = Vec::new();
    for (take, m) in &rows {
        by_day.entry(&take.date).or_default().push((m.value, m.sd));
        sds.extend(m.sd);
    }
    let days_of: Vec<Day> = by_day
        .iter()
        .filter_map(|(date, takes)| {
            let values: Vec<f64> = takes.iter().map(|t| t.0).collect();
            Some(Day {
                date: (*date).to_owned(),
                value: median(&values)?,
                takes: takes.len(),
            })
        })
        .collect();
    let points: Vec<(f64, f64)> = days_of.iter().map(|d| (days(&d.date), d.value)).collect();
    let values: Vec<f64> = days_of.iter().map(|d| d.value).collect();
    let line = trend_line(&points);
    let enough = points.len() >= FEWEST_DAYS;
    let scatter = line.filter(|_| enough).map(|l| {
        let squares: f64 = points
            .iter()
            .map(|(x, y)| (y - l.intercept - l.slope * x).powi(2))
            .sum();
        (squares / (points.len() - 2) as f64).sqrt()
    });
    let smallest = scatter.map(|s| {
        // Scatter that came out smaller than the measurement allows is luck.
        1.96 * std::f64::consts::SQRT_2 * s.max(median(&sds).unwrap_or(0.0))
    });
    // Days that are all equal do not tell how much they scatter.
    let smallest = smallest.filter(|s| *s > 0.0);
    let in_weeks = |i: Interval| Interval {
        low: 7.0 * i.low,
        high: 7.0 * i.high,
    };
    let marks = days_of
        .iter()
        .map(|d| Point {
            day: days(&d.date),
            date: d.date.clone(),
            value: d.value,
            takes: by_day[d.date.as_str()].clone(),
            tip: words::day_tip(&d.date, d.value, definition, d.takes),
        })
        .collect();
    Series {
        measure: definition.name,
        unit: definition.unit,
        of,
        other_definition: earlier.len(),
        other_settings: otherwise.len(),
        per_week: line.map(|l| 7.0 * l.slope),
        per_week_interval: line.and_then(|l| l.interval).map(in_weeks),
        test: mann_kendall(&values),
        p_corrected: None,
        smallest_change: smallest,
        verdict: Verdict::NotEnough,
        days: days_of,
        definition,
        line,
        points: marks,
    }
}

/// Corrects for the number of measures and says what is to be said.
fn judge(series: &mut [Series], has_main: bool) {
    let enough = |s: &Series| s.days.len() >= FEWEST_DAYS && s.test.is_some();
    let tested: Vec<usize> = (0..series.len()).filter(|&i| enough(&series[i])).collect();
    let (first, others): (Vec<usize>, Vec<usize>) =
        tested.into_iter().partition(|&i| has_main && i == 0);
    for group in [first, others] {
        let p: Vec<f64> = group
            .iter()
            .filter_map(|&i| series[i].test.map(|t| t.p))
            .collect();
        for (&i, p) in group.iter().zip(holm(&p)) {
            let s = &mut series[i];
            let rises = s.test.is_some_and(|t| t.s > 0);
            s.p_corrected = Some(p);
            s.verdict = match (p <= ALPHA, s.definition.better) {
                (false, _) => Verdict::NoTrend,
                (true, Better::Neither) if rises => Verdict::Rising,
                (true, Better::Neither) => Verdict::Falling,
                (true, better) if rises == (better == Better::Higher) => Verdict::Better,
                (true, _) => Verdict::Worse,
            };
        }
    }
}

fn edges(takes: &[Kept]) -> Vec<TempoEdge> {
    // Whether a figure is clean stands in the review and has no version of its
    // own; that of the share of clean ones tells it.
    let present = |take: &Kept, kind: &str| {
        let mut shares = take.measures.iter().filter(|m| m.name == "clean_share");
        shares
            .any(|m| m.key == kind && Some(m.version) == definition_of(&m.name).map(|d| d.version))
    };
    let choice = Choice::CleanLimit;
    let newest = newest_choice(choice, takes.iter().filter(|t| !t.attempts.is_empty()));
    let (mut in_time, otherwise): (Vec<&Kept>, Vec<&Kept>) = takes
        .iter()
        .partition(|t| Some(choice.made(&t.settings)) == newest);
    in_time.sort_by(|a, b| a.date.cmp(&b.date));
    let mut kinds: BTreeMap<&str, Vec<(&str, Vec<Attempt>)>> = BTreeMap::new();
    for take in in_time {
        let mut here: BTreeMap<&str, Vec<Attempt>> = BTreeMap::new();
        for (kind, attempt) in take.attempts.iter().filter(|a| present(take, &a.0)) {
            here.entry(kind).or_default().push(*attempt);
        }
        for (kind, attempts) in here {
            kinds.entry(kind).or_default().push((&take.date, attempts));
        }
    }
    kinds
        .into_iter()
        .map(|(kind, of_kind)| {
            let has = |t: &Kept| t.attempts.iter().any(|a| a.0 == kind);
            TempoEdge {
                other_definition: takes.iter().filter(|t| has(t) && !present(t, kind)).count(),
                other_settings: otherwise
                    .iter()
                    .filter(|t| has(t) && present(t, kind))
                    .count(),
                ..edge(kind, of_kind)
            }
        })
        .collect()
}

fn edge(kind: &str, takes: Vec<(&str, Vec<Attempt>)>) -> TempoEdge {
    let (dates, attempts): (Vec<&str>, Vec<Vec<Attempt>>) = takes.into_iter().unzip();
    let fastest = fastest_nine_of_ten(&attempts);
    let told = !matches!(
        fastest,
        Fastest::NotEnough { .. } | Fastest::Unsettled { .. }
    );
    let at_tempo = |(date, figures): (&str, &Vec<Attempt>)| {
        let bpm: Vec<f64> = figures.iter().map(|a| a.bpm).collect();
        Some(AtTempo {
            date: date.to_owned(),
            bpm: mean(&bpm)?,
            clean: figures.iter().filter(|a| a.success).count(),
            of: figures.len(),
        })
    };
    TempoEdge {
        figure: kind.to_owned(),
        curve: told.then(|| curve(&attempts)).flatten(),
        at_the_end: span_weeks(&attempts),
        takes: dates
            .into_iter()
            .zip(&attempts)
            .filter_map(at_tempo)
            .collect(),
        other_definition: 0,
        other_settings: 0,
        fastest,
    }
}
