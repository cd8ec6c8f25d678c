//! Titles, keys, axes and labels of charts, and the sentences that stand for
//! a chart where it cannot be seen.

use super::{
    bar_span, clean_share, count, early_late, interval_name, interval_size, kind_size, kind_title,
    noticeable_ms, stop_expected, stop_verdict, surely, tempo_line, tune_verdict,
};
use crate::number::{self, NBSP};
use crate::pitch::Pitch;
use crate::report::lettering::harmless;
use crate::review::{
    Accent, Figure, FigureKind, HairpinFacts, IntervalFacts, LevelFacts, Review, Roll,
    SettingFacts, Stop, StopState, TempoFacts,
};
use crate::settings::Settings;
use crate::stats::median_with_sd;

pub const OVERVIEW: &str = "The take at a glance";
pub const EVENNESS: &str = "Evenness";
pub const INTONATION: &str = "Drums in tune";
pub const DYNAMICS: &str = "Dynamic shape";
pub const ROLLS: &str = "Rolls";
pub const STOPS: &str = "Stops";

pub const NO_FIGURES: &str = "No figure of equal values was played whole.";
pub const NO_TUNING: &str = "No drum was struck clearly enough to tell its pitch.";
pub const NO_DYNAMICS: &str =
    "Levels are compared between single strokes under written marks; none could be matched.";
pub const NO_ROLLS: &str = "There is no roll in what was played.";
pub const NO_STOPS: &str = "No place where a drum is to be stopped was reached.";

pub const KEY_EARLY: &str = "early";
pub const KEY_WITHIN: &str = "within what an ear notices, or not surely outside";
pub const KEY_LATE: &str = "late";
pub const KEY_FLAT: &str = "flat";
pub const KEY_SHARP: &str = "sharp";
pub const KEY_STRADDLES: &str = "unsure: across a limit";
pub const KEY_PLAYED: &str = "played; the larger the louder";
pub const KEY_MISSED: &str = "not heard";
pub const KEY_OTHER: &str = "another drum struck (ring: the drum written)";
pub const KEY_UNSURE: &str = "unsure";
pub const KEY_EXTRA: &str = "a stroke that is no note";
pub const KEY_STROKE: &str = "a stroke (at the foot of the lanes: on which drum is not known)";
pub const KEY_ROLL: &str = "roll";
pub const KEY_TEMPO_KEPT: &str = "tempo kept";
pub const KEY_TEMPO_WRITTEN: &str = "tempo written";
pub const KEY_STOPPED: &str = "stopped";
pub const KEY_RINGING: &str = "left to ring";
pub const KEY_WRITTEN_END: &str = "end of the written value";

pub const TEMPO_ACROSS: &str = "Tempo across the piece";
pub const TEMPO_UNIT: &str = "Quarter notes a minute; bar numbers below";
pub const NEXT_NOTE: &str = "next";
pub const USUAL: &str = "usual";
pub const CENTS_AXIS: &str = "cents against the written pitch";
pub const CENTS_INTERVAL_AXIS: &str = "cents against the written interval";
pub const INTONATION_KEY: &str =
    "Bar: two standard uncertainties to either side. Small dots below: single strokes.";
pub const INTERVALS: &str = "Intervals between drums";
pub const INTERVALS_LINE: &str = "Wide to the right, narrow to the left; the signs as above. A \
     set that is flat together can be in tune with itself.";
pub const DB: &str = "dB";
pub const DB_LOUDEST: &str = "dB against the loudest stroke";
pub const DYNAMICS_LINE: &str =
    "Written marks and hairpins above, what was played below; bar numbers at the foot.";
const DYNAMICS_KEY: &str = "Dots: strokes. Solid: median under one mark, differences between \
     drums taken out, with two standard uncertainties.";
const DYNAMICS_ORDER_KEY: &str = "Broken: the nearest levels that keep the order of the marks.";
pub const ACCENTS_LINE: &str = "Against unaccented strokes near by on the same drum, with two \
     standard uncertainties; the band is what an ear hardly notices (1\u{a0}dB).";
pub const ROLLS_LINE: &str = "Level along each roll, dB against the loudest stroke of the take; its \
     first stroke against the next ones; a note that follows at once against its last ones.";
