//! Dynamics and tuning: exact on levels and tones laid down by hand.

use crate::laid::{Laid, mark, part, pitch, q, run};
use kettlemark::measure::intonation::verdict;
use kettlemark::part::{Dynamic, Hairpin, HairpinKind, Retuning};
use kettlemark::review::TuneVerdict;
use kettlemark::settings::Settings;
use kettlemark::stats::Estimate;

/// Two bars p, two bars f, quarters on drums 1 and 2 in turn; the second drum
/// is 6 dB nearer to the microphone.
fn soft_and_loud(p_db: f64, f_db: f64) -> Laid {
    let mut part = part(4, 100.0);
    mark(&mut part, q(0, 1), Dynamic::P);
    mark(&mut part, q(8, 1), Dynamic::F);
    for k in 0..16 {
        run(&mut part, q(k, 1), q(1, 1), 1, 1 + (k % 2) as u8);
    }
    let mut laid = Laid::new(part, 1.0);
    for (i, stroke) in laid.strokes.iter_mut().enumerate() {
        let tilt = if i % 2 == 1 { 6.0 } else { 0.0 };
        stroke.level_db = tilt + if i < 8 { p_db } else { f_db };
    }
    laid
}

#[test]
fn drums_at_other_distances_do_not_hide_the_dynamics() {
    let mut laid = soft_and_loud(-20.0, -10.0);
    // Only the loud drum in the soft bars would look as loud as the loud ones.
    for i in [0, 2, 4, 6] {
        laid.miss(i);
    }
    let dynamics = laid.review().dynamics;
    let levels: Vec<f64> = dynamics.levels.iter().filter_map(|l| l.level_db).collect();
    assert_eq!(levels.len(), 2);
    assert!((levels[1] - levels[0] - 10.0).abs() < 0.3, "{levels:?}");
    assert_eq!(dynamics.order_breaks, vec![]);
}

#[test]
fn marks_in_the_wrong_order_are_told_with_their_size() {
    let dynamics = soft_and_loud(-10.0, -13.0).review().dynamics;
    assert_eq!(dynamics.order_breaks.len(), 1);
    let order = &dynamics.order_breaks[0];
    assert_eq!(
        (order.softer_mark.as_str(), order.louder_mark.as_str()),
        ("p", "f")
    );
    assert!((order.excess_db - 3.0).abs() < 0.2);
    // A monotone fit gives both marks one level.
    assert_eq!(dynamics.levels[0].fitted_db, dynamics.levels[1].fitted_db);
}

#[test]
fn a_difference_no_ear_notices_breaks_no_order() {
    let dynamics = soft_and_loud(-10.0, -10.6).review().dynamics;
    assert_eq!(dynamics.order_breaks, vec![]);
}

#[test]
fn a_recorder_that_steers_its_level_says_nothing_of_dynamics() {
    let mut laid = soft_and_loud(-10.0, -13.0);
    laid.heard.take.fitness.gain_control = Some(true);
    let review = laid.review();
    assert!(review.dynamics.levels.is_empty() && review.dynamics.order_breaks.is_empty());
    assert!(review.doubts.iter().any(|d| d.kind == "gain-control"));
    assert!(review.remarks.iter().all(|r| r.kind != "dynamics"));
}

#[test]
fn an_accent_is_measured_against_its_neighbours() {
    let mut laid = soft_and_loud(-20.0, -10.0);
    laid.part.notes[10].accent = true;
    laid.strokes[10].level_db += 4.0;
    let accents = laid.review().dynamics.accents;
    assert_eq!(accents.len(), 1);
    let contrast = accents[0].contrast_db.unwrap();
    assert!((contrast - 4.0).abs() < 0.3, "{contrast}");
}

#[test]
fn a_crescendo_is_the_change_from_its_start_to_its_end() {
    let mut part = part(4, 100.0);
    run(&mut part, q(0, 1), q(1, 1), 16, 1);
    part.hairpins.push(Hairpin {
        from: q(0, 1),
        to: q(8, 1),
        kind: HairpinKind::Crescendo,
    });
    let mut laid = Laid::new(part, 1.0);
    for (i, stroke) in laid.strokes.iter_mut().enumerate() {
        stroke.level_db = -20.0 + i.min(8) as f64;
    }
    let review = laid.review();
    let hairpin = &review.dynamics.hairpins[0];
    assert!((hairpin.change_db.unwrap() - 8.0).abs() < 0.1);
    assert!(hairpin.steadiness.unwrap() > 0.999);
    assert!(review.remarks.iter().all(|r| r.kind != "hairpin"));
}

