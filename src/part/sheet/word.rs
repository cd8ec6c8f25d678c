//! One word of a bar: what is struck, how the beat is divided.

use super::super::read::Fault;
use super::super::time::fraction;
use super::super::{Damp, Dynamic, HairpinKind, Hand, Quarters};
use super::line::Line;
use crate::pitch::Pitch;

/// Brackets within brackets.
const DEEPEST: usize = 8;
/// Pieces of one word.
const MOST_PIECES: usize = 4096;

/// A piece of time in a bar. `share` is its part of the word.
pub(super) struct Piece {
    pub share: Quarters,
    pub labels: Vec<Label>,
    pub core: Core,
    /// Where it stands in the line.
    pub place: usize,
}

pub(super) enum Core {
    Silent,
    LastsOn,
    Struck(Vec<Struck>),
}

#[derive(Clone, Debug, Default)]
#[expect(clippy::struct_excessive_bools, reason = "each is one sign on paper")]
pub(super) struct Struck {
    /// Letter and alteration, as a pitch of octave 0.
    pub letter: Option<Pitch>,
    pub octave: Option<i8>,
    pub drum: Option<u8>,
    pub roll: bool,
    pub accent: bool,
    pub staccato: bool,
    pub tenuto: bool,
    pub flam: bool,
    pub hand: Option<Hand>,
    pub damp: Option<Damp>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Label {
    Level(Dynamic),
    Hairpin(HairpinKind, u32),
    End(u32),
    Fermata,
}

/// A word: its pieces, and how many beats it lasts (`None`: it does not say).
pub(super) struct Word {
    pub pieces: Vec<Piece>,
    pub beats: Option<Quarters>,
}

/// Names of the dynamics, softest first.
pub(super) const DYNAMICS: [(&str, Dynamic); 10] = [
    ("pppp", Dynamic::Pppp),
    ("ppp", Dynamic::Ppp),
    ("pp", Dynamic::Pp),
    ("p", Dynamic::P),
    ("mp", Dynamic::Mp),
    ("mf", Dynamic::Mf),
    ("f", Dynamic::F),
    ("ff", Dynamic::Ff),
    ("fff", Dynamic::Fff),
    ("ffff", Dynamic::Ffff),
];

/// Labels up to the thing they stand before.
pub(super) fn labels(line: &mut Line) -> Result<Vec<Label>, Fault> {
    let mut found = Vec::new();
    loop {
        line.skip_space();
        let from = line.at;
        let name = line.take_while(|c| c.is_ascii_lowercase());
        let digits = line.take_while(|c| c.is_ascii_digit());
        if !line.take(':') {
            line.at = from;
            return Ok(found);
        }
        let tag = if digits.is_empty() {
            Some(1)
        } else {
            digits.parse::<u32>().ok()
        };
        let level = DYNAMICS.iter().find(|(n, _)| *n == name);
        let label = match (name.as_str(), tag, level) {
            ("cresc", Some(tag), _) => Label::Hairpin(HairpinKind::Crescendo, tag),
            ("dim", Some(tag), _) => Label::Hairpin(HairpinKind::Diminuendo, tag),
            ("end", Some(tag), _) => Label::End(tag),
            ("fermata", _, _) if digits.is_empty() => Label::Fermata,
            (_, _, Some((_, level))) if digits.is_empty() => Label::Level(*level),
            _ => {
                line.at = from;
                return Err(line.fault(
                    "a label",
                    "labels are pppp: to ffff:, cresc:, dim:, end: and fermata:",
                ));
            }
        };
        found.push(label);
    }
}

/// Reads one word. Labels before it have been read.
pub(super) fn word(line: &mut Line, first: Vec<Label>) -> Result<Word, Fault> {
    let mut pieces = Vec::new();
    divided(line, Quarters::from(1), first, 0, &mut pieces)?;
    let beats = if line.take('*') {
        let from = line.at;
        let text = line.take_while(|c| c.is_ascii_digit() || matches!(c, '/' | '.'));
        let beats = fraction(&text).filter(|b| *b > Quarters::from(0));
        if beats.is_none() {
            line.at = from;
            return Err(line.fault(
                "a number of beats",
                "write * and a number, as in F*3 or F*1/2",
            ));
        }
        beats
    } else {
        None
    };
    if line.peek().is_some_and(|c| !c.is_whitespace()) {
        return Err(line.fault(
            "a space",
            "signs behind a pitch are ~ ^ ' = & r l x o; words stand apart",
        ));
    }
    Ok(Word { pieces, beats })
}

/// Pieces divided by commas share the time evenly.
fn divided(
    line: &mut Line,
    share: Quarters,
    first: Vec<Label>,
    depth: usize,
    pieces: &mut Vec<Piece>,
) -> Result<(), Fault> {
    let begin = pieces.len();
    // How many pieces each direct part of this division has become.
    let mut parts: Vec<usize> = Vec::new();
    let mut labels_here = first;
    loop {
        let from = pieces.len();
        if line.peek() == Some('(') {
            if depth >= DEEPEST {
                return Err(line.message("brackets are nested more than eight deep; divide less"));
            }
            line.at += 1;
            let inner = labels(line)?;
            labels_here.extend(inner);
            divided(
                line,
                Quarters::from(1),
                std::mem::take(&mut labels_here),
                depth + 1,
                pieces,
            )?;
            if !line.take(')') {
                return Err(line.fault("a closing bracket", "close it with )"));
            }
        } else {
            let place = line.at;
            let core = core(line)?;
            pieces.push(Piece {
                share: Quarters::from(1),
                labels: std::mem::take(&mut labels_here),
                core,
                place,
            });
        }
        parts.push(pieces.len() - from);
        if pieces.len() > MOST_PIECES {
            return Err(line.message("a word has more than 4096 pieces; divide less"));
        }
        if !line.take(',') {
            break;
        }
        labels_here = labels(line)?;
    }
    let each = share / Quarters::from(parts.len() as i64);
    for piece in &mut pieces[begin..] {
        piece.share *= each;
        if *piece.share.denom() > 1_000_000 {
            return Err(line.message("a beat is divided too finely; divide less"));
        }
    }
    Ok(())
}

fn core(line: &mut Line) -> Result<Core, Fault> {
    if line.take('.') {
        return Ok(Core::Silent);
    }
    if line.take('_') {
        return Ok(Core::LastsOn);
    }
    let mut struck = vec![one(line)?];
    while line.take('+') {
        struck.push(one(line)?);
    }
    Ok(Core::Struck(struck))
}

fn one(line: &mut Line) -> Result<Struck, Fault> {
    let mut struck = Struck::default();
    let from = line.at;
    if line.peek().is_some_and(|c| ('A'..='G').contains(&c)) {
        let name = {
            let letter = line.peek().unwrap_or('A');
            line.at += 1;
            let signs = line.take_while(|c| matches!(c, '#' | 'b'));
            format!("{letter}{signs}0")
        };
        let Ok(pitch) = name.parse::<Pitch>() else {
            line.at = from;
            return Err(line.fault("a pitch", "write it as in F, Bb or C#3"));
        };
        struck.letter = Some(pitch);
        struck.octave = octave(line);
    } else if line.peek() != Some('@') {
        return Err(line.fault(
            "a pitch, @ and a drum, '.' or '_'",
            "write strokes as in F, Bb2 or @1, silence as '.', lasting on as '_'",
        ));
    }
    if line.take('@') {
        struck.drum = digit(line);
        if struck.drum.is_none() {
            return Err(line.fault("the number of a drum", "write it as in @2"));
        }
    }
    loop {
        match line.peek() {
            Some('~') => struck.roll = true,
            Some('^') => struck.accent = true,
            Some('\'') => struck.staccato = true,
            Some('=') => struck.tenuto = true,
            Some('&') => struck.flam = true,
            Some('r') => struck.hand = Some(Hand::Right),
            Some('l') => struck.hand = Some(Hand::Left),
            Some('x') => struck.damp = Some(Damp::Stop),
            Some('o') => struck.damp = Some(Damp::LetRing),
            _ => return Ok(struck),
        }
        line.at += 1;
    }
}

/// 0 to 9, or -1.
fn octave(line: &mut Line) -> Option<i8> {
    let from = line.at;
    let below = line.take('-');
    let digit = digit(line).map(|d| d as i8);
    match digit {
        Some(1) if below => Some(-1),
        _ if below => {
            line.at = from;
            None
        }
        digit => digit,
    }
}

fn digit(line: &mut Line) -> Option<u8> {
    let digit = line.peek()?.to_digit(10)?;
    line.at += 1;
    Some(digit as u8)
}
