//! Which part of a score is for timpani.

use super::super::read::{Fault, ReadOptions};
use super::{child, text_in};
use roxmltree::Node;

/// A part of the score as its list names it.
pub(super) struct Listed {
    pub id: String,
    pub name: String,
    timpani: bool,
}

/// Words that name timpani in the languages of printed scores.
const WORDS: [&str; 6] = ["timp", "pauk", "timbale", "kettle", "pavuk", "litaur"];

/// Every part that has music, in the order of the list.
pub(super) fn parts(root: Node) -> Vec<Listed> {
    let Some(list) = child(root, "part-list") else {
        // A score without a list still names its parts where they stand.
        let mut ids: Vec<String> = Vec::new();
        for part in root.descendants().filter(|n| n.has_tag_name("part")) {
            let id = part.attribute("id").unwrap_or("").to_owned();
            if !ids.contains(&id) {
                ids.push(id);
            }
        }
        return ids
            .into_iter()
            .map(|id| Listed {
                name: id.clone(),
                id,
                timpani: false,
            })
            .collect();
    };
    list.children()
        .filter(|n| n.has_tag_name("score-part"))
        .map(|n| {
            let id = n.attribute("id").unwrap_or("").to_owned();
            let name = text_in(n, "part-name").unwrap_or("").to_owned();
            let told = n
                .descendants()
                .filter(|d| {
                    matches!(
                        d.tag_name().name(),
                        "part-name"
                            | "part-abbreviation"
                            | "display-text"
                            | "instrument-name"
                            | "instrument-sound"
                    )
                })
                .filter_map(|d| d.text())
                .any(|t| {
                    let t = t.to_lowercase();
                    WORDS.iter().any(|w| t.contains(w))
                });
            // General MIDI Level 1: program 48 is timpani.
            let program = n
                .descendants()
                .any(|d| d.has_tag_name("midi-program") && d.text().map(str::trim) == Some("48"));
            Listed {
                name: if name.is_empty() { id.clone() } else { name },
                id,
                timpani: told || program,
            }
        })
        .collect()
}

/// The place of the part to read.
pub(super) fn choose(parts: &[Listed], options: &ReadOptions) -> Result<usize, Fault> {
    let place = "the list of parts";
    let names = |which: &[usize]| {
        which
            .iter()
            .map(|&i| format!("\"{}\"", parts[i].name.replace('\n', " ")))
            .collect::<Vec<_>>()
            .join(", ")
    };
    let all: Vec<usize> = (0..parts.len()).collect();
    if all.is_empty() {
        return Err(Fault::new(
            place,
            "the score has no parts; export the part again",
        ));
    }
    let fitting: Vec<usize> = match &options.part_name {
        Some(wanted) => {
            let wanted = wanted.to_lowercase();
            let exact: Vec<usize> = all
                .iter()
                .copied()
                .filter(|&i| {
                    parts[i].name.to_lowercase() == wanted || parts[i].id.to_lowercase() == wanted
                })
                .collect();
            if exact.is_empty() {
                all.iter()
                    .copied()
                    .filter(|&i| parts[i].name.to_lowercase().contains(&wanted))
                    .collect()
            } else {
                exact
            }
        }
        None if parts.len() == 1 => all.clone(),
        None => all.iter().copied().filter(|&i| parts[i].timpani).collect(),
    };
    match (fitting.as_slice(), &options.part_name) {
        ([one], _) => Ok(*one),
        ([], Some(wanted)) => Err(Fault::new(
            place,
            format!(
                "no part is called \"{wanted}\"; the parts are {}",
                names(&all)
            ),
        )),
        ([], None) => Err(Fault::new(
            place,
            format!(
                "no part is for timpani; choose one with --part-name: {}",
                names(&all)
            ),
        )),
        (several, _) => Err(Fault::new(
            place,
            format!(
                "several parts fit; choose one with --part-name: {}",
                names(several)
            ),
        )),
    }
}
