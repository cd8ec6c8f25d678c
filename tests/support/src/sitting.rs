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
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Plan {
    /// Breaks off after a few bars, once or twice, and then plays it all.
    Restart,
    /// Plays some bars from the middle only.
    Fragment,
    /// Practises the same few bars several times.
    Again,
    /// Breaks off in a bar, up to three times, and goes on from the same bar
    /// or an earlier one, often at once.
    BreaksOff,
    /// Plays the same four bars ten times, sometimes without a pause.
    TenTimes,
    /// Plays bars 9 to 16 only, or in a short part its second third.
    Middle,
}

impl Plan {
    /// Every plan.
    pub const ALL: [Self; 6] = [
        Self::Restart,
        Self::Fragment,
        Self::Again,
        Self::BreaksOff,
        Self::TenTimes,
        Self::Middle,
    ];
}

/// One run that a player sets out to make.
#[derive(Clone, Debug)]
struct Run {
    bars: RangeInclusive<usize>,
    /// The note after which the player breaks off.
    breaks_off: Option<usize>,
    pause: Pause,
}

/// What follows a run.
#[derive(Clone, Copy, Debug)]
enum Pause {
    /// Nothing is played for so long, seconds, from and to.
    Quiet(f64, f64),
    /// The next run begins where the next bar would.
    InTempo,
}

impl Run {
    fn whole(bars: RangeInclusive<usize>) -> Self {
        Self {
            bars,
            breaks_off: None,
            pause: Pause::Quiet(2.0, 4.5),
        }
    }
}

impl Plan {
    fn runs(self, part: &Part, draw: &mut Draw) -> Vec<Run> {
        let bars = part.bars.len();
        match self {
            Self::Restart => {
                let starts = 1 + draw.below(2);
                let mut runs: Vec<_> = (0..starts)
                    .map(|_| Run::whole(0..=(2 + draw.below(5)).min(bars - 1)))
                    .collect();
                runs.push(Run::whole(0..=bars - 1));
                runs
            }
            Self::Fragment => {
                let from = 1 + draw.below(bars / 3);
                vec![Run::whole(from..=(from + bars / 2).min(bars - 1))]
            }
            Self::Again => {
                let from = draw.below(bars / 2);
                vec![Run::whole(from..=(from + 4).min(bars - 1)); 3 + draw.below(3)]
            }
            Self::BreaksOff => breaking_off(part, draw),
            Self::TenTimes => {
                let from = draw.below(bars.saturating_sub(4).max(1));
                let mut run = Run::whole(from..=(from + 3).min(bars - 1));
                run.pause = if draw.chance(0.4) {
                    Pause::InTempo
                } else {
                    Pause::Quiet(0.6, 3.0)
                };
                vec![run; 10]
            }
            Self::Middle => {
                let run = if bars >= 16 {
                    8..=15
                } else {
                    bars / 3..=2 * bars / 3
                };
                vec![Run::whole(run)]
            }
        }
    }
}

/// Runs that end in the middle of a bar, each from the bar of the last break
/// or up to three bars before it; the last goes to the end.
fn breaking_off(part: &Part, draw: &mut Draw) -> Vec<Run> {
    let bars = part.bars.len();
    let mut runs = Vec::new();
    let mut from = 0;
    for _ in 0..=draw.below(3) {
        let within = from + 1..=from + 1 + draw.below(6);
        let notes: Vec<usize> = (0..part.notes.len())
            .filter(|&n| within.contains(&part.notes[n].bar))
            .collect();
        if notes.is_empty() || *within.end() + 1 >= bars {
            break;
        }
        let last = draw.one(&notes);
        let bar = part.notes[last].bar;
        runs.push(Run {
            bars: from..=bar,
            breaks_off: Some(last),
            pause: Pause::Quiet(0.5, 3.0),
        });
        from = bar.saturating_sub(draw.below(4));
    }
    runs.push(Run::whole(from..=bars - 1));
    runs
}

/// A sitting: the performance of everything, its runs, and what else is heard.
pub fn sitting(
    part: &Part,
    player: &Player,
    draw: &mut Draw,
) -> (Performance, Vec<TruePassage>, Aside) {
    let plan = draw.one(&[Plan::Restart, Plan::Restart, Plan::Fragment, Plan::Again]);
    planned(part, player, plan, draw)
}

/// A sitting of one kind.
pub fn planned(
    part: &Part,
    player: &Player,
    plan: Plan,
    draw: &mut Draw,
) -> (Performance, Vec<TruePassage>, Aside) {
    let runs = plan.runs(part, draw);
    let mut aside = Aside::default();
    let mut all = Performance::default();
    let mut passages: Vec<TruePassage> = Vec::new();
    let mut at_s = opening(part, draw, &mut all, &mut aside);
    for run in runs {
        let from_s = at_s;
        let (mut piece, bar_end_s) = cut(part, player::play(part, player, draw, false), &run);
        piece.shift(from_s);
        // A bar in which nothing was struck is no part of the run: nobody
        // could tell.
        let struck = || piece.hits.iter().filter_map(|h| h.note);
        let (Some(first), Some(last)) = (struck().min(), struck().max()) else {
            continue;
        };
        let (from_s, to_s) = (
            piece.hits[0].time_s,
            piece.hits[piece.hits.len() - 1].time_s,
        );
        at_s = match run.pause {
            Pause::Quiet(least_s, most_s) => to_s + draw.between(least_s, most_s),
            Pause::InTempo => (at_s + bar_end_s).max(to_s + 0.1),
        };
        passages.push(TruePassage {
            from_s,
            to_s,
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

/// Keeps what lies in a run, beginning at time 0; and where its last bar ends.
fn cut(part: &Part, mut whole: Performance, run: &Run) -> (Performance, f64) {
    let time = |quarters: f64| {
        let knots = &whole.tempo;
        let next = knots
            .partition_point(|k| k.0 < quarters)
            .min(knots.len() - 1);
        knots[next].1
    };
    let bars = &run.bars;
    let end = part.bars[*bars.end()].at + part.bars[*bars.end()].length;
    let from_s = time(quarters_f64(part.bars[*bars.start()].at));
    let bar_end_s = time(quarters_f64(end));
    let last_at = run.breaks_off.map(|n| part.notes[n].at);
    let to_s = last_at.map_or(bar_end_s, |at| time(quarters_f64(at)));
    let reached = |note: usize| {
        let note = &part.notes[note];
        bars.contains(&note.bar) && last_at.is_none_or(|at| note.at <= at)
    };
    let inside = |note: Option<usize>, time_s: f64| match note {
        Some(note) => reached(note),
        None => from_s < time_s && time_s < to_s,
    };
    whole.hits.retain(|h| inside(h.note, h.time_s));
    whole.endings.retain(|e| inside(Some(e.note), 0.0));
    // The hands that stop the drums after the last note belong to it.
    whole
        .touches
        .retain(|t| from_s < t.time_s && t.time_s < to_s + 0.3);
    for (note, fate) in whole.fates.iter_mut().enumerate() {
        if !reached(note) {
            *fate = Fate::NotReached;
        }
    }
    let first_s = whole.hits.first().map_or(from_s, |h| h.time_s.min(from_s));
    whole.shift(-first_s);
    (whole, bar_end_s - first_s)
}
