//! `log`: what has been kept.

use super::progress::late;
use super::{DONE, put, say};
use clap::{ArgGroup, Args, Subcommand};
use kettlemark::error::Error;
use kettlemark::journal::{self, Entry, Filter, KeepMeta, Log, export};
use kettlemark::number::{UNKNOWN, plain};
use kettlemark::report::lettering::harmless;
use kettlemark::words::journal::kept_measure;
use std::fmt::Write as _;
use std::io::Write;
use std::path::{Path, PathBuf};

/// Show, label, forget, export and merge what has been kept
#[derive(Args)]
#[command(after_help = "Example:\n  kettlemark log label 12 13 --player A --variant alternating")]
pub struct LogArgs {
    /// The practice log [default: $KETTLEMARK_LOG, else reports/practice.db]
    #[arg(long, value_name = "FILE", global = true)]
    log: Option<PathBuf>,
    #[command(subcommand)]
    what: Option<What>,
}

#[derive(Subcommand)]
enum What {
    /// List the entries (also without a word)
    #[command(after_help = "Example:\n  kettlemark log list --player A")]
    List(Wanted),
    /// Show one entry with all its measures
    #[command(after_help = "Example:\n  kettlemark log show 12")]
    Show {
        /// Number of the entry, or the beginning of its take's hash
        entry: String,
    },
    /// Set player, variant and note of entries; an empty text removes one
    #[command(
        group = ArgGroup::new("labels").required(true).multiple(true),
        after_help = "Example:\n  kettlemark log label 12 13 --player A --note 'new heads'"
    )]
    Label {
        /// Numbers of the entries
        #[arg(required = true)]
        entries: Vec<String>,
        /// Who played
        #[arg(long, value_name = "NAME", group = "labels")]
        player: Option<String>,
        /// A sticking, a pair of mallets, anything two sets may differ in
        #[arg(long, value_name = "NAME", group = "labels")]
        variant: Option<String>,
        /// Anything to remember of the take
        #[arg(long, value_name = "TEXT", group = "labels")]
        note: Option<String>,
    },
    /// Take entries out of the log
    #[command(after_help = "Example:\n  kettlemark log forget 12 13")]
    Forget {
        /// Numbers of the entries
        #[arg(required = true)]
        entries: Vec<String>,
    },
    /// Write the log for other programs
    #[command(after_help = "Example:\n  kettlemark log export --csv measures.csv --player A")]
    Export {
        /// One line a measure; - for standard output
        #[arg(long, value_name = "FILE", required_unless_present = "jsonl")]
        csv: Option<PathBuf>,
        /// One JSON object a take, with its review; - for standard output
        #[arg(long, value_name = "FILE")]
        jsonl: Option<PathBuf>,
        #[command(flatten)]
        wanted: Wanted,
    },
    /// Take in another log; of two reviews of one take the newer stays, and
    /// labels it lacks come from the older
    #[command(after_help = "Example:\n  kettlemark log merge laptop/practice.db")]
    Merge {
        /// The other log
        other: PathBuf,
    },
}

/// Which entries are meant
#[derive(Args, Default)]
pub struct Wanted {
    /// Takes of this player only
    #[arg(long, value_name = "NAME")]
    pub player: Option<String>,
    /// Takes with this label only
    #[arg(long, value_name = "NAME")]
    pub variant: Option<String>,
    /// Takes of this part only: its title, or the beginning of its identity
    #[arg(long, value_name = "PART")]
    pub part: Option<String>,
}

impl Wanted {
    /// The entries of a log that are meant.
    pub fn of(&self, log: &Log) -> Result<Vec<Entry>, Error> {
        let filter = Filter {
            player: self.player.clone(),
            variant: self.variant.clone(),
            part: self.part.clone(),
        };
        let mut entries = log.entries()?;
        entries.retain(|e| filter.takes(e));
        Ok(entries)
    }
}

