//! A take keeps its times on the way through a codec.

use kettlemark_test_support::codec::{self, Codec};
use kettlemark_test_support::conditions::Kind;
use kettlemark_test_support::kit::Instrument;
use kettlemark_test_support::{outside, takes};

/// The shift at which two signals agree best, samples, within `reach`.
fn lag(a: &[f32], b: &[f32], reach: i64) -> i64 {
    let product = |shift: i64| -> f64 {
        let from = reach as usize..a.len() - reach as usize;
        from.map(|i| f64::from(a[i]) * f64::from(b[(i as i64 + shift) as usize]))
            .sum()
    };
    (-reach..=reach)
        .max_by(|&x, &y| product(x).total_cmp(&product(y)))
        .expect("the range is not empty")
}

#[test]
fn codecs_keep_the_times() {
    if outside::tool("ffmpeg").is_none() {
        return;
    }
    let take = takes::make(Kind::Phone, Instrument::Modal, 1);
    let part = &take.samples[..(8 * take.rate_hz) as usize];
    for kind in Codec::ALL {
        let back = codec::through(kind, part, take.rate_hz).unwrap();
        // The rate of 32 kHz is doubled on the way into Opus and back.
        let found = lag(part, &back, 200);
        assert!(found.abs() <= 2, "{kind:?}: {found} samples late");
    }
}
