//! Figures: which they are, how uneven, and when nothing is said.

use crate::laid::{Laid, note, part, q, run};
use kettlemark::measure::figures::{evenness, noticeable_ms};
use kettlemark::measure::grouping;
use kettlemark::part::Hand;
use kettlemark::settings::Settings;
use kettlemark_test_support::draw::Draw;

fn near(value: Option<f64>, wanted: f64, by: f64) {
    let found = value.expect("a figure was measured");
    assert!((found - wanted).abs() <= by, "{found} is not {wanted}");
}

/// Four bars of triplets at 100 a minute: 200 ms between strokes.
fn triplets(sd_ms: f64) -> Laid {
    let mut part = part(4, 100.0);
    run(&mut part, q(0, 1), q(1, 3), 48, 1);
    Laid::new(part, sd_ms)
}

/// Friberg & Sundberg 1995 at the tempi of triplets: 6 ms below 240 ms, 2.5 %
/// of the interval above.
#[test]
fn the_noticeable_difference_is_that_of_the_paper() {
    let settings = Settings::default();
    for (bpm, ms) in [
        (60.0, 8.333),
        (80.0, 6.25),
        (100.0, 6.0),
        (120.0, 6.0),
        (144.0, 6.0),
    ] {
        let interval = 60_000.0 / bpm / 3.0;
        assert!(
            (noticeable_ms(interval, &settings) - ms).abs() < 1e-3,
            "{bpm}"
        );
    }
}

#[test]
fn equal_strokes_are_even_and_clean() {
    let review = triplets(0.5).review();
    assert_eq!(review.figures.len(), 16);
    for figure in &review.figures {
        assert_eq!(figure.kind, "triplet-eighths");
        assert_eq!(figure.clean, Some(true));
        near(figure.unevenness_ms, 0.0, 0.05);
        near(figure.interval_ms, 200.0, 0.05);
    }
    // The last triplet has nothing to close it.
    assert_eq!(review.figures[0].shares.len(), 3);
    assert_eq!(review.figures[15].shares.len(), 2);
}

/// Intervals 182, 218, 200: the root mean square of -18, 18, 0 is
/// 18 √(2/3) = 14.697 ms, 7.348 % of 200; the shares are .91/3, 1.09/3, 1/3.
#[test]
fn one_early_stroke_gives_the_unevenness_of_the_definition() {
    let mut laid = triplets(0.0);
    laid.shift(1, -18.0);
    let review = laid.review();
    let figure = &review.figures[0];
    near(figure.unevenness_ms, 14.697, 0.05);
    near(figure.unevenness_pct, 7.348, 0.05);
    assert_eq!(figure.clean, Some(false));
    let wanted = [0.3033, 0.3633, 0.3333];
    for (share, wanted) in figure.shares.iter().zip(wanted) {
        assert!((share - wanted).abs() < 1e-4);
    }
}

/// The limit is 12 ms. 11 ms off with times known to 2 ms may be either.
#[test]
fn no_verdict_where_the_uncertainty_straddles_the_limit() {
    for (ms, sd_ms, verdict) in [
        (11.0, 2.0, None),
        (14.0, 2.0, None),
        (5.0, 2.0, Some(true)),
        (25.0, 2.0, Some(false)),
        (25.0, 8.0, None),
    ] {
        let mut laid = triplets(sd_ms);
        laid.shift(1, ms);
        let figure = &laid.review().figures[0];
        assert_eq!(figure.clean, verdict, "{ms} ms, known to {sd_ms}");
    }
}

