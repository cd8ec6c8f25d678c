//! `class`: a folder of takes and one overview.

use super::compare::{read_review, review_in, reviews_below};
use super::{DONE, put, say};
use clap::Args;
use indicatif::{ProgressBar, ProgressStyle};
use kettlemark::error::Error;
use kettlemark::journal::class::work::{Ended, run as run_all};
use kettlemark::journal::class::{Job, Row, State, find, page};
use kettlemark::journal::{self, KeepMeta, Log, date};
use kettlemark::report::store;
use kettlemark::review::Review;
use serde::{Deserialize, Serialize};
use std::ffi::OsString;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Mutex;
use std::time::Duration;

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
    /// Letters for names, for hearing blind; keeps nothing in the log
    #[arg(long)]
    anonymous: bool,
    /// Where the key of the letters goes [default: the output folder's name and -key.csv]
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

/// What a finished take was made of; written beside its review.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct MadeOf {
    format: String,
    program: String,
    take: String,
    part: String,
    name: String,
    options: Vec<String>,
}

/// The file [`MadeOf`] is written to.
const MADE_OF: &str = "made-of.json";

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
    let rows = match &args.from {
        Some(from) => gathered(from, &folder)?,
        None => reviewed(args, source, &folder)?,
    };
    let files = page::files(&title, &rows);
    let files: Vec<(&str, String)> = files.iter().map(|(n, t)| (n.as_str(), t.clone())).collect();
    store::write_all(&folder, &files)?;
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
    Ok(if judged == rows.len() {
        DONE
    } else {
        SOME_FAILED
    })
}

/// Rows of all reviews below a folder. One that cannot be read is a row too.
fn gathered(from: &Path, folder: &Path) -> Result<Vec<Row>, Error> {
    let files = reviews_below(from)?;
    if files.is_empty() {
        return Err(Error::Usage(format!(
            "{}: no review.json lies below this folder",
            from.display()
        )));
    }
    let rows = files.iter().map(|file| {
        let inside = file.parent().unwrap_or(from);
        let name = inside
            .strip_prefix(from)
            .unwrap_or(inside)
            .to_string_lossy();
        let link = pathdiff(inside, folder);
        match review_in(file) {
            Ok(review) => {
                let player = Path::new(&review.take.file).with_extension("");
                let player = player.to_string_lossy();
                let mut row = Row::of_review(&review, &player, &review.take.file, "");
                row.folder = link;
                row
            }
            Err(why) => Row::unreadable(&name, &name, &why),
        }
    });
    let mut rows: Vec<Row> = rows.collect();
    rows.sort_by(|a, b| a.name.cmp(&b.name));
    Ok(rows)
}

/// The way from a page's folder down to another; `None` where it is not
/// below.
fn pathdiff(to: &Path, from: &Path) -> Option<String> {
    let (to, from) = (to.canonicalize().ok()?, from.canonicalize().ok()?);
    let inside = to.strip_prefix(from).ok()?;
    Some(inside.to_string_lossy().replace('\\', "/"))
}

fn reviewed(args: &ClassArgs, source: &Path, folder: &Path) -> Result<Vec<Row>, Error> {
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
    make_folder(folder)?;
    if args.anonymous {
        hide_names(args, &mut jobs, folder)?;
    }
    limit_memory(args.limit_mb);
    let log = (!args.no_log && !args.anonymous).then(|| journal::log_path(args.log.as_deref()));
    // Opened once before the work, so that an unusable log is named at once.
    let log = log.map(|path| Log::open(&path)).transpose()?;
    let rows = review_all(args, &jobs, folder, log)?;
    Ok(rows)
}

