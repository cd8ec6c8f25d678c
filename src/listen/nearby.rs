//! How strong a stroke is expected to be, from the matched strokes around it.
//!
//! What is measured of a stroke, in dB, is taken apart into what its drum makes
//! of it, what an accent or a roll does, and how loudly is played about there.
//! A drum that only plays in soft bars is not held for a soft drum, nor one
//! that only plays with accents for a loud one.

use crate::align::{Alignment, Outcome};
use crate::part::{Dynamic, Note, Part};
use crate::stats::median;

/// How far the strength of a stroke lies from what is expected beside the
/// strokes around it, standard deviation, dB.
pub const SPREAD_DB: f64 = 3.5;
/// Points at which that spread is looked at, in standard deviations, with the
/// normal share of each.
pub const SPREAD: [(f64, f64); 7] = [
    (-3.0, 0.0060),
    (-2.0, 0.0606),
    (-1.0, 0.2417),
    (0.0, 0.3834),
    (1.0, 0.2417),
    (2.0, 0.0606),
    (3.0, 0.0060),
];

/// What a stroke so far off says of how loudly is played falls by e in this
/// time, and is nothing from the second on, seconds.
const FADES_S: f64 = 1.0;
const REACH_S: f64 = 3.0;
/// What a stroke under another mark says, against one under the same.
const OTHER_MARK: f64 = 0.1;
/// What the whole take says, against a stroke close by.
const WHOLE: f64 = 0.3;
/// A stroke farther than this from the median of those around says no more, dB.
const CUT_DB: f64 = 6.0;
/// A drum, an accent or a roll known by one stroke is believed by half.
const LEAN: f64 = 1.0;
/// Rounds of telling drums, touches and loudness apart; more change little.
const ROUNDS: usize = 3;

/// How a note is struck.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Touch {
    Plain,
    Accent,
    Roll,
}

impl Touch {
    pub fn of(note: &Note) -> Self {
        match (note.roll, note.accent) {
            (true, _) => Self::Roll,
            (_, true) => Self::Accent,
            _ => Self::Plain,
        }
    }
}

/// A matched stroke.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stroke {
    /// Place in the list of candidates.
    pub candidate: usize,
    /// Place in `Part::notes`.
    pub note: usize,
    pub time_s: f64,
    /// Place in `Part::settings`.
    pub setting: usize,
    pub touch: Touch,
    /// The mark in force.
    pub mark: Option<Dynamic>,
}

impl Stroke {
    /// The strokes of the notes with certain outcomes, in order of time, each
    /// once.
    pub fn matched(
        candidates: &[super::Candidate],
        part: &Part,
        alignment: &Alignment,
        outcomes: &[Outcome],
    ) -> Vec<Self> {
        let settings = part.note_settings();
        let mut strokes = Vec::new();
        for passage in &alignment.passages {
            for (note, found) in (passage.notes.0..).zip(&passage.matches) {
                let sure = outcomes.contains(&found.outcome);
                if let (true, Some(candidate), Some(setting)) = (sure, found.stroke, settings[note])
                {
                    strokes.push(Self {
                        candidate,
                        note,
                        time_s: candidates[candidate].time_s,
                        setting,
                        touch: Touch::of(&part.notes[note]),
                        mark: part.notes[note].dynamic,
                    });
                }
            }
        }
        strokes.sort_by(|a, b| {
            let time = a.time_s.total_cmp(&b.time_s);
            time.then(a.candidate.cmp(&b.candidate))
        });
        strokes.dedup_by_key(|s| s.candidate);
        strokes
    }
}

/// How loudly is played, and how loud each drum sounds then.
pub struct Loudness {
    strokes: Vec<Stroke>,
    /// What each of them would be if its drum and its touch made no
    /// difference, dB.
    level_db: Vec<f64>,
    usual_db: f64,
    accent_db: f64,
    roll_db: f64,
}

