//! Parts and takes of three to nine strokes, right and wrong ones, without
//! sound.

use crate::simulated::{self, CLEAN, ROOM, Take};
use kettlemark::align::Alignment;
use kettlemark::part::{Drum, Note, Part, quarters_f64};
use kettlemark_test_support::draw::Draw;
use kettlemark_test_support::parts::{self, Wish};
use kettlemark_test_support::player::{self, Performance, Player};
use kettlemark_test_support::sitting::Aside;

/// So many strokes are few.
pub const FEW: std::ops::RangeInclusive<usize> = 3..=9;

/// How a short take stands to the part it is held against.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Short {
    /// A short part, all of it; from seven strokes on one fault every other
    /// time.
    Whole,
    /// A few strokes, from a bar line on, of a long part.
    Excerpt,
    /// The same rhythm, each stroke on any drum.
    OtherDrums,
    /// The same drums one after the other, another rhythm.
    OtherRhythm,
    /// Back to front.
    OtherOrder,
    /// Other bars of the same piece.
    OtherBars,
    /// Another short part, on other drums.
    Another,
    /// Another short part, held against a long part.
    Stray,
}

impl Short {
    pub const ALL: [Self; 8] = [
        Self::Whole,
        Self::Excerpt,
        Self::OtherDrums,
        Self::OtherRhythm,
        Self::OtherOrder,
        Self::OtherBars,
        Self::Another,
        Self::Stray,
    ];

    pub fn is_right(self) -> bool {
        matches!(self, Self::Whole | Self::Excerpt)
    }
}

/// A part that is expected and what is really played.
pub struct Case {
    pub expected: Part,
    pub played: Part,
    /// Where in the expected part the first note played stands, of right ones.
    pub first: usize,
    /// How many strokes are played.
    pub strokes: usize,
}

fn long(seed: u64) -> Part {
    let wish = Wish {
        seconds: 40.0,
        soft_after_loud: false,
    };
    let mut part = parts::generate(&mut Draw::new(seed, 1), wish);
    part.retunings.clear();
    for note in &mut part.notes {
        note.pitch = part.drums[usize::from(note.drum) - 1].pitch;
    }
    part
}

/// `strokes` onsets of a part from a bar line on, as a part of its own, and the
/// place of its first note.
fn few(part: &Part, strokes: usize, draw: &mut Draw) -> (Part, usize) {
    let starts: Vec<usize> = (0..part.notes.len())
        .filter(|&n| part.notes[n].at == part.bars[part.notes[n].bar].at)
        .filter(|&n| n == 0 || part.notes[n - 1].at != part.notes[n].at)
        .filter(|&n| onsets(&part.notes[n..]) >= strokes)
        .collect();
    let first = draw.one(&starts);
    let mut end = first;
    while end < part.notes.len() && onsets(&part.notes[first..=end]) <= strokes {
        end += 1;
    }
    let (from_bar, to_bar) = (part.notes[first].bar, part.notes[end - 1].bar);
    let start = part.bars[from_bar].at;
    let mut short = part.clone();
    short.bars = part.bars[from_bar..=to_bar].to_vec();
    for (number, bar) in (1..).zip(&mut short.bars) {
        bar.at -= start;
        bar.number = number;
    }
    short.notes = part.notes[first..end].to_vec();
    for note in &mut short.notes {
        note.bar -= from_bar;
        note.at -= start;
    }
    short.hairpins.clear();
    short.marks.retain(|m| m.at <= start);
    if let Some(last) = short.marks.pop() {
        short.marks = vec![last];
    }
    for mark in &mut short.marks {
        mark.at = 0.into();
    }
    (short, first)
}

fn onsets(notes: &[Note]) -> usize {
    let mut at: Vec<_> = notes.iter().map(|n| n.at).collect();
    at.dedup();
    at.len()
}

/// Leaves out the drums that are not struck.
fn own_drums(mut part: Part) -> Part {
    let used: Vec<u8> = (1..=part.drums.len() as u8)
        .filter(|d| part.notes.iter().any(|n| n.drum == *d))
        .collect();
    part.drums.retain(|d| used.contains(&d.number));
    for (number, drum) in (1..).zip(&mut part.drums) {
        drum.number = number;
    }
    for note in &mut part.notes {
        note.drum = used.iter().position(|d| *d == note.drum).unwrap_or(0) as u8 + 1;
    }
    part
}

/// Most strokes of one part that another has too, at the same times and on
/// drums of the same pitch, whichever two of it are taken for whichever two of
/// the other at up to 1.6 times its tempo.
fn in_common(a: &Part, b: &Part) -> usize {
    let list = |p: &Part| -> Vec<(f64, u32)> {
        let mut list: Vec<(f64, u32)> = Vec::new();
        for n in &p.notes {
            let at = quarters_f64(n.at);
            let bit = 1u32 << (n.pitch.key().rem_euclid(32));
            match list.last_mut() {
                Some(last) if (last.0 - at).abs() < 1e-9 => last.1 |= bit,
                _ => list.push((at, bit)),
            }
        }
        list
    };
    let (a, b) = (list(a), list(b));
    let mut most = 1;
    for (i, from) in a.iter().enumerate() {
        for to in &a[i + 1..] {
            for (k, other_from) in b.iter().enumerate() {
                for other_to in &b[k + 1..] {
                    let ratio = (other_to.0 - other_from.0) / (to.0 - from.0);
                    if !(0.6..=1.6).contains(&ratio) {
                        continue;
                    }
                    let same = |s: &&(f64, u32)| {
                        let at = other_from.0 + ratio * (s.0 - from.0);
                        b.iter().any(|o| (o.0 - at).abs() < 0.07 && o.1 == s.1)
                    };
                    most = most.max(a.iter().filter(same).count());
                }
            }
        }
    }
    most
}

