//! `class`: a folder of takes and one overview.

mod gather;
mod letters;
mod work;

use super::{Cli, Command, DONE, put, say, write_files};
use clap::{Args, Parser};
use kettlemark::error::Error;
use kettlemark::journal::class::{State, find, page};
use kettlemark::journal::{self, Log};
use kettlemark::part::{self, ReadOptions};
use std::collections::BTreeSet;
use std::ffi::OsString;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use work::Reviewed;

/// Exit code: some takes could not be read or judged.
const SOME_FAILED: u8 = 1;

/// Review a folder of takes, with one overview of them all
///
/// Every take is reviewed by a process of its own. What has been reviewed
/// and has not changed since is not done again. Names are taken from file
/// names, or from a CSV with the columns file, player and part.
#[derive(Args)]
#[command(
    after_help = "Example:\n  kettlemark class takes --part sample-takes/lantern.musicxml --out reports/lantern-class"
)]
pub struct ClassArgs {
    /// Folder with takes, or a CSV with the columns file, player, part
    #[arg(required_unless_present = "from")]
    folder: Option<PathBuf>,
    /// The part; without it each folder's own score file
    #[arg(long, value_name = "PART")]
    part: Option<PathBuf>,
    /// Folder for class.html, class.csv and a folder a take
    /// [default: reports/ and the folder's name]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Review nothing: gather the review.json files below a folder
    #[arg(long, value_name = "DIR", conflicts_with_all = ["folder", "part", "anonymous"])]
    from: Option<PathBuf>,
    /// Letters for names, for hearing blind; keeps nothing in the log. What a
    /// recording's own tags say stays in its copy
    #[arg(long)]
    anonymous: bool,
    /// Where the key of the letters goes; letters in it stay [default: the output folder's name and -key.csv]
    #[arg(long, value_name = "FILE", requires = "anonymous")]
    key: Option<PathBuf>,
    /// Takes reviewed at once [default: one a processor]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=512))]
    jobs: Option<u16>,
    /// A take that needs longer than this is given up, seconds
    #[arg(long, value_name = "SECONDS", default_value_t = 600,
          value_parser = clap::value_parser!(u64).range(1..=86_400))]
    limit_s: u64,
    /// A take that needs more memory than this is given up, megabytes
    #[arg(long, value_name = "MB", default_value_t = 2000,
          value_parser = clap::value_parser!(u64).range(50..=1_000_000))]
    limit_mb: u64,
    /// Keep nothing in the practice log
    #[arg(long)]
    no_log: bool,
    /// The practice log [default: $KETTLEMARK_LOG, else reports/practice.db]
    #[arg(long, value_name = "FILE")]
    log: Option<PathBuf>,
    /// Further options of 'kettlemark review', after --
    #[arg(last = true, value_name = "OPTIONS")]
    review_options: Vec<OsString>,
}

/// Runs the command.
pub fn run(args: &ClassArgs, out: &mut dyn Write) -> Result<u8, Error> {
    let source = args.from.as_deref().or(args.folder.as_deref());
    let source = source.ok_or_else(|| Error::Usage("no folder was given".to_owned()))?;
    let title = source
        .canonicalize()
        .ok()
        .and_then(|p| p.file_stem().map(|n| n.to_string_lossy().into_owned()))
        .unwrap_or_else(|| source.to_string_lossy().into_owned());
    let folder = match (&args.out, &args.from) {
        (Some(out), _) => out.clone(),
        (None, Some(from)) => from.clone(),
        (None, None) => Path::new("reports").join(&title),
    };
    let (mut rows, trouble) = match &args.from {
        Some(from) => (gather::gathered(from, &folder)?, None),
        None => reviewed(args, source, &folder)?,
    };
    rows.sort_by(|a, b| a.name.cmp(&b.name));
    write_files(&folder, &page::files(&title, &rows))?;
    let mut judged = 0;
    for row in &rows {
        match &row.state {
            State::Judged => judged += 1,
            State::Refused(why) => say(&format!("{}: not judged: {why}", row.name)),
            State::Unreadable(why) => say(&format!("{}: not read: {why}", row.name)),
        }
    }
    let page = folder.join("class.html");
    put(
        out,
        &format!(
            "{judged} of {} takes judged\n{}\n",
            rows.len(),
            page.display()
        ),
    )?;
    match trouble {
        Some(error) => Err(error),
        None if judged == rows.len() => Ok(DONE),
        None => Ok(SOME_FAILED),
    }
}

fn reviewed(args: &ClassArgs, source: &Path, folder: &Path) -> Result<Reviewed, Error> {
    let options = options_of_review(args)?;
    let mut jobs = if source.is_dir() {
        find::in_folder(source, args.part.as_deref(), folder)?
    } else {
        find::in_list(source, args.part.as_deref())?
    };
    if jobs.is_empty() {
        return Err(Error::Usage(format!(
            "{}: no recordings were found",
            source.display()
        )));
    }
    // What was named by hand is read before any work: a slip there is no
    // fault of the takes. Of scores that were found, only their own takes hear.
    if args.part.is_some() || !source.is_dir() {
        let parts: BTreeSet<&Path> = jobs.iter().map(|j| j.part.as_path()).collect();
        for named in parts {
            part::read(named, &options)?;
        }
    }
    make_folder(folder)?;
    if args.anonymous {
        letters::hide_names(args, &mut jobs, folder)?;
    }
    let log = (!args.no_log && !args.anonymous).then(|| journal::log_path(args.log.as_deref()));
    // Opened once before the work, so that an unusable log is named at once.
    let log = log.map(|path| Log::open(&path)).transpose()?;
    work::review_all(args, &jobs, folder, log)
}

/// How the parts are to be read, from the further options of a review: these
/// are parsed as every review will parse them.
fn options_of_review(args: &ClassArgs) -> Result<ReadOptions, Error> {
    let before = [
        "kettlemark",
        "review",
        "--no-log",
        "--part",
        "PART",
        "--out",
        "DIR",
        "TAKE",
    ];
    let words = before.map(OsString::from).into_iter();
    match Cli::try_parse_from(words.chain(args.review_options.iter().cloned())) {
        Ok(Cli {
            command: Command::Review(review),
        }) => review.read_options(),
        Ok(_) => Ok(ReadOptions::default()),
        Err(error) => {
            let said = error.to_string();
            let what = said.lines().find_map(|l| l.strip_prefix("error: "));
            Err(Error::Usage(format!(
                "{}; after -- come options of 'kettlemark review', and its --help shows them",
                what.unwrap_or("no option of a review was found")
            )))
        }
    }
}

fn make_folder(folder: &Path) -> Result<(), Error> {
    fs::create_dir_all(folder).map_err(|source| Error::Write {
        path: folder.to_path_buf(),
        source,
    })
}
