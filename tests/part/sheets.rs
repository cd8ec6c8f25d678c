//! The text sheet says all that a part holds: every part written as a sheet
//! reads back as the same part.

use crate::common::{files, read};
use kettlemark::part::{
    self, Bar, Cue, Damp, Drum, Dynamic, Hairpin, HairpinKind, Hand, LevelMark, Note, Part,
    Quarters, ReadOptions, Retuning, TempoMark, Unread, sheet,
};
use kettlemark::pitch::Pitch;
use kettlemark_test_support::outside;
use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use std::path::Path;

/// Reads the sheet of a part.
fn again(part: &Part) -> Result<Part, String> {
    let text = sheet::to_sheet(part);
    part::read_bytes(text.as_bytes(), Path::new("sheet"), &ReadOptions::default())
        .map_err(|e| format!("{e}\n{text}"))
}

#[test]
fn every_part_file_survives_being_a_sheet() {
    let mut paths: Vec<_> = files()
        .into_iter()
        .filter(|p| !p.ends_with("two-timpanists.musicxml"))
        .collect();
    paths.extend(
        ["lantern.musicxml", "lantern.kettle"]
            .map(|n| outside::root().join("sample-takes").join(n)),
    );
    for folder in ["scores", "scores/edge-cases"] {
        let Some(folder) = outside::shared(folder) else {
            continue;
        };
        let inside = std::fs::read_dir(folder)
            .unwrap()
            .map(|e| e.unwrap().path());
        paths.extend(inside.filter(|p| {
            let name = p.file_name().unwrap().to_string_lossy();
            p.is_file() && name != "LICENSE" && !name.starts_with("02c-Rests")
        }));
    }
    for path in &paths {
        let part = read(path);
        assert_eq!(again(&part).as_ref(), Ok(&part), "{}", path.display());
    }
    println!("{} part files went through a sheet and back", paths.len());
}

/// Places and lengths in quarter notes that music has: halves to sixteenths,
/// triplets, quintuplets, septuplets.
const GRIDS: [i64; 7] = [1, 2, 3, 4, 5, 7, 8];

#[derive(Clone, Debug)]
struct DrawnNote {
    place: (i64, usize),
    length: (i64, usize),
    pitch: i32,
    drum: u8,
    signs: u16,
}

fn note() -> impl Strategy<Value = DrawnNote> {
    (
        (0_i64..400, 0..GRIDS.len()),
        (1_i64..24, 0..GRIDS.len()),
        40_i32..58,
        0_u8..5,
        any::<u16>(),
    )
        .prop_map(|(place, length, pitch, drum, signs)| DrawnNote {
            place,
            length,
            pitch,
            drum,
            signs,
        })
}

type DrawnBar = (usize, bool, i32, Option<String>);
type DrawnMark = (i64, usize);

const METERS: [(u32, u32); 6] = [(4, 4), (3, 4), (6, 8), (2, 2), (5, 8), (7, 16)];
const DYNAMICS: [Dynamic; 10] = [
    Dynamic::Pppp,
    Dynamic::Ppp,
    Dynamic::Pp,
    Dynamic::P,
    Dynamic::Mp,
    Dynamic::Mf,
    Dynamic::F,
    Dynamic::Ff,
    Dynamic::Fff,
    Dynamic::Ffff,
];

/// Any text that a title, cue or mark may hold.
fn text() -> impl Strategy<Value = String> {
    prop_oneof![
        "[a-zäöü.\"\\\\ #:()]{1,12}",
        "\\PC{1,8}",
        Just("a\nb\r".to_owned())
    ]
}

fn bars(drawn: &[DrawnBar]) -> Vec<Bar> {
    let mut at = Quarters::from(0);
    let mut number = 0;
    drawn
        .iter()
        .map(|(meter, short, step, rehearsal)| {
            let meter = METERS[*meter];
            let full = Quarters::new(i64::from(meter.0) * 4, i64::from(meter.1));
            let length = if *short { full / 2 } else { full };
            number += step;
            let bar = Bar {
                number,
                at,
                length,
                meter,
                rehearsal: rehearsal.clone(),
            };
            at += length;
            bar
        })
        .collect()
}

