//! Bars whose own tempo is surely another than that of the take: rushed or
//! dragged.
//!
//! A bar's tempo is told by two contacts: its first onset, and the first onset
//! of the next bar that has one. What is expected between them are the written
//! tempi times one ratio, the median of all bars of the take: who plays the
//! whole of it faster rushes nowhere, and a written change of tempo is none of
//! the player's. The deviation of single notes from the pulse is of no use
//! here: the pulse follows slow changes and cuts the corners of sudden ones.

use super::shared::{Fault, What};
use crate::align::Outcome;
use crate::measure::AGAINST_SDS;
use crate::review::{NoteFacts, Review, StrokeFacts, Written, WrittenBar};
use crate::stats;
use std::collections::BTreeMap;

/// Two places of a part are the same, quarter notes.
const SAME: f64 = 1e-4;
/// Fewer bars say nothing of the usual tempo.
const LEAST_BARS: usize = 4;
/// Where the next bar's first note was not heard, or is beside a roll, the bar
/// is looked at to its last onset, if that is so much of it.
const LEAST_SHARE: f64 = 0.5;
/// In less time than this, seconds, one stroke that is a little off would look
/// like another tempo.
const LEAST_S: f64 = 0.6;
/// Beside a roll one of its strokes may have been taken for its first or for
/// the note that follows; rolls have 10 to 14 strokes a second, seconds.
const ROLL_STROKE_S: f64 = 0.12;
/// So many times as long or as short as usual is a break, or a jump.
const BREAK: f64 = 1.5;
/// Standard deviation of the median of n normal values, times the root of n.
const MEDIAN_SD: f64 = 1.2533;

/// A moment at which a note surely sounded.
#[derive(Clone, Copy)]
struct Onset {
    /// Quarter notes from the start of the part.
    at: f64,
    time_s: f64,
    sd_s: f64,
    /// It begins a roll, or follows one at once.
    by_roll: bool,
}

/// From one onset to another.
struct Span {
    /// Places in the written bars, without the second.
    bars: (usize, usize),
    written_s: f64,
    played_s: f64,
    sd_s: f64,
    by_roll: bool,
}

/// What says how fast it goes. Only bars under the same can be compared.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Under {
    /// No mark at all.
    Nothing,
    Figures,
    /// A mark of words alone, by its place.
    Words(usize),
}

/// The bars that are rushed or dragged beyond doubt. The limit is that of
/// clean figures, by default twice 2.5 %: more than the 3.2 % of four equal
/// intervals that listeners just tell (Drake and Botte 1993, abstract).
pub fn rushed_or_dragged(review: &Review) -> Vec<Fault> {
    let limit = 0.01 * review.settings.clean_factor * review.settings.noticeable_pct;
    let mut found = Vec::new();
    if review.tempo.marked_bpm.is_some() && review.written.tempi.is_empty() {
        // An earlier program wrote it, and does not say where marks stand.
        return found;
    }
    for spans in alike(review).values() {
        let ratios: Vec<f64> = spans.iter().map(Span::ratio).collect();
        let (Some(usual), Some(scatter)) = (stats::median(&ratios), stats::mad_sd(&ratios)) else {
            continue;
        };
        if ratios.len() < LEAST_BARS {
            continue;
        }
        let usual_sd = MEDIAN_SD * scatter / (ratios.len() as f64).sqrt();
        for span in spans {
            if let Some(what) = span.verdict(usual.exp(), usual_sd, limit) {
                let bars = &review.written.bars[span.bars.0..span.bars.1];
                found.extend(bars.iter().map(|b| Fault {
                    what,
                    bar: b.number,
                }));
            }
        }
    }
    found
}

impl Span {
    /// How much longer it took than written, as a logarithm.
    fn ratio(&self) -> f64 {
        (self.played_s / self.written_s).ln()
    }

    fn verdict(&self, usual: f64, usual_sd: f64, limit: f64) -> Option<What> {
        let expected_s = self.written_s * usual;
        let faster = expected_s / self.played_s;
        if !(1.0 / BREAK..=BREAK).contains(&faster) || expected_s < LEAST_S {
            return None;
        }
        let limit = if self.by_roll {
            limit.max(ROLL_STROKE_S / expected_s)
        } else {
            limit
        };
        let sd = (self.sd_s / self.played_s).hypot(usual_sd);
        match faster - 1.0 {
            off if off - AGAINST_SDS * sd > limit => Some(What::Rush),
            off if -off - AGAINST_SDS * sd > limit => Some(What::Drag),
            _ => None,
        }
    }
}

