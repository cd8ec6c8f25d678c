//! `compare`: two sets of takes beside one another.

use super::log::save;
use super::progress::late;
use super::{DONE, put, say, write_files};
use clap::Args;
use kettlemark::error::{Error, reason};
use kettlemark::journal::compare::{self, Set, Take};
use kettlemark::journal::{self, Filter, Log};
use kettlemark::report::lettering::harmless;
use kettlemark::review::Review;
use kettlemark::words::{count, journal as text};
use std::collections::BTreeSet;
use std::io::Write;
use std::path::{Component, Path, PathBuf};

/// Set two sets of takes beside one another
///
/// A set is a label kept in the log (variant:NAME, player:NAME or
/// tempo:LOW-HIGH in quarter notes a minute), or a review.json, or a folder
/// with review.json files below it.
#[derive(Args)]
#[command(
    after_help = "Example:\n  kettlemark compare variant:alternating variant:double --part 'Lantern Procession'"
)]
pub struct CompareArgs {
    /// The first set
    a: String,
    /// The second set; differences are the second minus the first
    b: String,
    /// Takes of this player only
    #[arg(long, value_name = "NAME")]
    player: Option<String>,
    /// Takes of this part only: its title, or the beginning of its identity
    #[arg(long, value_name = "PART")]
    part: Option<String>,
    /// Folder for compare.html and its charts
    #[arg(long, value_name = "DIR", default_value = "reports/compare")]
    out: PathBuf,
    /// Write the numbers as JSON to a file, or to standard output with -
    #[arg(long, value_name = "FILE")]
    json: Option<PathBuf>,
    /// The practice log [default: $KETTLEMARK_LOG, else reports/practice.db]
    #[arg(long, value_name = "FILE")]
    log: Option<PathBuf>,
}

/// Runs the command.
pub fn run(args: &CompareArgs, out: &mut dyn Write) -> Result<u8, Error> {
    let (mut a, of_a, called_a) = set(args, &args.a)?;
    let (mut b, of_b, called_b) = set(args, &args.b)?;
    (a.name, b.name) = told_apart(&called_a, &called_b);
    let parts: BTreeSet<&str> = of_a.union(&of_b).map(|(part, _)| part.as_str()).collect();
    if parts.len() > 1 {
        say("kettlemark: the takes are not all of one part; bars are compared by their numbers");
    }
    let twice = of_a.intersection(&of_b).count();
    if twice > 0 {
        say(&format!(
            "kettlemark: {} in both sets; p and the intervals hold for different takes only",
            count(twice, "take is", "takes are")
        ));
    }
    let comparison = compare::compare(&a, &b);
    write_files(&args.out, &compare::files(&comparison))?;
    if let Some(file) = &args.json {
        let text = serde_json::to_string_pretty(&comparison).unwrap_or_default() + "\n";
        save(file, &text, out)?;
        if file.as_os_str() == "-" {
            return Ok(DONE);
        }
    }
    for c in comparison.shown() {
        let title = text::measure_of(c.definition, &c.of);
        let said = text::compared(c, (&a.name, &b.name));
        put(out, &format!("{title}: {}\n", harmless(&said)))?;
    }
    for apart in text::apart(&comparison.apart) {
        put(out, &format!("{}\n", harmless(&apart)))?;
    }
    put(
        out,
        &format!("{}\n", args.out.join("compare.html").display()),
    )?;
    Ok(DONE)
}

/// The identity of a part and the hash of a take.
type Identity = (String, String);

/// What a set may be called, the shortest first.
type Called = Vec<String>;

/// The shortest names that are not the same, if there are such.
fn told_apart(a: &Called, b: &Called) -> (String, String) {
    let name = |called: &Called, length: usize| {
        let longest = called.len().saturating_sub(1);
        called.get(length.min(longest)).cloned().unwrap_or_default()
    };
    let longest = a.len().max(b.len());
    (0..longest)
        .map(|length| (name(a, length), name(b, length)))
        .find(|(a, b)| a != b)
        .unwrap_or_else(|| (name(a, 0), name(b, 0)))
}

/// The last component of a path, then with its parent, and so on.
fn endings(path: &Path) -> Called {
    let whole = path.canonicalize().unwrap_or_else(|_| path.to_path_buf());
    let mut endings: Called = Vec::new();
    for component in whole.components().rev() {
        let Component::Normal(component) = component else {
            break;
        };
        let component = component.to_string_lossy();
        endings.push(match endings.last() {
            Some(shorter) => format!("{component}/{shorter}"),
            None => component.into_owned(),
        });
    }
    endings
}

/// What the takes of a file or folder may be called: a folder by its name, one
/// review by the file of its take.
fn called_by_path(path: &Path, takes: &[Take]) -> Called {
    let [take] = takes else {
        return endings(path);
    };
    if path.is_dir() {
        return endings(path);
    }
    let file = Path::new(&take.name).file_name().unwrap_or_default();
    let file = file.to_string_lossy().into_owned();
    let above = path.canonicalize().ok();
    let above = above.as_deref().and_then(Path::parent).map(endings);
    let longer = above.into_iter().flatten().map(|a| format!("{a}/{file}"));
    std::iter::once(file.clone()).chain(longer).collect()
}

