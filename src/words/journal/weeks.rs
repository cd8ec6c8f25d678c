//! What is said of a player's measures over the weeks.

use super::{ALONE, fastest_clean, in_95, other_definition, other_settings, unit};
use crate::journal::measures::Choice;
use crate::journal::stats::ALPHA;
use crate::journal::stats::logistic::Fastest;
use crate::journal::trend::{FEWEST_DAYS, Series, TempoEdge, Trends, Verdict};
use crate::number::{self, NBSP, UNKNOWN, plain, signed, sized};
use crate::words::{count, kind_title};

pub const WEEKS: &str = "Over the weeks";
pub const ALL_PARTS: &str = "all parts";
pub const AGAINST_TEMPO: &str = "Evenness against tempo";
pub const WEEKS_TABLE: &str = "Every measure over the days";
pub const DAYS: &str = "Days";
pub const FIRST: &str = "First";
pub const LAST: &str = "Last";
pub const A_WEEK: &str = "A week";
pub const SMALLEST_CHANGE: &str = "Smallest change";
pub const VERDICT: &str = "Verdict";
pub const WEEKS_RECKONED: &str = "A day counts once, by the median of its takes. The slope is the \
     median of the slopes between all pairs of days (Theil and Sen); its interval holds the true \
     slope in at least 95 of 100 histories. A trend is named only where the exact test of Mann \
     and Kendall finds it rarer than one in twenty by chance; the measures after the first are \
     corrected for being many. Takes that were reviewed with other settings than the newest are \
     left out of those measures that depend on them. The smallest change is what two single days \
     must differ by before it is more than measurement and the scatter from day to day; a dash \
     stands where no two can differ so far, or where there are too few to tell. How often a \
     figure is clean is a curve over tempo and weeks, told at the last week; that it is clean \
     nine times of ten at least, or less than that, is said only where 95 of 100 resamplings of \
     the takes agree and the figures are twenty times likelier so than at nine of ten.";

/// The window's title.
pub fn weeks_title(part: &str) -> String {
    format!("{part}: over the weeks")
}

/// "12 takes on 5 days", and what was left out.
pub fn weeks_scope(trends: &Trends) -> String {
    let mut text = format!(
        "{} on {}.",
        count(trends.takes, "take", "takes"),
        count(trends.days, "day", "days")
    );
    if trends.days < FEWEST_DAYS {
        text += &format!(
            " Not enough takes yet: below {FEWEST_DAYS} days any order of values may be chance."
        );
    }
    if trends.left_out > 0 {
        text += &format!(
            " Left out: {} that could not be judged or whose day is not known.",
            count(trends.left_out, "take", "takes")
        );
    }
    text
}

/// "−0.55 ms a week (95 %: −0.87 to −0.21)"; empty below two days.
pub(super) fn slope(s: &Series) -> String {
    let decimals = s.definition.decimals + 1;
    let Some(per_week) = s.per_week else {
        return String::new();
    };
    let size = sized(&signed(per_week, decimals), unit(s.definition));
    match s.per_week_interval {
        Some(i) => format!("{size} a week ({})", in_95(i, decimals)),
        None => format!("{size} a week"),
    }
}

/// What is said of one measure over the days.
pub fn series(s: &Series) -> String {
    let unit = unit(s.definition);
    let slope = slope(s);
    let mut text = match s.verdict {
        Verdict::NotEnough => format!(
            "Not enough takes yet: {}, {FEWEST_DAYS} are needed.",
            count(s.days.len(), "day", "days")
        ),
        Verdict::NoTrend if s.test.is_some_and(|t| t.p <= ALPHA) => {
            format!("No trend beyond chance: {slope}. {ALONE}")
        }
        Verdict::NoTrend => format!("No trend beyond chance: {slope}."),
        Verdict::Better => format!("Better: {slope}."),
        Verdict::Worse => format!("Worse: {slope}."),
        Verdict::Rising => format!("Rising: {slope}."),
        Verdict::Falling => format!("Falling: {slope}."),
    };
    if nothing_tells(s) {
        text += " No two single days can differ enough to mean anything.";
    } else if let Some(change) = s.smallest_change {
        let change = sized(&plain(change, s.definition.decimals), unit);
        text += &format!(" Two days must differ by more than {change} to mean anything.");
    }
    text + &other_definition(s.other_definition)
        + &other_settings(s.other_settings, s.definition.choice)
}

/// Whether not even the two ends of what a measure can be are further apart
/// than days scatter.
fn nothing_tells(s: &Series) -> bool {
    let widest = s.definition.widest().unwrap_or(f64::INFINITY);
    s.smallest_change.is_some_and(|change| change >= widest)
}

