//! Bars and notes as `music21` 10.5 reads and plays them
//! (`tests/reference/scores.py`), file by file.
//!
//! Every difference is counted in the table below with its reason. Rolls under a
//! wavy line are one difference of principle: `music21` leaves the notes of a
//! line that carry no tie apart, on drums they are one roll.

use crate::common::{file, read};
use kettlemark::part::{self, Part, Quarters, ReadOptions, sheet};
use kettlemark_test_support::outside;
use serde_json::{Value, json};
use std::io::Write;
use std::path::{Path, PathBuf};

/// Differences of one file, each with its reason.
#[derive(Default)]
struct Known {
    /// Rolls that join several notes of theirs under a wavy line.
    joined: usize,
    /// Notes that only we, and that only they have.
    ours: usize,
    theirs: usize,
    /// Their bars have other numbers after a jump back.
    numbered_anew: bool,
    /// Their times are off by less than this, quarter notes.
    rounded: f64,
    /// Place of the part in their list.
    part: usize,
}

fn known(name: &str) -> Known {
    let same = Known::default();
    match name {
        "Beach_Op.32_4_timpani.musicxml" => Known { joined: 33, ..same },
        // One line over two notes.
        "32aa-Notations2_Ornaments.xml" => Known { joined: 1, ..same },
        // Two lines of two notes and one of three; and a tremolo between two
        // drums, which they give as one note after the other and which sounds
        // as both rolled together.
        "rolls.musicxml" => Known {
            joined: 2,
            ours: 2,
            theirs: 2,
            ..same
        },
        // A measured tremolo between two drums: sixteen strokes in turn, which
        // they give as two notes.
        "tremolos.musicxml" => Known {
            ours: 16,
            theirs: 2,
            ..same
        },
        // They take two cue notes for notes.
        "notes.musicxml" => Known { theirs: 2, ..same },
        // Two voices on one stroke, a quarter and a half note, are one stroke.
        "voices.musicxml" => Known { theirs: 1, ..same },
        // They number bars on after a jump back; on paper the numbers return.
        "da-capo.musicxml" | "dal-segno.musicxml" => Known {
            numbered_anew: true,
            ..same
        },
        "full-score.musicxml" => Known {
            numbered_anew: true,
            part: 1,
            ..same
        },
        "partwise.musicxml" => Known { part: 1, ..same },
        // They take 85/256 for a third of a quarter note. We take what is
        // written: a triplet eighth (checked below).
        "divisions.musicxml" => Known {
            rounded: 0.02,
            ..same
        },
        _ => same,
    }
}

type Told = (f64, f64, String);

fn quarters(value: &Value) -> Quarters {
    let (over, under) = value.as_str().unwrap().split_once('/').unwrap();
    Quarters::new(over.parse().unwrap(), under.parse().unwrap())
}

fn notes_of(part: &Part) -> Vec<(Quarters, Quarters, String, bool)> {
    part.notes
        .iter()
        .map(|n| (n.at, n.length, n.pitch.to_string(), n.roll))
        .collect()
}

