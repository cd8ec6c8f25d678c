//! Every run through some of the part.

use super::scene::Scene;
use super::{figures, tempo};
use crate::align::{Outcome, Passage};
use crate::review::PassageFacts;
use crate::stats;

/// All passages, in order of time.
pub fn passages(scene: &Scene) -> Vec<PassageFacts> {
    scene
        .alignment
        .passages
        .iter()
        .enumerate()
        .map(|(i, passage)| facts(scene, passage, scene.alignment.counted == Some(i)))
        .collect()
}

fn facts(scene: &Scene, passage: &Passage, counted: bool) -> PassageFacts {
    let count = |outcome| {
        passage
            .matches
            .iter()
            .filter(|m| m.outcome == outcome)
            .count()
    };
    let bar = |note: usize| {
        scene
            .part
            .notes
            .get(note)
            .map_or(0, |n| scene.bar_number(n.bar))
    };
    let uneven: Vec<f64> = figures::in_passage(scene, passage)
        .iter()
        .filter_map(|f| f.unevenness_ms)
        .collect();
    PassageFacts {
        from_s: passage.from_s,
        to_s: passage.to_s,
        from_bar: bar(passage.notes.0),
        to_bar: bar(passage.notes.1),
        counted,
        median_bpm: tempo::median_bpm(scene, passage),
        played: count(Outcome::Played),
        missed: count(Outcome::Missed),
        other_drum: count(Outcome::OtherDrum),
        unsure: count(Outcome::Unsure),
        unevenness_ms: stats::median(&uneven),
    }
}
