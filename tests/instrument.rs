//! The test instrument tells the truth about itself.

#[path = "instrument/codecs.rs"]
mod codecs;
#[path = "instrument/samples.rs"]
mod samples;
#[path = "instrument/scoring.rs"]
mod scoring;

use kettlemark_test_support::conditions::Kind;
use kettlemark_test_support::dsp;
use kettlemark_test_support::kit::Instrument;
use kettlemark_test_support::{recorded, takes};
use std::f64::consts::FRAC_1_SQRT_2;

fn instruments() -> Vec<Instrument> {
    if recorded::available() {
        vec![Instrument::Modal, Instrument::Recorded]
    } else {
        assert!(
            std::env::var_os("CI").is_none(),
            "fluid-soundfont-gm is not installed"
        );
        eprintln!("SKIPPED: recorded strokes: fluid-soundfont-gm is not installed");
        vec![Instrument::Modal]
    }
}

/// A sample is silent until its contact: 3.0-5.6 ms after its start, read off
/// the three waveforms by eye.
#[test]
fn recorded_contacts_lie_where_the_eye_finds_them() {
    let Some(found) = recorded::contacts_ms() else {
        assert!(
            std::env::var_os("CI").is_none(),
            "fluid-soundfont-gm is not installed"
        );
        eprintln!("SKIPPED: recorded strokes: fluid-soundfont-gm is not installed");
        return;
    };
    assert_eq!(found.len(), 3);
    for ms in &found {
        assert!((3.0..=5.6).contains(ms), "{found:?}");
    }
}

/// The same seed gives the same take, another seed another one.
#[test]
fn takes_depend_on_the_seed_alone() {
    for instrument in instruments() {
        let make = |seed| takes::make(Kind::Phone, instrument, seed);
        let (a, b, c) = (make(3), make(3), make(4));
        assert_eq!(a.truth, b.truth);
        assert_eq!(a.samples, b.samples);
        assert_ne!(a.truth, c.truth);
    }
}

/// Every clean stroke that stands alone is where the truth says: energy rises
/// there, not before.
#[test]
fn strokes_begin_at_their_contact() {
    for instrument in instruments() {
        let mut seen = 0;
        for seed in 0..3 {
            let take = takes::make(Kind::Clean, instrument, seed);
            let rate = f64::from(take.rate_hz);
            let mut high = take.samples.clone();
            for _ in 0..2 {
                dsp::Biquad::high_pass(1500.0, FRAC_1_SQRT_2, rate).run(&mut high);
            }
            for stroke in take.truth.strokes.iter().filter(|s| s.stand_out_db > 25.0) {
                let at = (stroke.time_s * rate) as usize;
                let span = |from: f64, to: f64| -> f64 {
                    let from = (at as f64 + from * rate) as usize;
                    let to = (at as f64 + to * rate) as usize;
                    high[from..to]
                        .iter()
                        .map(|&v| f64::from(v).powi(2))
                        .sum::<f64>()
                        / (to - from) as f64
                };
                let before = span(-0.008, -0.001);
                let after = span(0.0, 0.012);
                assert!(after > 2.0 * before, "{instrument:?} {seed} {stroke:?}");
                seen += 1;
            }
        }
        assert!(seen > 20, "{instrument:?}: only {seen} strokes stand alone");
    }
}

/// The principal tone of a lone modal stroke lies where the truth says.
#[test]
fn drums_are_tuned_as_told() {
    for instrument in instruments() {
        let take = takes::make(Kind::Clean, instrument, 5);
        let rate = f64::from(take.rate_hz);
        let (mut errors, truth) = (Vec::new(), &take.truth);
        for pair in truth
            .strokes
            .windows(2)
            .filter(|p| p[1].time_s - p[0].time_s > 0.6)
        {
            let from = ((pair[0].time_s + 0.15) * rate) as usize;
            let to = from + (0.45 * rate) as usize;
            let hz = truth.settings[pair[0].setting].hz;
            let found = dsp::peak_hz(&take.samples[from..to], rate, hz, 60.0);
            errors.push(kettlemark::pitch::cents(found, hz).abs());
        }
        errors.sort_by(f64::total_cmp);
        assert!(
            errors.len() > 3,
            "{instrument:?}: {} lone strokes",
            errors.len()
        );
        assert!(
            errors[errors.len() / 2] < 10.0,
            "{instrument:?}: {errors:?}"
        );
    }
}
