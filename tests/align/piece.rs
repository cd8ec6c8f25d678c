//! Is the take of this part? Right and wrong pairs.

use crate::pairs::{Pair, pair};
use kettlemark::align::align;
use kettlemark::settings::Settings;
use kettlemark_test_support::takes::FIRST_JUDGING_SEED;

/// Fewer pairs than `cargo bench --bench pieces`, which fits the weights to
/// tuning seeds and tells how they do on judging seeds.
#[test]
fn wrong_pieces_are_told_from_right_ones() {
    let (mut wrong, mut tried) = (Vec::new(), 0);
    // Sum of what was told, right ones, pairs; by thirds of probability.
    let mut told = [(0.0, 0usize, 0usize); 3];
    for seed in FIRST_JUDGING_SEED..FIRST_JUDGING_SEED + 30 {
        for kind in Pair::ALL {
            let (part, take) = pair(kind, seed);
            let evidence = Some(&take.evidence);
            let found = align(&part, &take.candidates, evidence, &Settings::default());
            tried += 1;
            if (found.same_piece > 0.5) != kind.is_right() {
                wrong.push((seed, kind, found.same_piece));
            }
            let third = &mut told[(found.same_piece * 3.0).min(2.0) as usize];
            *third = (
                third.0 + found.same_piece,
                third.1 + usize::from(kind.is_right()),
                third.2 + 1,
            );
        }
    }
    println!("{} of {tried} wrong: {wrong:?}; {told:?}", wrong.len());
    // Where it stands, so that it gets no worse; the aim is none.
    assert!(25 * wrong.len() <= tried, "{wrong:?}");
    for (sum, right, pairs) in told {
        // Three standard deviations of a count around what was told.
        let n = pairs as f64;
        let spread = (sum * (1.0 - sum / n.max(1.0))).max(1.0).sqrt();
        assert!((right as f64 - sum).abs() <= 3.0 * spread, "{told:?}");
    }
}
