//! Walks through the bars of one part and writes down what stands there.

use super::super::Quarters;
use super::super::read::{Fault, ReadOptions};
use super::super::time::{decimal, size, tidy};
use super::note::{self, Carried};
use super::written::{Event, WrittenBar, meter_length};
use super::{Measure, child, direction, text_in};
use crate::pitch::Pitch;
use roxmltree::Node;

/// More bars than any piece has.
const MOST_BARS: usize = 100_000;

/// What holds from one bar to the next.
pub(super) struct State {
    pub divisions: Quarters,
    pub meter: (u32, u32),
    pub transpose: Transpose,
    pub carried: Carried,
}

/// From the written to the sounding pitch.
#[derive(Clone, Copy, Default)]
pub(super) struct Transpose {
    chromatic: i32,
    diatonic: Option<i32>,
}

impl Transpose {
    pub fn apply(self, pitch: Pitch) -> Pitch {
        if self.chromatic == 0 {
            return pitch;
        }
        let key = pitch.key() + self.chromatic;
        let spelled = self.diatonic.and_then(|steps| {
            let place = i32::from(pitch.octave) * 7 + i32::from(pitch.step) + steps;
            let plain = Pitch {
                step: place.rem_euclid(7) as u8,
                alter: 0,
                octave: i8::try_from(place.div_euclid(7)).ok()?,
            };
            let alter = key - plain.key();
            (alter.abs() <= 2).then_some(Pitch {
                alter: alter as i8,
                ..plain
            })
        });
        spelled.unwrap_or_else(|| Pitch::from_key(key))
    }
}

/// Reads one part into `bars`. Notes and marks are taken when the part is the
/// `chosen` one; what concerns everybody is taken from any part.
pub(super) fn read(
    measures: &[Measure],
    chosen: bool,
    bars: &mut Vec<WrittenBar>,
    options: &ReadOptions,
) -> Result<(), Fault> {
    if measures.len() > MOST_BARS {
        return Err(Fault::new(
            "bar 100001",
            "no piece has more than 100 000 bars",
        ));
    }
    let mut state = State {
        divisions: Quarters::from(1),
        meter: (4, 4),
        transpose: Transpose::default(),
        carried: Carried::default(),
    };
    let mut previous = 0;
    for (index, measure) in measures.iter().enumerate() {
        let number = measure
            .number
            .and_then(|n| n.trim().parse::<i32>().ok())
            .unwrap_or(if measure.implicit {
                previous
            } else {
                previous + 1
            });
        previous = number;
        if bars.len() <= index {
            bars.push(WrittenBar {
                number,
                meter: state.meter,
                ..WrittenBar::default()
            });
        }
        let bar = &mut bars[index];
        if chosen {
            bar.number = number;
        }
        read_bar(*measure, chosen, bar, &mut state, options).map_err(|what| {
            let help = "correct it in the notation program and export the part again";
            Fault::new(format!("bar {number}"), format!("{what}; {help}"))
        })?;
    }
    if let Some(last) = bars.last_mut().filter(|_| chosen) {
        state.carried.lost_grace(Quarters::from(0), last);
    }
    Ok(())
}

/// Where the reading stands inside a bar.
struct Cursor {
    at: Quarters,
    /// Start of the last note that is no chord tone.
    last: Quarters,
    end: Quarters,
    /// Places met so far, to which rounded ones are drawn.
    places: Vec<Quarters>,
}

impl Cursor {
    fn move_to(&mut self, at: Quarters, tick: Quarters) {
        let near = self
            .places
            .iter()
            .copied()
            .filter(|p| size(*p - at) <= tick)
            .min_by_key(|p| size(*p - at));
        self.at = tidy(near.unwrap_or(at)).max(Quarters::from(0));
        if near.is_none() && self.places.len() < 4096 {
            self.places.push(self.at);
        }
        self.end = self.end.max(self.at);
    }
}

