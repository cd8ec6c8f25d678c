//! Standard MIDI Files 0 and 1.
//!
//! A MIDI file says when keys go down, not what is written: times are drawn to
//! musical values, and how far they had to be moved is told. Rolls, hands and
//! articulation are not in the file and stay unknown.

mod choose;

use super::read::{Fault, ReadOptions};
use super::time::{size, tidy};
use super::{Bar, Dynamic, LevelMark, Note, Part, Quarters, TempoMark, Unread, quarters_f64};
use crate::pitch::Pitch;
use midly::{Format, MetaMessage, MidiMessage, Smf, Timing, TrackEventKind};
use std::collections::BTreeMap;

/// Divisions of a quarter note to which times are drawn: sixteenths and their
/// triplets come before finer values.
const GRIDS: [i64; 6] = [2, 3, 4, 6, 8, 12];
/// A moved time costs as much as a finer grid, quarter notes.
const FINER: f64 = 0.012;
/// A file that lasts longer than this is damaged, quarter notes.
const LONGEST: i64 = 200_000;
const MOST_NOTES: usize = 500_000;

struct Struck {
    at: u64,
    until: u64,
    key: u8,
    velocity: u8,
}

/// Reads a file.
#[expect(
    clippy::too_many_lines,
    reason = "one arm for each event of the format reads best in one place"
)]
pub(super) fn read(bytes: &[u8], options: &ReadOptions) -> Result<Part, Fault> {
    let smf = Smf::parse(bytes).map_err(|e| {
        Fault::new(
            "the MIDI data",
            format!("is damaged ({e}); export the part again, best as MusicXML"),
        )
    })?;
    let Timing::Metrical(ticks) = smf.header.timing else {
        return Err(Fault::new(
            "the header",
            "times are in film frames, not in beats; export the part with musical time",
        ));
    };
    let per_quarter = i64::from(ticks.as_int());
    if per_quarter == 0 {
        return Err(Fault::new(
            "the header",
            "a quarter note has no ticks; export the part again",
        ));
    }
    if smf.header.format == Format::Sequential {
        return Err(Fault::new(
            "the header",
            "it is of format 2, several pieces in one; export the part as format 0 or 1",
        ));
    }
    let voice = choose::choose(&smf, options)?;
    let mut part = Part {
        title: choose::title(&smf, &voice),
        ..Part::default()
    };
    let mut meters: BTreeMap<u64, (u32, u32)> = BTreeMap::new();
    let mut tempi: BTreeMap<u64, f64> = BTreeMap::new();
    let mut struck = Vec::new();
    let mut end = 0_u64;
    for (index, events) in smf.tracks.iter().enumerate() {
        let mut at = 0_u64;
        let mut down: BTreeMap<(u8, u8), (u64, u8)> = BTreeMap::new();
        for event in events {
            at += u64::from(event.delta.as_int());
            if at as i64 / per_quarter > LONGEST {
                return Err(Fault::new(
                    format!("track {}", index + 1),
                    "lasts longer than any piece; export the part again",
                ));
            }
            match event.kind {
                TrackEventKind::Meta(MetaMessage::Tempo(micros)) => {
                    let bpm = 60e6 / f64::from(micros.as_int().max(1));
                    if !(1.0..=2000.0).contains(&bpm) {
                        return Err(Fault::new(
                            format!("track {}, tick {at}", index + 1),
                            "the tempo is not between 1 and 2000 quarter notes a minute",
                        ));
                    }
                    tempi.insert(at, (bpm * 1000.0).round() / 1000.0);
                }
                TrackEventKind::Meta(MetaMessage::TimeSignature(beats, power, ..)) => {
                    if beats == 0 || power > 6 {
                        return Err(Fault::new(
                            format!("track {}, tick {at}", index + 1),
                            "the meter is none; export the part again",
                        ));
                    }
                    meters.insert(at, (u32::from(beats), 1 << power));
                }
                TrackEventKind::Midi { channel, message }
                    if index == voice.track && voice.has(channel.as_int()) =>
                {
                    let (key, velocity) = match message {
                        MidiMessage::NoteOn { key, vel } => (key.as_int(), vel.as_int()),
                        MidiMessage::NoteOff { key, .. } => (key.as_int(), 0),
                        _ => continue,
                    };
                    let id = (channel.as_int(), key);
                    if let Some((from, velocity)) = down.remove(&id) {
                        end = end.max(at);
                        struck.push(Struck {
                            at: from,
                            until: at,
                            key,
                            velocity,
                        });
                    }
                    if velocity > 0 {
                        down.insert(id, (at, velocity));
                    }
                }
                _ => {}
            }
        }
        for ((_, key), (from, velocity)) in down {
            end = end.max(at);
            struck.push(Struck {
                at: from,
                until: at,
                key,
                velocity,
            });
        }
    }
    if struck.is_empty() || struck.len() > MOST_NOTES {
        return Err(Fault::new(
            "the MIDI data",
            format!("holds {} notes; expected some, as a part has", struck.len()),
        ));
    }
    struck.sort_by_key(|s| (s.at, s.key));
    let exact = |t: u64| tidy(Quarters::new(t as i64, per_quarter));
    let meters: Vec<(Quarters, (u32, u32))> =
        meters.into_iter().map(|(t, m)| (exact(t), m)).collect();
    bars(&mut part, &meters, exact(end));
    for (&at, &bpm) in &tempi {
        part.tempi.push(TempoMark {
            at: exact(at),
            quarter_bpm: Some(bpm),
            gradual: false,
            text: None,
        });
    }
    notes(&mut part, &struck, &exact);
    Ok(part)
}

