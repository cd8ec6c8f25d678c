//! Which takes a class has: all recordings of a folder, a part for each
//! subfolder, or a list as CSV.

use super::Job;
use crate::error::{Error, reason};
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Component, Path, PathBuf};

/// Names of files that are taken for recordings.
const RECORDINGS: [&str; 21] = [
    "wav", "mp3", "m4a", "mp4", "mov", "aac", "flac", "ogg", "oga", "opus", "webm", "mkv", "mka",
    "caf", "aif", "aiff", "aifc", "wma", "amr", "3gp", "w64",
];
/// Names of files that are taken for the part of a subfolder.
const PARTS: [&str; 6] = ["musicxml", "mxl", "xml", "mid", "midi", "kettle"];

/// Every recording below a folder, in order of name, with its part: `part`,
/// or the one score file that lies nearest to it. Hidden files and `out` are
/// passed over. A file name is the player's name.
pub fn in_folder(folder: &Path, part: Option<&Path>, out: &Path) -> Result<Vec<Job>, Error> {
    let mut walk = Walk {
        part,
        out: out.canonicalize().ok(),
        takes: Vec::new(),
    };
    walk.through(folder, &[])?;
    let jobs = walk
        .takes
        .into_iter()
        .map(|(take, part)| {
            let inside = take.strip_prefix(folder).unwrap_or(&take);
            let shown = |path: &Path| path.to_string_lossy().replace('\\', "/");
            Job {
                player: shown(&inside.with_extension("")),
                name: shown(inside),
                folder: String::new(),
                not_read: None,
                take,
                part,
            }
        })
        .collect();
    Ok(with_folders(jobs))
}

/// A walk through a folder of takes.
struct Walk<'a> {
    /// The part of them all, where one was named.
    part: Option<&'a Path>,
    /// Passed over.
    out: Option<PathBuf>,
    /// Recordings found so far, each with its part.
    takes: Vec<(PathBuf, PathBuf)>,
}

impl Walk<'_> {
    /// Looks through a folder; `above` are the score files that lie nearest
    /// above it.
    fn through(&mut self, folder: &Path, above: &[PathBuf]) -> Result<(), Error> {
        let unreadable =
            |e: std::io::Error| Error::Usage(format!("{}: {}", folder.display(), reason(&e)));
        let mut inside: Vec<PathBuf> = std::fs::read_dir(folder)
            .map_err(unreadable)?
            .map(|entry| entry.map(|e| e.path()))
            .collect::<Result<_, _>>()
            .map_err(unreadable)?;
        inside.retain(|p| {
            p.file_name()
                .is_some_and(|n| !n.to_string_lossy().starts_with('.'))
        });
        inside.sort();
        let own: Vec<PathBuf> = inside
            .iter()
            .filter(|p| p.is_file() && is_one_of(p, &PARTS))
            .cloned()
            .collect();
        let nearest = if own.is_empty() { above } else { &own };
        for path in inside {
            if path.is_dir() {
                let is_out = self.out.is_some() && path.canonicalize().ok() == self.out;
                if !is_out {
                    self.through(&path, nearest)?;
                }
            } else if is_one_of(&path, &RECORDINGS) {
                let part = self.part_of(&path, nearest)?;
                self.takes.push((path, part));
            }
        }
        Ok(())
    }

    fn part_of(&self, take: &Path, nearest: &[PathBuf]) -> Result<PathBuf, Error> {
        let what = match (self.part, nearest) {
            (Some(part), _) => return Ok(part.to_path_buf()),
            (None, [only]) => return Ok(only.clone()),
            (None, []) => {
                let folder = take.parent().unwrap_or(take);
                format!(
                    "no part for it. Name one with --part, or put one score file into {}",
                    folder.display()
                )
            }
            (None, [first, second, ..]) => format!(
                "several score files lie nearest to it, {} and {} among them; name the part with \
                 --part",
                first.display(),
                second.display()
            ),
        };
        Err(Error::Usage(format!("{}: {what}", take.display())))
    }
}

fn is_one_of(path: &Path, names: &[&str]) -> bool {
    path.extension()
        .is_some_and(|e| names.contains(&e.to_string_lossy().to_lowercase().as_str()))
}

fn why(error: &csv::Error) -> String {
    match error.kind() {
        csv::ErrorKind::Io(inner) => reason(inner),
        _ => error.to_string(),
    }
}

