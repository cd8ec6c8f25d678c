//! Every word a reader sees, in one place, so that it can be put into another
//! language: this file holds what all share, `charts` the labels of charts,
//! `page` the review page, `terminal` the short summary, `remarks` what a
//! review says of a take, `journal` what is said across takes.
//!
//! Kind, plain and exact: what was heard, where, how large, how often; never a
//! judgement of the person.

#![allow(
    clippy::format_push_string,
    clippy::format_collect,
    reason = "texts here are short, and a sentence reads best where it is put together"
)]

mod charts;
mod glance;
pub mod journal;
pub mod page;
pub mod remarks;
pub mod terminal;

pub use crate::number::bar_span;
pub use charts::*;
pub use glance::*;

use crate::align::Outcome;
use crate::measure::AGAINST_SDS;
use crate::number::{self, NBSP};
use crate::pitch::Pitch;
use crate::report::lettering::harmless;
use crate::review::{
    Doubt, FigureKind, IntervalFacts, MetronomeFacts, Review, SettingFacts, Stop, StopState,
    TempoFacts, TuneVerdict,
};
use crate::settings::Settings;

/// A kind of figure as it is spoken of: "triplet-eighths" is "triplets".
pub fn kind_name(kind: &str) -> String {
    match kind.split_once('-') {
        None if kind == "eighths" => "pairs of eighths".to_owned(),
        None if kind == "sixteenths" => "groups of sixteenths".to_owned(),
        None if kind == "quarters" => "runs of quarters".to_owned(),
        Some(("thirty", "seconds")) => "groups of thirty-seconds".to_owned(),
        Some(("triplet", "eighths")) => "triplets".to_owned(),
        Some(("sextuplet", "sixteenths")) => "sextuplets".to_owned(),
        Some(("quintuplet", "sixteenths")) => "quintuplets".to_owned(),
        Some((tuplet, value)) if tuplet.ends_with("plet") => format!("{tuplet}s of {value}"),
        _ => harmless(&kind.replace('-', " ")),
    }
}

/// The same at the head of a line.
pub fn kind_title(kind: &str) -> String {
    capital(&kind_name(kind))
}

/// With a capital letter.
pub fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(chars).collect()
    })
}

/// With a capital letter and a full stop.
pub fn sentence(text: &str) -> String {
    let text = capital(text.trim());
    if text.is_empty() || text.ends_with(['.', '?', '!']) {
        text
    } else {
        text + "."
    }
}

/// "1 stroke", "12 strokes".
pub fn count(number: usize, one: &str, many: &str) -> String {
    format!("{number}{NBSP}{}", if number == 1 { one } else { many })
}

/// What an ear notices at this interval between strokes, ms.
pub fn noticeable_ms(settings: &Settings, interval_ms: f64) -> f64 {
    // Friberg & Sundberg 1995: the limit changes at 240 ms.
    if interval_ms < 240.0 {
        settings.noticeable_ms
    } else {
        settings.noticeable_pct / 100.0 * interval_ms
    }
}

/// "7 of 10 clean, 1 unsure".
pub fn clean_share(kind: &FigureKind) -> String {
    let judged = kind.clean + kind.not_clean;
    let unsure = kind.count.saturating_sub(judged);
    let sure = if judged == 0 {
        "none can be called clean or not".to_owned()
    } else {
        format!("{} of {judged} clean", kind.clean)
    };
    match unsure {
        0 => sure,
        n if judged == 0 => format!("{sure} ({n} unsure)"),
        n => format!("{sure}, {n} more unsure"),
    }
}

/// "9.1 ± 0.8 ms (5.2 %)".
pub fn kind_size(kind: &FigureKind) -> String {
    let Some(ms) = kind.median_unevenness_ms else {
        return number::UNKNOWN.to_owned();
    };
    let size = match kind.median_unevenness_sd_ms {
        Some(sd) => number::with_sd(ms, Some(sd)),
        None => number::plain(ms, 1),
    };
    let size = number::sized(&size, "ms");
    match kind.median_unevenness_pct {
        Some(pct) => format!("{size} ({}{NBSP}%)", number::plain(pct, 1)),
        None => size,
    }
}

/// The right and left hand of one kind of figure.
pub fn hands(kind: &FigureKind) -> Option<String> {
    let (right, left) = (kind.right_ms?, kind.left_ms?);
    Some(format!(
        "By hand, against the pulse: right {}, left {}.",
        early_late(right, kind.right_sd_ms),
        early_late(left, kind.left_sd_ms)
    ))
}

/// Whether a value lies to one side of zero beyond its uncertainty. Without an
/// uncertainty nothing is sure.
pub fn surely(value: f64, sd: Option<f64>) -> bool {
    sd.is_some_and(|sd| value.abs() > AGAINST_SDS * sd)
}

