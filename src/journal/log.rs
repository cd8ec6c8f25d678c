//! The practice log: every review that was kept, in one SQLite file.
//!
//! One entry a take and part: the hash of the recording and the identity of
//! the notes say whether two reviews are of the same thing, and the later
//! review replaces the earlier. Every change is one transaction, synced to
//! disk before it counts, so that a program killed at any instant leaves the
//! entry before or the entry after. The rollback journal is used rather than
//! the write-ahead log: between two runs the log is one file, which can be
//! copied.

use super::date::{Origin, Recorded};
use super::measures::{self, Measure};
use super::schema;
use crate::error::Error;
use crate::review::Review;
use rusqlite::{Connection, OptionalExtension, Row, TransactionBehavior, params};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// How long a program waits for the others that are writing.
const PATIENCE: Duration = Duration::from_secs(60);

/// What is kept with a review besides itself. What is `None` leaves the
/// label that is there.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct KeepMeta {
    pub recorded: Option<Recorded>,
    pub player: Option<String>,
    /// A sticking, a pair of mallets, anything two sets may differ in.
    pub variant: Option<String>,
    pub note: Option<String>,
}

/// One entry without its review.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// Number in this log.
    pub id: i64,
    pub take_hash: String,
    pub part_identity: String,
    pub part_title: String,
    pub file: String,
    pub recorded: Option<Recorded>,
    pub player: Option<String>,
    pub variant: Option<String>,
    pub note: Option<String>,
    pub tempo_bpm: Option<f64>,
    pub judged: bool,
    /// Version of the program that reviewed it.
    pub program: String,
    /// UTC, "2026-11-25T18:04:05.123456Z".
    pub reviewed_at: String,
}

/// An open log.
#[derive(Debug)]
pub struct Log {
    connection: Connection,
    path: PathBuf,
}

/// How a review meets the entry that is there.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Rule<'a> {
    /// It replaces the other, and its labels do where it has any.
    Always,
    /// The same, unless the other is as new.
    IfNewer,
    /// It replaces the other, but a player's name only where that is the
    /// class's own earlier one.
    OfClass { earlier: Option<&'a str> },
}

/// Which entries are meant. Everything absent matches all.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Filter {
    pub player: Option<String>,
    pub variant: Option<String>,
    /// The beginning of the part's identity, or its title.
    pub part: Option<String>,
}

impl Filter {
    /// Whether an entry is meant.
    pub fn takes(&self, entry: &Entry) -> bool {
        let is = |wanted: &Option<String>, found: &Option<String>| {
            wanted.is_none() || wanted.as_deref() == found.as_deref()
        };
        is(&self.player, &entry.player)
            && is(&self.variant, &entry.variant)
            && self.part.as_ref().is_none_or(|part| {
                entry.part_title.eq_ignore_ascii_case(part)
                    || (part.len() >= 6 && entry.part_identity.starts_with(part.as_str()))
            })
    }
}

/// Keeps a review in the log at `path`, which is made where it is missing.
pub fn keep(review: &Review, meta: &KeepMeta, path: &Path) -> Result<(), Error> {
    Log::open(path)?.keep(review, meta)
}

const NOT_WRITABLE: &str =
    "it may not be written. Change its permissions, or name another file with --log";

const COLUMNS: &str = "id, take_hash, part_identity, part_title, file, recorded, recorded_from, \
     player, variant, note, tempo_bpm, judged, program, reviewed_at";

impl Log {
    /// Opens a log for writing, makes it where it is missing, and brings an
    /// older one up to date. A newer one than this program knows is refused,
    /// and one that cannot be written.
    pub fn open(path: &Path) -> Result<Self, Error> {
        let log = Self::reach(path)?;
        let read_only = log.connection.is_readonly(rusqlite::MAIN_DB);
        if read_only.map_err(failing(path))? {
            return Err(log.wrong(NOT_WRITABLE.to_owned()));
        }
        Ok(log)
    }

