//! `<direction>`, `<sound>` and `<barline>`: dynamics, hairpins, tempo, words,
//! and the signs of repetition.

use super::super::{Damp, Dynamic, HairpinKind, Quarters};
use super::note::{set_hand, value_of};
use super::words;
use super::written::{Event, WrittenBar};
use super::{child, text_in};
use roxmltree::Node;

/// Reads a direction at `at`. Of parts that are not the chosen one only tempo,
/// rehearsal marks and signs of repetition are taken.
pub(super) fn read(
    node: Node,
    at: Quarters,
    chosen: bool,
    bar: &mut WrittenBar,
) -> Result<(), String> {
    let mut texts: Vec<String> = Vec::new();
    let mut figure = None;
    let mut has_coda = false;
    let items = node
        .children()
        .filter(|n| n.has_tag_name("direction-type"))
        .flat_map(|n| n.children())
        .filter(Node::is_element);
    for item in items {
        let text = item.text().unwrap_or("");
        match item.tag_name().name() {
            "words" => texts.push(text.split_whitespace().collect::<Vec<_>>().join(" ")),
            "metronome" => {
                let (bpm, word) = metronome(item)?;
                figure = bpm.or(figure);
                match word {
                    Some(word) if bpm.is_none() => texts.push(word),
                    None if bpm.is_none() => {
                        let what = "a tempo given as one beat like another".to_owned();
                        bar.events.push((at, Event::Unread(what)));
                    }
                    _ => {}
                }
            }
            "rehearsal" => {
                bar.rehearsal = Some(text.trim().to_owned()).filter(|t| !t.is_empty());
            }
            "segno" => bar.signs.segno = true,
            "coda" => has_coda = true,
            "dynamics" if chosen => dynamics(item, at, bar),
            "wedge" if chosen => wedge(item, at, bar),
            "damp" | "damp-all" if chosen => bar.events.push((at, Event::Damp(Damp::Stop))),
            "dashes" | "bracket" | "dynamics" | "wedge" | "damp" | "damp-all" | "octave-shift"
            | "pedal" => {}
            other if chosen => {
                bar.events.push((at, Event::Unread(format!("<{other}>"))));
            }
            _ => {}
        }
    }
    if let Some(sound) = child(node, "sound") {
        let before = bar.signs.clone();
        signs(sound, bar);
        has_coda &= bar.signs == before || !bar.signs.to_coda;
        if figure.is_none() {
            figure = tempo_of(sound)?;
        }
    }
    texts.retain(|t| !t.is_empty());
    let joined = texts.join(" ");
    let to_coda_before = bar.signs.to_coda;
    let jump = jump_words(&joined, bar);
    if has_coda && !(bar.signs.to_coda && (jump || !to_coda_before)) {
        bar.signs.coda = true;
    }
    if !jump && may_be_jump(&joined) && child(node, "sound").is_none() {
        let what = format!("where \"{joined}\" sends the player");
        bar.events.push((at, Event::Unread(what)));
    }
    tempo_or_words(&joined, figure, at, chosen && !jump, bar);
    Ok(())
}

fn tempo_or_words(
    joined: &str,
    figure: Option<f64>,
    at: Quarters,
    take_words: bool,
    bar: &mut WrittenBar,
) {
    let gradual = words::gradual(joined);
    let returns = words::tempo_return(joined).is_some();
    if figure.is_some() || gradual || returns {
        let event = Event::Tempo {
            bpm: figure,
            gradual,
            text: Some(joined.to_owned()).filter(|t| !t.is_empty()),
        };
        // Several staves repeat the same mark.
        if !bar.events.contains(&(at, event.clone())) {
            bar.events.push((at, event));
        }
        return;
    }
    if !take_words || joined.is_empty() {
        return;
    }
    if let Some(kind) = words::swell(joined) {
        bar.events.push((at, Event::Swell(kind)));
    } else if let Some(hand) = words::hand(joined) {
        bar.events.push((at, Event::Hand(hand)));
        set_hand(bar, at, hand);
    } else if let Some(damp) = damping(joined) {
        bar.events.push((at, Event::Damp(damp)));
    } else if let Some(mark) = words::dynamic(joined) {
        bar.events.push((at, Event::Level(mark)));
    } else {
        bar.events.push((at, Event::Words(joined.to_owned())));
    }
}

