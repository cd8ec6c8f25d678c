//! What the recorder did to the sound: gain control and bass cut are told
//! where the background shows them, never where they are not.

use super::common;
use kettlemark::take::{Fitness, Recording};
use kettlemark_test_support::conditions::{Chain, GainControl, Kind};
use kettlemark_test_support::draw::Draw;
use kettlemark_test_support::kit::Instrument;
use kettlemark_test_support::parts::{self, Wish};
use kettlemark_test_support::player::Player;
use kettlemark_test_support::{recorded, takes};

/// Takes a kind, an instrument; `KETTLEMARK_RECORDER=FROM,TO` names other
/// seeds, and the tallies are printed.
fn seeds() -> std::ops::Range<u64> {
    std::env::var("KETTLEMARK_RECORDER")
        .ok()
        .and_then(|text| {
            let (from, to) = text.split_once(',')?;
            Some(from.parse().ok()?..to.parse().ok()?)
        })
        .unwrap_or(0..2)
}

fn instruments() -> Vec<Instrument> {
    if recorded::available() {
        vec![Instrument::Modal, Instrument::Recorded]
    } else {
        vec![Instrument::Modal]
    }
}

/// A take through a chain that may be changed first: as it is, and without
/// the silence before and after the playing.
fn fitness(
    kind: Kind,
    instrument: Instrument,
    seed: u64,
    change: &dyn Fn(&mut Chain, &mut Draw),
) -> (Chain, [Fitness; 2]) {
    let part = parts::generate(&mut Draw::new(seed, 1), Wish::default());
    let player = Player::draw(&mut Draw::new(seed, 2));
    let rate = f64::from(takes::RATE_HZ);
    let mut chain = Chain::draw(kind, &mut Draw::new(seed, 3 + kind as u64), rate);
    change(&mut chain, &mut Draw::new(seed, 77));
    let of = takes::Seeds {
        kit: seed,
        playing: seed,
    };
    let take = takes::make_of(part, &player, &chain, instrument, of, takes::RATE_HZ);
    let place = |time_s: f64| (time_s * rate) as usize;
    let strokes = &take.truth.strokes;
    let (first, last) = (strokes[0].time_s, strokes[strokes.len() - 1].time_s);
    let trimmed = take.samples[place(first)..place(last)].to_vec();
    let both = [take.samples, trimmed].map(|samples| {
        common::drain(Recording::from_samples(samples, takes::RATE_HZ))
            .1
            .fitness
    });
    (chain, both)
}

fn leave(_: &mut Chain, _: &mut Draw) {}

fn switch_on(chain: &mut Chain, draw: &mut Draw) {
    chain.gain_control = Some(GainControl {
        attack_s: draw.between(0.003, 0.02),
        release_s: draw.between(0.2, 1.0),
        threshold_db: draw.between(-30.0, -18.0),
        ratio: draw.between(1.5, 3.0),
    });
}

fn switch_off(chain: &mut Chain, _: &mut Draw) {
    chain.gain_control = None;
}

/// Not one false alarm: on dry takes, in rooms, in noise, beside a metronome,
/// after loud passages, among talk, through a phone that leaves the level be.
#[test]
fn what_is_not_there_is_not_told() {
    let mut told = (0, 0, 0);
    for kind in Kind::ALL {
        for instrument in instruments() {
            for seed in seeds() {
                let phone = kind == Kind::Phone;
                let (_, both) = fitness(kind, instrument, seed, &switch_off);
                for fitness in both {
                    told.0 += 1;
                    told.1 += usize::from(fitness.gain_control == Some(true));
                    told.2 += usize::from(!phone && fitness.bass_cut_hz.is_some());
                    let said = (fitness.gain_control, fitness.bass_cut_hz);
                    assert_ne!(said.0, Some(true), "{kind:?} {instrument:?} {seed}");
                    assert!(phone || said.1.is_none(), "{kind:?} {instrument:?} {seed}");
                }
            }
        }
    }
    println!(
        "{} takes: {} gain controls, {} bass cuts",
        told.0, told.1, told.2
    );
}

#[test]
fn a_phone_is_told() {
    let (mut takes, mut steered, mut denied, mut cut) = (0, 0, 0, 0);
    let mut errors = Vec::new();
    for instrument in instruments() {
        for seed in seeds() {
            let (chain, [whole, _]) = fitness(Kind::Phone, instrument, seed, &leave);
            takes += 1;
            steered += usize::from(whole.gain_control == Some(true));
            denied += usize::from(whole.gain_control == Some(false));
            if let Some(hz) = whole.bass_cut_hz {
                cut += 1;
                errors.push((hz / chain.bass_cut_hz.unwrap()).log2().abs());
            }
        }
    }
    errors.sort_by(f64::total_cmp);
    println!(
        "{takes} phones: gain control told {steered}, denied {denied}; bass cut told {cut}, off by \
         {:.2} octaves at most",
        errors.last().unwrap()
    );
    assert_eq!(denied, 0);
    assert!(steered * 3 >= takes * 2 && cut * 3 >= takes * 2);
    assert!(errors[errors.len() / 2] < 0.35, "{errors:?}");
}

/// Where the background is hidden below what rings, gain control cannot be
/// heard, and is not denied either.
#[test]
fn gain_control_is_never_denied_where_it_is() {
    let (mut takes, mut steered) = (0, 0);
    for kind in [Kind::Clean, Kind::Room, Kind::Noise, Kind::Click] {
        for instrument in instruments() {
            for seed in seeds() {
                let (_, both) = fitness(kind, instrument, seed, &switch_on);
                for fitness in both {
                    assert_ne!(fitness.gain_control, Some(false), "{kind:?} {seed}");
                    takes += 1;
                    steered += usize::from(fitness.gain_control == Some(true));
                }
            }
        }
    }
    println!("{takes} other takes under gain control: told {steered}");
    assert!(steered > 0);
}

/// A background that changes in itself is no gain control: talk before the
/// playing, a fan that is switched off, breath in the rests.
#[test]
fn a_background_that_changes_is_not_gain_control() {
    let rate = takes::RATE_HZ as usize;
    for seed in seeds() {
        let made = takes::make(Kind::Room, Instrument::Modal, seed);
        let noisy = |on: &dyn Fn(usize) -> bool| {
            let noise = common::white(seed + 5);
            let samples = made.samples.iter().zip(noise).enumerate();
            let mixed = samples.map(|(i, (s, n))| s + if on(i) { 0.003 * n } else { 1e-4 * n });
            let recording = Recording::from_samples(mixed.collect(), takes::RATE_HZ);
            common::drain(recording).1.fitness.gain_control
        };
        let length = made.samples.len();
        for (name, said) in [
            ("a fan for a while", noisy(&|i| i < length / 3)),
            ("a fan later", noisy(&|i| i > length / 2)),
            ("a car", noisy(&|i| (length / 3..length / 2).contains(&i))),
            ("waves", noisy(&|i| (i / (5 * rate)).is_multiple_of(2))),
        ] {
            assert_ne!(said, Some(true), "{name}, seed {seed}");
        }
    }
}