/// Every span that tells a tempo, with those that can be compared with it.
fn alike(review: &Review) -> BTreeMap<Under, Vec<Span>> {
    let mut alike: BTreeMap<Under, Vec<Span>> = BTreeMap::new();
    let bars = &review.written.bars;
    let notes: Vec<Vec<&NoteFacts>> = bars
        .iter()
        .map(|bar| {
            let inside = review.notes.iter().filter(|n| is_in(n.at, bar));
            inside.collect()
        })
        .collect();
    for (i, bar) in bars.iter().enumerate() {
        let onsets = onsets(&notes[i], review);
        let next = (i + 1..bars.len()).find(|&j| !notes[j].is_empty());
        let met = next.and_then(|j| {
            let begin = notes[j].iter().map(|n| n.at).fold(f64::INFINITY, f64::min);
            let there = self::onsets(&notes[j], review).into_iter().next()?;
            (there.at - begin < SAME).then_some((there, j))
        });
        let long = |(from, (to, _)): &(Onset, (Onset, usize))| {
            to.at - from.at >= LEAST_SHARE * bar.length - SAME && to.time_s > from.time_s
        };
        let ends = |good: fn(&Onset) -> bool| {
            let mut inside = onsets.iter().copied().filter(good);
            let first = inside.next()?;
            let met = met.filter(|(there, _)| good(there));
            let last = met.or_else(|| Some((inside.next_back()?, i + 1)))?;
            Some((first, last)).filter(long)
        };
        let Some((first, (last, to))) = ends(|o| !o.by_roll).or_else(|| ends(|_| true)) else {
            continue;
        };
        if let Some((written_s, under)) = written_s(&review.written, (first.at, last.at)) {
            alike.entry(under).or_default().push(Span {
                bars: (i, to),
                written_s,
                played_s: last.time_s - first.time_s,
                sd_s: first.sd_s.hypot(last.sd_s),
                by_roll: first.by_roll || last.by_roll,
            });
        }
    }
    alike
}

fn is_in(at: f64, bar: &WrittenBar) -> bool {
    at > bar.at - SAME && at < bar.at + bar.length - SAME
}

/// The notes of a bar that surely sounded, on whichever drum, in their order.
fn onsets(notes: &[&NoteFacts], review: &Review) -> Vec<Onset> {
    let sure = |n: &&&NoteFacts| matches!(n.outcome, Outcome::Played | Outcome::OtherDrum);
    let stroke = |n: &NoteFacts| -> Option<&StrokeFacts> { review.strokes.get(n.stroke?) };
    let onset = |n: &&NoteFacts| {
        let stroke = stroke(n)?;
        let after_roll = |r: &NoteFacts| r.roll && (r.at + r.length - n.at).abs() < SAME;
        Some(Onset {
            at: n.at,
            time_s: stroke.time_s,
            sd_s: stroke.time_sd_ms / 1000.0,
            by_roll: n.roll || review.notes.iter().any(after_roll),
        })
    };
    notes.iter().filter(sure).filter_map(onset).collect()
}

/// How long it is from one place to another as written, and what says so;
/// any constant tempo will do where no figure stands. `None` where that cannot
/// be said: the tempo is free or changes gradually, or changes by words.
fn written_s(written: &Written, (from, to): (f64, f64)) -> Option<(f64, Under)> {
    let marks = &written.tempi;
    let free = written
        .fermatas
        .iter()
        .any(|&f| f > from - SAME && f < to + SAME);
    let gradual = marks.iter().enumerate().any(|(i, mark)| {
        let until = marks.get(i + 1).map_or(f64::INFINITY, |next| next.at);
        mark.gradual && mark.at < to - SAME && until > from + SAME
    });
    if free || gradual {
        return None;
    }
    let (mut at, mut bpm, mut under) = (from, 100.0, Under::Nothing);
    let mut seconds = 0.0;
    for (i, mark) in marks.iter().enumerate() {
        if mark.at > to - SAME {
            break;
        }
        // Words beside a figure are the figure's.
        let beside =
            |m: &crate::review::WrittenTempo| m.bpm.is_some() && (m.at - mark.at).abs() < SAME;
        let next = match mark.bpm {
            Some(_) => Under::Figures,
            None if marks.iter().any(beside) => continue,
            None => Under::Words(i),
        };
        if mark.at > from + SAME {
            if (under, next) != (Under::Figures, Under::Figures) {
                return None;
            }
            seconds += (mark.at - at) * 60.0 / bpm;
            at = mark.at;
        }
        bpm = mark.bpm.unwrap_or(bpm);
        under = next;
    }
    Some((seconds + (to - at) * 60.0 / bpm, under))
}
