//! Fits the weights of `src/align/piece.rs` on right and wrong pairs of takes
//! and parts, and prints how well they do on others: `cargo bench --bench
//! pieces -- --fit`. Without `--fit` the weights as they are are tried;
//! with `--aloud` on whole takes with sound.

use clap::Parser;
use kettlemark::align::{Evidence, PIECE_TERMS, PIECE_WEIGHTS, align, piece_terms};
use kettlemark::listen::{self, Voices};
use kettlemark::regression::{self, probability};
use kettlemark::settings::Settings;
use kettlemark::take::Recording;
use kettlemark_test_support::conditions::{Chain, Kind};
use kettlemark_test_support::draw::Draw;
use kettlemark_test_support::kit::Instrument;
use kettlemark_test_support::recorded;
use kettlemark_test_support::sitting::Plan;
use kettlemark_test_support::takes::{self, FIRST_JUDGING_SEED, RATE_HZ, Seeds};
use pairs::{Pair, pair, part, played, player};
use rayon::prelude::*;
use std::ops::Range;

// The tests use all of it, this only a part.
#[allow(dead_code)]
#[path = "../align/pairs.rs"]
mod pairs;
#[allow(dead_code)]
#[path = "../align/simulated.rs"]
mod simulated;

/// Fits and tries how surely a take is told to be of a part.
#[derive(Parser)]
struct Args {
    /// Fits new weights to tuning seeds first.
    #[arg(long)]
    fit: bool,
    /// Tries takes with sound instead.
    #[arg(long)]
    aloud: bool,
    /// Seeds to fit to; a third as many with sound.
    #[arg(long, default_value_t = 150)]
    tuning: u64,
    /// Seeds to try on, and the first of them, counted within judging seeds or
    /// those for tuning that nothing is fitted to.
    #[arg(long, default_value_t = 100)]
    takes: u64,
    #[arg(long, default_value_t = 0)]
    from: u64,
    /// Tries on tuning seeds instead of judging ones.
    #[arg(long)]
    on_tuning: bool,
    /// Given by cargo.
    #[arg(long, hide = true)]
    bench: bool,
}

type Terms = [f64; PIECE_TERMS];

/// A pair as it is fitted to; `None` where nothing of the part was followed.
fn terms(kind: Pair, seed: u64) -> Option<Terms> {
    let (part, take) = pair(kind, seed);
    piece_terms(&part, &take.candidates, Some(&take.evidence))
}

/// The weights that suit pairs best, on standardised terms, with a weak
/// penalty that keeps them finite where nothing is in doubt.
fn fit(data: &[(Terms, bool)]) -> Terms {
    const PENALTY: f64 = 0.5;
    let n = data.len() as f64;
    let mut mean = [0.0; PIECE_TERMS];
    let mut sd = [1.0; PIECE_TERMS];
    let mut penalties = [0.0; PIECE_TERMS];
    for k in 1..PIECE_TERMS {
        mean[k] = data.iter().map(|d| d.0[k]).sum::<f64>() / n;
        let squares: f64 = data.iter().map(|d| (d.0[k] - mean[k]).powi(2)).sum();
        sd[k] = (squares / n).sqrt().max(1e-9);
        penalties[k] = PENALTY;
    }
    let scaled: Vec<Terms> = data
        .iter()
        .map(|(t, _)| std::array::from_fn(|k| (t[k] - mean[k]) / sd[k]))
        .collect();
    let labels = data.iter().map(|d| d.1);
    let rows: Vec<(&Terms, bool)> = scaled.iter().zip(labels).collect();
    let scaled = regression::fit(&rows, &penalties).expect("there are pairs of both kinds");
    let mut weights: Terms = std::array::from_fn(|k| scaled[k] / sd[k]);
    weights[0] -= (1..PIECE_TERMS).map(|k| weights[k] * mean[k]).sum::<f64>();
    weights
}

