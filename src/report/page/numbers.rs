//! The long tables, one line a bar, a note or a figure. They are written
//! without the end tags that HTML lets one leave out (WHATWG, HTML Living
//! Standard, 13.1.2.4), and without saying of the heads of their rows what
//! follows from where these stand (4.9.12.2), which halves a long page.

use crate::align::Outcome;
use crate::number as fmt;
use crate::report::html::foreign;
use crate::review::{Figure, NoteFacts, Review, WrittenBar};
use crate::stats::{mean, median};
use crate::words::{
    self,
    page::{self as text, column, unit},
};
use maud::{Markup, PreEscaped, html};
use std::fmt::Write;

fn long_table(class: &str, caption: &str, heads: &[(&str, &str)], rows: String) -> Markup {
    html! {
        div.scroll tabindex="0" role="region" aria-label=(caption) {
            table class={ "sortable " (class) } {
                caption { (caption) }
                thead { tr {
                    @for (head, unit) in heads {
                        th scope="col" { (head) @if !unit.is_empty() { " " small { (unit) } } }
                    }
                } }
                tbody { (PreEscaped(rows)) }
            }
        }
    }
}

/// One row a bar as played.
pub fn bars(review: &Review) -> Markup {
    let heads = [
        (column::BAR, ""),
        (column::TIME, unit::MIN_SEC),
        (column::TEMPO, unit::BPM),
        (column::NOTES, ""),
        (column::PLAYED, ""),
        (column::MISSED, ""),
        (column::OTHER, ""),
        (column::UNSURE, ""),
        (column::DEVIATION, unit::MS),
        (column::UNEVENNESS, unit::MS),
        (column::LEVEL, unit::DB),
    ];
    let bars = review.written.bars.iter().enumerate();
    let rows = bars.map(|(i, bar)| bar_row(review, i, bar)).collect();
    long_table("bars", text::TABLE_BARS, &heads, rows)
}

fn bar_row(review: &Review, i: usize, bar: &WrittenBar) -> String {
    let inside = |at: f64| at >= bar.at - 1e-6 && at < bar.at + bar.length - 1e-6;
    let notes: Vec<&NoteFacts> = review.notes.iter().filter(|n| inside(n.at)).collect();
    let of = |outcome| notes.iter().filter(|n| n.outcome == outcome).count();
    // A bar that was not reached says nothing rather than zero.
    let reached = notes.iter().any(|n| n.outcome != Outcome::NotReached);
    let tally = |outcome| {
        if reached {
            of(outcome).to_string()
        } else {
            fmt::UNKNOWN.to_owned()
        }
    };
    let bpm: Vec<f64> = review
        .tempo
        .curve
        .iter()
        .filter(|p| {
            let end = review.written.bars.get(i + 1).and_then(|b| b.time_s);
            bar.time_s.is_some_and(|s| p.time_s >= s - 1e-3)
                && end.is_none_or(|e| p.time_s < e - 1e-3)
                && p.bar == bar.number
        })
        .map(|p| p.bpm)
        .collect();
    let deviations: Vec<f64> = notes.iter().filter_map(|n| n.deviation_ms).collect();
    let uneven: Vec<f64> = review
        .figures
        .iter()
        .filter(|f| {
            let first = f.notes.first().and_then(|n| review.notes.get(*n));
            first.is_some_and(|n| inside(n.at))
        })
        .filter_map(|f| f.unevenness_ms)
        .collect();
    let levels: Vec<f64> = notes
        .iter()
        .filter_map(|n| Some(review.strokes.get(n.stroke?)?.level_db))
        .collect();
    let clock = bar
        .time_s
        .map_or_else(|| fmt::UNKNOWN.to_owned(), fmt::clock_tenths);
    // A number may be printed on two bars: they sort by their order.
    format!(
        "<tr id=bar-{i}><th data-k={i}>{}<td>{clock}<td>{}<td>{}<td>{}<td>{}<td>{}<td>{}<td>{}<td>{}<td>{}\n",
        bar.number,
        fmt::maybe(mean(&bpm), 1),
        notes.len(),
        tally(Outcome::Played),
        tally(Outcome::Missed),
        tally(Outcome::OtherDrum),
        tally(Outcome::Unsure),
        fmt::maybe_signed(mean(&deviations), 0),
        fmt::maybe(median(&uneven), 1),
        fmt::maybe(median(&levels), 1),
    )
}

