//! `part`: checks a part and shows its bars, drums and tuning plan.

use super::{DONE, put};
use clap::{Args, ValueEnum};
use kettlemark::error::Error;
use kettlemark::number::plain;
use kettlemark::part::tuning::{Plan, plan_of, write_tones};
use kettlemark::part::{self, Hand, Part, ReadOptions, quarters_f64, sheet};
use kettlemark::pitch::Pitch;
use kettlemark::words::pitch_name;
use serde_json::{Value, json};
use std::fmt::Write as _;
use std::io::Write;
use std::path::PathBuf;

/// Check a part: show its bars, notes, drums and tuning plan
#[derive(Args)]
#[command(
    after_help = "Example:\n  kettlemark part sample-takes/lantern.musicxml --drums 32,29,26,23 --tones tune.wav"
)]
pub struct PartArgs {
    /// The part: MusicXML (.musicxml, .xml, .mxl), MIDI (.mid) or a text sheet (.kettle)
    file: PathBuf,
    /// Write the part as JSON to a file, or to standard output with -
    #[arg(long, value_name = "FILE")]
    json: Option<PathBuf>,
    /// Print the part in another form
    #[arg(long = "as", value_name = "FORM")]
    form: Option<Form>,
    /// Write a WAV with the reference pitch and each drum's pitch to tune by
    #[arg(long, value_name = "FILE")]
    tones: Option<PathBuf>,
    /// Diameters of the drums at hand in inches, as in 32,29,26,23
    #[arg(long, value_name = "SIZES", value_delimiter = ',')]
    drums: Option<Vec<f64>>,
    /// Which part of a full score, by its name
    #[arg(long, value_name = "NAME")]
    part_name: Option<String>,
    /// Read a tremolo of three strokes as measured thirty-seconds, not as a roll
    #[arg(long)]
    three_strokes_measured: bool,
    /// Time that one retuning takes, seconds
    #[arg(long, value_name = "SECONDS", default_value_t = 2.0)]
    retune_s: f64,
    /// The pitch that the drums are tuned from
    #[arg(long, value_name = "PITCH", default_value = "A3")]
    reference: String,
    /// Frequency of A4 in hertz
    #[arg(long, value_name = "HZ", default_value_t = 440.0)]
    a4: f64,
}

#[derive(Clone, Copy, ValueEnum)]
enum Form {
    /// A text sheet
    Sheet,
}

/// Runs the command.
pub fn run(args: &PartArgs, out: &mut dyn Write) -> Result<u8, Error> {
    if !(0.0..=600.0).contains(&args.retune_s) {
        return Err(Error::Usage(
            "--retune-s is between 0 and 600 seconds".to_owned(),
        ));
    }
    if !(300.0..=600.0).contains(&args.a4) {
        return Err(Error::Usage("--a4 is between 300 and 600 hertz".to_owned()));
    }
    let reference: Pitch = args
        .reference
        .parse()
        .map_err(|e| Error::Usage(format!("--reference: {e}")))?;
    let options = ReadOptions {
        part_name: args.part_name.clone(),
        three_strokes_measured: args.three_strokes_measured,
        drums: args.drums.clone(),
        retune_s: args.retune_s,
        ..ReadOptions::default()
    };
    let part = part::read(&args.file, &options)?;
    let plan = plan_of(&part, reference, options.retune_s, options.default_bpm);
    if let Some(path) = &args.tones {
        write_tones(&plan, reference, args.a4, path)?;
    }
    if let Some(path) = &args.json {
        let mut text = serde_json::to_string_pretty(&as_json(&part, &plan))
            .map_err(|e| Error::Usage(format!("the part cannot be written as JSON: {e}")))?;
        text.push('\n');
        if path.as_os_str() == "-" {
            put(out, &text)?;
            return Ok(DONE);
        }
        std::fs::write(path, text).map_err(|source| Error::Write {
            path: path.clone(),
            source,
        })?;
    }
    match args.form {
        Some(Form::Sheet) => put(out, &sheet::to_sheet(&part))?,
        None => put(out, &summary(&part, &plan))?,
    }
    Ok(DONE)
}