    fn reach(path: &Path) -> Result<Self, Error> {
        if let Some(folder) = path.parent().filter(|f| !f.as_os_str().is_empty()) {
            std::fs::create_dir_all(folder).map_err(|source| Error::Write {
                path: folder.to_path_buf(),
                source,
            })?;
        }
        if path.is_dir() {
            return Err(Error::Log {
                path: path.to_path_buf(),
                what: "it is a folder; name a file".to_owned(),
            });
        }
        let fails = failing(path);
        let mut connection = Connection::open(path).map_err(&fails)?;
        connection.busy_timeout(PATIENCE).map_err(&fails)?;
        connection
            .execute_batch("PRAGMA foreign_keys = ON; PRAGMA synchronous = FULL;")
            .map_err(&fails)?;
        schema::bring_up_to_date(&mut connection, path)?;
        Ok(Self {
            connection,
            path: path.to_path_buf(),
        })
    }

    /// Opens a log that must be there, and need not be writable.
    pub fn open_existing(path: &Path) -> Result<Self, Error> {
        if path.is_file() {
            return Self::reach(path);
        }
        Err(Error::Log {
            path: path.to_path_buf(),
            what: "there is none. Takes are kept when they are reviewed; --log names another file"
                .to_owned(),
        })
    }

    /// Keeps a review; an earlier one of the same take and part is replaced
    /// and leaves its labels.
    pub fn keep(&mut self, review: &Review, meta: &KeepMeta) -> Result<(), Error> {
        let rows = measures::of_review(review);
        self.put((review, &rows), meta, &now(), Rule::Always)
            .map(|_| ())
    }

    /// Keeps the review of a class unless this very one is there already.
    /// Its name for the player gives way to one that is there, unless that is
    /// the class's own `earlier` one.
    pub fn keep_of_class(
        &mut self,
        review: &Review,
        meta: &KeepMeta,
        earlier: Option<&str>,
    ) -> Result<(), Error> {
        let found: Option<String> = self
            .connection
            .query_row(
                "SELECT review FROM entry WHERE take_hash = ?1 AND part_identity = ?2",
                [&review.take.hash, &review.part.identity],
                |r| r.get(0),
            )
            .optional()
            .map_err(failing(&self.path))?;
        if found.is_none() || found != serde_json::to_string(review).ok() {
            let rows = measures::of_review(review);
            let rule = Rule::OfClass { earlier };
            return self.put((review, &rows), meta, &now(), rule).map(|_| ());
        }
        self.connection
            .execute(
                "UPDATE entry SET player = ?3 \
                 WHERE take_hash = ?1 AND part_identity = ?2 AND player = ?4 AND ?3 IS NOT NULL",
                params![review.take.hash, review.part.identity, meta.player, earlier],
            )
            .map(|_| ())
            .map_err(failing(&self.path))
    }

    /// Puts in a review made at `reviewed_at`. Says whether it was put in.
    fn put(
        &mut self,
        (review, rows): (&Review, &[Measure]),
        meta: &KeepMeta,
        reviewed_at: &str,
        rule: Rule<'_>,
    ) -> Result<bool, Error> {
        let fails = failing(&self.path);
        let text = serde_json::to_string(review).map_err(|e| Error::Log {
            path: self.path.clone(),
            what: format!("a review cannot be written as JSON: {e}"),
        })?;
        let settings = serde_json::to_string(&review.settings).unwrap_or_default();
        let work = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .map_err(&fails)?;
        let id: Option<i64> = work
            .query_row(
                "INSERT INTO entry (take_hash, part_identity, part_title, file, recorded, \
                 recorded_from, player, variant, note, tempo_bpm, settings, judged, program, \
                 reviewed_at, review) \
                 VALUES (?1,?2,?3,?4,?5,?6,?7,?8,?9,?10,?11,?12,?13,?14,?15) \
                 ON CONFLICT (take_hash, part_identity) DO UPDATE SET \
                 part_title=excluded.part_title, file=excluded.file, \
                 recorded=coalesce(excluded.recorded, recorded), \
                 recorded_from=coalesce(excluded.recorded_from, recorded_from), \
                 player=CASE WHEN ?17 AND player IS NOT NULL AND player IS NOT ?18 \
                 THEN player ELSE coalesce(excluded.player, player) END, \
                 variant=coalesce(excluded.variant, variant), \
                 note=coalesce(excluded.note, note), tempo_bpm=excluded.tempo_bpm, \
                 settings=excluded.settings, judged=excluded.judged, program=excluded.program, \
                 reviewed_at=excluded.reviewed_at, review=excluded.review \
                 WHERE ?16 OR excluded.reviewed_at > reviewed_at \
                 RETURNING id",
                params![
                    review.take.hash,
                    review.part.identity,
                    review.part.title,
                    review.take.file,
                    meta.recorded.as_ref().map(|r| &r.at),
                    meta.recorded.as_ref().map(|r| r.origin.name()),
                    meta.player,
                    meta.variant,
                    meta.note,
                    review.tempo.median_bpm,
                    settings,
                    review.judged,
                    review.program,
                    reviewed_at,
                    text,
                    rule != Rule::IfNewer,
                    matches!(rule, Rule::OfClass { .. }),
                    match rule {
                        Rule::OfClass { earlier } => earlier,
                        _ => None,
                    },
                ],
                |row| row.get(0),
            )
            .optional()
            .map_err(&fails)?;
        if let Some(id) = id {
            schema::put_measures(&work, id, rows).map_err(&fails)?;
        }
        work.commit().map_err(&fails)?;
        Ok(id.is_some())
    }

