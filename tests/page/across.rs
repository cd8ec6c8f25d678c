//! Pages across takes, written by the commands as a player calls them: weeks,
//! two sets, a class. `tests/page/drive.mjs` opens them in a browser.

use crate::files::{breaks, out};
use crate::fixture;
use assert_cmd::Command;
use kettlemark::journal::date::{Origin, Recorded};
use kettlemark::journal::{KeepMeta, keep};
use kettlemark::report::{self, Options, json};
use kettlemark::review::Review;
use std::path::Path;

/// A name that tries to be something else: markup, quotes, a writing
/// direction turned round, a terminal sequence, and it does not end.
const HOSTILE: &str = "<img src=x onerror=alert(1)> \"'&amp; \u{202e}desrever\u{202c} 🥁 \
                       \u{1b}[31mПроцессия 提灯行列のための行進曲 ünïcödé";

fn kettlemark() -> Command {
    let mut command = Command::cargo_bin("kettlemark").unwrap();
    command.env_remove("KETTLEMARK_LOG");
    command
}

/// What a command said on standard output, and that nobody's terminal was
/// told anything by a name.
fn said(command: &mut Command, code: i32) -> String {
    let output = command.output().unwrap();
    let errors = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(code), "{errors}");
    let said = String::from_utf8(output.stdout).unwrap();
    assert!(!said.contains('\u{1b}') && !errors.contains('\u{1b}'));
    said
}

/// A log of takes five days apart, each at the tempo and with the faults that
/// `played` gives, and its page.
fn weeks(
    name: &str,
    title: Option<&str>,
    player: &str,
    days: u32,
    played: impl Fn(u32) -> (f64, f64),
) -> String {
    let folder = tempfile::tempdir().unwrap();
    let log = folder.path().join("log.db");
    let start = jiff::civil::date(2026, 9, 1);
    for take in 0..days {
        let day = start
            .checked_add(jiff::Span::new().days(5 * i64::from(take)))
            .unwrap();
        let (bpm, faults) = played(take);
        let file = format!("take-{take}.wav");
        let mut review = fixture::one_of_many(&file, bpm, faults, u64::from(take) + 1);
        if let Some(title) = title {
            title.clone_into(&mut review.part.title);
        }
        let meta = KeepMeta {
            recorded: Some(Recorded {
                at: day.to_string(),
                origin: Origin::FileName,
            }),
            player: Some(player.to_owned()),
            ..KeepMeta::default()
        };
        keep(&review, &meta, &log).unwrap();
    }
    let mut command = kettlemark();
    command.args(["trend", "--player", player, "--log"]);
    let told = said(command.arg(&log).arg("--out").arg(out(name)), 0);
    unbroken(name);
    told
}

#[test]
fn pages_of_weeks_are_written() {
    // Better from week to week, whatever the tempo.
    let better = |take: u32| {
        let bpm = 84.0 + f64::from(take * 7 % 30);
        (bpm, (1.0 - f64::from(take) / 14.0).max(0.1))
    };
    let told = weeks("trend", None, "A", 14, better);
    assert!(
        told.starts_with("Unevenness: triplets: Better: −"),
        "{told}"
    );
    assert!(!told.contains(['_', '[']), "identifiers: {told}");
    let told = weeks("trend-few", None, "A", 3, better);
    assert!(told.contains("Not enough takes yet"), "{told}");
    weeks("trend-hostile", Some(HOSTILE), HOSTILE, 8, better);
    tame("trend-hostile");
    // Worse the faster, from week to week the same.
    let faster = |take: u32| {
        let step = take * 7 % 12;
        (72.0 + 4.0 * f64::from(step), 0.1 + 0.07 * f64::from(step))
    };
    let told = weeks("trend-tempo", None, "A", 24, faster);
    assert!(
        told.contains("Triplets: clean nine times of ten up to"),
        "{told}"
    );
    let chart = std::fs::read_to_string(out("trend-tempo").join("tempo-3.svg")).unwrap();
    assert!(
        chart.contains("Clean figures by tempo: triplets"),
        "{chart}"
    );
    assert!(chart.contains("where it crosses nine of ten"), "{chart}");
}

fn put(review: &Review, folder: &Path) {
    std::fs::create_dir_all(folder).unwrap();
    std::fs::write(folder.join("review.json"), json::text(review)).unwrap();
}