/// Times drawn with errors of a known size: the true unevenness lies within
/// two standard uncertainties in at least 93 of 100 figures, for even and for
/// uneven ones.
#[test]
fn the_uncertainty_of_unevenness_is_true() {
    let settings = Settings::default();
    let mut draw = Draw::new(5, 1);
    for (off_ms, sd_ms) in [(0.0, 2.0), (8.0, 2.0), (20.0, 3.0), (30.0, 1.0)] {
        let mut within = 0;
        for _ in 0..4000 {
            let mut times = [0.0, 200.0 + off_ms, 400.0, 600.0];
            for time in &mut times {
                *time = (*time + sd_ms * draw.normal()) / 1000.0;
            }
            let found = evenness(&times, &[sd_ms / 1000.0; 4], &settings).unwrap();
            let truth = off_ms * (2.0f64 / 3.0).sqrt();
            let away = (found.unevenness_ms - truth).abs();
            within += usize::from(away <= 2.0 * found.unevenness_sd_ms);
        }
        let share = within as f64 / 4000.0;
        assert!(share >= 0.93, "{off_ms} ms, known to {sd_ms}: {share}");
    }
}

/// An even player whose strokes are known to 3 ms: hardly anybody is told that
/// he is not.
#[test]
fn timing_errors_of_ours_do_not_become_faults_of_the_player() {
    let settings = Settings::default();
    let mut draw = Draw::new(6, 1);
    let wrong = (0..4000)
        .filter(|_| {
            let times: Vec<f64> = (0..5)
                .map(|k| 0.2 * f64::from(k) + 0.003 * draw.normal())
                .collect();
            let found = evenness(&times, &[0.003; 5], &settings).unwrap();
            found.clean == Some(false)
        })
        .count();
    assert!(wrong <= 8, "{wrong} of 4000");
}

#[test]
fn a_missing_stroke_leaves_the_figure_unmeasured_and_its_neighbours_alone() {
    let mut laid = triplets(0.5);
    laid.miss(4);
    let review = laid.review();
    assert!(review.figures[1].shares.is_empty());
    assert_eq!(review.figures[1].unevenness_ms, None);
    assert_eq!(review.figures[1].clean, None);
    assert_eq!(review.figures[0].clean, Some(true));
    assert_eq!(review.figures[2].clean, Some(true));
}

#[test]
fn a_missing_closing_stroke_leaves_only_its_interval_out() {
    let mut laid = triplets(0.5);
    laid.miss(3);
    let review = laid.review();
    assert_eq!(review.figures[0].shares.len(), 2);
    assert_eq!(review.figures[0].clean, Some(true));
}

#[test]
fn a_free_tempo_is_no_unevenness() {
    let mut laid = triplets(0.5);
    laid.part.fermatas.push(q(2, 3));
    laid.shift(3, 300.0);
    let review = laid.review();
    assert_eq!(review.figures[0].unevenness_ms, None);
    assert_eq!(review.figures[0].clean, None);
}

#[test]
fn kinds_are_told_by_their_values() {
    let mut part = part(6, 60.0);
    run(&mut part, q(0, 1), q(1, 2), 8, 1);
    run(&mut part, q(4, 1), q(1, 4), 16, 1);
    run(&mut part, q(8, 1), q(1, 6), 24, 1);
    run(&mut part, q(12, 1), q(1, 5), 20, 1);
    run(&mut part, q(16, 1), q(2, 3), 6, 1);
    let figures = grouping::figures(&part);
    let count = |kind: &str| figures.iter().filter(|f| f.kind == kind).count();
    assert_eq!(count("eighths"), 4);
    assert_eq!(count("sixteenths"), 4);
    assert_eq!(count("sextuplet-sixteenths"), 4);
    assert_eq!(count("quintuplet-sixteenths"), 4);
    assert_eq!(count("triplet-quarters"), 2);
    assert_eq!(figures.len(), 18);
}

/// An eighth and two sixteenths are no group of equal values.
#[test]
fn unequal_values_are_no_figure() {
    let mut part = part(2, 60.0);
    for beat in 0..4 {
        note(&mut part, q(beat, 1), q(1, 2), 1);
        note(&mut part, q(2 * beat + 1, 2), q(1, 4), 1);
        note(&mut part, q(4 * beat + 3, 4), q(1, 4), 1);
    }
    assert_eq!(grouping::figures(&part), vec![]);
}

