//! When a take cannot be judged against a part, and why.

use super::scene::Scene;
use crate::align::{Alignment, Outcome};
use crate::words::remarks as words;

/// Below this probability that take and part belong together nothing is said
/// about the playing; below the second where it rests on few strokes, with
/// which chance agrees too easily.
const LEAST_SAME_PIECE: (f64, f64) = (0.5, 0.9);
/// From this probability on that the strokes are of another place in the part
/// nothing is said either.
pub const MOST_ELSEWHERE: f64 = 0.1;
/// Fewest strokes that can be taken for a run through a part.
const LEAST_STROKES: usize = 3;

/// Why the take cannot be judged; `None` where it can.
pub fn reason(scene: &Scene) -> Option<String> {
    let take = &scene.heard.take;
    if scene.part.notes.is_empty() {
        return Some(words::no_notes());
    }
    if take.duration_s <= 0.0 {
        return Some(words::empty_take());
    }
    if take.fitness.peak_db.is_none() {
        return Some(words::silence());
    }
    if scene.heard.candidates.is_empty() {
        return Some(words::no_strokes());
    }
    let Some(passage) = scene.counted() else {
        return Some(words::no_passage());
    };
    let found = passage
        .matches
        .iter()
        .filter(|m| matches!(m.outcome, Outcome::Played | Outcome::OtherDrum))
        .count();
    let least = LEAST_STROKES.min(scene.part.notes.len());
    if found < least || scene.strokes.is_empty() {
        return Some(words::too_few_strokes(found));
    }
    if !is_of_part(scene.alignment) {
        return Some(words::other_piece());
    }
    if scene.alignment.elsewhere >= MOST_ELSEWHERE {
        return Some(words::several_places());
    }
    None
}

/// The least probability that a take is of the part, by whether that rests on
/// few strokes.
pub fn least_same_piece(few: bool) -> f64 {
    if few {
        LEAST_SAME_PIECE.1
    } else {
        LEAST_SAME_PIECE.0
    }
}

/// Whether a take is surely enough of the part. A probability that is no number
/// is no sign that it is.
pub fn is_of_part(alignment: &Alignment) -> bool {
    alignment.same_piece >= least_same_piece(alignment.few)
}