fn two_sets(name: &str, sets: [(&str, usize, f64); 2]) -> String {
    let folder = tempfile::tempdir().unwrap();
    for (k, (set, takes, faults)) in sets.into_iter().enumerate() {
        for take in 0..takes {
            let seed = 100 * k as u64 + take as u64 + 1;
            let file = format!("{set}-{take}.wav");
            let review = fixture::one_of_many(&file, 96.0, faults, seed);
            put(&review, &folder.path().join(set).join(take.to_string()));
        }
    }
    let mut command = kettlemark();
    command.current_dir(folder.path());
    command.args(["compare", sets[0].0, sets[1].0]);
    let told = said(command.arg("--out").arg(out(name)), 0);
    unbroken(name);
    told
}

#[test]
fn pages_of_two_sets_are_written() {
    let told = two_sets("compare", [("alternating", 7, 0.9), ("double", 7, 0.4)]);
    assert!(
        told.starts_with("Unevenness: triplets: double is better; double against alternating: −"),
        "{told}"
    );
    let told = two_sets("compare-one", [("student", 1, 0.9), ("teacher", 1, 0.1)]);
    assert!(told.contains("Not enough takes to settle it"), "{told}");
    let other = format!("{HOSTILE} as well");
    two_sets("compare-hostile", [(HOSTILE, 4, 0.5), (&other, 5, 0.5)]);
    tame("compare-hostile");
}

fn class(name: &str, title: &str, reviews: &[Review], broken: &[&str], code: i32) -> String {
    let _ = std::fs::remove_dir_all(out(name));
    let takes = out(name).join(title);
    for (place, review) in reviews.iter().enumerate() {
        put(review, &takes.join(format!("take {place} & #more")));
    }
    if let Some(first) = reviews.first() {
        let folder = takes.join("take 0 & #more");
        report::write(first, &folder, &Options::default()).unwrap();
    }
    for name in broken {
        std::fs::create_dir_all(takes.join(name)).unwrap();
        std::fs::write(takes.join(name).join("review.json"), "{").unwrap();
    }
    let mut command = kettlemark();
    command.arg("class").arg("--from").arg(&takes);
    let told = said(command.arg("--out").arg(out(name)), code);
    let csv = std::fs::read_to_string(out(name).join("class.csv")).unwrap();
    let rows = csv::Reader::from_reader(csv.as_bytes()).into_records();
    assert_eq!(rows.count(), reviews.len() + broken.len());
    unbroken(name);
    told
}

/// No number on a page or drawing is parted from its unit.
fn unbroken(name: &str) {
    for entry in std::fs::read_dir(out(name)).unwrap() {
        let path = entry.unwrap().path();
        let extension = path.extension().unwrap_or_default();
        if ["html", "svg"].iter().any(|e| extension == *e) {
            let text = std::fs::read_to_string(&path).unwrap();
            assert_eq!(breaks(&text), Vec::<String>::new(), "{}", path.display());
        }
    }
}

/// Marks that turn the direction of writing, and control characters, are in
/// no page and in no drawing.
fn tame(name: &str) {
    for entry in std::fs::read_dir(out(name)).unwrap() {
        let path = entry.unwrap().path();
        let extension = path.extension().unwrap_or_default();
        if ["html", "svg", "csv"].iter().any(|e| extension == *e) {
            let text = std::fs::read_to_string(&path).unwrap();
            let wild =
                |c: char| c.is_control() && c != '\n' || ('\u{202a}'..='\u{202e}').contains(&c);
            assert!(!text.contains(wild), "{}", path.display());
        }
    }
}

#[test]
fn pages_of_classes_are_written() {
    let mut reviews: Vec<Review> = (0..17)
        .map(|i| {
            let faults = 0.2 + f64::from(i % 5) * 0.2;
            let file = format!("player-{:02}.m4a", i + 1);
            fixture::one_of_many(&file, 92.0 + f64::from(i % 4), faults, 40 + i as u64)
        })
        .collect();
    reviews[3].doubts = fixture::bad().doubts;
    let mut refused = fixture::refused();
    refused.take.file = "player-18.m4a".to_owned();
    reviews.push(refused);
    let told = class("class", "Tuesday class", &reviews, &["player-19"], 1);
    assert!(told.starts_with("17 of 19 takes judged"), "{told}");

    reviews.truncate(4);
    for (place, review) in reviews.iter_mut().enumerate() {
        review.take.file = format!("{HOSTILE} {place}.wav");
    }
    let broken = format!("{HOSTILE} broken");
    let page = std::fs::read_to_string(out("class").join("class.html")).unwrap();
    assert!(page.contains("player-19") && !page.contains("tests/out"));
    assert!(page.contains("not read: <bdi>its review.json ends before it is whole; review"));
    class("class-hostile", HOSTILE, &reviews, &[&broken], 1);
    tame("class-hostile");
    reviews.truncate(1);
    reviews[0].take.file = "only.wav".to_owned();
    class("class-one", "One take", &reviews, &[], 0);
    class("class-none", "No take", &[], &["broken"], 1);
}
