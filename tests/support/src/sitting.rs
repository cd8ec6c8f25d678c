//! Takes as they really come: talk, a count-in, a drum tried, false starts, a
//! few bars practised over and over, and only then (or never) the whole part.

use crate::draw::Draw;
use crate::player::{self, Hit, Performance, Player};
use crate::truth::{Fate, TruePassage};
use kettlemark::part::{Part, quarters_f64};
use std::ops::RangeInclusive;

/// What else is heard in a take.
#[derive(Clone, Debug, Default)]
pub struct Aside {
    /// Sticks struck together.
    pub sticks_s: Vec<f64>,
    /// Somebody talks, from and to.
    pub talk_s: Vec<(f64, f64)>,
}

/// What a player does with the part in one take.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Plan {
    /// Breaks off after a few bars, once or twice, and then plays it all.
    Restart,
    /// Plays some bars from the middle only.
    Fragment,
    /// Practises the same few bars several times.
    Again,
}

/// A sitting: the performance of everything, its runs, and what else is heard.
pub fn sitting(
    part: &Part,
    player: &Player,
    draw: &mut Draw,
) -> (Performance, Vec<TruePassage>, Aside) {
    let bars = part.bars.len();
    let plan = draw.one(&[Plan::Restart, Plan::Restart, Plan::Fragment, Plan::Again]);
    let runs: Vec<RangeInclusive<usize>> = match plan {
        Plan::Restart => {
            let starts = 1 + draw.below(2);
            let mut runs: Vec<_> = (0..starts)
                .map(|_| 0..=(2 + draw.below(5)).min(bars - 1))
                .collect();
            runs.push(0..=bars - 1);
            runs
        }
        Plan::Fragment => {
            let from = 1 + draw.below(bars / 3);
            vec![from..=(from + bars / 2).min(bars - 1)]
        }
        Plan::Again => {
            let from = draw.below(bars / 2);
            vec![from..=(from + 4).min(bars - 1); 3 + draw.below(3)]
        }
    };
    let mut aside = Aside::default();
    let mut all = Performance::default();
    let mut passages: Vec<TruePassage> = Vec::new();
    let mut at_s = opening(part, draw, &mut all, &mut aside);
    for run in runs {
        let from_s = at_s;
        let mut piece = cut(part, player::play(part, player, draw, false), &run);
        piece.shift(from_s);
        if piece.hits.is_empty() {
            continue;
        }
        let inside = |bar: usize| run.contains(&bar);
        let (Some(first), Some(last)) = (
            part.notes.iter().position(|n| inside(n.bar)),
            part.notes.iter().rposition(|n| inside(n.bar)),
        ) else {
            continue;
        };
        at_s = piece.hits[piece.hits.len() - 1].time_s + draw.between(2.0, 4.5);
        passages.push(TruePassage {
            from_s: piece.hits[0].time_s,
            to_s: piece.hits[piece.hits.len() - 1].time_s,
            notes: (first, last),
            counted: false,
        });
        let longest = passages.iter().map(|p| p.notes.1 - p.notes.0).max();
        if longest == Some(last - first) {
            // The longest counts, the later of equals.
            for passage in &mut passages {
                passage.counted = false;
            }
            let end = passages.len() - 1;
            passages[end].counted = true;
            for hit in &mut all.hits {
                hit.counted = false;
            }
            all.endings = piece.endings;
            all.fates = piece.fates;
            all.tempo = piece.tempo;
        } else {
            for hit in &mut piece.hits {
                hit.counted = false;
            }
        }
        all.hits.extend(piece.hits);
        all.touches.extend(piece.touches);
    }
    all.hits.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    all.touches.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    all.length_s = all.hits.last().map_or(3.0, |h| h.time_s + 3.0);
    (all, passages, aside)
}

/// What comes before the first run; gives when that may begin.
fn opening(part: &Part, draw: &mut Draw, all: &mut Performance, aside: &mut Aside) -> f64 {
    let mut at_s = 0.5;
    if draw.chance(0.5) {
        let to_s = at_s + draw.between(1.0, 2.5);
        aside.talk_s.push((at_s, to_s));
        at_s = to_s + 0.8;
    }
    if draw.chance(0.5) {
        // Each drum is tried softly.
        for setting in 0..part.drums.len() {
            let place = part
                .settings()
                .iter()
                .position(|s| usize::from(s.drum) == setting + 1);
            let Some(setting) = place else { continue };
            for _ in 0..=draw.below(2) {
                all.hits.push(Hit {
                    time_s: at_s,
                    note: None,
                    setting,
                    level_db: -24.0 + 2.0 * draw.normal(),
                    grace: false,
                    in_roll: false,
                    counted: false,
                });
                at_s += draw.between(0.5, 1.3);
            }
        }
        at_s += 1.0;
    }
    if draw.chance(0.5) {
        let beat_s = 60.0 / part.marked_bpm(0.into()).unwrap_or(100.0);
        for _ in 0..4 {
            aside.sticks_s.push(at_s + 0.008 * draw.normal());
            at_s += beat_s;
        }
    }
    at_s
}

/// Keeps what lies in some bars, beginning at time 0.
fn cut(part: &Part, mut whole: Performance, bars: &RangeInclusive<usize>) -> Performance {
    let time = |quarters: f64| {
        let knots = &whole.tempo;
        let next = knots
            .partition_point(|k| k.0 < quarters)
            .min(knots.len() - 1);
        knots[next].1
    };
    let end = part.bars[*bars.end()].at + part.bars[*bars.end()].length;
    let (from_s, to_s) = (
        time(quarters_f64(part.bars[*bars.start()].at)),
        time(quarters_f64(end)),
    );
    let inside = |note: Option<usize>, time_s: f64| match note {
        Some(note) => bars.contains(&part.notes[note].bar),
        None => from_s < time_s && time_s < to_s,
    };
    whole.hits.retain(|h| inside(h.note, h.time_s));
    whole.endings.retain(|e| inside(Some(e.note), 0.0));
    // The hands that stop the drums after the last bar belong to it.
    whole
        .touches
        .retain(|t| from_s < t.time_s && t.time_s < to_s + 0.3);
    for (fate, note) in whole.fates.iter_mut().zip(&part.notes) {
        if !bars.contains(&note.bar) {
            *fate = Fate::NotReached;
        }
    }
    let first_s = whole.hits.first().map_or(from_s, |h| h.time_s.min(from_s));
    whole.shift(-first_s);
    whole
}
