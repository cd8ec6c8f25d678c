//! What stands in charts across takes: keys, figures under titles, tips, and
//! the sentences that stand for a chart where it cannot be seen.

use super::unit;
use super::weeks::slope;
use crate::journal::charts::Row;
use crate::journal::measures::Definition;
use crate::journal::stats::Interval;
use crate::journal::trend::{AtTempo, FEWEST_DAYS, Series};
use crate::number::{NBSP, plain, sized};
use crate::words::{count, kind_name};

/// What a chart over days shows, for where it cannot be seen.
pub fn over_time_desc(dates: (&str, &str), values: (f64, f64), days: usize, unit: &str) -> String {
    format!(
        "{} from {} to {}; the first value {}, the last {}.",
        count(days, "day", "days"),
        dates.0,
        dates.1,
        plain(values.0, 1),
        sized(&plain(values.1, 1), unit)
    )
}

/// What a chart of sets shows, for where it cannot be seen: names and counts.
pub fn rows_desc(rows: &[(&str, usize)]) -> String {
    let sets: Vec<String> = rows
        .iter()
        .map(|(name, values)| match *name {
            "" => count(*values, "take", "takes"),
            name => format!("{name}: {}", count(*values, "take", "takes")),
        })
        .collect();
    format!("{}.", sets.join(", "))
}

/// What the marks of a chart of sets mean; only what is drawn.
pub fn rows_key(rows: &[Row]) -> String {
    let mut text = "Dot: a take; upright line: their mean".to_owned();
    if rows.iter().any(|r| r.band.is_some()) {
        text += "; shaded: ± its standard uncertainty";
    }
    text + "."
}

/// How many values stand behind something: "n 17".
pub fn n(count: usize) -> String {
    format!("n{NBSP}{count}")
}

/// "n 7, mean 7.4".
pub fn n_and_mean(count: usize, mean: Option<f64>) -> String {
    match mean {
        Some(mean) => format!("{}, mean{NBSP}{}", n(count), plain(mean, 1)),
        None => n(count),
    }
}

/// One day of a chart.
pub fn day_tip(date: &str, value: f64, definition: &Definition, takes: usize) -> String {
    format!(
        "{date}: {} ({})",
        sized(&plain(value, definition.decimals), unit(definition)),
        count(takes, "take", "takes")
    )
}

/// The figures under the title of a chart over days: "n 14 days; −0.55 ms a
/// week (95 %: −0.87 to −0.21)".
pub fn slope_told(s: &Series) -> String {
    let n = format!("n{NBSP}{}", count(s.days.len(), "day", "days"));
    match s.per_week.filter(|_| s.days.len() >= FEWEST_DAYS) {
        Some(_) => format!("{n}; {}", slope(s)),
        None => n,
    }
}

/// What the marks of a chart over days mean; only what is drawn.
pub fn over_time_key(bars: bool, several: bool, fan: bool) -> String {
    let dots = if several {
        "Dot: the median of a day, ring: a take"
    } else {
        "Dot: a take"
    };
    let uncertainty = if bars {
        "upright bar: a take’s figure ± its standard uncertainty"
    } else {
        "no bars: takes give no uncertainty of this measure"
    };
    let mut marks = vec![dots, uncertainty];
    if fan {
        marks.push("shaded: slopes within 95\u{a0}%");
    }
    format!("{}.", marks.join("; "))
}

/// The title of a chart of evenness against tempo.
pub fn against_tempo_title(kind: &str) -> String {
    format!("Clean figures by tempo: {}", kind_name(kind))
}

pub const TEMPO_AXIS: &str = "Tempo, quarter notes a minute";

/// How many takes and figures such a chart has.
pub fn against_tempo_told(takes: usize, figures: usize) -> String {
    format!(
        "n{NBSP}{}, {}",
        count(takes, "take", "takes"),
        count(figures, "figure", "figures")
    )
}

/// What its marks mean; only what is drawn.
pub fn against_tempo_key(curve: bool, at_the_end: bool, edge: bool) -> String {
    let mut text = "Dot: a take; upright bar: ± the standard uncertainty of its share; dashed: \
                    nine of ten"
        .to_owned();
    if curve {
        text += if at_the_end {
            "; line: the share to expect at the end of the weeks"
        } else {
            "; line: the share that all takes lead to expect"
        };
    }
    if edge {
        text += "; shaded: where it crosses nine of ten, 95\u{a0}%";
    }
    text + "."
}

/// "104 (95 %: 99 to 108)".
pub fn fastest_clean(bpm: f64, interval: Interval) -> String {
    format!(
        "{} (95{NBSP}%: {} to {})",
        plain(bpm, 0),
        plain(interval.low, 0),
        plain(interval.high, 0)
    )
}

/// One take of a chart against tempo.
pub fn at_tempo_tip(take: &AtTempo) -> String {
    format!(
        "{}: {} of {} clean at {}",
        take.date,
        take.clean,
        take.of,
        plain(take.bpm, 0)
    )
}

/// One take of a chart.
pub fn take_tip(name: &str, value: f64, unit: &str) -> String {
    format!("{name}: {}", sized(&plain(value, 1), unit))
}
