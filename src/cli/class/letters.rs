//! Letters for names, for hearing blind.

use super::{ClassArgs, make_folder};
use kettlemark::error::{Error, reason};
use kettlemark::journal::class::{Job, find, page};
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
