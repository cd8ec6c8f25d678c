//! One `<note>`: pitch, exact length, articulation, and every spelling of a
//! roll.

use super::super::read::ReadOptions;
use super::super::time::{size, tidy};
use super::super::{Damp, Hand, Quarters};
use super::bar::{State, duration};
use super::words;
use super::written::{Event, WrittenBar, WrittenNote};
use super::{child, text_in};
use crate::pitch::Pitch;
use roxmltree::Node;

/// What one note leaves for the next.
#[derive(Default)]
pub(super) struct Carried {
    /// Grace notes that wait for their main note.
    grace: bool,
    /// Wavy lines that are open, by their number.
    wavy: Vec<String>,
    /// First note of a tremolo between two notes: its value of one stroke.
    pair: Option<(Quarters, usize)>,
    /// Place of the first note of the present chord.
    chord: usize,
}

/// Wavy lines open at once; more are a damaged file.
const MOST_LINES: usize = 16;

impl Carried {
    /// Grace notes stand before something that is not struck.
    pub fn lost_grace(&mut self, at: Quarters, bar: &mut WrittenBar) {
        if std::mem::take(&mut self.grace) {
            let what = "grace notes that no note follows were left out".to_owned();
            bar.events.push((at, Event::Unread(what)));
        }
    }
}

/// Quarter notes of a note value's name (`MusicXML` 4.0, note-type-value).
pub(super) fn value_of(name: &str) -> Option<Quarters> {
    Some(match name {
        "maxima" => Quarters::from(32),
        "long" => Quarters::from(16),
        "breve" => Quarters::from(8),
        "whole" => Quarters::from(4),
        "half" => Quarters::from(2),
        "quarter" => Quarters::from(1),
        "eighth" => Quarters::new(1, 2),
        "16th" => Quarters::new(1, 4),
        "32nd" => Quarters::new(1, 8),
        "64th" => Quarters::new(1, 16),
        "128th" => Quarters::new(1, 32),
        "256th" => Quarters::new(1, 64),
        _ => return None,
    })
}

/// The normal over the actual notes of a tuplet, 1 outside one.
fn tuplet_ratio(node: Node) -> Quarters {
    let Some(change) = child(node, "time-modification") else {
        return Quarters::from(1);
    };
    let number = |name: &str| {
        text_in(change, name)
            .and_then(|t| t.parse::<i64>().ok())
            .filter(|n| (1..=256).contains(n))
    };
    match (number("normal-notes"), number("actual-notes")) {
        (Some(normal), Some(actual)) => Quarters::new(normal, actual),
        _ => Quarters::from(1),
    }
}

/// The exact length in quarter notes. Where the divisions of the file are too
/// coarse for a tuplet the written value decides, the ticks only where the two
/// differ by more than rounding.
pub(super) fn length(node: Node, divisions: Quarters) -> Result<Quarters, String> {
    if child(node, "grace").is_some() {
        return Ok(Quarters::from(0));
    }
    let counted = duration(node)? / divisions;
    if counted > Quarters::from(10_000) {
        return Err("a note lasts longer than 10 000 quarter notes".to_owned());
    }
    let dots = node
        .children()
        .filter(|n| n.has_tag_name("dot"))
        .count()
        .min(6) as u32;
    let nominal = text_in(node, "type").and_then(value_of).map(|value| {
        let halves = Quarters::new((1_i64 << (dots + 1)) - 1, 1_i64 << dots);
        value * halves * tuplet_ratio(node)
    });
    Ok(tidy(match nominal {
        Some(value) if size(value - counted) <= divisions.recip().min(Quarters::new(1, 16)) => {
            value
        }
        _ => counted,
    }))
}

