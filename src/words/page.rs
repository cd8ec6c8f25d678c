//! The review page, from its head to its last caution.

use super::{bar_span, capital, count};
use crate::journal::date::{Origin, Recorded};
use crate::number::{self, NBSP};
use crate::report::lettering::harmless;
use crate::review::{PassageFacts, Remark, Review, TakeFacts};

pub const KICKER: &str = "Review of a practice take";
pub const CONTENTS: &str = "On this page";

pub const TAKE: &str = "Take";
pub const RECORDED: &str = "Recorded";
pub const TEMPO: &str = "Tempo kept";
pub const METRONOME: &str = "Metronome";
pub const PLAYED: &str = "Played";
pub const RECORDING: &str = "Recording";
pub const NOT_JUDGED: &str = "This take was not judged.";
pub const DOUBTS: &str = "What makes this review less sure";

pub const PRACTISE: &str = "Practise next";
pub const GLANCE: &str = "The take at a glance";
pub const EVENNESS: &str = "Evenness";
pub const TUNING: &str = "Drums in tune";
pub const DYNAMICS: &str = "Dynamic shape";
pub const ROLLS: &str = "Rolls";
pub const STOPS: &str = "Stops";
pub const BARS: &str = "Bar by bar";
pub const READING: &str = "How to read this";

pub const NO_REMARKS: &str = "Nothing stands out that could be said with confidence. That is a \
     good sign, or the take is too short to tell.";
pub const TO_PRACTISE: &str = "To practise it:";
pub const NO_AUDIO: &str = "This page was made without the recording, so nothing can be played \
     from it.";
pub const AUDIO_BESIDE: &str = "The recording is not inside this page. It is found at the place it had when the page was made:";
pub const AUDIO_INSIDE: &str =
    "A small copy of what was played is inside this page; think before you hand it on.";
pub const AUDIO_MISSING: &str = "The recording is no longer where it was when this page was made.";
pub const PLAYER: &str = "The take";
pub const STRIP: &str = "Strokes of the take along time; arrow keys go from stroke to stroke";
pub const PLAY: &str = "Play";
pub const PAUSE: &str = "Pause";
pub const BAR_BACK: &str = "Bar back";
pub const BAR_ON: &str = "Bar on";
pub const SPEED: &str = "Speed";
pub const LOOP: &str = "Loop";
pub const LOOP_FROM: &str = "from bar";
pub const LOOP_TO: &str = "to bar";
pub const KEYS: &str = "With the strip or a control in focus: space plays and pauses, the left \
     and right arrows go from stroke to stroke, with Shift from bar to bar, up and down change the \
     speed at the same pitch, L loops, Enter plays from a bar. Drag across the strip to choose a \
     stretch for the loop.";
pub const KEYS_WITHOUT_BARS: &str = "With the strip or a control in focus: space plays and pauses, \
     the left and right arrows go from stroke to stroke, up and down change the speed at the same \
     pitch, L loops the whole. Drag across the strip to choose a stretch for the loop.";
pub const STRIP_KEY: &str = "Shapes in the strip";
pub const PASSAGES: &str = "Passages heard in this take";

pub const EVENNESS_LEAD: &str = "Each row is one figure. A stroke that divides it evenly lies on \
     its line.";
pub const TUNING_LEAD: &str = "Each drum against equal temperament at A4 =";
pub const DYNAMICS_LEAD: &str = "Levels compare strokes of this take with each other; they say \
     nothing about how loud it was in the room.";
pub const STOPS_LEAD: &str = "A drum that is to be silent, and when it was.";

