//! class.html and class.csv: one line a take, what the players share, and
//! how each measure spreads.

use super::shared::{Shared, What, shared};
use super::{Row, State};
use crate::journal::charts::{self, WIDTHS};
use crate::journal::measures::{DEFINITIONS, place_of};
use crate::number::{bound, maybe};
use crate::report::csv::CLASS_HEAD;
use crate::report::html::{self, Cell, Column, Scripts, foreign, numbers, words};
use crate::report::lettering::csv_cell;
use crate::words::journal as text;
use maud::{Markup, html};
use std::collections::BTreeSet;

/// A column of measures: the place of its definition, and its key.
type Key = (usize, String);

/// Measures that have a column in the table and a chart.
const SHOWN: [&str; 8] = [
    "unevenness",
    "clean_share",
    "off_pitch",
    "accent_contrast",
    "stop_late",
    "stopped_share",
    "tempo",
    "tempo_drift",
];

/// Every measure that any take has, drums and bars left out, by the order of
/// their definitions.
fn keys(rows: &[Row]) -> Vec<Key> {
    let measures = rows.iter().flat_map(|r| &r.measures);
    let found: BTreeSet<Key> = measures
        .filter(|m| matches!(m.scope.as_str(), "take" | "figure"))
        .filter_map(|m| Some((place_of(&m.name)?, m.key.clone())))
        .collect();
    found.into_iter().collect()
}

/// class.csv: one line a take. Unknown is an empty cell.
pub fn csv(rows: &[Row]) -> String {
    let keys = keys(rows);
    let mut writer = csv::Writer::from_writer(Vec::new());
    let names = keys.iter().map(|(place, key)| {
        let d = &DEFINITIONS[*place];
        let unit = d.unit.replace('%', "pct").replace([' ', '/'], "_");
        let of = if key.is_empty() {
            String::new()
        } else {
            format!("{key}_")
        };
        format!("{of}{}_{unit}", d.name)
    });
    // A Vec takes every byte: writing cannot fail.
    let head = CLASS_HEAD.iter().map(|h| (*h).to_owned()).chain(names);
    let _ = writer.write_record(head);
    for row in rows {
        let (state, reason) = state(row);
        let known = !matches!(row.state, State::Unreadable(_));
        let fixed = [
            csv_cell(&row.player),
            csv_cell(&row.name),
            state.to_owned(),
            csv_cell(reason),
            row.folder.as_deref().map(csv_cell).unwrap_or_default(),
            row.doubts.join(" "),
        ];
        let counts = row
            .outcomes
            .iter()
            .map(|c| if known { c.to_string() } else { String::new() });
        let values = keys.iter().map(|(place, key)| {
            row.value(DEFINITIONS[*place].name, key)
                .map(|v| format!("{v:.4}"))
                .unwrap_or_default()
        });
        let _ = writer.write_record(fixed.into_iter().chain(counts).chain(values));
    }
    let bytes = writer.into_inner().unwrap_or_default();
    String::from_utf8_lossy(&bytes).into_owned()
}

fn state(row: &Row) -> (&'static str, &str) {
    match &row.state {
        State::Judged => (text::STATE_JUDGED, ""),
        State::Refused(why) => (text::STATE_REFUSED, why),
        State::Unreadable(why) => (text::STATE_UNREADABLE, why),
    }
}

/// class.html, class.csv and the charts, by name.
pub fn files(title: &str, rows: &[Row]) -> Vec<(String, String)> {
    let mut files = Vec::new();
    let judged = rows.iter().filter(|r| r.state == State::Judged).count();
    let shown: Vec<Key> = keys(rows)
        .into_iter()
        .filter(|(place, _)| SHOWN.contains(&DEFINITIONS[*place].name))
        .collect();
    let mut figures = Vec::new();
    for (i, (place, key)) in shown.iter().enumerate() {
        let d = &DEFINITIONS[*place];
        let values: Vec<(String, f64)> = rows
            .iter()
            .filter_map(|r| r.value(d.name, key).map(|v| (r.player.clone(), v)))
            .collect();
        if values.len() < 2 {
            continue;
        }
        let row = [charts::Row {
            name: String::new(),
            values,
            mark: None,
            band: None,
        }];
        let name = text::measure_of(d, key);
        let draw = |id: &str, width| charts::rows(id, width, (&name, text::unit(d)), &row, "");
        let (id, id_narrow) = (format!("class{i}"), format!("class{i}n"));
        if let (Some(wide), Some(narrow)) = (draw(&id, WIDTHS[0]), draw(&id_narrow, WIDTHS[1])) {
            figures.push(html::figure(&wide, &narrow, &html! {}));
            files.push((format!("class-{}.svg", i + 1), wide.file()));
        }
    }
    let body = html! {
        header { p.kicker { (text::CLASS) } h1 { (foreign(title)) } }
        main {
            p { (text::judged(judged, rows.len())) }
            (in_common(&shared(rows)))
            h2 { (text::TAKES) }
            (tables(rows, &shown))
            (not_judged(rows))
            @if !figures.is_empty() {
                h2 { (text::SPREAD) }
                p.note { (text::ONE_DOT) }
                @for figure in &figures { (figure) }
            }
        }
        footer { (text::made_by()) }
    };
    files.push(("class.csv".to_owned(), csv(rows)));
    let page = html::page(&text::class_title(title), Scripts::Tables, &body);
    files.push(("class.html".to_owned(), page));
    files
}