fn damping(text: &str) -> Option<Damp> {
    let text = text.trim().trim_end_matches('.').to_lowercase();
    match text.as_str() {
        "l.v" | "lv" | "let ring" | "laissez vibrer" | "lasciar vibrare" | "klingen lassen" => {
            Some(Damp::LetRing)
        }
        "damp" | "stop" | "secco" | "étouffé" | "étouffez" | "dämpfen" | "abdämpfen" => {
            Some(Damp::Stop)
        }
        _ => None,
    }
}

/// Words that send the player elsewhere; `true` when these were such words.
fn jump_words(text: &str, bar: &mut WrittenBar) -> bool {
    let plain: String = text
        .to_lowercase()
        .chars()
        .filter(|c| c.is_alphabetic())
        .collect();
    let signs = &mut bar.signs;
    match plain.as_str() {
        "fine" => signs.fine = true,
        "tocoda" | "alcoda" => signs.to_coda = true,
        "dc" | "dacapo" | "dcalfine" | "dacapoalfine" | "dcalcoda" | "dacapoalcoda" => {
            signs.da_capo = true;
        }
        "ds" | "dalsegno" | "dsalfine" | "dalsegnoalfine" | "dsalcoda" | "dalsegnoalcoda" => {
            signs.dal_segno = true;
        }
        "coda" => signs.coda = true,
        _ => return false,
    }
    true
}

/// Words that speak of going back or on elsewhere, in a way not understood.
fn may_be_jump(text: &str) -> bool {
    let text = text.to_lowercase();
    [
        "d.c.",
        "d. c.",
        "d.s.",
        "d. s.",
        "da capo",
        "dal segno",
        "al segno",
        "coda",
    ]
    .iter()
    .any(|words| text.contains(words))
}

/// A metronome mark in quarter notes a minute, and its words where it gives no
/// figure but has some.
fn metronome(item: Node) -> Result<(Option<f64>, Option<String>), String> {
    let units = item
        .children()
        .filter(|n| n.has_tag_name("beat-unit"))
        .count();
    let text = text_in(item, "per-minute").unwrap_or("");
    let figures: Vec<&str> = text
        .split(|c: char| !c.is_ascii_digit() && c != '.' && c != '-')
        .filter(|t| t.bytes().any(|b| b.is_ascii_digit()))
        .collect();
    let [figure] = figures.as_slice() else {
        return Ok((None, (units < 2).then(|| text.to_owned())));
    };
    let figure = figure.trim_matches('.');
    if figure.starts_with('-') {
        return Err(format!(
            "the tempo is '{text}'; expected a number above zero"
        ));
    }
    let unit = text_in(item, "beat-unit").and_then(value_of);
    let dots = item
        .children()
        .filter(|n| n.has_tag_name("beat-unit-dot"))
        .count()
        .min(3) as u32;
    let (Some(unit), Ok(count)) = (unit, figure.parse::<f64>()) else {
        return Ok((None, Some(text.to_owned())));
    };
    let dotted = 2.0 - 0.5_f64.powi(dots as i32);
    let bpm = count * super::super::quarters_f64(unit) * dotted;
    sensible(bpm, text).map(|bpm| (Some(bpm), None))
}

fn sensible(bpm: f64, text: &str) -> Result<f64, String> {
    if (1.0..=2000.0).contains(&bpm) {
        Ok(bpm)
    } else {
        Err(format!(
            "the tempo is '{text}'; expected between 1 and 2000 quarter notes a minute"
        ))
    }
}

fn tempo_of(sound: Node) -> Result<Option<f64>, String> {
    let Some(text) = sound.attribute("tempo") else {
        return Ok(None);
    };
    let bpm = text.trim().parse::<f64>().unwrap_or(f64::NAN);
    sensible(bpm, text).map(Some)
}

/// A `<sound>` that stands alone.
pub(super) fn sound(node: Node, at: Quarters, bar: &mut WrittenBar) -> Result<(), String> {
    signs(node, bar);
    if let Some(bpm) = tempo_of(node)? {
        let event = Event::Tempo {
            bpm: Some(bpm),
            gradual: false,
            text: None,
        };
        if !bar.events.contains(&(at, event.clone())) {
            bar.events.push((at, event));
        }
    }
    Ok(())
}

fn signs(sound: Node, bar: &mut WrittenBar) {
    let has = |name: &str| sound.attribute(name).is_some_and(|v| v != "no");
    let signs = &mut bar.signs;
    signs.da_capo |= has("dacapo");
    signs.dal_segno |= has("dalsegno");
    signs.to_coda |= has("tocoda");
    signs.coda |= has("coda");
    signs.segno |= has("segno");
    signs.fine |= has("fine");
    signs.forward |= has("forward-repeat");
}

