//! Words over a part that mean something to a timpanist.

use super::super::{Dynamic, HairpinKind, Hand};
use crate::pitch::Pitch;

/// R or L as stickings are written.
pub(super) fn hand(text: &str) -> Option<Hand> {
    match text.trim() {
        "R" | "r" | "R." | "RH" | "R.H." | "rh" => Some(Hand::Right),
        "L" | "l" | "L." | "LH" | "L.H." | "lh" => Some(Hand::Left),
        _ => None,
    }
}

/// A plain dynamic mark.
pub(in crate::part) fn dynamic(text: &str) -> Option<Dynamic> {
    Some(match text {
        "pppp" | "ppppp" | "pppppp" => Dynamic::Pppp,
        "ppp" => Dynamic::Ppp,
        "pp" => Dynamic::Pp,
        "p" => Dynamic::P,
        "mp" => Dynamic::Mp,
        "mf" => Dynamic::Mf,
        "f" => Dynamic::F,
        "ff" => Dynamic::Ff,
        "fff" => Dynamic::Fff,
        "ffff" | "fffff" | "ffffff" => Dynamic::Ffff,
        _ => return None,
    })
}

/// "cresc." or "dim.", alone or with "poco a poco" and the like.
pub(super) fn swell(text: &str) -> Option<HairpinKind> {
    let text = text.to_lowercase();
    let mut words = text
        .split(|c: char| !c.is_alphabetic())
        .filter(|w| !w.is_empty());
    let louder = |w: &str| matches!(w, "cresc" | "crescendo");
    let softer = |w: &str| {
        matches!(
            w,
            "dim" | "dimin" | "diminuendo" | "decresc" | "decrescendo"
        )
    };
    let known = |w: &str| matches!(w, "poco" | "a" | "molto" | "sempre" | "al" | "un" | "e");
    let mut found = None;
    words
        .try_for_each(|w| {
            if louder(w) {
                found = Some(HairpinKind::Crescendo);
            } else if softer(w) {
                found = Some(HairpinKind::Diminuendo);
            } else if !known(w) {
                return Err(());
            }
            Ok(())
        })
        .ok()?;
    found
}

/// Words by which the tempo moves gradually.
pub(super) fn gradual(text: &str) -> bool {
    let text = text.to_lowercase();
    text.split(|c: char| !c.is_alphabetic()).any(|w| {
        matches!(
            w,
            "rit"
                | "ritard"
                | "ritardando"
                | "rall"
                | "rallentando"
                | "accel"
                | "accelerando"
                | "stringendo"
                | "string"
                | "allargando"
                | "allarg"
                | "ritenuto"
                | "riten"
                | "calando"
                | "affrettando"
        )
    })
}

/// Words that bring an earlier tempo back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Return {
    /// "a tempo": as before the last gradual change.
    Before,
    /// "Tempo I": as at the beginning.
    First,
}

pub(super) fn tempo_return(text: &str) -> Option<Return> {
    let text = text.trim().trim_end_matches('.').to_lowercase();
    match text.as_str() {
        "a tempo" => Some(Return::Before),
        "tempo i" | "tempo primo" | "tempo 1" | "tempo i°" | "tempo 1°" => Some(Return::First),
        _ => None,
    }
}

/// A change of tuning in words: pitch classes (0 = C) from and to, with their
/// spelling. German and Italian names need their word ("muta", "um", "in") to be
/// unambiguous; H is B natural and then B is B flat.
pub(in crate::part) fn retuning(text: &str) -> Option<(Pitch, Pitch)> {
    let lower = text.trim().trim_end_matches(['.', ',', ';']).to_owned();
    let words: Vec<&str> = lower.split_whitespace().collect();
    let (from, link, to) = match words.as_slice() {
        [from, link, to] => (*from, link.to_lowercase(), *to),
        [muta, from, link, to]
            if matches!(
                muta.to_lowercase().as_str(),
                "muta" | "mutano" | "change" | "retune" | "stimme"
            ) =>
        {
            (*from, link.to_lowercase(), *to)
        }
        [from, muta, link, to]
            if matches!(
                muta.to_lowercase().as_str(),
                "muta" | "nach" | "um" | "changes"
            ) =>
        {
            (*from, link.to_lowercase(), *to)
        }
        _ => return None,
    };
    match link.as_str() {
        "to" => Some((english(from)?, english(to)?)),
        "in" | "nach" => {
            // With "muta in" or "in", B alone may be B flat (German) or B
            // natural (English): then nothing is certain.
            let names = [from, to];
            let german = names.iter().any(|n| {
                let n = n.to_lowercase();
                n == "h" || n.ends_with("is") || n.ends_with("es") || n == "as"
            });
            if names.iter().any(|n| n.eq_ignore_ascii_case("b")) && !german {
                return None;
            }
            Some((german_or_english(from)?, german_or_english(to)?))
        }
        "en" => Some((french(from)?, french(to)?)),
        _ => None,
    }
}

fn named(letter: char, alter: i8) -> Option<Pitch> {
    let step = "CDEFGAB".find(letter)? as u8;
    Some(Pitch {
        step,
        alter,
        octave: 2,
    })
}

fn english(name: &str) -> Option<Pitch> {
    let mut chars = name.chars();
    let letter = chars.next()?.to_ascii_uppercase();
    let alter = match chars.as_str() {
        "" | "-natural" => 0,
        "b" | "♭" | "-flat" => -1,
        "#" | "♯" | "-sharp" => 1,
        _ => return None,
    };
    named(letter, alter)
}

fn german_or_english(name: &str) -> Option<Pitch> {
    let lower = name.to_lowercase();
    match lower.as_str() {
        "h" => return named('B', 0),
        "b" => return named('B', -1),
        "es" => return named('E', -1),
        "as" => return named('A', -1),
        _ => {}
    }
    let mut chars = lower.chars();
    let letter = chars.next()?.to_ascii_uppercase();
    match chars.as_str() {
        "is" => named(letter, 1),
        "es" => named(letter, -1),
        _ => english(name),
    }
}

fn french(name: &str) -> Option<Pitch> {
    let lower = name.to_lowercase();
    let (base, alter) = if let Some(base) = lower.strip_suffix('b').or(lower.strip_suffix('♭')) {
        (base, -1)
    } else if let Some(base) = lower.strip_suffix(['#', '♯']) {
        (base, 1)
    } else {
        (lower.as_str(), 0)
    };
    let letter = match base {
        "ut" | "do" => 'C',
        "ré" | "re" => 'D',
        "mi" => 'E',
        "fa" => 'F',
        "sol" => 'G',
        "la" => 'A',
        "si" => 'B',
        _ => return None,
    };
    named(letter, alter)
}