/// Reads a note of the chosen part into its bar.
pub(super) fn read(
    node: Node,
    at: Quarters,
    length: Quarters,
    bar: &mut WrittenBar,
    state: &mut State,
    options: &ReadOptions,
) -> Result<(), String> {
    for fermata in node.descendants().filter(|n| n.has_tag_name("fermata")) {
        // The parent of a fermata inside a note is its notations.
        if fermata
            .parent()
            .is_some_and(|p| p.has_tag_name("notations"))
        {
            bar.events.push((at, Event::Fermata));
        }
    }
    if child(node, "cue").is_some() {
        return Ok(());
    }
    let grace = child(node, "grace").is_some();
    if child(node, "rest").is_some() {
        state.carried.lost_grace(at, bar);
        return Ok(());
    }
    if node.attribute("print-object") == Some("no") {
        let what = "a note that is not printed was left out".to_owned();
        bar.events.push((at, Event::Unread(what)));
        return Ok(());
    }
    if grace {
        state.carried.grace = true;
        return Ok(());
    }
    let Some(pitch) = pitch(node)? else {
        bar.events
            .push((at, Event::Unread("a note without a pitch".to_owned())));
        return Ok(());
    };
    if length == Quarters::from(0) {
        return Err("a note has no length".to_owned());
    }
    let pitch = state.transpose.apply(pitch);
    if !(-1..=9).contains(&pitch.octave) {
        return Err("a note sounds outside what can be heard; check the transposition".to_owned());
    }
    let mut note = WrittenNote {
        at,
        length,
        pitch,
        roll: false,
        under_line: false,
        stroke: None,
        flam: false,
        accent: false,
        staccato: false,
        tenuto: false,
        hand: None,
        damp: None,
        tie_from: false,
        tie_to: false,
    };
    let in_chord = child(node, "chord").is_some();
    if !in_chord {
        note.flam = std::mem::take(&mut state.carried.grace);
    } else if let Some(below) = bar.notes.last().filter(|n| n.at == at) {
        // The ornaments of a chord stand at one of its notes and mean all.
        take_ornaments(&mut note, &below.clone());
    }
    ties(node, &mut note);
    let pair = notations(node, &mut note, in_chord, bar, state, options);
    lyrics(node, &mut note, bar);
    if in_chord && pair.is_none() {
        let chord = bar.notes.iter_mut().skip(state.carried.chord);
        for other in chord.filter(|n| n.at == at) {
            take_ornaments(other, &note);
        }
    } else {
        state.carried.chord = bar.notes.len();
    }
    match pair {
        Some("start") => {
            let stroke = note.stroke.take();
            let place = bar.notes.len();
            state.carried.pair = Some((stroke.unwrap_or_default(), place));
            note.roll = stroke.is_none();
            bar.notes.push(note);
        }
        Some("stop") => close_pair(note, bar, state),
        _ => bar.notes.push(note),
    }
    Ok(())
}

/// What is written at one note of a chord holds for another.
fn take_ornaments(note: &mut WrittenNote, from: &WrittenNote) {
    note.flam |= from.flam;
    note.roll |= from.roll;
    note.under_line |= from.under_line;
    note.stroke = note.stroke.or(from.stroke);
    note.accent |= from.accent;
    note.staccato |= from.staccato;
    note.tenuto |= from.tenuto;
}

/// The second note of a tremolo between two notes: the drums are struck in
/// turn, or both rolled together.
fn close_pair(mut second: WrittenNote, bar: &mut WrittenBar, state: &mut State) {
    let Some((stroke, place)) = state.carried.pair.take() else {
        bar.notes.push(second);
        return;
    };
    let Some(first) = bar.notes.get(place).cloned() else {
        bar.notes.push(second);
        return;
    };
    let (from, to) = (first.at, second.at + second.length);
    second.stroke = None;
    if stroke == Quarters::from(0) {
        second.roll = true;
        second.at = from;
        second.length = to - from;
        bar.notes[place].length = to - from;
        bar.notes.push(second);
        return;
    }
    bar.notes.truncate(place);
    let mut at = from;
    let mut turn = 0_usize;
    while at < to {
        let mut struck = if turn.is_multiple_of(2) {
            first.clone()
        } else {
            second.clone()
        };
        if turn > 1 {
            struck.accent = false;
            struck.flam = false;
        }
        struck.at = at;
        struck.length = stroke.min(to - at);
        struck.roll = false;
        bar.notes.push(struck);
        at += stroke;
        turn += 1;
    }
}

fn pitch(node: Node) -> Result<Option<Pitch>, String> {
    let Some(node) = child(node, "pitch") else {
        return Ok(None);
    };
    let step = text_in(node, "step").unwrap_or("");
    let octave = text_in(node, "octave").unwrap_or("");
    let wrong = || format!("a pitch is '{step}{octave}'; expected a letter A-G and an octave 0-9");
    let letter = "CDEFGAB"
        .find(step)
        .filter(|_| step.len() == 1)
        .ok_or_else(wrong)?;
    let octave: i8 = octave
        .parse()
        .ok()
        .filter(|o| (0..=9).contains(o))
        .ok_or_else(wrong)?;
    let alter = text_in(node, "alter").map_or(Some(0.0), |t| t.parse::<f64>().ok());
    let alter = alter
        .filter(|a| a.abs() <= 2.0)
        .ok_or_else(|| "an alteration is not between -2 and 2".to_owned())?;
    Ok(Some(Pitch {
        step: letter as u8,
        alter: alter.round() as i8,
        octave,
    }))
}

fn ties(node: Node, note: &mut WrittenNote) {
    let tied = node
        .children()
        .filter(|n| n.has_tag_name("notations"))
        .flat_map(|n| n.children().filter(|c| c.has_tag_name("tied")));
    for tie in node
        .children()
        .filter(|n| n.has_tag_name("tie"))
        .chain(tied)
    {
        match tie.attribute("type") {
            Some("start") => note.tie_from = true,
            Some("stop") => note.tie_to = true,
            Some("continue") => {
                note.tie_from = true;
                note.tie_to = true;
            }
            Some("let-ring") => note.damp = Some(Damp::LetRing),
            _ => {}
        }
    }
}

