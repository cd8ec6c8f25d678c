//! The tables of the page.

use crate::number as fmt;
use crate::report::html::{Cell, numbers, table, words as column_of};
use crate::review::{Review, StopState};
use crate::words::{
    self,
    page::{self as text, column, unit},
};
use maud::{Markup, html};

fn plain(value: Option<f64>, decimals: usize) -> Cell {
    Cell::number(&fmt::maybe(value, decimals))
}

fn signed_sd(value: Option<f64>, sd: Option<f64>) -> Cell {
    Cell::number(&fmt::maybe_signed_with_sd(value, sd))
}

fn with_sd(value: Option<f64>, sd: Option<f64>) -> Cell {
    Cell::number(&fmt::maybe_with_sd(value, sd))
}

fn whole(value: usize) -> Cell {
    Cell::number(&value.to_string())
}

fn bar(number: i32) -> Cell {
    Cell::number(&number.to_string())
}

fn span(from: i32, to: i32) -> Cell {
    let shown = if from == to {
        from.to_string()
    } else {
        format!("{from}–{to}")
    };
    Cell::number(&shown)
}

pub fn kinds(review: &Review) -> Markup {
    let hands = review
        .figure_kinds
        .iter()
        .any(|k| k.right_ms.is_some() || k.left_ms.is_some());
    let mut columns = vec![
        column_of(column::KIND),
        numbers(column::MEASURED, ""),
        numbers(column::CLEAN, ""),
        numbers(column::NOT_CLEAN, ""),
        numbers(column::UNSURE, ""),
        numbers(column::UNEVEN, unit::MS),
        numbers(column::UNEVEN, unit::PCT),
        numbers(column::APART, unit::MS),
    ];
    if hands {
        columns.push(numbers(column::RIGHT, unit::MS));
        columns.push(numbers(column::LEFT, unit::MS));
    }
    let rows: Vec<Vec<Cell>> = review
        .figure_kinds
        .iter()
        .map(|k| {
            let mut row = vec![
                Cell::text(&words::kind_title(&k.kind)),
                whole(k.count),
                whole(k.clean),
                whole(k.not_clean),
                whole(k.count.saturating_sub(k.clean + k.not_clean)),
                with_sd(k.median_unevenness_ms, k.median_unevenness_sd_ms),
                plain(k.median_unevenness_pct, 1),
                plain(k.median_interval_ms, 0),
            ];
            if hands {
                row.push(signed_sd(k.right_ms, k.right_sd_ms));
                row.push(signed_sd(k.left_ms, k.left_sd_ms));
            }
            row
        })
        .collect();
    table(text::TABLE_KINDS, &columns, &rows)
}

pub fn settings(review: &Review) -> Markup {
    let columns = [
        column_of(column::DRUM),
        numbers(column::BARS, ""),
        numbers(column::OFF, unit::CENTS),
        column_of(column::VERDICT),
        numbers(column::HZ, unit::HZ),
        numbers(column::STROKES, ""),
        numbers(column::DRIFT, unit::CENTS_A_MIN),
        numbers(column::LOUD_SHARP, unit::CENTS_10_DB),
    ];
    let mut rows = Vec::new();
    for drum in &review.drums {
        for s in &drum.settings {
            rows.push(vec![
                Cell::text(&words::setting_label(drum.drum, s.pitch)),
                span(s.from_bar, s.to_bar),
                signed_sd(s.cents, s.cents_sd),
                Cell::text(&words::tune_verdict(s)),
                plain(s.hz, 2),
                whole(s.strokes),
                signed_sd(s.drift_cents_per_min, s.drift_sd_cents_per_min),
                signed_sd(s.loud_sharp_cents, s.loud_sharp_sd_cents),
            ]);
        }
    }
    table(text::TABLE_SETTINGS, &columns, &rows)
}

pub fn intervals(review: &Review) -> Markup {
    let columns = [
        column_of(column::INTERVAL),
        numbers(column::BARS, ""),
        numbers(column::SIZE, unit::CENTS),
    ];
    let rows: Vec<_> = review
        .intervals
        .iter()
        .map(|i| {
            vec![
                Cell::text(&words::capital(&words::interval_full(i))),
                span(i.from_bar, i.to_bar),
                signed_sd(Some(i.cents), Some(i.cents_sd)),
            ]
        })
        .collect();
    table(text::TABLE_INTERVALS, &columns, &rows)
}