/// Letters for names; each take is copied under its letter, so that neither
/// pages nor files tell whose it is. The key goes to a file of its own.
fn hide_names(args: &ClassArgs, jobs: &mut [Job], folder: &Path) -> Result<(), Error> {
    let key = find::anonymous(jobs);
    let file = args.key.clone().unwrap_or_else(|| {
        let mut name = folder.file_name().unwrap_or_default().to_os_string();
        name.push("-key.csv");
        folder.with_file_name(name)
    });
    fs::write(&file, page::key(&key)).map_err(|source| Error::Write { path: file, source })?;
    for job in jobs.iter_mut() {
        let inside = folder.join(&job.folder);
        make_folder(&inside)?;
        let mut name = job.name.clone();
        if let Some(extension) = job.take.extension() {
            name = format!("{name}.{}", extension.to_string_lossy());
        }
        let copy = inside.join(name);
        // A take that cannot be copied is named when it cannot be read.
        if fs::copy(&job.take, &copy).is_ok() {
            job.take = copy;
        }
    }
    Ok(())
}

/// Processes started from now on inherit the limit.
fn limit_memory(most_mb: u64) {
    #[cfg(unix)]
    if let Ok((soft, hard)) = rlimit::Resource::AS.get() {
        let most = most_mb.saturating_mul(1_000_000);
        // Where the system refuses, the limit of time still holds.
        let _ = rlimit::Resource::AS.set(most.min(soft).min(hard), hard);
    }
    #[cfg(not(unix))]
    let _ = most_mb;
}

fn review_all(
    args: &ClassArgs,
    jobs: &[Job],
    folder: &Path,
    log: Option<Log>,
) -> Result<Vec<Row>, Error> {
    let program = std::env::current_exe()
        .map_err(|e| Error::Usage(format!("this program cannot find itself: {e}")))?;
    let made: Vec<Option<MadeOf>> = jobs.iter().map(|job| made_of(args, job)).collect();
    let done: Vec<bool> = jobs
        .iter()
        .zip(&made)
        .map(|(job, made)| is_done(&folder.join(&job.folder), made.as_ref()))
        .collect();
    let open: Vec<usize> = (0..jobs.len()).filter(|&i| !done[i]).collect();
    let bar = progress(jobs.len(), jobs.len() - open.len());
    let at_once = args.jobs.map_or_else(
        || std::thread::available_parallelism().map_or(1, usize::from),
        usize::from,
    );
    let log = Mutex::new(log);
    let trouble: Mutex<Option<Error>> = Mutex::new(None);
    let finish = |i: usize| {
        let job = &jobs[i];
        let inside = folder.join(&job.folder);
        let kept = made[i]
            .as_ref()
            .map_or(Ok(()), |m| mark_done(&inside, m))
            .and_then(|()| keep(&log, job, &inside));
        if let Err(error) = kept {
            trouble
                .lock()
                .unwrap_or_else(std::sync::PoisonError::into_inner)
                .get_or_insert(error);
        }
    };
    for i in (0..jobs.len()).filter(|&i| done[i]) {
        finish(i);
    }
    let command = |k: usize| {
        let job = &jobs[open[k]];
        let mut command = Command::new(&program);
        command
            .arg("review")
            .arg("--no-log")
            .arg("--part")
            .arg(&job.part)
            .arg("--out")
            .arg(folder.join(&job.folder))
            .args(&args.review_options)
            .arg("--")
            .arg(&job.take);
        command
    };
    let ends = run_all(
        open.len(),
        at_once,
        Duration::from_secs(args.limit_s),
        command,
        |k, ended| {
            if matches!(ended, Ended::Code(0 | 1, _)) {
                finish(open[k]);
            }
            bar.inc(1);
        },
    );
    bar.finish_and_clear();
    if let Some(error) = trouble
        .into_inner()
        .unwrap_or_else(std::sync::PoisonError::into_inner)
    {
        return Err(error);
    }
    let mut ended = ends.into_iter();
    Ok(jobs
        .iter()
        .zip(&done)
        .map(|(job, done)| {
            let end = if *done { None } else { ended.next() };
            row(job, folder, end, args)
        })
        .collect())
}