impl Loudness {
    /// From strokes in order of time and what was measured of each, dB.
    pub fn new(strokes: Vec<Stroke>, measured_db: &[f64]) -> Self {
        let mut loudness = Self {
            level_db: measured_db.to_vec(),
            usual_db: median(measured_db).unwrap_or(0.0),
            strokes,
            accent_db: 0.0,
            roll_db: 0.0,
        };
        let settings = loudness.strokes.iter().map(|s| s.setting + 1).max();
        let mut drums_db = vec![0.0; settings.unwrap_or(0)];
        for _ in 0..ROUNDS {
            let around_db = loudness.at_strokes();
            let rest = |i: usize, other_db: f64| measured_db[i] - around_db[i] - other_db;
            let leaning = |of: &dyn Fn(usize, &Stroke) -> Option<f64>| {
                let strokes = loudness.strokes.iter().enumerate();
                let values: Vec<f64> = strokes.filter_map(|(i, s)| of(i, s)).collect();
                let count = values.len() as f64;
                median(&values).unwrap_or(0.0) * count / (count + LEAN)
            };
            for (setting, drum_db) in drums_db.iter_mut().enumerate() {
                *drum_db = leaning(&|i, s| {
                    (s.setting == setting).then(|| rest(i, loudness.touch_db(s.touch)))
                });
            }
            let of_touch =
                |touch| leaning(&|i, s| (s.touch == touch).then(|| rest(i, drums_db[s.setting])));
            (loudness.accent_db, loudness.roll_db) =
                (of_touch(Touch::Accent), of_touch(Touch::Roll));
            for (i, stroke) in loudness.strokes.iter().enumerate() {
                loudness.level_db[i] =
                    measured_db[i] - drums_db[stroke.setting] - loudness.touch_db(stroke.touch);
            }
            loudness.usual_db = median(&loudness.level_db).unwrap_or(0.0);
        }
        loudness
    }

    fn touch_db(&self, touch: Touch) -> f64 {
        match touch {
            Touch::Plain => 0.0,
            Touch::Accent => self.accent_db,
            Touch::Roll => self.roll_db,
        }
    }

    /// How loudly is played about each stroke, itself left out, dB.
    fn at_strokes(&self) -> Vec<f64> {
        let around = |(i, s): (usize, &Stroke)| self.around_db(s.time_s, s.mark, Some(i));
        self.strokes.iter().enumerate().map(around).collect()
    }

    /// How much louder each stroke should be than what is usual on its drum,
    /// from those around it, dB.
    pub fn expected_db(&self) -> impl Iterator<Item = (&Stroke, f64)> {
        let around_db = self.at_strokes();
        let touched = |s: &Stroke, db| db + self.touch_db(s.touch);
        let strokes = self.strokes.iter().zip(around_db);
        strokes.map(move |(s, db)| (s, touched(s, db)))
    }

    /// How much louder a note should be than what is usual on its drum, dB.
    pub fn of_note_db(&self, time_s: f64, note: &Note) -> f64 {
        self.around_db(time_s, note.dynamic, None) + self.touch_db(Touch::of(note))
    }

    /// The same for a candidate, of which no more is known than the matched
    /// stroke nearest to it.
    pub fn of_candidate_db(&self, candidate: usize, time_s: f64) -> f64 {
        let after = self.strokes.partition_point(|s| s.time_s < time_s);
        let near = [after.checked_sub(1), Some(after)].into_iter().flatten();
        let off_s = |i: &usize| (self.strokes[*i].time_s - time_s).abs();
        let nearest = near
            .filter(|&i| i < self.strokes.len())
            .min_by(|a, b| off_s(a).total_cmp(&off_s(b)));
        let own = nearest.filter(|&i| self.strokes[i].candidate == candidate);
        let stroke = nearest.map(|i| &self.strokes[i]);
        let touch_db = own.map_or(0.0, |i| self.touch_db(self.strokes[i].touch));
        self.around_db(time_s, stroke.and_then(|s| s.mark), own) + touch_db
    }