/// Runs the command.
pub fn run(args: &LogArgs, out: &mut dyn Write) -> Result<u8, Error> {
    let path = journal::log_path(args.log.as_deref());
    match &args.what {
        None => list(&Log::open_existing(&path)?, &Wanted::default(), out)?,
        Some(What::List(wanted)) => list(&Log::open_existing(&path)?, wanted, out)?,
        Some(What::Show { entry }) => show(&Log::open_existing(&path)?, entry, out)?,
        Some(What::Label {
            entries,
            player,
            variant,
            note,
        }) => {
            let mut log = writable(&path)?;
            let labels = KeepMeta {
                recorded: None,
                player: player.clone(),
                variant: variant.clone(),
                note: note.clone(),
            };
            for id in numbers(&log, entries)? {
                log.label(id, &labels)?;
            }
        }
        Some(What::Forget { entries }) => {
            let mut log = writable(&path)?;
            for id in numbers(&log, entries)? {
                log.forget(id)?;
            }
        }
        Some(What::Export { csv, jsonl, wanted }) => {
            let log = Log::open_existing(&path)?;
            let entries = wanted.of(&log)?;
            if entries.is_empty() {
                say("kettlemark: no kept take is meant by this; 'kettlemark log' lists them");
            }
            if let Some(file) = csv {
                save(file, &export::csv(&log, late(entries.iter()))?, out)?;
            }
            if let Some(file) = jsonl {
                save(file, &export::json_lines(&log, late(entries.iter()))?, out)?;
            }
        }
        Some(What::Merge { other }) => {
            let other = Log::open_existing(other)?;
            let taken = Log::open(&path)?.merge(&other)?;
            put(out, &format!("{taken} taken in\n"))?;
        }
    }
    Ok(DONE)
}

/// A log that is there, for changing it.
fn writable(path: &Path) -> Result<Log, Error> {
    Log::open_existing(path)?;
    Log::open(path)
}

/// All are looked up before anything is changed.
fn numbers(log: &Log, names: &[String]) -> Result<Vec<i64>, Error> {
    names.iter().map(|n| log.find(n).map(|e| e.id)).collect()
}

/// Writes a text to a file, or to standard output for "-".
pub fn save(file: &Path, text: &str, out: &mut dyn Write) -> Result<(), Error> {
    if file == Path::new("-") {
        return put(out, text);
    }
    std::fs::write(file, text).map_err(|source| Error::Write {
        path: file.to_path_buf(),
        source,
    })
}

fn list(log: &Log, wanted: &Wanted, out: &mut dyn Write) -> Result<(), Error> {
    let mut text = String::new();
    for e in wanted.of(log)? {
        let day = e.recorded.as_ref().and_then(|r| r.at.get(..10));
        let tempo = e.tempo_bpm.map(|t| plain(t, 0));
        let label = |t: &Option<String>| harmless(t.as_deref().unwrap_or(UNKNOWN));
        // Writing to a String never fails.
        let _ = writeln!(
            text,
            "{:>5}  {:<10}  {:<12}  {:<14}  {:>5}  {:<24}  {}{}",
            e.id,
            day.unwrap_or(UNKNOWN),
            label(&e.player),
            label(&e.variant),
            tempo.as_deref().unwrap_or(UNKNOWN),
            harmless(&e.part_title),
            harmless(&e.file),
            if e.judged { "" } else { "  (not judged)" },
        );
    }
    if text.is_empty() {
        text.push_str("no entries\n");
    }
    put(out, &text)
}

fn show(log: &Log, name: &str, out: &mut dyn Write) -> Result<(), Error> {
    let entry = log.find(name)?;
    let mut text = String::new();
    let summary = export::summary(&entry);
    for (field, value) in summary.as_object().into_iter().flatten() {
        let value = value.as_str().map_or_else(|| value.to_string(), harmless);
        let _ = writeln!(text, "{field:<15}{value}");
    }
    for m in log.measures(entry.id)? {
        let _ = writeln!(text, "{}", harmless(&kept_measure(&m)));
    }
    put(out, &text)
}
