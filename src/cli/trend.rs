//! `trend`: one player over weeks.

use super::log::{Wanted, save};
use super::progress::late;
use super::{DONE, put, write_files};
use clap::Args;
use kettlemark::error::Error;
use kettlemark::journal::trend::{self, Kept, Trends};
use kettlemark::journal::{self, Entry, Log};
use kettlemark::words::journal as text;
use std::collections::BTreeSet;
use std::io::Write;
use std::path::PathBuf;

/// Show how a player's measures move over the weeks
#[derive(Args)]
#[command(after_help = "Example:\n  kettlemark trend --player A --part 'Lantern Procession'")]
pub struct TrendArgs {
    #[command(flatten)]
    wanted: Wanted,
    /// One figure kind across all parts, such as triplet-eighths
    #[arg(long, value_name = "KIND", conflicts_with = "part")]
    figure: Option<String>,
    /// Folder for trend.html and its charts
    #[arg(long, value_name = "DIR", default_value = "reports/trend")]
    out: PathBuf,
    /// Write the numbers as JSON to a file, or to standard output with -
    #[arg(long, value_name = "FILE")]
    json: Option<PathBuf>,
    /// The practice log [default: $KETTLEMARK_LOG, else reports/practice.db]
    #[arg(long, value_name = "FILE")]
    log: Option<PathBuf>,
}

/// Runs the command.
pub fn run(args: &TrendArgs, out: &mut dyn Write) -> Result<u8, Error> {
    let log = Log::open_existing(&journal::log_path(args.log.as_deref()))?;
    let entries = args.wanted.of(&log)?;
    if entries.is_empty() {
        return Err(Error::Usage(
            "no kept take is meant by this; 'kettlemark log' lists what there is".to_owned(),
        ));
    }
    let player = |e: &Entry| e.player.clone().unwrap_or_else(|| "(no label)".to_owned());
    let players = only("players", "--player", entries.iter().map(player))?;
    let part = if let Some(kind) = &args.figure {
        Some(kind.clone())
    } else {
        // Two parts may bear one title; the identity tells them apart.
        let name = |e: &Entry| format!("{} ({:.12})", e.part_title, e.part_identity);
        only(
            "parts",
            "--part, or --figure for all parts",
            entries.iter().map(name),
        )?;
        entries.first().map(|e| e.part_title.clone())
    };
    let takes = trend::kept(&log, late(entries.iter()), args.figure.as_deref())?;
    if let Some(kind) = &args.figure
        && takes.iter().all(|t| t.measures.is_empty())
    {
        return Err(no_such_figure(kind, &trend::kept(&log, &entries, None)?));
    }
    let trends = Trends {
        player: players.filter(|p| p != "(no label)"),
        part,
        ..trend::trends(&takes, entries.len())
    };
    write_files(&args.out, &trend::files(&trends))?;
    if let Some(file) = &args.json {
        let text = serde_json::to_string_pretty(&trends).unwrap_or_default() + "\n";
        save(file, &text, out)?;
        if file.as_os_str() == "-" {
            return Ok(DONE);
        }
    }
    for series in trends.shown() {
        let title = text::measure_of(series.definition, &series.of);
        put(out, &format!("{title}: {}\n", text::series(series)))?;
    }
    for edge in &trends.tempo_edges {
        put(out, &format!("{}\n", text::tempo_edge(edge)))?;
    }
    put(out, &format!("{}\n", args.out.join("trend.html").display()))?;
    Ok(DONE)
}

fn no_such_figure(kind: &str, takes: &[Kept]) -> Error {
    let measures = takes.iter().flat_map(|t| &t.measures);
    let kinds: BTreeSet<&str> = measures
        .filter(|m| m.scope == "figure")
        .map(|m| m.key.as_str())
        .collect();
    let kinds: Vec<&str> = kinds.into_iter().collect();
    Error::Usage(match kinds.as_slice() {
        [] => format!("no take that is meant has figures '{kind}', or of any other kind"),
        kinds => format!(
            "no take that is meant has figures '{kind}'; there are {}",
            kinds.join(", ")
        ),
    })
}

/// The only one of several names; with more than one the command line has to
/// say which is meant.
fn only(
    what: &str,
    flag: &str,
    names: impl Iterator<Item = String>,
) -> Result<Option<String>, Error> {
    let names: BTreeSet<String> = names.collect();
    if names.len() > 1 {
        let names: Vec<String> = names.into_iter().collect();
        return Err(Error::Usage(format!(
            "the log has takes of several {what}: {}. Choose with {flag}",
            names.join(", ")
        )));
    }
    Ok(names.into_iter().next())
}
