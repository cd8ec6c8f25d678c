//! What a review says of clean takes on recorded strokes, against the truth of
//! takes that were never used to tune anything.
//!
//! Bars that are not reached yet (share of strokes heard, notes with the right
//! outcome) stand in the table of `cargo bench --bench accuracy` and in
//! `DEVELOPERS.md`; here are those that must not be lost again.

// A failed unwrap is a failed test.
#![allow(clippy::unwrap_used)]

use kettlemark::settings::Settings;
use kettlemark::take::Recording;
use kettlemark_test_support::conditions::Kind;
use kettlemark_test_support::kit::Instrument;
use kettlemark_test_support::score::Tally;
use kettlemark_test_support::{recorded, takes};
use rayon::prelude::*;

/// Beyond every seed that the benches have looked at.
const SEEDS: std::ops::Range<u64> =
    takes::FIRST_JUDGING_SEED + 5000..takes::FIRST_JUDGING_SEED + 5010;

/// Median of absolute values; there are always some.
fn median(values: impl Iterator<Item = f64>) -> f64 {
    let mut values: Vec<f64> = values.map(f64::abs).collect();
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

#[test]
fn clean_takes_on_recorded_strokes_are_measured_within_their_bars() {
    if !recorded::available() {
        assert!(
            std::env::var_os("CI").is_none(),
            "fluid-soundfont-gm is not installed"
        );
        eprintln!("SKIPPED: accuracy: fluid-soundfont-gm is not installed");
        return;
    }
    let settings = Settings::default();
    let tallies: Vec<Tally> = SEEDS
        .into_par_iter()
        .map(|seed| {
            let take = takes::make_coded(Kind::Clean, Instrument::Recorded, seed);
            let recording = Recording::from_samples(take.samples.clone(), take.rate_hz);
            let heard = kettlemark::listen::listen(recording).unwrap();
            let review = kettlemark::pipeline::review(&heard, &take.part, &settings);
            let mut tally = Tally::default();
            tally.add(&seed.to_string(), &take, &heard, &review);
            tally
        })
        .collect();
    let mut tally = Tally::default();
    for one in tallies {
        tally.merge(one);
    }
    assert!(tally.times.len() > 500, "{} strokes", tally.times.len());
    let p95_ms = 1e3 * tally.time_error_s(0.95).unwrap();
    assert!(p95_ms <= 4.0, "95 % of attack times within {p95_ms:.2} ms");
    let triplet_ms = 1e3 * median(tally.triplets.iter().copied());
    assert!(
        triplet_ms <= 1.0,
        "triplet intervals {triplet_ms:.2} ms off"
    );
    let cents = median(tally.tuning.iter().map(|t| t.0));
    assert!(cents <= 2.5, "settings {cents:.2} cents off");
    let stop_ms = 1e3 * median(tally.stops.iter().copied());
    assert!(stop_ms <= 20.0, "stops {stop_ms:.1} ms off");
}
