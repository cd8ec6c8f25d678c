//! Refusals, doubts, rounding, rolls: what is said when little can be said.

use crate::laid::{Laid, part, q, run};
use kettlemark::align::{Alignment, Outcome};
use kettlemark::measure::rolls::{rate_from_times, unevenness_pct};
use kettlemark::measure::round;
use kettlemark::part::Part;
use kettlemark::words::{pitch_name, remarks as words};
use kettlemark_test_support::draw::Draw;

fn quarters() -> Laid {
    let mut part = part(4, 100.0);
    run(&mut part, q(0, 1), q(1, 1), 16, 1);
    Laid::new(part, 1.0)
}

#[test]
fn what_cannot_be_judged_is_refused_with_a_reason_and_nothing_measured() {
    type Spoil = fn(&mut Laid);
    let cases: [(&str, Spoil); 8] = [
        ("silent", |l| l.heard.take.fitness.peak_db = None),
        ("holds no sound", |l| l.heard.take.duration_s = 0.0),
        ("no drum strokes", |l| l.heard.candidates.clear()),
        ("no stretch", |l| l.alignment = Alignment::default()),
        ("not seem", |l| l.alignment.same_piece = 0.2),
        ("not seem", |l| l.alignment.same_piece = f64::NAN),
        ("not seem", |l| {
            l.alignment.few = true;
            l.alignment.same_piece = 0.8;
        }),
        ("several places", |l| l.alignment.elsewhere = 0.2),
    ];
    for (word, spoil) in cases {
        let mut laid = quarters();
        spoil(&mut laid);
        let review = laid.review();
        assert!(!review.judged);
        let reason = review.reason.expect("a reason");
        assert!(reason.contains(word), "{reason}");
        assert_eq!(review.notes.len(), 16);
        assert!(
            review
                .notes
                .iter()
                .all(|n| n.outcome == Outcome::NotReached)
        );
        assert!(review.figures.is_empty() && review.remarks.is_empty());
        assert!(review.drums.is_empty() && review.stops.is_empty());
        // Nothing is said that rests on a part it is not of.
        let strokes = &review.strokes;
        assert!(strokes.iter().all(|s| s.note.is_none() && s.drum.is_none()));
        assert!(strokes.iter().all(|s| s.hz.is_none() && s.cents.is_none()));
        assert!(review.written.bars.iter().all(|b| b.time_s.is_none()));
    }
}

#[test]
fn a_part_without_notes_is_refused() {
    let mut laid = quarters();
    laid.part = Part::default();
    assert_eq!(laid.review().reason, Some(words::no_notes()));
}

#[test]
fn a_take_of_some_bars_is_judged_on_those_and_says_so() {
    let mut laid = quarters();
    let passage = &mut laid.alignment.passages[0];
    passage.notes = (4, 11);
    passage.matches = passage.matches[4..12].to_vec();
    let review = laid.review();
    assert!(review.judged);
    let reached = review.notes.iter().filter(|n| n.outcome == Outcome::Played);
    assert_eq!(reached.count(), 8);
    assert_eq!(review.notes[0].outcome, Outcome::NotReached);
    assert!(review.doubts.iter().any(|d| d.text.contains("bars 2–3")));
    assert_eq!(review.passages[0].from_bar, 2);
    assert_eq!(review.passages[0].to_bar, 3);
}

#[test]
fn a_drum_that_was_not_heard_is_named_where_it_left_notes_open() {
    let doubts = |open: &[usize]| {
        let mut laid = quarters();
        laid.alignment.unheard_drums = vec![1];
        for &note in open {
            laid.alignment.passages[0].matches[note].outcome = Outcome::Unsure;
        }
        let doubts = laid.review().doubts.into_iter();
        let of_drum: Vec<_> = doubts.filter(|d| d.kind == "drum-unheard").collect();
        of_drum
    };
    let named = doubts(&[3, 7]);
    assert_eq!(named.len(), 1);
    let pitch = quarters().part.notes[3].pitch;
    let drum = format!("heard on drum 1 ({})", pitch_name(pitch));
    assert!(named[0].text.contains(&drum), "{}", named[0].text);
    assert_eq!(named[0].limits, ["outcomes"]);
    assert!(doubts(&[]).is_empty());
}

