//! Words of the take at a glance: its lanes, and what its notes and strokes say.

use super::{
    KEY_EXTRA, bar_span, early_late, nothing, outcome, pitch_name, played_line, tempo_line,
};
use crate::number::{self, NBSP};
use crate::pitch::Pitch;
use crate::review::{NoteFacts, PassageFacts, Review, StrokeFacts};

pub fn overview_desc(review: &Review) -> String {
    if review.judged {
        format!(
            "Strokes of each drum along the take. {}. Tempo: {}.",
            played_line(review),
            tempo_line(&review.tempo)
        )
    } else {
        nothing(review, "")
    }
}

pub fn lane_name(drum: u8, pitch: Option<Pitch>) -> String {
    match (drum, pitch) {
        (0, _) => "strokes".to_owned(),
        (drum, Some(pitch)) => format!("{drum} · {}", pitch_name(pitch)),
        (drum, None) => format!("drum {drum}"),
    }
}

pub fn retuned(pitch: Pitch) -> String {
    format!("→ {}", pitch_name(pitch))
}

pub fn passage_label(passage: &PassageFacts) -> String {
    let span = bar_span(passage.from_bar, passage.to_bar);
    if passage.counted {
        format!("{span}, counted")
    } else {
        span
    }
}

pub fn bar_link(bar: i32, seconds: f64) -> String {
    format!("Play from bar {bar}, {}", number::clock_tenths(seconds))
}

pub fn note_tip(note: &NoteFacts) -> String {
    format!(
        "Bar {}, beat {}, {}: {}",
        note.bar,
        beat(note.beat),
        pitch_name(note.pitch),
        outcome(note.outcome)
    )
}

pub fn stroke_tip(review: &Review, stroke: &StrokeFacts, note: Option<&NoteFacts>) -> String {
    let level = format!("{}{NBSP}dB", number::plain(stroke.level_db, 0));
    let at = number::clock_tenths(stroke.time_s);
    match note {
        Some(note) => {
            let timing = note.deviation_ms.map(|ms| {
                format!(
                    ", {} against the pulse",
                    early_late(ms, note.deviation_sd_ms)
                )
            });
            format!(
                "{}, {at}, {level}{}",
                note_tip(note),
                timing.unwrap_or_default()
            )
        }
        None if review.judged => format!("{at}, {level}: {KEY_EXTRA}"),
        None => format!("{at}, {level}"),
    }
}

/// A beat with no more decimals than it needs.
pub fn beat(beat: f64) -> String {
    number::short(beat, 2)
}