/// "18 ± 3 ms early"; where the side is not sure, "−2 ± 3 ms". A value without
/// an uncertainty is told by its side.
pub fn early_late(ms: f64, sd: Option<f64>) -> String {
    if sd.is_some() && !surely(ms, sd) {
        return number::sized(&number::signed_with_sd(ms, sd), "ms");
    }
    if number::plain(ms, 0) == "0" {
        return format!("within {}", number::sized("1", "ms"));
    }
    let word = if ms < 0.0 { "early" } else { "late" };
    let size = number::with_sd(ms.abs(), sd);
    format!("{} {word}", number::sized(&size, "ms"))
}

/// "kept 96, written 100 quarter notes a minute".
pub fn tempo_line(tempo: &TempoFacts) -> String {
    let Some(kept) = tempo.median_bpm else {
        return "not found".to_owned();
    };
    let mut line = format!("{} quarter notes a minute", number::plain(kept, 1));
    if let Some(marked) = tempo.marked_bpm {
        let off = (kept / marked - 1.0) * 100.0;
        line += &format!(", written {}", number::plain(marked, 0));
        if number::plain(off, 0) != "0" {
            let word = if off < 0.0 { "slower" } else { "faster" };
            line += &format!(" ({}{NBSP}% {word})", number::plain(off.abs(), 0));
        }
    }
    if let (Some(drift), Some(sd)) = (tempo.drift_pct_per_min, tempo.drift_sd_pct_per_min)
        && surely(drift, Some(sd))
    {
        let word = if drift > 0.0 { "gaining" } else { "losing" };
        line += &format!(
            "; {word} {}{NBSP}% a minute",
            number::with_sd(drift.abs(), Some(sd))
        );
    }
    line
}

/// There is a metronome, and the playing keeps to it.
pub fn against_clicks(review: &Review) -> bool {
    let metronome = review.metronome.as_ref();
    metronome.is_some_and(|m| m.quarters.is_some())
}

/// "106.2 clicks a minute, one every quarter note".
pub fn metronome_rate(metronome: &MetronomeFacts) -> String {
    let rate = format!(
        "{} clicks a minute",
        number::plain(metronome.clicks_per_min, 1)
    );
    let value = match metronome.quarters {
        Some(0.25) => "one every sixteenth",
        Some(0.5) => "one every eighth",
        Some(0.75) => "one every dotted eighth",
        Some(1.0) => "one every quarter note",
        Some(1.5) => "one every dotted quarter note",
        Some(2.0) => "one every half note",
        Some(3.0) => "one every dotted half note",
        Some(4.0) => "one every whole note",
        Some(_) => "one every triplet eighth",
        None => return rate,
    };
    format!("{rate}, {value}")
}

/// The metronome as the head of a page and the summary say it: its rate, and
/// the playing against it.
pub fn metronome_line(metronome: &MetronomeFacts) -> String {
    let rate = metronome_rate(metronome);
    let Some((off, scatter)) = metronome.deviation_ms.zip(metronome.scatter_ms) else {
        return rate;
    };
    let sd = metronome.deviation_sd_ms;
    let strokes = if surely(off, sd) {
        let side = if off < 0.0 { "before" } else { "after" };
        let size = number::with_sd(off.abs(), sd);
        format!("usually {} {side} the clicks", number::sized(&size, "ms"))
    } else {
        let size = number::signed_with_sd(off, sd);
        format!(
            "{} against the clicks, to neither side for sure",
            number::sized(&size, "ms")
        )
    };
    let scatter = number::sized(&number::plain(scatter, 0), "ms");
    format!("{rate}; strokes {strokes}, scattering by {scatter}")
}

/// How many of the notes that were reached have which outcome.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    pub played: usize,
    pub missed: usize,
    pub other_drum: usize,
    pub unsure: usize,
    pub not_reached: usize,
}

impl Tally {
    pub fn of(review: &Review) -> Self {
        let mut tally = Self::default();
        for note in &review.notes {
            match note.outcome {
                Outcome::Played => tally.played += 1,
                Outcome::Missed => tally.missed += 1,
                Outcome::OtherDrum => tally.other_drum += 1,
                Outcome::Unsure => tally.unsure += 1,
                Outcome::NotReached => tally.not_reached += 1,
            }
        }
        tally
    }

    pub fn reached(&self) -> usize {
        self.played + self.missed + self.other_drum + self.unsure
    }
}

/// "182 of 188 notes as written, 3 not heard, 1 on another drum, 2 unsure".
pub fn played_line(review: &Review) -> String {
    let tally = Tally::of(review);
    let mut line = format!(
        "{} of {} as written",
        tally.played,
        count(tally.reached(), "note", "notes")
    );
    for (number, word) in [
        (tally.missed, "not heard"),
        (tally.other_drum, "on another drum"),
        (tally.unsure, "unsure"),
    ] {
        if number > 0 {
            line += &format!(", {number}{NBSP}{word}");
        }
    }
    let extra = review
        .strokes
        .iter()
        .filter(|s| s.note.is_none() && in_counted(review, s.time_s))
        .count();
    if extra > 0 {
        line += &format!("; {}", count(extra, "stroke more", "strokes more"));
    }
    if let Some(passage) = review.passages.iter().find(|p| p.counted) {
        let span = bar_span(passage.from_bar, passage.to_bar);
        line = format!("{}: {line}", capital(&span));
    }
    if tally.not_reached > 0 {
        line += &format!("; {} outside what was played", tally.not_reached);
    }
    line
}

