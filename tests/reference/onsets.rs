//! Onset scores against `mir_eval` 0.8 (`mir_eval.onset.f_measure`).

use kettlemark_test_support::{onsets, outside};
use proptest::strategy::{Strategy, ValueTree};
use proptest::test_runner::{Config, RngSeed, TestRunner};
use serde_json::json;

/// Random lists of up to 60 onsets within 2 s: crowded enough that many have
/// several partners within the window. The seed is fixed.
fn random_lists(count: usize) -> Vec<(Vec<f64>, Vec<f64>)> {
    let mut runner = TestRunner::new(Config {
        rng_seed: RngSeed::Fixed(20_261_125),
        ..Config::default()
    });
    let list = proptest::collection::vec(0.0..2.0f64, 0..60).prop_map(|mut times| {
        times.sort_by(f64::total_cmp);
        times
    });
    let both = (list.clone(), list);
    (0..count)
        .map(|_| both.new_tree(&mut runner).unwrap().current())
        .collect()
}

#[test]
fn scores_are_those_of_mir_eval_on_random_lists() {
    let lists = random_lists(400);
    let windows_s = [0.05, 0.025, 0.01];
    let input = json!({ "lists": lists, "windows_s": windows_s });
    let Some(theirs) = outside::python_json("onset_scores.py", &input) else {
        return;
    };
    let theirs: Vec<Vec<[f64; 3]>> = serde_json::from_value(theirs).unwrap();
    assert_eq!(theirs.len(), lists.len());
    let mut with_pairs = 0;
    for ((truth, heard), rows) in lists.iter().zip(&theirs) {
        for (window_s, &[f, precision, recall]) in windows_s.iter().zip(rows) {
            let ours = onsets::score(truth, heard, *window_s);
            assert!(
                (ours.precision - precision).abs() < 1e-12,
                "{truth:?} {heard:?}"
            );
            assert!((ours.recall - recall).abs() < 1e-12, "{truth:?} {heard:?}");
            assert!((ours.f - f).abs() < 1e-12, "{truth:?} {heard:?}");
            with_pairs += usize::from(f > 0.0);
        }
    }
    assert!(with_pairs > 1000, "the lists hardly agree: {with_pairs}");
}
