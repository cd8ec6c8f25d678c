//! Letters for names: the key, and copies that bear no name.

use super::{ClassArgs, make_folder};
use kettlemark::error::{Error, reason};
use kettlemark::journal::class::Job;
use kettlemark::journal::class::letters::{self, Line};
use kettlemark::journal::class::made::{MADE_OF, MadeOf};
use kettlemark::report::store;
use kettlemark::words::journal as text;
use std::fs;
use std::path::Path;

/// Letters for names; each take is copied under its letter, so that neither
/// pages nor files tell whose it is. The key goes to a file of its own.
pub fn hide_names(args: &ClassArgs, jobs: &mut [Job], folder: &Path) -> Result<(), Error> {
    let out = folder.canonicalize().unwrap_or_default();
    let inside_out = |job: &&Job| job.take.canonicalize().is_ok_and(|t| t.starts_with(&out));
    if let Some(job) = jobs.iter().find(inside_out) {
        return Err(Error::Usage(format!(
            "{}: lies in the output folder, where copies under letters would replace it; choose \
             another folder with --out",
            job.take.display()
        )));
    }
    let file = args.key.clone().unwrap_or_else(|| {
        let mut name = folder.file_name().unwrap_or_default().to_os_string();
        name.push("-key.csv");
        folder.with_file_name(name)
    });
    let mut key = key_in(&file)?;
    let before = key.len();
    letters::hide(jobs, &mut key);
    let fails = |source| Error::Write {
        path: file.clone(),
        source,
    };
    // Written beside and renamed: a key that is lost cannot be made again.
    let beside = file.with_extension("key-new");
    fs::write(&beside, letters::write(&key))
        .and_then(|()| fs::rename(&beside, &file))
        .map_err(fails)?;
    let known: Vec<&str> = key[..before].iter().map(|l| l.label.as_str()).collect();
    let in_use = |label: &str| known.contains(&label) && jobs.iter().any(|j| j.folder == label);
    clear(folder, &in_use);
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

/// The key that stands in a file; empty where there is no file yet.
fn key_in(file: &Path) -> Result<Vec<Line>, Error> {
    let there = fs::read_to_string(file).ok();
    match there.as_deref().map(letters::read) {
        Some(Some(key)) => Ok(key),
        None if !file.exists() => Ok(Vec::new()),
        _ => Err(Error::Usage(format!(
            "{}: stands there already and is no key of letters; it is left alone. Name another \
             file with --key, or move it away",
            file.display()
        ))),
    }
}

/// Takes away what was written under letters that are no longer theirs whom
/// they were given to: it would be gathered as if it were. What cannot be
/// taken away, or is not ours, stays.
fn clear(folder: &Path, in_use: &dyn Fn(&str) -> bool) {
    let Ok(inside) = fs::read_dir(folder) else {
        return;
    };
    for below in inside.flatten().map(|entry| entry.path()) {
        let label = below.file_name().unwrap_or_default().to_string_lossy();
        let ours = || MadeOf::read(&below).is_some_and(|made| made.name == label);
        if letters::is_label(&label) && !in_use(&label) && ours() {
            for file in fs::read_dir(&below).into_iter().flatten().flatten() {
                let file = file.path();
                let mark = file.file_name().is_some_and(|n| n == MADE_OF);
                let copy = file.file_stem().is_some_and(|s| *s == *label);
                if mark || copy || store::is_ours(&file) {
                    let _ = fs::remove_file(&file);
                }
            }
            let _ = fs::remove_dir(&below);
        }
    }
}

/// Copies an ordinary file: a pipe would never end.
fn copied(file: &Path, copy: &Path) -> std::io::Result<()> {
    if !fs::metadata(file)?.is_file() {
        return Err(std::io::Error::other(text::NO_FILE));
    }
    fs::copy(file, copy).map(|_| ())
}