pub fn notes(review: &Review) -> Markup {
    let mut heads = vec![
        (column::BAR, ""),
        (column::BEAT, ""),
        (column::PITCH, ""),
        (column::DRUM, ""),
        (column::OUTCOME, ""),
        (column::TIME, unit::MIN_SEC),
        (column::DEVIATION, unit::MS),
        (column::LEVEL, unit::DB),
        (column::CENTS, unit::CENTS),
    ];
    if words::against_clicks(review) {
        heads.insert(7, (column::CLICK_DEVIATION, unit::MS));
    }
    let rows = review.notes.iter().map(|n| note_row(review, n)).collect();
    long_table("notes", text::TABLE_NOTES, &heads, rows)
}

fn note_row(review: &Review, note: &NoteFacts) -> String {
    let stroke = note.stroke.and_then(|i| review.strokes.get(i));
    let time = stroke.map_or_else(
        || fmt::UNKNOWN.to_owned(),
        |s| {
            let thousandths = (s.time_s * 1000.0).round() as u64;
            let (minutes, rest) = (thousandths / 60_000, thousandths % 60_000);
            format!("{minutes}:{:02}.{:03}", rest / 1000, rest % 1000)
        },
    );
    let clicks = if words::against_clicks(review) {
        let off = fmt::maybe_signed_with_sd(note.click_deviation_ms, note.click_deviation_sd_ms);
        format!("<td>{off}")
    } else {
        String::new()
    };
    format!(
        "<tr><th>{}<td>{}<td>{}<td>{}<td>{}<td>{time}<td>{}{clicks}<td>{}<td>{}\n",
        note.bar,
        words::beat(note.beat),
        words::pitch_name(note.pitch),
        note.drum,
        words::outcome(note.outcome),
        fmt::maybe_signed_with_sd(note.deviation_ms, note.deviation_sd_ms),
        fmt::maybe(stroke.map(|s| s.level_db), 1),
        fmt::maybe_signed_with_sd(
            stroke.and_then(|s| s.cents),
            stroke.and_then(|s| s.cents_sd)
        ),
    )
}

pub fn figures(review: &Review) -> Markup {
    let heads = [
        (column::BAR, ""),
        (column::BEAT, ""),
        (column::KIND, ""),
        (column::UNEVENNESS, unit::MS),
        (column::UNEVENNESS, unit::PCT),
        (column::VERDICT, ""),
        (column::SHARES, unit::PCT),
    ];
    let rows = review.figures.iter().map(figure_row).collect();
    long_table("figures", text::TABLE_FIGURES, &heads, rows)
}

fn figure_row(figure: &Figure) -> String {
    let mut shares = String::new();
    for (i, share) in figure.shares.iter().enumerate() {
        let between = if i == 0 { "" } else { " : " };
        // Writing to a String never fails.
        let _ = write!(shares, "{between}{}", fmt::plain(share * 100.0, 1));
    }
    if shares.is_empty() {
        fmt::UNKNOWN.clone_into(&mut shares);
    }
    let verdict = match figure.clean {
        Some(true) => column::CLEAN,
        Some(false) => column::NOT_CLEAN,
        None => column::UNSURE,
    };
    format!(
        "<tr><th>{}<td>{}<td>{}<td>{}<td>{}<td>{}<td>{shares}\n",
        figure.bar,
        words::beat(figure.beat),
        foreign(&words::kind_name(&figure.kind)).into_string(),
        fmt::maybe_with_sd(figure.unevenness_ms, figure.unevenness_sd_ms),
        fmt::maybe(figure.unevenness_pct, 1),
        verdict.to_lowercase(),
    )
}
