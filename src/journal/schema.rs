//! The tables of the practice log and how older ones become the present
//! ones.
//!
//! `user_version` counts the steps a log has been through. A step is never
//! changed once it is out; a change of the tables is a further step.

use super::log::failing;
use super::measures::{self, Measure};
use crate::error::Error;
use crate::review::Review;
use rusqlite::{Connection, Transaction, TransactionBehavior, params};
use std::path::Path;

/// Marks the file as ours ("kMrk"); see `PRAGMA application_id` in the
/// manual of SQLite.
const APPLICATION_ID: i64 = 0x6b4d_726b;

/// The steps from an empty file to the present tables.
pub const STEPS: [&str; 2] = [
    // 1: the reviews and their labels.
    "CREATE TABLE entry (
        id INTEGER PRIMARY KEY,
        take_hash TEXT NOT NULL,
        part_identity TEXT NOT NULL,
        part_title TEXT NOT NULL,
        file TEXT NOT NULL,
        recorded TEXT,
        recorded_from TEXT,
        player TEXT,
        variant TEXT,
        note TEXT,
        tempo_bpm REAL,
        settings TEXT NOT NULL,
        judged INTEGER NOT NULL,
        program TEXT NOT NULL,
        reviewed_at TEXT NOT NULL,
        review TEXT NOT NULL,
        UNIQUE (take_hash, part_identity)
    )",
    // 2: the measures beside them, so that any program can draw from the
    // log without reading reviews.
    "CREATE TABLE measure (
        entry INTEGER NOT NULL REFERENCES entry (id) ON DELETE CASCADE,
        scope TEXT NOT NULL,
        key TEXT NOT NULL,
        name TEXT NOT NULL,
        value REAL NOT NULL,
        sd REAL,
        count INTEGER NOT NULL,
        version INTEGER NOT NULL,
        UNIQUE (entry, scope, key, name)
    )",
];

/// Does the steps that a log has not been through yet, all or none.
pub fn bring_up_to_date(connection: &mut Connection, path: &Path) -> Result<(), Error> {
    let fails = failing(path);
    let wrong = |what: String| Error::Log {
        path: path.to_path_buf(),
        what,
    };
    if version(connection).map_err(&fails)? == STEPS.len() && is_ours(connection).map_err(&fails)? {
        return Ok(());
    }
    // Asked again inside: another program may be bringing it up to date.
    let work = connection
        .transaction_with_behavior(TransactionBehavior::Immediate)
        .map_err(&fails)?;
    let tables: i64 = work
        .query_row("SELECT count(*) FROM sqlite_schema", [], |r| r.get(0))
        .map_err(&fails)?;
    if tables > 0 && !is_ours(&work).map_err(&fails)? {
        return Err(wrong(
            "this is a database of another program. Name another file with --log".to_owned(),
        ));
    }
    let found = version(&work).map_err(&fails)?;
    if found > STEPS.len() {
        return Err(wrong(format!(
            "a newer kettlemark wrote it (tables of version {found}; this program knows {}). \
             Update this program, or name another log with --log",
            STEPS.len()
        )));
    }
    for (step, sql) in STEPS.iter().enumerate().skip(found) {
        work.execute_batch(sql).map_err(&fails)?;
        if step == 1 {
            fill_measures(&work).map_err(&fails)?;
        }
    }
    work.pragma_update(None, "application_id", APPLICATION_ID)
        .map_err(&fails)?;
    work.pragma_update(None, "user_version", STEPS.len() as i64)
        .map_err(&fails)?;
    work.commit().map_err(&fails)
}

fn is_ours(connection: &Connection) -> rusqlite::Result<bool> {
    let id: i64 = connection.query_row("PRAGMA application_id", [], |r| r.get(0))?;
    Ok(id == APPLICATION_ID)
}

fn version(connection: &Connection) -> rusqlite::Result<usize> {
    connection.query_row("PRAGMA user_version", [], |r| {
        r.get::<_, i64>(0).map(|v| v as usize)
    })
}

/// The version of every definition when measures were first kept. It stays 1,
/// whatever becomes of the definitions.
const FIRST_VERSION: u32 = 1;

/// Measures of the reviews that were kept before there were measures: made
/// before any definition was changed, they are of the first version of each.
/// A review that cannot be read keeps none.
fn fill_measures(work: &Transaction<'_>) -> rusqlite::Result<()> {
    let mut query = work.prepare("SELECT id, review FROM entry")?;
    let reviews = query
        .query_map([], |r| Ok((r.get(0)?, r.get(1)?)))?
        .collect::<Result<Vec<(i64, String)>, _>>()?;
    for (id, text) in reviews {
        if let Ok(review) = serde_json::from_str::<Review>(&text) {
            put_measures(work, id, &first(measures::of_review(&review)))?;
        }
    }
    Ok(())
}

fn first(mut rows: Vec<Measure>) -> Vec<Measure> {
    for row in &mut rows {
        row.version = FIRST_VERSION;
    }
    rows
}

/// Replaces the measures of an entry.
pub fn put_measures(work: &Transaction<'_>, id: i64, rows: &[Measure]) -> rusqlite::Result<()> {
    work.execute("DELETE FROM measure WHERE entry = ?1", [id])?;
    let mut insert = work.prepare_cached(
        "INSERT INTO measure (entry, scope, key, name, value, sd, count, version) \
         VALUES (?1,?2,?3,?4,?5,?6,?7,?8)",
    )?;
    for m in rows {
        insert.execute(params![
            id,
            m.scope,
            m.key,
            m.name,
            m.value,
            m.sd,
            m.count as i64,
            m.version
        ])?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_kept_first_is_of_the_first_definitions() {
        let row = Measure {
            scope: "take".to_owned(),
            key: String::new(),
            name: "tempo".to_owned(),
            value: 96.0,
            sd: None,
            count: 1,
            // Of a later program.
            version: 7,
        };
        assert_eq!(first(vec![row])[0].version, 1);
    }
}
