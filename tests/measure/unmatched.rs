//! Takes of which nothing is matched.

use kettlemark::align::align;
use kettlemark::listen::{self, Heard};
use kettlemark::settings::Settings;
use kettlemark_test_support::conditions::Kind;
use kettlemark_test_support::kit::Instrument;
use kettlemark_test_support::takes::{self, MadeTake};

fn heard(take: &MadeTake) -> Heard {
    let recording = take.recording();
    listen::listen(recording).unwrap()
}

/// A second listening has nothing to go by then, and must not silence what the
/// first one heard: the strokes of a take of another piece are still told.
#[test]
fn where_nothing_was_matched_strokes_stay_as_likely_as_they_were() {
    let take = takes::make(Kind::Clean, Instrument::Modal, 3);
    let first = heard(&take);
    let settings = Settings::default();
    let nothing = align(&take.part, &[], None, &settings);
    assert!(nothing.passages.is_empty());
    let again = listen::again(&first, &take.part, &nothing, settings.a4_hz);
    assert!(first.candidates.len() > 50);
    for (before, after) in first.candidates.iter().zip(&again.candidates) {
        assert!((before.log_odds - after.log_odds).abs() < 1e-12);
    }
}