/// The case of a seed; `None` where no such case is wrong enough for anybody to
/// tell: at least a third of the strokes is to differ.
pub fn case(kind: Short, strokes: usize, seed: u64) -> Option<Case> {
    let whole = long(seed);
    let draw = &mut Draw::new(seed, 40 + strokes as u64);
    let (mut own, first) = few(&whole, strokes, draw);
    let excerpt = own.clone();
    // The drums that stand in a short part are mostly those that it needs.
    if draw.chance(0.7) {
        own = own_drums(own);
    }
    let (expected, played) = match kind {
        Short::Whole => {
            return Some(Case {
                expected: own.clone(),
                played: own,
                first: 0,
                strokes,
            });
        }
        Short::Excerpt => {
            return Some(Case {
                expected: whole,
                played: excerpt,
                first,
                strokes,
            });
        }
        Short::OtherDrums => {
            let mut played = own.clone();
            for note in &mut played.notes {
                let drum = draw.below(own.drums.len());
                note.drum = drum as u8 + 1;
                note.pitch = own.drums[drum].pitch;
            }
            played
                .notes
                .dedup_by(|a, b| a.at == b.at && a.drum == b.drum);
            (own, played)
        }
        Short::OtherRhythm => {
            let (mut played, _) = few(&long(seed + 700_001), strokes, draw);
            played.drums.clone_from(&own.drums);
            played.tempi.clone_from(&own.tempi);
            played.notes.dedup_by_key(|n| n.at);
            let mut drums = own.clone();
            drums.notes.dedup_by_key(|n| n.at);
            for (note, of) in played.notes.iter_mut().zip(&drums.notes) {
                note.drum = of.drum;
                note.pitch = of.pitch;
            }
            (own, played)
        }
        Short::OtherOrder => {
            let mut played = own.clone();
            let last = own.notes[own.notes.len() - 1].at;
            for note in &mut played.notes {
                note.at = last - note.at;
                note.roll = false;
            }
            played.notes.reverse();
            for i in 0..played.notes.len() {
                let at = played.notes[i].at;
                let bar = played.bars.partition_point(|b| b.at <= at) - 1;
                played.notes[i].bar = bar;
            }
            (own, played)
        }
        Short::OtherBars => (own, few(&whole, strokes, draw).0),
        Short::Another => (own, own_drums(few(&long(seed + 700_001), strokes, draw).0)),
        Short::Stray => (whole, few(&long(seed + 700_001), strokes, draw).0),
    };
    let common = in_common(&on_drums(&played, &expected), &expected);
    (3 * common <= 2 * strokes).then_some(Case {
        expected,
        played,
        first: 0,
        strokes,
    })
}

/// The part as who expects another hears it: each pitch the nearest of that.
fn on_drums(part: &Part, of: &Part) -> Part {
    let mut part = part.clone();
    for note in &mut part.notes {
        let off = |d: &&Drum| (d.pitch.key() - note.pitch.key()).abs();
        if let Some(near) = of.drums.iter().min_by_key(off) {
            note.pitch = near.pitch;
        }
    }
    part
}

/// Who plays it: without faults, but one left out or on another drum every
/// other time where there are seven strokes or more.
pub fn player(case: &Case, right: bool, seed: u64) -> Player {
    let draw = &mut Draw::new(seed, 2);
    let mut player = Player::draw(draw);
    (player.missed, player.other_drum, player.extra) = (0.0, 0.0, 0.0);
    if right && case.strokes >= 7 && seed.is_multiple_of(2) {
        let note = 1 + draw.below(case.played.notes.len() - 2);
        let settings = case.played.note_settings();
        let others: Vec<usize> = (0..case.played.drums.len())
            .filter(|d| settings[note] != Some(*d))
            .collect();
        if others.is_empty() || seed.is_multiple_of(4) {
            player.script.missed.push(note);
        } else {
            player.script.other_drum.push((note, draw.one(&others)));
        }
    }
    player
}

/// The performance of a case and the take that is heard of it.
pub fn take(case: &Case, right: bool, seed: u64) -> (Performance, Take) {
    let player = player(case, right, seed);
    let mut performance = player::play(&case.played, &player, &mut Draw::new(seed, 3), false);
    let (expected, played) = (case.expected.settings(), case.played.settings());
    let near = |place: usize| {
        let key = played[place].pitch.key();
        let off = |i: &usize| (expected[*i].pitch.key() - key).abs();
        (0..expected.len()).min_by_key(off).unwrap_or(0)
    };
    for hit in &mut performance.hits {
        hit.setting = near(hit.setting);
    }
    let how = if seed.is_multiple_of(2) { CLEAN } else { ROOM };
    let aside = Aside::default();
    let draw = &mut Draw::new(seed, 4);
    let take = simulated::hear(&case.expected, &performance, &aside, how, draw);
    (performance, take)
}

/// Whether the counted passage holds no note but those played, or such as sound
/// the same.
pub fn in_place(case: &Case, found: &Alignment) -> bool {
    let Some(passage) = found.counted.map(|c| &found.passages[c]) else {
        return false;
    };
    let own = case.first..case.first + case.played.notes.len();
    if own.contains(&passage.notes.0) && own.contains(&passage.notes.1) {
        return true;
    }
    let notes = &case.expected.notes;
    let sounds = |from: usize, n: usize| (notes[n].at - notes[from].at, notes[n].pitch);
    let way = passage.notes.1 - passage.notes.0;
    own.clone().any(|from| {
        from + way < own.end
            && (0..=way)
                .all(|i| sounds(from, from + i) == sounds(passage.notes.0, passage.notes.0 + i))
    })
}