#[test]
fn a_compound_beat_holds_three_eighths() {
    let mut part = part(2, 60.0);
    for bar in &mut part.bars {
        bar.meter = (6, 8);
        bar.length = q(3, 1);
    }
    part.bars[1].at = q(3, 1);
    run(&mut part, q(0, 1), q(1, 2), 12, 1);
    let figures = grouping::figures(&part);
    assert_eq!(figures.len(), 4);
    assert!(
        figures
            .iter()
            .all(|f| f.kind == "eighths" && f.strokes.len() == 3)
    );
}

/// A chord is one stroke of a figure but each of its notes is named.
#[test]
fn a_chord_counts_once_in_time_and_twice_in_notes() {
    let mut part = part(1, 100.0);
    for k in 0..3 {
        note(&mut part, q(k, 3), q(1, 3), 1);
        note(&mut part, q(k, 3), q(1, 3), 2);
    }
    let review = Laid::new(part, 0.5).review();
    assert_eq!(review.figures.len(), 1);
    assert_eq!(review.figures[0].notes, vec![0, 1, 2, 3, 4, 5]);
    assert_eq!(review.figures[0].shares.len(), 2);
}

#[test]
fn a_usual_shape_is_named_with_bars_size_and_count() {
    let mut laid = triplets(1.0);
    for figure in 0..16 {
        laid.shift(3 * figure + 1, if figure == 5 { 2.0 } else { -18.0 });
    }
    let review = laid.review();
    let kind = &review.figure_kinds[0];
    near(kind.usual_shape_ms.first().copied(), -18.0, 0.1);
    assert_eq!(kind.usual_shape_count[0], 14);
    assert_eq!(kind.usual_shape_figures, Some(15));
    let remark = &review.remarks[0];
    assert_eq!(
        remark.text,
        "In bars 1–4 the middle note of the triplets comes 18.0 ± 0.3 ms early (14 of 15 times); \
         an ear notices about 6 ms."
    );
    assert_eq!(remark.bars, vec![1, 2, 3, 4]);
    assert!(remark.from_s < 1.0 && remark.to_s > remark.from_s);
    assert!(!remark.practise.is_empty());
}

/// A bar in which every figure leans to the other side is not named.
#[test]
fn only_bars_in_which_it_was_so_are_named() {
    let mut laid = triplets(1.0);
    for figure in 0..16 {
        let even = (4..8).contains(&figure);
        laid.shift(3 * figure + 1, if even { 0.5 } else { -18.0 });
    }
    let remark = &laid.review().remarks[0];
    assert_eq!(remark.bars, vec![1, 3, 4], "{}", remark.text);
}

#[test]
fn an_even_player_gets_no_remark() {
    let mut laid = triplets(1.5);
    let mut draw = Draw::new(9, 1);
    for note in 0..48 {
        laid.shift(note, 3.0 * draw.normal());
    }
    assert_eq!(laid.review().remarks, vec![]);
}

#[test]
fn hands_are_told_apart_where_stickings_are_written() {
    let mut laid = triplets(0.5);
    for note in 0..48 {
        let left = note % 2 == 1;
        laid.part.notes[note].hand = Some(if left { Hand::Left } else { Hand::Right });
        if left {
            laid.shift(note, 9.0);
        }
    }
    let review = laid.review();
    let kind = &review.figure_kinds[0];
    near(kind.right_ms, 0.0, 0.1);
    near(kind.left_ms, 9.0, 0.1);
    assert!(review.remarks.iter().any(|r| r.kind == "hands"));
}

/// The same hands, but so unsteady that the difference may be chance.
#[test]
fn hands_are_not_remarked_on_within_their_uncertainty() {
    let mut laid = triplets(0.5);
    let mut draw = Draw::new(5, 1);
    for note in 0..48 {
        let left = note % 2 == 1;
        laid.part.notes[note].hand = Some(if left { Hand::Left } else { Hand::Right });
        let leans_ms = if left { 9.0 } else { 0.0 };
        laid.shift(note, leans_ms + 15.0 * draw.normal());
    }
    let review = laid.review();
    let kind = &review.figure_kinds[0];
    let apart_ms = kind.left_ms.unwrap() - kind.right_ms.unwrap();
    assert!(apart_ms > 7.0, "{apart_ms}");
    assert!(review.remarks.iter().all(|r| r.kind != "hands"));
}
