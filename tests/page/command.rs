//! `review` as a person calls it: exit codes, streams, folders.

use assert_cmd::Command;
use kettlemark::report;
use kettlemark::review::Review;
use std::path::{Path, PathBuf};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn sample(name: &str) -> PathBuf {
    root().join("sample-takes").join(name)
}

/// The command in a folder of its own, with no log but there.
fn kettlemark(folder: &Path) -> Command {
    let mut command = Command::cargo_bin("kettlemark").unwrap();
    command.current_dir(folder).env_remove("KETTLEMARK_LOG");
    command
}

fn review(folder: &Path, take: &Path) -> Command {
    let mut command = kettlemark(folder);
    command.arg("review").arg(take).arg("--part");
    command.arg(sample("lantern.musicxml"));
    command
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

#[test]
fn a_sample_take_is_reviewed_kept_and_fulfils_the_schema() {
    let dir = tempfile::tempdir().unwrap();
    let output = review(dir.path(), &sample("lantern-2.m4a"))
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    assert!(text(&output.stdout).starts_with("Lantern Procession · lantern-2.m4a"));
    assert!(text(&output.stderr).contains("review.html"));
    let folder = dir.path().join("reports/lantern-2");
    let json = std::fs::read_to_string(folder.join("review.json")).unwrap();
    let value: serde_json::Value = serde_json::from_str(&json).unwrap();
    let schema = serde_json::from_str(kettlemark::report::json::SCHEMA).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let errors: Vec<String> = validator
        .iter_errors(&value)
        .map(|e| format!("{}: {e}", e.instance_path()))
        .collect();
    assert!(errors.is_empty(), "{errors:?}");
    assert!(dir.path().join("reports/practice.db").is_file());
    assert_eq!(std::fs::read_dir(folder).unwrap().count(), 10);
}

/// The help says how much a copy of the recording adds to a page.
#[test]
fn a_copy_inside_the_page_is_as_small_as_the_help_says() {
    let dir = tempfile::tempdir().unwrap();
    let size = |more: &[&str]| {
        let mut command = review(dir.path(), &sample("lantern-2.m4a"));
        command.args(["--no-log", "--out", "here"]).args(more);
        command.assert().success();
        let page = dir.path().join("here/review.html");
        std::fs::metadata(page).unwrap().len() as f64
    };
    let added = size(&["--with-audio"]) - size(&[]);
    let json = std::fs::read_to_string(dir.path().join("here/review.json")).unwrap();
    let review: Review = serde_json::from_str(&json).unwrap();
    let passage = review.passages.iter().find(|p| p.counted).unwrap();
    let minutes = (passage.to_s - passage.from_s + 2.0) / 60.0;
    let a_minute = added / minutes / 1e6;
    assert!(a_minute < 0.6, "{a_minute} MB a minute");
    let help = kettlemark(dir.path()).args(["review", "--help"]).output();
    let help = text(&help.unwrap().stdout);
    let words: Vec<&str> = help.split_whitespace().collect();
    assert!(words.join(" ").contains("about half a MB a minute"));
}

#[test]
fn json_goes_to_standard_output_and_nothing_else_does() {
    let dir = tempfile::tempdir().unwrap();
    let output = review(dir.path(), &sample("lantern-3.flac"))
        .args(["--json", "-", "--no-log", "--a4", "442", "--out", "here"])
        .output()
        .unwrap();
    let printed = text(&output.stdout);
    let review: Review = serde_json::from_str(&printed).unwrap();
    assert!((review.settings.a4_hz - 442.0).abs() < 1e-9);
    let kept = std::fs::read_to_string(dir.path().join("here/review.json")).unwrap();
    assert_eq!(printed, kept);
    assert!(!dir.path().join("reports").exists());
}

#[test]
fn the_same_take_gives_the_same_bytes() {
    let dir = tempfile::tempdir().unwrap();
    for out in ["one", "two"] {
        let mut command = review(dir.path(), &sample("lantern-1.mp3"));
        command.args(["--no-log", "--out", out]).assert().success();
    }
    for entry in std::fs::read_dir(dir.path().join("one")).unwrap() {
        let name = entry.unwrap().file_name();
        let read = |out: &str| std::fs::read(dir.path().join(out).join(&name)).unwrap();
        assert_eq!(read("one"), read("two"), "{name:?}");
    }
}

/// The committed example says what the program says today. Its words are
/// compared, not all its digits: another processor may round the last one the
/// other way. Its drawings are made again from its own numbers.
#[test]
fn the_example_review_is_up_to_date() {
    let folder = root().join("reports/lantern-2");
    let kept = std::fs::read_to_string(folder.join("review.json")).unwrap();
    let kept: Review = serde_json::from_str(&kept).unwrap();
    let dir = tempfile::tempdir().unwrap();
    let output = review(dir.path(), &sample("lantern-2.m4a"))
        .args(["--no-log", "--out", "new"])
        .output()
        .unwrap();
    let again = "run cargo run --release -- review sample-takes/lantern-2.m4a --part \
                 sample-takes/lantern.musicxml --no-log, and read the difference";
    assert_eq!(text(&output.stdout), report::summary(&kept), "{again}");
    for (name, drawing) in report::charts::files(&kept) {
        let there = std::fs::read_to_string(folder.join(name)).unwrap();
        assert!(there == drawing, "{name} differs: {again}");
    }
}

#[test]
fn silence_is_refused_with_its_reason() {
    let dir = tempfile::tempdir().unwrap();
    let take = dir.path().join("silence.wav");
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 44_100,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut wav = hound::WavWriter::create(&take, spec).unwrap();
    for _ in 0..44_100 * 3 {
        wav.write_sample(0_i16).unwrap();
    }
    wav.finalize().unwrap();
    let output = review(dir.path(), &take)
        .args(["--no-log"])
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(1), "{}", text(&output.stderr));
    assert!(text(&output.stderr).contains("not judged"));
    let json = std::fs::read_to_string(dir.path().join("reports/silence/review.json")).unwrap();
    let review: Review = serde_json::from_str(&json).unwrap();
    assert!(!review.judged && review.reason.is_some());
}

