//! What is said of a class.

use crate::journal::class::shared::{Shared, What};
use crate::number;
use crate::report::lettering::harmless;
use crate::words::count;

pub const CLASS: &str = "A class";
pub const SHARED: &str = "What most players share";
pub const NOTHING_SHARED: &str = "Nothing that at least half of them have in the same bars.";
/// Beside statements of tempo.
pub const TEMPO_SHARED: &str = "A bar is rushed or dragged where its own tempo surely differs from that of the whole take by more than the ear lets pass. Written changes of tempo do not count.";
pub const TAKES: &str = "The takes";
pub const TAKES_TABLE: &str = "What became of the notes; a line a take, in the order of names";
pub const EVENNESS_TABLE: &str = "Evenness";
pub const OTHERS_TABLE: &str = "Tuning, accents, stops and tempo";
pub const PLAYER: &str = "Player";
pub const TAKE: &str = "Take";
pub const DOUBTS: &str = "Doubts";
/// In the order of [`crate::journal::class::OUTCOMES`].
pub const OUTCOMES: [&str; 5] = [
    "As written",
    "Not heard",
    "Other drum",
    "Unsure",
    "Not reached",
];
pub const NOT_JUDGED: &str = "Not judged";
pub const SPREAD: &str = "How the class spreads";
pub const ONE_DOT: &str = "One dot a take.";
pub const STATE_JUDGED: &str = "judged";
pub const STATE_REFUSED: &str = "not judged";
pub const STATE_UNREADABLE: &str = "not read";

/// The window's title.
pub fn class_title(title: &str) -> String {
    format!("{title}: a class")
}

/// "17 of 18 takes were judged."
pub fn judged(judged: usize, of: usize) -> String {
    format!("{judged} of {} judged.", count(of, "take", "takes"))
}

/// "12 of 18 rush bars 9–10".
pub fn shared(s: &Shared) -> String {
    let bars = number::bars(&s.bars);
    let what = match s.what {
        What::Rush => format!("rush {bars}"),
        What::Drag => format!("drag {bars}"),
        What::Uneven => format!("play {bars} unevenly"),
        What::Missed => format!("leave out notes in {bars}"),
        What::OtherDrum => format!("strike another drum than written in {bars}"),
        What::RingsOn => format!("let a drum ring on in {bars}"),
        What::OffPitch => format!("have a drum off its pitch in {bars}"),
    };
    format!("{} of {} {what}", s.players, s.of)
}

/// A kind of doubt in a word or two.
pub fn doubt(kind: &str) -> String {
    let word = match kind {
        "gain-control" => "level steered",
        "clipping" => "loudest peaks cut off",
        "noise" => "loud background",
        "recording" => "the file itself",
        "bass-cut" => "bass taken away",
        "narrow" => "treble missing",
        "gap" => "gaps",
        "start-offset" => "start not known",
        "match" => "perhaps another part",
        "unsure" => "many notes unsure",
        "drum-unheard" => "a drum not heard",
        "part-only" => "a part only",
        "place" => "place in the part not sure",
        "click-track" => "a click along",
        "extra-strokes" => "strokes beside the part",
        "too-few" => "too few strokes",
        "rolls-unsure" => "speed of rolls unsure",
        "stops-unsure" => "stops unsure",
        other => return harmless(other),
    };
    word.to_owned()
}

// How far the work is; the braces are filled in by the bar

pub const LOOKED_AT: &str = "{pos} of {len} takes looked at {wide_bar} {eta} left";

// Why a take was not read

pub const NO_REASON: &str = "no reason was given";
pub const NO_FILE: &str = "it is not an ordinary file; save the recording to a file first";
/// Before what is wrong with a part.
pub const IN_THE_PART: &str = "in the part: ";

pub fn given_up(limit_s: u64) -> String {
    format!("given up after {limit_s} seconds; --limit-s gives it longer")
}

pub fn died(how: &str, limit_mb: u64) -> String {
    format!("the process that read it died ({how}); it may have wanted more than {limit_mb} MB")
}

pub fn out_of_memory(limit_mb: u64) -> String {
    format!("reading it wants more memory than {limit_mb} MB; --limit-mb gives it more")
}

pub fn not_started(why: &str) -> String {
    format!("no process could be started: {why}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    /// The kinds are read where doubts are made, so that a new one cannot
    /// come without words.
    #[test]
    fn every_kind_of_doubt_has_words() {
        let source = include_str!("../../measure/doubts.rs");
        let kinds: BTreeSet<&str> = source
            .split("doubt(")
            .skip(1)
            .filter_map(|call| call.trim_start().strip_prefix('"')?.split('"').next())
            .collect();
        assert!(kinds.len() >= 17, "{kinds:?}");
        for kind in kinds {
            assert_ne!(doubt(kind), kind);
        }
    }
}
