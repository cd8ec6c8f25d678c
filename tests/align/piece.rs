//! Is the take of this part? Right and wrong pairs.

use crate::pairs::{Pair, pair};
use crate::short::{self, FEW, Short};
use kettlemark::align::{Outcome, align};
use kettlemark::measure::refusal::{MOST_ELSEWHERE, is_of_part};
use kettlemark::settings::Settings;
use kettlemark_test_support::takes::FIRST_JUDGING_SEED;
use kettlemark_test_support::truth::Fate;

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

/// Fewer cases than `cargo bench --bench pieces -- --short`.
#[test]
fn few_strokes_are_taken_where_they_can_be_told_and_no_others() {
    // Taken and tried: right ones of up to six strokes, of more, wrong ones.
    let mut tally = [(0, 0); 3];
    let (mut astray, mut accused, mut played) = (0, 0, 0);
    for seed in FIRST_JUDGING_SEED + 400..FIRST_JUDGING_SEED + 540 {
        let strokes = FEW.start() + (seed % 7) as usize;
        for kind in Short::ALL {
            let Some(case) = short::case(kind, strokes, seed) else {
                continue;
            };
            let (performance, take) = short::take(&case, kind.is_right(), seed);
            let evidence = Some(&take.evidence);
            let found = align(
                &case.expected,
                &take.candidates,
                evidence,
                &Settings::default(),
            );
            let taken = is_of_part(&found) && found.elsewhere < MOST_ELSEWHERE;
            let place = match (kind.is_right(), strokes) {
                (true, ..=6) => 0,
                (true, _) => 1,
                _ => 2,
            };
            tally[place].0 += usize::from(taken);
            tally[place].1 += 1;
            if !(taken && kind.is_right()) {
                continue;
            }
            astray += usize::from(!short::in_place(&case, &found));
            if kind == Short::Whole {
                let passage = &found.passages[found.counted.unwrap_or(0)];
                for (note, told) in (passage.notes.0..).zip(&passage.matches) {
                    if performance.fates[note] == Fate::Played {
                        played += 1;
                        let wrongly = matches!(told.outcome, Outcome::Missed | Outcome::OtherDrum);
                        accused += usize::from(wrongly);
                    }
                }
            }
        }
    }
    println!("{tally:?}; {astray} astray; {accused} of {played} accused");
    let [(few, of_few), (more, of_more), (wrong, of_wrong)] = tally;
    assert!(6 * few >= of_few && 5 * more >= 2 * of_more, "{tally:?}");
    assert!(100 * wrong <= of_wrong, "{tally:?}");
    assert!(20 * astray <= few + more, "{astray} astray");
    assert!(100 * accused <= played, "{accused} of {played}");
}
