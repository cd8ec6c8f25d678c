//! trend.html and its charts.

use super::charts::{self, Line, WIDTHS};
use super::tempo_chart::against_tempo;
use super::trend::{FEWEST_DAYS, Series, Trends};
use crate::number::{UNKNOWN, maybe, maybe_signed};
use crate::report::html::{self, Cell, Scripts, foreign, numbers, words};
use crate::stats::median;
use crate::words::journal as text;
use maud::{Markup, html};

/// trend.html and the charts beside it, by name.
pub fn files(trends: &Trends) -> Vec<(String, String)> {
    let mut files = Vec::new();
    let mut figures = Vec::new();
    for (i, s) in trends.shown().enumerate() {
        let line = line(s);
        let title = text::measure_of(s.definition, &s.of);
        let unit = text::unit(s.definition);
        let told = text::slope_told(s);
        let draw =
            |id: &str, width| charts::over_time(id, width, (&title, unit), &told, &s.points, line);
        let (id, id_narrow) = (format!("trend{i}"), format!("trend{i}n"));
        if let (Some(wide), Some(narrow)) = (draw(&id, WIDTHS[0]), draw(&id_narrow, WIDTHS[1])) {
            let caption = html! { (foreign(&text::series(s))) };
            figures.push(html::figure(&wide, &narrow, &caption));
            files.push((format!("trend-{}.svg", i + 1), wide.file()));
        }
    }
    let mut edges = Vec::new();
    for (i, edge) in trends.tempo_edges.iter().enumerate() {
        let (id, id_narrow) = (format!("tempo{i}"), format!("tempo{i}n"));
        let wide = against_tempo(&id, WIDTHS[0], edge);
        if let (Some(wide), Some(narrow)) = (wide, against_tempo(&id_narrow, WIDTHS[1], edge)) {
            let caption = html! { (foreign(&text::tempo_edge(edge))) };
            edges.push(html::figure(&wide, &narrow, &caption));
            files.push((format!("tempo-{}.svg", i + 1), wide.file()));
        }
    }
    let page = page(trends, &figures, &edges);
    files.push(("trend.html".to_owned(), page));
    files
}

/// The line of a series, where there are days enough for one.
fn line(s: &Series) -> Option<Line> {
    let line = s.line.filter(|_| s.days.len() >= FEWEST_DAYS)?;
    let days: Vec<f64> = s.points.iter().map(|p| p.day).collect();
    let middle = median(&days)?;
    Some(Line {
        through: (middle, line.intercept + line.slope * middle),
        slope: line.slope,
        interval: line.interval,
    })
}

fn page(trends: &Trends, figures: &[Markup], edges: &[Markup]) -> String {
    let part = trends.part.as_deref().unwrap_or(text::ALL_PARTS);
    let body = html! {
        header {
            p.kicker { (text::WEEKS) }
            h1 { (foreign(part)) @if let Some(player) = &trends.player { ", " (foreign(player)) } }
        }
        main {
            p { (text::weeks_scope(trends)) }
            @for figure in figures { (figure) }
            @if !edges.is_empty() {
                h2 { (text::AGAINST_TEMPO) }
                @for edge in edges { (edge) }
            }
            h2 { (text::ALL_MEASURES) }
            (table(trends))
            h2 { (text::RECKONED) }
            p { (text::WEEKS_RECKONED) }
        }
        footer { (text::made_by()) }
    };
    html::page(&text::weeks_title(part), Scripts::Tables, &body)
}

fn table(trends: &Trends) -> Markup {
    let columns = [
        words(text::MEASURE),
        numbers(text::DAYS, ""),
        numbers(text::FIRST, ""),
        numbers(text::LAST, ""),
        numbers(text::A_WEEK, ""),
        words(text::IN_95),
        numbers(text::PROBABILITY, ""),
        numbers(text::SMALLEST_CHANGE, ""),
        words(text::VERDICT),
    ];
    let rows: Vec<Vec<Cell>> = trends
        .series
        .iter()
        .map(|s| {
            let d = s.definition.decimals;
            let of_day =
                |day: Option<&super::trend::Day>| Cell::number(&maybe(day.map(|d| d.value), d));
            let title = text::measure_of(s.definition, &s.of);
            let name = text::with_unit(&title, text::unit(s.definition));
            let interval = s.per_week_interval;
            vec![
                Cell::markup(foreign(&name)),
                Cell::number(&s.days.len().to_string()),
                of_day(s.days.first()),
                of_day(s.days.last()),
                Cell::number(&maybe_signed(s.per_week, d + 1)),
                Cell::text(&interval.map_or(UNKNOWN.into(), |i| text::range(i, d + 1))),
                Cell::sorted_by(&text::probability(s.p_corrected), s.p_corrected),
                Cell::number(&text::smallest_change(s)),
                Cell::text(text::verdict(s.verdict)),
            ]
        })
        .collect();
    html::table(text::WEEKS_TABLE, &columns, &rows)
}
