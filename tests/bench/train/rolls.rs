//! Does a frame inside a roll sound like the contact of a stroke? The weights of
//! `src/listen/rolling/evidence.rs`.

use crate::{KINDS, fit, loss, over};
use kettlemark::listen::{self, Heard, Logistic, rolling};
use kettlemark_test_support::conditions::Kind;
use kettlemark_test_support::kit::Instrument;
use kettlemark_test_support::takes::{MadeTake, make_coded};
use kettlemark_test_support::truth::TrueRoll;
use std::ops::Range;

/// Seeds for fitting and for the table; all below the first judging seed.
const FIT: Range<u64> = 0..12;
const CHECK: Range<u64> = 500..508;
/// Frames by which the sound of a take may follow its contacts: it is taken for
/// where all its rolls rise most.
const LATE: Range<usize> = 0..6;
/// Seconds before a roll and behind it that are looked at.
const AROUND_S: f64 = 0.1;
/// Where nothing is struck for longer than the first, the time between the
/// others, from the stroke before and to the next one, is looked at as well: what
/// rings and noise must not pass for a roll. Seconds.
const REST_S: (f64, f64, f64) = (0.25, 0.06, 0.03);

type Model = Logistic<{ rolling::SIGN_NAMES.len() }>;

/// The frames of a roll, with the places of those in which a stroke begins.
type Roll = (Vec<rolling::Signs>, Vec<usize>);

fn rolls(take: &MadeTake, heard: &Heard) -> Vec<Roll> {
    let (hop_s, frames) = (heard.bands.hop_s, heard.bands.level_db.len());
    let of_roll = |roll: &TrueRoll| {
        let first = ((roll.from_s - AROUND_S).max(0.0) / hop_s) as usize;
        let last = (((roll.to_s + AROUND_S) / hop_s) as usize).min(frames);
        let signs = rolling::signs(&heard.bands, &heard.residual, first, last)?;
        let inside = roll.from_s - 1e-3..=roll.to_s + 1e-3;
        let strokes = take.truth.strokes.iter().map(|s| s.time_s);
        let places = strokes
            .filter(|time_s| inside.contains(time_s))
            .map(|time_s| (time_s / hop_s).round() as usize - first);
        Some((signs, places.collect()))
    };
    take.truth.rolls.iter().filter_map(of_roll).collect()
}

/// Frames of a take in which nothing is struck, each labelled so.
fn rests(take: &MadeTake, heard: &Heard) -> Vec<(rolling::Signs, bool)> {
    let (longest_s, from_s, to_s) = REST_S;
    let (hop_s, frames) = (heard.bands.hop_s, heard.bands.level_db.len());
    let times: Vec<f64> = take.truth.strokes.iter().map(|s| s.time_s).collect();
    let gaps = times
        .windows(2)
        .filter(|pair| pair[1] - pair[0] > longest_s);
    let clicks_s = &take.truth.clicks_s;
    let clear = |time_s: f64| clicks_s.iter().all(|c| (c - time_s).abs() > from_s);
    let of_gap = |gap: &[f64]| {
        let first = ((gap[0] + from_s) / hop_s) as usize;
        let last = (((gap[1] - to_s) / hop_s) as usize).min(frames);
        let signs = rolling::signs(&heard.bands, &heard.residual, first, last)?;
        let placed = (first..).zip(signs);
        let clear = placed.filter(move |(place, _)| clear(*place as f64 * hop_s));
        Some(clear.map(|(_, signs)| (signs, false)))
    };
    gaps.filter_map(of_gap).flatten().collect()
}

/// The frames of a take's rolls and of rests, with whether a stroke begins in
/// each; those beside such a one are left out.
fn labelled(kind: Kind, instrument: Instrument, seed: u64) -> Vec<(rolling::Signs, bool)> {
    let take = make_coded(kind, instrument, seed);
    let recording = take.recording();
    let heard = listen::listen(recording).expect("samples are at hand");
    let rolls = rolls(&take, &heard);
    let rise = |late: usize| -> f32 {
        let of_roll = |(signs, places): &Roll| {
            let at = places.iter().filter_map(|place| signs.get(place + late));
            // The band levels and the usual look, which rises less.
            at.map(|s| s[1] + 3.0 * s[5]).sum::<f32>()
        };
        rolls.iter().map(of_roll).sum()
    };
    let late = LATE.max_by(|&a, &b| rise(a).total_cmp(&rise(b)));
    let late = late.expect("some are tried");
    let mut labelled = rests(&take, &heard);
    for (signs, places) in &rolls {
        for (place, signs) in signs.iter().enumerate() {
            let nearest = places.iter().map(|p| (p + late).abs_diff(place)).min();
            match nearest {
                Some(0) => labelled.push((*signs, true)),
                Some(1) => {}
                _ => labelled.push((*signs, false)),
            }
        }
    }
    labelled
}

/// Natural log of strokes against other frames.
fn before(frames: &[(rolling::Signs, bool)]) -> f64 {
    let strokes = frames.iter().filter(|f| f.1).count() as f64;
    (strokes / (frames.len() as f64 - strokes)).ln()
}

/// The weights that suit the takes for fitting, as how much likelier a stroke
/// makes what is heard: how seldom one begins is taken out.
pub fn fitted() -> Model {
    let all = over(&KINDS, FIT, labelled);
    let rows: Vec<(&rolling::Signs, bool)> = all.iter().map(|(s, label)| (s, *label)).collect();
    let mut model = fit(&rows);
    model.0[0] -= before(&all);
    model
}

/// Log loss a stroke on other takes, with no sign and with those of the model.
pub fn check(model: &Model) {
    println!("kind: frames, strokes among them; log loss a stroke without, with");
    for kind in KINDS {
        let all = over(&[kind], CHECK, labelled);
        let before = before(&all);
        let strokes = all.iter().filter(|f| f.1).count();
        let each = |odds: &dyn Fn(&rolling::Signs) -> f64| {
            loss(&all, |signs| before + odds(signs)) / strokes as f64
        };
        println!(
            "{}: {}, {strokes}; {:.4}, {:.4}",
            kind.name(),
            all.len(),
            each(&|_| 0.0),
            each(&|signs| model.log_odds(signs)),
        );
    }
}
