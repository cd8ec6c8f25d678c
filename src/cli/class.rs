//! `class`: a folder of takes and one overview.

use super::compare::{found_below, review_in};
use super::{DONE, put, say, write_files};
use clap::Args;
use indicatif::{ProgressBar, ProgressStyle};
use kettlemark::error::{Error, reason};
use kettlemark::journal::class::made::{MADE_OF, MadeOf};
use kettlemark::journal::class::work::{Ended, run as run_all};
use kettlemark::journal::class::{Job, Row, State, find, page};
use kettlemark::journal::{self, KeepMeta, Log, date};
use kettlemark::report::lettering::harmless;
use kettlemark::review::Review;
use kettlemark::words::journal as text;
use rayon::prelude::*;
use std::collections::BTreeSet;
use std::ffi::OsString;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::{Mutex, MutexGuard, PoisonError};
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
    /// Letters for names, for hearing blind; keeps nothing in the log. What a
    /// recording's own tags say stays in its copy
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
        Some(from) => (gathered(from, &folder)?, None),
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

/// Rows of all reviews below a folder, named as the class that made them
/// named them, and of the takes that class could not read. A review that
/// cannot be read is a row too.
fn gathered(from: &Path, folder: &Path) -> Result<Vec<Row>, Error> {
    let files = found_below(from, &["review.json", MADE_OF])?;
    let folders: BTreeSet<&Path> = files.iter().filter_map(|f| f.parent()).collect();
    let rows: Vec<Row> = folders
        .into_iter()
        .filter_map(|inside| gathered_row(from, inside, folder))
        .collect();
    if rows.is_empty() {
        return Err(Error::Usage(format!(
            "{}: no review.json lies below this folder",
            from.display()
        )));
    }
    Ok(rows)
}

/// The row of one folder; `None` where nothing is known of a take.
fn gathered_row(from: &Path, inside: &Path, folder: &Path) -> Option<Row> {
    let made = MadeOf::read(inside);
    let file = inside.join("review.json");
    let written = |file: &Path| fs::metadata(file).and_then(|m| m.modified()).ok();
    let reviewed = written(&file);
    // The mark is written after the review; what is newer was put in since.
    if reviewed <= written(&inside.join(MADE_OF))
        && let Some(made) = &made
        && let Some(why) = &made.not_read
    {
        return Some(Row::unreadable(&made.player, &made.name, why));
    }
    reviewed?;
    let name = inside
        .strip_prefix(from)
        .unwrap_or(inside)
        .to_string_lossy();
    let review = match review_in(&file) {
        Ok(review) => review,
        Err(why) => return Some(Row::unreadable(&name, &name, &why)),
    };
    // Another review may have been put into the folder since.
    let made = made.filter(|m| m.take.as_ref() == Some(&review.take.hash));
    let player = made.as_ref().map(|m| m.player.clone());
    let player = player.filter(|p| !p.is_empty()).unwrap_or_else(|| {
        let stem = Path::new(&review.take.file).with_extension("");
        stem.to_string_lossy().into_owned()
    });
    let name = made.map_or_else(|| review.take.file.clone(), |m| m.name);
    let mut row = Row::of_review(&review, &player, &name, "");
    row.folder = pathdiff(inside, folder);
    Some(row)
}

/// The way from a page's folder down to another; `None` where it is not
/// below.
fn pathdiff(to: &Path, from: &Path) -> Option<String> {
    let (to, from) = (to.canonicalize().ok()?, from.canonicalize().ok()?);
    let inside = to.strip_prefix(from).ok()?;
    Some(inside.to_string_lossy().replace('\\', "/"))
}

/// Rows of all takes, and what went wrong besides them: the log or the disk
/// may have failed in the middle of the work.
type Reviewed = (Vec<Row>, Option<Error>);

