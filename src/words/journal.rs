//! What is said across takes: over weeks, of two sets, of a class.

use super::{count, kind_name, kind_title, setting_label};
use crate::journal::charts::Row;
use crate::journal::class::shared::{Shared, What};
use crate::journal::compare::{Compared, Comparison};
use crate::journal::measures::{Better, Definition, Measure, definition_of};
use crate::journal::stats::logistic::Fastest;
use crate::journal::stats::{ALPHA, Interval};
use crate::journal::trend::{AtTempo, FEWEST_DAYS, Series, TempoEdge, Trends, Verdict};
use crate::number::{self, NBSP, plain, signed};

// Measures

/// A measure that the log keeps, as a heading.
pub fn measure(definition: &Definition) -> &'static str {
    match definition.name {
        "unevenness" => "Unevenness",
        "unevenness_share" => "Unevenness in per cent of the interval",
        "clean_share" => "Share of clean figures",
        "clean_run" => "Longest run of clean figures",
        "all_clean" => "Every figure clean (1 yes, 0 no)",
        "off_pitch" => "Distance from the written pitch, mean of the drums",
        "cents" => "Pitch against the written one",
        "accent_contrast" => "Accents against their neighbours",
        "stop_late" => "Stops against the end of the written value",
        "stopped_share" => "Share of wanted stops that were made",
        "roll_speed" => "Speed of rolls",
        "roll_unevenness" => "Unevenness of rolls",
        "tempo" => "Tempo",
        "tempo_drift" => "Drift of the tempo",
        "missed_share" => "Share of notes not heard",
        "other_drum_share" => "Share of notes on another drum",
        "deviation" => "Time against the pulse, early negative",
        other => other,
    }
}

/// The unit of a measure, for readers.
pub fn unit(definition: &Definition) -> &'static str {
    match definition.unit {
        "bpm" => "\u{2669} a min",
        "%/min" => "% a min",
        "strokes/s" => "strokes a second",
        "0 or 1" => "",
        unit => unit,
    }
}

/// What a measure is of: "triplet-eighths" is "triplets", "2 Bb2" is
/// "Drum 2 · B♭2"; empty for the whole take.
fn of(key: &str) -> String {
    let setting = key
        .split_once(' ')
        .and_then(|(drum, pitch)| drum.parse().ok().zip(pitch.parse().ok()));
    match setting {
        Some((drum, pitch)) => setting_label(drum, pitch),
        None => kind_name(key),
    }
}

/// "Unevenness: triplets", "Tempo".
pub fn measure_of(definition: &Definition, key: &str) -> String {
    match key {
        "" => measure(definition).to_owned(),
        key => format!("{}: {}", measure(definition), of(key)),
    }
}

/// One measure of the log in a line: "Unevenness: Bar 7: 3.1 ± 0.4 ms (of 2)".
pub fn kept_measure(m: &Measure) -> String {
    let Some(definition) = definition_of(&m.name) else {
        return format!("{} {}: {} {}", m.scope, m.key, m.name, plain(m.value, 2));
    };
    let title = match m.scope.as_str() {
        "bar" => format!("{}: {BAR}{NBSP}{}", measure(definition), m.key),
        _ => measure_of(definition, &m.key),
    };
    let size = match m.sd {
        Some(sd) => number::with_sd(m.value, Some(sd)),
        None => plain(m.value, definition.decimals),
    };
    let of = format!("of{NBSP}{}", m.count);
    format!("{title}: {} ({of})", sized(&size, unit(definition)))
}

/// The same with its unit: "Unevenness: triplets, ms".
pub fn with_unit(title: &str, unit: &str) -> String {
    match unit {
        "" => title.to_owned(),
        unit => format!("{title}, {unit}"),
    }
}

/// A number and its unit.
fn sized(number: &str, unit: &str) -> String {
    match unit {
        "" => number.to_owned(),
        unit => format!("{number}{NBSP}{unit}"),
    }
}

/// "+0.2 to +1.4".
pub fn range(interval: Interval, decimals: usize) -> String {
    format!(
        "{} to {}",
        signed(interval.low, decimals),
        signed(interval.high, decimals)
    )
}

fn in_95(interval: Interval, decimals: usize) -> String {
    format!("95{NBSP}%: {}", range(interval, decimals))
}

/// A probability: "0.023", "< 0.001".
pub fn probability(p: Option<f64>) -> String {
    match p {
        Some(p) if p < 0.0005 => format!("<{NBSP}0.001"),
        p => number::maybe(p, 3),
    }
}

/// The same of a comparison, where there is none only for want of takes.
pub fn probability_or_why_not(p: Option<f64>) -> String {
    match p {
        None => "not enough takes".to_owned(),
        p => probability(p),
    }
}

/// The last line of a page.
pub fn made_by() -> String {
    format!("Made by kettlemark {}.", env!("CARGO_PKG_VERSION"))
}