/// A set, what its takes are, and what it may be called.
fn set(args: &CompareArgs, name: &str) -> Result<(Set, BTreeSet<Identity>, Called), Error> {
    let path = Path::new(name);
    let found = if path.exists() {
        from_files(path)?
    } else {
        from_log(args, name)?
    };
    let (takes, identities): (Vec<Option<Take>>, BTreeSet<Identity>) = found.into_iter().unzip();
    let takes: Vec<Take> = takes.into_iter().flatten().collect();
    if takes.is_empty() {
        let nothing = if path.exists() || name.contains(':') {
            "holds no judged take"
        } else {
            "is no file or folder here, and no kept take that was judged has it as its variant"
        };
        return Err(Error::Usage(format!(
            "'{name}' {nothing}; 'kettlemark log' lists what has been kept"
        )));
    }
    let called = if path.exists() {
        called_by_path(path, &takes)
    } else {
        let label = name.split_once(':').map_or(name, |(_, label)| label);
        vec![label.to_owned(), name.to_owned()]
    };
    let set = Set {
        name: name.to_owned(),
        takes,
    };
    Ok((set, identities, called))
}

/// Takes, `None` where they were not judged, and what they are.
type Found = Vec<(Option<Take>, Identity)>;

fn identity(review: Review) -> Identity {
    (review.part.identity, review.take.hash)
}

fn from_log(args: &CompareArgs, name: &str) -> Result<Found, Error> {
    let mut filter = Filter {
        player: args.player.clone(),
        variant: None,
        part: args.part.clone(),
    };
    let mut tempo = None;
    match name.split_once(':') {
        Some(("player", label)) => filter.player = Some(label.to_owned()),
        Some(("tempo", range)) => {
            let ends = range.split_once('-');
            let number = |text: &str| text.trim().parse::<f64>().ok();
            tempo = ends.and_then(|(low, high)| number(low).zip(number(high)));
            if tempo.is_none_or(|(low, high)| low > high) {
                return Err(Error::Usage(format!(
                    "'{name}': expected two tempi, the slower first, as in tempo:90-110"
                )));
            }
        }
        Some(("variant", label)) => filter.variant = Some(label.to_owned()),
        _ => filter.variant = Some(name.to_owned()),
    }
    let log = Log::open_existing(&journal::log_path(args.log.as_deref()))?;
    let within = |bpm: Option<f64>| {
        tempo.is_none_or(|(low, high)| bpm.is_some_and(|t| (low..=high).contains(&t)))
    };
    let mut entries = log.entries()?;
    entries.retain(|e| filter.takes(e) && within(e.tempo_bpm));
    late(entries.iter())
        .map(|e| {
            let review = log.review(e.id)?;
            let recorded = e.recorded.as_ref().map(|r| r.at.clone());
            let take = Take::kept(&review, &review.take.file, log.measures(e.id)?, recorded);
            Ok((take, identity(review)))
        })
        .collect()
}

/// The reviews of a file, or of all review.json below a folder, in order of
/// name.
fn from_files(path: &Path) -> Result<Found, Error> {
    let files = found_below(path, &["review.json"])?;
    late(files.iter())
        .map(|file| {
            let review = review_in(file)
                .map_err(|what| Error::Usage(format!("{}: {what}", file.display())))?;
            let take = Take::of(&review, &review.take.file);
            Ok((take, identity(review)))
        })
        .collect()
}

/// Reads one review.json; what is wrong is told without the file's place,
/// which is nobody's business on a page that is handed on.
pub fn review_in(file: &Path) -> Result<Review, String> {
    use serde_json::error::Category;
    let text = std::fs::read_to_string(file).map_err(|e| reason(&e))?;
    serde_json::from_str(&text).map_err(|e| {
        let what = match e.classify() {
            Category::Eof => "its review.json ends before it is whole",
            Category::Data => "its review.json is of another kind or version",
            Category::Syntax | Category::Io => "its review.json is damaged",
        };
        format!("{what}; review the take again")
    })
}

/// The file itself, or every file below a folder that bears one of some
/// names, in order; hidden folders are passed over.
pub fn found_below(path: &Path, names: &[&str]) -> Result<Vec<PathBuf>, Error> {
    if path.is_file() {
        return Ok(vec![path.to_path_buf()]);
    }
    let unreadable =
        |e: std::io::Error| Error::Usage(format!("{}: {}", path.display(), reason(&e)));
    let mut found = Vec::new();
    let mut inside: Vec<PathBuf> = std::fs::read_dir(path)
        .map_err(unreadable)?
        .map(|entry| entry.map(|e| e.path()))
        .collect::<Result<_, _>>()
        .map_err(unreadable)?;
    inside.sort();
    for below in inside {
        let hidden = below
            .file_name()
            .is_some_and(|n| n.to_string_lossy().starts_with('.'));
        if below.is_dir() && !hidden {
            found.extend(found_below(&below, names)?);
        } else if names
            .iter()
            .any(|name| below.file_name().is_some_and(|n| n == *name))
        {
            found.push(below);
        }
    }
    Ok(found)
}