fn row(job: &Job, folder: &Path, ended: Option<Ended>, args: &ClassArgs) -> Row {
    let unreadable = |why: &str| Row::unreadable(&job.player, &job.name, why);
    match ended {
        None | Some(Ended::Code(0 | 1, _)) => {
            match review_in(&folder.join(&job.folder).join("review.json")) {
                Ok(review) => Row::of_review(&review, &job.player, &job.name, &job.folder),
                Err(why) => unreadable(&why),
            }
        }
        Some(Ended::Code(_, said)) => {
            let mut lines = said.lines();
            let ours = lines.clone().find_map(|l| l.strip_prefix("kettlemark: "));
            unreadable(
                ours.or_else(|| lines.next_back())
                    .unwrap_or("no reason was given"),
            )
        }
        Some(Ended::TooLong) => unreadable(&format!(
            "given up after {} seconds; --limit-s gives it longer",
            args.limit_s
        )),
        Some(Ended::Died(how)) => unreadable(&format!(
            "the process that read it died ({how}); it may have wanted more than {} MB",
            args.limit_mb
        )),
        Some(Ended::NotStarted(why)) => unreadable(&format!("no process could be started: {why}")),
    }
}

/// What a review of this take would be made of; `None` where the take or the
/// part cannot be read.
fn made_of(args: &ClassArgs, job: &Job) -> Option<MadeOf> {
    let options = args.review_options.iter();
    Some(MadeOf {
        format: "kettlemark-made-of".to_owned(),
        program: env!("KETTLEMARK_VERSION").to_owned(),
        take: hash(&job.take)?,
        part: hash(&job.part)?,
        name: job.name.clone(),
        options: options.map(|o| o.to_string_lossy().into_owned()).collect(),
    })
}

fn hash(path: &Path) -> Option<String> {
    let mut hasher = blake3::Hasher::new();
    std::io::copy(&mut fs::File::open(path).ok()?, &mut hasher).ok()?;
    Some(hasher.finalize().to_hex().to_string())
}

fn is_done(inside: &Path, made: Option<&MadeOf>) -> bool {
    let there = fs::read_to_string(inside.join(MADE_OF))
        .ok()
        .and_then(|text| serde_json::from_str::<MadeOf>(&text).ok());
    made.is_some() && there.as_ref() == made && read_review(&inside.join("review.json")).is_ok()
}

/// Written beside and renamed: a program killed in between leaves no mark,
/// and the take is done again.
fn mark_done(inside: &Path, made: &MadeOf) -> Result<(), Error> {
    let (path, beside) = (inside.join(MADE_OF), inside.join(".made-of"));
    let text = serde_json::to_string_pretty(made).unwrap_or_default() + "\n";
    fs::write(&beside, text)
        .and_then(|()| fs::rename(&beside, &path))
        .map_err(|source| Error::Write { path, source })
}

/// Keeps a review in the log, unless this very one is there.
fn keep(log: &Mutex<Option<Log>>, job: &Job, inside: &Path) -> Result<(), Error> {
    let mut log = log
        .lock()
        .unwrap_or_else(std::sync::PoisonError::into_inner);
    let Some(log) = log.as_mut() else {
        return Ok(());
    };
    let review: Review = read_review(&inside.join("review.json"))?;
    let meta = KeepMeta {
        recorded: date::recorded(&job.take),
        player: Some(job.player.clone()),
        ..KeepMeta::default()
    };
    log.keep_once(&review, &meta)
}

fn make_folder(folder: &Path) -> Result<(), Error> {
    fs::create_dir_all(folder).map_err(|source| Error::Write {
        path: folder.to_path_buf(),
        source,
    })
}

/// A bar with the time left on standard error, silent where that is no
/// terminal.
fn progress(all: usize, done: usize) -> ProgressBar {
    let bar = ProgressBar::new(all as u64).with_position(done as u64);
    if let Ok(style) = ProgressStyle::with_template("{pos} of {len} takes {wide_bar} {eta} left") {
        bar.set_style(style);
    }
    bar.reset_eta();
    bar
}
