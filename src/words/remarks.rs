//! What a review says of a take: remarks with a way to practise, reasons why
//! it was not judged, doubts.
//!
//! These texts stand in review.json as well, where people search in them:
//! their spaces are common ones.

use super::{capital, early_late, kind_name, pitch_name};
use crate::number::{self, NBSP, few_bars, list, plain};
use crate::pitch::Pitch;
use crate::review::{MetronomeFacts, TempoFacts};

/// A sentence needs no finer uncertainty than this: one decimal at most.
const FINEST: f64 = 0.2;

/// A metronome within this share of the written tempo keeps it.
const SAME_TEMPO: f64 = 0.01;

/// "18 ± 3 ms": the size without its sign.
fn size(value: f64, sd: f64, unit: &str) -> String {
    number::sized(&number::with_sd(value.abs(), Some(sd.max(FINEST))), unit)
}

fn common_spaces(text: String) -> String {
    if text.contains(NBSP) {
        return text.replace(NBSP, " ");
    }
    text
}

/// Which stroke of a figure: `k` from 0, `of` strokes.
pub fn stroke_name(k: usize, of: usize) -> String {
    const ORDINALS: [&str; 8] = [
        "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth",
    ];
    if of == 3 && k == 1 {
        return "middle note".to_owned();
    }
    if of > 2 && k + 1 == of {
        return "last note".to_owned();
    }
    ORDINALS
        .get(k)
        .map_or_else(|| format!("{}th note", k + 1), |o| format!("{o} note"))
}

/// One sentence with a way to practise it.
pub struct Advice {
    pub text: String,
    pub practise: String,
}

fn advice(text: String, practise: &str) -> Advice {
    Advice {
        text: common_spaces(text),
        practise: practise.to_owned(),
    }
}

/// One stroke of a kind of figure is usually to one side.
pub struct ShapeFacts<'a> {
    pub kind: &'a str,
    pub bars: &'a [i32],
    pub stroke: usize,
    pub strokes: usize,
    pub ms: f64,
    pub sd_ms: f64,
    pub same_side: usize,
    pub count: usize,
    /// What an ear notices between these strokes.
    pub noticeable_ms: f64,
}

pub fn shape(facts: &ShapeFacts) -> Advice {
    let text = format!(
        "In {} the {} of the {} comes {} ({} of {} times); an ear notices about {} ms.",
        few_bars(facts.bars),
        stroke_name(facts.stroke, facts.strokes),
        kind_name(facts.kind),
        early_late(facts.ms, Some(facts.sd_ms.max(FINEST))),
        facts.same_side,
        facts.count,
        plain(facts.noticeable_ms, 0)
    );
    advice(
        text,
        "Play the figure slowly over a metronome that sounds every note of it, each stroke from \
         the same height; then let the metronome sound the beat alone and bring the tempo back up \
         in small steps.",
    )
}

/// Figures that are uneven without a common shape.
pub fn uneven(
    kind: &str,
    numbers: &[i32],
    (ms, sd_ms, noticeable_ms): (f64, f64, f64),
    (not_clean, judged): (usize, usize),
) -> Advice {
    advice(
        format!(
            "In {} the {} are uneven by {}, each time in another way ({not_clean} of {judged}); \
             an ear notices about {} ms.",
            few_bars(numbers),
            kind_name(kind),
            size(ms, sd_ms, "ms"),
            plain(noticeable_ms, 0)
        ),
        "Take one figure at half the tempo, four times without a break, and listen only to the \
         distances; go on when two rounds sound the same.",
    )
}

/// One hand against the other.
pub fn hands(kind: &str, right_minus_left_ms: f64, sd_ms: f64, noticeable_ms: f64) -> Advice {
    let (first, then) = if right_minus_left_ms < 0.0 {
        ("right", "left")
    } else {
        ("left", "right")
    };
    advice(
        format!(
            "In the {} the {then} hand comes {} later against the pulse than the {first} \
             hand; an ear notices about {} ms.",
            kind_name(kind),
            size(right_minus_left_ms, sd_ms, "ms"),
            plain(noticeable_ms, 0)
        ),
        "Play the figure with each hand alone on its own notes against a metronome, then together.",
    )
}