pub fn levels(review: &Review) -> Markup {
    let columns = [
        column_of(column::MARK),
        numbers(column::BARS, ""),
        numbers(column::LEVEL, unit::DB),
        numbers(column::STROKES, ""),
    ];
    let rows: Vec<_> = review
        .dynamics
        .levels
        .iter()
        .map(|l| {
            vec![
                Cell::text(&l.mark),
                span(l.bar, l.to_bar),
                with_sd(l.level_db, l.level_sd_db),
                whole(l.strokes),
            ]
        })
        .collect();
    html! {
        (table(text::TABLE_LEVELS, &columns, &rows))
        @for sentence in words::order_breaks(review) { p { (sentence) } }
    }
}

pub fn hairpins(review: &Review) -> Markup {
    let columns = [
        column_of(column::WRITTEN),
        numbers(column::BARS, ""),
        numbers(column::CHANGE, unit::DB),
        numbers(column::STEADY, unit::ZERO_TO_ONE),
    ];
    let rows: Vec<_> = review
        .dynamics
        .hairpins
        .iter()
        .map(|h| {
            vec![
                Cell::text(&words::capital(&h.written)),
                span(h.from_bar, h.to_bar),
                signed_sd(h.change_db, h.change_sd_db),
                plain(h.steadiness, 2),
            ]
        })
        .collect();
    table(text::TABLE_HAIRPINS, &columns, &rows)
}

pub fn accents(review: &Review) -> Markup {
    let columns = [
        numbers(column::BAR, ""),
        numbers(column::BEAT, ""),
        numbers(column::CONTRAST, unit::DB),
    ];
    let rows: Vec<_> = review
        .dynamics
        .accents
        .iter()
        .map(|a| {
            let beat = review.notes.get(a.note).map(|n| n.beat);
            vec![
                bar(a.bar),
                Cell::number(&beat.map_or_else(String::new, words::beat)),
                signed_sd(a.contrast_db, a.contrast_sd_db),
            ]
        })
        .collect();
    table(text::TABLE_ACCENTS, &columns, &rows)
}

pub fn rolls(review: &Review) -> Markup {
    let columns = [
        column_of(column::ROLL),
        numbers(column::LENGTH, unit::SECONDS),
        numbers(column::SPEED, unit::A_SECOND),
        numbers(column::UNEVENNESS, unit::PCT),
        numbers(column::START, unit::DB),
        numbers(column::END, unit::DB),
        numbers(column::GAP, unit::MS),
    ];
    let rows: Vec<_> = review
        .rolls
        .iter()
        .map(|r| {
            vec![
                Cell::text(&words::roll_label(review, r)),
                plain(Some(r.to_s - r.from_s), 1),
                with_sd(r.strokes_per_s, r.strokes_per_s_sd),
                with_sd(r.unevenness_pct, r.unevenness_sd_pct),
                signed_sd(r.start_accent_db, r.start_accent_sd_db),
                signed_sd(r.end_accent_db, r.end_accent_sd_db),
                with_sd(r.gap_ms, r.gap_sd_ms),
            ]
        })
        .collect();
    table(text::TABLE_ROLLS, &columns, &rows)
}

pub fn stops(review: &Review) -> Markup {
    let columns = [
        numbers(column::BAR, ""),
        numbers(column::DRUM, ""),
        column_of(column::WHY),
        column_of(column::STATE),
        numbers(column::AFTER, unit::MS),
        numbers(column::LATE, unit::MS),
        numbers(column::RING, unit::DB_HALF),
    ];
    let rows: Vec<_> = review
        .stops
        .iter()
        .map(|s| {
            let state = match s.state {
                StopState::Stopped => words::KEY_STOPPED,
                StopState::Ringing => words::KEY_RINGING,
                StopState::Unsure => words::KEY_UNSURE,
            };
            vec![
                bar(s.bar),
                whole(usize::from(s.drum)),
                Cell::text(words::stop_expected(s)),
                Cell::text(state),
                with_sd(s.stopped_after_ms, s.stopped_after_sd_ms),
                signed_sd(s.late_ms, s.stopped_after_sd_ms),
                plain(s.ring_db_500ms, 0),
            ]
        })
        .collect();
    table(text::TABLE_STOPS, &columns, &rows)
}
