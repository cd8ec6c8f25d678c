//! strokes.csv: every stroke with the note it plays, one line each (RFC 4180
//! with line feeds). Unknown is an empty cell, never 0.

use crate::align::Outcome;
use crate::review::Review;

const HEAD: [&str; 15] = [
    "time_s",
    "time_sd_ms",
    "level_db",
    "drum",
    "hz",
    "cents",
    "cents_sd",
    "in_roll",
    "note",
    "bar",
    "beat",
    "pitch",
    "outcome",
    "deviation_ms",
    "deviation_sd_ms",
];

/// The first columns of class.csv, by which it is known as one of ours.
pub const CLASS_HEAD: [&str; 11] = [
    "player",
    "take",
    "state",
    "reason",
    "folder",
    "doubts",
    "notes_played",
    "notes_missed",
    "notes_other_drum",
    "notes_unsure",
    "notes_not_reached",
];

/// The first line, by which a file is known as one of ours.
pub fn head() -> String {
    HEAD.join(",")
}

/// The text of strokes.csv.
pub fn strokes(review: &Review) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    // A Vec takes every byte: writing cannot fail.
    let _ = writer.write_record(HEAD);
    for (i, stroke) in review.strokes.iter().enumerate() {
        let note = stroke.note.and_then(|n| review.notes.get(n));
        // Later strokes of a roll are not where the roll is to begin.
        let first = note.filter(|n| n.stroke == Some(i));
        let _ = writer.write_record([
            number(Some(stroke.time_s), 5),
            number(Some(stroke.time_sd_ms), 3),
            number(Some(stroke.level_db), 2),
            stroke.drum.map(|d| d.to_string()).unwrap_or_default(),
            number(stroke.hz, 3),
            number(stroke.cents, 2),
            number(stroke.cents_sd, 2),
            stroke.in_roll.to_string(),
            stroke.note.map(|n| n.to_string()).unwrap_or_default(),
            note.map(|n| n.bar.to_string()).unwrap_or_default(),
            number(note.map(|n| n.beat), 6),
            note.map(|n| n.pitch.to_string()).unwrap_or_default(),
            note.map(|n| outcome(n.outcome)).unwrap_or_default(),
            number(first.and_then(|n| n.deviation_ms), 3),
            number(first.and_then(|n| n.deviation_sd_ms), 3),
        ]);
    }
    let bytes = writer.into_inner().unwrap_or_default();
    String::from_utf8_lossy(&bytes).into_owned()
}

/// The same word as in review.json.
fn outcome(outcome: Outcome) -> String {
    match outcome {
        Outcome::Played => "played",
        Outcome::Missed => "missed",
        Outcome::OtherDrum => "other-drum",
        Outcome::Unsure => "unsure",
        Outcome::NotReached => "not-reached",
    }
    .to_owned()
}

fn number(value: Option<f64>, decimals: usize) -> String {
    let Some(value) = value.filter(|v| v.is_finite()) else {
        return String::new();
    };
    let text = format!("{value:.decimals$}");
    let short = text.trim_end_matches('0').trim_end_matches('.');
    if short == "-0" { "0" } else { short }.to_owned()
}