/// Compares one file; gives what differs from the table of known differences.
fn compare(name: &str, part: &Part, theirs: &Value) -> Result<(), String> {
    let known = known(name);
    if let Some(error) = theirs["error"].as_str() {
        return Err(format!("music21 cannot read it: {error}"));
    }
    let float = part::quarters_f64;
    let near = |a: Quarters, b: Quarters| (float(a) - float(b)).abs() <= known.rounded;
    let bars = theirs["bars"].as_array().unwrap();
    if bars.len() != part.bars.len() {
        return Err(format!("{} bars, not {}", part.bars.len(), bars.len()));
    }
    let mut numbers_differ = false;
    for (bar, other) in part.bars.iter().zip(bars) {
        numbers_differ |= other[0].as_i64() != Some(i64::from(bar.number));
        if !near(bar.at, quarters(&other[1])) || !near(bar.length, quarters(&other[2])) {
            return Err(format!("bar {bar:?}, not {other}"));
        }
    }
    if numbers_differ != known.numbered_anew {
        return Err(format!("bar numbers differ: {numbers_differ}"));
    }
    let mut left: Vec<(Quarters, Quarters, String)> = theirs["notes"]
        .as_array()
        .unwrap()
        .iter()
        .map(|n| {
            let pitch = n[2].as_str().unwrap().to_owned();
            (quarters(&n[0]), quarters(&n[1]), pitch)
        })
        .collect();
    let (mut joined, mut ours) = (0, Vec::new());
    for (at, length, pitch, roll) in notes_of(part) {
        let same =
            |n: &(Quarters, Quarters, String)| near(n.0, at) && near(n.1, length) && n.2 == pitch;
        if let Some(found) = left.iter().position(same) {
            left.remove(found);
            continue;
        }
        // A roll may be several notes of theirs end to end.
        let mut now = at;
        let mut rest = left.clone();
        while roll && now < at + length {
            let next = rest.iter().position(|n| n.0 == now && n.2 == pitch);
            let Some(next) = next else { break };
            now += rest.remove(next).1;
        }
        if roll && now == at + length {
            joined += 1;
            left = rest;
        } else {
            ours.push((float(at), float(length), pitch));
        }
    }
    let theirs: Vec<Told> = left
        .into_iter()
        .map(|(at, length, pitch)| (float(at), float(length), pitch))
        .collect();
    let counted = (joined, ours.len(), theirs.len());
    if counted == (known.joined, known.ours, known.theirs) {
        Ok(())
    } else {
        Err(format!(
            "joined rolls, ours alone, theirs alone: {counted:?}; {ours:?}; {theirs:?}"
        ))
    }
}