/// Reads what stands at the note head; gives "start" or "stop" for a tremolo
/// between two notes.
fn notations<'a>(
    node: Node<'a, '_>,
    note: &mut WrittenNote,
    in_chord: bool,
    bar: &mut WrittenBar,
    state: &mut State,
    options: &ReadOptions,
) -> Option<&'a str> {
    let mut pair = None;
    let mut own_sign = false;
    let mut lines_end: Vec<String> = Vec::new();
    let mut lines_start: Vec<String> = Vec::new();
    let items = node
        .children()
        .filter(|n| n.has_tag_name("notations"))
        .flat_map(|n| n.children())
        .filter(Node::is_element)
        .flat_map(|n| match n.tag_name().name() {
            "ornaments" | "articulations" | "technical" => {
                n.children().filter(Node::is_element).collect()
            }
            _ => vec![n],
        });
    let mut unread = Vec::new();
    for item in items {
        let text = item.text().unwrap_or("").trim();
        let smufl = item.attribute("smufl").unwrap_or("");
        match item.tag_name().name() {
            "accent" | "strong-accent" => note.accent = true,
            "staccato" | "staccatissimo" | "spiccato" => note.staccato = true,
            "detached-legato" => {
                note.staccato = true;
                note.tenuto = true;
            }
            "tenuto" => note.tenuto = true,
            "trill-mark" => {
                note.roll = true;
                own_sign = true;
            }
            "wavy-line" => {
                let number = item.attribute("number").unwrap_or("1").to_owned();
                match item.attribute("type") {
                    Some("stop") => lines_end.push(number),
                    Some("continue") => {}
                    _ => lines_start.push(number),
                }
            }
            "tremolo" => {
                own_sign = true;
                match item.attribute("type") {
                    Some("start") => pair = Some("start"),
                    Some("stop") => pair = Some("stop"),
                    _ => {}
                }
                tremolo(node, item, smufl, note, options);
            }
            "other-articulation" | "other-ornament" if smufl == "ornamentTrill" => {
                note.roll = true;
                own_sign = true;
            }
            "other-technical" | "other-ornament" if smufl == "buzzRoll" || text == "z" => {
                note.roll = true;
                own_sign = true;
            }
            "fingering" | "other-technical" | "pluck" if words::hand(text).is_some() => {
                note.hand = words::hand(text);
            }
            "stopped" | "handbell" if item.tag_name().name() == "stopped" => {
                note.damp = Some(Damp::Stop);
            }
            "tied" | "slur" | "tuplet" | "fermata" | "accidental-mark" | "dynamics" => {
                if item.has_tag_name("dynamics") {
                    super::direction::dynamics(item, note.at, bar);
                }
            }
            other => unread.push(if text.is_empty() {
                format!("<{other}>")
            } else {
                format!("<{other}> {text}")
            }),
        }
    }
    for what in unread {
        bar.events.push((note.at, Event::Unread(what)));
    }
    if !in_chord {
        let open = &mut state.carried.wavy;
        if !open.is_empty() || !lines_start.is_empty() || !lines_end.is_empty() {
            note.roll = true;
            // A line that begins here is a roll of its own.
            note.under_line = !open.is_empty() && !own_sign && lines_start.is_empty();
        }
        open.extend(lines_start);
        open.retain(|number| !lines_end.contains(number));
        open.truncate(MOST_LINES);
    }
    pair
}

/// Strokes through the stem: one or two are measured, three are a roll unless
/// the user says otherwise, none ("unmeasured") and four or more always are.
fn tremolo(node: Node, item: Node, smufl: &str, note: &mut WrittenNote, options: &ReadOptions) {
    let strokes: u32 = item.text().and_then(|t| t.trim().parse().ok()).unwrap_or(3);
    let unmeasured = item.attribute("type") == Some("unmeasured") || smufl == "buzzRoll";
    let measured = matches!(strokes, 1 | 2) || (strokes == 3 && options.three_strokes_measured);
    if unmeasured || !measured {
        note.roll = true;
        return;
    }
    let name = text_in(node, "type").unwrap_or("quarter");
    let value = value_of(name)
        .unwrap_or(Quarters::from(1))
        .min(Quarters::from(1));
    let tuplet = if matches!(item.attribute("type"), Some("start" | "stop")) {
        // The notes of a pair are halved by a time modification of their own.
        Quarters::from(1)
    } else {
        tuplet_ratio(node)
    };
    note.stroke = Some(value * tuplet / Quarters::from(1_i64 << strokes));
}

fn lyrics(node: Node, note: &mut WrittenNote, bar: &mut WrittenBar) {
    for lyric in node.children().filter(|n| n.has_tag_name("lyric")) {
        let text = text_in(lyric, "text").unwrap_or("");
        match words::hand(text) {
            Some(hand) => note.hand = Some(hand),
            None if text.is_empty() => {}
            None => bar
                .events
                .push((note.at, Event::Unread(format!("the lyric \"{text}\"")))),
        }
    }
}

/// Gives the notes that stand at a place their sticking.
pub(super) fn set_hand(bar: &mut WrittenBar, at: Quarters, hand: Hand) {
    for note in bar.notes.iter_mut().filter(|n| n.at == at) {
        note.hand = Some(hand);
    }
}
