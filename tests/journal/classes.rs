//! A class from outside: bad files, blind hearing, resuming, kills.

use kettlemark::journal::stats::chance::Chance;
use kettlemark::journal::{KeepMeta, Log, class::find};
use kettlemark_test_support::outside::root;
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, SystemTime};

const TAKES: [&str; 3] = ["lantern-1.mp3", "lantern-2.m4a", "lantern-3.flac"];

/// The sample takes and, if wanted, two files that are none.
fn folder_of_takes(folder: &Path, broken: bool) -> PathBuf {
    let takes = folder.join("takes");
    fs::create_dir(&takes).unwrap();
    for name in TAKES {
        fs::copy(root().join("sample-takes").join(name), takes.join(name)).unwrap();
    }
    if broken {
        let flac = fs::read(takes.join(TAKES[2])).unwrap();
        fs::write(takes.join("cut.flac"), &flac[..2000]).unwrap();
        fs::write(takes.join("letter.wav"), "This is a letter, not a take.").unwrap();
    }
    takes
}

fn class(takes: &Path, out: &Path, log: &Path) -> Command {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("kettlemark"));
    command
        .arg("class")
        .arg(takes)
        .arg("--part")
        .arg(root().join("sample-takes/lantern.musicxml"))
        .arg("--out")
        .arg(out)
        .env("KETTLEMARK_LOG", log)
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    command
}

/// What a class answers with: exit code and standard error.
fn answered(command: &mut Command) -> (Option<i32>, String) {
    let output = command.stderr(Stdio::piped()).output().unwrap();
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    (output.status.code(), said)
}

/// Every file below a folder and its content.
fn contents(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(contents(&path));
        } else {
            let bytes = fs::read(&path).unwrap();
            found.insert(path, bytes);
        }
    }
    found
}

fn changed_at(out: &Path) -> Vec<SystemTime> {
    let reviews = ["lantern-1", "lantern-2", "lantern-3"].map(|f| out.join(f).join("review.json"));
    let times = reviews.map(|r| fs::metadata(r).unwrap().modified().unwrap());
    times.to_vec()
}

#[test]
fn bad_files_are_named_and_stop_nobody_and_nothing_is_done_twice() {
    let folder = tempfile::tempdir().unwrap();
    let takes = folder_of_takes(folder.path(), true);
    let (out, log) = (folder.path().join("out"), folder.path().join("log.db"));
    let code = class(&takes, &out, &log).status().unwrap().code();
    assert_eq!(code, Some(1));
    let rows = fs::read_to_string(out.join("class.csv")).unwrap();
    let mut states = BTreeMap::new();
    for row in csv::Reader::from_reader(rows.as_bytes()).records() {
        let row = row.unwrap();
        states.insert(row[1].to_owned(), (row[2].to_owned(), row[3].is_empty()));
    }
    assert_eq!(states.len(), 5);
    for name in TAKES {
        assert_eq!(states[name], ("judged".to_owned(), true));
    }
    for name in ["cut.flac", "letter.wav"] {
        assert_eq!(states[name], ("not read".to_owned(), false));
    }
    let page = fs::read_to_string(out.join("class.html")).unwrap();
    assert!(page.contains("lantern-1/review.html") && page.contains("letter.wav"));
    assert_eq!(Log::open(&log).unwrap().entries().unwrap().len(), 3);

    let first = contents(&out);
    let times = changed_at(&out);
    class(&takes, &out, &log).status().unwrap();
    assert_eq!(changed_at(&out), times, "nothing was done again");
    assert_eq!(contents(&out), first);
    // Another setting is another review.
    class(&takes, &out, &log)
        .args(["--", "--a4", "442"])
        .status()
        .unwrap();
    assert!(changed_at(&out).iter().zip(&times).all(|(a, b)| a != b));
    assert_eq!(Log::open(&log).unwrap().entries().unwrap().len(), 3);
}

