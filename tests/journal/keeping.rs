//! The log keeps: one entry a take, whatever happens in between.

use crate::common::review;
use assert_cmd::Command;
use kettlemark::journal::date::{Origin, Recorded};
use kettlemark::journal::stats::chance::Chance;
use kettlemark::journal::{KeepMeta, Log, export, keep, schema};
use std::path::Path;
use std::process::Stdio;
use std::time::Duration;

fn meta(player: &str, day: &str) -> KeepMeta {
    KeepMeta {
        recorded: Some(Recorded {
            at: day.to_owned(),
            origin: Origin::FileName,
        }),
        player: Some(player.to_owned()),
        ..KeepMeta::default()
    }
}

fn log_in(folder: &Path) -> std::path::PathBuf {
    folder.join("practice.db")
}

#[test]
fn the_same_take_twice_is_one_entry_and_the_newer_stays() {
    let folder = tempfile::tempdir().unwrap();
    let path = log_in(folder.path());
    let take = review("one", 100.0, 8.0, || 0.0);
    keep(&take, &meta("A", "2026-11-01"), &path).unwrap();
    let again = review("one", 100.0, 6.0, || 0.0);
    keep(&again, &KeepMeta::default(), &path).unwrap();
    let log = Log::open(&path).unwrap();
    let entries = log.entries().unwrap();
    assert_eq!(entries.len(), 1);
    assert_eq!(entries[0].player.as_deref(), Some("A"), "labels stay");
    assert_eq!(entries[0].recorded.as_ref().unwrap().at, "2026-11-01");
    assert_eq!(log.review(entries[0].id).unwrap(), again);
    let measures = log.measures(entries[0].id).unwrap();
    let uneven = measures
        .iter()
        .find(|m| m.name == "unevenness" && m.scope == "figure")
        .unwrap();
    assert_eq!(uneven.value, 6.0);
    assert_eq!(uneven.key, "triplet-eighths");
}

#[test]
fn labels_are_set_and_taken_away_and_entries_forgotten() {
    let folder = tempfile::tempdir().unwrap();
    let path = log_in(folder.path());
    for name in ["one", "two"] {
        keep(
            &review(name, 100.0, 8.0, || 0.0),
            &meta("A", "2026-11-01"),
            &path,
        )
        .unwrap();
    }
    let run = |arguments: &[&str]| {
        let mut command = Command::cargo_bin("kettlemark").unwrap();
        command.arg("log").args(arguments).arg("--log").arg(&path);
        command.assert()
    };
    run(&["label", "1", "--player", "", "--variant", "double"]).success();
    let log = Log::open(&path).unwrap();
    let entry = log.find("1").unwrap();
    assert_eq!(
        (entry.player, entry.variant.as_deref()),
        (None, Some("double"))
    );
    run(&["label", "1", "7", "--note", "x"]).code(2);
    assert_eq!(
        log.find("1").unwrap().note,
        None,
        "nothing is done by halves"
    );
    run(&["forget", "1"]).success();
    assert_eq!(log.entries().unwrap().len(), 1);
    let count: i64 = rusqlite::Connection::open(&path)
        .unwrap()
        .query_row("SELECT count(*) FROM measure WHERE entry = 1", [], |r| {
            r.get(0)
        })
        .unwrap();
    assert_eq!(count, 0);
}

#[test]
fn merging_twice_changes_nothing_and_the_newer_review_wins() {
    let folder = tempfile::tempdir().unwrap();
    let (here, there) = (folder.path().join("a.db"), folder.path().join("b.db"));
    let old = review("both", 100.0, 9.0, || 0.0);
    let new = review("both", 100.0, 5.0, || 0.0);
    keep(&old, &meta("A", "2026-11-01"), &here).unwrap();
    keep(&new, &meta("A", "2026-11-01"), &there).unwrap();
    keep(
        &review("only", 90.0, 5.0, || 0.0),
        &meta("B", "2026-11-02"),
        &there,
    )
    .unwrap();
    let other = Log::open(&there).unwrap();
    let mut log = Log::open(&here).unwrap();
    assert_eq!(log.merge(&other).unwrap(), 2);
    assert_eq!(log.merge(&other).unwrap(), 0);
    assert_eq!(log.entries().unwrap().len(), 2);
    let both = log.find(&new.take.hash).unwrap();
    assert_eq!(log.review(both.id).unwrap(), new);
    // The other way round the older does not replace the newer.
    let mut other = other;
    assert_eq!(other.merge(&log).unwrap(), 0);
}