/// Notes that were not heard.
pub fn missed(numbers: &[i32], count: usize) -> Advice {
    let notes = if count == 1 {
        "one note was".to_owned()
    } else {
        format!("{count} notes were")
    };
    advice(
        format!("In {}, {notes} not heard.", few_bars(numbers)),
        "Say such a bar aloud with its rests and sticking, play it at half the tempo, then with \
         one bar before and one bar after it.",
    )
}

/// Notes that were heard on another drum.
pub fn other_drum(numbers: &[i32], count: usize, pitches: &[Pitch]) -> Advice {
    let pitches: Vec<String> = pitches.iter().map(|p| pitch_name(*p)).collect();
    let notes = if count == 1 {
        "one note".to_owned()
    } else {
        format!("{count} notes")
    };
    advice(
        format!(
            "In {}, {notes} written {} sounded on another drum.",
            few_bars(numbers),
            list(&pitches)
        ),
        "Move through the bar without sound, stopping each stick above its drum; then play it \
         slowly with the same way round the drums.",
    )
}

fn sharp_flat(cents: f64) -> &'static str {
    if cents < 0.0 { "flat" } else { "sharp" }
}

/// One drum away from its pitch.
pub fn tuning(
    (drum, pitch): (u8, Pitch),
    numbers: (i32, i32),
    (cents, sd): (f64, f64),
    in_tune_cents: f64,
) -> Advice {
    advice(
        format!(
            "Drum {drum} on {} ({}) sounds {} {}; up to {} cents count as in tune.",
            pitch_name(pitch),
            number::bar_span(numbers.0, numbers.1),
            size(cents, sd, "cents"),
            sharp_flat(cents),
            number::short(in_tune_cents, 1)
        ),
        "Sing the pitch from the reference before touching the pedal, come up to it from below, \
         and check it with a soft stroke at the playing spot.",
    )
}

/// All drums together away from the reference.
pub fn whole_set(cents: f64, sd: f64, drums: usize) -> Advice {
    advice(
        format!(
            "All {drums} tunings sound {} {} together; between the drums the intervals agree.",
            size(cents, sd, "cents"),
            sharp_flat(cents)
        ),
        "Take the first pitch from the reference that the ensemble uses, then tune the others \
         from it by interval as before.",
    )
}

/// The tempo moves over the passage.
pub fn drift(numbers: (i32, i32), change_pct: f64, sd_pct: f64) -> Advice {
    let word = if change_pct < 0.0 { "falls" } else { "rises" };
    advice(
        format!(
            "From bar {} to bar {} the tempo {word} by {} in all.",
            numbers.0,
            numbers.1,
            size(change_pct, sd_pct, "%")
        ),
        "Record the passage again with a metronome that sounds only the first beat of every \
         second bar, and listen whether you meet it.",
    )
}

/// Two marks in the wrong order.
pub fn order(softer: (&str, i32), louder: (&str, i32), excess_db: f64, sd_db: f64) -> Advice {
    advice(
        format!(
            "The {} from bar {} comes out {} louder than the {} from bar {}; an ear notices about \
             1 dB.",
            softer.0,
            softer.1,
            size(excess_db, sd_db, "dB"),
            louder.0,
            louder.1
        ),
        "Play the last bar before the change and the first bar after it in turn, and set the \
         height of the sticks for each before the first stroke.",
    )
}

/// A hairpin that does not move, or moves the other way.
pub fn hairpin(written: &str, numbers: (i32, i32), change_db: f64, sd_db: f64) -> Advice {
    advice(
        format!(
            "The {written} in {} changes the level by {} dB; an ear notices about 1 dB.",
            number::bar_span(numbers.0, numbers.1),
            number::signed_with_sd(change_db, Some(sd_db.max(FINEST)))
        ),
        "Begin further away from the goal than feels right: softer for a crescendo, louder for a \
         diminuendo, and change the height of the sticks a little with every stroke.",
    )
}