#[test]
fn letters_hide_the_names_everywhere_but_in_the_key() {
    let folder = tempfile::tempdir().unwrap();
    let takes = folder_of_takes(folder.path(), true);
    // One that cannot even be copied.
    std::os::unix::fs::symlink("/nowhere/absent.wav", takes.join("absent.wav")).unwrap();
    let (out, log) = (folder.path().join("out"), folder.path().join("log.db"));
    let (code, said) = answered(class(&takes, &out, &log).arg("--anonymous"));
    assert_eq!(code, Some(1));
    let names = [
        "lantern-1",
        "lantern-2",
        "lantern-3",
        "cut",
        "letter",
        "absent",
    ];
    let hidden = |text: &str| names.iter().any(|n| text.contains(&format!("{n}.")));
    assert!(!hidden(&said), "{said}");
    for (path, bytes) in contents(&out) {
        let name = path.strip_prefix(&out).unwrap().to_string_lossy();
        assert!(!hidden(&String::from_utf8_lossy(&bytes)), "{name}");
        assert!(!names.iter().any(|n| name.contains(n)), "{name}");
    }
    let rows = fs::read_to_string(out.join("class.csv")).unwrap();
    let letters: Vec<&str> = rows.lines().skip(1).map(|l| &l[..2]).collect();
    // In the order of the letters: that of the names would tell them.
    assert_eq!(letters, ["A,", "B,", "C,", "D,", "E,", "F,"]);
    let key = fs::read_to_string(folder.path().join("out-key.csv")).unwrap();
    assert!(TAKES.iter().all(|t| key.contains(t)));
    assert!(!log.exists());
}

/// Who has a letter keeps it when others come and go.
#[test]
fn letters_stay_from_run_to_run() {
    let folder = tempfile::tempdir().unwrap();
    let takes = folder_of_takes(folder.path(), false);
    let (out, log) = (folder.path().join("out"), folder.path().join("log.db"));
    let key = || -> BTreeMap<String, String> {
        let text = fs::read_to_string(folder.path().join("out-key.csv")).unwrap();
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let cell = |r: &csv::StringRecord, i: usize| r[i].to_owned();
        let records = reader.records().map(Result::unwrap);
        records.map(|r| (cell(&r, 1), cell(&r, 0))).collect()
    };
    let run = || {
        class(&takes, &out, &log)
            .arg("--anonymous")
            .status()
            .unwrap()
    };
    assert_eq!(run().code(), Some(0));
    let before = key();
    let review = |player: &str, key: &BTreeMap<String, String>| {
        fs::read(out.join(&key[player]).join("review.json")).unwrap()
    };
    let first = review("lantern-1", &before);
    // One comes whose name would have reshuffled them, one goes.
    fs::rename(takes.join(TAKES[1]), takes.join("aaron.m4a")).unwrap();
    assert_eq!(run().code(), Some(0));
    let mut after = key();
    assert_eq!(review("lantern-1", &after), first);
    assert!(!out.join(&before["lantern-2"]).exists());
    assert_eq!(after.remove("aaron").as_deref(), Some("D"));
    assert_eq!(after, before);
    // Without the key the letters begin anew, and nothing under them is
    // taken for somebody else's.
    fs::remove_file(folder.path().join("out-key.csv")).unwrap();
    fs::remove_file(takes.join(TAKES[0])).unwrap();
    assert_eq!(run().code(), Some(0));
    let sounds = ["mp3", "m4a", "flac"];
    let copies: Vec<PathBuf> = contents(&out)
        .into_keys()
        .filter(|p| {
            p.extension()
                .is_some_and(|e| sounds.iter().any(|s| e == *s))
        })
        .collect();
    let key = key();
    let copy = |player: &str, ending: &str| {
        let letter = &key[player];
        out.join(letter).join(format!("{letter}.{ending}"))
    };
    let mut expected = vec![copy("aaron", "m4a"), copy("lantern-3", "flac")];
    expected.sort();
    assert_eq!(copies, expected);
}