/// Bars to the end of the last note; a change of meter within a bar ends it.
fn bars(part: &mut Part, meters: &[(Quarters, (u32, u32))], end: Quarters) {
    let mut at = Quarters::from(0);
    let mut number = 1;
    while at < end || part.bars.is_empty() {
        let after = meters.partition_point(|m| m.0 <= at);
        let meter = after.checked_sub(1).map_or((4, 4), |i| meters[i].1);
        let mut length = Quarters::new(i64::from(meter.0) * 4, i64::from(meter.1));
        if let Some(next) = meters.get(after) {
            length = length.min(next.0 - at);
        }
        part.bars.push(Bar {
            number,
            at,
            length,
            meter,
            rehearsal: None,
        });
        at = tidy(at + length);
        number += 1;
    }
}

/// The nearest musical value, coarse ones first.
fn draw(at: Quarters) -> Quarters {
    let mut best = (f64::INFINITY, at);
    for (rank, &grid) in GRIDS.iter().enumerate() {
        let place = (at * grid).round() / grid;
        let cost = quarters_f64(size(at - place)) + FINER * rank as f64;
        if cost < best.0 {
            best = (cost, place);
        }
    }
    best.1
}

fn notes(part: &mut Part, struck: &[Struck], exact: &dyn Fn(u64) -> Quarters) {
    let mut worst = Quarters::from(0);
    let mut moved = 0_usize;
    let mut shared = 0_usize;
    for stroke in struck {
        let at = draw(exact(stroke.at));
        let off = size(at - exact(stroke.at));
        worst = worst.max(off);
        moved += usize::from(off > Quarters::from(0));
        let length = draw(exact(stroke.until) - exact(stroke.at)).max(Quarters::new(1, 12));
        let bar = part.bars.partition_point(|b| b.at <= at).max(1) - 1;
        let pitch = Pitch::from_key(i32::from(stroke.key));
        if part
            .notes
            .iter()
            .rev()
            .take(8)
            .any(|n| n.at == at && n.pitch == pitch)
        {
            shared += 1;
            continue;
        }
        part.notes.push(Note {
            bar,
            at,
            length,
            pitch,
            drum: 0,
            roll: false,
            flam: false,
            accent: false,
            staccato: false,
            tenuto: false,
            dynamic: None,
            hand: None,
            damp: None,
        });
    }
    let end = part.notes.iter().map(|n| n.at).max().unwrap_or_default();
    if let Some(last) = part.bars.last().filter(|b| b.at + b.length <= end).cloned() {
        part.bars.push(Bar {
            number: last.number + 1,
            at: tidy(last.at + last.length),
            ..last
        });
        for note in &mut part.notes {
            note.bar = part.bars.partition_point(|b| b.at <= note.at).max(1) - 1;
        }
    }
    if moved > 0 {
        part.unread.push(Unread {
            bar: None,
            what: format!(
                "{moved} of {} notes were moved to musical values, by at most {:.3} quarter notes",
                struck.len(),
                quarters_f64(worst)
            ),
        });
    }
    if shared > 0 {
        part.unread.push(Unread {
            bar: None,
            what: format!("{shared} notes fell on the same place and pitch as another"),
        });
    }
    levels(part, struck, exact);
}

/// Velocities hint at dynamics where the file has more than one. The steps are
/// those by which notation programs commonly play marks: common practice, no
/// source.
fn levels(part: &mut Part, struck: &[Struck], exact: &dyn Fn(u64) -> Quarters) {
    if struck.iter().all(|s| s.velocity == struck[0].velocity) {
        return;
    }
    let mark = |velocity: u8| match velocity {
        0..=20 => Dynamic::Ppp,
        21..=40 => Dynamic::Pp,
        41..=56 => Dynamic::P,
        57..=71 => Dynamic::Mp,
        72..=87 => Dynamic::Mf,
        88..=103 => Dynamic::F,
        104..=119 => Dynamic::Ff,
        _ => Dynamic::Fff,
    };
    let mut before = None;
    for stroke in struck {
        let level = mark(stroke.velocity);
        if before != Some(level) {
            part.marks.push(LevelMark {
                at: draw(exact(stroke.at)),
                mark: level,
            });
            before = Some(level);
        }
    }
}