    /// How loudly is played about a time under a mark, the stroke `but` left
    /// out, dB.
    fn around_db(&self, time_s: f64, mark: Option<Dynamic>, but: Option<usize>) -> f64 {
        let from = self
            .strokes
            .partition_point(|s| s.time_s < time_s - REACH_S);
        let near = self.strokes[from..].iter().zip(&self.level_db[from..]);
        let others = near
            .enumerate()
            .take_while(|(_, (s, _))| s.time_s <= time_s + REACH_S)
            .filter(|(i, _)| Some(from + i) != but)
            .map(|(_, (s, &db))| {
                let fades = (-(s.time_s - time_s).abs() / FADES_S).exp();
                let same = if s.mark == mark { 1.0 } else { OTHER_MARK };
                (db, fades * same)
            });
        let mut weighed: Vec<(f64, f64)> = others.chain([(self.usual_db, WHOLE)]).collect();
        weighed.sort_by(|a, b| a.0.total_cmp(&b.0));
        let whole: f64 = weighed.iter().map(|w| w.1).sum();
        let mut sum = 0.0;
        let middle = weighed.iter().find(|w| {
            sum += w.1;
            sum >= 0.5 * whole
        });
        let middle_db = middle.map_or(self.usual_db, |w| w.0);
        let cut = |db: f64| db.clamp(middle_db - CUT_DB, middle_db + CUT_DB);
        weighed.iter().map(|w| cut(w.0) * w.1).sum::<f64>() / whole
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stroke(i: usize, setting: usize, touch: Touch, mark: Dynamic) -> Stroke {
        Stroke {
            candidate: i,
            note: i,
            time_s: 0.5 * i as f64,
            setting,
            touch,
            mark: Some(mark),
        }
    }

    /// Twelve loud strokes on one drum, then twelve 20 dB softer ones, every
    /// other of them on a second drum that sounds 6 dB stronger.
    fn loud_then_soft() -> (Vec<Stroke>, Vec<f64>) {
        let of = |i: usize| match i {
            0..12 => (stroke(i, 0, Touch::Plain, Dynamic::F), -10.0),
            _ if i.is_multiple_of(2) => (stroke(i, 0, Touch::Plain, Dynamic::P), -30.0),
            _ => (stroke(i, 1, Touch::Plain, Dynamic::P), -24.0),
        };
        (0..24).map(of).unzip()
    }

    /// What each stroke would be by those around it and a drum's usual strokes.
    fn predicted(loudness: &Loudness, measured_db: &[f64]) -> Vec<f64> {
        let expected: Vec<(usize, f64)> = loudness
            .expected_db()
            .map(|(s, db)| (s.setting, db))
            .collect();
        let usual = [0, 1].map(|drum| {
            let own = expected.iter().zip(measured_db);
            let own = own.filter(|((d, _), _)| *d == drum);
            median(&own.map(|((_, e), m)| m - e).collect::<Vec<f64>>()).unwrap()
        });
        expected.iter().map(|(d, e)| usual[*d] + e).collect()
    }

    #[test]
    fn a_drum_that_only_plays_softly_is_no_soft_drum() {
        let (strokes, measured_db) = loud_then_soft();
        let loudness = Loudness::new(strokes, &measured_db);
        for (told, measured) in predicted(&loudness, &measured_db).iter().zip(&measured_db) {
            assert!((told - measured).abs() < 5.0, "{told} {measured}");
        }
        // A stroke is expected to be as loud as its mark, not as its neighbours.
        let about = |mark| loudness.around_db(5.9, Some(mark), None);
        let change = about(Dynamic::P) - about(Dynamic::F);
        assert!((change + 20.0).abs() < 6.0, "{change}");
    }

    #[test]
    fn accents_do_not_make_a_drum_louder() {
        let (mut strokes, mut measured_db) = loud_then_soft();
        for i in (1..24).step_by(4) {
            strokes[i].touch = Touch::Accent;
            measured_db[i] += 8.0;
        }
        let loudness = Loudness::new(strokes, &measured_db);
        assert!(
            (loudness.accent_db - 8.0).abs() < 2.0,
            "{}",
            loudness.accent_db
        );
        for (told, measured) in predicted(&loudness, &measured_db).iter().zip(&measured_db) {
            assert!((told - measured).abs() < 5.0, "{told} {measured}");
        }
    }
}