fn reviewed(args: &ClassArgs, source: &Path, folder: &Path) -> Result<Reviewed, Error> {
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
    let program = std::env::current_exe()
        .map_err(|e| Error::Usage(format!("this program cannot find itself: {e}")))?;
    let class = Class {
        args,
        jobs: &jobs,
        folder,
        program,
        log: Mutex::new(log),
        trouble: Mutex::new(None),
    };
    Ok(class.review_all())
}

/// Letters for names; each take is copied under its letter, so that neither
/// pages nor files tell whose it is. The key goes to a file of its own.
fn hide_names(args: &ClassArgs, jobs: &mut [Job], folder: &Path) -> Result<(), Error> {
    let out = folder.canonicalize().unwrap_or_default();
    let inside_out = |job: &&Job| job.take.canonicalize().is_ok_and(|t| t.starts_with(&out));
    if let Some(job) = jobs.iter().find(inside_out) {
        return Err(Error::Usage(format!(
            "{}: lies in the output folder, where copies under letters would replace it; choose \
             another folder with --out",
            job.take.display()
        )));
    }
    let key = find::anonymous(jobs);
    let file = args.key.clone().unwrap_or_else(|| {
        let mut name = folder.file_name().unwrap_or_default().to_os_string();
        name.push("-key.csv");
        folder.with_file_name(name)
    });
    if fs::read_to_string(&file).map_or(file.exists(), |there| !page::is_key(&there)) {
        return Err(Error::Usage(format!(
            "{}: stands there already and is no key of letters; it is left alone. Name another \
             file with --key, or move it away",
            file.display()
        )));
    }
    fs::write(&file, page::key(&key)).map_err(|source| Error::Write { path: file, source })?;
    for job in jobs.iter_mut() {
        let inside = folder.join(&job.folder);
        make_folder(&inside)?;
        let mut name = job.name.clone();
        if let Some(extension) = job.take.extension() {
            name = format!("{name}.{}", extension.to_string_lossy());
        }
        let copy = inside.join(name);
        if let Err(error) = copied(&job.take, &copy) {
            // The take itself is not reviewed either: it bears its name.
            let _ = fs::remove_file(&copy);
            job.not_read = Some(reason(&error));
        }
        job.take = copy;
    }
    Ok(())
}

/// Copies an ordinary file: a pipe would never end.
fn copied(file: &Path, copy: &Path) -> std::io::Result<()> {
    if !fs::metadata(file)?.is_file() {
        return Err(std::io::Error::other(text::NO_FILE));
    }
    fs::copy(file, copy).map(|_| ())
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

/// A class at work.
struct Class<'a> {
    args: &'a ClassArgs,
    jobs: &'a [Job],
    folder: &'a Path,
    /// Reviews one take.
    program: PathBuf,
    log: Mutex<Option<Log>>,
    /// The first thing that went wrong besides the takes.
    trouble: Mutex<Option<Error>>,
}