pub const STOPS_LINE: &str = "How the drum's own tones died away after the stroke, from its level \
     down to 40\u{a0}dB below it, as far as they can be followed before the next stroke of any drum. \
     Bar: two standard uncertainties of the moment to either side. Half a second after its end, what \
     still rings is told in dB against the stroke.";
pub const SECONDS_AFTER_STROKE: &str = "seconds after the stroke, the last one of a roll";
pub const SECONDS_INTO_ROLL: &str = "seconds from the start of the roll";
pub const SOUND: &str = "sound";
pub const BAR: &str = "bar";
pub const TEMPO: &str = "tempo";
pub const BPM: &str = "\u{2669} a minute";
pub const MIN_SEC: &str = "min:s";

/// Why a chart is empty.
pub fn nothing(review: &Review, why: &str) -> String {
    match &review.reason {
        Some(reason) if !review.judged => format!("Not judged: {reason}"),
        _ => why.to_owned(),
    }
}

pub const DEVIATIONS: &str = "Notes against the pulse";
pub const DEVIATIONS_ACROSS: &str = "ms against the pulse: − early, + late";
pub const DEVIATIONS_UP: &str = "notes";
pub const KEY_EITHER_SIDE: &str = "to neither side for sure";
pub const KEY_MEDIAN: &str = "median";
pub const NO_DEVIATIONS: &str = "Too few notes were heard for this chart.";

/// What the chart of deviations says in a sentence. A note is early or late
/// when it is so beyond two standard uncertainties.
pub fn deviations_line(median_ms: f64, notes: usize, (early, late): (usize, usize)) -> String {
    let median = number::sized(&number::signed(median_ms, 1), "ms");
    format!(
        "{}, median {median}: {early} surely early, {late} surely late (beyond two standard \
         uncertainties), {} to neither side for sure.",
        count(notes, "note", "notes"),
        notes - early - late
    )
}

/// Said where some notes lie outside the axis.
pub fn deviations_beyond(reach_ms: f64) -> String {
    format!(
        "Notes more than {} from the pulse stand in the outermost columns.",
        number::sized(&number::plain(reach_ms, 0), "ms")
    )
}

/// The part's title, or that it has none.
pub fn title(review: &Review) -> String {
    let title = harmless(&review.part.title);
    if title.trim().is_empty() {
        "Part without a title".to_owned()
    } else {
        title
    }
}

pub fn bar_label(bar: i32) -> String {
    format!("bar{NBSP}{bar}")
}

// Evenness

pub fn evenness_desc(review: &Review) -> String {
    let kinds: Vec<String> = review
        .figure_kinds
        .iter()
        .map(|k| format!("{}, {}", kind_heading(k), kind_size(k)))
        .collect();
    format!(
        "Places of the strokes inside each figure against equal parts. {}. Tempo: {}.",
        kinds.join(". "),
        tempo_line(&review.tempo)
    )
}

pub fn kind_heading(kind: &FigureKind) -> String {
    format!(
        "{}: {} measured, {}",
        kind_title(&kind.kind),
        kind.count,
        clean_share(kind)
    )
}

/// One kind, for where its chart cannot be seen.
pub fn kind_desc(kind: &FigureKind, settings: &Settings) -> String {
    let strokes = (0..kind.usual_shape_ms.len()).map(|k| usual_stroke(kind, k));
    let strokes: Vec<String> = strokes.collect();
    format!(
        "{}. {} {}",
        kind_heading(kind),
        kind_line(kind, settings),
        strokes.join(" ")
    )
}

pub fn kind_line(kind: &FigureKind, settings: &Settings) -> String {
    let mut line = format!("Median unevenness {}", kind_size(kind));
    if let Some(interval) = kind.median_interval_ms {
        line += &format!(
            "; strokes {}{NBSP}ms apart; the bands are what an ear notices, ±{}{NBSP}ms",
            number::plain(interval, 0),
            number::plain(noticeable_ms(settings, interval), 1)
        );
    }
    line + "."
}

/// A further panel of the same kind, which is too many for one.
pub fn kind_more(kind: &FigureKind, (first, last): (i32, i32)) -> String {
    format!("{}, {}", kind_title(&kind.kind), bar_span(first, last))
}

