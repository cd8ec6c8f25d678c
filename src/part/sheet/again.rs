//! Bars that are played again.

use super::super::{Cue, Hairpin, LevelMark, Part, Quarters, TempoMark};

/// Plays the last bars numbered `from` to `to` once more at the end. `false`
/// when they do not stand in one piece, or there would be too many bars.
pub(super) fn play(part: &mut Part, from: i32, to: i32, most: usize) -> bool {
    let Some(first) = part.bars.iter().rposition(|b| b.number == from) else {
        return false;
    };
    let Some(last) = part.bars[first..].iter().position(|b| b.number == to) else {
        return false;
    };
    let last = first + last;
    let count = last - first + 1;
    if part.bars.len() + count > most {
        return false;
    }
    let start = part.bars[first].at;
    let end = part.bars[last].at + part.bars[last].length;
    let now = part
        .bars
        .last()
        .map_or(Quarters::from(0), |b| b.at + b.length);
    let shift = now - start;
    let more = part.bars.len() - first;
    let inside = |at: Quarters| (start..end).contains(&at);
    for i in first..=last {
        let mut bar = part.bars[i].clone();
        bar.at += shift;
        part.bars.push(bar);
    }
    let notes: Vec<_> = part
        .notes
        .iter()
        .filter(|n| (first..=last).contains(&n.bar))
        .cloned()
        .map(|mut n| {
            n.bar += more;
            n.at += shift;
            n
        })
        .collect();
    part.notes.extend(notes);
    let marks: Vec<_> = part
        .marks
        .iter()
        .filter(|m| inside(m.at))
        .cloned()
        .collect();
    part.marks.extend(marks.into_iter().map(|m| LevelMark {
        at: m.at + shift,
        ..m
    }));
    let tempi: Vec<_> = part
        .tempi
        .iter()
        .filter(|m| inside(m.at))
        .cloned()
        .collect();
    part.tempi.extend(tempi.into_iter().map(|m| TempoMark {
        at: m.at + shift,
        ..m
    }));
    let pins: Vec<_> = part
        .hairpins
        .iter()
        .filter(|h| inside(h.from))
        .cloned()
        .collect();
    part.hairpins.extend(pins.into_iter().map(|h| Hairpin {
        from: h.from + shift,
        to: h.to + shift,
        ..h
    }));
    let fermatas: Vec<_> = part
        .fermatas
        .iter()
        .copied()
        .filter(|f| inside(*f))
        .collect();
    part.fermatas
        .extend(fermatas.into_iter().map(|f| f + shift));
    let cues: Vec<_> = part
        .cues
        .iter()
        .filter(|c| (first..=last).contains(&c.bar))
        .cloned()
        .collect();
    part.cues.extend(cues.into_iter().map(|c| Cue {
        bar: c.bar + more,
        ..c
    }));
    true
}
