//! What a player is answered who asks for too little, or for what is not
//! there.

use crate::common::review;
use assert_cmd::Command;
use kettlemark::journal::date::{Origin, Recorded};
use kettlemark::journal::{KeepMeta, Log, keep};
use kettlemark_test_support::outside::root;
use std::fs;
use std::path::{Path, PathBuf};

/// A log of some takes, a day apart, labelled V1, V2 ...
fn log_of(folder: &Path, takes: u32) -> PathBuf {
    let log = folder.join(format!("log-{takes}.db"));
    for take in 1..=takes {
        let meta = KeepMeta {
            recorded: Some(Recorded {
                at: format!("2026-11-{take:02}"),
                origin: Origin::FileName,
            }),
            player: Some("A".to_owned()),
            variant: Some(format!("V{take}")),
            note: None,
        };
        let uneven = 8.0 - f64::from(take);
        keep(
            &review(&format!("take {take}"), 100.0, uneven, || 0.0),
            &meta,
            &log,
        )
        .unwrap();
    }
    log
}

/// Exit code, standard output and standard error of a command on a log.
fn asked(log: &Path, folder: &Path, words: &[&str]) -> (i32, String, String) {
    let mut command = Command::cargo_bin("kettlemark").unwrap();
    command
        .args(words)
        .arg("--log")
        .arg(log)
        .current_dir(folder);
    let output = command.output().unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    let code = output.status.code().unwrap();
    (code, text(&output.stdout), text(&output.stderr))
}

#[test]
fn one_take_and_two_are_too_few_for_a_trend() {
    let folder = tempfile::tempdir().unwrap();
    for takes in 1..=2 {
        let log = log_of(folder.path(), takes);
        let (code, told, _) = asked(&log, folder.path(), &["trend"]);
        assert_eq!(code, 0);
        let days = if takes == 1 {
            "1\u{a0}day,"
        } else {
            "2\u{a0}days,"
        };
        let first = told.lines().next().unwrap();
        assert!(
            first.starts_with("Unevenness: triplets: Not enough takes yet"),
            "{first}"
        );
        assert!(first.contains(days), "{first}");
        let page = fs::read_to_string(folder.path().join("reports/trend/trend.html")).unwrap();
        assert!(page.contains("Not enough takes yet"));
    }
}

#[test]
fn one_take_a_side_settles_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let log = log_of(folder.path(), 2);
    let (code, told, said) = asked(&log, folder.path(), &["compare", "V1", "variant:V2"]);
    assert_eq!((code, said.as_str()), (0, ""));
    assert!(
        told.lines()
            .next()
            .unwrap()
            .contains("Not enough takes to settle it"),
        "{told}"
    );
    // A take is no different from itself, whatever p would say.
    let (code, _, said) = asked(&log, folder.path(), &["compare", "V1", "player:A"]);
    assert_eq!(code, 0);
    assert!(said.contains("1\u{a0}take is in both sets"), "{said}");
}

/// Two takes by the path of their reviews, or two folders, however long.
#[test]
fn sets_given_by_files_are_called_so_that_they_are_told_apart() {
    let folder = tempfile::tempdir().unwrap();
    let log = folder.path().join("none.db");
    let long = "a folder with a name so long that nothing behind it would be seen";
    for (inside, take) in [
        ("monday/one", "first"),
        ("monday/two", "second"),
        ("tuesday/one", "first"),
    ] {
        let inside = folder.path().join(long).join(inside);
        fs::create_dir_all(&inside).unwrap();
        let mut made = review(take, 100.0, 8.0, || 0.0);
        made.take.file = format!("/somewhere/else/{take}.wav");
        let text = serde_json::to_string(&made).unwrap();
        fs::write(inside.join("review.json"), text).unwrap();
    }
    let called = |a: &str, b: &str| {
        let (a, b) = (format!("{long}/{a}"), format!("{long}/{b}"));
        let (code, told, said) = asked(&log, folder.path(), &["compare", &a, &b, "--json", "-"]);
        assert_eq!(code, 0, "{said}");
        let told: serde_json::Value = serde_json::from_str(&told).unwrap();
        let name = |set: &str| told[set].as_str().unwrap().to_owned();
        (name("a"), name("b"))
    };
    let names = |a: &str, b: &str| (a.to_owned(), b.to_owned());
    let review = "review.json";
    assert_eq!(
        called(
            &format!("monday/one/{review}"),
            &format!("monday/two/{review}")
        ),
        names("first.wav", "second.wav")
    );
    assert_eq!(
        called(
            &format!("monday/one/{review}"),
            &format!("tuesday/one/{review}")
        ),
        names("monday/one/first.wav", "tuesday/one/first.wav")
    );
    assert_eq!(called("monday", "tuesday"), names("monday", "tuesday"));
    assert_eq!(
        called("monday/one", "tuesday/one"),
        names("monday/one", "tuesday/one")
    );
}