pub fn figure_tip(figure: &Figure, stroke: usize, offset: f64) -> String {
    let sd = figure.unevenness_sd_ms;
    let ms = figure.interval_ms.map(|i| early_late(offset * i, sd));
    format!(
        "Bar {}, stroke {stroke}: {}",
        figure.bar,
        ms.unwrap_or_default()
    )
}

pub fn scale_bar(ms: f64) -> String {
    format!(
        "{}{NBSP}ms; numbers count the strokes",
        number::plain(ms, 0)
    )
}

/// "Stroke 2: usually 18 ± 3 ms early, to that side 9 of 10 times." The figures
/// that are counted may be fewer than the kind has.
pub fn usual_stroke(kind: &FigureKind, k: usize) -> String {
    let ms = kind.usual_shape_ms.get(k).copied().unwrap_or(f64::NAN);
    let sd = kind.usual_shape_sd_ms.get(k).copied();
    let stroke = format!("Stroke {}", k + 2);
    if !surely(ms, sd) {
        let size = number::sized(&number::signed_with_sd(ms, sd), "ms");
        return format!("{stroke}: {size}, to neither side for sure.");
    }
    let mut text = format!("{stroke}: usually {}", early_late(ms, sd));
    if let Some(n) = kind.usual_shape_count.get(k) {
        let times = match kind.usual_shape_figures {
            Some(all) => format!("{n} of {}", count(all, "time", "times")),
            None => count(*n, "time", "times"),
        };
        text += &format!(", to that side {times}");
    }
    text + "."
}

pub fn tempo_kept(tempo: &TempoFacts) -> String {
    format!("kept: {}{NBSP}(median)", number::maybe(tempo.median_bpm, 1))
}

pub fn tempo_written(tempo: &TempoFacts) -> String {
    format!("written: {}", number::maybe(tempo.marked_bpm, 0))
}

// Tuning

pub fn intonation_desc(review: &Review) -> String {
    let settings: Vec<String> = review
        .drums
        .iter()
        .flat_map(|d| {
            d.settings.iter().map(|s| {
                format!(
                    "{}: {} ({})",
                    setting_label(d.drum, s.pitch),
                    setting_cents(s),
                    tune_verdict(s)
                )
            })
        })
        .collect();
    format!(
        "Pitch of each drum against the written one. {}.",
        settings.join("; ")
    )
}

pub fn key_in_tune(settings: &Settings) -> String {
    format!(
        "in tune, up to {}{NBSP}cents; lighter band up to {}{NBSP}cents",
        number::short(settings.tune_bands_cents[0], 1),
        number::short(settings.tune_bands_cents[1], 1)
    )
}

/// "Drum 4 · F3".
pub fn setting_label(drum: u8, pitch: Pitch) -> String {
    format!("Drum {drum} · {}", pitch_name(pitch))
}

/// A pitch with the signs of print.
pub fn pitch_name(pitch: Pitch) -> String {
    pitch
        .to_string()
        .replace('b', "\u{266d}")
        .replace('#', "\u{266f}")
}

pub fn setting_cents(setting: &SettingFacts) -> String {
    match setting.cents {
        Some(cents) => format!(
            "{}{NBSP}cents",
            number::signed_with_sd(cents, setting.cents_sd)
        ),
        None => "not measured".to_owned(),
    }
}

pub fn setting_small(setting: &SettingFacts) -> String {
    let mut text = count(setting.strokes, "stroke", "strokes");
    if setting.cents.is_none() {
        text += ", too few";
    }
    if let Some(drift) = setting.drift_cents_per_min {
        let sd = setting.drift_sd_cents_per_min;
        let size = number::signed_with_sd(drift, sd);
        text += &format!("; drift {} a min", number::sized(&size, "cents"));
    }
    text
}

pub fn interval_label(interval: &IntervalFacts) -> String {
    format!(
        "{}–{}",
        pitch_name(interval.lower),
        pitch_name(interval.upper)
    )
}

/// The intervals, for where their chart cannot be seen.
pub fn intervals_desc(review: &Review) -> String {
    let sizes = review.intervals.iter();
    let sizes: Vec<String> = sizes
        .map(|i| format!("{}: {}", interval_full(i), interval_size(i)))
        .collect();
    format!("{}.", sizes.join("; "))
}

