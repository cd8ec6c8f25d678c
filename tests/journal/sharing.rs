//! What players share: literal reviews of players who do a thing on purpose,
//! and the sample takes.

use super::common;
use kettlemark::align::Outcome;
use kettlemark::journal::class::Row;
use kettlemark::journal::class::shared::{Fault, Shared, What, faults, shared};
use kettlemark::review::{PassageFacts, Review, StrokeFacts, WrittenBar, WrittenTempo};
use kettlemark_test_support::outside::root;
use std::process::Command;

const BARS: usize = 24;

/// A take of 24 bars of four quarter notes, `faster` saying how many times
/// the tempo of the take is played from a place on, quarter notes.
fn take(name: &str, bpm: f64, faster: impl Fn(f64) -> f64) -> Review {
    let mut review = common::review(name, bpm, 3.0, || 0.0);
    let note = review.notes[0].clone();
    review.notes.clear();
    review.figures.clear();
    let mut time_s = 1.0;
    for index in 0..4 * BARS {
        let at = index as f64;
        let mut note = note.clone();
        note.index = index;
        note.bar = 1 + (index / 4) as i32;
        note.beat = 1.0 + (index % 4) as f64;
        note.at = at;
        note.length = 1.0;
        note.stroke = Some(index);
        review.notes.push(note);
        review.strokes.push(stroke(time_s, index));
        time_s += 60.0 / (bpm * faster(at));
    }
    review.written.bars = (0..BARS)
        .map(|i| WrittenBar {
            number: 1 + i as i32,
            at: 4.0 * i as f64,
            length: 4.0,
            time_s: None,
            cue: None,
        })
        .collect();
    review.written.tempi = vec![tempo(0.0, Some(96.0), false)];
    review.passages = vec![PassageFacts {
        from_s: 1.0,
        to_s: time_s,
        from_bar: 1,
        to_bar: BARS as i32,
        counted: true,
        median_bpm: Some(bpm),
        played: 4 * BARS,
        missed: 0,
        other_drum: 0,
        unsure: 0,
        unevenness_ms: None,
    }];
    review
}

fn stroke(time_s: f64, note: usize) -> StrokeFacts {
    StrokeFacts {
        time_s,
        time_sd_ms: 2.0,
        level_db: -6.0,
        level_sd_db: 1.0,
        drum: Some(1),
        hz: None,
        cents: None,
        cents_sd: None,
        in_roll: false,
        note: Some(note),
    }
}

fn tempo(at: f64, bpm: Option<f64>, gradual: bool) -> WrittenTempo {
    WrittenTempo { at, bpm, gradual }
}

/// Bars, counted from 1, are played so many times as fast.
fn bars(from: i32, to: i32, times: f64) -> impl Fn(f64) -> f64 {
    move |at| {
        let bar = 1 + (at / 4.0) as i32;
        if (from..=to).contains(&bar) {
            times
        } else {
            1.0
        }
    }
}

fn said(reviews: &[Review]) -> Vec<Shared> {
    let rows: Vec<Row> = reviews
        .iter()
        .map(|r| Row::of_review(r, &r.take.file, &r.take.file, ""))
        .collect();
    shared(&rows)
}

fn all_five(what: What, bars: &[i32]) -> Vec<Shared> {
    vec![Shared {
        what,
        bars: bars.to_vec(),
        players: 5,
        of: 5,
    }]
}

#[test]
fn bars_that_go_faster_are_rushed_whatever_the_pulse_makes_of_them() {
    let five = |times: f64| -> Vec<Review> {
        (0..5)
            .map(|i| {
                let bpm = 92.0 + f64::from(i);
                let mut review = take(&format!("t{i}"), bpm, bars(9, 10, times));
                // The pulse cuts the corners of sudden changes.
                for note in &mut review.notes {
                    let side = match note.bar {
                        9 => 35.0,
                        10 => -35.0,
                        _ => 0.0,
                    };
                    note.deviation_ms = Some(if times > 1.0 { side } else { -side });
                }
                review
            })
            .collect()
    };
    for times in [1.08, 1.15] {
        assert_eq!(said(&five(times)), all_five(What::Rush, &[9, 10]));
        assert_eq!(said(&five(1.0 / times)), all_five(What::Drag, &[9, 10]));
    }
    // Less than is surely noticed, and a break, which is no tempo.
    for times in [1.04, 1.0 / 1.04, 0.5] {
        assert_eq!(said(&five(times)), []);
    }
}