#[test]
fn merging_fills_the_labels_that_the_newer_entry_lacks() {
    let labels = |player: Option<&str>, note: Option<&str>| KeepMeta {
        player: player.map(str::to_owned),
        note: note.map(str::to_owned),
        ..KeepMeta::default()
    };
    // Whichever log takes in the other.
    for newer_takes_in in [true, false] {
        let folder = tempfile::tempdir().unwrap();
        let (old, new) = (folder.path().join("old.db"), folder.path().join("new.db"));
        let older = KeepMeta {
            variant: Some("double".to_owned()),
            ..meta("A", "2026-11-01")
        };
        keep(&review("one", 100.0, 9.0, || 0.0), &older, &old).unwrap();
        let newer = review("one", 100.0, 5.0, || 0.0);
        keep(&newer, &labels(None, Some("by hand")), &new).unwrap();
        let (mut old, mut new) = (Log::open(&old).unwrap(), Log::open(&new).unwrap());
        let log = if newer_takes_in {
            assert_eq!(new.merge(&old).unwrap(), 0);
            new
        } else {
            assert_eq!(old.merge(&new).unwrap(), 1);
            old
        };
        let entry = log.find("1").unwrap();
        assert_eq!(log.review(entry.id).unwrap(), newer);
        assert_eq!(entry.player.as_deref(), Some("A"));
        assert_eq!(entry.variant.as_deref(), Some("double"));
        assert_eq!(entry.note.as_deref(), Some("by hand"));
        assert_eq!(entry.recorded, older.recorded);
    }
}

/// Gives the measures of a log the version of a definition that is no more.
fn made_earlier(log: &Path, of: &str) {
    rusqlite::Connection::open(log)
        .unwrap()
        .execute("UPDATE measure SET version = 0 WHERE entry IN (SELECT id FROM entry WHERE file LIKE ?1)", [of])
        .unwrap();
}

#[test]
fn merging_keeps_the_versions_of_measures() {
    let folder = tempfile::tempdir().unwrap();
    let (here, there) = (folder.path().join("a.db"), folder.path().join("b.db"));
    let take = review("one", 100.0, 8.0, || 0.0);
    keep(&take, &meta("A", "2026-11-01"), &there).unwrap();
    made_earlier(&there, "%");
    let other = Log::open(&there).unwrap();
    let mut log = Log::open(&here).unwrap();
    assert_eq!(log.merge(&other).unwrap(), 1);
    let measures = log.measures(1).unwrap();
    assert!(!measures.is_empty() && measures.iter().all(|m| m.version == 0));
    assert_eq!(measures, other.measures(1).unwrap());
}

#[test]
fn a_comparison_leaves_out_what_an_earlier_definition_measured() {
    let folder = tempfile::tempdir().unwrap();
    let path = log_in(folder.path());
    for i in 0..12 {
        let labels = KeepMeta {
            variant: Some(if i < 6 { "V1" } else { "V2" }.to_owned()),
            ..meta("A", &format!("2026-11-{:02}", i + 1))
        };
        let uneven = if i % 6 < 2 { 30.0 } else { 8.0 };
        keep(
            &review(&format!("t{i:02}"), 100.0, uneven, || 0.0),
            &labels,
            &path,
        )
        .unwrap();
    }
    made_earlier(&path, "t00%");
    made_earlier(&path, "t01%");
    let mut command = Command::cargo_bin("kettlemark").unwrap();
    command
        .args(["compare", "V1", "V2", "--json", "-", "--log"])
        .arg(&path);
    let output = command.current_dir(folder.path()).output().unwrap();
    let told: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let first = &told["measures"][0];
    assert_eq!(first["measure"], "unevenness");
    assert_eq!(first["left_out"]["other_definition"], 2);
    assert_eq!(first["difference"]["count_a"], 4);
    assert_eq!(first["difference"]["mean_a"], 8.0);
    let page = std::fs::read_to_string(folder.path().join("reports/compare/compare.html")).unwrap();
    assert!(page.contains("2\u{a0}takes measured by an earlier definition left out"));
}

