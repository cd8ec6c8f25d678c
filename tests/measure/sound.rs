//! Stops and rolls on made takes whose strokes are known: what measuring alone
//! does with real decays, rooms and phones.

use crate::known::known;
use kettlemark::listen::rolling::{Span, hear};
use kettlemark::listen::{self, FIRST_SD_S, again, listen};
use kettlemark::measure::rolls::SURE;
use kettlemark::measure::{Scene, stops};
use kettlemark::part::{Quarters, quarters_f64};
use kettlemark::pipeline;
use kettlemark::review::StopState;
use kettlemark::settings::Settings;
use kettlemark_test_support::conditions::{Chain, Kind};
use kettlemark_test_support::draw::Draw;
use kettlemark_test_support::kit::Instrument;
use kettlemark_test_support::parts::{self, Wish};
use kettlemark_test_support::player::Player;
use kettlemark_test_support::takes::Seeds;
use kettlemark_test_support::truth::TrueStroke;
use kettlemark_test_support::{recorded, takes};

/// Takes of each kind and instrument.
const TAKES: u64 = 4;
/// A hand that comes this long after the written end has let the drum ring.
const RANG_S: f64 = 0.7;

#[derive(Default, Debug)]
struct Tally {
    right: usize,
    wrong: usize,
    unsure: usize,
    /// Told time minus true time, ms, and the standard uncertainty told.
    errors: Vec<(f64, f64)>,
}

impl Tally {
    fn add(&mut self, kind: Kind, instrument: Instrument, seed: u64) {
        let settings = Settings::default();
        let take = takes::make(kind, instrument, seed);
        let known = known(&take, seed);
        let scene = Scene::new(
            &known.heard,
            &take.part,
            &known.alignment,
            &known.strokes,
            &settings,
        );
        let tones: Vec<Option<f64>> = take.truth.settings.iter().map(|s| Some(s.hz)).collect();
        let found = stops::stops(&scene, &tones);
        for truth in &take.truth.stops {
            let told = found.iter().find(|s| s.note == truth.note);
            let struck = take.truth.notes[truth.note].time_s;
            let (Some(told), Some(struck_s)) = (told, struck) else {
                continue;
            };
            let rang = truth.at_s.is_none_or(|at| at - truth.due_s > RANG_S);
            match told.state {
                StopState::Unsure => self.unsure += 1,
                StopState::Stopped if rang => self.wrong += 1,
                StopState::Ringing if !rang => self.wrong += 1,
                _ => self.right += 1,
            }
            if let (Some(after), Some(sd), Some(at)) =
                (told.stopped_after_ms, told.stopped_after_sd_ms, truth.at_s)
            {
                self.errors.push((after - 1000.0 * (at - struck_s), sd));
            }
        }
    }

    fn median_error_ms(&self) -> f64 {
        let mut off: Vec<f64> = self.errors.iter().map(|e| e.0.abs()).collect();
        off.sort_by(f64::total_cmp);
        off[off.len() / 2]
    }

    fn within_two_sd(&self) -> f64 {
        let within = self.errors.iter().filter(|e| e.0.abs() <= 2.0 * e.1);
        within.count() as f64 / self.errors.len() as f64
    }
}

fn check(kind: Kind, median_ms: f64) {
    let mut tally = Tally::default();
    let mut instruments = vec![Instrument::Modal];
    if recorded::available() {
        instruments.push(Instrument::Recorded);
    }
    for instrument in instruments {
        for seed in 100..100 + TAKES {
            tally.add(kind, instrument, seed);
        }
    }
    let judged = tally.right + tally.wrong;
    eprintln!(
        "{}: right {}, wrong {}, unsure {}; median error {:.0} ms, within 2 sd {:.2} of {}",
        kind.name(),
        tally.right,
        tally.wrong,
        tally.unsure,
        tally.median_error_ms(),
        tally.within_two_sd(),
        tally.errors.len()
    );
    assert!(judged >= 20, "{tally:?}");
    assert!(tally.wrong * 20 <= judged, "{tally:?}");
    assert!(tally.unsure * 3 <= judged + tally.unsure, "{tally:?}");
    assert!(tally.median_error_ms() <= median_ms, "{tally:?}");
    assert!(tally.within_two_sd() >= 0.8, "{tally:?}");
}