/// "fifth D3–A3".
pub fn interval_full(interval: &IntervalFacts) -> String {
    format!(
        "{} {}",
        interval_name(interval.lower, interval.upper),
        interval_label(interval)
    )
}

// Dynamics

pub fn dynamics_desc(review: &Review) -> String {
    let levels: Vec<String> = review.dynamics.levels.iter().map(level_tip).collect();
    format!(
        "Level of the strokes over the written marks. {}.",
        levels.join("; ")
    )
}

/// A further panel of the same chart.
pub fn dynamics_more((first, last): (i32, i32)) -> String {
    format!(
        "Level of the strokes over the written marks, {}.",
        bar_span(first, last)
    )
}

pub fn level_tip(level: &LevelFacts) -> String {
    format!(
        "{} in {}: {}{NBSP}dB, {}",
        harmless(&level.mark),
        bar_span(level.bar, level.to_bar),
        number::maybe_with_sd(level.level_db, level.level_sd_db),
        count(level.strokes, "stroke", "strokes")
    )
}

/// "−12.0 ± 0.7 dB", "n 14": the level and its strokes, in as many lines as
/// the room asks for; widest first.
pub fn level_numbers(level: &LevelFacts) -> [Vec<String>; 3] {
    let size = number::maybe_with_sd(level.level_db, level.level_sd_db);
    let whole = number::sized(&size, "dB");
    let n = format!("n{NBSP}{}", level.strokes);
    let sep = format!("{NBSP}±{NBSP}");
    let narrow = match size.split_once(&sep) {
        Some((value, sd)) => vec![value.to_owned(), format!("±{NBSP}{sd}"), n.clone()],
        None => vec![size.clone(), n.clone()],
    };
    [vec![format!("{whole}, {n}")], vec![whole, n], narrow]
}

/// What is drawn under the marks; of the broken lines only where there are any.
pub fn dynamics_key(review: &Review) -> String {
    let is_moved = |l: &LevelFacts| l.fitted_db.is_some_and(|fit| Some(fit) != l.level_db);
    if review.dynamics.levels.iter().any(is_moved) {
        format!("{DYNAMICS_KEY} {DYNAMICS_ORDER_KEY}")
    } else {
        DYNAMICS_KEY.to_owned()
    }
}

pub fn order_breaks(review: &Review) -> Vec<String> {
    let breaks = review.dynamics.order_breaks.iter();
    breaks
        .map(|b| {
            format!(
                "{} in bar {} came out {}{NBSP}dB louder than {} in bar {}.",
                harmless(&b.softer_mark),
                b.softer_bar,
                number::with_sd(b.excess_db, Some(b.excess_sd_db)),
                harmless(&b.louder_mark),
                b.louder_bar
            )
        })
        .collect()
}

pub fn hairpin_size(hairpin: &HairpinFacts) -> String {
    match hairpin.change_db {
        Some(db) => format!(
            "{}{NBSP}dB",
            number::signed_with_sd(db, hairpin.change_sd_db)
        ),
        None => number::UNKNOWN.to_owned(),
    }
}

/// "Accents: 6 measured, median +4.1 ± 0.8 dB".
pub fn accents_heading(review: &Review) -> String {
    let accents = review.dynamics.accents.iter();
    let known: Vec<(f64, f64)> = accents
        .filter_map(|a| Some((a.contrast_db?, a.contrast_sd_db.unwrap_or(0.0))))
        .collect();
    let (sizes, sds): (Vec<f64>, Vec<f64>) = known.into_iter().unzip();
    let middle = median_with_sd(&sizes, &sds);
    let middle = number::maybe_signed_with_sd(middle.map(|m| m.value), middle.map(|m| m.sd));
    let size = number::sized(&middle, "dB");
    match sizes.len() {
        1 => format!("Accents: 1 measured, {size}"),
        n => format!("Accents: {n} measured, median {size}"),
    }
}

pub fn accent_tip(accent: &Accent) -> String {
    format!(
        "Accent in bar {}: {}{NBSP}dB",
        accent.bar,
        number::maybe_signed_with_sd(accent.contrast_db, accent.contrast_sd_db)
    )
}

// Stops and rolls

