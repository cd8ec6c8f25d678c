//! Chance damage with fixed seeds to sheets, `MusicXML`, packed scores and MIDI:
//! nothing panics, and what is still read survives being a sheet.
//!
//! An ordinary run reads 8 000 files; `KETTLEMARK_MUTATIONS=100000 cargo test
//! --release --test part mutated` reads 100 000. What is found is kept in
//! `tests/part/finds` and read again every time.

use crate::common::{file, files};
use crate::midi;
use crate::scores::pack;
use kettlemark::part::{self, ReadOptions, sheet};
use kettlemark_test_support::draw::Draw;
use kettlemark_test_support::outside::root;
use midly::Format;
use std::panic::catch_unwind;
use std::path::{Path, PathBuf};
use std::time::Instant;

const INPUTS: usize = 8_000;

/// Words that matter to a reader, put where they do not belong.
const WORDS: [&str; 24] = [
    "-1",
    "0",
    "999999999",
    "1/0",
    "F",
    "~",
    "*",
    "(",
    ")",
    ",",
    ":",
    "end:",
    "cresc:",
    "@9",
    "\"",
    "\n",
    "<note>",
    "</note>",
    "<backup><duration>9</duration></backup>",
    "<chord/>",
    "<grace/>",
    "<repeat direction=\"backward\"/>",
    "<ending number=\"1\" type=\"start\"/>",
    "<sound dalsegno=\"a\"/>",
];

fn finds() -> PathBuf {
    root().join("tests/part/finds")
}

/// Undamaged files of every kind.
fn whole_files() -> Vec<(&'static str, Vec<u8>)> {
    let mut all: Vec<(&'static str, Vec<u8>)> = Vec::new();
    for path in files() {
        all.push(("musicxml", std::fs::read(path).unwrap()));
    }
    for entry in std::fs::read_dir(root().join("tests/golden/part")).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|e| e == "kettle") {
            all.push(("kettle", std::fs::read(path).unwrap()));
        }
    }
    all.sort();
    all.push((
        "kettle",
        std::fs::read(root().join("sample-takes/lantern.kettle")).unwrap(),
    ));
    for name in ["rolls.musicxml", "repeats.musicxml"] {
        all.push(("mxl", pack(&std::fs::read(file(name)).unwrap(), true, None)));
    }
    for format in [Format::SingleTrack, Format::Parallel] {
        for seed in 0..4 {
            all.push(("mid", midi::file_of(format, &midi::drawn(seed, 5))));
        }
    }
    all
}

/// One to three damages: bits, bytes, words, pieces cut, doubled or moved.
fn damage(draw: &mut Draw, bytes: &mut Vec<u8>, other: &[u8]) {
    for _ in 0..=draw.below(3) {
        if bytes.is_empty() {
            return;
        }
        let at = draw.below(bytes.len());
        let to = (at + 1 + draw.below(60)).min(bytes.len());
        match draw.below(8) {
            0 => bytes[at] ^= 1 << draw.below(8),
            1 => bytes[at] = draw.below(256) as u8,
            2 => drop(bytes.drain(at..to)),
            3 => {
                let piece = bytes[at..to].to_vec();
                let place = draw.below(bytes.len());
                bytes.splice(place..place, piece);
            }
            4 => {
                let word = draw.one(&WORDS);
                bytes.splice(at..at, word.bytes());
            }
            5 => {
                // A number becomes another.
                let digits = bytes[at..].iter().position(u8::is_ascii_digit);
                if let Some(digit) = digits {
                    bytes[at + digit] = b'0' + draw.below(10) as u8;
                }
            }
            6 if !other.is_empty() => {
                let from = draw.below(other.len());
                let until = (from + 200).min(other.len());
                bytes.splice(at..to, other[from..until].iter().copied());
            }
            _ => {
                if draw.chance(0.2) {
                    bytes.truncate(at);
                }
            }
        }
    }
}

/// Reads a file; whatever is read has to survive being a sheet. `Err` tells what
/// went wrong.
fn check(bytes: &[u8]) -> Result<bool, String> {
    let outcome = catch_unwind(|| {
        let options = ReadOptions::default();
        let Ok(part) = part::read_bytes(bytes, Path::new("damaged"), &options) else {
            return Ok(false);
        };
        let text = sheet::to_sheet(&part);
        match part::read_bytes(text.as_bytes(), Path::new("damaged"), &options) {
            Ok(back) if back == part => Ok(true),
            Ok(_) => Err("the sheet reads back as another part".to_owned()),
            Err(error) => Err(format!("the sheet cannot be read: {error}")),
        }
    });
    outcome.unwrap_or_else(|_| Err("a panic".to_owned()))
}

#[test]
fn damaged_parts_never_panic_and_survive_being_a_sheet() {
    let inputs = std::env::var("KETTLEMARK_MUTATIONS").map_or(INPUTS, |n| {
        n.parse().expect("KETTLEMARK_MUTATIONS is a number")
    });
    let whole = whole_files();
    let (mut read, mut slowest) = (0, (0.0, 0));
    let mut found = Vec::new();
    for seed in 0..inputs {
        let draw = &mut Draw::new(seed as u64, 61);
        // Every kind in turn, whatever the number of its files.
        let kind = ["kettle", "musicxml", "mid", "mxl"][seed % 4];
        let of_kind: Vec<&Vec<u8>> = whole.iter().filter(|w| w.0 == kind).map(|w| &w.1).collect();
        let mut bytes = draw.one(&of_kind).clone();
        let other = draw.one(&of_kind).clone();
        damage(draw, &mut bytes, &other);
        let from = Instant::now();
        match check(&bytes) {
            Ok(was_read) => read += usize::from(was_read),
            Err(why) => {
                std::fs::create_dir_all(finds()).unwrap();
                std::fs::write(finds().join(format!("{seed}.{kind}")), &bytes).unwrap();
                found.push(format!("{seed}.{kind}: {why}"));
            }
        }
        let took = from.elapsed().as_secs_f64();
        if took > slowest.0 {
            slowest = (took, seed);
        }
    }
    println!(
        "{inputs} damaged parts, {read} of them still read; the slowest, number {}, took {:.2} s",
        slowest.1, slowest.0
    );
    assert!(
        read > inputs / 20,
        "only {read} are read: the damage is too heavy to test much"
    );
    assert!(
        found.is_empty(),
        "kept in tests/part/finds:\n{}",
        found.join("\n")
    );
}

/// What was found once stays mended.
#[test]
fn finds_stay_mended() {
    let Ok(entries) = std::fs::read_dir(finds()) else {
        return;
    };
    for entry in entries {
        let path = entry.unwrap().path();
        let bytes = std::fs::read(&path).unwrap();
        assert!(
            check(&bytes).is_ok(),
            "{}: {:?}",
            path.display(),
            check(&bytes)
        );
    }
}