#[test]
fn what_is_not_sure_is_not_said() {
    let mut review = take("a", 92.0, bars(9, 10, 1.08));
    assert_eq!(faults(&review).len(), 2);
    // 8 % of a bar are 0.2 s.
    review.strokes[32].time_sd_ms = 60.0;
    assert_eq!(
        faults(&review),
        [Fault {
            what: What::Rush,
            bar: 10
        }]
    );
}

#[test]
fn a_bar_whose_first_notes_were_not_heard_is_told_by_the_others() {
    let mut review = take("a", 92.0, bars(9, 10, 1.15));
    for note in [31, 32, 33] {
        review.notes[note].outcome = Outcome::Unsure;
    }
    let rushed: Vec<i32> = faults(&review).iter().map(|f| f.bar).collect();
    assert_eq!(rushed, [9, 10], "and not bar 8, which keeps the tempo");
    // One beat alone tells no tempo.
    review.notes[34].outcome = Outcome::Unsure;
    let rushed: Vec<i32> = faults(&review).iter().map(|f| f.bar).collect();
    assert_eq!(rushed, [10]);
}

/// The second stroke of a roll is taken for its first, 0.11 s late.
#[test]
fn a_stroke_of_a_roll_is_no_other_tempo() {
    let mut review = take("a", 92.0, |_| 1.0);
    // Bars of two beats, in which 0.11 s are much.
    review.written.bars = (0..2 * BARS)
        .map(|i| WrittenBar {
            number: 1 + i as i32,
            at: 2.0 * i as f64,
            length: 2.0,
            time_s: None,
            cue: None,
        })
        .collect();
    review.notes[40].length = 2.0;
    review.notes[41].outcome = Outcome::Missed;
    review.strokes[40].time_s += 0.11;
    let off: Vec<What> = faults(&review).iter().map(|f| f.what).collect();
    assert!(off.contains(&What::Rush), "{off:?}");
    review.notes[40].roll = true;
    let off: Vec<What> = faults(&review).iter().map(|f| f.what).collect();
    assert_eq!(off, [What::Missed]);
}

#[test]
fn written_changes_of_tempo_are_none_of_the_players() {
    let last = |review: &mut Review, mark| review.written.tempi.push(mark);
    let mut review = take("a", 92.0, bars(15, 24, 1.25));
    assert_ne!(faults(&review), []);
    last(&mut review, tempo(56.0, Some(120.0), false));
    assert_eq!(faults(&review), []);
    // Words alone: what is under them is compared with itself.
    review.written.tempi.truncate(1);
    last(&mut review, tempo(56.0, None, false));
    assert_eq!(faults(&review), []);

    // Where the marks stand is not known: an earlier program wrote the review.
    review.written.tempi.clear();
    assert_ne!(faults(&review), []);
    review.tempo.marked_bpm = Some(96.0);
    assert_eq!(faults(&review), []);

    let slower = |at: f64| 1.0 - 0.01 * (at - 80.0).max(0.0);
    let mut review = take("b", 92.0, slower);
    let dragged: Vec<i32> = faults(&review).iter().map(|f| f.bar).collect();
    assert!(dragged.ends_with(&[23, 24]), "{dragged:?}");
    last(&mut review, tempo(80.0, None, true));
    assert_eq!(faults(&review), []);

    let mut review = take("c", 92.0, bars(12, 12, 0.8));
    assert_eq!(faults(&review).len(), 1);
    review.written.fermatas = vec![46.0];
    assert_eq!(faults(&review), []);
}

/// What is written of the tempo comes from the part itself.
#[test]
fn the_sample_takes_run_away_in_the_crescendo() {
    let folder = tempfile::tempdir().unwrap();
    let output = Command::new(assert_cmd::cargo::cargo_bin!("kettlemark"))
        .args(["class", "sample-takes", "--no-log", "--part"])
        .arg("sample-takes/lantern.musicxml")
        .arg("--out")
        .arg(folder.path())
        .current_dir(root())
        .output()
        .unwrap();
    assert!(output.status.success());
    let page = std::fs::read_to_string(folder.path().join("class.html")).unwrap();
    assert!(page.contains("2 of 3 rush bars\u{a0}21"), "{page}");
    assert!(!page.contains(" drag "), "{page}");
}