fn drums(count: u8) -> Vec<Drum> {
    ["F2", "Bb2", "D3", "F3"][..usize::from(count)]
        .iter()
        .zip(1..)
        .map(|(pitch, number)| Drum {
            number,
            size_in: (number != 2).then_some(33.5 - f64::from(number)),
            pitch: pitch.parse().unwrap(),
        })
        .collect()
}

fn notes(drawn: &[DrawnNote], bars: &[Bar], drums: u8) -> Vec<Note> {
    let end = bars.last().map(|b| b.at + b.length).unwrap();
    let mut notes: Vec<Note> = Vec::new();
    for one in drawn {
        let at = Quarters::new(one.place.0, GRIDS[one.place.1]);
        let length = Quarters::new(one.length.0, GRIDS[one.length.1]).min(end - at);
        if length <= Quarters::from(0) {
            continue;
        }
        let sign = |bit: u16| one.signs & (1 << bit) != 0;
        notes.push(Note {
            bar: bars.iter().rposition(|b| b.at <= at).unwrap(),
            at,
            length,
            pitch: Pitch::from_key(one.pitch),
            drum: one.drum.min(drums),
            roll: sign(0),
            flam: sign(1),
            accent: sign(2),
            staccato: sign(3),
            tenuto: sign(4),
            dynamic: None,
            hand: sign(5).then_some(if sign(6) { Hand::Right } else { Hand::Left }),
            damp: sign(7).then_some(if sign(8) { Damp::Stop } else { Damp::LetRing }),
        });
    }
    notes.sort_by_key(|n| (n.at, n.pitch, n.drum));
    notes.dedup_by_key(|n| (n.at, n.pitch, n.drum));
    notes
}

fn retunings(drawn: &[(usize, usize, i32)], bars: usize, drums: &[Drum]) -> Vec<Retuning> {
    let mut all: Vec<(usize, u8, i32)> = drawn
        .iter()
        .map(|&(bar, drum, key)| (bar % bars, drums[drum % drums.len()].number, key))
        .collect();
    all.sort_unstable();
    all.dedup_by_key(|r| (r.0, r.1));
    let mut tuned: Vec<Pitch> = drums.iter().map(|d| d.pitch).collect();
    all.into_iter()
        .map(|(bar, drum, key)| {
            let place = usize::from(drum) - 1;
            let from = tuned[place];
            tuned[place] = Pitch::from_key(key);
            Retuning {
                bar,
                drum,
                from,
                to: tuned[place],
            }
        })
        .collect()
}