pub const TABLE_KINDS: &str = "Figures by kind";
pub const TABLE_SETTINGS: &str = "Settings of the drums";
pub const TABLE_INTERVALS: &str = "Intervals between drums";
pub const TABLE_LEVELS: &str = "Levels under each mark";
pub const TABLE_HAIRPINS: &str = "Hairpins";
pub const TABLE_ACCENTS: &str = "Accents";
pub const TABLE_ROLLS: &str = "Rolls";
pub const TABLE_STOPS: &str = "Stops";
pub const TABLE_BARS: &str = "Every bar of the part";
pub const TABLE_NOTES: &str = "Every note of the part";
pub const TABLE_FIGURES: &str = "Every figure";
pub const TABLE_SETTINGS_USED: &str = "Settings of this review";
pub const FILES: &str = "The same numbers for other programs:";
pub const SHOW_NOTES: &str = "Every note, one line each";
pub const SHOW_FIGURES: &str = "Every figure, one line each";
pub const SHOW_ACCENTS: &str = "Every accent, one line each";

/// The day of the recording and how it is known. The time of the file is
/// not told: it changes with every copy.
pub fn recorded(recorded: &Recorded) -> Option<String> {
    let how = match recorded.origin {
        Origin::Metadata => "as the recording says",
        Origin::FileName => "from the name of the file",
        Origin::FileTime => return None,
    };
    let day = recorded.at.get(..10).unwrap_or(&recorded.at);
    Some(format!("{} ({how})", harmless(day)))
}

/// Length, format and noise of the recording.
pub fn recording(take: &TakeFacts) -> String {
    let channels = match take.channels {
        1 => "mono".to_owned(),
        2 => "stereo".to_owned(),
        n => format!("{n} channels"),
    };
    let mut line = format!(
        "{} long, {}, {}{NBSP}kHz, {channels}",
        number::clock(take.duration_s),
        harmless(&take.codec),
        number::short(f64::from(take.sample_rate_hz) / 1000.0, 2)
    );
    let levels: Vec<String> = [("peak", take.peak_db), ("noise", take.noise_floor_db)]
        .into_iter()
        .filter_map(|(name, db)| {
            let size = number::sized(&number::plain(db?, 0), "dB");
            Some(format!("{name} {size}"))
        })
        .collect();
    if !levels.is_empty() {
        line += &format!("; {} against full scale", levels.join(" and "));
    }
    line
}

/// How fit it is, in one line.
pub fn fitness(review: &Review) -> &'static str {
    match review.doubts.len() {
        0 => "nothing in it stands against judging",
        1 => "one doubt, below",
        _ => "some doubts, below",
    }
}

/// The head of a remark: its bars.
pub fn remark_bars(remark: &Remark) -> String {
    capital(&number::few_bars(&remark.bars))
}

/// "Play 0:39–0:46".
pub fn play_span(from: f64, to: f64) -> String {
    format!("Play {}–{}", number::clock(from), number::clock(to))
}

/// One line a passage.
pub fn passage(number: usize, passage: &PassageFacts) -> String {
    let tempo = passage
        .median_bpm
        .map(|bpm| format!(", at {}", number::plain(bpm, 0)));
    let uneven = passage
        .unevenness_ms
        .map(|ms| format!(", figures uneven by {}{NBSP}ms", number::plain(ms, 1)));
    let reached = passage.played + passage.missed + passage.other_drum + passage.unsure;
    format!(
        "{number}. {}, {}–{}{}: {} of {} as written{}{}",
        capital(&bar_span(passage.from_bar, passage.to_bar)),
        number::clock(passage.from_s),
        number::clock(passage.to_s),
        tempo.unwrap_or_default(),
        passage.played,
        count(reached, "note", "notes"),
        uneven.unwrap_or_default(),
        if passage.counted {
            " (this one counts)"
        } else {
            ""
        }
    )
}

