//! Standard MIDI Files against the events that `music21` reads from them, against
//! scores that `music21` writes as MIDI, and against what was put into them.

use crate::common::{file, message, read};
use kettlemark::part::{self, Dynamic, Part, Quarters, ReadOptions, quarters_f64};
use kettlemark_test_support::draw::Draw;
use kettlemark_test_support::outside;
use midly::num::{u4, u7, u15, u24, u28};
use midly::{Format, Header, MetaMessage, MidiMessage, Smf, Timing, TrackEvent, TrackEventKind};
use serde_json::json;
use std::path::Path;

const TICKS: u32 = 480;

/// A track from events at absolute ticks.
pub fn track(mut events: Vec<(u32, TrackEventKind)>) -> Vec<TrackEvent> {
    events.sort_by_key(|e| e.0);
    let last = events.last().map_or(0, |e| e.0);
    events.push((last, TrackEventKind::Meta(MetaMessage::EndOfTrack)));
    let mut now = 0;
    events
        .into_iter()
        .map(|(at, kind)| {
            let delta = u28::new(at - now);
            now = at;
            TrackEvent { delta, kind }
        })
        .collect()
}

pub fn on(channel: u8, key: u8, velocity: u8) -> TrackEventKind<'static> {
    TrackEventKind::Midi {
        channel: u4::new(channel),
        message: MidiMessage::NoteOn {
            key: u7::new(key),
            vel: u7::new(velocity),
        },
    }
}

fn off(channel: u8, key: u8) -> TrackEventKind<'static> {
    TrackEventKind::Midi {
        channel: u4::new(channel),
        message: MidiMessage::NoteOff {
            key: u7::new(key),
            vel: u7::new(0),
        },
    }
}

fn program(channel: u8, program: u8) -> TrackEventKind<'static> {
    TrackEventKind::Midi {
        channel: u4::new(channel),
        message: MidiMessage::ProgramChange {
            program: u7::new(program),
        },
    }
}

fn tempo(bpm: u32) -> TrackEventKind<'static> {
    TrackEventKind::Meta(MetaMessage::Tempo(u24::new(60_000_000 / bpm)))
}

fn meter(beats: u8, power: u8) -> TrackEventKind<'static> {
    TrackEventKind::Meta(MetaMessage::TimeSignature(beats, power, 24, 8))
}

fn named(name: &str) -> TrackEventKind<'_> {
    TrackEventKind::Meta(MetaMessage::TrackName(name.as_bytes()))
}

pub fn bytes(format: Format, tracks: Vec<Vec<TrackEvent>>) -> Vec<u8> {
    let timing = Timing::Metrical(u15::new(TICKS as u16));
    let smf = Smf {
        header: Header { format, timing },
        tracks,
    };
    let mut bytes = Vec::new();
    smf.write_std(&mut bytes).unwrap();
    bytes
}

fn parsed(bytes: &[u8], options: &ReadOptions) -> Part {
    part::read_bytes(bytes, Path::new("march.mid"), options).unwrap_or_else(|e| panic!("{e}"))
}

/// Quarter notes of the part, their keys and velocities. Values that parts have:
/// quarters, eighths, triplets, sixteenths.
pub fn drawn(seed: u64, jitter: i64) -> Vec<(Quarters, u32, u8, u8)> {
    let draw = &mut Draw::new(seed, 51);
    let mut at = Quarters::from(0);
    let mut notes = Vec::new();
    while at < Quarters::from(24) {
        let (count, step) = draw.one(&[
            (1, (1, 1)),
            (2, (1, 2)),
            (3, (1, 3)),
            (4, (1, 4)),
            (0, (1, 1)),
        ]);
        for i in 0..count {
            let place = at + Quarters::new(step.0, step.1) * Quarters::from(i);
            let exact = *(place * Quarters::from(i64::from(TICKS))).numer();
            let moved = if jitter > 0 {
                draw.below(2 * jitter as usize + 1) as i64 - jitter
            } else {
                0
            };
            let tick = (exact + moved).max(0) as u32;
            notes.push((
                place,
                tick,
                draw.one(&[41, 46, 50]),
                draw.one(&[30, 60, 100]),
            ));
        }
        at += 1;
    }
    notes
}

