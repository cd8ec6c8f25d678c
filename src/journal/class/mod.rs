//! A class: many takes of one or several parts, reviewed side by side.
//!
//! [`find`] says which takes there are, [`letters`] hides names, [`work`] has each reviewed by a
//! process of its own, [`reason`] says why one was not read, [`made`] says what is done already, [`shared`] looks
//! for what most players have in common, [`tempo`] for bars that are rushed
//! or dragged, [`page`] writes the overview. Nobody is ranked: a jury weighs.

pub mod find;
pub mod letters;
pub mod made;
pub mod page;
pub mod reason;
pub mod shared;
pub mod tempo;
pub mod work;

use super::measures::{self, Measure};
use crate::align::Outcome;
use crate::review::Review;
use std::path::PathBuf;

/// One take that is to be reviewed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Job {
    pub take: PathBuf,
    pub part: PathBuf,
    /// As the overview names him.
    pub player: String,
    /// The take as the overview names it.
    pub name: String,
    /// Folder of its report inside the output folder.
    pub folder: String,
    /// Why it cannot be reviewed, where that is known beforehand.
    pub not_read: Option<String>,
}

/// A take by its names alone, for tests.
#[cfg(test)]
fn made_job(name: &str, player: &str) -> Job {
    Job {
        take: name.into(),
        part: "p".into(),
        player: player.to_owned(),
        name: name.to_owned(),
        folder: String::new(),
        not_read: None,
    }
}

/// What became of one take.
#[derive(Clone, Debug, PartialEq)]
pub enum State {
    Judged,
    /// Read, but not judged against this part, and why.
    Refused(String),
    /// Not read, and why.
    Unreadable(String),
}

/// One line of the overview.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    pub player: String,
    pub name: String,
    /// Folder of its report inside the output folder, where there is one.
    pub folder: Option<String>,
    pub state: State,
    /// Expected notes and what became of them, in the order of
    /// [`OUTCOMES`].
    pub outcomes: [usize; 5],
    pub measures: Vec<Measure>,
    pub faults: Vec<shared::Fault>,
    /// First and last bar that were played, of the counted passage.
    pub reached: Option<(i32, i32)>,
    /// Kinds of doubts.
    pub doubts: Vec<String>,
}

/// Each kind once, in the order of the review.
fn kinds_of_doubts(review: &Review) -> Vec<String> {
    let mut kinds: Vec<String> = Vec::new();
    for doubt in &review.doubts {
        if !kinds.contains(&doubt.kind) {
            kinds.push(doubt.kind.clone());
        }
    }
    kinds
}

/// The order in which outcomes are counted.
pub const OUTCOMES: [Outcome; 5] = [
    Outcome::Played,
    Outcome::Missed,
    Outcome::OtherDrum,
    Outcome::Unsure,
    Outcome::NotReached,
];

impl Row {
    /// The line of a take that was reviewed.
    pub fn of_review(review: &Review, player: &str, name: &str, folder: &str) -> Self {
        let reason = review.reason.clone().unwrap_or_default();
        Self {
            player: player.to_owned(),
            name: name.to_owned(),
            folder: Some(folder.to_owned()),
            state: if review.judged {
                State::Judged
            } else {
                State::Refused(reason)
            },
            outcomes: OUTCOMES.map(|o| review.notes.iter().filter(|n| n.outcome == o).count()),
            measures: measures::of_review(review),
            faults: shared::faults(review),
            reached: review
                .passages
                .iter()
                .find(|p| p.counted)
                .map(|p| (p.from_bar, p.to_bar)),
            doubts: kinds_of_doubts(review),
        }
    }

    /// The line of a take that could not be read.
    pub fn unreadable(player: &str, name: &str, why: &str) -> Self {
        Self {
            player: player.to_owned(),
            name: name.to_owned(),
            folder: None,
            state: State::Unreadable(why.to_owned()),
            outcomes: [0; 5],
            measures: Vec::new(),
            faults: Vec::new(),
            reached: None,
            doubts: Vec::new(),
        }
    }

    /// The value of a measure, `None` where it is not known.
    pub fn value(&self, name: &str, key: &str) -> Option<f64> {
        self.measures
            .iter()
            .find(|m| m.scope != "bar" && m.name == name && m.key == key)
            .map(|m| m.value)
    }
}