fn read_bar(
    measure: Measure,
    chosen: bool,
    bar: &mut WrittenBar,
    state: &mut State,
    options: &ReadOptions,
) -> Result<(), String> {
    let mut cursor = Cursor {
        at: Quarters::from(0),
        last: Quarters::from(0),
        end: Quarters::from(0),
        places: vec![Quarters::from(0)],
    };
    if chosen {
        bar.meter = state.meter;
    }
    for node in measure.content.children().filter(Node::is_element) {
        match node.tag_name().name() {
            "attributes" => {
                attributes(node, state)?;
                if chosen || cursor.at == Quarters::from(0) {
                    bar.meter = state.meter;
                }
            }
            "note" => {
                let length = note::length(node, state.divisions)?;
                let in_chord = child(node, "chord").is_some();
                let at = if in_chord { cursor.last } else { cursor.at };
                if chosen {
                    note::read(node, at, length, bar, state, options)?;
                }
                if !in_chord && child(node, "grace").is_none() {
                    cursor.last = at;
                    cursor.move_to(at + length, Quarters::from(0));
                }
            }
            "backup" | "forward" => {
                let ticks = duration(node)?;
                let way = tidy(ticks / state.divisions);
                let back = node.has_tag_name("backup");
                let tick = state.divisions.recip() * 2;
                // A whole quarter of tolerance would join different places.
                let tick = tick.min(Quarters::new(1, 32));
                cursor.move_to(
                    if back {
                        cursor.at - way
                    } else {
                        cursor.at + way
                    },
                    tick,
                );
            }
            "direction" => direction::read(node, cursor.at, chosen, bar)?,
            "sound" => direction::sound(node, cursor.at, bar)?,
            "barline" => direction::barline(node, chosen, cursor.at, bar)?,
            "harmony" | "figured-bass" | "print" | "grouping" | "link" | "bookmark" => {}
            other if chosen => bar
                .events
                .push((cursor.at, Event::Unread(format!("<{other}>")))),
            _ => {}
        }
    }
    bar.content = bar.content.max(cursor.end);
    let full = meter_length(bar.meter);
    // Rounded divisions leave a bar a few ticks short or long.
    let tick = state.divisions.recip() * 4;
    if bar.content != full && size(bar.content - full) <= tick.min(Quarters::new(1, 32)) {
        bar.content = full;
    }
    Ok(())
}

/// The `<duration>` of an element in ticks: never negative.
pub(super) fn duration(node: Node) -> Result<Quarters, String> {
    let Some(text) = text_in(node, "duration") else {
        return Err("a duration is missing".to_owned());
    };
    match decimal(text) {
        Some(ticks) if ticks >= Quarters::from(0) => Ok(ticks),
        _ => Err(format!(
            "a duration is '{text}'; expected a number that is not negative"
        )),
    }
}

fn attributes(node: Node, state: &mut State) -> Result<(), String> {
    for item in node.children().filter(Node::is_element) {
        let text = item.text().unwrap_or("").trim();
        match item.tag_name().name() {
            "divisions" => {
                let value = decimal(text)
                    .filter(|d| *d > Quarters::from(0) && *d <= Quarters::from(1_000_000));
                state.divisions = value.ok_or_else(|| {
                    format!("divisions are '{text}'; expected a number above zero")
                })?;
            }
            "time" if child(item, "senza-misura").is_none() => state.meter = meter(item)?,
            "transpose" => {
                let number = |name: &str| {
                    text_in(item, name)
                        .and_then(|t| t.parse::<i32>().ok())
                        .filter(|v| v.abs() <= 48)
                };
                let octaves = number("octave-change").unwrap_or(0);
                state.transpose = Transpose {
                    chromatic: number("chromatic").unwrap_or(0) + 12 * octaves,
                    diatonic: number("diatonic").map(|d| d + 7 * octaves),
                };
            }
            _ => {}
        }
    }
    Ok(())
}

/// A meter; "3+2/8" is five eighths, two fractions are added.
fn meter(item: Node) -> Result<(u32, u32), String> {
    let wrong = |what: &str| format!("the meter '{what}' is none; expected one such as 3/4");
    let mut sum = (0_u32, 1_u32);
    let mut beats = None;
    for part in item.children().filter(Node::is_element) {
        let text = part.text().unwrap_or("").trim();
        match part.tag_name().name() {
            "beats" => {
                let total: Option<u32> =
                    text.split('+').map(|t| t.trim().parse::<u32>().ok()).sum();
                beats = Some(
                    total
                        .filter(|b| (1..=128).contains(b))
                        .ok_or_else(|| wrong(text))?,
                );
            }
            "beat-type" => {
                let unit = text.parse::<u32>().ok();
                let unit = unit
                    .filter(|u| u.is_power_of_two() && *u <= 64)
                    .ok_or_else(|| wrong(text))?;
                let count = beats.take().ok_or_else(|| wrong(text))?;
                let common = sum.1.max(unit);
                sum = (sum.0 * (common / sum.1) + count * (common / unit), common);
                if sum.0 > 512 {
                    return Err(wrong(text));
                }
            }
            _ => {}
        }
    }
    if sum.0 == 0 {
        return Err(wrong(""));
    }
    Ok(sum)
}
