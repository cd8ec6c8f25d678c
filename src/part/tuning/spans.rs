//! The rests of a part in which a drum can be retuned.

use super::super::{Part, Quarters, quarters_f64};
use super::search::Span;
use std::collections::BTreeMap;

/// The spans of a part with their place in it.
#[derive(Clone, Debug, PartialEq)]
pub struct Spans {
    pub spans: Vec<Span>,
    /// Place in [`Part::notes`] of the first note of each span.
    pub first_note: Vec<usize>,
}

/// Seconds from one place to another at the tempo marked, or at `default_bpm`
/// where none is marked.
pub(super) fn seconds(part: &Part, from: Quarters, to: Quarters, default_bpm: f64) -> f64 {
    let mut places: Vec<Quarters> = vec![from];
    let begin = part.tempi.partition_point(|m| m.at <= from);
    places.extend(
        part.tempi[begin..]
            .iter()
            .map(|m| m.at)
            .take_while(|a| *a < to),
    );
    places.push(to);
    places
        .windows(2)
        .map(|pair| {
            let middle = (pair[0] + pair[1]) / 2;
            let bpm = part.marked_bpm(middle).unwrap_or(default_bpm);
            quarters_f64(pair[1] - pair[0]) * 60.0 / bpm
        })
        .sum()
}

/// The rest before a note: from the end of everything before it, seconds.
/// Infinite before the first note.
pub(super) fn rest_before(part: &Part, note: usize, default_bpm: f64) -> f64 {
    let end = part.notes[..note]
        .iter()
        .map(|n| struck_until(part, n))
        .max();
    end.map_or(f64::INFINITY, |end| {
        let at = part.notes[note].at;
        if end < at {
            seconds(part, end, at, default_bpm)
        } else {
            0.0
        }
    })
}

/// When the hands are free again. A note that is not rolled keeps them no
/// longer than a quarter note, however long it rings.
fn struck_until(_part: &Part, note: &super::super::Note) -> Quarters {
    if note.roll {
        note.at + note.length
    } else {
        note.at + note.length.min(Quarters::from(1))
    }
}

/// Cuts a part at every rest that crosses a bar line and in which at least one
/// drum can be retuned in `retune_s` seconds. `drums` is how many there are.
pub fn spans_of(part: &Part, drums: usize, retune_s: f64, default_bpm: f64) -> Spans {
    let mut cuts: Vec<(usize, f64)> = Vec::new();
    let mut end: Option<Quarters> = None;
    for (index, note) in part.notes.iter().enumerate() {
        match end {
            None => cuts.push((index, f64::INFINITY)),
            Some(end) if end < note.at && part.notes[index - 1].bar < note.bar => {
                let rest = seconds(part, end, note.at, default_bpm);
                if rest >= retune_s {
                    cuts.push((index, rest));
                }
            }
            Some(_) => {}
        }
        let until = struck_until(part, note);
        end = Some(end.map_or(until, |e| e.max(until)));
    }
    let keys_between = |from: usize, to: usize| {
        let mut keys: BTreeMap<i32, u32> = BTreeMap::new();
        for note in &part.notes[from..to] {
            *keys.entry(note.pitch.key()).or_default() += 1;
        }
        keys
    };
    let all: Vec<(usize, f64, BTreeMap<i32, u32>)> = cuts
        .iter()
        .enumerate()
        .map(|(i, &(from, rest))| {
            let to = cuts.get(i + 1).map_or(part.notes.len(), |c| c.0);
            (from, rest, keys_between(from, to))
        })
        .collect();
    let mut kept = Spans {
        spans: Vec::new(),
        first_note: Vec::new(),
    };
    let mut from = 0;
    while from < all.len() {
        let same = |other: &BTreeMap<i32, u32>| other.keys().eq(all[from].2.keys());
        let to = (from + 1..all.len())
            .find(|&i| !same(&all[i].2))
            .unwrap_or(all.len());
        // Within a run that needs the same pitches no more than one change a
        // drum is of use, so its longest rests are enough.
        let mut inner: Vec<usize> = (from + 1..to).collect();
        inner.sort_by(|&a, &b| all[b].1.total_cmp(&all[a].1).then(a.cmp(&b)));
        inner.truncate(drums);
        inner.push(from);
        inner.sort_unstable();
        for (i, &cut) in inner.iter().enumerate() {
            let until = inner.get(i + 1).copied().unwrap_or(to);
            let mut keys: BTreeMap<i32, u32> = BTreeMap::new();
            for piece in &all[cut..until] {
                for (key, strokes) in &piece.2 {
                    *keys.entry(*key).or_default() += strokes;
                }
            }
            kept.spans.push(Span {
                keys: keys.into_iter().collect(),
                changes_before: if retune_s > 0.0 {
                    (all[cut].1 / retune_s).min(64.0) as usize
                } else {
                    64
                },
                written: Vec::new(),
            });
            kept.first_note.push(all[cut].0);
        }
        from = to;
    }
    kept
}