#[test]
fn stops_in_a_dead_room_are_told_within_20_ms() {
    check(Kind::Clean, 20.0);
}

#[test]
fn stops_in_a_live_room_are_told_within_60_ms() {
    check(Kind::Room, 60.0);
}

#[test]
fn stops_on_a_phone_are_told_within_40_ms() {
    check(Kind::Phone, 40.0);
}

/// The spans of the rolls of made takes, and whether the rate told for each is
/// right; `None`: not told.
fn roll_rates(kind: Kind) -> Vec<Option<bool>> {
    let mut instruments = vec![Instrument::Modal];
    if recorded::available() {
        instruments.push(Instrument::Recorded);
    }
    let jobs = instruments
        .iter()
        .flat_map(|&i| (100..100 + TAKES).map(move |seed| (i, seed)));
    let mut rates = Vec::new();
    for (instrument, seed) in jobs {
        let take = takes::make_coded(kind, instrument, seed);
        let recording = take.recording();
        let sound = listen(recording).unwrap();
        let tempo = |at: Quarters| {
            let place = quarters_f64(at);
            let next = take.truth.tempo.partition_point(|k| k.0 < place - 1e-9);
            take.truth.tempo[next].1
        };
        let spans: Vec<Span> = take
            .truth
            .rolls
            .iter()
            .map(|roll| {
                let note = &take.part.notes[roll.note];
                Span {
                    from_s: tempo(note.at),
                    from_sd_s: FIRST_SD_S,
                    to_s: tempo(note.at + note.length),
                }
            })
            .collect();
        for (truth, heard) in
            take.truth
                .rolls
                .iter()
                .zip(hear(&sound.bands, &sound.residual, &spans))
        {
            let told = heard.filter(|h| h.sure >= SURE).map(|h| h.rate_hz);
            rates.push(told.map(|r| (r / truth.strokes_per_s - 1.0).abs() <= 0.05));
        }
    }
    rates
}

/// Of all rolls, `most` per cent at most are not told; of those told, one may
/// be wrong.
fn check_rolls(kind: Kind, most: usize) {
    let rates = roll_rates(kind);
    let open = rates.iter().filter(|r| r.is_none()).count();
    let wrong = rates.iter().filter(|r| **r == Some(false)).count();
    eprintln!(
        "{}: {} rolls, {open} not told, {wrong} wrong",
        kind.name(),
        rates.len()
    );
    assert!(rates.len() >= 10, "{rates:?}");
    assert!(100 * open <= most * rates.len(), "{rates:?}");
    assert!(wrong <= 1, "{rates:?}");
}

#[test]
fn rates_of_rolls_in_a_dead_room_are_told() {
    check_rolls(Kind::Clean, 5);
}

#[test]
fn rates_of_rolls_in_a_live_room_are_told_or_left_open() {
    check_rolls(Kind::Room, 15);
}

#[test]
fn rates_of_rolls_on_a_phone_are_told_or_left_open() {
    check_rolls(Kind::Phone, 15);
}

