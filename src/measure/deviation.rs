//! Every note against the pulse, and the strokes as the review lists them.

use super::scene::Scene;
use crate::align::{Outcome, Passage};
use crate::part::{Part, quarters_f64};
use crate::review::{NoteFacts, StrokeFacts};

/// A time against the pulse.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Deviation {
    /// Early negative.
    pub ms: f64,
    pub sd_ms: f64,
}

/// How far the stroke of a note lies from the pulse of a passage. `None`
/// where no stroke surely plays it, where a roll hides its first stroke's
/// share in the next ones, or where the pulse is unknown.
pub fn deviation(scene: &Scene, passage: &Passage, note: usize) -> Option<Deviation> {
    let stroke = scene.sure_stroke(passage, note)?;
    let expected = passage
        .pulse
        .time_s(quarters_f64(scene.part.notes[note].at))?;
    Some(Deviation {
        ms: (stroke.time_s - expected) * 1000.0,
        sd_ms: stroke.time_sd_s.hypot(passage.pulse.sd_s) * 1000.0,
    })
}

/// Every expected note with what became of it.
pub fn notes(scene: &Scene) -> Vec<NoteFacts> {
    let mut facts = unreached(scene.part);
    let Some(passage) = scene.counted() else {
        return facts;
    };
    for (fact, found) in facts.iter_mut().skip(passage.notes.0).zip(&passage.matches) {
        fact.outcome = found.outcome;
        fact.expected_s = passage.pulse.time_s(fact.at);
        if found.outcome == Outcome::NotReached {
            continue;
        }
        fact.stroke = found.stroke.and_then(|c| scene.stroke_place(c));
        if let Some(deviation) = deviation(scene, passage, fact.index) {
            fact.deviation_ms = Some(deviation.ms);
            fact.deviation_sd_ms = Some(deviation.sd_ms);
        }
    }
    facts
}

/// Every expected note, none of them reached.
pub fn unreached(part: &Part) -> Vec<NoteFacts> {
    part.notes
        .iter()
        .enumerate()
        .map(|(index, note)| NoteFacts {
            index,
            bar: part.bars.get(note.bar).map_or(0, |b| b.number),
            beat: part
                .bars
                .get(note.bar)
                .map_or(1.0, |b| quarters_f64(note.at - b.at) + 1.0),
            at: quarters_f64(note.at),
            length: quarters_f64(note.length),
            pitch: note.pitch,
            drum: note.drum,
            roll: note.roll,
            outcome: Outcome::NotReached,
            stroke: None,
            deviation_ms: None,
            deviation_sd_ms: None,
            expected_s: None,
            click_deviation_ms: None,
            click_deviation_sd_ms: None,
        })
        .collect()
}

/// Every stroke heard, in order of time.
pub fn strokes(scene: &Scene) -> Vec<StrokeFacts> {
    scene
        .strokes
        .iter()
        .map(|stroke| StrokeFacts {
            time_s: stroke.time_s,
            time_sd_ms: stroke.time_sd_s * 1000.0,
            level_db: stroke.level_db,
            level_sd_db: stroke.level_sd_db,
            drum: stroke
                .setting
                .and_then(|s| scene.tunings.get(s))
                .map(|s| s.drum),
            hz: stroke.tone.map(|t| t.hz),
            cents: stroke.tone.map(|t| t.cents),
            cents_sd: stroke.tone.map(|t| t.cents_sd),
            in_roll: stroke.in_roll,
            note: stroke.note,
        })
        .collect()
}