/// A take set against the wrong part by mistake must not cost its review.
#[test]
fn a_refused_review_replaces_no_judged_one_of_the_same_take_unless_asked() {
    let dir = tempfile::tempdir().unwrap();
    let take = sample("lantern-2.m4a");
    std::fs::write(
        dir.path().join("other.kettle"),
        "title Quarry Waltz\nmeter 3/4\ntempo 150\n1: G2,G2,G2 . D3\n2: . D3,D3,D3,D3 .\n\
         3-6: .\n7: G2 . .\n8: D3,D3 . G2,G2\n9: . . D3\n10: G2~*3\n",
    )
    .unwrap();
    let wrong = |more: &[&str]| {
        let mut command = kettlemark(dir.path());
        command
            .arg("review")
            .arg(&take)
            .args(["--no-log", "--part", "other.kettle"]);
        command.args(more).output().unwrap()
    };
    let judged = |folder: &str| {
        let json = std::fs::read_to_string(dir.path().join(folder).join("review.json")).unwrap();
        serde_json::from_str::<Review>(&json).unwrap().judged
    };
    review(dir.path(), &take).arg("--no-log").assert().success();
    for _ in 0..2 {
        let refused = wrong(&[]);
        assert_eq!(refused.status.code(), Some(1));
        assert!(text(&refused.stderr).contains("judged review of this take and is left alone"));
        assert!(judged("reports/lantern-2") && !judged("reports/lantern-2-not-judged"));
    }
    let asked = wrong(&["--out", "reports/lantern-2"]);
    assert!(text(&asked.stderr).contains("which is not judged, replaces it"));
    assert!(!judged("reports/lantern-2"));
    // Where nothing is lost, the usual folder is used again.
    review(dir.path(), &take).arg("--no-log").assert().success();
    assert!(judged("reports/lantern-2"));
}

