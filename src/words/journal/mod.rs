//! What is said across takes: `weeks` of a player's trends, `sets` of two sets
//! of takes, `classes` of a class, `charts` the words in all their charts; this
//! file names the measures and holds what all share.

mod charts;
mod classes;
mod sets;
mod weeks;

pub use charts::*;
pub use classes::*;
pub use sets::*;
pub use weeks::*;

use super::{count, kind_name, setting_label};
use crate::journal::measures::{Choice, Definition, Measure, definition_of};
use crate::journal::stats::Interval;
use crate::number::{self, NBSP, plain, signed, sized};

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

/// What a measure depends on that was chosen otherwise.
fn other_choice(choice: Choice) -> &'static str {
    match choice {
        Choice::Nothing => "other settings",
        Choice::A4 => "another frequency of A4",
        Choice::CleanLimit => "another limit for clean figures",
        Choice::AccuseRatio => {
            "another likelihood asked for before a note counts as not as written"
        }
    }
}

/// Takes left out because of their definition, with a space before; empty for
/// none.
fn other_definition(takes: usize) -> String {
    if takes == 0 {
        return String::new();
    }
    format!(
        " {} measured by an earlier definition left out; review them again to compare.",
        count(takes, "take", "takes")
    )
}

/// Takes left out because of their settings, with a space before; empty for none.
fn other_settings(takes: usize, choice: Choice) -> String {
    if takes == 0 {
        return String::new();
    }
    format!(
        " {} reviewed with {} left out; review them again with that of the newest to compare.",
        count(takes, "take", "takes"),
        other_choice(choice)
    )
}

/// Why a difference may be rare by chance and yet nothing is said of it.
const ALONE: &str = "Looked at alone it would count; among so many measures it may be chance.";

/// The last line of a page.
pub fn made_by() -> String {
    format!("Made by kettlemark {}.", env!("CARGO_PKG_VERSION"))
}

/// A bar of progress; in braces what is put in.
pub const PROGRESS: &str = "{pos} of {len} takes {wide_bar} {eta} left";
/// A line while one take is reviewed.
pub const LISTENING: &str = "reading and hearing the take: {elapsed}";
pub const ALL_MEASURES: &str = "All measures";
pub const RECKONED: &str = "How this is reckoned";
pub const MEASURE: &str = "Measure";
pub const PROBABILITY: &str = "p";
pub const IN_95: &str = "95\u{a0}%";

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
