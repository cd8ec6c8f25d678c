//! Reviews that are there already, as rows: nothing is reviewed.

use crate::cli::compare::{found_below, review_in};
use kettlemark::error::Error;
use kettlemark::journal::class::Row;
use kettlemark::journal::class::made::{MADE_OF, MadeOf};
use kettlemark::report::audio::way;
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

/// Rows of all reviews below a folder, named as the class that made them
/// named them, and of the takes that class could not read. A review that
/// cannot be read is a row too.
pub fn gathered(from: &Path, folder: &Path) -> Result<Vec<Row>, Error> {
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
    row.folder = way(inside, folder).map(|way| match way.to_string_lossy().replace('\\', "/") {
        here if here.is_empty() => ".".to_owned(),
        way => way,
    });
    Some(row)
}
