//! A class at work: a process for every take that has changed.

use super::ClassArgs;
use crate::cli::compare::review_in;
use crate::cli::progress::with_bar;
use kettlemark::error::Error;
use kettlemark::journal::class::made::MadeOf;
use kettlemark::journal::class::work::{Ended, run as run_all};
use kettlemark::journal::class::{Job, Row, reason};
use kettlemark::journal::{KeepMeta, Log, date};
use kettlemark::review::Review;
use kettlemark::words::journal as text;
use rayon::prelude::*;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

/// Rows of all takes, and what went wrong besides them: the log or the disk
/// may have failed in the middle of the work.
pub type Reviewed = (Vec<Row>, Option<Error>);

/// Reviews every take that is not done yet.
pub fn review_all(
    args: &ClassArgs,
    jobs: &[Job],
    folder: &Path,
    log: Option<Log>,
) -> Result<Reviewed, Error> {
    let program = std::env::current_exe()
        .map_err(|e| Error::Usage(format!("this program cannot find itself: {e}")))?;
    limit_memory(args.limit_mb);
    let class = Class {
        args,
        jobs,
        folder,
        program,
        log: Mutex::new(log),
        trouble: Mutex::new(None),
    };
    Ok(class.review_all())
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
        let all = self.jobs.len();
        // The whole of every file is read for this.
        let found: Vec<(MadeOf, Option<Row>)> = with_bar(text::LOOKED_AT, (0, all), |bar| {
            let look = |job: &Job| {
                let names = (job.name.as_str(), job.player.as_str());
                let made = MadeOf::new(&job.take, &job.part, names, &options);
                let row = self.there(job, &made);
                bar.inc(1);
                (made, row)
            };
            self.jobs.par_iter().map(look).collect()
        });
        let (made, rows): (Vec<MadeOf>, Vec<Option<Row>>) = found.into_iter().unzip();
        let open: Vec<usize> = (0..rows.len()).filter(|&i| rows[i].is_none()).collect();
        let at_once = self.args.jobs.map_or_else(
            || std::thread::available_parallelism().map_or(1, usize::from),
            usize::from,
        );
        let rows = Mutex::new(rows);
        with_bar(text::PROGRESS, (all - open.len(), all), |bar| {
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
        });
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
            other => reason::why(other, job, self.args.limit_s, self.args.limit_mb),
        };
        self.not_read(job, made, &why)
    }

    /// Marks a reviewed take as done and keeps it in the log.
    fn read(&self, job: &Job, made: &MadeOf, review: &Review) -> Row {
        let inside = self.folder.join(&job.folder);
        let before = MadeOf::read(&inside).filter(|there| there.take == made.take);
        if let Some(log) = locked(&self.log).as_mut() {
            let meta = KeepMeta {
                recorded: date::recorded(&job.take),
                player: Some(job.player.clone()),
                ..KeepMeta::default()
            };
            let earlier = before.as_ref().map(|there| there.player.as_str());
            self.note(log.keep_of_class(review, &meta, earlier));
        }
        // After the log: with it the name that was given there before is lost.
        self.note(made.write(&inside));
        Row::of_review(review, &job.player, &job.name, &job.folder)
    }

    /// Notes that a take could not be read, unless a good review of it lies
    /// there: that one stays, with what it was made of.
    fn not_read(&self, job: &Job, made: &MadeOf, why: &str) -> Row {
        let inside = self.folder.join(&job.folder);
        if !is_reviewed(&inside, made) {
            self.note(made.not_read(why).write(&inside));
        }
        Row::unreadable(&job.player, &job.name, why)
    }

    fn note(&self, done: Result<(), Error>) {
        if let Err(error) = done {
            locked(&self.trouble).get_or_insert(error);
        }
    }
}

/// Whether a folder holds a review of the take, as far as the take can be
/// told.
fn is_reviewed(inside: &Path, made: &MadeOf) -> bool {
    let there = MadeOf::read(inside).filter(|there| there.not_read.is_none());
    let hash = there.and_then(|there| there.take);
    let same = hash.is_some() && (made.take.is_none() || made.take == hash);
    same && review_in(&inside.join("review.json")).is_ok_and(|r| Some(r.take.hash) == hash)
}

/// What others left behind when they failed is sound here: every change is
/// one assignment.
fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