pub const ALL_MEASURES: &str = "All measures";
pub const RECKONED: &str = "How this is reckoned";
pub const MEASURE: &str = "Measure";
pub const PROBABILITY: &str = "p";
pub const IN_95: &str = "95 %";

// Charts

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
pub fn against_tempo_key(curve: bool, edge: bool) -> String {
    let mut text = "Dot: a take; upright bar: ± the standard uncertainty of its share; dashed: \
                    nine of ten"
        .to_owned();
    if curve {
        text += "; line: the share that all takes lead to expect";
    }
    if edge {
        text += "; shaded: where it crosses nine of ten, 95\u{a0}%";
    }
    text + "."
}

/// "104 (95 %: 99 to 108)".
pub fn fastest_clean(bpm: f64, interval: Option<Interval>) -> String {
    match interval {
        Some(i) => format!(
            "{} (95{NBSP}%: {} to {})",
            plain(bpm, 0),
            plain(i.low, 0),
            plain(i.high, 0)
        ),
        None => plain(bpm, 0),
    }
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

// Weeks

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
     corrected for being many. The smallest change is what two single days must differ by before \
     it is more than measurement and the scatter from day to day.";

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
fn slope(s: &Series) -> String {
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

/// Why a difference may be rare by chance and yet nothing is said of it.
const ALONE: &str = "Looked at alone it would count; among so many measures it may be chance.";

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
    if let Some(change) = s.smallest_change {
        let change = sized(&plain(change, s.definition.decimals), unit);
        text += &format!(" Two days must differ by more than {change} to mean anything.");
    }
    if s.other_definition > 0 {
        text += &format!(
            " {} measured by an earlier definition left out; review them again to compare.",
            count(s.other_definition, "take", "takes")
        );
    }
    text
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

/// What is said of the tempo a figure holds at.
pub fn tempo_edge(edge: &TempoEdge) -> String {
    let kind = kind_title(&edge.figure);
    let tempo = |v: f64| format!("{}{NBSP}quarter notes a minute", plain(v, 0));
    match &edge.fastest {
        Fastest::NotEnough { takes } => format!(
            "{kind}: not enough takes at different tempi yet ({}).",
            count(*takes, "take", "takes")
        ),
        Fastest::AtLeast { bpm } => format!(
            "{kind}: clean nine times of ten up to the fastest tempo played, {}.",
            tempo(*bpm)
        ),
        Fastest::Below { bpm } => format!(
            "{kind}: clean less than nine times of ten at the slowest tempo played, {}.",
            tempo(*bpm)
        ),
        Fastest::NoFall => {
            format!("{kind}: how often it is clean does not fall with the tempo in these takes.")
        }
        Fastest::At {
            bpm,
            interval,
            per_week,
            per_week_interval,
        } => {
            let mut text = format!(
                "{kind}: clean nine times of ten up to {} quarter notes a minute",
                fastest_clean(*bpm, *interval)
            );
            match (per_week, per_week_interval) {
                (Some(slope), Some(i)) if !i.holds(0.0) => {
                    text += &format!(
                        ", moving by {} a week ({}).",
                        signed(*slope, 1),
                        in_95(*i, 1)
                    );
                }
                (Some(_), _) => text += "; whether it moves over the weeks cannot be told yet.",
                (None, _) => text += ".",
            }
            text
        }
    }
}

// Two sets

pub const BESIDE: &str = "Beside one another";
pub const NOTHING_IN_COMMON: &str = "The two sets have no measure in common.";
pub const BAR_BY_BAR: &str = "Bar by bar";
pub const MEANS: &str = "Means of the takes";
pub const DIFFERENCE: &str = "Difference";
pub const MEDIANS: &str = "Medians of the takes; early is negative";
pub const BAR: &str = "Bar";
pub const MS_AGAINST_PULSE: &str = "ms against the pulse";
pub const MS_UNEVEN: &str = "ms uneven";
pub const SETS_RECKONED: &str = "Every take counts once. P says how often chance alone, dividing \
     the same takes anew, would part them as far (permutation test); the interval holds those \
     differences the test cannot refuse. The measures after the first are corrected for being \
     many. Where there are so few takes that no division of them is rarer than one in twenty, \
     as with three of each, nothing can be settled, and no p is given.";

/// "alternating and double".
pub fn two_sets(a: &str, b: &str) -> String {
    format!("{a} and {b}")
}

/// How many takes each set has.
pub fn takes_of_each(c: &Comparison) -> String {
    format!(
        "{}: {}; {}: {}.",
        c.a,
        count(c.takes_a, "take", "takes"),
        c.b,
        count(c.takes_b, "take", "takes")
    )
}

/// What is said of one measure in two sets.
pub fn compared(c: &Compared, (a, b): (&str, &str)) -> String {
    let d = &c.difference;
    let places = c.definition.decimals.max(1);
    let mut size = sized(&signed(d.difference, places), unit(c.definition));
    if let Some(i) = d.interval {
        size += &format!(" ({})", in_95(i, places));
    }
    let rare = |p: Option<f64>| p.is_some_and(|p| p <= ALPHA);
    let mut text = if rare(c.p_corrected) {
        let better = match c.definition.better {
            Better::Lower => Some(if d.difference < 0.0 { b } else { a }),
            Better::Higher => Some(if d.difference > 0.0 { b } else { a }),
            Better::Neither => None,
        };
        match better {
            Some(name) => format!("{name} is better; {b} against {a}: {size}."),
            None => format!("They differ; {b} against {a}: {size}."),
        }
    } else {
        let more = match d.more_each {
            Some(0) | None => String::new(),
            Some(n) => format!(
                " If what is seen is the true difference, about {} of each would most likely \
                 show it.",
                count(n, "more take", "more takes")
            ),
        };
        let alone = if rare(d.p) {
            format!(" {ALONE}")
        } else {
            String::new()
        };
        let verdict = match d.p {
            None => "Not enough takes to settle it",
            Some(_) => "Not settled",
        };
        format!("{verdict}; {b} against {a}: {size}.{alone}{more}")
    };
    if let Some(share) = c.share_b_below_a {
        let (name, share) = if share >= 0.5 {
            (b, share)
        } else {
            (a, 1.0 - share)
        };
        text += &format!(
            " In {} of 100 resamplings of the takes {name} is the more even.",
            plain(100.0 * share, 0)
        );
    }
    text
}

// Classes

pub const CLASS: &str = "A class";
pub const SHARED: &str = "What most players share";
pub const NOTHING_SHARED: &str = "Nothing that at least half of them have in the same bars.";
pub const TAKES: &str = "The takes";
pub const TAKES_TABLE: &str = "What became of the notes; a line a take, in the order of names";
pub const EVENNESS_TABLE: &str = "Evenness";
pub const OTHERS_TABLE: &str = "Tuning, accents, stops and tempo";
pub const PLAYER: &str = "Player";
pub const TAKE: &str = "Take";
pub const DOUBTS: &str = "Doubts";
/// In the order of [`crate::journal::class::OUTCOMES`].
pub const OUTCOMES: [&str; 5] = [
    "As written",
    "Not heard",
    "Other drum",
    "Unsure",
    "Not reached",
];
pub const NOT_JUDGED: &str = "Not judged";
pub const SPREAD: &str = "How the class spreads";
pub const ONE_DOT: &str = "One dot a take.";
pub const STATE_JUDGED: &str = "judged";
pub const STATE_REFUSED: &str = "not judged";
pub const STATE_UNREADABLE: &str = "not read";

/// The window's title.
pub fn class_title(title: &str) -> String {
    format!("{title}: a class")
}

/// "17 of 18 takes were judged."
pub fn judged(judged: usize, of: usize) -> String {
    format!("{judged} of {} judged.", count(of, "take", "takes"))
}

/// "12 of 18 rush bars 9–10".
pub fn shared(s: &Shared) -> String {
    let bars = number::bars(&s.bars);
    let what = match s.what {
        What::Early => format!("rush {bars}"),
        What::Late => format!("drag {bars}"),
        What::Uneven => format!("play {bars} unevenly"),
        What::Missed => format!("leave out notes in {bars}"),
        What::OtherDrum => format!("strike another drum than written in {bars}"),
        What::RingsOn => format!("let a drum ring on in {bars}"),
        What::OffPitch => format!("have a drum off its pitch in {bars}"),
    };
    format!("{} of {} {what}", s.players, s.of)
}

/// A kind of doubt in a word or two.
pub fn doubt(kind: &str) -> String {
    let word = match kind {
        "gain-control" => "level steered",
        "bass-cut" => "bass taken away",
        "narrow" => "treble missing",
        "gap" => "gaps",
        "start-offset" => "start not known",
        "match" => "perhaps another part",
        "unsure" => "many notes unsure",
        "part-only" => "a part only",
        "click-track" => "a click along",
        "extra-strokes" => "strokes beside the part",
        "too-few" => "too few strokes",
        other => return super::harmless(other),
    };
    word.to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::journal::measures::DEFINITIONS;

    #[test]
    fn no_measure_is_shown_by_its_identifier() {
        for definition in DEFINITIONS {
            assert_ne!(measure(definition), definition.name);
        }
        assert_eq!(
            measure_of(&DEFINITIONS[0], "triplet-eighths"),
            "Unevenness: triplets"
        );
        assert_eq!(
            measure_of(&DEFINITIONS[6], "2 Bb2"),
            "Pitch against the written one: Drum 2 · B\u{266d}2"
        );
    }
}