#[test]
fn letters_replace_nothing_that_is_not_theirs() {
    let folder = tempfile::tempdir().unwrap();
    let takes = folder_of_takes(folder.path(), false);
    let (log, before) = (folder.path().join("log.db"), contents(&takes));
    let (code, said) = answered(class(&takes, &takes, &log).arg("--anonymous"));
    assert_eq!(code, Some(2));
    assert!(said.contains("lies in the output folder"), "{said}");
    assert_eq!(contents(&takes), before);
    let (out, notes) = (folder.path().join("out"), folder.path().join("notes.txt"));
    fs::write(&notes, "mine").unwrap();
    let mut command = class(&takes, &out, &log);
    let (code, said) = answered(command.arg("--anonymous").arg("--key").arg(&notes));
    assert_eq!(code, Some(2));
    assert!(said.contains("is no key of letters"), "{said}");
    assert_eq!(fs::read(&notes).unwrap(), b"mine");
}

#[test]
fn gathering_finds_what_was_reviewed_elsewhere() {
    let folder = tempfile::tempdir().unwrap();
    let list = folder_of_takes(folder.path(), true).join("list.csv");
    fs::write(
        &list,
        "file,player\nlantern-3.flac,Clara\nletter.wav,Dora\nlantern-1.mp3,Anna\n\
         lantern-2.m4a,Anna\nabsent.wav,Emil\n",
    )
    .unwrap();
    let (out, log) = (folder.path().join("out"), folder.path().join("log.db"));
    assert_eq!(class(&list, &out, &log).status().unwrap().code(), Some(1));
    let page = |name: &str| fs::read_to_string(out.join(name)).unwrap();
    // The title is the name of the folder or list.
    let untitled = |from: &str| {
        let page = page("class.html");
        page.replace(&format!("<bdi>{from}</bdi>"), "")
            .replace(&format!("<title>{from}: "), "")
    };
    let (rows, shown) = (page("class.csv"), untitled("list"));
    assert_eq!(rows.lines().count(), 6);
    assert!(rows.contains("Anna,lantern-2.m4a,judged"), "{rows}");
    fs::remove_file(out.join("class.csv")).unwrap();
    let code = Command::new(assert_cmd::cargo::cargo_bin!("kettlemark"))
        .arg("class")
        .arg("--from")
        .arg(&out)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .unwrap()
        .code();
    assert_eq!(code, Some(1));
    assert_eq!(page("class.csv"), rows);
    assert_eq!(untitled("out"), shown);
    // A new name is no reason to review again.
    let times = changed_at(&out);
    let named = fs::read_to_string(&list).unwrap().replace("Clara", "Carla");
    fs::write(&list, named).unwrap();
    class(&list, &out, &log).status().unwrap();
    assert_eq!(changed_at(&out), times);
    assert!(page("class.csv").contains("Carla,lantern-3.flac,judged"));
}

/// A slip on the command line is answered before any work, and costs nothing
/// that was finished.
#[test]
fn a_slip_replaces_nothing_of_a_finished_class() {
    let folder = tempfile::tempdir().unwrap();
    let takes = folder_of_takes(folder.path(), false);
    let (out, log) = (folder.path().join("out"), folder.path().join("log.db"));
    assert_eq!(class(&takes, &out, &log).status().unwrap().code(), Some(0));
    let before = contents(&out);
    let list = takes.join("list.csv");
    fs::write(&list, "file,part\nlantern-1.mp3,lantern-3.flac\n").unwrap();
    let slips: [(&Path, &[&str], &str); 4] = [
        (&takes, &["--", "--nonsense"], "'--nonsense'"),
        (&takes, &["--", "--tune-bands", "25,10"], "--tune-bands"),
        (&takes, &["--", "--part-name", "Violin"], "Violin"),
        (&list, &[], "lantern-3.flac"),
    ];
    for (source, options, what) in slips {
        let (code, said) = answered(class(source, &out, &log).args(options));
        assert_eq!(code, Some(2), "{options:?}: {said}");
        assert!(said.contains(what) && said.lines().count() == 1, "{said}");
        assert_eq!(contents(&out), before, "{options:?}");
    }
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("kettlemark"));
    command
        .arg("class")
        .arg(&takes)
        .args(["--part", "nopart.xml"]);
    let elsewhere = folder.path().join("elsewhere");
    let (code, said) = answered(command.arg("--out").arg(&elsewhere));
    assert_eq!(code, Some(2));
    assert!(said.contains("nopart.xml: there is no such file"), "{said}");
    assert!(!elsewhere.exists());
}

