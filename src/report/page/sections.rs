//! The sections of the page: a heading, a chart in two widths, the same
//! numbers as a table.

use super::{Around, numbers, play_link, tables};
use crate::number::{self, NBSP};
use crate::report::charts::{self, Frame};
use crate::report::html::{self, figure, foreign};
use crate::report::svg::Svg;
use crate::review::Review;
use crate::words::{self, page as text};
use maud::{Markup, html};

/// Without a tempo a remark begins this much before its place, seconds.
const LEAD_S: f64 = 0.6;
/// A remark plays on a little, so that its last stroke is heard.
const TAIL_S: f64 = 0.3;

pub fn practise(review: &Review, around: &Around) -> Markup {
    let beat_s = review.tempo.median_bpm.map_or(LEAD_S, |bpm| 60.0 / bpm);
    html! {
        section #practise {
            h2 { (text::PRACTISE) }
            @if review.remarks.is_empty() { p { (text::NO_REMARKS) } }
            ol.practise {
                @for remark in review.remarks.iter().take(3) {
                    li {
                        @if !remark.bars.is_empty() { p.kicker { (text::remark_bars(remark)) } }
                        p { (foreign(&number::bound(&remark.text))) }
                        p { em { (text::TO_PRACTISE) } " " (foreign(&number::bound(&remark.practise))) }
                        (play_link(around, (remark.from_s - beat_s).max(0.0), remark.to_s + TAIL_S))
                    }
                }
            }
        }
    }
}

/// Several drawings, each in two widths; where a narrow window takes more of
/// them than a wide one, all stand in one figure.
fn apart(review: &Review, draw: fn(&Review, Frame) -> Vec<Svg>) -> Markup {
    let (wide, narrow) = (draw(review, Frame::WIDE), draw(review, Frame::NARROW));
    html! {
        @if wide.len() == narrow.len() {
            @for (wide, narrow) in wide.iter().zip(&narrow) { (figure(wide, narrow, &html! {})) }
        } @else {
            (html::series(&wide, &narrow))
        }
    }
}

fn both(review: &Review, draw: fn(&Review, Frame) -> Svg) -> Markup {
    figure(
        &draw(review, Frame::WIDE),
        &draw(review, Frame::NARROW),
        &html! {},
    )
}

pub fn evenness(review: &Review) -> Markup {
    html! {
        section #evenness {
            h2 { (text::EVENNESS) }
            @if !review.figure_kinds.is_empty() {
                p.note { (text::EVENNESS_LEAD) }
            } @else if review.tempo.curve.len() > 1 {
                p.note { (words::NO_FIGURES) }
            }
            (apart(review, charts::evenness::draw_apart))
            @if !review.figure_kinds.is_empty() { (tables::kinds(review)) }
            @if !review.figures.is_empty() {
                details { summary { (text::SHOW_FIGURES) } (numbers::figures(review)) }
            }
        }
    }
}

pub fn tuning(review: &Review) -> Markup {
    let a4 = format!(
        "{} {}{NBSP}Hz.",
        text::TUNING_LEAD,
        number::short(review.settings.a4_hz, 2)
    );
    html! {
        section #tuning {
            h2 { (text::TUNING) }
            p.note { (a4) }
            (apart(review, charts::intonation::draw_apart))
            @if review.drums.iter().any(|d| !d.settings.is_empty()) { (tables::settings(review)) }
            @if !review.intervals.is_empty() { (tables::intervals(review)) }
        }
    }
}

pub fn dynamics(review: &Review) -> Markup {
    let dynamics = &review.dynamics;
    html! {
        section #dynamics {
            h2 { (text::DYNAMICS) }
            p.note { (text::DYNAMICS_LEAD) }
            (apart(review, charts::dynamics::draw_apart))
            @if !dynamics.levels.is_empty() { (tables::levels(review)) }
            @if !dynamics.hairpins.is_empty() { (tables::hairpins(review)) }
            @if !dynamics.accents.is_empty() {
                details { summary { (text::SHOW_ACCENTS) } (tables::accents(review)) }
            }
        }
    }
}

pub fn rolls(review: &Review) -> Markup {
    html! {
        section #rolls {
            h2 { (text::ROLLS) }
            (both(review, charts::rolls::draw))
            @if !review.rolls.is_empty() { (tables::rolls(review)) }
        }
    }
}

pub fn stops(review: &Review) -> Markup {
    html! {
        section #stops {
            h2 { (text::STOPS) }
            p.note { (text::STOPS_LEAD) }
            (both(review, charts::stops::draw))
            @if !review.stops.is_empty() { (tables::stops(review)) }
        }
    }
}

pub fn bars(review: &Review) -> Markup {
    html! {
        section #bars {
            h2 { (text::BARS) }
            (numbers::bars(review))
            details { summary { (text::SHOW_NOTES) } (numbers::notes(review)) }
            p {
                (text::FILES) " "
                a href="strokes.csv" { "strokes.csv" } ", "
                a href="review.json" { "review.json" } "."
            }
        }
    }
}

pub fn reading(review: &Review) -> Markup {
    html! {
        section #reading {
            h2 { (text::READING) }
            dl.reading {
                @for (head, body) in text::reading(review) {
                    dt { (words::capital(head)) } dd { (body) }
                }
            }
            h3 { (text::CAUTIONS_HEAD) }
            @for caution in text::CAUTIONS { p { (caution) } }
            h3 { (text::TABLE_SETTINGS_USED) }
            dl.facts {
                @for (name, value) in text::settings(review) { dt { (name) } dd { (value) } }
            }
        }
    }
}