pub(super) fn barline(
    node: Node,
    chosen: bool,
    at: Quarters,
    bar: &mut WrittenBar,
) -> Result<(), String> {
    for item in node.children().filter(Node::is_element) {
        match item.tag_name().name() {
            "repeat" => {
                bar.signs.after_jump |= item.attribute("after-jump") == Some("yes");
                if item.attribute("direction") == Some("forward") {
                    bar.signs.forward = true;
                } else {
                    let text = item.attribute("times").unwrap_or("2");
                    let times = text.parse::<u32>().ok().filter(|t| (1..=64).contains(t));
                    bar.signs.backward = Some(times.ok_or_else(|| {
                        format!("a repeat is played '{text}' times; expected 2 to 64")
                    })?);
                }
            }
            "ending" => {
                if item.attribute("type") == Some("start") {
                    let passes: Vec<u32> = item
                        .attribute("number")
                        .unwrap_or("1")
                        .split([',', ' '])
                        .filter_map(|t| t.trim().trim_end_matches('.').parse().ok())
                        .collect();
                    bar.signs.ending = Some(if passes.is_empty() { vec![1] } else { passes });
                } else {
                    bar.signs.ending_stop = true;
                }
            }
            "segno" => bar.signs.segno = true,
            "coda" => bar.signs.coda = true,
            "fermata" if chosen => bar.events.push((at, Event::Fermata)),
            _ => {}
        }
    }
    Ok(())
}

fn wedge(item: Node, at: Quarters, bar: &mut WrittenBar) {
    let number = item.attribute("number").unwrap_or("1").to_owned();
    let event = match item.attribute("type") {
        Some("crescendo") => Event::WedgeStart(HairpinKind::Crescendo, number),
        Some("diminuendo") => Event::WedgeStart(HairpinKind::Diminuendo, number),
        Some("stop") => Event::WedgeStop(number),
        _ => return,
    };
    bar.events.push((at, event));
}

/// Reads `<dynamics>`, wherever they stand.
pub(super) fn dynamics(item: Node, at: Quarters, bar: &mut WrittenBar) {
    for sign in item.children().filter(Node::is_element) {
        let name = sign.tag_name().name();
        let text = sign
            .text()
            .unwrap_or("")
            .trim()
            .trim_matches(['[', ']', '(', ')']);
        if let Some(mark) = words::dynamic(name) {
            // "più f" is not f: how loud it is depends on what went before.
            let relative = sign
                .prev_sibling_element()
                .and_then(|p| p.text())
                .is_some_and(|t| {
                    let t = t.trim().to_lowercase();
                    matches!(t.as_str(), "più" | "piu" | "meno" | "poco" | "un poco")
                });
            bar.events.push(if relative {
                (at, Event::Unread(format!("how loud a relative {name} is")))
            } else {
                (at, Event::Level(mark))
            });
            continue;
        }
        let event = match name {
            "sf" | "sfz" | "fz" | "rf" | "rfz" | "sffz" | "sff" => Event::Burst(None),
            "fp" | "sfp" => Event::Burst(Some((Dynamic::F, Dynamic::P))),
            "sfpp" | "sfzp" => Event::Burst(Some((
                Dynamic::F,
                if name == "sfpp" {
                    Dynamic::Pp
                } else {
                    Dynamic::P
                },
            ))),
            "pf" => Event::Level(Dynamic::F),
            "n" => Event::Unread("the dynamic n".to_owned()),
            "other-dynamics" => match other_dynamics(text) {
                Some(event) => event,
                None => continue,
            },
            other => Event::Unread(format!("the dynamic {other}")),
        };
        bar.events.push((at, event));
    }
}

/// Dynamics spelled in words; `None` where the word adds nothing to the signs
/// beside it ("sempre", brackets).
fn other_dynamics(text: &str) -> Option<Event> {
    let lower = text.to_lowercase();
    if lower.is_empty()
        || matches!(
            lower.as_str(),
            "sempre" | "subito" | "più" | "piu" | "meno" | "poco" | "un poco"
        )
    {
        return None;
    }
    let mark = lower
        .strip_prefix("sempre ")
        .or(lower.strip_suffix(" subito"))
        .unwrap_or(&lower);
    Some(match words::dynamic(mark) {
        Some(level) => Event::Level(level),
        None if matches!(mark, "sf" | "sfz" | "fz" | "sffz") => Event::Burst(None),
        None => Event::Words(text.to_owned()),
    })
}
