//! When a take cannot be judged against a part, and why.

use super::scene::Scene;
use crate::align::Outcome;
use crate::words::remarks as words;

/// Below this probability that take and part belong together nothing is said
/// about the playing.
pub const LEAST_SAME_PIECE: f64 = 0.5;
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
    // A probability that is no number is no sign that the piece is right.
    if scene.alignment.same_piece.is_nan() || scene.alignment.same_piece < LEAST_SAME_PIECE {
        return Some(words::other_piece());
    }
    None
}