#[test]
fn bars_that_sound_like_those_played_are_named() {
    let mut part = part(8, 100.0);
    for (bar, drum) in [(0, 1), (2, 2), (4, 1), (6, 2)] {
        run(&mut part, q(4 * bar, 1), q(1, 1), 8, drum);
    }
    let of_notes = |from: usize, to: usize| {
        let mut laid = Laid::new(part.clone(), 1.0);
        let passage = &mut laid.alignment.passages[0];
        passage.notes = (from, to);
        passage.matches = passage.matches[from..=to].to_vec();
        let doubts = laid.review().doubts;
        let text = doubts.into_iter().find(|d| d.kind == "place");
        text.map(|d| d.text)
    };
    assert!(of_notes(0, 7).unwrap().contains("in bars 5–6 too"));
    assert!(of_notes(4, 11).unwrap().contains("in bars 6–7 too"));
    // Some of one drum's notes stand in their own bars again, and in others.
    assert!(of_notes(0, 5).unwrap().contains("in bars 5–6 too"));
    // Only once, and whole.
    assert_eq!(of_notes(0, 23), None);
    assert_eq!(of_notes(0, 31), None);
}

#[test]
fn deviations_are_early_negative_and_carry_both_uncertainties() {
    let mut laid = quarters();
    laid.shift(3, -12.0);
    laid.alignment.passages[0].pulse.sd_s = 0.002;
    let note = &laid.review().notes[3];
    assert_eq!(note.deviation_ms, Some(-12.0));
    assert_eq!(note.deviation_sd_ms, Some(2.2));
}

#[test]
fn the_tempo_of_a_steady_take_is_the_marked_one_and_does_not_drift() {
    let review = quarters().review();
    assert_eq!(review.tempo.median_bpm, Some(100.0));
    assert_eq!(review.tempo.marked_bpm, Some(100.0));
    assert!(review.remarks.is_empty(), "{:?}", review.remarks);
}

#[test]
fn a_rushing_take_is_told_by_how_much() {
    let mut part = part(16, 100.0);
    run(&mut part, q(0, 1), q(1, 1), 64, 1);
    let mut laid = Laid::new(part, 1.0);
    // The beat shortens from 600 ms by 1 ms a beat: 10 % in all.
    let mut time = 1.0;
    let mut knots = Vec::new();
    for k in 0..=64u32 {
        knots.push((f64::from(k), time));
        if let Some(stroke) = laid.strokes.get_mut(k as usize) {
            stroke.time_s = time;
        }
        time += 0.6 - 0.001 * f64::from(k);
    }
    let passage = &mut laid.alignment.passages[0];
    passage.pulse.knots = knots;
    passage.to_s = laid.strokes[63].time_s;
    let review = laid.review();
    let remark = review.remarks.iter().find(|r| r.kind == "tempo").unwrap();
    assert!(
        remark.text.contains("the tempo rises by 1"),
        "{}",
        remark.text
    );
    assert!(review.tempo.drift_pct_per_min.unwrap() > 10.0);
}

#[test]
fn doubts_name_what_spoils_the_take_and_what_it_touches() {
    let mut laid = quarters();
    let take = &mut laid.heard.take;
    take.start_offset_known = false;
    take.fitness.clipped_share = 0.01;
    take.fitness.bass_cut_hz = Some(160.0);
    take.fitness.noise_floor_db = Some(-20.0);
    take.fitness.gaps = vec![(3.0, 3.5)];
    let review = laid.review();
    for (kind, limit) in [
        ("clipping", Some("dynamics")),
        ("bass-cut", Some("tuning")),
        ("noise", Some("outcomes")),
        ("gap", Some("evenness")),
        ("start-offset", None),
    ] {
        let doubt = review.doubts.iter().find(|d| d.kind == kind).expect(kind);
        if let Some(limit) = limit {
            assert!(doubt.limits.iter().any(|l| l == limit), "{kind}");
        }
    }
    assert!(review.dynamics.levels.is_empty());
}