/// A log as it was after the first step of the tables.
#[test]
fn an_older_log_is_brought_up_to_date_and_a_newer_one_refused() {
    let folder = tempfile::tempdir().unwrap();
    let path = log_in(folder.path());
    let take = review("old", 100.0, 7.0, || 0.0);
    let old = rusqlite::Connection::open(&path).unwrap();
    old.execute_batch(schema::STEPS[0]).unwrap();
    old.execute_batch("PRAGMA user_version = 1; PRAGMA application_id = 0x6b4d726b;")
        .unwrap();
    old.execute(
        "INSERT INTO entry (take_hash, part_identity, part_title, file, settings, judged, \
         program, reviewed_at, review) VALUES ('h', 'i', 't', 'f', '{}', 1, '0.0.9', '2026', ?1)",
        [serde_json::to_string(&take).unwrap()],
    )
    .unwrap();
    drop(old);
    let log = Log::open(&path).unwrap();
    let measures = log.measures(log.entries().unwrap()[0].id).unwrap();
    assert!(
        measures
            .iter()
            .any(|m| m.name == "unevenness" && m.value == 7.0)
    );
    drop(log);
    let newer = rusqlite::Connection::open(&path).unwrap();
    newer.execute_batch("PRAGMA user_version = 99").unwrap();
    drop(newer);
    let refused = Log::open(&path).unwrap_err().to_string();
    assert!(refused.contains("newer kettlemark"), "{refused}");
}

#[test]
fn what_is_not_a_log_is_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let text = folder.path().join("notes.txt");
    std::fs::write(&text, "not a database, only some notes of mine ".repeat(40)).unwrap();
    assert!(Log::open(&text).is_err());
    let foreign = folder.path().join("foreign.db");
    rusqlite::Connection::open(&foreign)
        .unwrap()
        .execute_batch("CREATE TABLE cakes (name TEXT)")
        .unwrap();
    let before = std::fs::read(&foreign).unwrap();
    let refused = Log::open(&foreign).unwrap_err().to_string();
    assert!(refused.contains("another program"), "{refused}");
    assert_eq!(std::fs::read(&foreign).unwrap(), before);
    // Whatever it counts as its version.
    for version in [2, 99] {
        rusqlite::Connection::open(&foreign)
            .unwrap()
            .execute_batch(&format!("PRAGMA user_version = {version}"))
            .unwrap();
        let refused = Log::open(&foreign).unwrap_err().to_string();
        assert!(refused.contains("another program"), "{refused}");
    }
    assert!(Log::open_existing(&folder.path().join("none.db")).is_err());
}

#[test]
fn no_cell_of_the_export_is_a_formula() {
    let folder = tempfile::tempdir().unwrap();
    let path = log_in(folder.path());
    let mut take = review("x", 100.0, 7.0, || 0.0);
    take.take.file = "=HYPERLINK(\"x\").wav".to_owned();
    take.part.title = "@SUM(1,2)".to_owned();
    let labels = KeepMeta {
        player: Some("+1".to_owned()),
        variant: Some("-1+1".to_owned()),
        note: Some("a \"b\"\n,c".to_owned()),
        ..KeepMeta::default()
    };
    keep(&take, &labels, &path).unwrap();
    let log = Log::open(&path).unwrap();
    let text = export::csv(&log, &log.entries().unwrap()).unwrap();
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let mut lines = 0;
    for record in reader.records() {
        let record = record.unwrap();
        lines += 1;
        for (i, cell) in record.iter().enumerate().take(11) {
            assert!(
                !cell.starts_with(['=', '+', '-', '@']),
                "column {i} begins like a formula: {cell}"
            );
        }
    }
    assert!(lines > 10);
    let json = export::json_lines(&log, &log.entries().unwrap()).unwrap();
    let object: serde_json::Value = serde_json::from_str(json.trim_end()).unwrap();
    assert_eq!(object["player"], "+1");
    assert_eq!(object["review"]["format"], "kettlemark-review");
}

