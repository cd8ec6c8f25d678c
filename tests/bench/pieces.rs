//! Fits the weights of `src/align/piece.rs`, those of many strokes and those of
//! few, on right and wrong pairs of takes and parts, and prints how well they do
//! on others: `cargo bench --bench pieces -- --fit`. Without `--fit` the weights
//! as they are are tried; with `--aloud` on whole takes with sound.

use clap::Parser;
use kettlemark::align::{Evidence, PIECE_TERMS, PIECE_WEIGHTS, align, piece_of_few, piece_terms};
use kettlemark::listen::{self, Candidate, Heard, Voices};
use kettlemark::measure::refusal::{MOST_ELSEWHERE, least_same_piece};
use kettlemark::part::Part;
use kettlemark::pipeline;
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
use short::{Case, FEW, Short, case};
use std::ops::Range;

// The tests use all of it, this only a part.
#[allow(dead_code)]
#[path = "../align/pairs.rs"]
mod pairs;
#[path = "../align/short.rs"]
mod short;
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
    /// Tries parts and takes of a few strokes instead.
    #[arg(long)]
    short: bool,
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

/// The same, with sound or without.
fn terms_of(kind: Pair, seed: u64, aloud: bool) -> Option<Terms> {
    if aloud {
        terms_aloud(kind, seed)
    } else {
        terms(kind, seed)
    }
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
    let (heard, evidence) = listened(&own, take.samples, take.rate_hz);
    piece_terms(&own, &heard.candidates, Some(&evidence))
}

/// A take with sound as the last matching has it.
fn listened(own: &Part, samples: Vec<f32>, rate_hz: u32) -> (Heard, Evidence) {
    let recording = Recording::from_samples(samples, rate_hz);
    let heard = listen::listen(recording).expect("samples can be listened to");
    let settings = Settings::default();
    let first = pipeline::first(&heard, own, &settings);
    let heard = listen::again(&heard, own, &first, settings.a4_hz);
    let evidence = Evidence {
        per: Voices::learn(&heard, own, &first, settings.a4_hz).evidence(),
        ..Evidence::default()
    };
    (heard, evidence)
}

/// What is found of a case of a few strokes.
struct Found {
    terms: Option<Terms>,
    /// What was played is taken for notes that were played.
    in_place: bool,
    /// So likely it may be of another place.
    elsewhere: f64,
}

/// `None` where there is no such case.
fn short_terms(kind: Short, strokes: usize, seed: u64, aloud: bool) -> Option<Found> {
    let case = case(kind, strokes, seed)?;
    let (candidates, evidence) = if aloud {
        short_aloud(kind, &case, seed)
    } else {
        let (_, take) = short::take(&case, kind.is_right(), seed);
        (take.candidates, take.evidence)
    };
    let part = &case.expected;
    let found = align(part, &candidates, Some(&evidence), &Settings::default());
    Some(Found {
        terms: piece_terms(part, &candidates, Some(&evidence)),
        in_place: short::in_place(&case, &found),
        elsewhere: found.elsewhere,
    })
}

fn short_aloud(kind: Short, case: &Case, seed: u64) -> (Vec<Candidate>, Evidence) {
    let instrument = if recorded::available() {
        Instrument::Recorded
    } else {
        Instrument::Modal
    };
    let sound = [Kind::Clean, Kind::Room, Kind::Phone][(seed % 3) as usize];
    let chain = Chain::draw(sound, &mut Draw::new(seed, 3), f64::from(RATE_HZ));
    let player = short::player(case, kind.is_right(), seed);
    let seeds = Seeds {
        kit: seed,
        playing: seed,
    };
    let played = case.played.clone();
    let take = takes::make_of(played, &player, &chain, instrument, seeds, RATE_HZ);
    let (heard, evidence) = listened(&case.expected, take.samples, take.rate_hz);
    (heard.candidates, evidence)
}

/// Cases of a few strokes of every kind, for some seeds; each seed with one
/// number of strokes.
fn all_short(seeds: Range<u64>) -> Vec<(Short, usize, u64)> {
    let each = |seed: u64| FEW.start() + (seed % (FEW.end() - FEW.start() + 1) as u64) as usize;
    let of = |kind| seeds.clone().map(move |seed| (kind, each(seed), seed));
    Short::ALL.into_iter().flat_map(of).collect()
}

