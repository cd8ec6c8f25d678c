//! One performance through a clean file, a room at four metres and a phone:
//! how many verdicts of the three reviews contradict one another.
//!
//! `cargo bench --bench recorders -- --takes 20` counts; `--list` names every
//! contradiction with both figures.

mod seeds;

use clap::Parser;
use kettlemark::pipeline;
use kettlemark::review::Review;
use kettlemark::settings::Settings;
use kettlemark_test_support::kit::Instrument;
use kettlemark_test_support::recorded;
use kettlemark_test_support::recorders::{About, Agreement, PAIRS, Recorder, agreement};
use rayon::prelude::*;
use seeds::Drawn;
use std::collections::BTreeMap;
use std::io::Write as _;

/// Counts verdicts that contradict one another.
#[derive(Parser)]
struct Args {
    #[command(flatten)]
    drawn: Drawn,
    /// Performances an instrument.
    #[arg(long, default_value_t = 10)]
    takes: u64,
    /// Print every contradiction.
    #[arg(long)]
    list: bool,
    /// Given by `cargo bench`.
    #[arg(long, hide = true)]
    bench: bool,
}

type Rows = BTreeMap<(usize, About), Agreement>;

fn main() -> std::io::Result<()> {
    let args = Args::parse();
    let mut instruments = vec![Instrument::Modal];
    if recorded::available() {
        instruments.push(Instrument::Recorded);
    }
    let first = args.drawn.first();
    let jobs: Vec<(Instrument, u64)> = (first..first + args.takes)
        .flat_map(|seed| instruments.iter().map(move |&i| (i, seed)))
        .collect();
    let found: Vec<Rows> = jobs.par_iter().map(|&(i, seed)| compare(i, seed)).collect();
    let mut sum = Rows::new();
    for rows in found {
        for (key, row) in rows {
            sum.entry(key).or_default().merge(row, "");
        }
    }
    let mut out = std::io::stdout().lock();
    for (k, (a, b)) in PAIRS.iter().enumerate() {
        let (a, b) = (Recorder::ALL[*a], Recorder::ALL[*b]);
        writeln!(
            out,
            "{a:?} and {b:?}: in both, against, in one, contradictions"
        )?;
        for about in About::ALL {
            let Some(row) = sum.get(&(k, about)) else {
                continue;
            };
            writeln!(
                out,
                "  {:<10} {:>6} {:>6} {:>6} {:>6}",
                format!("{about:?}"),
                row.both,
                row.against,
                row.one,
                row.contradictions.len()
            )?;
            for (place, first, second) in row.contradictions.iter().filter(|_| args.list) {
                writeln!(
                    out,
                    "      {place}: {} {:.1?}, {} {:.1?}",
                    first.answer, first.figure, second.answer, second.figure
                )?;
            }
        }
    }
    Ok(())
}

fn compare(instrument: Instrument, seed: u64) -> Rows {
    let settings = Settings::default();
    let reviews: Vec<Option<Review>> = Recorder::ALL
        .iter()
        .map(|recorder| {
            let take = recorder.take(instrument, seed);
            let recording = take.recording();
            let heard = kettlemark::listen::listen(recording).ok()?;
            let review = pipeline::review(&heard, &take.part, &settings);
            review.judged.then_some(review)
        })
        .collect();
    let mut rows = Rows::new();
    let name = format!("{instrument:?} {seed}:");
    for (k, (a, b)) in PAIRS.iter().enumerate() {
        let (Some(a), Some(b)) = (&reviews[*a], &reviews[*b]) else {
            continue;
        };
        for (about, row) in agreement(a, b) {
            rows.entry((k, about)).or_default().merge(row, &name);
        }
    }
    rows
}
