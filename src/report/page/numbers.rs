//! The two long tables, one line a note and one a figure. They are written
//! without the end tags that HTML lets one leave out (WHATWG, HTML Living
//! Standard, 13.1.2.4), which halves a long page.

use crate::number as fmt;
use crate::report::html::foreign;
use crate::review::{Figure, NoteFacts, Review};
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

pub fn notes(review: &Review) -> Markup {
    let mut heads = vec![
        (column::NOTE, ""),
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
        heads.insert(8, (column::CLICK_DEVIATION, unit::MS));
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
        "<tr id=n{}><th scope=row>{}<td>{}<td>{}<td>{}<td>{}<td>{}<td>{time}<td>{}{clicks}<td>{}<td>{}\n",
        note.index,
        note.index,
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
        "<tr><th scope=row>{}<td>{}<td>{}<td>{}<td>{}<td>{}<td>{shares}\n",
        figure.bar,
        words::beat(figure.beat),
        foreign(&words::kind_name(&figure.kind)).into_string(),
        fmt::maybe_with_sd(figure.unevenness_ms, figure.unevenness_sd_ms),
        fmt::maybe(figure.unevenness_pct, 1),
        verdict.to_lowercase(),
    )
}