    /// All entries, by day, then by file.
    pub fn entries(&self) -> Result<Vec<Entry>, Error> {
        let fails = failing(&self.path);
        let sql = format!("SELECT {COLUMNS} FROM entry ORDER BY recorded, file, id");
        let mut query = self.connection.prepare(&sql).map_err(&fails)?;
        let rows = query.query_map([], entry_of).map_err(&fails)?;
        rows.collect::<Result<_, _>>().map_err(&fails)
    }

    /// The entry of a number, or of the beginning of a take's hash (at least
    /// six characters) if it is only one's.
    pub fn find(&self, name: &str) -> Result<Entry, Error> {
        let entries = self.entries()?;
        let mut found: Vec<Entry> = entries
            .into_iter()
            .filter(|e| {
                name.parse() == Ok(e.id) || (name.len() >= 6 && e.take_hash.starts_with(name))
            })
            .collect();
        match (found.pop(), found.is_empty()) {
            (Some(entry), true) => Ok(entry),
            (Some(_), false) => Err(self.wrong(format!(
                "'{name}' begins several entries; give the number that 'kettlemark log' shows"
            ))),
            (None, _) => Err(self.wrong(format!(
                "no entry '{name}'; 'kettlemark log' shows the numbers"
            ))),
        }
    }

    /// The review of an entry.
    pub fn review(&self, id: i64) -> Result<Review, Error> {
        let text: String = self
            .connection
            .query_row("SELECT review FROM entry WHERE id = ?1", [id], |r| r.get(0))
            .map_err(failing(&self.path))?;
        serde_json::from_str(&text)
            .map_err(|e| self.wrong(format!("the review of entry {id} cannot be read: {e}")))
    }

    /// The measures of an entry.
    pub fn measures(&self, id: i64) -> Result<Vec<Measure>, Error> {
        let fails = failing(&self.path);
        let mut query = self
            .connection
            .prepare(
                "SELECT scope, key, name, value, sd, count, version FROM measure \
                 WHERE entry = ?1 ORDER BY rowid",
            )
            .map_err(&fails)?;
        let rows = query
            .query_map([id], |r| {
                Ok(Measure {
                    scope: r.get(0)?,
                    key: r.get(1)?,
                    name: r.get(2)?,
                    value: r.get(3)?,
                    sd: r.get(4)?,
                    count: r.get::<_, i64>(5)? as usize,
                    version: r.get(6)?,
                })
            })
            .map_err(&fails)?;
        rows.collect::<Result<_, _>>().map_err(&fails)
    }

    /// Sets labels; what is `None` stays, an empty text takes the label away.
    pub fn label(&mut self, id: i64, meta: &KeepMeta) -> Result<(), Error> {
        self.connection
            .execute(
                "UPDATE entry SET \
                 player = nullif(coalesce(?2, player), ''), \
                 variant = nullif(coalesce(?3, variant), ''), \
                 note = nullif(coalesce(?4, note), '') WHERE id = ?1",
                params![id, meta.player, meta.variant, meta.note],
            )
            .map(|_| ())
            .map_err(failing(&self.path))
    }