/// The smallest change that means anything, for a table; a dash where there is
/// none.
pub fn smallest_change(s: &Series) -> String {
    if nothing_tells(s) {
        return UNKNOWN.to_owned();
    }
    number::maybe(s.smallest_change, s.definition.decimals)
}

/// A verdict in two words.
pub fn verdict(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::NotEnough => "not enough yet",
        Verdict::NoTrend => "no\u{a0}trend",
        Verdict::Better => "better",
        Verdict::Worse => "worse",
        Verdict::Rising => "rising",
        Verdict::Falling => "falling",
    }
}

/// When a tempo edge was: "by the end of 20 takes from 2026-09-01 to
/// 2026-11-06", or, where all are of one week, "in 4 takes of 2026-09-01".
fn when(edge: &TempoEdge) -> String {
    let takes = count(edge.takes.len(), "take", "takes");
    let days = match (edge.takes.first(), edge.takes.last()) {
        (Some(first), Some(last)) if first.date == last.date => format!(" of {}", first.date),
        (Some(first), Some(last)) => format!(" from {} to {}", first.date, last.date),
        _ => String::new(),
    };
    let by = if edge.at_the_end {
        "by the end of"
    } else {
        "in"
    };
    format!("{by} {takes}{days}")
}

/// What is said of the tempo a figure holds at.
pub fn tempo_edge(edge: &TempoEdge) -> String {
    let kind = kind_title(&edge.figure);
    let when = when(edge);
    let tempo = |v: f64| format!("{}{NBSP}quarter notes a minute", plain(v, 0));
    let told = match &edge.fastest {
        Fastest::NotEnough { takes } => format!(
            "{kind}: not enough takes at different tempi yet ({}).",
            count(*takes, "take", "takes")
        ),
        Fastest::Unsettled { figures, .. } => format!(
            "{kind}: not enough takes yet to tell up to which tempo it is clean nine times of ten \
             ({} {}).",
            count(*figures, "figure", "figures"),
            when
        ),
        Fastest::AtLeast { bpm } => format!(
            "{kind}: clean at least nine times of ten up to the fastest tempo played, {}, {when}.",
            tempo(*bpm)
        ),
        Fastest::Below { bpm } => format!(
            "{kind}: clean less than nine times of ten at the slowest tempo played, {}, {when}.",
            tempo(*bpm)
        ),
        Fastest::NoFall => {
            format!("{kind}: how often it is clean does not fall with the tempo, {when}.")
        }
        Fastest::At {
            bpm,
            interval,
            per_week,
            per_week_interval,
        } => {
            let moves = match (per_week, per_week_interval) {
                (Some(slope), Some(i)) if !i.holds(0.0) => format!(
                    "; it moves by {} a week ({}).",
                    signed(*slope, 1),
                    in_95(*i, 1)
                ),
                (Some(_), _) => "; whether it moves over the weeks cannot be told yet.".to_owned(),
                (None, _) => ".".to_owned(),
            };
            format!(
                "{kind}: clean nine times of ten up to {} quarter notes a minute, {when}{moves}",
                fastest_clean(*bpm, *interval)
            )
        }
    };
    told + &other_definition(edge.other_definition)
        + &other_settings(edge.other_settings, Choice::CleanLimit)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::journal::stats::Interval;
    use crate::journal::trend::AtTempo;

    #[test]
    fn a_tempo_is_told_with_its_time_and_its_uncertainty() {
        let take = |date: &str| AtTempo {
            date: date.to_owned(),
            bpm: 96.0,
            clean: 8,
            of: 8,
        };
        let mut edge = TempoEdge {
            figure: "triplet-eighths".to_owned(),
            fastest: Fastest::At {
                bpm: 104.2,
                interval: Interval {
                    low: 98.7,
                    high: 108.1,
                },
                per_week: Some(2.9),
                per_week_interval: Some(Interval {
                    low: 2.2,
                    high: 3.3,
                }),
            },
            at_the_end: true,
            takes: vec![take("2026-09-01"), take("2026-11-06")],
            other_definition: 0,
            other_settings: 0,
            curve: None,
        };
        let told = |edge: &TempoEdge| tempo_edge(edge).replace(NBSP, " ");
        assert_eq!(
            told(&edge),
            "Triplets: clean nine times of ten up to 104 (95 %: 99 to 108) quarter notes a minute, \
             by the end of 2 takes from 2026-09-01 to 2026-11-06; it moves by +2.9 a week (95 %: \
             +2.2 to +3.3)."
        );
        edge.fastest = Fastest::Unsettled {
            takes: 2,
            figures: 16,
        };
        edge.at_the_end = false;
        edge.takes[1] = take("2026-09-01");
        assert_eq!(
            told(&edge),
            "Triplets: not enough takes yet to tell up to which tempo it is clean nine times of \
             ten (16 figures in 2 takes of 2026-09-01)."
        );
    }
}