/// Accents that do not stand out.
pub fn accents(numbers: &[i32], flat: usize, judged: usize) -> Advice {
    advice(
        format!(
            "In {}, {flat} of {judged} accented notes do not stand out from their neighbours by as \
             much as an ear notices.",
            few_bars(numbers)
        ),
        "Keep the unaccented strokes lower rather than the accents higher: play the bar with the \
         accents alone, then add the others at half their height.",
    )
}

/// Drums stopped late, by the median of these.
pub fn late_stops(
    numbers: &[i32],
    (median_ms, sd_ms): (f64, f64),
    (count, timed): (usize, usize),
    in_time_ms: f64,
) -> Advice {
    advice(
        format!(
            "In {} the drum is stopped {} after the written end, where the pulse you kept puts it \
             ({count} of the {timed} stops that could be timed); up to {} ms counts as in time.",
            few_bars(numbers),
            size(median_ms, sd_ms, "ms"),
            plain(in_time_ms, 0)
        ),
        "Count on aloud and let the fingers come down on the first beat of the silence; for loud \
         notes use the heel of the hand as well.",
    )
}

/// Drums left to ring where silence is written.
pub fn ringing(numbers: &[i32], count: usize, judged: usize) -> Advice {
    advice(
        format!(
            "In {} the drum rings on after the written end ({count} of {judged}). Where that is \
             meant, mark the part so.",
            few_bars(numbers)
        ),
        "Play the last note before the rest and stop it, alone, until the stop is silent and in \
         time; then from two bars before.",
    )
}

/// A gap between a roll and the note it leads to.
pub fn roll_gap(number: i32, gap_ms: f64, sd_ms: f64) -> Advice {
    advice(
        format!(
            "In bar {number} there is a gap of {} between the end of the roll and the next note.",
            size(gap_ms, sd_ms, "ms")
        ),
        "Play the roll into the next note and hold back everything after it, until the note is \
         the roll's own last stroke.",
    )
}

/// A roll whose strokes come unevenly.
pub fn roll_uneven(number: i32, pct: f64, sd_pct: f64) -> Advice {
    advice(
        format!(
            "In bar {number} the distances between the strokes of the roll vary by {} of their \
             length.",
            size(pct, sd_pct, "%")
        ),
        "Roll slowly enough to hear both hands apart, match their sound and height, and let the \
         speed grow only as long as you still hear no difference.",
    )
}

// Why a take was not judged.

pub fn no_notes() -> String {
    "the part holds no notes".to_owned()
}

pub fn empty_take() -> String {
    "the recording holds no sound".to_owned()
}

pub fn silence() -> String {
    "the recording is silent".to_owned()
}

pub fn no_strokes() -> String {
    "no drum strokes were heard in the recording".to_owned()
}

pub fn no_passage() -> String {
    "no stretch of the recording follows this part for long enough to be sure of it".to_owned()
}

pub fn too_few_strokes(found: usize) -> String {
    match found {
        0 => "no stroke could be matched with this part".to_owned(),
        1 => "only one stroke could be matched with this part".to_owned(),
        _ => format!("only {found} strokes could be matched with this part"),
    }
}

pub fn other_piece() -> String {
    "the recording does not seem to be of this part".to_owned()
}

pub fn several_places() -> String {
    "the few strokes of the recording fit several places of this part; play on for some bars more"
        .to_owned()
}

// Doubts.

pub fn clipping(share: f64) -> String {
    format!(
        "The recording is overdriven ({} % of its samples): loud strokes are louder than they \
         appear, so levels are not compared. Record with a lower level or from further away.",
        plain(100.0 * share, 2)
    )
}

pub fn gain_control() -> String {
    "The recorder steered the level by itself, so nothing is said about dynamics. Switch the \
     automatic level off if it can be."
        .to_owned()
}

pub fn bass_cut(hz: f64) -> String {
    format!(
        "The recorder takes away the bass below about {} Hz: the low drums are heard by their \
         upper tones, and their tuning and stops are less sure.",
        plain(hz, 0)
    )
}

pub fn noise(below_peak_db: f64) -> String {
    format!(
        "The background is only {} dB below the loudest moment: soft strokes and the ends of \
         notes may be hidden.",
        plain(below_peak_db, 0)
    )
}