impl Class<'_> {
    fn review_all(self) -> Reviewed {
        let options = self.args.review_options.iter();
        let options: Vec<String> = options.map(|o| o.to_string_lossy().into_owned()).collect();
        let found: Vec<(MadeOf, Option<Row>)> = self
            .jobs
            .par_iter()
            .map(|job| {
                let names = (job.name.as_str(), job.player.as_str());
                let made = MadeOf::new(&job.take, &job.part, names, &options);
                let row = self.there(job, &made);
                (made, row)
            })
            .collect();
        let (made, rows): (Vec<MadeOf>, Vec<Option<Row>>) = found.into_iter().unzip();
        let open: Vec<usize> = (0..rows.len()).filter(|&i| rows[i].is_none()).collect();
        let bar = progress(rows.len(), rows.len() - open.len());
        let at_once = self.args.jobs.map_or_else(
            || std::thread::available_parallelism().map_or(1, usize::from),
            usize::from,
        );
        let rows = Mutex::new(rows);
        run_all(
            open.len(),
            at_once,
            Duration::from_secs(self.args.limit_s),
            |k| self.command(&self.jobs[open[k]]),
            |k, ended| {
                let i = open[k];
                let row = self.ended(&self.jobs[i], &made[i], ended);
                locked(&rows)[i] = Some(row);
                bar.inc(1);
            },
        );
        bar.finish_and_clear();
        let rows = locked(&rows).drain(..).flatten().collect();
        let trouble = locked(&self.trouble).take();
        (rows, trouble)
    }

    /// The row of a take that needs no process: it is done, or cannot be.
    fn there(&self, job: &Job, made: &MadeOf) -> Option<Row> {
        if let Some(why) = &job.not_read {
            return Some(self.not_read(job, made, why));
        }
        let inside = self.folder.join(&job.folder);
        MadeOf::read(&inside).filter(|there| made.serves(there))?;
        let review = review_in(&inside.join("review.json")).ok()?;
        Some(self.read(job, made, &review))
    }

    fn command(&self, job: &Job) -> Command {
        let mut command = Command::new(&self.program);
        command
            .arg("review")
            .arg("--no-log")
            .arg("--part")
            .arg(&job.part)
            .arg("--out")
            .arg(self.folder.join(&job.folder))
            .args(&self.args.review_options)
            .arg("--")
            .arg(&job.take);
        command
    }

    /// The row of a take whose process has ended.
    fn ended(&self, job: &Job, made: &MadeOf, ended: &Ended) -> Row {
        let why = match ended {
            Ended::Code(0 | 1, _) => {
                let file = self.folder.join(&job.folder).join("review.json");
                match review_in(&file) {
                    Ok(review) => return self.read(job, made, &review),
                    Err(why) => why,
                }
            }
            Ended::Code(_, said) => why_not(said, job),
            Ended::TooLong => text::given_up(self.args.limit_s),
            Ended::Died(how) => text::died(&nameless(how, job), self.args.limit_mb),
            Ended::NotStarted(why) => text::not_started(why),
        };
        self.not_read(job, made, &why)
    }

    /// Marks a reviewed take as done and keeps it in the log.
    fn read(&self, job: &Job, made: &MadeOf, review: &Review) -> Row {
        self.note(made.write(&self.folder.join(&job.folder)));
        if let Some(log) = locked(&self.log).as_mut() {
            let meta = KeepMeta {
                recorded: date::recorded(&job.take),
                player: Some(job.player.clone()),
                ..KeepMeta::default()
            };
            self.note(log.keep_once(review, &meta));
        }
        Row::of_review(review, &job.player, &job.name, &job.folder)
    }

    fn not_read(&self, job: &Job, made: &MadeOf, why: &str) -> Row {
        let made = made.not_read(why);
        self.note(made.write(&self.folder.join(&job.folder)));
        Row::unreadable(&job.player, &job.name, why)
    }

    fn note(&self, done: Result<(), Error>) {
        if let Err(error) = done {
            locked(&self.trouble).get_or_insert(error);
        }
    }
}

/// What others left behind when they failed is sound here: every change is
/// one assignment.
fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Why a take was not read, from what its process said.
fn why_not(said: &str, job: &Job) -> String {
    let mut lines = said.lines();
    let ours = lines.clone().find_map(|l| l.strip_prefix("kettlemark: "));
    ours.or_else(|| lines.next_back())
        .map_or_else(|| text::NO_REASON.to_owned(), |line| nameless(line, job))
}

/// The same without the places of take and part, which are nobody's business
/// on a page that is handed on and would tell whose an anonymous take is.
fn nameless(said: &str, job: &Job) -> String {
    let shown = |path: &Path| harmless(&path.display().to_string());
    let (take, part) = (shown(&job.take), shown(&job.part));
    let said = match said.strip_prefix(&format!("{take}: ")) {
        Some(why) => why.to_owned(),
        None => said.replace(&format!("{part}: "), text::IN_THE_PART),
    };
    said.replace(&take, &job.name)
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