#[test]
fn wrong_use_and_unreadable_files_exit_with_2_and_write_nothing() {
    let dir = tempfile::tempdir().unwrap();
    std::fs::write(dir.path().join("words.wav"), "no sound at all").unwrap();
    let part = sample("lantern.musicxml");
    let part = part.to_str().unwrap();
    let take = sample("lantern-2.m4a");
    let take = take.to_str().unwrap();
    std::fs::write(dir.path().join("nothing.kettle"), "").unwrap();
    for arguments in [
        vec!["review"],
        vec!["review", "absent.wav", "--part", part],
        vec!["review", "words.wav", "--part", part],
        vec!["review", ".", "--part", part],
        vec!["review", take, "--part", "absent.musicxml"],
        vec!["review", take, "--part", take],
        vec!["review", take, "--part", "."],
        vec!["review", take, "--part", "nothing.kettle"],
        vec![
            "review",
            take,
            "--part",
            part,
            "--no-log",
            "--out",
            "words.wav",
        ],
        vec!["class", "absent", "--part", part],
        vec!["class", "words.wav", "--part", part],
        vec!["review", take, "--part", part, "--a4", "44"],
        vec!["review", take, "--part", part, "--passage", "0"],
        vec!["review", take, "--part", part, "--tune-bands", "25,10"],
        vec!["review", take, "--part", part, "--tune-bands", "nan,10"],
        vec!["review", take, "--part", part, "--accuse-ratio", "0.5"],
        vec!["review", take, "--part", part, "--no-log", "--player", "A"],
        vec!["nonsense"],
    ] {
        let output = kettlemark(dir.path()).args(&arguments).output().unwrap();
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        assert!(output.stdout.is_empty(), "{arguments:?}");
        let said = text(&output.stderr);
        assert!(
            !said.contains("panicked") && !said.contains("os error") && said.len() > 20,
            "{arguments:?}: {said}"
        );
        assert!(!dir.path().join("reports").exists(), "{arguments:?}");
    }
}

#[test]
fn folders_that_cannot_be_used_are_named() {
    let dir = tempfile::tempdir().unwrap();
    std::fs::write(dir.path().join("a file"), "theirs").unwrap();
    let output = review(dir.path(), &sample("lantern-3.flac"))
        .args(["--no-log", "--out", "a file"])
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(2));
    assert!(text(&output.stderr).contains("a file"));
    std::fs::create_dir(dir.path().join("theirs")).unwrap();
    std::fs::write(dir.path().join("theirs/review.html"), "my page").unwrap();
    let output = review(dir.path(), &sample("lantern-3.flac"))
        .args(["--no-log", "--out", "theirs"])
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(2));
    let kept = std::fs::read_to_string(dir.path().join("theirs/review.html")).unwrap();
    assert_eq!(kept, "my page");
    assert_eq!(
        std::fs::read_dir(dir.path().join("theirs"))
            .unwrap()
            .count(),
        1
    );
}

/// Two takes of one name: the second does not push the first one out.
#[test]
fn another_take_of_the_same_name_gets_a_folder_of_its_own() {
    let dir = tempfile::tempdir().unwrap();
    for (folder, name) in [("monday", "lantern-3.flac"), ("tuesday", "lantern-1.mp3")] {
        std::fs::create_dir(dir.path().join(folder)).unwrap();
        // The content decides how a file is read, not its ending.
        let take = dir.path().join(folder).join("take.wav");
        std::fs::copy(sample(name), &take).unwrap();
        for _ in 0..2 {
            review(dir.path(), &take).arg("--no-log").assert().success();
        }
    }
    let mut folders: Vec<String> = std::fs::read_dir(dir.path().join("reports"))
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    folders.sort();
    assert_eq!(folders.len(), 2, "{folders:?}");
    assert_eq!(folders[0], "take");
    assert!(folders[1].starts_with("take-"));
}

#[test]
fn help_completions_and_the_manual_name_every_command() {
    let dir = tempfile::tempdir().unwrap();
    let commands = [
        "review",
        "part",
        "class",
        "trend",
        "compare",
        "log",
        "completions",
        "man",
    ];
    let all = kettlemark(dir.path()).arg("--help").output().unwrap();
    for name in commands {
        assert!(text(&all.stdout).contains(&format!("\n  {name}")), "{name}");
        let help = kettlemark(dir.path())
            .args([name, "--help"])
            .output()
            .unwrap();
        let help = text(&help.stdout);
        assert!(
            help.contains("Example:") || help.contains("Examples:"),
            "{name}"
        );
        assert!(help.contains(&format!("kettlemark {name}")), "{name}");
    }
    for shell in ["bash", "elvish", "fish", "powershell", "zsh"] {
        let script = kettlemark(dir.path())
            .args(["completions", shell])
            .output()
            .unwrap();
        assert!(text(&script.stdout).contains("review"), "{shell}");
    }
    kettlemark(dir.path())
        .args(["man", "--out", "man1"])
        .assert()
        .success();
    let page = std::fs::read_to_string(dir.path().join("man1/kettlemark-review.1")).unwrap();
    assert!(page.contains("passage"));
    let version = kettlemark(dir.path()).arg("--version").output().unwrap();
    assert!(text(&version.stdout).starts_with("kettlemark 0."));
}