/// Between the strokes of a slow roll others that are not there would make it
/// twice as fast.
#[test]
fn slow_rolls_are_not_told_as_fast_ones() {
    let settings = Settings::default();
    let instrument = if recorded::available() {
        Instrument::Recorded
    } else {
        Instrument::Modal
    };
    let (mut told, mut wrong) = (0, Vec::new());
    for seed in 100..100 + 2 * TAKES {
        let part = parts::generate(&mut Draw::new(seed, 1), Wish::default());
        let player = Player {
            roll_rate: Draw::new(seed, 4).between(5.8, 8.5),
            ..Player::draw(&mut Draw::new(seed, 2))
        };
        let rate = f64::from(takes::RATE_HZ);
        let chain = Chain::draw(Kind::Room, &mut Draw::new(seed, 3), rate);
        let seeds = Seeds {
            kit: seed,
            playing: seed,
        };
        let take = takes::make_of(part, &player, &chain, instrument, seeds, takes::RATE_HZ);
        let recording = take.recording();
        let review = pipeline::review(&listen(recording).unwrap(), &take.part, &settings);
        for truth in &take.truth.rolls {
            let roll = review.rolls.iter().find(|r| r.note == truth.note);
            if let Some(rate) = roll.and_then(|r| r.strokes_per_s) {
                told += 1;
                if (rate / truth.strokes_per_s - 1.0).abs() > 0.05 {
                    wrong.push((seed, truth.strokes_per_s, rate));
                }
            }
        }
    }
    eprintln!("{told} slow rolls told, wrong {wrong:?}");
    assert!(told >= 10, "{told}");
    assert!(wrong.is_empty(), "{wrong:?}");
}

/// Strokes too weak to be candidates are added only where rolls are, and only
/// where one was played.
#[test]
fn strokes_added_inside_rolls_are_there() {
    let settings = Settings::default();
    let (mut added, mut there, mut outside) = (0, 0, 0);
    for seed in 100..100 + TAKES {
        let take = takes::make_coded(Kind::Phone, Instrument::Modal, seed);
        let recording = take.recording();
        let heard = listen(recording).unwrap();
        let first = pipeline::first(&heard, &take.part, &settings);
        let anew = again(&heard, &take.part, &first, settings.a4_hz);
        for candidate in &anew.candidates[heard.candidates.len()..] {
            let time_s = candidate.time_s;
            let near = |other: f64, by: f64| (other - time_s).abs() < by;
            added += 1;
            let strokes = &take.truth.strokes;
            there += usize::from(strokes.iter().any(|s| near(s.time_s, 0.025)));
            let rolled = strokes.iter().any(|s| s.in_roll && near(s.time_s, 0.1));
            outside += usize::from(!rolled);
            let known = &heard.candidates;
            assert!(
                known.iter().all(|c| !near(c.time_s, 0.02)),
                "{seed}: {time_s}"
            );
        }
    }
    eprintln!("{added} added, {there} there, {outside} outside rolls");
    assert!(added >= 10, "{added}");
    assert!(there * 10 >= added * 9, "{there} of {added}");
    assert!(outside * 20 <= added, "{outside} of {added}");
}

/// Before anything is learned of a take, the written pitches speak for the drum
/// that was struck, weakly, and no stroke of it speaks loudly.
#[test]
fn written_pitches_speak_weakly_for_the_right_drum() {
    for kind in [Kind::Clean, Kind::Room] {
        let (mut strokes, mut gained) = (0, 0.0);
        for seed in 100..100 + TAKES {
            let take = takes::make(kind, Instrument::Modal, seed);
            let heard = listen(take.recording()).unwrap();
            let foretold = listen::foretold(&heard, &take.part, 440.0);
            assert!(foretold.per.is_empty() && foretold.unheard.is_empty());
            assert_eq!(foretold.by_pitch.len(), heard.candidates.len());
            for (candidate, row) in heard.candidates.iter().zip(&foretold.by_pitch) {
                let best = row.iter().copied().fold(f32::NEG_INFINITY, f32::max);
                assert!(best == 0.0 && row.iter().all(|log| *log >= -2.0), "{row:?}");
                let near = |s: &&TrueStroke| (s.time_s - candidate.time_s).abs() < 0.01;
                let Some(stroke) = take.truth.strokes.iter().find(near) else {
                    continue;
                };
                let likelihood = |log: &f32| f64::from(*log).exp();
                let any = row.iter().map(likelihood).sum::<f64>() / row.len() as f64;
                gained += f64::from(row[stroke.setting]) - any.ln();
                strokes += 1;
            }
        }
        let gained = gained / f64::from(strokes);
        eprintln!(
            "{}: {strokes} strokes, {gained:.3} nepers each",
            kind.name()
        );
        assert!(strokes > 100 && gained > 0.1, "{strokes}, {gained}");
    }
}
