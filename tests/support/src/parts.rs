//! Generated parts: marches that nobody wrote.

use crate::draw::Draw;
use kettlemark::part::{
    Bar, Damp, Drum, Dynamic, Hairpin, HairpinKind, Hand, LevelMark, Note, Part, Quarters,
    Retuning, TempoMark,
};
use kettlemark::pitch::Pitch;

/// What a generated part is to hold.
#[derive(Clone, Copy, Debug)]
pub struct Wish {
    /// Rough length at the marked tempo, seconds.
    pub seconds: f64,
    /// Soft passages follow loud ones.
    pub soft_after_loud: bool,
}

impl Default for Wish {
    fn default() -> Self {
        Self {
            seconds: 40.0,
            soft_after_loud: false,
        }
    }
}

/// The shortest time between two written strokes, seconds: two hands alternate
/// at 10-14 strokes a second (inferred from Fujii et al. 2009, Neurosci. Lett.
/// 459:69, one hand 5-7 a second).
const SHORTEST_S: f64 = 0.085;

/// Usual sizes in inches with their lowest and highest key (A. R. Hancock,
/// "Timpani notes for band", tuning; 60 = C4): 32 D2-A2, 29 F2-C3, 26 Bb2-F3,
/// 23 D3-A3.
const SIZES: [(f64, i32, i32); 4] = [
    (32.0, 38, 45),
    (29.0, 41, 48),
    (26.0, 46, 53),
    (23.0, 50, 57),
];

/// How one beat is filled: (at, length) in quarter notes of its strokes.
type Beat = &'static [(i64, i64)];

/// (divisions of a quarter, strokes, weight).
const BEATS: [(i64, Beat, f64); 10] = [
    (1, &[(0, 1)], 3.0),
    (2, &[(0, 1), (1, 1)], 3.0),
    (3, &[(0, 1), (1, 1), (2, 1)], 4.0),
    (4, &[(0, 1), (1, 1), (2, 1), (3, 1)], 2.5),
    (6, &[(0, 1), (1, 1), (2, 1), (3, 1), (4, 1), (5, 1)], 1.5),
    (4, &[(0, 3), (3, 1)], 1.0),
    (4, &[(0, 2), (2, 1), (3, 1)], 1.5),
    (4, &[(0, 1), (1, 1), (2, 2)], 1.0),
    (2, &[(1, 1)], 0.8),
    (5, &[(0, 1), (1, 1), (2, 1), (3, 1), (4, 1)], 0.4),
];

struct Writer<'a> {
    draw: &'a mut Draw,
    part: Part,
    drum: usize,
    bpm: f64,
    right: bool,
}

/// Writes a part.
pub fn generate(draw: &mut Draw, wish: Wish) -> Part {
    let bpm = draw.ratio(60.0, 160.0).round();
    let meter = draw.weighted(&[((4u32, 4u32), 3.0), ((3, 4), 2.0), ((2, 4), 1.0)]);
    let bar_s = f64::from(meter.0) * 60.0 / bpm;
    let count = ((wish.seconds / bar_s).round() as usize).max(6);
    let drums = choose_drums(draw);
    let mut part = Part {
        title: "Drill march".to_owned(),
        drums,
        ..Part::default()
    };
    part.tempi.push(TempoMark {
        at: Quarters::from(0),
        quarter_bpm: Some(bpm),
        gradual: false,
        text: None,
    });
    for bar in 0..count {
        part.bars.push(Bar {
            number: bar as i32 + 1,
            at: Quarters::from(bar as i64 * i64::from(meter.0)),
            length: Quarters::from(i64::from(meter.0)),
            meter,
            rehearsal: None,
        });
    }
    let mut writer = Writer {
        draw,
        part,
        drum: 0,
        bpm,
        right: true,
    };
    writer.retune();
    for bar in 0..count {
        writer.bar(bar, bar + 1 == count);
    }
    writer.dynamics(wish.soft_after_loud);
    writer.part
}