/// What each number means and how far it can be trusted: head and text.
pub fn reading(review: &Review) -> Vec<(&'static str, String)> {
    let settings = &review.settings;
    vec![
        (
            "±",
            "One standard uncertainty: the true value lies within twice that in about 19 of 20 \
             cases. Where an uncertainty reaches across a limit, there is no verdict: the word is \
             “unsure”, and a dash stands where nothing could be measured."
                .to_owned(),
        ),
        (
            "Not heard, another drum",
            format!(
                "Said only when it is at least {} times likelier than that the note was played as \
                 written. A soft stroke under a drum that rings may be there and yet be “unsure”.",
                number::plain(settings.accuse_ratio, 0)
            ),
        ),
        ("The pulse", pulse_and_clicks(review)),
        (
            "Evenness",
            format!(
                "How far the strokes of a figure lie from equal parts: the root mean square of \
                 its intervals about their mean, with what timing uncertainty alone would cause \
                 taken out. An ear notices about {}{NBSP}ms below 240{NBSP}ms between strokes and \
                 {}{NBSP}% of the interval above (Friberg and Sundberg, 1995). A figure is clean \
                 when every interval lies within {} times that.",
                number::short(settings.noticeable_ms, 1),
                number::short(settings.noticeable_pct, 2),
                number::short(settings.clean_factor, 2)
            ),
        ),
        (
            "Cents",
            format!(
                "Hundredths of a semitone between the principal tone of the drum and the written \
                 pitch, A4 = {}{NBSP}Hz; sharp is positive. Up to {} is called in tune, beyond {} \
                 clearly out. A single stroke cannot be read finer than a few cents: a drum has \
                 two nearly equal tones where its head is not quite even. A loud stroke starts sharp and \
                 settles: the table says by how many cents more a stroke does that is \
                 10{NBSP}dB louder.",
                number::short(settings.a4_hz, 2),
                number::short(settings.tune_bands_cents[0], 1),
                number::short(settings.tune_bands_cents[1], 1)
            ),
        ),
        (
            "Level",
            "Energy of the first 80\u{a0}ms of a stroke above what was ringing already, in decibels \
             below the loudest stroke of this take. Microphone and room favour some drums, so \
             strokes are compared within a drum first. A recorder that levels everything out \
             leaves no verdict on dynamics."
                .to_owned(),
        ),
        (
            "Steadiness of a hairpin",
            "How much of the differences in level between its strokes one even change explains: 1 \
             is all of them, 0 none."
                .to_owned(),
        ),
        (
            "Stops",
            "When the drum's own tones leave their free decay, against the end of the written \
             value. In a live room the room rings on and the moment is less sure."
                .to_owned(),
        ),
        (
            "What this cannot tell",
            "Tone, touch, phrasing, how it fits with others, and whether a departure was meant. \
             It knows the written notes, not your teacher's wishes."
                .to_owned(),
        ),
    ]
}

/// The pulse and, where there are any, the clicks. Sound travels a metre in
/// 2.9 ms (343 m/s in air at 20 °C; from memory).
fn pulse_and_clicks(review: &Review) -> String {
    let mut text = "The tempo you kept: a smooth curve through your own strokes over about a bar. \
                    Early and late are against this curve, not against a metronome."
        .to_owned();
    if super::against_clicks(review) {
        text += " Only the line “Metronome” and the column “Against clicks” are against the \
                 clicks, or equal parts of the time between them, early negative; both as they \
                 reach the microphone. Each metre that the metronome is farther from it than the \
                 drum makes strokes seem 3\u{a0}ms early.";
    }
    text
}

pub const CAUTIONS_HEAD: &str = "Cautions";
pub const CAUTIONS: [&str; 4] = [
    "This is advice for practice, not a grade. A teacher judges, with ears and with knowledge of \
     you.",
    "It is not a sound-level measurement. A microphone that is not calibrated cannot say how loud \
     it was where you stood, nor how much your ears can bear.",
    "Timpani in a small room are loud. Take breaks, and protect your ears.",
    "More repetitions are not always better. Raise the amount you play slowly, rest, and stop when \
     something hurts.",
];

/// The last line.
pub fn made_by(review: &Review) -> String {
    format!("Made by kettlemark {}.", harmless(&review.program))
}