/// A score that was found and not named is no slip: its takes are not read,
/// and what was reviewed stays.
#[test]
fn a_good_review_outlives_a_bad_run() {
    let folder = tempfile::tempdir().unwrap();
    let takes = folder_of_takes(folder.path(), false);
    let (out, score) = (folder.path().join("out"), takes.join("march.kettle"));
    let good = root().join("sample-takes/lantern.kettle");
    fs::copy(&good, &score).unwrap();
    let class = || {
        let mut command = Command::new(assert_cmd::cargo::cargo_bin!("kettlemark"));
        command.args(["class", "--no-log", "--out"]).arg(&out);
        command.stdout(Stdio::null());
        command
    };
    assert_eq!(answered(class().arg(&takes)).0, Some(0));
    let times = changed_at(&out);
    fs::write(&score, "meter 4/4\n1: nonsense\n").unwrap();
    let (code, said) = answered(class().arg(&takes));
    assert_eq!(code, Some(1));
    assert_eq!(said.matches("not read: in the part: ").count(), 3, "{said}");
    let mut gather = Command::new(assert_cmd::cargo::cargo_bin!("kettlemark"));
    gather.args(["class", "--from"]).arg(&out);
    assert_eq!(answered(gather.stdout(Stdio::null())).0, Some(0));
    fs::copy(&good, &score).unwrap();
    assert_eq!(answered(class().arg(&takes)).0, Some(0));
    assert_eq!(changed_at(&out), times, "nothing was done again");
}

/// A class names a player in the log only where nobody else has.
#[test]
fn a_class_leaves_labels_that_a_teacher_gave() {
    let folder = tempfile::tempdir().unwrap();
    let takes = folder_of_takes(folder.path(), false);
    let (out, log) = (folder.path().join("out"), folder.path().join("log.db"));
    let list = takes.join("list.csv");
    let named = |third: &str| {
        let text =
            format!("file,player\nlantern-1.mp3,\nlantern-2.m4a,Bo\nlantern-3.flac,{third}\n");
        fs::write(&list, text).unwrap();
    };
    let players = || -> Vec<String> {
        let mut entries = Log::open(&log).unwrap().entries().unwrap();
        entries.sort_by(|a, b| a.file.cmp(&b.file));
        entries.into_iter().map(|e| e.player.unwrap()).collect()
    };
    let run = |options: &[&str]| {
        let mut command = class(&list, &out, &log);
        assert_eq!(command.args(options).status().unwrap().code(), Some(0));
    };
    named("Clara");
    run(&[]);
    assert_eq!(players(), ["lantern-1", "Bo", "Clara"]);
    let mut kept = Log::open(&log).unwrap();
    let first = kept.entries().unwrap();
    let first = first.iter().find(|e| e.file == TAKES[0]).unwrap().id;
    let meta = KeepMeta {
        player: Some("anna".to_owned()),
        ..KeepMeta::default()
    };
    kept.label(first, &meta).unwrap();
    drop(kept);
    run(&["--", "--a4", "442"]);
    assert_eq!(players(), ["anna", "Bo", "Clara"]);
    // Its own name it may change, whether the take is reviewed again or not.
    named("Carla");
    run(&["--", "--a4", "442"]);
    assert_eq!(players(), ["anna", "Bo", "Carla"]);
    named("Clara");
    run(&[]);
    assert_eq!(players(), ["anna", "Bo", "Clara"]);
}

