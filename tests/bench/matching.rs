//! How long one matching takes: `cargo bench --bench matching`.

use kettlemark::align::align;
use kettlemark::settings::Settings;
use kettlemark_test_support::draw::Draw;
use kettlemark_test_support::parts::{self, Wish};
use kettlemark_test_support::player::{self, Player};
use std::time::{Duration, Instant};

// The tests use all of it, this only the room.
#[allow(dead_code)]
#[path = "../align/simulated.rs"]
mod simulated;

fn best_of<T>(rounds: usize, mut work: impl FnMut() -> T) -> Duration {
    let mut best = Duration::MAX;
    for _ in 0..rounds {
        let from = Instant::now();
        std::hint::black_box(work());
        best = best.min(from.elapsed());
    }
    best
}

#[allow(clippy::print_stdout)]
fn main() {
    for minutes in [1.0, 10.0, 60.0] {
        let wish = Wish {
            seconds: 60.0 * minutes,
            soft_after_loud: false,
        };
        let part = parts::generate(&mut Draw::new(1, 1), wish);
        let other = parts::generate(&mut Draw::new(2, 1), wish);
        let player = Player::draw(&mut Draw::new(1, 2));
        let performance = player::play(&part, &player, &mut Draw::new(1, 3), false);
        let take = simulated::hear_all(&part, &performance, simulated::ROOM, &mut Draw::new(1, 4));
        let settings = Settings::default();
        let rounds = if minutes > 30.0 { 1 } else { 5 };
        let time = |p, evidence| {
            best_of(rounds, || align(p, &take.candidates, evidence, &settings)).as_secs_f64()
        };
        println!(
            "{minutes:3} min, {:6} notes, {:6} candidates: {:.3} s; with drums {:.3} s; of another part {:.3} s",
            part.notes.len(),
            take.candidates.len(),
            time(&part, None),
            time(&part, Some(&take.evidence)),
            time(&other, None),
        );
    }
}