/// Compares files; gives how many notes were compared. `None` without Python.
fn compare_all(paths: &[PathBuf]) -> Option<usize> {
    let name = |path: &Path| path.file_name().unwrap().to_string_lossy().into_owned();
    let asked: Vec<Value> = paths
        .iter()
        .map(|p| json!({ "path": p, "part": known(&name(p)).part }))
        .collect();
    let answers = outside::python_json("scores.py", &json!({ "files": asked }))?;
    let answers = answers.as_array().unwrap();
    assert_eq!(answers.len(), paths.len());
    let mut wrong = Vec::new();
    let mut count = 0;
    for (path, theirs) in paths.iter().zip(answers) {
        let ours = part::read(path, &ReadOptions::default());
        match ours {
            Ok(part) => {
                count += part.notes.len();
                if let Err(why) = compare(&name(path), &part, theirs) {
                    wrong.push(format!("{}: {why}", name(path)));
                }
            }
            // A score of rests is the one that we refuse.
            Err(error) => {
                let none = theirs["notes"].as_array().is_some_and(Vec::is_empty);
                if !none || !error.to_string().contains("holds no notes") {
                    wrong.push(error.to_string());
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    Some(count)
}

fn scores_in(folder: &Path) -> Vec<PathBuf> {
    let mut paths: Vec<PathBuf> = std::fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| {
            p.extension()
                .is_some_and(|e| e == "xml" || e == "musicxml" || e == "mxl")
        })
        .collect();
    paths.sort();
    paths
}

/// Six real parts (`OpenScore` Orchestra, CC0-1.0) and twelve edge cases
/// (`musicxmlTestSuite`, MIT) that lie beside the checkout.
#[test]
fn real_parts_and_edge_cases_are_read_as_music21_reads_them() {
    let (Some(real), Some(edge)) = (
        outside::shared("scores"),
        outside::shared("scores/edge-cases"),
    ) else {
        return;
    };
    let mut paths = scores_in(&real);
    paths.extend(scores_in(&edge));
    assert_eq!(paths.len(), 18);
    if let Some(count) = compare_all(&paths) {
        println!("{count} notes of {} scores compared", paths.len());
        assert!(count > 2500, "{count}");
    }
}

#[test]
fn our_own_edge_cases_are_read_as_music21_reads_them() {
    let paths: Vec<PathBuf> = scores_in(&file(""))
        .into_iter()
        // Theirs refuses timewise scores; the same music partwise is compared.
        .filter(|p| !p.ends_with("timewise.musicxml"))
        // Refused by us until one of the two is named.
        .filter(|p| !p.ends_with("two-timpanists.musicxml"))
        .collect();
    assert!(paths.len() > 12);
    if let Some(count) = compare_all(&paths) {
        println!("{count} notes of {} scores compared", paths.len());
    }
    let sample = outside::root().join("sample-takes/lantern.musicxml");
    compare_all(&[sample]);
}

#[test]
fn the_same_music_timewise_is_the_same_part() {
    let timewise = read(&file("timewise.musicxml"));
    assert_eq!(timewise.notes.len(), 5);
    assert_eq!(timewise, read(&file("partwise.musicxml")));
}

/// Exact values where the ticks of the file are rounded.
#[test]
fn rounded_divisions_give_exact_tuplets() {
    let part = read(&file("divisions.musicxml"));
    let at = |over, under| Quarters::new(over, under);
    let starts: Vec<Quarters> = part.notes.iter().map(|n| n.at).collect();
    let mut expected = vec![at(0, 1), at(1, 3), at(2, 3)];
    expected.extend((0..5).map(|i| at(5 + i, 5)));
    expected.extend((0..7).map(|i| at(14 + i, 7)));
    expected.extend([at(3, 1), at(15, 4), at(4, 1), at(14, 3), at(16, 3)]);
    expected.extend([at(6, 1), at(8, 1), at(26, 3), at(28, 3)]);
    assert_eq!(starts, expected);
}

/// Packs a score as `.mxl` with a decoy before it and its name in
/// `META-INF/container.xml`.
pub fn pack(score: &[u8], container: bool, level: Option<i64>) -> Vec<u8> {
    let mut bytes = std::io::Cursor::new(Vec::new());
    let mut zip = zip::ZipWriter::new(&mut bytes);
    let options = zip::write::SimpleFileOptions::default()
        .compression_method(zip::CompressionMethod::Deflated)
        .compression_level(level);
    let mut put = |name: &str, content: &[u8]| {
        zip.start_file(name, options).unwrap();
        zip.write_all(content).unwrap();
    };
    if container {
        put("a-decoy.xml", b"<no-score/>");
        put(
            "META-INF/container.xml",
            b"<?xml version=\"1.0\"?><container><rootfiles><rootfile full-path=\"scores/part.xml\"/></rootfiles></container>",
        );
    }
    put("scores/part.xml", score);
    zip.finish().unwrap();
    bytes.into_inner()
}

#[test]
fn a_packed_score_is_found_by_its_container() {
    let score = std::fs::read(file("rolls.musicxml")).unwrap();
    let plain = read(&file("rolls.musicxml"));
    for container in [true, false] {
        let packed = pack(&score, container, None);
        let path = Path::new("rolls.mxl");
        let part = part::read_bytes(&packed, path, &ReadOptions::default()).unwrap();
        assert_eq!(part, plain);
    }
}

/// Text in UTF-16 with a byte order mark, as some programs write.
#[test]
fn wide_text_is_read() {
    let text = std::fs::read_to_string(file("rolls.musicxml")).unwrap();
    let text = text.replace("UTF-8", "UTF-16");
    for little in [true, false] {
        let mut bytes = if little {
            vec![0xFF, 0xFE]
        } else {
            vec![0xFE, 0xFF]
        };
        for unit in text.encode_utf16() {
            let pair = if little {
                unit.to_le_bytes()
            } else {
                unit.to_be_bytes()
            };
            bytes.extend(pair);
        }
        let part = part::read_bytes(&bytes, Path::new("wide"), &ReadOptions::default()).unwrap();
        assert_eq!(
            sheet::to_sheet(&part),
            sheet::to_sheet(&read(&file("rolls.musicxml")))
        );
    }
}

#[test]
fn the_wanted_part_of_a_score_is_chosen() {
    let named = |name: &str| ReadOptions {
        part_name: Some(name.to_owned()),
        ..ReadOptions::default()
    };
    let path = file("two-timpanists.musicxml");
    let refused = part::read(&path, &ReadOptions::default()).unwrap_err();
    let told = refused.to_string();
    assert!(
        told.contains("--part-name: \"Timpani 1\", \"Timpani 2\"") && !told.contains("Snare"),
        "{told}"
    );
    let second = part::read(&path, &named("timpani 2")).unwrap();
    assert_eq!(second.notes[0].pitch.to_string(), "A2");
    let first = part::read(&path, &named("P1")).unwrap();
    assert_eq!(first.notes.len(), 2);
    let none = part::read(&path, &named("celesta"))
        .unwrap_err()
        .to_string();
    assert!(none.contains("\"Snare drum\""), "{none}");
}