/// The part of this test that runs in a process of its own: keeps take after
/// take, each once before and once again, until it is killed.
#[test]
fn writer() {
    let Some(path) = std::env::var_os("KETTLEMARK_TEST_WRITER") else {
        return;
    };
    let who = std::env::var("KETTLEMARK_TEST_WHO").unwrap();
    let last: usize = std::env::var("KETTLEMARK_TEST_LAST")
        .unwrap()
        .parse()
        .unwrap();
    let acknowledged = std::env::var_os("KETTLEMARK_TEST_ACK");
    for i in 0..last {
        let take = review(&format!("{who}-{i}"), 100.0, 8.0, || 0.0);
        keep(&take, &meta(&who, "2026-11-01"), Path::new(&path)).unwrap();
        if let Some(file) = &acknowledged {
            std::fs::write(file, i.to_string()).unwrap();
        }
    }
}

fn start_writer(
    log: &Path,
    who: &str,
    last: usize,
    acknowledge: Option<&Path>,
) -> std::process::Child {
    let mut command = std::process::Command::new(std::env::current_exe().unwrap());
    command
        .args(["--exact", "keeping::writer", "--test-threads", "1"])
        .env("KETTLEMARK_TEST_WRITER", log)
        .env("KETTLEMARK_TEST_WHO", who)
        .env("KETTLEMARK_TEST_LAST", last.to_string())
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    if let Some(file) = acknowledge {
        command.env("KETTLEMARK_TEST_ACK", file);
    }
    command.spawn().unwrap()
}

/// 200 times a writer is killed at a random instant. What it was told to be
/// kept is there; nothing is there twice; the log is sound.
#[test]
fn killed_at_any_instant_nothing_is_lost_or_doubled() {
    let folder = tempfile::tempdir().unwrap();
    let path = log_in(folder.path());
    let acknowledged = folder.path().join("ack");
    let mut chance = Chance::seeded(200);
    for round in 0..200 {
        let _ = std::fs::remove_file(&acknowledged);
        let who = format!("w{round}");
        let mut child = start_writer(&path, &who, 10_000, Some(&acknowledged));
        std::thread::sleep(Duration::from_micros(2_000 + chance.below(60_000) as u64));
        child.kill().unwrap();
        child.wait().unwrap();
        // The file may be cut while it is written: then nothing is known.
        let told: Option<usize> = std::fs::read_to_string(&acknowledged)
            .ok()
            .and_then(|t| t.parse().ok());
        if !path.exists() {
            assert_eq!(told, None);
            continue;
        }
        let connection = rusqlite::Connection::open(&path).unwrap();
        let sound: String = connection
            .query_row("PRAGMA quick_check", [], |r| r.get(0))
            .unwrap();
        assert_eq!(sound, "ok", "round {round}");
        let Ok(kept) = connection.query_row(
            "SELECT count(*), count(DISTINCT take_hash) FROM entry WHERE player = ?1",
            [&who],
            |r| Ok((r.get::<_, i64>(0)?, r.get::<_, i64>(1)?)),
        ) else {
            assert_eq!(told, None, "round {round}: there is no table yet");
            continue;
        };
        assert_eq!(kept.0, kept.1, "round {round}");
        // One more may have been kept than was told.
        let told = told.map_or(0, |t| t as i64 + 1);
        assert!(
            (told..).contains(&kept.0),
            "round {round}: {told} told, {kept:?} kept"
        );
        let halves: i64 = connection
            .query_row(
                "SELECT count(*) FROM entry WHERE id NOT IN (SELECT entry FROM measure)",
                [],
                |r| r.get(0),
            )
            .unwrap();
        assert_eq!(halves, 0, "round {round}: an entry without its measures");
    }
    let log = Log::open(&path).unwrap();
    assert!(
        log.entries().unwrap().len() > 100,
        "the writers had time to write"
    );
}

#[test]
fn two_programs_write_at_once() {
    let folder = tempfile::tempdir().unwrap();
    let path = log_in(folder.path());
    let children = ["a", "b", "c"].map(|who| start_writer(&path, who, 40, None));
    for mut child in children {
        assert!(child.wait().unwrap().success());
    }
    assert_eq!(Log::open(&path).unwrap().entries().unwrap().len(), 120);
}