/// Told probabilities of pairs, tallied.
#[allow(clippy::print_stdout)]
fn table(told: &[(Pair, u64, f64)]) {
    for kind in Pair::ALL {
        let of: Vec<_> = told.iter().filter(|t| t.0 == kind).collect();
        let taken = of.iter().filter(|t| t.2 >= 0.5).count();
        let worst: Vec<_> = of
            .iter()
            .filter(|t| (t.2 >= 0.5) != kind.is_right())
            .map(|t| (t.1, (t.2 * 100.0).round() / 100.0))
            .collect();
        println!(
            "{kind:?}: {taken} of {} taken for the piece; wrong: {worst:?}",
            of.len()
        );
    }
    println!("| told | pairs | told on average | right |");
    println!("| --- | --- | --- | --- |");
    for (from, to) in [
        (0.0, 0.02),
        (0.02, 0.2),
        (0.2, 0.5),
        (0.5, 0.8),
        (0.8, 0.98),
        (0.98, 1.01),
    ] {
        let of: Vec<_> = told.iter().filter(|t| (from..to).contains(&t.2)).collect();
        let right = of.iter().filter(|t| t.0.is_right()).count();
        let n = of.len().max(1) as f64;
        let mean = of.iter().map(|t| t.2).sum::<f64>() / n;
        println!(
            "| {from}-{:.2} | {} | {mean:.3} | {:.3} |",
            to.min(1.0),
            of.len(),
            right as f64 / n
        );
    }
}

/// The same of a take with sound, clean, in a room or by a phone.
fn terms_aloud(kind: Pair, seed: u64) -> Option<Terms> {
    let instrument = if recorded::available() {
        Instrument::Recorded
    } else {
        Instrument::Modal
    };
    let sound = [Kind::Clean, Kind::Room, Kind::Phone][(seed % 3) as usize];
    let own = part(kind, seed);
    let take = if kind == Pair::Sitting {
        let plan = Draw::new(seed, 8).one(&Plan::ALL);
        takes::make_sitting(own.clone(), plan, Kind::Messy, instrument, seed)
    } else {
        let player = player(kind, seed);
        let chain = Chain::draw(sound, &mut Draw::new(seed, 3), f64::from(RATE_HZ));
        let seeds = Seeds {
            kit: seed,
            playing: seed,
        };
        let part = played(kind, seed);
        takes::make_of(part, &player, &chain, instrument, seeds, RATE_HZ)
    };
    let recording = Recording::from_samples(take.samples, take.rate_hz);
    let heard = listen::listen(recording).expect("samples can be listened to");
    let settings = Settings::default();
    let first = align(&own, &heard.candidates, None, &settings);
    let heard = listen::again(&heard, &own, &first, settings.a4_hz);
    let evidence = Evidence {
        per: Voices::learn(&heard, &own, &first, settings.a4_hz).evidence(),
        unheard: Vec::new(),
    };
    piece_terms(&own, &heard.candidates, Some(&evidence))
}

/// Pairs of every kind that has a sound, for some seeds.
fn all_pairs(seeds: Range<u64>, aloud: bool) -> Vec<(Pair, u64)> {
    Pair::ALL
        .iter()
        .filter(|&&kind| !aloud || kind != Pair::NoDrums)
        .flat_map(|&kind| seeds.clone().map(move |seed| (kind, seed)))
        .collect()
}

#[allow(clippy::print_stdout)]
fn main() {
    let args = Args::parse();
    let weights = if args.fit {
        let silent = all_pairs(0..args.tuning, false);
        let aloud = all_pairs(500..500 + args.tuning / 3, true);
        let aloud_terms =
            |&(kind, seed): &(Pair, u64)| Some((terms_aloud(kind, seed)?, kind.is_right()));
        let silent_terms =
            |&(kind, seed): &(Pair, u64)| Some((terms(kind, seed)?, kind.is_right()));
        let mut data: Vec<(Terms, bool)> = silent.par_iter().filter_map(silent_terms).collect();
        let sounding: Vec<(Terms, bool)> = aloud.par_iter().filter_map(aloud_terms).collect();
        println!(
            "{} pairs without sound, {} with",
            data.len(),
            sounding.len()
        );
        // Those with sound are fewer, and count as much together.
        for _ in 0..data.len() / sounding.len().max(1) {
            data.extend(&sounding);
        }
        let weights = fit(&data);
        println!("weights: {weights:.3?}");
        weights
    } else {
        PIECE_WEIGHTS
    };
    let first = if args.on_tuning {
        1_000
    } else {
        FIRST_JUDGING_SEED
    } + args.from;
    let told: Vec<_> = all_pairs(first..first + args.takes, args.aloud)
        .into_par_iter()
        .map(|(kind, seed)| {
            let terms = if args.aloud {
                terms_aloud(kind, seed)
            } else {
                terms(kind, seed)
            };
            let sum = |t: Terms| weights.iter().zip(t).map(|(w, t)| w * t).sum();
            (kind, seed, terms.map_or(0.0, |t| probability(sum(t))))
        })
        .collect();
    table(&told);
}
