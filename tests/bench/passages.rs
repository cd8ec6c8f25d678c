//! How many runs of a sitting are found with the right bars, on made
//! candidates of made performances: `cargo bench --bench passages -- --takes
//! 50`, a line a plan; `KETTLEMARK_TELL=1` lists every take that went wrong.

mod seeds;

use clap::Parser;
use kettlemark::part::Note;
use kettlemark::settings::Settings;
use kettlemark_test_support::conditions::Kind;
use kettlemark_test_support::kit::Instrument;
use kettlemark_test_support::recorded;
use kettlemark_test_support::sitting::Plan;
use kettlemark_test_support::takes;
use rayon::prelude::*;
use seeds::Drawn;
use sittings::{Tally, Told, alike, count, part, sit, tell, telling};
use std::ops::Range;

// The tests use all of it, this only a part.
#[allow(dead_code)]
#[path = "../align/simulated.rs"]
mod simulated;
#[path = "../align/sittings.rs"]
mod sittings;

/// Counts the runs of sittings that are found with the right bars.
#[derive(Parser)]
struct Args {
    #[command(flatten)]
    drawn: Drawn,
    /// Takes a plan and way of hearing.
    #[arg(long, default_value_t = 50)]
    takes: u64,
    /// By time alone, without even what the written pitches foretell.
    #[arg(long)]
    no_drums: bool,
    /// With sound: whole takes in three rooms, on recorded drums where those
    /// are installed.
    #[arg(long)]
    aloud: bool,
    /// Given by cargo.
    #[arg(long, hide = true)]
    bench: bool,
}

#[allow(clippy::print_stdout)]
fn main() {
    let args = Args::parse();
    let first = args.drawn.first();
    println!(
        "| hearing | plan | takes | all right, % | runs | right bars, % | short ones, % | passages too many | counted right, % | accused, % |"
    );
    println!("| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |");
    let seeds = first..first + args.takes;
    if args.aloud {
        let instrument = if recorded::available() {
            Instrument::Recorded
        } else {
            Instrument::Modal
        };
        for kind in [Kind::Messy, Kind::Room, Kind::Phone] {
            rows(kind.name(), &seeds, |plan, seed| {
                sit_aloud(plan, kind, instrument, seed)
            });
        }
        return;
    }
    for (name, how) in [("clean", simulated::CLEAN), ("room", simulated::ROOM)] {
        rows(name, &seeds, |plan, seed| {
            sit(plan, how, seed, !args.no_drums)
        });
    }
}

/// The lines of one way of hearing.
fn rows(name: &str, seeds: &Range<u64>, sit: impl Fn(Plan, u64) -> Tally + Sync) {
    let mut all = Tally::default();
    for plan in Plan::ALL {
        let tallies: Vec<Tally> = seeds
            .clone()
            .into_par_iter()
            .map(|seed| sit(plan, seed))
            .collect();
        let mut tally = Tally::default();
        for one in &tallies {
            tally.merge(one);
        }
        line(name, &format!("{plan:?}"), &tally);
        all.merge(&tally);
    }
    line(name, "all", &all);
}

#[allow(clippy::print_stdout)]
fn line(name: &str, plan: &str, t: &Tally) {
    let pct = |part: usize, of: usize| 100.0 * part as f64 / of.max(1) as f64;
    println!(
        "| {name} | {plan} | {} | {:.1} | {} | {:.1} | {:.1} n={} | {} | {:.1} | {:.2} |",
        t.takes,
        pct(t.all_right, t.takes),
        t.runs,
        pct(t.runs_right, t.runs),
        pct(t.short_right, t.short),
        t.short,
        t.more,
        pct(t.counted_right, t.takes),
        pct(t.accused, t.played),
    );
}

/// One sitting with sound, reviewed and counted.
fn sit_aloud(plan: Plan, kind: Kind, instrument: Instrument, seed: u64) -> Tally {
    let take = takes::make_sitting(part(seed), plan, kind, instrument, seed);
    let recording = take.recording();
    let heard = kettlemark::listen::listen(recording).expect("samples can be listened to");
    let review = kettlemark::pipeline::review(&heard, &take.part, &Settings::default());
    let bar = |number: i32| {
        let bars = &take.part.bars;
        bars.iter().position(|b| b.number == number).unwrap_or(0)
    };
    let note = |bar: usize, last: bool| {
        let of = |n: &Note| n.bar == bar;
        let notes = &take.part.notes;
        let found = if last {
            notes.iter().rposition(of)
        } else {
            notes.iter().position(of)
        };
        found.unwrap_or(0)
    };
    // The review lists strokes of every passage, each with its note.
    let told: Vec<Told> = review
        .passages
        .iter()
        .map(|p| Told {
            from_s: p.from_s,
            to_s: p.to_s,
            notes: (note(bar(p.from_bar), false), note(bar(p.to_bar), true)),
            strokes: review
                .strokes
                .iter()
                .filter(|s| (p.from_s..=p.to_s).contains(&s.time_s))
                .filter_map(|s| Some((s.note?, s.time_s)))
                .collect(),
        })
        .collect();
    let hits: Vec<_> = take
        .truth
        .strokes
        .iter()
        .map(|s| (s.note, s.time_s))
        .collect();
    let mut tally = count(&take.part, &take.truth.passages, &hits, &told);
    let counted = review.passages.iter().position(|p| p.counted);
    if let (Some(c), Some(t)) = (counted, take.truth.passages.iter().find(|t| t.counted)) {
        tally.counted_right = usize::from(alike(&take.part, told[c].notes, t.notes));
    }
    if telling() && tally.all_right == 0 {
        let name = format!("{plan:?} {} {seed}", kind.name());
        tell(&name, &take.part, &take.truth.passages, &told);
    }
    tally
}
