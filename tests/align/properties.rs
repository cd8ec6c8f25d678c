//! What must hold whatever is played.

use crate::simulated::{self, CLEAN};
use kettlemark::align::{Alignment, align};
use kettlemark::listen::Candidate;
use kettlemark::part::Part;
use kettlemark::settings::Settings;
use kettlemark_test_support::draw::Draw;
use kettlemark_test_support::parts::{self, Wish};
use kettlemark_test_support::player::{self, Player};

fn example(seed: u64, seconds: f64) -> (Part, Vec<Candidate>) {
    let wish = Wish {
        seconds,
        soft_after_loud: false,
    };
    let part = parts::generate(&mut Draw::new(seed, 1), wish);
    let player = Player::draw(&mut Draw::new(seed, 2));
    let performance = player::play(&part, &player, &mut Draw::new(seed, 3), false);
    let take = simulated::hear_all(&part, &performance, CLEAN, &mut Draw::new(seed, 4));
    (part, take.candidates)
}

fn told(found: &Alignment) -> Vec<(usize, usize, Vec<kettlemark::align::Outcome>)> {
    let passage = |p: &kettlemark::align::Passage| {
        let outcomes = p.matches.iter().map(|m| m.outcome).collect();
        (p.notes.0, p.notes.1, outcomes)
    };
    found.passages.iter().map(passage).collect()
}

#[test]
fn a_later_start_changes_no_verdict() {
    let settings = Settings::default();
    for seed in 0..10 {
        let (part, mut candidates) = example(seed, 20.0);
        let before = align(&part, &candidates, None, &settings);
        for candidate in &mut candidates {
            candidate.time_s += 64.0;
        }
        let after = align(&part, &candidates, None, &settings);
        assert_eq!(told(&before), told(&after), "seed {seed}");
    }
}

#[test]
fn the_order_of_candidates_does_not_matter() {
    let settings = Settings::default();
    let (part, mut candidates) = example(3, 20.0);
    let before = align(&part, &candidates, None, &settings);
    candidates.reverse();
    let after = align(&part, &candidates, None, &settings);
    assert_eq!(told(&before), told(&after));
}

#[test]
fn nothing_in_gives_nothing_out() {
    let settings = Settings::default();
    let (part, candidates) = example(1, 20.0);
    let silent = align(&part, &[], None, &settings);
    assert!(silent.passages.is_empty() && silent.counted.is_none());
    assert!(silent.same_piece < 0.01);
    let unwritten = align(&Part::default(), &candidates, None, &settings);
    assert!(unwritten.passages.is_empty());
    let mut broken = candidates;
    for candidate in &mut broken {
        candidate.time_s = f64::NAN;
        candidate.log_odds = f64::NAN;
        candidate.time_sd_s = f64::INFINITY;
    }
    assert!(align(&part, &broken, None, &settings).passages.is_empty());
}

#[test]
fn ten_thousand_notes_are_followed() {
    let (part, candidates) = example(1, 5000.0);
    assert!(part.notes.len() > 9000);
    let found = align(&part, &candidates, None, &Settings::default());
    let longest = found.passages.iter().map(|p| p.matches.len()).max();
    assert!(longest >= Some(part.notes.len() - 50), "{longest:?}");
}
