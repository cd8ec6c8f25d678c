//! The log for other programs: CSV, one line a measure, and JSON Lines, one
//! line a take with its whole review.

use super::log::{Entry, Log};
use crate::error::Error;
use crate::report::lettering::csv_cell;

/// Columns of the CSV.
const HEAD: [&str; 18] = [
    "entry",
    "take_hash",
    "file",
    "part",
    "part_identity",
    "recorded",
    "recorded_from",
    "player",
    "variant",
    "note",
    "program",
    "scope",
    "key",
    "measure",
    "value",
    "sd",
    "count",
    "version",
];

/// One line for every measure of every entry; an entry without measures has
/// one line with those cells empty. Unknown is an empty cell.
pub fn csv<'a>(log: &Log, entries: impl IntoIterator<Item = &'a Entry>) -> Result<String, Error> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    // A Vec takes every byte: writing cannot fail.
    let _ = writer.write_record(HEAD);
    for entry in entries {
        let text = |t: &Option<String>| csv_cell(t.as_deref().unwrap_or_default());
        let recorded = entry.recorded.as_ref();
        let head = [
            entry.id.to_string(),
            entry.take_hash.clone(),
            csv_cell(&entry.file),
            csv_cell(&entry.part_title),
            entry.part_identity.clone(),
            recorded.map(|r| r.at.clone()).unwrap_or_default(),
            recorded
                .map(|r| r.origin.name().to_owned())
                .unwrap_or_default(),
            text(&entry.player),
            text(&entry.variant),
            text(&entry.note),
            entry.program.clone(),
        ];
        let measures = log.measures(entry.id)?;
        let rows = measures.iter().map(|m| {
            [
                m.scope.clone(),
                csv_cell(&m.key),
                m.name.clone(),
                m.value.to_string(),
                m.sd.map(|s| s.to_string()).unwrap_or_default(),
                m.count.to_string(),
                m.version.to_string(),
            ]
        });
        let empty = measures.is_empty().then(<[String; 7]>::default);
        for row in rows.chain(empty) {
            let _ = writer.write_record(head.iter().chain(&row));
        }
    }
    let bytes = writer.into_inner().unwrap_or_default();
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

/// One JSON object a line and take: labels, measures and the review.
pub fn json_lines<'a>(
    log: &Log,
    entries: impl IntoIterator<Item = &'a Entry>,
) -> Result<String, Error> {
    let mut lines = String::new();
    for entry in entries {
        let mut object = summary(entry);
        object["measures"] = serde_json::json!(log.measures(entry.id)?);
        object["review"] = serde_json::json!(log.review(entry.id)?);
        lines.push_str(&object.to_string());
        lines.push('\n');
    }
    Ok(lines)
}

/// An entry without its review, as JSON.
pub fn summary(entry: &Entry) -> serde_json::Value {
    let recorded = entry.recorded.as_ref();
    serde_json::json!({
        "entry": entry.id,
        "take_hash": entry.take_hash,
        "file": entry.file,
        "part": entry.part_title,
        "part_identity": entry.part_identity,
        "recorded": recorded.map(|r| &r.at),
        "recorded_from": recorded.map(|r| r.origin.name()),
        "player": entry.player,
        "variant": entry.variant,
        "note": entry.note,
        "tempo_bpm": entry.tempo_bpm,
        "judged": entry.judged,
        "program": entry.program,
        "reviewed_at": entry.reviewed_at,
    })
}