    /// Takes an entry out.
    pub fn forget(&mut self, id: i64) -> Result<(), Error> {
        self.connection
            .execute("DELETE FROM entry WHERE id = ?1", [id])
            .map(|_| ())
            .map_err(failing(&self.path))
    }

    /// Takes in the entries of another log; of two of the same take and part
    /// the newer review stays, and labels that its entry lacks come from the
    /// older. Measures come over as they are, with the versions of their
    /// definitions. Says how many were taken in. Entry by entry: stopped in the
    /// middle, it can be done again.
    pub fn merge(&mut self, other: &Self) -> Result<usize, Error> {
        let mut taken = 0;
        let some = |label: &String| !label.is_empty();
        for entry in other.entries()? {
            let review = other.review(entry.id)?;
            let rows = other.measures(entry.id)?;
            let meta = KeepMeta {
                recorded: entry.recorded,
                player: entry.player.filter(some),
                variant: entry.variant.filter(some),
                note: entry.note.filter(some),
            };
            if self.put((&review, &rows), &meta, &entry.reviewed_at, Rule::IfNewer)? {
                taken += 1;
            } else {
                self.fill_labels(&review, &meta)?;
            }
        }
        Ok(taken)
    }

    /// Sets those labels of a review's entry that are not there yet.
    fn fill_labels(&self, review: &Review, meta: &KeepMeta) -> Result<(), Error> {
        let recorded = meta.recorded.as_ref();
        self.connection
            .execute(
                "UPDATE entry SET \
                 recorded_from = CASE WHEN recorded IS NULL THEN ?4 ELSE recorded_from END, \
                 recorded = coalesce(recorded, ?3), \
                 player = coalesce(nullif(player, ''), ?5), \
                 variant = coalesce(nullif(variant, ''), ?6), \
                 note = coalesce(nullif(note, ''), ?7) \
                 WHERE take_hash = ?1 AND part_identity = ?2",
                params![
                    review.take.hash,
                    review.part.identity,
                    recorded.map(|r| &r.at),
                    recorded.map(|r| r.origin.name()),
                    meta.player,
                    meta.variant,
                    meta.note,
                ],
            )
            .map(|_| ())
            .map_err(failing(&self.path))
    }

    fn wrong(&self, what: String) -> Error {
        Error::Log {
            path: self.path.clone(),
            what,
        }
    }
}

/// UTC, as entries have it.
fn now() -> String {
    format!("{:.6}", jiff::Timestamp::now())
}

fn entry_of(row: &Row<'_>) -> rusqlite::Result<Entry> {
    let at: Option<String> = row.get(5)?;
    let origin: Option<String> = row.get(6)?;
    let origin = origin.as_deref().and_then(Origin::from_name);
    Ok(Entry {
        id: row.get(0)?,
        take_hash: row.get(1)?,
        part_identity: row.get(2)?,
        part_title: row.get(3)?,
        file: row.get(4)?,
        recorded: at.zip(origin).map(|(at, origin)| Recorded { at, origin }),
        player: row.get(7)?,
        variant: row.get(8)?,
        note: row.get(9)?,
        tempo_bpm: row.get(10)?,
        judged: row.get(11)?,
        program: row.get(12)?,
        reviewed_at: row.get(13)?,
    })
}

/// Turns an error of the database into ours.
pub(super) fn failing(path: &Path) -> impl Fn(rusqlite::Error) -> Error {
    move |error| {
        use rusqlite::ErrorCode;
        let what = match error.sqlite_error_code() {
            Some(ErrorCode::NotADatabase) => {
                "this is not a practice log. Name another file with --log".to_owned()
            }
            Some(ErrorCode::DatabaseBusy) => {
                "another program has been writing for a minute. Try again when it is done"
                    .to_owned()
            }
            Some(ErrorCode::ReadOnly) => NOT_WRITABLE.to_owned(),
            Some(ErrorCode::CannotOpen) => {
                "it cannot be opened or made there. Name another file with --log".to_owned()
            }
            Some(ErrorCode::DiskFull) => {
                "no room is left on the disk; nothing was changed".to_owned()
            }
            Some(ErrorCode::DatabaseCorrupt) => {
                "it is damaged. Put back a copy of it, or name another file with --log".to_owned()
            }
            _ => error.to_string(),
        };
        Error::Log {
            path: path.to_path_buf(),
            what,
        }
    }
}
