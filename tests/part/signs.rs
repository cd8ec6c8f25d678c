//! Everything but notes and bars of our own edge cases, as goldens: each is
//! written as a sheet, which holds all that a part holds.

use crate::common::{file, files, read, same_as_golden};
use kettlemark::part::{self, ReadOptions, sheet};

/// Rolls, flams, hands, dynamics, tempo, stops, cues, retunings and what was not
/// understood. Read against the files when they were blessed.
#[test]
fn every_sign_of_our_edge_cases_is_read_as_agreed() {
    let sheets: Vec<(String, String)> = files()
        .iter()
        .filter(|p| !p.ends_with("two-timpanists.musicxml"))
        .map(|path| {
            let stem = path.file_name().unwrap().to_string_lossy().into_owned();
            (format!("{stem}.kettle"), sheet::to_sheet(&read(path)))
        })
        .collect();
    same_as_golden(&sheets);
}

/// A setting turns three strokes through the stem into thirty-seconds.
#[test]
fn three_strokes_are_measured_when_the_user_says_so() {
    let options = ReadOptions {
        three_strokes_measured: true,
        ..ReadOptions::default()
    };
    let rolled = read(&file("tremolos.musicxml"));
    let measured = part::read(&file("tremolos.musicxml"), &options).unwrap();
    let in_bar_2 = |part: &part::Part| part.notes.iter().filter(|n| n.bar == 1).count();
    assert_eq!(in_bar_2(&rolled), 7, "six eighths and a roll");
    assert_eq!(
        in_bar_2(&measured),
        14,
        "six eighths and eight thirty-seconds"
    );
    assert!(measured.notes.iter().all(|n| !n.roll));
}

/// On two drums every change that the words ask for is made.
#[test]
fn written_changes_are_followed_on_two_drums() {
    let options = ReadOptions {
        drums: Some(vec![32.0, 29.0]),
        ..ReadOptions::default()
    };
    let part = part::read(&file("retuning.musicxml"), &options).unwrap();
    let changes: Vec<String> = part
        .retunings
        .iter()
        .map(|r| format!("{} {} {}", part.bars[r.bar].number, r.from, r.to))
        .collect();
    assert_eq!(
        changes,
        ["4 B2 C#3", "7 E2 D2", "10 C#3 B2", "13 D2 Eb2", "16 B2 C3"]
    );
    assert_eq!(part.unread, []);
    assert!(part.notes.iter().all(|n| n.drum > 0));
    // "B in C" may be B flat or B natural: it stays a cue.
    assert!(part.cues.iter().any(|c| c.text == "B in C"));
}
