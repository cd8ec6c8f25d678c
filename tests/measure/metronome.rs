//! A metronome that sounds along, on made sound.

use kettlemark::listen::listen;
use kettlemark::part::Part;
use kettlemark::pipeline;
use kettlemark::review::Review;
use kettlemark::settings::Settings;
use kettlemark::take::Recording;
use kettlemark_test_support::conditions::{Chain, Kind};
use kettlemark_test_support::draw::Draw;
use kettlemark_test_support::kit::Instrument;
use kettlemark_test_support::parts::{self, Wish};
use kettlemark_test_support::player::Player;
use kettlemark_test_support::takes::{self, RATE_HZ, Seeds};

const SEED: u64 = 110;

fn review(samples: &[f32], part: &Part) -> Review {
    let heard = listen(Recording::from_samples(samples.to_vec(), RATE_HZ)).unwrap();
    pipeline::review(&heard, part, &Settings::default())
}

fn said(review: &Review) -> String {
    let doubt = review.doubts.iter().find(|d| d.kind == "click-track");
    doubt.unwrap().text.clone()
}

#[test]
fn clicks_that_are_kept_to_are_a_second_reference() {
    let take = takes::make(Kind::Click, Instrument::Modal, SEED);
    let told = review(&take.samples, &take.part);
    let found = told.metronome.as_ref().unwrap();
    let clicks = &take.truth.clicks_s;
    let period_s = (clicks[clicks.len() - 1] - clicks[0]) / (clicks.len() - 1) as f64;
    assert!((found.clicks_per_min * period_s / 60.0 - 1.0).abs() < 1e-4);
    assert_eq!(found.quarters, Some(1.0));
    let nearest = |s: f64| clicks.iter().map(|c| (c - s).abs()).fold(1.0, f64::min);
    assert!(1e3 * nearest(found.from_s) < 2.0 * found.time_sd_ms);
    let off: Vec<f64> = told
        .notes
        .iter()
        .filter_map(|n| {
            let (ms, click) = (n.click_deviation_ms?, &take.truth.tempo);
            let due_s = click.iter().find(|k| (k.0 - n.at).abs() < 1e-9)?.1;
            Some((ms - 1e3 * (take.truth.notes[n.index].time_s? - due_s)).abs())
        })
        .collect();
    let near = off.iter().filter(|ms| **ms < 5.0).count();
    assert!(
        off.len() > 50 && near * 10 > off.len() * 8,
        "{near} of {}",
        off.len()
    );
}

#[test]
fn a_metronome_at_another_tempo_than_the_written_one_is_told() {
    let take = takes::make(Kind::Click, Instrument::Modal, SEED);
    let mut part = take.part.clone();
    let played = 60.0 / (take.truth.clicks_s[1] - take.truth.clicks_s[0]);
    part.tempi[0].quarter_bpm = Some(played);
    assert!(!said(&review(&take.samples, &part)).contains("written"));
    part.tempi[0].quarter_bpm = Some((1.08 * played).round());
    let text = said(&review(&take.samples, &part));
    assert!(text.contains("are written"), "{text}");
}

/// Adds clicks, of which every third is louder and sounds higher.
fn add_clicks(samples: &mut [f32], from_s: f64, period_s: f64) {
    let peak = samples.iter().fold(0.0f32, |a, s| a.max(s.abs()));
    let rate = f64::from(RATE_HZ);
    let end_s = samples.len() as f64 / rate;
    let times_s = (0..).map(|k| from_s + f64::from(k) * period_s);
    for (k, click_s) in times_s.take_while(|s| *s < end_s).enumerate() {
        let (hz, level) = if k % 3 == 0 {
            (1900.0, 0.22)
        } else {
            (1500.0, 0.15)
        };
        let from = (click_s * rate).round() as usize;
        for (i, s) in samples.iter_mut().skip(from).take(2000).enumerate() {
            let t = i as f64 / rate;
            let tone = (std::f64::consts::TAU * hz * t).sin() * (-t / 0.006).exp();
            *s += level * peak * tone as f32;
        }
    }
}

#[test]
fn beside_clicks_the_strokes_are_those_that_are_heard_without_them() {
    let take = takes::make(Kind::Clean, Instrument::Modal, SEED);
    let alone = review(&take.samples, &take.part);
    let beat_s = 60.0 / alone.tempo.median_bpm.unwrap();
    let mut samples = take.samples.clone();
    add_clicks(&mut samples, 0.4, beat_s);
    let beside = review(&samples, &take.part);
    assert!(beside.metronome.is_some());
    let both = alone.notes.iter().zip(&beside.notes);
    let other = both.clone().filter(|(a, b)| a.outcome != b.outcome).count();
    let time_s = |told: &Review, stroke: Option<usize>| Some(told.strokes[stroke?].time_s);
    let off = both
        .filter_map(|(a, b)| Some((time_s(&alone, a.stroke)? - time_s(&beside, b.stroke)?).abs()));
    let far = off.filter(|s| *s > 0.003).count();
    let notes = alone.notes.len();
    assert!(50 * (other + far) <= notes, "{other} and {far} of {notes}");
}

#[test]
fn against_clicks_that_nobody_keeps_to_nothing_is_measured() {
    let take = takes::make(Kind::Clean, Instrument::Modal, SEED);
    let beat_s = 60.0 / review(&take.samples, &take.part).tempo.median_bpm.unwrap();
    let mut samples = take.samples.clone();
    add_clicks(&mut samples, 0.4, 0.83 * beat_s);
    let told = review(&samples, &take.part);
    let found = told.metronome.as_ref().unwrap();
    assert!((found.clicks_per_min * 0.83 * beat_s / 60.0 - 1.0).abs() < 1e-3);
    assert_eq!((found.quarters, found.deviation_ms), (None, None));
    assert!(told.notes.iter().all(|n| n.click_deviation_ms.is_none()));
    assert!(said(&told).contains("does not keep to it"));
}

/// A player with a metronome in the ear, and one who counts in with the sticks.
#[test]
fn where_no_metronome_sounds_none_is_told() {
    let part = parts::generate(&mut Draw::new(SEED, 1), Wish::default());
    let player = Player::draw(&mut Draw::new(SEED, 2));
    let mut draw = Draw::new(SEED, 3);
    let chain = Chain {
        click_db: Some(-300.0),
        ..Chain::draw(Kind::Clean, &mut draw, f64::from(RATE_HZ))
    };
    let seeds = Seeds {
        kit: SEED,
        playing: SEED,
    };
    let steady = takes::make_of(part, &player, &chain, Instrument::Modal, seeds, RATE_HZ);
    let messy = takes::make(Kind::Messy, Instrument::Modal, SEED);
    for take in [steady, messy] {
        let told = review(&take.samples, &take.part);
        assert!(told.judged && !told.notes.is_empty());
        assert_eq!(told.metronome, None);
    }
}
