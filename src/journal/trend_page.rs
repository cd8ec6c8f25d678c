//! trend.html and its charts: words for what [`super::trend`] found.

use super::charts::{self, WIDTHS};
use super::stats::Interval;
use super::stats::logistic::Fastest;
use super::trend::{FEWEST_DAYS, Series, TempoEdge, Trends, Verdict};
use crate::report::html::{self, Cell, Scripts, foreign, numbers, words};
use crate::report::number::{NBSP, UNKNOWN, plain, signed};
use maud::{Markup, html};

/// How many measures get a chart; the table holds them all.
const MOST_CHARTS: usize = 8;

/// trend.html and the charts beside it, by name.
pub fn files(trends: &Trends) -> Vec<(String, String)> {
    let mut files = Vec::new();
    let mut figures = Vec::new();
    for (i, s) in trends.series.iter().take(MOST_CHARTS).enumerate() {
        let line = s.line.filter(|_| s.days.len() >= FEWEST_DAYS);
        let ends = line.zip(s.points.first().zip(s.points.last()));
        let line = ends.map(|(l, (a, b))| [a, b].map(|p| (p.day, l.intercept + l.slope * p.day)));
        let title = title(s);
        let draw =
            |id: &str, width| charts::over_time(id, width, (&title, s.unit), &s.points, line);
        let (id, id_narrow) = (format!("trend{i}"), format!("trend{i}n"));
        if let (Some(wide), Some(narrow)) = (draw(&id, WIDTHS[0]), draw(&id_narrow, WIDTHS[1])) {
            let caption = html! { (sentence(s)) };
            figures.push(html::figure(&wide, &narrow, &caption));
            files.push((format!("trend-{}.svg", i + 1), wide.file()));
        }
    }
    files.push(("trend.html".to_owned(), page(trends, &figures)));
    files
}

fn page(trends: &Trends, figures: &[Markup]) -> String {
    let part = trends.part.as_deref().unwrap_or("all parts");
    let body = html! {
        header {
            p.kicker { "Over the weeks" }
            h1 { (foreign(part)) @if let Some(player) = &trends.player { ", " (foreign(player)) } }
        }
        main {
            p { (scope(trends)) }
            @for figure in figures { (figure) }
            @if !trends.tempo_edges.is_empty() {
                h2 { "Evenness against tempo" }
                @for edge in &trends.tempo_edges { p { (edge_sentence(edge)) } }
            }
            h2 { "All measures" }
            (table(trends))
            h2 { "How this is reckoned" }
            p { "A day counts once, by the median of its takes. The slope is the median of the "
                "slopes between all pairs of days (Theil and Sen); its interval holds the true "
                "slope in at least 95 of 100 histories. A trend is named only where the exact test "
                "of Mann and Kendall finds it rarer than one in twenty by chance; the measures "
                "after the first are corrected for being many. The smallest change is what two "
                "single days must differ by before it is more than measurement and the scatter "
                "from day to day." }
        }
        footer { "kettlemark " (env!("CARGO_PKG_VERSION")) }
    };
    html::page(&format!("{part}: over the weeks"), Scripts::Tables, &body)
}

fn scope(trends: &Trends) -> String {
    let mut text = format!(
        "{} on {}.",
        count(trends.takes, "take"),
        count(trends.days, "day")
    );
    if trends.days < FEWEST_DAYS {
        text += &format!(
            " Not enough takes yet: below {FEWEST_DAYS} days any order of values may be chance."
        );
    }
    if trends.left_out > 0 {
        text += &format!(
            " Left out: {} that could not be judged or whose day is not known.",
            count(trends.left_out, "take")
        );
    }
    text
}

fn count(n: usize, what: &str) -> String {
    format!("{n}{NBSP}{what}{}", if n == 1 { "" } else { "s" })
}

fn title(s: &Series) -> String {
    if s.of.is_empty() {
        s.definition.words.to_owned()
    } else {
        format!("{}: {}", s.definition.words, s.of)
    }
}