pub fn file_of(format: Format, notes: &[(Quarters, u32, u8, u8)]) -> Vec<u8> {
    let mut events = vec![(0, named("Timpani")), (0, program(3, 47))];
    for &(_, tick, key, velocity) in notes {
        events.push((tick, on(3, key, velocity)));
        events.push((tick + 100, off(3, key)));
    }
    let conductor = vec![
        (0, named("Lantern Procession")),
        (0, tempo(90)),
        (0, meter(3, 2)),
        (TICKS * 6, meter(4, 2)),
        (TICKS * 6, tempo(120)),
    ];
    match format {
        Format::SingleTrack => {
            events.extend(conductor.into_iter().skip(1));
            bytes(format, vec![track(events)])
        }
        _ => bytes(format, vec![track(conductor), track(events)]),
    }
}

#[test]
fn exact_files_are_read_exactly() {
    for (seed, format) in (0..40).zip([Format::Parallel, Format::SingleTrack].into_iter().cycle()) {
        let notes = drawn(seed, 0);
        let part = parsed(&file_of(format, &notes), &ReadOptions::default());
        let mut expected: Vec<(Quarters, i32)> =
            notes.iter().map(|n| (n.0, i32::from(n.2))).collect();
        expected.sort_unstable();
        let found: Vec<(Quarters, i32)> =
            part.notes.iter().map(|n| (n.at, n.pitch.key())).collect();
        assert_eq!(found, expected);
        let told: Vec<&str> = part.unread.iter().map(|u| u.what.as_str()).collect();
        assert!(told.iter().all(|t| !t.contains("moved")), "{told:?}");
        assert_eq!(
            part.title,
            if format == Format::Parallel {
                "Lantern Procession"
            } else {
                "Timpani"
            }
        );
        let tempi: Vec<_> = part.tempi.iter().map(|t| (t.at, t.quarter_bpm)).collect();
        assert_eq!(
            tempi,
            [
                (Quarters::from(0), Some(90.0)),
                (Quarters::from(6), Some(120.0))
            ]
        );
        let meters: Vec<_> = part.bars.iter().map(|b| b.meter).collect();
        assert_eq!(meters[..3], [(3, 4), (3, 4), (4, 4)]);
        // Levels follow the velocities.
        let level = |velocity: u8| match velocity {
            30 => Dynamic::Pp,
            60 => Dynamic::Mp,
            _ => Dynamic::F,
        };
        for note in &notes {
            let same = part.notes.iter().find(|n| n.at == note.0).unwrap();
            assert_eq!(same.dynamic, Some(level(note.3)));
        }
    }
}

/// Played by hand: every time up to 12 ms off at 90 quarter notes a minute.
#[test]
fn moved_times_are_drawn_back_and_the_residual_is_told() {
    for seed in 0..40 {
        let notes = drawn(seed, 8);
        let part = parsed(&file_of(Format::Parallel, &notes), &ReadOptions::default());
        let mut expected: Vec<Quarters> = notes.iter().map(|n| n.0).collect();
        expected.sort_unstable();
        let found: Vec<Quarters> = part.notes.iter().map(|n| n.at).collect();
        assert_eq!(found, expected, "seed {seed}");
        let worst = notes
            .iter()
            .map(|n| (quarters_f64(n.0) - f64::from(n.1) / f64::from(TICKS)).abs())
            .fold(0.0, f64::max);
        let told = &part.unread[0].what;
        assert!(
            told.contains(&format!("by at most {worst:.3} quarter notes")),
            "{told}"
        );
    }
}

/// The events as `music21`'s own reader of MIDI gives them.
#[test]
fn events_are_those_of_music21() {
    let dir = tempfile::tempdir().unwrap();
    let mut paths = Vec::new();
    for seed in 0..20 {
        let format = if seed % 2 == 0 {
            Format::Parallel
        } else {
            Format::SingleTrack
        };
        let path = dir.path().join(format!("{seed}.mid"));
        std::fs::write(&path, file_of(format, &drawn(seed, 0))).unwrap();
        paths.push(path);
    }
    let Some(answers) = outside::python_json("midi_events.py", &json!({ "read": paths })) else {
        return;
    };
    for (path, theirs) in paths.iter().zip(answers.as_array().unwrap()) {
        let part = read(path);
        let notes = theirs["notes"].as_array().unwrap();
        assert_eq!(notes.len(), part.notes.len());
        for (note, other) in part.notes.iter().zip(notes) {
            assert!((quarters_f64(note.at) - other[0].as_f64().unwrap()).abs() < 1e-9);
            assert_eq!(i64::from(note.pitch.key()), other[1].as_i64().unwrap());
        }
        let tempi = theirs["tempi"].as_array().unwrap();
        assert_eq!(tempi.len(), part.tempi.len());
        for (mark, other) in part.tempi.iter().zip(tempi) {
            assert_eq!(quarters_f64(mark.at), other[0].as_f64().unwrap());
            assert!((mark.quarter_bpm.unwrap() - other[1].as_f64().unwrap()).abs() < 1e-3);
        }
    }
}