/// Writes a part in which phrases of two or four bars come back, note for note.
pub fn generate_repeating(draw: &mut Draw, wish: Wish) -> Part {
    let mut part = generate(draw, wish);
    // One tuning throughout, so that a phrase can stand anywhere.
    part.retunings.clear();
    for note in &mut part.notes {
        note.pitch = part.drums[usize::from(note.drum) - 1].pitch;
    }
    let phrase = draw.one(&[2, 4]);
    // The last bar stays as it is.
    let phrases = (part.bars.len() - 1) / phrase;
    for to in 1..phrases {
        if draw.chance(0.4) {
            let from = draw.below(to);
            for bar in 0..phrase {
                copy_bar(&mut part, from * phrase + bar, to * phrase + bar);
            }
        }
    }
    part
}

/// Writes the notes of a bar into another one; marks stay where they are.
fn copy_bar(part: &mut Part, from: usize, to: usize) {
    let way = part.bars[to].at - part.bars[from].at;
    let place = part.notes.partition_point(|n| n.bar < to);
    let end = part.notes.partition_point(|n| n.bar <= to);
    let dynamic = |at: Quarters| {
        let before = part.marks.iter().rev().find(|m| m.at <= at);
        before.map(|m| m.mark)
    };
    let copies: Vec<Note> = part
        .notes
        .iter()
        .filter(|n| n.bar == from)
        .map(|n| Note {
            bar: to,
            at: n.at + way,
            dynamic: dynamic(n.at + way),
            ..n.clone()
        })
        .collect();
    part.notes.splice(place..end, copies);
}

/// Two to four drums, at least a minor third apart, sometimes just that.
fn choose_drums(draw: &mut Draw) -> Vec<Drum> {
    let sizes: &[usize] = draw.weighted(&[
        (&[1usize, 2][..], 2.0),
        (&[0, 1, 2], 2.0),
        (&[1, 2, 3], 1.0),
        (&[0, 1, 2, 3], 2.0),
    ]);
    loop {
        let keys: Vec<i32> = sizes
            .iter()
            .map(|&i| SIZES[i].1 + draw.below((SIZES[i].2 - SIZES[i].1 + 1) as usize) as i32)
            .collect();
        if keys.windows(2).all(|w| (3..=9).contains(&(w[1] - w[0]))) {
            return keys
                .iter()
                .zip(sizes)
                .enumerate()
                .map(|(i, (&key, &size))| Drum {
                    number: i as u8 + 1,
                    size_in: Some(SIZES[size].0),
                    pitch: Pitch::from_key(key),
                })
                .collect();
        }
    }
}