pub fn stops_desc(review: &Review) -> String {
    let of = |state| review.stops.iter().filter(|s| s.state == state).count();
    format!(
        "{} where a drum is to be silent: {} stopped, {} left to ring, {} unsure.",
        count(review.stops.len(), "place", "places"),
        of(StopState::Stopped),
        of(StopState::Ringing),
        of(StopState::Unsure)
    )
}

pub fn stop_place(stop: &Stop) -> String {
    format!("Bar {}, drum {}", stop.bar, stop.drum)
}

pub fn stop_label(stop: &Stop) -> String {
    format!("{}, {}", stop_place(stop), stop_expected(stop))
}

pub fn stop_sentence(stop: &Stop) -> String {
    format!("{}: {}", stop_label(stop), stop_verdict(stop))
}

/// What is shown of many stops, and where the others are.
pub fn more_stops(shown: &[&Stop], more: usize) -> String {
    let ends = shown.iter().any(|s| s.expected == "final");
    let first = if ends { "the end of the part, " } else { "" };
    format!(
        "Shown: {first}where a drum rang on most, and where it was stopped farthest from its end. {}",
        more_in_table(more)
    )
}

pub fn more_in_table(more: usize) -> String {
    format!("{more} more stand in the table and in review.json.")
}

/// The first so many, which are drawn.
pub fn rolls_desc(review: &Review, drawn: usize) -> String {
    let rolls: Vec<String> = review
        .rolls
        .iter()
        .take(drawn)
        .map(|r| format!("{}: {}", roll_label(review, r), roll_lines(r).join(", ")))
        .collect();
    format!("Level and speed of each roll. {}.", rolls.join("; "))
}

pub fn roll_label(review: &Review, roll: &Roll) -> String {
    let note = review.notes.get(roll.note);
    let pitch = note.map(|n| format!(" on {}", pitch_name(n.pitch)));
    format!("Bar {}{}", roll.bar, pitch.unwrap_or_default())
}

pub fn roll_length(roll: &Roll) -> String {
    format!("{}{NBSP}s long", number::plain(roll.to_s - roll.from_s, 1))
}

/// Speed; evenness; ends.
pub fn roll_lines(roll: &Roll) -> Vec<String> {
    let speed = match roll.strokes_per_s {
        Some(rate) => format!(
            "{} strokes a second",
            number::with_sd(rate, roll.strokes_per_s_sd)
        ),
        None => "speed not measured".to_owned(),
    };
    let even = match roll.unevenness_pct {
        Some(pct) => {
            let size = number::with_sd(pct, roll.unevenness_sd_pct);
            format!("spacing uneven by {}", number::sized(&size, "%"))
        }
        None => "evenness not measured".to_owned(),
    };
    let mut lines = vec![speed, even];
    let ends = [
        (
            "first stroke",
            roll.start_accent_db,
            roll.start_accent_sd_db,
        ),
        ("note after", roll.end_accent_db, roll.end_accent_sd_db),
    ]
    .into_iter()
    .filter_map(|(word, db, sd)| {
        let size = number::signed_with_sd(db?, sd);
        Some(format!("{word} {}", number::sized(&size, "dB")))
    });
    if roll.level_curve_db.is_empty() {
        lines.push("level along it not measured".to_owned());
    }
    lines.extend(ends);
    if let Some(gap) = roll.gap_ms {
        lines.push(format!(
            "gap to the next note {}{NBSP}ms",
            number::with_sd(gap, roll.gap_sd_ms)
        ));
    }
    lines
}

/// "2 rolls, 11 to 13 strokes a second".
pub fn rolls_short(review: &Review) -> String {
    let mut rates: Vec<f64> = review
        .rolls
        .iter()
        .filter_map(|r| r.strokes_per_s)
        .collect();
    rates.sort_by(f64::total_cmp);
    let rolls = count(review.rolls.len(), "roll", "rolls");
    match (rates.first(), rates.last()) {
        (Some(low), Some(high)) => {
            let (low, high) = (number::plain(*low, 1), number::plain(*high, 1));
            if low == high {
                format!("{rolls}, {low} strokes a second")
            } else {
                format!("{rolls}, {low} to {high} strokes a second")
            }
        }
        _ => format!("{rolls}, speed not measured"),
    }
}