#[test]
fn what_is_not_there_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let older = log_of(folder.path(), 1);
    let log = log_of(folder.path(), 2);
    let refused = |words: &[&str], why: &str| {
        let (code, told, said) = asked(&log, folder.path(), words);
        assert_eq!((code, told.as_str()), (2, ""), "{words:?}");
        assert!(said.contains(why), "{words:?}: {said}");
    };
    refused(
        &["compare", "V1", "variant:V9"],
        "'variant:V9' holds no judged take",
    );
    refused(
        &["compare", "V1", "absent/review.json"],
        "is no file or folder here",
    );
    refused(&["compare", "V1", "tempo:110-90"], "the slower first");
    refused(
        &["trend", "--player", "nobody"],
        "no kept take is meant by this",
    );
    refused(
        &["trend", "--figure", "tripletts"],
        "no take that is meant has figures 'tripletts'; there are triplet-eighths",
    );
    refused(&["log", "label", "1"], "required");
    refused(&["log", "show", "99"], "no entry '99'");
    refused(&["log", "merge", "absent.db"], "there is none");
    let (code, told, said) = asked(
        &log,
        folder.path(),
        &["log", "export", "--csv", "-", "--player", "nobody"],
    );
    assert_eq!((code, told.lines().count()), (0, 1));
    assert!(said.contains("no kept take is meant by this"), "{said}");
    // A log that is taken in and holds nothing newer, or is the log itself.
    for from in [&log, &older] {
        let from = from.to_str().unwrap();
        let (code, told, _) = asked(&log, folder.path(), &["log", "merge", from]);
        assert_eq!((code, told.as_str()), (0, "0 taken in\n"));
    }
    assert_eq!(Log::open(&log).unwrap().entries().unwrap().len(), 2);
}

#[test]
fn a_review_is_told_though_the_log_cannot_be_used() {
    let folder = tempfile::tempdir().unwrap();
    let newer = folder.path().join("newer.db");
    drop(Log::open(&newer).unwrap());
    rusqlite::Connection::open(&newer)
        .unwrap()
        .execute_batch("PRAGMA user_version = 99")
        .unwrap();
    for (log, why) in [
        (newer.as_path(), "a newer kettlemark wrote it"),
        (Path::new("/dev/full"), "no room is left on the disk"),
    ] {
        let sample = |name: &str| root().join("sample-takes").join(name).display().to_string();
        let (take, part) = (sample("lantern-1.mp3"), sample("lantern.musicxml"));
        let words = ["review", &take, "--part", &part, "--out", "here"];
        let (code, told, said) = asked(log, folder.path(), &words);
        assert_eq!(code, 2);
        assert!(told.contains("Lantern Procession"), "{told}");
        assert!(
            said.contains("here/review.html") && said.contains(why),
            "{said}"
        );
        assert!(folder.path().join("here/review.html").exists());
    }
}

/// Where the system lets nobody but the owner of all write, as it does for
/// most people; a log that may be written is not refused.
#[test]
fn a_log_that_may_not_be_written_may_be_read() {
    let folder = tempfile::tempdir().unwrap();
    let log = log_of(folder.path(), 1);
    let mut rights = fs::metadata(&log).unwrap().permissions();
    rights.set_readonly(true);
    fs::set_permissions(&log, rights).unwrap();
    let may = fs::OpenOptions::new().write(true).open(&log).is_ok();
    match Log::open(&log) {
        Ok(_) => assert!(may),
        Err(refused) => {
            assert!(!may);
            assert!(
                refused.to_string().contains("may not be written"),
                "{refused}"
            );
        }
    }
    assert_eq!(
        Log::open_existing(&log).unwrap().entries().unwrap().len(),
        1
    );
}

#[test]
fn each_word_of_the_log_has_its_example() {
    let folder = tempfile::tempdir().unwrap();
    let log = folder.path().join("none.db");
    for word in ["list", "show", "label", "forget", "export", "merge"] {
        let (code, told, _) = asked(&log, folder.path(), &["log", word, "--help"]);
        assert_eq!(code, 0);
        assert!(
            told.contains(&format!("Example:\n  kettlemark log {word} ")),
            "{told}"
        );
        // Every option says what it is for, on its line or below it.
        let lines: Vec<&str> = told.lines().collect();
        for (i, line) in lines.iter().enumerate() {
            let option = line.trim_start().strip_prefix("--");
            if let Some(rest) = option {
                let beside = rest
                    .split_once("  ")
                    .is_some_and(|(_, text)| !text.trim().is_empty());
                let below = lines
                    .get(i + 1)
                    .is_some_and(|l| l.starts_with("          "));
                assert!(beside || below, "{word}: {line}");
            }
        }
    }
}

#[test]
fn an_empty_label_is_none() {
    let folder = tempfile::tempdir().unwrap();
    let log = folder.path().join("log.db");
    let sample = |name: &str| root().join("sample-takes").join(name).display().to_string();
    let (take, part) = (sample("lantern-1.mp3"), sample("lantern.musicxml"));
    let words = [
        "review",
        &take,
        "--part",
        &part,
        "--player",
        "",
        "--variant",
        " ",
    ];
    assert_eq!(asked(&log, folder.path(), &words).0, 0);
    let kept = Log::open(&log).unwrap().find("1").unwrap();
    assert_eq!((kept.player, kept.variant), (None, None));
}