/// 12 strokes a second, one of them not heard; the sound of the whole roll
/// told 11.6.
#[test]
fn a_missed_stroke_does_not_slow_a_roll() {
    let times: Vec<f64> = (0..20)
        .filter(|k| *k != 7)
        .map(|k| f64::from(k) / 12.0)
        .collect();
    let rate = rate_from_times(&times, 11.6).unwrap();
    assert!((rate.value - 12.0).abs() < 0.01);
    assert_eq!(rate_from_times(&times[..3], 11.6), None);
}

/// Strokes that lie between the places of a roll, or only every other of them,
/// do not tell how fast it was.
#[test]
fn strokes_that_fit_no_rate_tell_none() {
    let every_other: Vec<f64> = (0..10).map(|k| f64::from(k) / 6.0).collect();
    assert_eq!(rate_from_times(&every_other, 12.0), None);
    let between: Vec<f64> = (0..20)
        .map(|k| f64::from(k) / 12.0 + if k == 9 { 0.04 } else { 0.0 })
        .collect();
    assert_eq!(rate_from_times(&between, 12.0), None);
}

/// Rolls of players who are so uneven, in distances or in places, heard to so
/// many ms: hardly one in forty is told to be more uneven than he is by two
/// standard uncertainties, and nine in ten lie within two.
#[test]
fn the_uncertainty_of_a_roll_s_unevenness_is_true() {
    let mut draw = Draw::new(7, 1);
    for (strokes, off_ms, sd_ms) in [
        (9, 8.0, 2.0),
        (13, 12.0, 1.0),
        (13, 0.0, 3.0),
        (31, 3.0, 3.0),
    ] {
        for in_places in [false, true] {
            let (mut within, mut beyond) = (0, 0);
            for _ in 0..4000 {
                let mut at = 0.0;
                let times: Vec<f64> = (0..strokes)
                    .map(|_| {
                        at += 90.0;
                        let off = off_ms * draw.normal();
                        let place = at + off;
                        if !in_places {
                            at = place;
                        }
                        (place + sd_ms * draw.normal()) / 1000.0
                    })
                    .collect();
                let sds = vec![sd_ms / 1000.0; strokes];
                let found = unevenness_pct(&times, &sds, 0.09).unwrap();
                let distance_ms = off_ms * if in_places { 2f64.sqrt() } else { 1.0 };
                let above = found.value - 100.0 * distance_ms / 90.0;
                within += usize::from(above.abs() <= 2.0 * found.sd);
                beyond += usize::from(above > 2.0 * found.sd);
            }
            let case = format!("{strokes} strokes, {off_ms} ms, known to {sd_ms}, {in_places}");
            assert!(within >= 3600, "{case}: {within} of 4000");
            assert!(beyond <= 100, "{case}: {beyond} of 4000");
        }
    }
    assert_eq!(
        unevenness_pct(&[0.0, 0.1, 0.2, 0.3, 0.4], &[0.001; 5], 0.1),
        None
    );
}

#[test]
fn rounding_leaves_no_negative_zero() {
    assert!(round::to(-0.001, 1).is_sign_positive());
    assert!((round::to(12.345_67, 2) - 12.35).abs() < 1e-12);
}

#[test]
fn the_same_input_gives_the_same_bytes() {
    let laid = quarters();
    let text = |l: &Laid| serde_json::to_string(&l.review()).unwrap();
    assert_eq!(text(&laid), text(&laid));
    assert!(!text(&laid).contains("-0.0"));
}