impl Writer<'_> {
    /// Sometimes one drum is retuned by up to a third after a bar of rest.
    fn retune(&mut self) {
        let bars = self.part.bars.len();
        if bars < 10 || !self.draw.chance(0.5) {
            return;
        }
        let drum = self.draw.below(self.part.drums.len());
        let from = self.part.drums[drum].pitch;
        let step = self.draw.one(&[-4, -3, -2, 2, 3, 4]);
        let to = Pitch::from_key(from.key() + step);
        let apart =
            |d: &Drum| d.number as usize == drum + 1 || (d.pitch.key() - to.key()).abs() >= 3;
        let ordered = self.part.drums.iter().all(|d| {
            (d.number as usize) <= drum && d.pitch < to
                || d.number as usize == drum + 1
                || d.pitch > to
        });
        if !self.part.drums.iter().all(apart) || !ordered || to.key() < 36 {
            return;
        }
        self.part.retunings.push(Retuning {
            bar: bars / 2 + 1,
            drum: drum as u8 + 1,
            from,
            to,
        });
    }

    fn pitch(&self, drum: usize, bar: usize) -> Pitch {
        self.part
            .retunings
            .iter()
            .find(|r| usize::from(r.drum) == drum + 1 && r.bar <= bar)
            .map_or(self.part.drums[drum].pitch, |r| r.to)
    }

    fn bar(&mut self, bar: usize, last: bool) {
        let at = self.part.bars[bar].at;
        let beats = *self.part.bars[bar].length.numer();
        let resting = self.part.retunings.iter().any(|r| r.bar == bar + 1)
            || (bar > 0 && !last && self.draw.chance(0.06));
        if resting {
            return;
        }
        if last {
            self.note(bar, at, Quarters::from(1));
            let end = self.part.notes.len() - 1;
            self.part.notes[end].accent = true;
            self.part.notes[end].damp = Some(Damp::Stop);
            return;
        }
        let mut beat = 0;
        while beat < beats {
            let start = at + beat;
            let left = beats - beat;
            if left >= 2 && self.draw.chance(0.07) {
                let length = self.draw.one(&[2, left]).min(left);
                self.note(bar, start, Quarters::from(length));
                let n = self.part.notes.len() - 1;
                self.part.notes[n].roll = true;
                beat += length;
            } else {
                if !self.draw.chance(0.12) {
                    self.beat(bar, start);
                }
                beat += 1;
            }
        }
    }

    fn beat(&mut self, bar: usize, start: Quarters) {
        let fastest = 60.0 / self.bpm / SHORTEST_S;
        let options: Vec<_> = BEATS
            .iter()
            .filter(|b| b.0 as f64 <= fastest)
            .map(|&(division, strokes, weight)| ((division, strokes), weight))
            .collect();
        let (division, strokes) = self.draw.weighted(&options);
        if self.draw.chance(0.5) {
            self.drum = self.draw.below(self.part.drums.len());
        }
        let crossing = self.draw.chance(0.25);
        let first = self.part.notes.len();
        for &(at, length) in strokes {
            if crossing && self.draw.chance(0.5) {
                self.drum = self.draw.below(self.part.drums.len());
            }
            self.note(
                bar,
                start + Quarters::new(at, division),
                Quarters::new(length, division),
            );
        }
        let count = self.part.notes.len() - first;
        let space_s = 60.0 / self.bpm / division as f64;
        let head = &mut self.part.notes[first];
        head.accent = count > 1 && self.draw.chance(0.2);
        if space_s > 0.24 {
            head.flam = self.draw.chance(0.06);
            head.staccato = count == 1 && self.draw.chance(0.15);
        }
        if count == 1 && self.part.drums.len() > 1 && self.draw.chance(0.15) {
            self.chord(bar, first);
        }
    }

    /// A second drum joins a note; the lower one is listed first.
    fn chord(&mut self, bar: usize, first: usize) {
        let below = usize::from(self.part.notes[first].drum) - 1;
        let drums = self.part.drums.len();
        let other = (below + 1 + self.draw.below(drums - 1)) % drums;
        let mut second = self.part.notes[first].clone();
        second.drum = other as u8 + 1;
        second.pitch = self.pitch(other, bar);
        second.flam = false;
        self.part.notes[first].flam = false;
        self.part.notes.push(second);
        self.part.notes[first..].sort_by_key(|n| n.drum);
    }

    fn note(&mut self, bar: usize, at: Quarters, length: Quarters) {
        let hand = if self.right { Hand::Right } else { Hand::Left };
        self.right = !self.right;
        self.part.notes.push(Note {
            bar,
            at,
            length,
            pitch: self.pitch(self.drum, bar),
            drum: self.drum as u8 + 1,
            roll: false,
            flam: false,
            accent: false,
            staccato: false,
            tenuto: false,
            dynamic: None,
            hand: Some(hand),
            damp: None,
        });
    }

    /// A mark every few bars, joined by hairpins where there is room.
    fn dynamics(&mut self, soft_after_loud: bool) {
        const MARKS: [Dynamic; 6] = [
            Dynamic::Pp,
            Dynamic::P,
            Dynamic::Mp,
            Dynamic::Mf,
            Dynamic::F,
            Dynamic::Ff,
        ];
        let mut bar = 0;
        let mut loud = true;
        let mut last: Option<(Quarters, Dynamic)> = None;
        while bar < self.part.bars.len() {
            let at = self.part.bars[bar].at;
            let mark = if soft_after_loud {
                let mark = if loud {
                    self.draw.one(&MARKS[4..])
                } else {
                    self.draw.one(&MARKS[..2])
                };
                loud = !loud;
                mark
            } else {
                self.draw.one(&MARKS)
            };
            if let Some((from, before)) = last
                && before != mark
                && self.draw.chance(0.4)
            {
                let kind = if mark > before {
                    HairpinKind::Crescendo
                } else {
                    HairpinKind::Diminuendo
                };
                let from = if soft_after_loud { at - 2 } else { from };
                self.part.hairpins.push(Hairpin { from, to: at, kind });
            }
            self.part.marks.push(LevelMark { at, mark });
            last = Some((at, mark));
            bar += 2 + self.draw.below(3);
        }
        for note in &mut self.part.notes {
            note.dynamic = self
                .part
                .marks
                .iter()
                .rev()
                .find(|m| m.at <= note.at)
                .map(|m| m.mark);
        }
    }
}