/// Scores that `music21` writes as MIDI: the same notes as from the score.
#[test]
fn a_score_written_as_midi_is_the_same_music() {
    let dir = tempfile::tempdir().unwrap();
    let scores = [
        "repeats",
        "da-capo",
        "bars",
        "retuning",
        "words",
        "divisions",
    ];
    let paths: Vec<_> = scores
        .iter()
        .map(|s| dir.path().join(format!("{s}.mid")))
        .collect();
    let write: Vec<_> = scores
        .iter()
        .zip(&paths)
        .map(|(s, p)| json!([file(&format!("{s}.musicxml")), p]))
        .collect();
    if outside::python_json("midi_events.py", &json!({ "read": [], "write": write })).is_none() {
        return;
    }
    for (score, path) in scores.iter().zip(&paths) {
        let written = read(&file(&format!("{score}.musicxml")));
        let midi = read(path);
        let notes = |part: &Part| -> Vec<(Quarters, i32)> {
            part.notes.iter().map(|n| (n.at, n.pitch.key())).collect()
        };
        if *score == "divisions" {
            // Septuplets and quintuplets have no place in MIDI as we read it.
            let tuplets = |at: Quarters| at < Quarters::from(1) || at >= Quarters::from(3);
            let only = |part: &Part| -> Vec<_> {
                notes(part).into_iter().filter(|n| tuplets(n.0)).collect()
            };
            assert_eq!(only(&midi), only(&written), "{score}");
            assert!(midi.unread.iter().any(|u| u.what.contains("moved")));
        } else {
            assert_eq!(notes(&midi), notes(&written), "{score}");
        }
    }
}

#[test]
fn the_timpani_are_found_by_program_name_or_wish() {
    let notes = |channel: u8, key: u8| vec![(0, on(channel, key, 80)), (TICKS, off(channel, key))];
    let with = |notes: Vec<(u32, TrackEventKind<'static>)>,
                mut first: Vec<(u32, TrackEventKind<'static>)>| {
        first.extend(notes);
        track(first)
    };
    let first_key =
        |bytes: &[u8], options: &ReadOptions| parsed(bytes, options).notes[0].pitch.key();
    let plain = ReadOptions::default();
    // Two tracks, one of them by its program.
    let by_program = bytes(
        Format::Parallel,
        vec![
            with(notes(0, 72), vec![]),
            with(notes(1, 45), vec![(0, program(1, 47))]),
        ],
    );
    assert_eq!(first_key(&by_program, &plain), 45);
    // One track with several channels.
    let channels = bytes(
        Format::SingleTrack,
        vec![with(
            [notes(0, 72), notes(1, 45)].concat(),
            vec![(0, program(0, 68)), (0, program(1, 47))],
        )],
    );
    let part = parsed(&channels, &plain);
    assert_eq!(part.notes.len(), 1);
    assert_eq!(part.notes[0].pitch.key(), 45);
    // By name.
    let by_name = bytes(
        Format::Parallel,
        vec![
            with(notes(0, 72), vec![(0, named("Oboe"))]),
            with(notes(1, 45), vec![(0, named("Pauken"))]),
        ],
    );
    assert_eq!(first_key(&by_name, &plain), 45);
    // By wish, and a list where there is none.
    let two = bytes(
        Format::Parallel,
        vec![
            with(notes(0, 43), vec![(0, named("Timpani I"))]),
            with(notes(1, 45), vec![(0, named("Timpani II"))]),
        ],
    );
    let second = ReadOptions {
        part_name: Some("timpani ii".to_owned()),
        ..ReadOptions::default()
    };
    assert_eq!(first_key(&two, &second), 45);
    let told = message(&two, "two.mid", &plain);
    assert!(
        told.contains("--part-name") && told.contains("\"Timpani II\" (track 2, channel 2)"),
        "{told}"
    );
}
