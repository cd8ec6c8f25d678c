//! Files on disk: written beside, then renamed, so that nobody ever sees
//! half a report; earlier output of this program is replaced, anything else
//! is left alone.

use crate::error::Error;
use std::fs;
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

/// How much of a file tells whose it is.
const HEAD_BYTES: u64 = 4096;

/// Writes all files into `folder` or none that is half done. The last one is
/// put in place last: it marks a finished report.
pub fn write_all(folder: &Path, files: &[(&str, String)]) -> Result<(), Error> {
    let fails = |path: &Path| {
        let path = path.to_path_buf();
        move |source: io::Error| Error::Write { path, source }
    };
    let existed = folder.exists();
    fs::create_dir_all(folder).map_err(fails(folder))?;
    for (name, _) in files {
        refuse_foreign(&folder.join(name))?;
    }
    let beside = folder.join(format!(".kettlemark-{}", std::process::id()));
    let written = write_beside(&beside, files).and_then(|()| {
        for (name, _) in files {
            let target = folder.join(name);
            fs::rename(beside.join(name), &target).map_err(fails(&target))?;
        }
        Ok(())
    });
    // What is left beside is ours and of no use; failing to remove it must
    // not hide what went wrong before.
    let _ = fs::remove_dir_all(&beside);
    if written.is_err() && !existed {
        let _ = fs::remove_dir(folder);
    }
    written
}

fn write_beside(beside: &Path, files: &[(&str, String)]) -> Result<(), Error> {
    let step = |path: &Path, result: io::Result<()>| {
        result.map_err(|source| Error::Write {
            path: path.to_path_buf(),
            source,
        })
    };
    if beside.exists() {
        // A process of the same number was killed here once.
        step(beside, fs::remove_dir_all(beside))?;
    }
    step(beside, fs::create_dir(beside))?;
    for (name, content) in files {
        let path = beside.join(name);
        let write = || -> io::Result<()> {
            let mut file = fs::File::create_new(&path)?;
            file.write_all(content.as_bytes())?;
            file.sync_all()
        };
        step(&path, write())?;
    }
    Ok(())
}

/// An error if something stands there that this program did not write.
pub fn refuse_foreign(path: &Path) -> Result<(), Error> {
    let found = match fs::symlink_metadata(path) {
        Ok(found) => found,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(()),
        Err(source) => {
            return Err(Error::Write {
                path: path.to_path_buf(),
                source,
            });
        }
    };
    if found.is_file() && is_ours(path) {
        return Ok(());
    }
    Err(Error::Usage(format!(
        "{}: stands there already and was not written by kettlemark; it is left alone. Choose \
         another folder with --out, or move it away",
        path.display()
    )))
}

/// Whether a file carries the mark that every file of ours carries.
pub fn is_ours(path: &Path) -> bool {
    let mut head = Vec::new();
    let read = fs::File::open(path).and_then(|f| f.take(HEAD_BYTES).read_to_end(&mut head));
    if read.is_err() {
        return false;
    }
    let head = String::from_utf8_lossy(&head);
    match path.extension().and_then(|e| e.to_str()) {
        Some("json") => head.contains("\"format\": \"kettlemark-review\""),
        Some("html") => head.contains("<meta name=\"generator\" content=\"kettlemark\">"),
        Some("svg") => head.contains("data-generator=\"kettlemark\""),
        Some("csv") => {
            head.starts_with(&super::csv::head())
                || head.starts_with(&super::csv::CLASS_HEAD.join(","))
        }
        _ => false,
    }
}

/// Where the reports of takes go if nothing else is said.
pub fn default_folder(take: &Path) -> PathBuf {
    let stem = take.file_stem().unwrap_or(take.as_os_str());
    Path::new("reports").join(stem)
}
