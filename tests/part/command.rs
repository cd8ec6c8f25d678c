//! The command `part`: what it answers a program, and its exit codes.

use crate::common::file;
use assert_cmd::Command;
use kettlemark_test_support::outside::root;
use serde_json::Value;

fn kettlemark(words: &[&str]) -> (i32, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_kettlemark"))
        .current_dir(root())
        .arg("part")
        .args(words)
        .output()
        .unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    let code = output.status.code().unwrap();
    (code, text(output.stdout), text(output.stderr))
}

#[test]
fn the_json_of_a_part_holds_what_is_promised() {
    let dir = tempfile::tempdir().unwrap();
    let tones = dir.path().join("tune.wav");
    let path = file("words.musicxml");
    let words = [
        path.to_str().unwrap(),
        "--json",
        "-",
        "--drums",
        "32,29",
        "--tones",
        tones.to_str().unwrap(),
    ];
    let (code, out, err) = kettlemark(&words);
    assert_eq!((code, err.as_str()), (0, ""));
    assert!(tones.is_file());
    let part: Value = serde_json::from_str(&out).unwrap();
    let has = |value: &Value, names: &[&str]| {
        for name in names {
            assert!(value.get(name).is_some(), "{name} in {value}");
        }
    };
    has(&part, &["title", "bars", "notes", "tuning", "unread"]);
    has(
        &part["tuning"],
        &["start", "order", "changes", "impossible"],
    );
    has(&part["tuning"]["start"][0], &["drum", "size_in", "pitch"]);
    has(
        &part["tuning"]["order"][0],
        &["drum", "pitch", "from", "interval"],
    );
    has(
        &part["tuning"]["changes"][0],
        &["bar", "drum", "from", "to", "interval", "rest_s"],
    );
    has(&part["unread"][0], &["bar", "what"]);
    let note = &part["notes"][0];
    has(
        note,
        &[
            "index", "bar", "beat", "at", "length", "pitch", "drum", "roll", "flam", "accent",
            "staccato", "dynamic", "hand",
        ],
    );
    assert_eq!(note["hand"], "R");
    assert_eq!(note["dynamic"], "p");
    assert_eq!(note["beat"], 1.0);
    // With two drums every change that the words ask for is in the plan.
    let changes = part["tuning"]["changes"].as_array().unwrap();
    let bars: Vec<i64> = changes.iter().map(|c| c["bar"].as_i64().unwrap()).collect();
    assert_eq!(bars, [9, 13, 13]);
}

#[test]
fn a_part_that_cannot_be_read_is_exit_code_2() {
    let wrong = file("two-timpanists.musicxml");
    for words in [
        vec!["no-such-part.kettle"],
        vec!["src"],
        vec!["Cargo.toml"],
        vec!["sample-takes/lantern-3.flac"],
        vec![wrong.to_str().unwrap()],
        vec!["sample-takes/lantern.kettle", "--drums", "3"],
    ] {
        let (code, out, err) = kettlemark(&words);
        assert_eq!((code, out.as_str()), (2, ""), "{words:?}: {err}");
        assert!(err.starts_with("kettlemark: ") && err.len() < 900, "{err}");
    }
}
