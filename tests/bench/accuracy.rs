//! How well takes are heard: makes takes, reviews them and prints the table of
//! bars, a column a kind of take.
//!
//! `cargo bench --bench accuracy -- --seeds tuning --takes 20 --kind room
//! --failures`. Judging seeds are for judging alone: a take that was looked
//! into has become a tuning take.

mod seeds;

use clap::{Parser, ValueEnum};
use kettlemark::pipeline;
use kettlemark::settings::Settings;
use kettlemark_test_support::bars::{Row, blind_rows, rows};
use kettlemark_test_support::codec::Codec;
use kettlemark_test_support::conditions::Kind;
use kettlemark_test_support::kit::Instrument;
use kettlemark_test_support::recorded::Set;
use kettlemark_test_support::score::Tally;
use kettlemark_test_support::takes;
use rayon::prelude::*;
use seeds::Drawn;
use std::fmt::Write as _;
use std::io::Write as _;
use std::ops::Range;

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Drums {
    Modal,
    Recorded,
    Both,
    /// Single recorded strokes that nothing is tuned on.
    Other,
}

impl Drums {
    fn instruments(self) -> Vec<Instrument> {
        match self {
            Self::Modal => vec![Instrument::Modal],
            Self::Recorded => vec![Instrument::Recorded],
            Self::Both => vec![Instrument::Modal, Instrument::Recorded],
            Self::Other => vec![Instrument::OtherRecorded],
        }
    }
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Coding {
    None,
    Phones,
    All,
    Aac,
    Mp3,
    Opus,
}

impl Coding {
    /// What a take goes through.
    fn of(self, kind: Kind, seed: u64) -> Option<Codec> {
        match self {
            Self::None => None,
            Self::Phones => (kind == Kind::Phone).then(|| Codec::of_seed(seed)),
            Self::All => Some(Codec::of_seed(seed)),
            Self::Aac => Some(Codec::Aac64),
            Self::Mp3 => Some(Codec::Mp3At96),
            Self::Opus => Some(Codec::Opus32),
        }
    }
}

/// Makes takes, reviews them and prints how well they were heard.
#[derive(Parser)]
struct Args {
    #[command(flatten)]
    drawn: Drawn,
    /// Takes a kind and instrument.
    #[arg(long, default_value_t = 4)]
    takes: u64,
    /// Kinds of takes, by name; all four of the table if none is given.
    #[arg(long)]
    kind: Vec<String>,
    #[arg(long, value_enum, default_value = "both")]
    instrument: Drums,
    /// Only listen, without the part.
    #[arg(long)]
    blind: bool,
    /// What takes go through: by default those of a phone alone through the
    /// codec of their seed.
    #[arg(long, value_enum, default_value = "phones")]
    codec: Coding,
    /// Print every failing case.
    #[arg(long)]
    failures: bool,
    /// Print how often candidates of a told probability are strokes.
    #[arg(long)]
    reliability: bool,
    /// Print the table in Markdown.
    #[arg(long)]
    markdown: bool,
    /// Given by `cargo bench`.
    #[arg(long, hide = true)]
    bench: bool,
}

/// The columns of the published table.
const TABLE: [Kind; 4] = [Kind::Clean, Kind::Room, Kind::Phone, Kind::Click];

fn main() -> std::io::Result<()> {
    let args = Args::parse();
    let kinds: Vec<Kind> = if args.kind.is_empty() {
        TABLE.to_vec()
    } else {
        let asked = |k: &Kind| args.kind.iter().any(|name| name == k.name());
        Kind::ALL.into_iter().filter(asked).collect()
    };
    let mut out = std::io::stdout().lock();
    let mut instruments = args.instrument.instruments();
    let there = |i: &Instrument| i.strokes().is_none_or(Set::available);
    for missing in instruments.extract_if(.., |i| !there(i)) {
        writeln!(
            out,
            "SKIPPED: {} drums: their strokes are not installed",
            missing.name()
        )?;
    }
    let first = args.drawn.first();
    let mut columns = Vec::new();
    for kind in kinds {
        let tally = measure(kind, &instruments, first..first + args.takes, &args);
        columns.push((kind, tally));
    }
    let tables: Vec<(Kind, Vec<Row>)> = columns
        .iter()
        .map(|(k, t)| {
            (
                *k,
                if args.blind {
                    blind_rows(t)
                } else {
                    rows(*k, t)
                },
            )
        })
        .collect();
    write!(out, "{}", table(&tables, args.markdown))?;
    for (kind, tally) in &columns {
        if args.reliability {
            writeln!(
                out,
                "\n{}: told probability, share that are strokes, candidates",
                kind.name()
            )?;
            for (told, strokes, count) in tally.reliability {
                if count > 0 {
                    let n = count as f64;
                    writeln!(out, "{:.3}  {:.3}  {count}", told / n, strokes as f64 / n)?;
                }
            }
        }
        if args.failures {
            writeln!(out, "\n{}: failing cases", kind.name())?;
            let list = if args.blind {
                &tally.blind_failures
            } else {
                &tally.failures
            };
            for f in list {
                let db = f
                    .stand_out_db
                    .map_or(String::new(), |db| format!("  ({db:.1} dB)"));
                writeln!(out, "{:<22} {:8.3} s  {}{db}", f.take, f.time_s, f.what)?;
            }
        }
    }
    Ok(())
}

/// Makes and reviews every take of a kind.
fn measure(kind: Kind, instruments: &[Instrument], seeds: Range<u64>, args: &Args) -> Tally {
    let jobs: Vec<(Instrument, u64)> = seeds
        .flat_map(|seed| instruments.iter().map(move |&i| (i, seed)))
        .collect();
    let settings = Settings::default();
    let tallies: Vec<Tally> = jobs
        .par_iter()
        .map(|&(instrument, seed)| {
            let take = takes::make_through(args.codec.of(kind, seed), kind, instrument, seed);
            let name = format!("{}-{instrument:?}-{seed}", kind.name()).to_lowercase();
            let recording = take.recording();
            let mut tally = Tally::default();
            match kettlemark::listen::listen(recording) {
                Ok(heard) if args.blind => {
                    tally.takes += 1;
                    tally.add_blind(&name, &take, &heard);
                }
                Ok(heard) => {
                    let review = pipeline::review(&heard, &take.part, &settings);
                    tally.add(&name, &take, &heard, &review);
                }
                Err(_) => tally.unjudged.add(true),
            }
            tally
        })
        .collect();
    let mut sum = Tally::default();
    for tally in tallies {
        sum.merge(tally);
    }
    sum
}

/// The table, a row a figure, each with its bar and a mark where it is missed.
fn table(columns: &[(Kind, Vec<Row>)], markdown: bool) -> String {
    let mut out = String::new();
    let line = |out: &mut String, name: &str, cells: &[String]| {
        if markdown {
            let _ = writeln!(out, "| {name} | {} |", cells.join(" | "));
        } else {
            let _ = write!(out, "{name:<52}");
            for cell in cells {
                let _ = write!(out, " {cell:>26}");
            }
            out.push('\n');
        }
    };
    let heads: Vec<String> = columns.iter().map(|c| c.0.name().to_owned()).collect();
    line(&mut out, "", &heads);
    if markdown {
        line(&mut out, "---", &vec!["---".to_owned(); columns.len()]);
    }
    let Some(first) = columns.first() else {
        return out;
    };
    for place in 0..first.1.len() {
        let cells: Vec<String> = columns
            .iter()
            .map(|(_, rows)| {
                let row = &rows[place];
                let figure = row
                    .figure
                    .map_or("-".to_owned(), |v| format!("{v:.*}", row.digits));
                let mark = match row.bar.passes(row.figure) {
                    Some(false) => " MISSED",
                    _ => "",
                };
                let bar = match row.bar.text() {
                    text if text.is_empty() => text,
                    text => format!(" ({text}{mark})"),
                };
                format!("{figure}{bar} n={}", row.count)
            })
            .collect();
        line(&mut out, first.1[place].name, &cells);
    }
    out
}
