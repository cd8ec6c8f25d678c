//! Fits the weights of `src/listen/judge.rs`, `src/listen/known.rs`,
//! `src/listen/rolling/evidence.rs` and `src/listen/silence.rs` on generated
//! takes and prints how well they do on others:
//!
//!     cargo bench --bench train -- [judge | known | rolls | silence] [--check | --write]
//!
//! Each model hears what those before it say: when one has changed, those
//! behind it are fitted anew, each after a build.
//!
//! Every number is drawn from fixed seeds, so the files come out the same to
//! the byte on one kind of processor. `--check` leaves the weights as they are
//! and only prints what they do.

#![allow(clippy::print_stdout, reason = "its table is its result")]

mod known;
mod rolls;
mod silence;
mod strokes;

use kettlemark::listen::{self, FEATURE_NAMES, Logistic, SIGN_NAMES};
use kettlemark::regression;
use kettlemark_test_support::conditions::Kind;
use kettlemark_test_support::kit::Instrument;
use rayon::prelude::*;
use std::ops::Range;

/// The kinds of takes that weights are fitted to.
const KINDS: [Kind; 5] = [
    Kind::Clean,
    Kind::Room,
    Kind::Phone,
    Kind::Click,
    Kind::Noise,
];

/// The takes of some kinds on both sorts of drums, seed by seed.
fn takes(kinds: &[Kind], seeds: Range<u64>) -> Vec<(Kind, Instrument, u64)> {
    let of_seed = |seed| {
        let of_kind =
            move |&kind| [Instrument::Modal, Instrument::Recorded].map(|i| (kind, i, seed));
        kinds.iter().flat_map(of_kind)
    };
    seeds.flat_map(of_seed).collect()
}

/// Signs, each with whether they are of a stroke.
type Labelled<const N: usize> = Vec<([f32; N], bool)>;

/// What is labelled of the takes of some kinds on both sorts of drums.
fn over<const N: usize>(
    kinds: &[Kind],
    seeds: Range<u64>,
    labelled: fn(Kind, Instrument, u64) -> Labelled<N>,
) -> Labelled<N> {
    takes(kinds, seeds)
        .into_par_iter()
        .flat_map_iter(|(kind, instrument, seed)| labelled(kind, instrument, seed))
        .collect()
}

/// Log loss of what is labelled, with such log odds of each.
fn loss<const N: usize>(labelled: &[([f32; N], bool)], odds: impl Fn(&[f32; N]) -> f64) -> f64 {
    let one = |(signs, label): &([f32; N], bool)| {
        let for_it = odds(signs) * if *label { 1.0 } else { -1.0 };
        (-for_it).exp().ln_1p()
    };
    labelled.iter().map(one).sum()
}

/// A model to fit.
struct Model<const N: usize> {
    name: &'static str,
    features: [&'static str; N],
    fitted: fn() -> Logistic<N>,
    check: fn(&Logistic<N>),
}

impl<const N: usize> Model<N> {
    fn file(&self) -> String {
        format!(
            "{}/src/listen/{}.csv",
            env!("CARGO_MANIFEST_DIR"),
            self.name
        )
    }

    /// The weights as they are.
    fn kept(&self) -> Logistic<N> {
        let text = std::fs::read_to_string(self.file()).expect("weights are part of the source");
        Logistic::read(&self.features, &text)
    }

    /// Does what was asked for, unless another model is named.
    fn run(&self, arguments: &[String], one: bool) {
        let given = |name: &str| arguments.iter().any(|a| a == name);
        if one && !given(self.name) {
            return;
        }
        let model = if given("--check") {
            self.kept()
        } else {
            (self.fitted)()
        };
        let weights = self.features.iter().zip(&model.0);
        let lines = weights.map(|(n, w)| format!("{n},{w:.4}\n"));
        let lines: String = lines.collect();
        print!("{lines}");
        (self.check)(&model);
        if given("--write") {
            std::fs::write(self.file(), lines).expect("weights are part of the source");
        }
    }
}

/// The weights under which the labels of rows are likeliest, drawn towards 0
/// by a penalty of 1 each.
fn fit<const N: usize>(rows: &[(&[f32; N], bool)]) -> Logistic<N> {
    let weights = regression::fit(rows, &[1.0; N]);
    Logistic(weights.expect("every weight has a penalty"))
}

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let judge = Model {
        name: "judge",
        features: FEATURE_NAMES,
        fitted: strokes::fitted,
        check: strokes::check,
    };
    let known = Model {
        name: "known",
        features: listen::known::SIGN_NAMES,
        fitted: known::fitted,
        check: known::check,
    };
    let rolls = Model {
        name: "rolls",
        features: listen::rolling::SIGN_NAMES,
        fitted: rolls::fitted,
        check: rolls::check,
    };
    let silence = Model {
        name: "silence",
        features: SIGN_NAMES,
        fitted: silence::fitted,
        check: silence::check,
    };
    let one = [judge.name, known.name, rolls.name, silence.name]
        .iter()
        .any(|name| arguments.iter().any(|a| a == name));
    judge.run(&arguments, one);
    known.run(&arguments, one);
    rolls.run(&arguments, one);
    silence.run(&arguments, one);
}
