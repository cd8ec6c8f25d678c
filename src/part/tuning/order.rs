//! The plan as a player needs it: starting pitches, the order of tuning by
//! intervals, the changes with their rests, and what is impossible.

use super::super::Part;
use super::ranges::range_of;
use super::spans::rest_before;
use crate::pitch::Pitch;
use serde::Serialize;
use std::collections::BTreeMap;

/// A tuning plan in words and numbers.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Plan {
    pub start: Vec<StartingPitch>,
    pub order: Vec<TuningStep>,
    pub changes: Vec<PlannedChange>,
    /// What cannot be played or retuned so, and why.
    pub impossible: Vec<String>,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StartingPitch {
    pub drum: u8,
    /// Diameter in inches; `None` where the part does not say.
    pub size_in: Option<f64>,
    pub pitch: Pitch,
}

/// One drum, tuned from something that sounds already.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TuningStep {
    pub drum: u8,
    pub pitch: Pitch,
    /// "A3" for the reference, "drum 2" for a drum tuned before.
    pub from: String,
    /// "perfect fourth up".
    pub interval: String,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PlannedChange {
    /// The printed number of the bar that needs the new pitch.
    pub bar: i32,
    pub drum: u8,
    pub from: Pitch,
    pub to: Pitch,
    pub interval: String,
    /// Seconds from the last stroke's end to the next stroke at the tempo
    /// marked; `None` when nothing is struck before or after.
    pub rest_s: Option<f64>,
}

/// "minor third up", "octave down", "unison", by semitones alone.
pub fn interval_name(semitones: i32) -> String {
    const NAMES: [&str; 12] = [
        "unison",
        "minor second",
        "major second",
        "minor third",
        "major third",
        "perfect fourth",
        "tritone",
        "perfect fifth",
        "minor sixth",
        "major sixth",
        "minor seventh",
        "major seventh",
    ];
    let size = semitones.unsigned_abs();
    let (octaves, rest) = (size / 12, NAMES[(size % 12) as usize]);
    let name = match (octaves, size % 12) {
        (0, 0) => return "unison".to_owned(),
        (0, _) => rest.to_owned(),
        (1, 0) => "octave".to_owned(),
        (n, 0) => format!("{n} octaves"),
        (1, _) => format!("octave and a {rest}"),
        (n, _) => format!("{n} octaves and a {rest}"),
    };
    format!("{name} {}", if semitones > 0 { "up" } else { "down" })
}

/// How hard an interval is to hear: the simplest ratios first. Common practice,
/// no source.
fn difficulty(semitones: i32) -> (u32, u32) {
    let size = semitones.unsigned_abs();
    let rank = match size % 12 {
        0 => 0,
        7 => 1,
        5 => 2,
        4 => 3,
        3 => 4,
        9 => 5,
        2 => 6,
        8 => 7,
        10 => 8,
        1 => 9,
        11 => 10,
        _ => 11,
    };
    (rank + size / 12, size)
}

/// The plan that a part holds, told from a reference pitch. `retune_s` is the
/// time one change takes, `default_bpm` the tempo where none is marked.
pub fn plan_of(part: &Part, reference: Pitch, retune_s: f64, default_bpm: f64) -> Plan {
    let changes = changes(part, default_bpm);
    Plan {
        start: part
            .drums
            .iter()
            .map(|d| StartingPitch {
                drum: d.number,
                size_in: d.size_in,
                pitch: d.pitch,
            })
            .collect(),
        order: order(part, reference),
        impossible: impossible(part, &changes, retune_s),
        changes,
    }
}

fn order(part: &Part, reference: Pitch) -> Vec<TuningStep> {
    let mut sounding: Vec<(String, Pitch)> = vec![(reference.to_string(), reference)];
    let mut left: Vec<_> = part.drums.iter().collect();
    let mut steps = Vec::new();
    while !left.is_empty() {
        let next =
            left.iter()
                .enumerate()
                .flat_map(|(i, drum)| {
                    sounding.iter().enumerate().map(move |(j, (_, from))| {
                        (difficulty(drum.pitch.key() - from.key()), j, i)
                    })
                })
                .min();
        let Some((_, from, drum)) = next else { break };
        let drum = left.remove(drum);
        steps.push(TuningStep {
            drum: drum.number,
            pitch: drum.pitch,
            from: sounding[from].0.clone(),
            interval: interval_name(drum.pitch.key() - sounding[from].1.key()),
        });
        sounding.push((format!("drum {}", drum.number), drum.pitch));
    }
    steps
}

fn changes(part: &Part, default_bpm: f64) -> Vec<PlannedChange> {
    part.retunings
        .iter()
        .map(|r| {
            let next = part.notes.iter().position(|n| n.bar >= r.bar);
            let rest = next.map(|n| rest_before(part, n, default_bpm));
            PlannedChange {
                bar: part.bars.get(r.bar).map_or(0, |b| b.number),
                drum: r.drum,
                from: r.from,
                to: r.to,
                interval: interval_name(r.to.key() - r.from.key()),
                rest_s: rest
                    .filter(|s| s.is_finite())
                    .map(|s| (s * 100.0).round() / 100.0),
            }
        })
        .collect()
}

fn impossible(part: &Part, changes: &[PlannedChange], retune_s: f64) -> Vec<String> {
    let mut told = Vec::new();
    let mut lost: BTreeMap<Pitch, (i32, usize)> = BTreeMap::new();
    for note in part.notes.iter().filter(|n| n.drum == 0) {
        let bar = part.bars.get(note.bar).map_or(0, |b| b.number);
        lost.entry(note.pitch).or_insert((bar, 0)).1 += 1;
    }
    let sizes: Vec<f64> = part.drums.iter().filter_map(|d| d.size_in).collect();
    for (pitch, (bar, count)) in lost {
        let reachable = sizes.iter().any(|&s| {
            let (low, high) = range_of(s);
            (low..=high).contains(&pitch.key())
        });
        let why = if reachable {
            "every drum that reaches it is needed for another pitch, and no rest is long enough \
             to retune one"
        } else {
            "it lies outside the range of every drum in use"
        };
        let notes = if count == 1 { "1 note" } else { "notes" };
        let many = if count == 1 {
            notes.to_owned()
        } else {
            format!("{count} {notes}")
        };
        told.push(format!("{pitch} from bar {bar} on, {many}: {why}"));
    }
    let mut by_rest: BTreeMap<i32, usize> = BTreeMap::new();
    for change in changes {
        *by_rest.entry(change.bar).or_default() += 1;
    }
    for change in changes {
        let together = by_rest.get(&change.bar).copied().unwrap_or(1);
        let needed = retune_s * together as f64;
        if let Some(rest) = change.rest_s.filter(|r| *r + 0.005 < needed) {
            told.push(format!(
                "drum {} from {} to {} for bar {}: the rest lasts {rest:.1} s, {needed:.1} s are \
                 needed",
                change.drum, change.from, change.to, change.bar
            ));
        }
    }
    for drum in &part.drums {
        let Some(size) = drum.size_in else { continue };
        let (low, high) = range_of(size);
        let pitches = std::iter::once(drum.pitch).chain(
            part.retunings
                .iter()
                .filter(|r| r.drum == drum.number)
                .map(|r| r.to),
        );
        for pitch in pitches.filter(|p| !(low..=high).contains(&p.key())) {
            told.push(format!(
                "drum {} ({size} in) at {pitch}: its usual range is {} to {}",
                drum.number,
                Pitch::from_key(low),
                Pitch::from_key(high)
            ));
        }
    }
    told.dedup();
    told
}
