//! `review`: one take, one part, one report.

use super::given::{PartArgs, SettingsArgs};
use super::progress::with_clock;
use super::{DONE, NOT_JUDGED, put, say};
use kettlemark::error::Error;
use kettlemark::journal::{self, KeepMeta, date};
use kettlemark::part::ReadOptions;
use kettlemark::report::{self, Options, json, store};
use kettlemark::review::Review;
use kettlemark::take::Recording;
use kettlemark::words::journal::LISTENING;
use kettlemark::{listen, part, pipeline, words};
use std::io::Write;
use std::path::{Path, PathBuf};

/// Review a recorded take against its part
#[derive(clap::Args)]
#[command(
    after_help = "Example:\n  kettlemark review sample-takes/lantern-2.m4a --part sample-takes/lantern.musicxml\n\n\
                  Exit code 0: reviewed. 1: the take was read but could not be judged against this part.\n\
                  2: wrong use, or a file that cannot be read or written."
)]
pub struct ReviewArgs {
    /// The recording: WAV, AIFF, FLAC, MP3, M4A, MP4, MOV, Ogg, CAF ...
    take: PathBuf,
    /// The expected part: MusicXML, MIDI or a text sheet
    #[arg(long, value_name = "PART")]
    part: PathBuf,
    /// Folder for the report [default: reports/ and the name of the take]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Print review.json to standard output instead of the summary
    #[arg(long, value_name = "-", value_parser = ["-"])]
    json: Option<String>,
    /// Put a small copy of what was played into the page (about half a MB a minute)
    #[arg(long)]
    with_audio: bool,
    /// Keep nothing in the practice log
    #[arg(long)]
    no_log: bool,
    /// The practice log [default: $KETTLEMARK_LOG, else reports/practice.db]
    #[arg(long, value_name = "FILE", conflicts_with = "no_log")]
    log: Option<PathBuf>,
    /// Who played, as the log is to know it
    #[arg(long, value_name = "LABEL", conflicts_with = "no_log")]
    player: Option<String>,
    /// A sticking, a pair of mallets: anything that takes may differ in
    #[arg(long, value_name = "LABEL", conflicts_with = "no_log")]
    variant: Option<String>,
    #[command(flatten)]
    part_args: PartArgs,
    #[command(flatten)]
    settings: SettingsArgs,
}

impl ReviewArgs {
    /// How the part is to be read; an error where the settings are none.
    pub fn read_options(&self) -> Result<ReadOptions, Error> {
        self.settings.settings()?;
        Ok(self.part_args.options())
    }
}

pub fn run(args: &ReviewArgs, out: &mut dyn Write) -> Result<u8, Error> {
    let settings = args.settings.settings()?;
    let part = part::read(&args.part, &args.part_args.options())?;
    let recording = Recording::open(&args.take)?;
    let review = with_clock(LISTENING, || {
        let heard = listen::listen(recording)?;
        Ok::<_, Error>(pipeline::review(&heard, &part, &settings))
    })?;

    let recorded = date::recorded(&args.take);
    let folder = folder(args, &review);
    let options = Options {
        take: Some(args.take.clone()),
        with_audio: args.with_audio,
        recorded: recorded.as_ref().and_then(words::page::recorded),
    };
    report::write(&review, &folder, &options)?;
    let result = match args.json {
        Some(_) => json::text(&review),
        None => report::summary(&review),
    };
    put(out, &result)?;
    say(&format!(
        "The report: {}",
        folder.join("review.html").display()
    ));
    // Last: a log that cannot be used takes nothing from the report.
    if !args.no_log {
        let meta = KeepMeta {
            recorded,
            player: label(args.player.as_ref()),
            variant: label(args.variant.as_ref()),
            note: None,
        };
        journal::keep(&review, &meta, &journal::log_path(args.log.as_deref()))?;
    }
    if review.judged {
        return Ok(DONE);
    }
    let reason = review.reason.as_deref().unwrap_or("no reason is known");
    say(&format!(
        "kettlemark: {}: not judged: {reason}",
        args.take.display()
    ));
    Ok(NOT_JUDGED)
}

/// An empty label is none.
fn label(given: Option<&String>) -> Option<String> {
    given.filter(|label| !label.trim().is_empty()).cloned()
}

/// Where the report goes. Without `--out`, a folder that holds the review of
/// another take of the same name is left alone, and so is one that holds a
/// judged review of this take where the new one is not judged. A folder that
/// was asked for is used, and what is lost there is said.
fn folder(args: &ReviewArgs, review: &Review) -> PathBuf {
    let loses =
        |there: &Review| there.judged && !review.judged && there.take.hash == review.take.hash;
    if let Some(folder) = &args.out {
        if review_in(folder).is_some_and(|there| loses(&there)) {
            say(&format!(
                "{} held a judged review of this take; the new one, which is not judged, replaces it",
                folder.display()
            ));
        }
        return folder.clone();
    }
    let mut folder = store::default_folder(&args.take);
    if review_in(&folder).is_some_and(|there| there.take.hash != review.take.hash) {
        let short: String = review.take.hash.chars().take(8).collect();
        leave_alone(&folder, "the review of another take of this name");
        folder = beside(&folder, &short);
    }
    if review_in(&folder).is_some_and(|there| loses(&there)) {
        leave_alone(&folder, "a judged review of this take");
        folder = beside(&folder, "not-judged");
    }
    folder
}

fn leave_alone(folder: &Path, what: &str) {
    say(&format!(
        "{} holds {what} and is left alone",
        folder.display()
    ));
}

/// The folder of the same name with something added.
fn beside(folder: &Path, added: &str) -> PathBuf {
    let mut name = folder.file_name().unwrap_or_default().to_owned();
    name.push(format!("-{added}"));
    folder.with_file_name(name)
}

/// The review that a folder holds, if any.
fn review_in(folder: &Path) -> Option<Review> {
    let text = std::fs::read_to_string(folder.join("review.json")).ok()?;
    serde_json::from_str(&text).ok()
}