#[test]
fn a_hairpin_with_too_few_strokes_is_unknown_and_said_to_be() {
    let mut part = part(4, 100.0);
    run(&mut part, q(0, 1), q(4, 1), 4, 1);
    part.hairpins.push(Hairpin {
        from: q(0, 1),
        to: q(4, 1),
        kind: HairpinKind::Crescendo,
    });
    let review = Laid::new(part, 1.0).review();
    assert_eq!(review.dynamics.hairpins[0].change_db, None);
    assert!(
        review
            .doubts
            .iter()
            .any(|d| d.text.starts_with("Hairpins: 1 of 1"))
    );
}

/// Bands of 10 and 25 cents.
#[test]
fn tuning_verdicts_wait_until_the_uncertainty_clears_the_limit() {
    let settings = Settings::default();
    for (value, sd, wanted) in [
        (3.0, 2.0, Some(TuneVerdict::InTune)),
        (-9.0, 2.0, None),
        (12.0, 2.0, None),
        (-17.0, 2.0, Some(TuneVerdict::Noticeable)),
        // Surely beyond the first band, not surely beyond the second.
        (26.0, 2.0, Some(TuneVerdict::Noticeable)),
        (-21.0, 4.0, Some(TuneVerdict::Noticeable)),
        (-40.0, 3.0, Some(TuneVerdict::Off)),
        (40.0, 20.0, None),
    ] {
        assert_eq!(
            verdict(Estimate { value, sd }, &settings),
            wanted,
            "{value} ± {sd}"
        );
    }
}

#[test]
fn settings_are_pooled_apart_and_the_intervals_told() {
    let mut part = part(4, 100.0);
    part.retunings.push(Retuning {
        bar: 2,
        drum: 1,
        from: pitch("F2"),
        to: pitch("G2"),
    });
    for k in 0..16 {
        run(&mut part, q(k, 1), q(1, 1), 1, 1 + (k % 2) as u8);
    }
    for note in part.notes.iter_mut().filter(|n| n.bar >= 2 && n.drum == 1) {
        note.pitch = pitch("G2");
    }
    let mut laid = Laid::new(part, 1.0);
    for stroke in &mut laid.strokes {
        let cents = [-20.0, 40.0, -8.0][stroke.setting.unwrap()];
        let tone = stroke.tone.as_mut().unwrap();
        tone.cents = cents;
    }
    let review = laid.review();
    let told: Vec<(String, Option<f64>, i32, i32)> = review
        .drums
        .iter()
        .flat_map(|d| &d.settings)
        .map(|s| (s.pitch.to_string(), s.cents, s.from_bar, s.to_bar))
        .collect();
    assert_eq!(
        told,
        vec![
            ("F2".to_owned(), Some(-20.0), 1, 2),
            ("G2".to_owned(), Some(40.0), 3, 4),
            ("Bb2".to_owned(), Some(-8.0), 1, 4),
        ]
    );
    let intervals: Vec<f64> = review.intervals.iter().map(|i| i.cents).collect();
    assert_eq!(intervals, vec![12.0, -48.0]);
    let g2 = &review.drums[0].settings[1];
    assert_eq!(g2.verdict, Some(TuneVerdict::Off));
    let remark = review.remarks.iter().find(|r| r.kind == "tuning").unwrap();
    assert!(
        remark
            .text
            .starts_with("Drum 1 on G2 (bars 3–4) sounds 40 ± "),
        "{}",
        remark.text
    );
    assert!(
        remark
            .text
            .ends_with("cents sharp; up to 10 cents count as in tune."),
        "{}",
        remark.text
    );
    assert_eq!(remark.bars, vec![3, 4]);
}

/// A drum tuned before the start is not in the figure of the run.
#[test]
fn strokes_of_no_note_say_nothing_of_the_tuning() {
    let mut laid = soft_and_loud(-20.0, -10.0);
    let mut check = laid.strokes[0].clone();
    check.candidate = laid.heard.candidates.len();
    check.note = None;
    check.time_s = 0.2;
    check.tone.as_mut().unwrap().cents = 45.0;
    laid.heard.candidates.push(laid.heard.candidates[0]);
    laid.strokes.insert(0, check);
    let review = laid.review();
    assert_eq!(review.drums[0].settings[0].cents, Some(0.0));
    assert_eq!(review.drums[0].settings[0].strokes, 8);
}
