//! `review`: one take against one part.

use super::{DONE, put, say};
use clap::Args;
use kettlemark::error::Error;
use kettlemark::journal::{self, KeepMeta};
use kettlemark::part::{self, ReadOptions};
use kettlemark::review::Review;
use kettlemark::settings::Settings;
use kettlemark::take::Recording;
use kettlemark::{listen, pipeline, report};
use std::io::Write;
use std::path::{Path, PathBuf};

/// Exit code: the take was read but could not be judged against the part.
const NOT_JUDGED: u8 = 1;

/// Review a take against its part
#[derive(Args)]
#[command(
    after_help = "Example:\n  kettlemark review sample-takes/lantern-2.m4a --part sample-takes/lantern.musicxml"
)]
pub struct ReviewArgs {
    /// The recording
    take: PathBuf,
    /// The part: MusicXML, MIDI or a text sheet
    #[arg(long, value_name = "PART")]
    part: PathBuf,
    /// Folder for the review [default: reports/ and the take's name]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Print the review as JSON; - is standard output
    #[arg(long, value_name = "FILE")]
    json: Option<PathBuf>,
    /// Which part of a full score, by its name
    #[arg(long, value_name = "NAME")]
    part_name: Option<String>,
    /// Diameters of the drums at hand in inches, as in 32,29,26,23
    #[arg(long, value_name = "SIZES", value_delimiter = ',')]
    drums: Option<Vec<f64>>,
    /// Read a tremolo of three strokes as measured thirty-seconds, not as a roll
    #[arg(long)]
    three_strokes_measured: bool,
    /// Frequency of A4 in hertz
    #[arg(long, value_name = "HZ", default_value_t = 440.0)]
    a4: f64,
    /// Which passage counts, 1 = first [default: the longest]
    #[arg(long, value_name = "N")]
    passage: Option<usize>,
    /// How many times likelier than "as written" a mistake must be before it is named
    #[arg(long, value_name = "RATIO", default_value_t = Settings::default().accuse_ratio)]
    accuse_ratio: f64,
    /// Put a small copy of the counted passage into the page
    #[arg(long)]
    with_audio: bool,
    /// Who plays, for the practice log
    #[arg(long, value_name = "NAME")]
    player: Option<String>,
    /// A sticking or a pair of mallets, for comparing in the practice log
    #[arg(long, value_name = "NAME")]
    variant: Option<String>,
    /// Keep nothing in the practice log
    #[arg(long)]
    no_log: bool,
    /// The practice log [default: $KETTLEMARK_LOG, else reports/practice.db]
    #[arg(long, value_name = "FILE")]
    log: Option<PathBuf>,
}

/// Runs the command.
pub fn run(args: &ReviewArgs, out: &mut dyn Write) -> Result<u8, Error> {
    let settings = settings(args)?;
    let options = ReadOptions {
        part_name: args.part_name.clone(),
        three_strokes_measured: args.three_strokes_measured,
        drums: args.drums.clone(),
        ..ReadOptions::default()
    };
    let part = part::read(&args.part, &options)?;
    let heard = listen::listen(Recording::open(&args.take)?)?;
    let review = pipeline::review(&heard, &part, &settings);
    let folder = args
        .out
        .clone()
        .unwrap_or_else(|| default_folder(&args.take));
    let recorded = journal::date::recorded(&args.take);
    let shown = report::Options {
        take: Some(args.take.clone()),
        recorded: recorded.as_ref().map(|r| r.at.clone()),
        with_audio: args.with_audio,
    };
    report::write(&review, &folder, &shown)?;
    if !args.no_log && review.judged {
        let meta = KeepMeta {
            recorded,
            player: args.player.clone(),
            variant: args.variant.clone(),
            note: None,
        };
        let log = journal::log_path(args.log.as_deref());
        journal::keep(&review, &meta, &log)?;
    }
    print(&review, args.json.as_deref(), &folder, out)?;
    if let Some(reason) = &review.reason {
        say(reason);
    }
    Ok(if review.judged { DONE } else { NOT_JUDGED })
}

/// Checks the numbers given on the command line.
fn settings(args: &ReviewArgs) -> Result<Settings, Error> {
    if !(380.0..=500.0).contains(&args.a4) {
        return Err(Error::Usage(format!(
            "--a4 {}: expected a frequency of A4 between 380 and 500 hertz, as in 442",
            args.a4
        )));
    }
    if args.passage == Some(0) {
        return Err(Error::Usage(
            "--passage 0: passages are counted from 1".to_owned(),
        ));
    }
    if !(1.0..=1e12).contains(&args.accuse_ratio) {
        return Err(Error::Usage(format!(
            "--accuse-ratio {}: expected a number of at least 1, as in 100",
            args.accuse_ratio
        )));
    }
    Ok(Settings {
        a4_hz: args.a4,
        passage: args.passage,
        accuse_ratio: args.accuse_ratio,
        ..Settings::default()
    })
}

/// `reports/` and the take's name without its ending.
fn default_folder(take: &Path) -> PathBuf {
    Path::new("reports").join(take.file_stem().unwrap_or(take.as_os_str()))
}

/// The short summary, or the JSON where it is asked for.
fn print(
    review: &Review,
    json: Option<&Path>,
    folder: &Path,
    out: &mut dyn Write,
) -> Result<(), Error> {
    match json {
        Some(path) if path == Path::new("-") => put(out, &report::json::text(review)),
        Some(path) => {
            std::fs::write(path, report::json::text(review)).map_err(|source| Error::Write {
                path: path.to_owned(),
                source,
            })
        }
        None => {
            put(out, &report::summary(review))?;
            put(
                out,
                &format!(
                    "The whole review: {}\n",
                    folder.join("review.html").display()
                ),
            )
        }
    }
}