/// Six decimals are far below anything that matters and hide the binary tail.
fn rounded(value: f64) -> f64 {
    (value * 1e6).round() / 1e6
}

fn as_json(part: &Part, plan: &Plan) -> Value {
    let number = |bar: usize| part.bars.get(bar).map(|b| b.number);
    let bars: Vec<Value> = part
        .bars
        .iter()
        .map(|b| {
            json!({
                "number": b.number,
                "at": rounded(quarters_f64(b.at)),
                "length": rounded(quarters_f64(b.length)),
                "meter": format!("{}/{}", b.meter.0, b.meter.1),
                "rehearsal": b.rehearsal,
            })
        })
        .collect();
    let notes: Vec<Value> = part
        .notes
        .iter()
        .enumerate()
        .map(|(index, n)| {
            json!({
                "index": index,
                "bar": number(n.bar),
                "beat": rounded(quarters_f64(part.beat(n.bar, n.at))),
                "at": rounded(quarters_f64(n.at)),
                "length": rounded(quarters_f64(n.length)),
                "pitch": n.pitch.to_string(),
                "drum": if n.drum == 0 { None } else { Some(n.drum) },
                "roll": n.roll,
                "flam": n.flam,
                "accent": n.accent,
                "staccato": n.staccato,
                "dynamic": n.dynamic.map(|d| format!("{d:?}").to_lowercase()),
                "hand": n.hand.map(|h| match h { Hand::Right => "R", Hand::Left => "L" }),
            })
        })
        .collect();
    let unread: Vec<Value> = part
        .unread
        .iter()
        .map(|u| json!({ "bar": u.bar, "what": u.what }))
        .collect();
    json!({
        "title": part.title,
        "bars": bars,
        "notes": notes,
        "tuning": plan,
        "unread": unread,
    })
}

fn summary(part: &Part, plan: &Plan) -> String {
    let mut text = String::new();
    let rolls = part.notes.iter().filter(|n| n.roll).count();
    let _ = writeln!(text, "{}", part.title);
    let _ = writeln!(
        text,
        "{} bars as played, {} notes, of which {rolls} rolls",
        part.bars.len(),
        part.notes.len()
    );
    let _ = writeln!(text, "\nStart");
    for drum in &plan.start {
        let size = drum.size_in.map_or(String::new(), |s| format!(" ({s} in)"));
        let struck = part.notes.iter().filter(|n| n.drum == drum.drum).count();
        let _ = writeln!(
            text,
            "  drum {}{size}: {}, {struck} notes in all",
            drum.drum,
            pitch_name(drum.pitch)
        );
    }
    let _ = writeln!(text, "\nOrder of tuning");
    for step in &plan.order {
        let _ = writeln!(
            text,
            "  drum {}: {}, {} from {}",
            step.drum,
            pitch_name(step.pitch),
            step.interval,
            step.from
        );
    }
    if !plan.changes.is_empty() {
        let _ = writeln!(text, "\nRetuning");
    }
    for change in &plan.changes {
        let rest = change.rest_s.map_or(String::new(), |s| {
            format!(", in a rest of {} s", plain(s, 1))
        });
        let _ = writeln!(
            text,
            "  for bar {}: drum {} from {} to {}, {}{rest}",
            change.bar,
            change.drum,
            pitch_name(change.from),
            pitch_name(change.to),
            change.interval
        );
    }
    if !plan.impossible.is_empty() {
        let _ = writeln!(text, "\nImpossible");
    }
    for why in &plan.impossible {
        let _ = writeln!(text, "  {why}");
    }
    if !part.unread.is_empty() {
        let _ = writeln!(text, "\nNot understood");
    }
    for unread in &part.unread {
        let place = unread
            .bar
            .map_or("in the file".to_owned(), |b| format!("bar {b}"));
        let _ = writeln!(text, "  {place}: {}", unread.what);
    }
    text
}