/// Out of memory is a reason in one line.
#[test]
fn a_take_that_wants_too_much_memory_is_told_in_a_sentence() {
    let folder = tempfile::tempdir().unwrap();
    let takes = folder.path().join("takes");
    fs::create_dir(&takes).unwrap();
    // Three hours of 16 bits at 16 kHz, nothing in them.
    let bytes = 3 * 3600 * 16_000 * 2u32;
    let mut head = b"RIFF".to_vec();
    head.extend((bytes + 36).to_le_bytes());
    head.extend(b"WAVEfmt \x10\0\0\0\x01\0\x01\0");
    head.extend(16_000u32.to_le_bytes());
    head.extend(32_000u32.to_le_bytes());
    head.extend(b"\x02\0\x10\0data");
    head.extend(bytes.to_le_bytes());
    let take = takes.join("long.wav");
    fs::write(&take, head).unwrap();
    let file = fs::File::options().write(true).open(&take).unwrap();
    file.set_len(u64::from(bytes) + 44).unwrap();
    let (out, log) = (folder.path().join("out"), folder.path().join("log.db"));
    let mut command = class(&takes, &out, &log);
    command
        .args(["--limit-mb", "60"])
        .env("RUST_BACKTRACE", "1");
    let (code, said) = answered(&mut command);
    assert_eq!(code, Some(1));
    let expected = "long.wav: not read: reading it wants more memory than 60 MB; --limit-mb \
                    gives it more\n";
    assert_eq!(said, expected);
}

/// The log fails in the middle of the work: the overview is there all the
/// same, and a further run keeps what is missing.
#[test]
fn a_log_that_fails_takes_nothing_from_the_overview() {
    let folder = tempfile::tempdir().unwrap();
    let takes = folder_of_takes(folder.path(), false);
    let (out, log) = (folder.path().join("out"), folder.path().join("log.db"));
    drop(Log::open(&log).unwrap());
    let refuse = "CREATE TRIGGER refuse BEFORE INSERT ON entry \
                  BEGIN SELECT raise(ABORT, 'refused'); END";
    let connection = rusqlite::Connection::open(&log).unwrap();
    connection.execute_batch(refuse).unwrap();
    let (code, said) = answered(&mut class(&takes, &out, &log));
    assert_eq!(code, Some(2));
    assert!(said.contains("the practice log"), "{said}");
    let rows = fs::read_to_string(out.join("class.csv")).unwrap();
    assert_eq!(rows.matches(",judged,").count(), 3);
    let times = changed_at(&out);
    connection.execute_batch("DROP TRIGGER refuse").unwrap();
    assert_eq!(class(&takes, &out, &log).status().unwrap().code(), Some(0));
    assert_eq!(changed_at(&out), times);
    assert_eq!(Log::open(&log).unwrap().entries().unwrap().len(), 3);
}

#[test]
fn a_list_names_files_players_and_parts() {
    let folder = tempfile::tempdir().unwrap();
    let list = folder.path().join("list.csv");
    fs::write(&list, "player,file,part\nA,x.wav,p.mid\n,sub/y.wav,\n").unwrap();
    let jobs = find::in_list(&list, Some(Path::new("other.mid"))).unwrap();
    assert_eq!(jobs[0].player, "A");
    assert_eq!(jobs[0].part, folder.path().join("p.mid"));
    assert_eq!(jobs[1].player, "y");
    assert_eq!(jobs[1].part, Path::new("other.mid"));
    assert!(
        find::in_list(&list, None)
            .unwrap_err()
            .to_string()
            .contains("line 3")
    );
}

#[test]
fn every_subfolder_may_have_a_part_of_its_own() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("out");
    for (sub, part) in [("one", "a.mid"), ("two", "b.musicxml")] {
        let sub = folder.path().join(sub);
        fs::create_dir(&sub).unwrap();
        fs::write(sub.join(part), "").unwrap();
        fs::write(sub.join("take.wav"), "").unwrap();
    }
    let jobs = find::in_folder(folder.path(), None, &out).unwrap();
    let parts: Vec<_> = jobs
        .iter()
        .map(|j| j.part.file_name().unwrap().to_owned())
        .collect();
    assert_eq!(parts, ["a.mid", "b.musicxml"]);
    fs::write(folder.path().join("stray.wav"), "").unwrap();
    assert!(find::in_folder(folder.path(), None, &out).is_err());
}