fn in_common(shared: &[Shared]) -> Markup {
    html! {
        h2 { (text::SHARED) }
        @if shared.is_empty() {
            p { (text::NOTHING_SHARED) }
        } @else {
            ul { @for s in shared { li { (text::shared(s)) } } }
            @if shared.iter().any(|s| matches!(s.what, What::Rush | What::Drag)) {
                p.note { (text::TEMPO_SHARED) }
            }
        }
    }
}

/// Three tables with a line a take, each narrow enough for a sheet of paper.
fn tables(rows: &[Row], shown: &[Key]) -> Markup {
    let judged: Vec<&Row> = rows.iter().filter(|r| r.state == State::Judged).collect();
    let (figures, others): (Vec<&Key>, Vec<&Key>) =
        shown.iter().partition(|(_, key)| !key.is_empty());
    html! {
        (outcomes(&judged))
        @if !figures.is_empty() { (measures(&judged, &figures, text::EVENNESS_TABLE)) }
        @if !others.is_empty() { (measures(&judged, &others, text::OTHERS_TABLE)) }
    }
}

fn outcomes(rows: &[&Row]) -> Markup {
    let mut columns = vec![words(text::PLAYER), words(text::TAKE)];
    columns.extend(text::OUTCOMES.map(|h| numbers(h, "")));
    columns.push(words(text::DOUBTS));
    let lines: Vec<Vec<Cell>> = rows
        .iter()
        .map(|row| {
            let mut cells = vec![Cell::markup(foreign(&row.player)), Cell::markup(link(row))];
            cells.extend(row.outcomes.iter().map(|c| Cell::number(&c.to_string())));
            let doubts: Vec<String> = row.doubts.iter().map(|d| text::doubt(d)).collect();
            cells.push(Cell::text(&doubts.join(", ")));
            cells
        })
        .collect();
    html::table(text::TAKES_TABLE, &columns, &lines)
}

fn measures(rows: &[&Row], shown: &[&Key], caption: &str) -> Markup {
    let names: Vec<String> = shown
        .iter()
        .map(|(place, key)| text::measure_of(&DEFINITIONS[*place], key))
        .collect();
    let mut columns = vec![words(text::PLAYER)];
    columns.extend(names.iter().zip(shown).map(|(name, (place, _))| Column {
        head: name,
        unit: text::unit(&DEFINITIONS[*place]),
        number: true,
    }));
    let lines: Vec<Vec<Cell>> = rows
        .iter()
        .map(|row| {
            let mut cells = vec![Cell::markup(foreign(&row.player))];
            cells.extend(shown.iter().map(|(place, key)| {
                let d = &DEFINITIONS[*place];
                Cell::number(&maybe(row.value(d.name, key), d.decimals))
            }));
            cells
        })
        .collect();
    html::table(caption, &columns, &lines)
}

/// The take's name, leading to its page.
fn link(row: &Row) -> Markup {
    match &row.folder {
        Some(folder) => {
            html! { a href={ (address(folder)) "/review.html" } { (foreign(&row.name)) } }
        }
        None => foreign(&row.name),
    }
}

/// A folder as part of a relative address (RFC 3986, 2.1).
fn address(folder: &str) -> String {
    folder
        .bytes()
        .map(|b| match b {
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'_' | b'.' | b'/' => {
                char::from(b).to_string()
            }
            b => format!("%{b:02X}"),
        })
        .collect()
}

fn not_judged(rows: &[Row]) -> Markup {
    let others: Vec<&Row> = rows.iter().filter(|r| r.state != State::Judged).collect();
    html! {
        @if !others.is_empty() {
            h2 { (text::NOT_JUDGED) }
            dl.facts {
                @for row in others {
                    @let (state, reason) = state(row);
                    dt { (link(row)) }
                    dd { (state) ": " (foreign(&bound(reason))) }
                }
            }
        }
    }
}