prop_compose! {
    /// A part in the order in which readers leave it.
    fn any_part()(
        title in text(),
        drawn_bars in proptest::collection::vec(
            (0..METERS.len(), prop::bool::weighted(0.2), 0_i32..3, prop::option::weighted(0.1, text())), 1..9),
        drawn_notes in proptest::collection::vec(note(), 1..24),
        drum_count in 1_u8..5,
        changes in proptest::collection::vec((0..9_usize, 0..4_usize, 40_i32..58), 0..4),
        levels in proptest::collection::vec((0_i64..200, 0..GRIDS.len(), 0..DYNAMICS.len()), 0..5),
        pins in proptest::collection::vec((0_i64..60, 1_i64..20, any::<bool>()), 0..4),
        fermatas in proptest::collection::vec((0_i64..100, 0..GRIDS.len()), 0..3),
        tempi in proptest::collection::vec(
            (0_i64..100, 0..GRIDS.len(), prop::option::of(1.0..2000.0_f64), any::<bool>(), prop::option::of(text())), 0..4),
        cues in proptest::collection::vec((0..9_usize, text()), 0..3),
        unread in proptest::collection::vec((prop::option::of(0_i32..50), text()), 0..3),
    ) -> Part {
        let bars = bars(&drawn_bars);
        let end = bars.last().map(|b| b.at + b.length).unwrap();
        let inside = |place: DrawnMark| Quarters::new(place.0, GRIDS[place.1]).min(end);
        let drums = drums(drum_count);
        let mut notes = notes(&drawn_notes, &bars, drum_count);
        let mut marks: Vec<LevelMark> = levels.iter()
            .map(|&(n, d, mark)| LevelMark { at: inside((n, d)), mark: DYNAMICS[mark] })
            .collect();
        marks.sort_by_key(|m| m.at);
        marks.dedup_by_key(|m| m.at);
        let mut in_force = marks.iter().peekable();
        let mut dynamic = None;
        for note in &mut notes {
            while let Some(mark) = in_force.next_if(|m| m.at <= note.at) {
                dynamic = Some(mark.mark);
            }
            note.dynamic = dynamic;
        }
        let mut hairpins: Vec<Hairpin> = pins.iter()
            .map(|&(from, length, softer)| Hairpin {
                from: Quarters::new(from, 2),
                to: Quarters::new(from + length, 2).min(end),
                kind: if softer { HairpinKind::Diminuendo } else { HairpinKind::Crescendo },
            })
            .filter(|h| h.from < h.to)
            .collect();
        hairpins.sort_by_key(|h| (h.from, h.to, h.kind == HairpinKind::Diminuendo));
        hairpins.dedup();
        let mut fermatas: Vec<Quarters> = fermatas.iter().map(|&f| inside(f)).collect();
        fermatas.sort_unstable();
        fermatas.dedup();
        let mut tempi: Vec<TempoMark> = tempi.into_iter()
            .filter(|t| t.2.is_some() || t.3 || t.4.is_some())
            .map(|(n, d, quarter_bpm, gradual, text)| TempoMark { at: inside((n, d)), quarter_bpm, gradual, text })
            .collect();
        tempi.sort_by_key(|t| t.at);
        tempi.dedup();
        let mut cues: Vec<Cue> = cues.into_iter()
            .map(|(bar, text)| Cue { bar: bar % bars.len(), text })
            .collect();
        cues.sort_by(|a, b| (a.bar, &a.text).cmp(&(b.bar, &b.text)));
        cues.dedup();
        Part {
            title,
            retunings: retunings(&changes, bars.len(), &drums),
            unread: unread.into_iter().map(|(bar, what)| Unread { bar, what }).collect(),
            bars, notes, tempi, marks, hairpins, fermatas, cues, drums,
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 600,
        rng_seed: RngSeed::Fixed(20_261_125),
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn any_part_survives_being_a_sheet(part in any_part()) {
        prop_assume!(!part.notes.is_empty());
        let back = again(&part);
        prop_assert!(back.as_ref() == Ok(&part), "{part:#?}\n{}\n{back:#?}", sheet::to_sheet(&part));
    }
}

/// What the guide says about sheets, line by line.
#[test]
fn a_sheet_says_what_the_guide_says() {
    let text = "meter 6/8 in 2\ntempo 66 per 3/2\ndrum 1 F2\ndrum 2 Bb2\n0 (1): Bb*2/3\n\
                1: F,_,F Bb\n2: F~*2\nagain 1-2\nmore: \n";
    let part = part::read_bytes(text.as_bytes(), Path::new("guide"), &ReadOptions::default());
    let part = part.unwrap();
    let numbers: Vec<i32> = part.bars.iter().map(|b| b.number).collect();
    assert_eq!(numbers, [0, 1, 2, 1, 2]);
    assert_eq!(part.tempi[0].quarter_bpm, Some(99.0));
    let starts: Vec<Quarters> = part.notes.iter().map(|n| n.at).collect();
    let q = Quarters::new;
    let first = [q(0, 1), q(1, 1), q(2, 1), q(5, 2), q(4, 1)];
    assert_eq!(starts[..5], first);
    let second: Vec<Quarters> = first[1..].iter().map(|t| t + 6).collect();
    assert_eq!(starts[5..], second);
    assert!(
        part.notes
            .iter()
            .filter(|n| n.roll)
            .all(|n| n.length == q(3, 1))
    );
}
