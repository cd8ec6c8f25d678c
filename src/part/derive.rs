//! What follows from what is written: the order of everything, and the mark in
//! force at each note.

use super::{HairpinKind, Part};

/// Puts everything in its order and gives every note its dynamic mark, so that
/// two readers of the same music give equal parts.
pub(super) fn settle(part: &mut Part) {
    part.notes.sort_by_key(|n| (n.at, n.pitch, n.drum));
    part.marks.sort_by_key(|m| m.at);
    part.marks.dedup();
    part.tempi.sort_by_key(|m| m.at);
    part.tempi.dedup();
    part.hairpins
        .sort_by_key(|h| (h.from, h.to, h.kind == HairpinKind::Diminuendo));
    part.hairpins.dedup();
    part.fermatas.sort_unstable();
    part.fermatas.dedup();
    part.cues
        .sort_by(|a, b| (a.bar, &a.text).cmp(&(b.bar, &b.text)));
    part.cues.dedup();
    part.retunings.sort_by_key(|r| (r.bar, r.drum));
    let mut in_force = None;
    let mut marks = part.marks.iter().peekable();
    for note in &mut part.notes {
        while let Some(mark) = marks.next_if(|m| m.at <= note.at) {
            in_force = Some(mark.mark);
        }
        note.dynamic = in_force;
    }
}