#[test]
fn the_nearest_part_is_the_one() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("out");
    fs::create_dir_all(folder.path().join("year/day")).unwrap();
    for (name, text) in [
        ("a.mid", ""),
        ("year/one.wav", ""),
        ("year/day/b.mid", ""),
        ("year/day/two.wav", ""),
    ] {
        fs::write(folder.path().join(name), text).unwrap();
    }
    let parts = |part: Option<&Path>| -> Vec<String> {
        let jobs = find::in_folder(folder.path(), part, &out).unwrap();
        let name = |p: &Path| p.file_name().unwrap().to_string_lossy().into_owned();
        jobs.iter().map(|j| name(&j.part)).collect()
    };
    assert_eq!(parts(None), ["b.mid", "a.mid"]);
    assert_eq!(parts(Some(Path::new("c.mid"))), ["c.mid", "c.mid"]);
    // Several scores trouble only the takes that need one of them.
    fs::write(folder.path().join("c.mid"), "").unwrap();
    let refused = find::in_folder(folder.path(), None, &out).unwrap_err();
    assert!(refused.to_string().contains("one.wav"), "{refused}");
    fs::remove_file(folder.path().join("year/one.wav")).unwrap();
    assert_eq!(parts(None), ["b.mid"]);
}

#[test]
fn one_take_against_two_parts_has_two_folders() {
    let folder = tempfile::tempdir().unwrap();
    let list = folder.path().join("list.csv");
    fs::write(&list, "file,part\nx.wav,a.mid\nx.wav,b.mid\ny.wav,a.mid\n").unwrap();
    let jobs = find::in_list(&list, None).unwrap();
    let folders: std::collections::BTreeSet<_> = jobs.iter().map(|j| &j.folder).collect();
    assert_eq!(folders.len(), 3);
    assert_eq!(jobs[2].folder, "y");
}

/// Forty times, or as often as `KETTLEMARK_KILLS` says, a class is killed at a
/// random instant and taken up again.
/// The log is sound all the time, nothing is there twice, and the end is
/// what an undisturbed run gives.
#[test]
fn a_class_that_is_killed_is_taken_up_again() {
    let folder = tempfile::tempdir().unwrap();
    let takes = folder_of_takes(folder.path(), true);
    let (calm, log) = (folder.path().join("calm"), folder.path().join("log.db"));
    class(&takes, &calm, &folder.path().join("calm.db"))
        .status()
        .unwrap();
    let out = folder.path().join("out");
    let mut chance = Chance::seeded(40);
    let kills = std::env::var("KETTLEMARK_KILLS").map_or(40, |n| n.parse().unwrap());
    for round in 0..kills {
        if round % 8 == 0 {
            let _ = fs::remove_dir_all(&out);
        }
        let mut child = class(&takes, &out, &log).spawn().unwrap();
        std::thread::sleep(Duration::from_micros(chance.below(600_000) as u64));
        child.kill().unwrap();
        child.wait().unwrap();
        if log.exists() {
            let connection = rusqlite::Connection::open(&log).unwrap();
            let sound: String = connection
                .query_row("PRAGMA quick_check", [], |r| r.get(0))
                .unwrap();
            assert_eq!(sound, "ok", "round {round}");
        }
    }
    // Reviews that were begun before the last kill may still be ending.
    std::thread::sleep(Duration::from_secs(2));
    assert_eq!(class(&takes, &out, &log).status().unwrap().code(), Some(1));
    let within = |folder: &Path| -> BTreeMap<PathBuf, Vec<u8>> {
        contents(folder)
            .into_iter()
            .map(|(path, bytes)| (path.strip_prefix(folder).unwrap().to_owned(), bytes))
            // Left beside by a process that was killed while writing.
            .filter(|(path, _)| !path.iter().any(|p| p.to_string_lossy().starts_with('.')))
            .collect()
    };
    let (found, expected) = (within(&out), within(&calm));
    assert!(found.keys().eq(expected.keys()));
    for (path, bytes) in &found {
        // The title is the folder of takes; everything is the same.
        assert!(bytes == &expected[path], "{}", path.display());
    }
    assert_eq!(Log::open(&log).unwrap().entries().unwrap().len(), 3);
}