/// Told probabilities of a few strokes, a line a kind, a column a number of
/// strokes: taken for the piece of how many; and of those taken, how many are
/// taken for another place, with those refused for that.
#[allow(clippy::print_stdout)]
fn short_table(told: &[(Short, usize, f64, Found)]) {
    let few = |t: &&(Short, usize, f64, Found)| t.3.terms.is_some_and(|t| piece_of_few(&t));
    let head: Vec<String> = FEW.map(|n| n.to_string()).collect();
    println!("| strokes | {} |", head.join(" | "));
    println!("|{}", " --- |".repeat(head.len() + 1));
    for kind in Short::ALL {
        let cells: Vec<String> = FEW
            .map(|n| {
                let of = || told.iter().filter(|t| t.0 == kind && t.1 == n);
                let sure = || of().filter(|t| t.2 >= least_same_piece(few(t)));
                let taken = || sure().filter(|t| t.3.elsewhere < MOST_ELSEWHERE);
                let mut cell = format!("{}/{}", taken().count(), of().count());
                if kind.is_right() {
                    let astray = taken().filter(|t| !t.3.in_place).count();
                    let open = sure().count() - taken().count();
                    cell += &format!(" ({astray} astray, {open} open)");
                }
                cell
            })
            .collect();
        println!("| {kind:?} | {} |", cells.join(" | "));
    }
}

/// Pairs of every kind that has a sound, for some seeds.
fn all_pairs(seeds: Range<u64>, aloud: bool) -> Vec<(Pair, u64)> {
    Pair::ALL
        .iter()
        .filter(|&&kind| !aloud || kind != Pair::NoDrums)
        .flat_map(|&kind| seeds.clone().map(move |seed| (kind, seed)))
        .collect()
}

/// The first tuning seed that weights are fitted to with sound.
const FIRST_SOUNDING: u64 = 500;

/// Cases of a few strokes as they are fitted to.
fn of_few(seeds: Range<u64>, aloud: bool) -> Vec<(Terms, bool)> {
    all_short(seeds)
        .into_par_iter()
        .filter_map(|(kind, strokes, seed)| {
            let found = short_terms(kind, strokes, seed, aloud)?;
            Some((found.terms?, kind.is_right()))
        })
        .collect()
}

/// Pairs as they are fitted to.
fn of_any(seeds: Range<u64>, aloud: bool) -> Vec<(Terms, bool)> {
    all_pairs(seeds, aloud)
        .into_par_iter()
        .filter_map(|(kind, seed)| Some((terms_of(kind, seed, aloud)?, kind.is_right())))
        .collect()
}

/// Fits the weights of many strokes and those of few, on tuning seeds.
#[allow(clippy::print_stdout)]
fn fitted(args: &Args) -> [Terms; 2] {
    // Takes of few strokes are soon made.
    let silent = [
        of_few(0..4 * args.tuning, false),
        of_any(0..args.tuning, false),
    ]
    .concat();
    let third = args.tuning / 3;
    let sounding = FIRST_SOUNDING..FIRST_SOUNDING + third;
    let more = sounding.end..sounding.end + 3 * third;
    let many = [of_any(sounding.clone(), true), of_few(sounding, true)].concat();
    let few = [many.clone(), of_few(more, true)].concat();
    [(many, false), (few, true)].map(|(aloud, few)| {
        let own = |&(mut terms, right): &(Terms, bool)| {
            if !few {
                terms[PIECE_TERMS - 2..].fill(0.0);
            }
            (terms, right)
        };
        let of = |pairs: &[(Terms, bool)]| -> Vec<(Terms, bool)> {
            let kept = pairs.iter().filter(|p| piece_of_few(&p.0) == few);
            kept.map(own).collect()
        };
        let (mut data, aloud) = (of(&silent), of(&aloud));
        let right = |d: &[(Terms, bool)]| d.iter().filter(|d| d.1).count();
        println!(
            "{} pairs without sound, {} right; {} with, {} right",
            data.len(),
            right(&data),
            aloud.len(),
            right(&aloud)
        );
        // Those with sound are fewer, and count as much together.
        for _ in 0..data.len() / aloud.len().max(1) {
            data.extend(&aloud);
        }
        let weights = fit(&data);
        println!("weights: {weights:.3?}");
        weights
    })
}

#[allow(clippy::print_stdout)]
fn main() {
    let args = Args::parse();
    let weights = if args.fit {
        fitted(&args)
    } else {
        PIECE_WEIGHTS
    };
    let told = |terms: Option<Terms>| {
        terms.map_or(0.0, |t| {
            let row = &weights[usize::from(piece_of_few(&t))];
            probability(row.iter().zip(t).map(|(w, t)| w * t).sum())
        })
    };
    let first = if args.on_tuning {
        1_000
    } else {
        FIRST_JUDGING_SEED
    } + args.from;
    if args.short {
        let told: Vec<_> = all_short(first..first + args.takes)
            .into_par_iter()
            .filter_map(|(kind, strokes, seed)| {
                let found = short_terms(kind, strokes, seed, args.aloud)?;
                Some((kind, strokes, told(found.terms), found))
            })
            .collect();
        short_table(&told);
        return;
    }
    let told: Vec<_> = all_pairs(first..first + args.takes, args.aloud)
        .into_par_iter()
        .map(|(kind, seed)| {
            let terms = terms_of(kind, seed, args.aloud);
            (kind, seed, told(terms))
        })
        .collect();
    table(&told);
}
