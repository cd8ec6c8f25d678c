//! Fits the weights of `src/listen/judge.rs` and `src/listen/silence.rs` on
//! generated takes and prints how well they do on others:
//!
//!     cargo bench --bench train -- [judge | silence] [--check | --write]
//!
//! Every number is drawn from fixed seeds, so the files come out the same to
//! the byte on one kind of processor. `--check` leaves the weights as they are
//! and only prints what they do.

#![allow(clippy::print_stdout, reason = "its table is its result")]

mod logistic;
mod silence;
mod strokes;

use kettlemark::listen::{FEATURE_NAMES, SIGN_NAMES};

/// A model to fit.
struct Model {
    name: &'static str,
    features: &'static [&'static str],
    fitted: fn() -> Vec<f64>,
    check: fn(&[f64]),
}

const MODELS: [Model; 2] = [
    Model {
        name: "judge",
        features: &FEATURE_NAMES,
        fitted: strokes::fitted,
        check: strokes::check,
    },
    Model {
        name: "silence",
        features: &SIGN_NAMES,
        fitted: silence::fitted,
        check: silence::check,
    },
];

impl Model {
    fn file(&self) -> String {
        format!(
            "{}/src/listen/{}.csv",
            env!("CARGO_MANIFEST_DIR"),
            self.name
        )
    }

    /// The weights as they are.
    fn kept(&self) -> Vec<f64> {
        let text = std::fs::read_to_string(self.file()).expect("weights are part of the source");
        let weight = |name: &&str| {
            text.lines()
                .find_map(|l| l.strip_prefix(*name)?.strip_prefix(',')?.parse().ok())
        };
        let names = self.features.iter();
        names.map(|name| weight(name).unwrap_or(0.0)).collect()
    }
}

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let given = |name: &str| arguments.iter().any(|a| a == name);
    let one = MODELS.iter().any(|m| given(m.name));
    for model in MODELS.iter().filter(|m| !one || given(m.name)) {
        let weights = if given("--check") {
            model.kept()
        } else {
            (model.fitted)()
        };
        let names = model.features.iter();
        let lines = names.zip(&weights).map(|(n, w)| format!("{n},{w:.4}\n"));
        let lines: String = lines.collect();
        print!("{lines}");
        (model.check)(&weights);
        if given("--write") {
            std::fs::write(model.file(), lines).expect("weights are part of the source");
        }
    }
}
