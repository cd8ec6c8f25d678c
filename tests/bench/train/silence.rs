//! A note at which no stroke was found: played or left out? The weights of
//! `src/listen/silence.rs`.

use crate::{KINDS, fit, takes};
use kettlemark::listen::{self, Logistic, SIGN_NAMES, Signs, Voices};
use kettlemark::pipeline;
use kettlemark::settings::Settings;
use kettlemark_test_support::conditions::Kind;
use kettlemark_test_support::kit::Instrument;
use kettlemark_test_support::takes::make_coded;
use kettlemark_test_support::truth::Fate;
use rayon::prelude::*;
use std::ops::Range;

const SIGNS: usize = SIGN_NAMES.len();
/// Seeds for fitting and for the table; all below the first judging seed.
const FIT: Range<u64> = 0..40;
const CHECK: Range<u64> = 500..508;

/// The notes of a few takes.
#[derive(Default)]
struct Tally {
    /// Whether each note at which no stroke was found was played, and whether
    /// it was plain to hear.
    silent: Vec<(Signs, bool, bool)>,
    /// All notes that were played, those of them that were plain to hear, and
    /// those that were left out.
    played: usize,
    plain: usize,
    missed: usize,
}

impl Tally {
    fn of(kind: Kind, instrument: Instrument, seed: u64) -> Self {
        let take = make_coded(kind, instrument, seed);
        let recording = take.recording();
        let heard = listen::listen(recording).expect("samples are at hand");
        let settings = Settings::default();
        let first = pipeline::first(&heard, &take.part, &settings);
        let heard = listen::again(&heard, &take.part, &first, settings.a4_hz);
        let voices = Voices::learn(&heard, &take.part, &first, settings.a4_hz);
        let signs = listen::signs(&heard, &take.part, &first, &voices);
        let mut tally = Self::default();
        for (note, signs) in take.truth.notes.iter().zip(signs) {
            let played = match note.fate {
                Fate::Played | Fate::OtherDrum => true,
                Fate::Missed => false,
                Fate::NotReached => continue,
            };
            let plain = note.stand_out_db.is_some_and(|db| db >= 3.0);
            tally.played += usize::from(played);
            tally.plain += usize::from(plain);
            tally.missed += usize::from(!played);
            tally.silent.extend(signs.map(|s| (s, played, plain)));
        }
        tally
    }

    /// Of the takes of some kinds on both sorts of drums.
    fn over(kinds: &[Kind], seeds: Range<u64>) -> Self {
        let tallies: Vec<Self> = takes(kinds, seeds)
            .into_par_iter()
            .map(|(kind, instrument, seed)| Self::of(kind, instrument, seed))
            .collect();
        tallies.into_iter().fold(Self::default(), |mut sum, one| {
            sum.silent.extend(one.silent);
            sum.played += one.played;
            sum.plain += one.plain;
            sum.missed += one.missed;
            sum
        })
    }
}

/// The weights that suit the takes for fitting. The constant is moved so that
/// they give a ratio of likelihoods, whatever share of notes the takes leave
/// out.
pub fn fitted() -> Logistic<SIGNS> {
    let tally = Tally::over(&KINDS, FIT);
    let silent = tally.silent.iter();
    let rows: Vec<(&Signs, bool)> = silent.map(|(signs, played, _)| (signs, *played)).collect();
    let mut model = fit(&rows);
    model.0[0] -= (tally.played as f64 / tally.missed as f64).ln();
    model
}

/// What a model would say of other takes, where "missed" asks for a ratio
/// of 100.
pub fn check(model: &Logistic<SIGNS>) {
    println!("kind: left out, told so, %; played and plain to hear, told left out, %");
    for kind in KINDS {
        let tally = Tally::over(&[kind], CHECK);
        let told = |signs: &Signs| model.log_odds(signs) < -(100f64.ln());
        let count = |of: &dyn Fn(bool, bool) -> bool| {
            let silent = tally.silent.iter();
            silent
                .filter(|(signs, played, plain)| of(*played, *plain) && told(signs))
                .count() as f64
        };
        println!(
            "{}: {}, {:.0}; {}, {:.2}",
            kind.name(),
            tally.missed,
            100.0 * count(&|played, _| !played) / tally.missed as f64,
            tally.plain,
            100.0 * count(&|_, plain| plain) / tally.plain as f64,
        );
    }
}