/// What is said under a chart.
pub fn sentence(s: &Series) -> String {
    let decimals = s.definition.decimals + 1;
    let per_week = |v: f64| format!("{}{NBSP}{} a week", signed(v, decimals), s.unit);
    let slope = s.per_week.map(|v| match s.per_week_interval {
        Some(i) => format!("{} ({})", per_week(v), range(i, decimals)),
        None => per_week(v),
    });
    let slope = slope.unwrap_or_default();
    let mut text = match s.verdict {
        Verdict::NotEnough => format!(
            "Not enough takes yet: {}, {FEWEST_DAYS} are needed.",
            count(s.days.len(), "day")
        ),
        Verdict::NoTrend => format!("No trend that could not be chance: {slope}."),
        Verdict::Better => format!("Better: {slope}."),
        Verdict::Worse => format!("Worse: {slope}."),
        Verdict::Rising => format!("Rising: {slope}."),
        Verdict::Falling => format!("Falling: {slope}."),
    };
    if let Some(change) = s.smallest_change {
        text += &format!(
            " Two days must differ by more than {}{NBSP}{} to mean anything.",
            plain(change, s.definition.decimals),
            s.unit
        );
    }
    if s.other_definition > 0 {
        text += &format!(
            " {} measured by an earlier definition left out; review them again to compare.",
            count(s.other_definition, "take")
        );
    }
    text
}

fn range(i: Interval, decimals: usize) -> String {
    format!(
        "95{NBSP}%: {} to {}",
        signed(i.low, decimals),
        signed(i.high, decimals)
    )
}

/// What is said of the tempo a figure holds at.
pub fn edge_sentence(edge: &TempoEdge) -> String {
    let kind = crate::measure::words::figure_name(&edge.figure);
    let bpm = |v: f64| format!("{}{NBSP}bpm", plain(v, 0));
    match &edge.fastest {
        Fastest::NotEnough { takes } => format!(
            "{kind}: not enough takes at different tempi yet ({}).",
            count(*takes, "take")
        ),
        Fastest::AtLeast { bpm: v } => format!(
            "{kind}: clean nine times of ten up to the fastest tempo played, {}.",
            bpm(*v)
        ),
        Fastest::Below { bpm: v } => format!(
            "{kind}: clean less than nine times of ten at the slowest tempo played, {}.",
            bpm(*v)
        ),
        Fastest::NoFall => {
            format!("{kind}: how often it is clean does not fall with the tempo in these takes.")
        }
        Fastest::At {
            bpm: v,
            interval,
            per_week,
            per_week_interval,
        } => {
            let mut text = format!("{kind}: clean nine times of ten up to {}", bpm(*v));
            if let Some(i) = interval {
                text += &format!(" (95{NBSP}%: {} to {})", plain(i.low, 0), bpm(i.high));
            }
            match (per_week, per_week_interval) {
                (Some(slope), Some(i)) if !i.holds(0.0) => {
                    text += &format!(
                        ", moving by {}{NBSP}bpm a week ({}).",
                        signed(*slope, 1),
                        range(*i, 1)
                    );
                }
                (Some(_), _) => text += "; whether it moves over the weeks cannot be told yet.",
                (None, _) => text += ".",
            }
            text
        }
    }
}

fn table(trends: &Trends) -> Markup {
    let columns = [
        words("Measure"),
        numbers("Days", ""),
        numbers("First", ""),
        numbers("Last", ""),
        numbers("A week", ""),
        words("95 %"),
        numbers("p", ""),
        numbers("Smallest change", ""),
        words("Verdict"),
    ];
    let rows: Vec<Vec<Cell>> = trends
        .series
        .iter()
        .map(|s| {
            let d = s.definition.decimals;
            let of_day = |day: Option<&super::trend::Day>| {
                let value = day.map(|d| d.value);
                Cell::number(&value.map_or(UNKNOWN.into(), |v| plain(v, d)))
            };
            let name = format!("{}, {}", title(s), s.unit);
            vec![
                Cell::markup(foreign(&name)),
                Cell::number(&s.days.len().to_string()),
                of_day(s.days.first()),
                of_day(s.days.last()),
                Cell::number(&s.per_week.map_or(UNKNOWN.into(), |v| signed(v, d + 1))),
                Cell::text(&s.per_week_interval.map_or(UNKNOWN.into(), |i| {
                    format!("{} to {}", signed(i.low, d + 1), signed(i.high, d + 1))
                })),
                Cell::number(&s.p_corrected.map_or(UNKNOWN.into(), |p| plain(p, 3))),
                Cell::number(&s.smallest_change.map_or(UNKNOWN.into(), |c| plain(c, d))),
                Cell::text(verdict(s.verdict)),
            ]
        })
        .collect();
    html::table("Every measure over the days", &columns, &rows)
}

/// A verdict in two words.
pub fn verdict(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::NotEnough => "not enough yet",
        Verdict::NoTrend => "no trend",
        Verdict::Better => "better",
        Verdict::Worse => "worse",
        Verdict::Rising => "rising",
        Verdict::Falling => "falling",
    }
}