fn in_counted(review: &Review, time_s: f64) -> bool {
    let mut counted = review.passages.iter().filter(|p| p.counted);
    counted.any(|p| (p.from_s..=p.to_s).contains(&time_s))
}

/// "in tune", "noticeably sharp", "off, flat".
pub fn tune_verdict(setting: &SettingFacts) -> String {
    let side = setting
        .cents
        .map_or("", |c| if c < 0.0 { "flat" } else { "sharp" });
    match setting.verdict {
        Some(TuneVerdict::InTune) => "in tune".to_owned(),
        Some(TuneVerdict::Noticeable) => format!("noticeably {side}"),
        Some(TuneVerdict::Off) => format!("clearly {side}"),
        None if setting.cents.is_none() => "not measured".to_owned(),
        None => "unsure".to_owned(),
    }
}

/// Names of intervals up to two octaves.
pub fn interval_name(lower: Pitch, upper: Pitch) -> &'static str {
    const NAMES: [&str; 25] = [
        "unison",
        "minor second",
        "major second",
        "minor third",
        "major third",
        "fourth",
        "tritone",
        "fifth",
        "minor sixth",
        "major sixth",
        "minor seventh",
        "major seventh",
        "octave",
        "octave and a minor second",
        "octave and a major second",
        "octave and a minor third",
        "octave and a major third",
        "octave and a fourth",
        "octave and a tritone",
        "octave and a fifth",
        "octave and a minor sixth",
        "octave and a major sixth",
        "octave and a minor seventh",
        "octave and a major seventh",
        "two octaves",
    ];
    let semitones = (upper.key() - lower.key()).unsigned_abs() as usize;
    NAMES.get(semitones).copied().unwrap_or("interval")
}

/// "14 ± 4 cents wide"; where the side is not sure, "+6 ± 4 cents".
pub fn interval_size(interval: &IntervalFacts) -> String {
    let (cents, sd) = (interval.cents, Some(interval.cents_sd));
    if !surely(cents, sd) {
        return number::sized(&number::signed_with_sd(cents, sd), "cents");
    }
    let side = if cents < 0.0 { "narrow" } else { "wide" };
    let size = number::with_sd(cents.abs(), sd);
    format!("{} {side}", number::sized(&size, "cents"))
}

/// Why a drum was to be silent.
pub fn stop_expected(stop: &Stop) -> &'static str {
    match stop.expected.as_str() {
        "final" => "end of the part",
        "rest" => "before a rest",
        "staccato" => "staccato",
        "marked" => "marked to stop",
        _ => "to be stopped",
    }
}

/// What became of it, in a sentence.
pub fn stop_verdict(stop: &Stop) -> String {
    let ring = stop
        .ring_db_500ms
        .map(|db| format!("; half a second later {}{NBSP}dB", number::plain(db, 0)))
        .unwrap_or_default();
    match (stop.state, stop.late_ms) {
        (StopState::Stopped, Some(late)) => {
            let sd = stop.stopped_after_sd_ms;
            let when = if surely(late, sd) {
                let side = if late < 0.0 { "before" } else { "after" };
                let size = number::with_sd(late.abs(), sd);
                format!("{} {side} its end", number::sized(&size, "ms"))
            } else {
                let size = number::signed_with_sd(late, sd);
                format!("{} against its end", number::sized(&size, "ms"))
            };
            format!("stopped {when}{ring}")
        }
        (StopState::Stopped, None) if stop.stopped_after_ms.is_none() => {
            format!("stopped, when cannot be told{ring}")
        }
        (StopState::Stopped, None) => format!("stopped{ring}"),
        (StopState::Ringing, _) => format!("left to ring{ring}"),
        (StopState::Unsure, _) => "cannot be told".to_owned(),
    }
}

/// The outcome of one note.
pub fn outcome(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Played => "played",
        Outcome::Missed => "not heard",
        Outcome::OtherDrum => "another drum",
        Outcome::Unsure => "unsure",
        Outcome::NotReached => "not reached",
    }
}

/// What a doubt makes less sure.
pub fn doubt_limits(doubt: &Doubt) -> Option<String> {
    let names: Vec<String> = doubt
        .limits
        .iter()
        .map(|limit| match limit.as_str() {
            "outcomes" => "which notes were played".to_owned(),
            other => harmless(other),
        })
        .collect();
    if names.is_empty() {
        return None;
    }
    Some(format!("Less sure: {}.", number::list(&names)))
}