pub fn gaps(spans: &[(f64, f64)]) -> String {
    let texts: Vec<String> = spans
        .iter()
        .map(|(a, b)| format!("{}–{} s", plain(*a, 1), plain(*b, 1)))
        .collect();
    format!(
        "Parts of the file could not be read ({}): what was played there is not judged.",
        list(&texts)
    )
}

pub fn start_offset() -> String {
    "The file does not say how much silence its encoder put before the sound: all times may be \
     late by the same amount, up to about 0.05 s. Distances between strokes are not touched."
        .to_owned()
}

pub fn narrow(bandwidth_hz: f64) -> String {
    format!(
        "The recording holds nothing above {} Hz: the moment of contact is less sharp.",
        plain(bandwidth_hz, 0)
    )
}

pub fn uncertain_piece(same_piece: f64) -> String {
    format!(
        "It is not quite sure that the recording is of this part ({} % likely).",
        plain(100.0 * same_piece, 0)
    )
}

pub fn many_unsure(count: usize, of: usize) -> String {
    format!(
        "{count} of {of} notes could not be told: they may have been played and covered by other \
         sound. They are not counted either way."
    )
}

/// A drum (0: no number) of whose notes, with these pitches, none was heard.
pub fn drum_unheard(drum: u8, pitches: &[Pitch]) -> String {
    let pitches: Vec<String> = pitches.iter().map(|p| pitch_name(*p)).collect();
    let drum = match drum {
        0 => format!("the drum for {}", list(&pitches)),
        _ => format!("drum {drum} ({})", list(&pitches)),
    };
    common_spaces(format!(
        "No stroke was surely heard on {drum}. Either it was not played, or the recording does not \
         catch it: its notes are not counted either way."
    ))
}

pub fn click_track(metronome: &MetronomeFacts, tempo: &TempoFacts) -> String {
    let rate = super::metronome_rate(metronome);
    let stands = match (metronome.quarters, tempo.marked_bpm, tempo.median_bpm) {
        (Some(quarters), Some(marked), _) => {
            let clicked = metronome.clicks_per_min * quarters;
            if (clicked / marked - 1.0).abs() <= SAME_TEMPO {
                String::new()
            } else {
                format!(
                    " That is {} quarter notes a minute; {} are written.",
                    plain(clicked, 1),
                    plain(marked, 0)
                )
            }
        }
        (None, _, Some(kept)) => format!(
            " What was played, {} quarter notes a minute, does not keep to it, and nothing is \
             measured against it.",
            plain(kept, 1)
        ),
        _ => String::new(),
    };
    format!(
        "A metronome sounds along: {rate}.{stands} It is not taken for strokes; soft strokes that \
         fall on it may be hidden."
    )
}

pub fn many_extras(count: usize) -> String {
    format!(
        "{count} strokes were heard that stand nowhere in the part. They may be other sounds, or \
         the part may differ from what was played."
    )
}

pub fn part_only(from_bar: i32, to_bar: i32) -> String {
    common_spaces(format!(
        "Only {} can be heard; nothing is said about the others.",
        number::bar_span(from_bar, to_bar)
    ))
}

pub fn sounds_alike(bars: &[i32]) -> String {
    common_spaces(format!(
        "The same notes stand in {} too. Which of them were played cannot be heard; the bars told \
         may be the others.",
        number::few_bars(bars)
    ))
}

pub fn too_few(what: &str, count: usize, of: usize) -> String {
    capital(&format!(
        "{what}: {count} of {of} could not be measured, because too few sure strokes stand \
         behind them."
    ))
}

pub fn rolls_unsure(open: usize, of: usize) -> String {
    format!(
        "Rolls: at {open} of {of} the rate cannot be told, because their strokes hardly rise above \
         the ring of those before, the room or noise."
    )
}

pub fn stops_unsure(count: usize, of: usize) -> String {
    format!(
        "Stops: at {count} of {of} places it cannot be told whether the drum was stopped, because \
         other strokes, other drums, the room or noise cover its end, or the recording ends."
    )
}
