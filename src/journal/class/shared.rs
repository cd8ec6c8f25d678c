//! What most players of a class have in common: the subject of the next
//! lesson.

use super::{Row, tempo};
use crate::align::Outcome;
use crate::review::{Review, StopState, TuneVerdict};
use std::collections::{BTreeMap, BTreeSet};

/// What may be wrong in a bar.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum What {
    Rush,
    Drag,
    Uneven,
    Missed,
    OtherDrum,
    RingsOn,
    OffPitch,
}

/// Something wrong in one bar of one take; beyond doubt by the limits of the
/// review.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Fault {
    pub what: What,
    pub bar: i32,
}

/// Something several players share.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Shared {
    pub what: What,
    pub bars: Vec<i32>,
    /// In each of the bars at least so many players.
    pub players: usize,
    /// Of so many who played them.
    pub of: usize,
}

/// The faults of a review, bar by bar.
pub fn faults(review: &Review) -> Vec<Fault> {
    let mut found: BTreeSet<Fault> = tempo::rushed_or_dragged(review).into_iter().collect();
    let mut put = |what, bar| {
        found.insert(Fault { what, bar });
    };
    for note in &review.notes {
        match note.outcome {
            Outcome::Missed => put(What::Missed, note.bar),
            Outcome::OtherDrum => put(What::OtherDrum, note.bar),
            _ => {}
        }
    }
    for figure in review.figures.iter().filter(|f| f.clean == Some(false)) {
        put(What::Uneven, figure.bar);
    }
    for stop in review
        .stops
        .iter()
        .filter(|s| s.state == StopState::Ringing)
    {
        put(What::RingsOn, stop.bar);
    }
    for setting in review.drums.iter().flat_map(|d| &d.settings) {
        if setting.verdict == Some(TuneVerdict::Off) {
            (setting.from_bar..=setting.to_bar).for_each(|bar| put(What::OffPitch, bar));
        }
    }
    found.into_iter().collect()
}

/// What at least half of the players, and no fewer than two, have in common,
/// the most common first. A player with several takes has a fault when half
/// of them show it.
pub fn shared(rows: &[Row]) -> Vec<Shared> {
    let mut players: BTreeMap<&str, Vec<&Row>> = BTreeMap::new();
    for row in rows.iter().filter(|r| r.state == super::State::Judged) {
        players.entry(&row.player).or_default().push(row);
    }
    let all: BTreeSet<Fault> = rows.iter().flat_map(|r| r.faults.iter().copied()).collect();
    let mut counted: Vec<(Fault, usize, usize)> = Vec::new();
    for fault in all {
        let (mut have, mut of) = (0, 0);
        for takes in players.values() {
            let reached = takes
                .iter()
                .filter(|t| t.reached.is_some_and(|(a, b)| (a..=b).contains(&fault.bar)));
            let shown: Vec<bool> = reached.map(|t| t.faults.contains(&fault)).collect();
            if !shown.is_empty() {
                of += 1;
                let times = shown.iter().filter(|s| **s).count();
                have += usize::from(2 * times >= shown.len() && times > 0);
            }
        }
        if have >= 2 && 2 * have >= of {
            counted.push((fault, have, of));
        }
    }
    let mut shared: Vec<Shared> = Vec::new();
    for (fault, have, of) in counted {
        match shared.last_mut() {
            // Neighbouring bars with the same fault are one matter.
            Some(last) if last.what == fault.what && last.bars.last() == Some(&(fault.bar - 1)) => {
                last.bars.push(fault.bar);
                last.players = last.players.min(have);
                last.of = last.of.max(of);
            }
            _ => shared.push(Shared {
                what: fault.what,
                bars: vec![fault.bar],
                players: have,
                of,
            }),
        }
    }
    let share = |s: &Shared| s.players as f64 / s.of as f64;
    shared.sort_by(|a, b| share(b).total_cmp(&share(a)).then(a.bars.cmp(&b.bars)));
    shared
}