/// Heads of table columns.
pub mod column {
    pub const KIND: &str = "Kind";
    pub const MEASURED: &str = "Measured";
    pub const CLEAN: &str = "Clean";
    pub const NOT_CLEAN: &str = "Not clean";
    pub const UNSURE: &str = "Unsure";
    pub const UNEVENNESS: &str = "Unevenness";
    /// The same where room is short.
    pub const UNEVEN: &str = "Uneven";
    pub const APART: &str = "Apart";
    pub const RIGHT: &str = "Right hand";
    pub const LEFT: &str = "Left hand";
    pub const DRUM: &str = "Drum";
    pub const BARS: &str = "Bars";
    pub const BAR: &str = "Bar";
    pub const BEAT: &str = "Beat";
    pub const OFF: &str = "Against written";
    pub const HZ: &str = "Frequency";
    pub const STROKES: &str = "Strokes";
    pub const DRIFT: &str = "Drift";
    pub const LOUD_SHARP: &str = "Loud starts sharp";
    pub const VERDICT: &str = "Verdict";
    pub const INTERVAL: &str = "Interval";
    pub const SIZE: &str = "Size";
    pub const MARK: &str = "Mark";
    pub const LEVEL: &str = "Level";
    pub const WRITTEN: &str = "Written";
    pub const CHANGE: &str = "Change";
    pub const STEADY: &str = "Steadiness";
    pub const CONTRAST: &str = "Contrast";
    pub const ROLL: &str = "Roll";
    pub const LENGTH: &str = "Length";
    pub const SPEED: &str = "Strokes";
    pub const START: &str = "First stroke";
    pub const END: &str = "Note after";
    pub const GAP: &str = "Gap after";
    pub const PLACE: &str = "Place";
    pub const WHY: &str = "Why";
    pub const STATE: &str = "State";
    pub const AFTER: &str = "Stopped after";
    pub const LATE: &str = "Against its end";
    pub const RING: &str = "Rings";
    pub const TIME: &str = "Time";
    pub const TEMPO: &str = "Tempo";
    pub const NOTES: &str = "Notes";
    pub const PLAYED: &str = "As written";
    pub const MISSED: &str = "Not heard";
    pub const OTHER: &str = "Other drum";
    pub const DEVIATION: &str = "Against pulse";
    pub const CLICK_DEVIATION: &str = "Against clicks";
    pub const PITCH: &str = "Pitch";
    pub const OUTCOME: &str = "Outcome";
    pub const CENTS: &str = "Tuning";
    pub const SHARES: &str = "Shares";
    pub const SETTING: &str = "Setting";
    pub const VALUE: &str = "Value";
}

/// Units under the heads.
pub mod unit {
    pub const MS: &str = "ms";
    pub const PCT: &str = "%";
    pub const CENTS: &str = "cents";
    pub const HZ: &str = "Hz";
    pub const CENTS_A_MIN: &str = "cents a min";
    pub const CENTS_10_DB: &str = "cents for 10\u{a0}dB";
    pub const DB: &str = "dB";
    pub const DB_HALF: &str = "dB after 0.5\u{a0}s";
    pub const A_SECOND: &str = "a second";
    pub const SECONDS: &str = "s";
    pub const MIN_SEC: &str = "min:s";
    pub const BPM: &str = "\u{2669} a min";
    pub const ZERO_TO_ONE: &str = "0 to 1";
}

/// Names of the settings with their values.
pub fn settings(review: &Review) -> Vec<(&'static str, String)> {
    let s = &review.settings;
    vec![
        ("A4", format!("{}{NBSP}Hz", number::short(s.a4_hz, 2))),
        (
            "Passage that counts",
            s.passage
                .map_or_else(|| "the longest".to_owned(), |n| n.to_string()),
        ),
        (
            "In tune up to, off beyond",
            format!(
                "{}, {}{NBSP}cents",
                number::short(s.tune_bands_cents[0], 1),
                number::short(s.tune_bands_cents[1], 1)
            ),
        ),
        (
            "Noticeable below 240\u{a0}ms",
            format!("{}{NBSP}ms", number::short(s.noticeable_ms, 1)),
        ),
        (
            "Noticeable from 240\u{a0}ms",
            format!("{}{NBSP}%", number::short(s.noticeable_pct, 2)),
        ),
        (
            "Clean within",
            format!("{} times that", number::short(s.clean_factor, 2)),
        ),
        (
            "Likelihood ratio for “not heard” and “another drum”",
            number::plain(s.accuse_ratio, 0),
        ),
    ]
}