/// The takes of a CSV with the columns file, player and part (in any order;
/// player and part may be missing); paths count from the CSV's folder.
pub fn in_list(list: &Path, part: Option<&Path>) -> Result<Vec<Job>, Error> {
    let wrong = |what: String| Error::Usage(format!("{}: {what}", list.display()));
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .from_path(list)
        .map_err(|e| wrong(why(&e)))?;
    let head = reader.headers().map_err(|e| wrong(why(&e)))?.clone();
    let column = |name: &str| {
        head.iter()
            .position(|h| h.trim_start_matches('\u{feff}').eq_ignore_ascii_case(name))
    };
    let file = column("file").ok_or_else(|| {
        wrong(
            "a list of takes begins with the line 'file,player,part'; for a folder of takes, name \
             the folder"
                .to_owned(),
        )
    })?;
    let base = list.parent().unwrap_or(Path::new(""));
    let mut jobs = Vec::new();
    for (line, record) in reader.records().enumerate() {
        let record = record.map_err(|e| wrong(e.to_string()))?;
        let cell = |at: Option<usize>| at.and_then(|i| record.get(i)).filter(|c| !c.is_empty());
        let Some(name) = cell(Some(file)) else {
            continue;
        };
        let part = match (cell(column("part")), part) {
            (Some(own), _) => base.join(own),
            (None, Some(part)) => part.to_path_buf(),
            (None, None) => {
                let line = line + 2;
                return Err(wrong(format!("line {line}: no part; name one with --part")));
            }
        };
        jobs.push(Job {
            take: base.join(name),
            part,
            player: cell(column("player")).unwrap_or_default().to_owned(),
            name: name.to_owned(),
            folder: String::new(),
            not_read: None,
        });
    }
    name_players(&mut jobs);
    Ok(with_folders(jobs))
}

/// Who has no name is called as his file is, or, where files of several
/// folders are called so, with the folder.
fn name_players(jobs: &mut [Job]) {
    let stem = |job: &Job| {
        let stem = Path::new(&job.name).file_stem().unwrap_or_default();
        stem.to_string_lossy().into_owned()
    };
    let nameless = jobs.iter().filter(|j| j.player.is_empty());
    let mut takes: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for job in nameless {
        takes
            .entry(stem(job))
            .or_default()
            .insert(inner(&job.name, "/"));
    }
    for job in jobs.iter_mut().filter(|j| j.player.is_empty()) {
        let stem = stem(job);
        job.player = match takes.get(&stem) {
            Some(several) if several.len() > 1 => inner(&job.name, "/"),
            _ => stem,
        };
    }
}

/// The folders and the file of a name without its ending, without the way up.
fn inner(name: &str, between: &str) -> String {
    let path = Path::new(name).with_extension("");
    let names = path.components().filter_map(|c| match c {
        Component::Normal(name) => Some(name.to_string_lossy().into_owned()),
        _ => None,
    });
    names.collect::<Vec<_>>().join(between)
}

/// A folder name of its own for every take, made from the take's name.
fn with_folders(mut jobs: Vec<Job>) -> Vec<Job> {
    let plain = |name: &str| -> String {
        let safe = |c: char| {
            if c.is_alphanumeric() || "-_ ".contains(c) {
                c
            } else {
                '-'
            }
        };
        inner(name, "-").chars().map(safe).collect()
    };
    let mut times: BTreeMap<String, usize> = BTreeMap::new();
    for job in &jobs {
        *times.entry(plain(&job.name).to_lowercase()).or_default() += 1;
    }
    let mut given: BTreeMap<String, usize> = BTreeMap::new();
    for job in &mut jobs {
        let stem = plain(&job.name);
        let alone = times.get(&stem.to_lowercase()) == Some(&1);
        job.folder = if alone && !stem.is_empty() {
            stem
        } else {
            // Told apart by the name, so that it stays from run to run.
            let hash = blake3::hash(job.name.as_bytes()).to_hex();
            format!("{stem}-{}", &hash[..8])
        };
        // A list may hold one take twice, against two parts.
        let before = given.entry(job.folder.to_lowercase()).or_default();
        *before += 1;
        if *before > 1 {
            job.folder = format!("{}-{before}", job.folder);
        }
    }
    jobs
}

#[cfg(test)]
mod tests {
    use super::super::made_job as job;
    use super::*;

    #[test]
    fn every_take_has_a_folder_of_its_own() {
        let names = ["a.wav", "a.mp3", "b/c.wav", "A.flac", "../x.wav"];
        let jobs = with_folders(names.iter().map(|n| job(n, n)).collect());
        let mut folders: Vec<String> = jobs.iter().map(|j| j.folder.to_lowercase()).collect();
        assert!(folders.iter().all(|f| !f.contains('/') && !f.contains('.')));
        folders.sort();
        folders.dedup();
        assert_eq!(folders.len(), 5);
        let beside = with_folders(vec![job("../takes/x.wav", "x")]);
        assert_eq!(beside[0].folder, "takes-x");
    }

    #[test]
    fn a_file_names_whom_the_list_does_not() {
        let names = [
            "../stud/teacher.wav",
            "./a/one.wav",
            "b/one.mp3",
            "b/two.wav",
        ];
        let mut jobs: Vec<Job> = names.iter().map(|n| job(n, "")).collect();
        jobs.push(job("c/two.wav", "Anna"));
        name_players(&mut jobs);
        let players: Vec<&str> = jobs.iter().map(|j| j.player.as_str()).collect();
        assert_eq!(players, ["teacher", "a/one", "b/one", "two", "Anna"]);
    }
}
