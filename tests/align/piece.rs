//! Is the take of this part? Right and wrong pairs.

use crate::simulated::{self, CLEAN, Hearing, ROOM};
use kettlemark::align::{align, piece_figures};
use kettlemark::part::Part;
use kettlemark::settings::Settings;
use kettlemark_test_support::draw::Draw;
use kettlemark_test_support::parts::{self, Wish};
use kettlemark_test_support::player::{self, Performance, Player};
use kettlemark_test_support::sitting::{self, Aside};

fn part(seed: u64) -> Part {
    let seconds = [15.0, 25.0, 40.0, 90.0][(seed % 4) as usize];
    parts::generate(
        &mut Draw::new(seed, 1),
        Wish {
            seconds,
            soft_after_loud: false,
        },
    )
}

fn take(seed: u64, part: &Part) -> simulated::Take {
    let how: Hearing = if seed.is_multiple_of(2) { CLEAN } else { ROOM };
    let mut player = Player::draw(&mut Draw::new(seed, 2));
    if seed.is_multiple_of(3) {
        player.missed = 0.08;
        player.other_drum = 0.06;
        player.extra = 0.06;
    }
    let draw = &mut Draw::new(seed, 3);
    let (performance, aside) = if seed % 3 == 1 {
        let (performance, _, aside) = sitting::sitting(part, &player, draw);
        (performance, aside)
    } else {
        (player::play(part, &player, draw, false), Aside::default())
    };
    simulated::hear(part, &performance, &aside, how, &mut Draw::new(seed, 4))
}

/// No timpani: a metronome, talk, knocks, by turns.
fn no_drums(seed: u64, part: &Part) -> simulated::Take {
    let mut aside = Aside::default();
    let draw = &mut Draw::new(seed, 5);
    let length_s = draw.between(10.0, 60.0);
    match seed % 3 {
        0 => {
            let beat_s = 60.0 / draw.between(60.0, 160.0);
            aside.sticks_s = (0..(length_s / beat_s) as usize)
                .map(|i| i as f64 * beat_s)
                .collect();
        }
        1 => aside.talk_s.push((0.5, length_s)),
        _ => {}
    }
    let performance = Performance {
        length_s,
        ..Performance::default()
    };
    let mut how = ROOM;
    how.knocks_hz = 0.5;
    simulated::hear(part, &performance, &aside, how, &mut Draw::new(seed, 6))
}

/// The weights were fitted to seeds below 100.
#[test]
fn wrong_pieces_are_told_from_right_ones() {
    let mut wrong = Vec::new();
    for seed in 100..140u64 {
        let own = part(seed);
        let other = part(seed + 7_001);
        let pairs = [
            (true, take(seed, &own)),
            (false, take(seed + 7_001, &other)),
            (false, no_drums(seed, &own)),
        ];
        for (right, take) in pairs {
            let found = align(&own, &take.candidates, None, &Settings::default());
            if std::env::var_os("KETTLEMARK_FIGURES").is_some() {
                let figures = piece_figures(&own, &take.candidates, None);
                println!("{} {figures:?}", u8::from(right));
            }
            if (found.same_piece > 0.5) != right {
                wrong.push((seed, right, found.same_piece));
            }
        }
    }
    println!("{} of 120 wrong: {wrong:?}", wrong.len());
    // Where it stands, so that it gets no worse; the aim is none.
    assert!(wrong.len() <= 4, "{wrong:?}");
}
