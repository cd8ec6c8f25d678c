//! Drums that a recording may not catch at all.
//!
//! That a note was left out is told from what a stroke on its drum would sound
//! like. Where no stroke on a drum was heard, nothing says that its strokes
//! sound in this recording: it may lie below what a recorder lets through, or
//! behind another. Its notes are then not held for missed.

use super::score::Score;
use super::{Outcome, Passage};
use crate::part::Part;
use std::collections::{BTreeMap, BTreeSet};

/// What a take shows of a drum.
#[derive(Default)]
struct Shown {
    /// Whether a note that it plays alone was surely heard; `None`: none was
    /// reached.
    alone: Option<bool>,
    /// A note that it plays together with another drum was surely heard.
    together: bool,
}

impl Shown {
    /// Two drums struck at once may be heard by one of them.
    fn heard(&self) -> bool {
        self.alone.unwrap_or(self.together)
    }
}

/// Takes back that notes were missed on drums of which no stroke in the take
/// was heard; they are unsure. A stroke counts as heard where "as written" is
/// likelier than anything else by `sure`, natural log. The drums of which notes
/// are unsure and no stroke was heard, lowest first.
pub(super) fn spare_unheard(
    part: &Part,
    score: &Score,
    passages: &mut [Passage],
    sure: f64,
) -> Vec<u8> {
    let mut drums: BTreeMap<u8, Shown> = BTreeMap::new();
    let together = |note: usize| {
        let onset = score.onsets.partition_point(|o| o.notes.1 <= note);
        score.onsets[onset].is_chord()
    };
    for passage in &*passages {
        for (note, found) in (passage.notes.0..).zip(&passage.matches) {
            let shown = drums.entry(part.notes[note].drum).or_default();
            let heard = found.outcome == Outcome::Played && found.log_ratio >= sure;
            if together(note) {
                shown.together |= heard;
            } else {
                *shown.alone.get_or_insert(false) |= heard;
            }
        }
    }
    let mut unheard = BTreeSet::new();
    for passage in passages {
        for (note, found) in (passage.notes.0..).zip(&mut passage.matches) {
            let drum = part.notes[note].drum;
            let nothing = found.stroke.is_none();
            let open = matches!(found.outcome, Outcome::Missed | Outcome::Unsure);
            if nothing && open && !drums[&drum].heard() {
                found.outcome = Outcome::Unsure;
                found.log_ratio = 0.0;
                unheard.insert(drum);
            }
        }
    }
    unheard.into_iter().collect()
}
