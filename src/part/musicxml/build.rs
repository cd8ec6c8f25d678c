//! Written bars and the order of playing become a part as played.

use super::super::read::Fault;
use super::super::time::tidy;
use super::super::{
    Bar, Cue, Damp, Dynamic, Hairpin, HairpinKind, LevelMark, Note, Part, Quarters, Retuning,
    TempoMark, Unread,
};
use super::words::{self, Return};
use super::written::{Event, WrittenBar, WrittenNote};

use std::collections::{BTreeMap, BTreeSet};

/// Strokes and notes in one part; nobody plays more.
const MOST_NOTES: usize = 2_000_000;
/// A "cresc." that finds no mark within so many quarter notes has no known end.
const SWELL_REACH: i64 = 64;

/// Plays the bars in their order.
pub(super) fn build(bars: &[WrittenBar], order: &[usize]) -> Result<Part, Fault> {
    let mut builder = Builder::default();
    let mut next = 0;
    for &place in order {
        let jumped = place != next;
        next = place + 1;
        builder.restate(place, jumped);
        builder.play(&bars[place])?;
    }
    Ok(builder.finish())
}

#[derive(Default)]
struct Builder {
    part: Part,
    now: Quarters,
    /// Notes that are tied on: place in `part.notes` and where they end.
    open: Vec<(usize, Quarters)>,
    /// Note under a wavy line that the next may go on.
    line: Option<(usize, Quarters)>,
    wedges: Vec<(String, HairpinKind, Quarters)>,
    swells: Vec<(Quarters, HairpinKind)>,
    bursts: Vec<(Quarters, Option<(Dynamic, Dynamic)>)>,
    damps: Vec<(Quarters, Damp)>,
    seen: BTreeSet<(i32, String)>,
    /// What was in force when a written bar was first played.
    in_force: BTreeMap<usize, (Option<Dynamic>, Option<TempoMark>)>,
}

impl Builder {
    /// After a jump the dynamic and the tempo are again what they were where it
    /// leads to. Common practice, no source.
    fn restate(&mut self, place: usize, jumped: bool) {
        let dynamic = self.part.marks.last().map(|m| m.mark);
        let tempo = self.part.tempi.last().cloned();
        let (before, tempo_before) = self
            .in_force
            .entry(place)
            .or_insert((dynamic, tempo.clone()));
        if !jumped {
            return;
        }
        let at = self.now;
        if let Some(mark) = before.filter(|_| *before != dynamic) {
            self.part.marks.push(LevelMark { at, mark });
        }
        let here = |mark: Option<TempoMark>| mark.map(|m| TempoMark { at, ..m });
        let now = here(tempo);
        if let Some(mark) = here(tempo_before.clone()).filter(|m| Some(m) != now.as_ref()) {
            self.part.tempi.push(mark);
        }
    }

    fn play(&mut self, bar: &WrittenBar) -> Result<(), Fault> {
        let index = self.part.bars.len();
        let length = bar.length();
        self.part.bars.push(Bar {
            number: bar.number,
            at: self.now,
            length,
            meter: bar.meter,
            rehearsal: bar.rehearsal.clone(),
        });
        let mut notes = bar.notes.clone();
        notes.sort_by_key(|n| (n.at, n.pitch));
        for note in &notes {
            self.note(index, note);
            if self.part.notes.len() > MOST_NOTES {
                return Err(Fault::new(
                    format!("bar {}", bar.number),
                    "the part has more than two million strokes; check its tremolos",
                ));
            }
        }
        for (offset, event) in &bar.events {
            self.event(index, bar.number, self.now + offset, event);
        }
        self.now = tidy(self.now + length);
        self.drop_ties(self.now);
        Ok(())
    }

    /// Gives up the ties that end before `now`: nothing took them up.
    fn drop_ties(&mut self, now: Quarters) {
        let (kept, lost) = std::mem::take(&mut self.open)
            .into_iter()
            .partition(|&(_, end)| end >= now);
        self.open = kept;
        let lost: Vec<(usize, Quarters)> = lost;
        for (place, _) in lost {
            let number = self.bar_number(self.part.notes[place].at);
            self.unread(number, "a tie that leads to no note".to_owned());
        }
    }

    fn unread(&mut self, bar: i32, what: String) {
        if self.seen.insert((bar, what.clone())) {
            self.part.unread.push(Unread {
                bar: Some(bar),
                what,
            });
        }
    }

    fn note(&mut self, bar: usize, written: &WrittenNote) {
        let at = tidy(self.now + written.at);
        let end = at + written.length;
        if self.goes_on(written, at, end) {
            return;
        }
        let number = self.part.bars[bar].number;
        if written.tie_to && written.stroke.is_none() && !written.roll && !written.accent {
            let what = "a tie that comes from no note; the note is taken as struck".to_owned();
            self.unread(number, what);
        }
        let same = self
            .part
            .notes
            .iter()
            .rev()
            .take_while(|n| n.at >= at)
            .position(|n| n.at == at && n.pitch.key() == written.pitch.key());
        if let Some(back) = same {
            // Two voices share one stroke.
            let place = self.part.notes.len() - 1 - back;
            let note = &mut self.part.notes[place];
            note.length = note.length.max(written.length);
            note.roll |= written.roll;
            note.accent |= written.accent;
            note.flam |= written.flam;
            return;
        }
        let mut note = Note {
            bar,
            at,
            length: written.length,
            pitch: written.pitch,
            drum: 0,
            roll: written.roll,
            flam: written.flam,
            accent: written.accent,
            staccato: written.staccato,
            tenuto: written.tenuto,
            dynamic: None,
            hand: written.hand,
            damp: written.damp,
        };
        if let Some(stroke) = written.stroke.filter(|s| *s > Quarters::from(0)) {
            let count = written.length / stroke;
            if !count.is_integer() {
                self.unread(
                    number,
                    "a tremolo whose strokes do not fill its note".to_owned(),
                );
            } else if *count.numer() > 1 && *count.numer() <= 1024 {
                note.length = stroke;
                for i in 0..*count.numer() {
                    let mut struck = note.clone();
                    struck.at = tidy(at + stroke * i);
                    if i > 0 {
                        struck.flam = false;
                        struck.accent = false;
                        struck.hand = None;
                    }
                    self.part.notes.push(struck);
                }
                if written.tie_from {
                    self.open.push((self.part.notes.len() - 1, end));
                }
                return;
            }
        }
        let place = self.part.notes.len();
        self.part.notes.push(note);
        if written.tie_from {
            self.open.push((place, end));
        }
        if written.roll {
            self.line = Some((place, end));
        }
    }

    /// Lengthens the note before when this one only continues it.
    fn goes_on(&mut self, written: &WrittenNote, at: Quarters, end: Quarters) -> bool {
        let key = written.pitch.key();
        let notes = &self.part.notes;
        let open = self
            .open
            .iter()
            .position(|&(i, e)| e == at && notes[i].pitch.key() == key);
        let tied = open.map(|found| self.open.remove(found).0);
        let lined = self
            .line
            .filter(|&(i, e)| written.under_line && e == at && notes[i].pitch.key() == key)
            .map(|(i, _)| i);
        let Some(place) = tied.or(lined) else {
            return false;
        };
        let begins_anew = (written.roll && !notes[place].roll) || written.stroke.is_some();
        if begins_anew || written.accent {
            return false;
        }
        if tied.is_some() && !written.tie_to {
            let number = self.part.bars.last().map_or(0, |b| b.number);
            let what = "the end of a tie; it was taken to reach the next note".to_owned();
            self.unread(number, what);
        }
        let note = &mut self.part.notes[place];
        note.length = end - note.at;
        note.damp = written.damp.or(note.damp);
        if written.tie_from {
            self.open.push((place, end));
        }
        if note.roll {
            self.line = Some((place, end));
        }
        true
    }

    fn event(&mut self, bar: usize, number: i32, at: Quarters, event: &Event) {
        match event {
            Event::Level(mark) => self.part.marks.push(LevelMark { at, mark: *mark }),
            Event::Burst(levels) => self.bursts.push((at, *levels)),
            Event::WedgeStart(kind, id) => self.wedges.push((id.clone(), *kind, at)),
            Event::WedgeStop(id) => {
                let open = self
                    .wedges
                    .iter()
                    .rposition(|(i, _, from)| i == id && *from < at);
                if let Some(open) = open {
                    let (_, kind, from) = self.wedges.remove(open);
                    self.part.hairpins.push(Hairpin { from, to: at, kind });
                } else {
                    self.unread(
                        number,
                        "the end of a hairpin without a beginning".to_owned(),
                    );
                }
            }
            Event::Swell(kind) => self.swells.push((at, *kind)),
            Event::Tempo { bpm, gradual, text } => self.part.tempi.push(TempoMark {
                at,
                quarter_bpm: *bpm,
                gradual: *gradual,
                text: text.clone(),
            }),
            Event::Fermata => self.part.fermatas.push(at),
            Event::Words(text) => self.words(bar, text),
            Event::Hand(hand) => {
                for note in self.part.notes.iter_mut().rev().take_while(|n| n.at >= at) {
                    if note.at == at {
                        note.hand = Some(*hand);
                    }
                }
            }
            Event::Damp(damp) => self.damps.push((at, *damp)),
            Event::Unread(what) => self.unread(number, what.clone()),
        }
    }

    /// Words that change a tuning are kept for the plan, all others are cues. A
    /// drum number of 0 says that the plan has to find the drum.
    fn words(&mut self, bar: usize, text: &str) {
        for piece in text.split([',', ';']) {
            if let Some((from, to)) = words::retuning(piece) {
                self.part.retunings.push(Retuning {
                    bar,
                    drum: 0,
                    from,
                    to,
                });
            }
        }
        self.part.cues.push(Cue {
            bar,
            text: text.to_owned(),
        });
    }

    fn finish(mut self) -> Part {
        self.drop_ties(self.now + 1);
        self.part.notes.sort_by_key(|n| (n.at, n.pitch));
        self.part.marks.sort_by_key(|m| m.at);
        self.finish_bursts();
        self.finish_swells();
        for (_, _, from) in std::mem::take(&mut self.wedges) {
            let number = self.bar_number(from);
            self.unread(number, "a hairpin without an end".to_owned());
        }
        for (at, damp) in std::mem::take(&mut self.damps) {
            // A stop is written where the drum is to be silent, or over the
            // note that is stopped.
            let struck = self.part.notes.iter().rposition(|n| n.at <= at);
            if let Some(time) = struck.map(|i| self.part.notes[i].at) {
                for note in self.part.notes.iter_mut().filter(|n| n.at == time) {
                    note.damp = Some(damp);
                }
            }
        }
        self.finish_tempi();
        self.part
    }

    fn bar_number(&self, at: Quarters) -> i32 {
        let after = self.part.bars.partition_point(|b| b.at <= at);
        self.part
            .bars
            .get(after.saturating_sub(1))
            .map_or(0, |b| b.number)
    }

    fn finish_bursts(&mut self) {
        let mut found = Vec::new();
        for (at, levels) in std::mem::take(&mut self.bursts) {
            let from = self.part.notes.partition_point(|n| n.at < at);
            let mut shortest = Quarters::new(1, 2);
            for note in self.part.notes[from..]
                .iter_mut()
                .take_while(|n| n.at == at)
            {
                note.accent = true;
                shortest = shortest.min(note.length);
            }
            if let Some((attack, after)) = levels {
                // The soft level begins with what follows the attack.
                found.push(LevelMark { at, mark: attack });
                found.push(LevelMark {
                    at: at + shortest,
                    mark: after,
                });
            }
        }
        self.part.marks.extend(found);
        self.part.marks.sort_by_key(|m| m.at);
    }

    fn finish_swells(&mut self) {
        let swells = std::mem::take(&mut self.swells);
        for (i, &(from, kind)) in swells.iter().enumerate() {
            let mark = self.part.marks.iter().map(|m| m.at).find(|a| *a > from);
            let other = swells[i + 1..].iter().map(|s| s.0).find(|a| *a > from);
            let to = mark.into_iter().chain(other).min();
            if let Some(to) = to.filter(|t| *t - from <= Quarters::from(SWELL_REACH)) {
                self.part.hairpins.push(Hairpin { from, to, kind });
            } else {
                let word = match kind {
                    HairpinKind::Crescendo => "cresc.",
                    HairpinKind::Diminuendo => "dim.",
                };
                let number = self.bar_number(from);
                self.unread(number, format!("how far \"{word}\" reaches"));
            }
        }
    }

    /// "a tempo" and "Tempo I" stand for a figure given before.
    fn finish_tempi(&mut self) {
        let tempi = &mut self.part.tempi;
        tempi.sort_by_key(|m| m.at);
        // A mark in words and its figure from another part are one mark.
        let mut merged: Vec<TempoMark> = Vec::new();
        for mark in tempi.drain(..) {
            match merged.last_mut() {
                Some(last)
                    if last.at == mark.at
                        && (last.quarter_bpm.is_none()
                            || mark.quarter_bpm.is_none()
                            || last.quarter_bpm == mark.quarter_bpm) =>
                {
                    last.quarter_bpm = last.quarter_bpm.or(mark.quarter_bpm);
                    last.gradual |= mark.gradual;
                    last.text = last.text.take().or(mark.text);
                }
                _ => merged.push(mark),
            }
        }
        let first = merged.iter().find_map(|m| m.quarter_bpm);
        let mut before = None;
        for mark in &mut merged {
            if mark.quarter_bpm.is_none() {
                mark.quarter_bpm = match mark.text.as_deref().and_then(words::tempo_return) {
                    Some(Return::Before) => before,
                    Some(Return::First) => first,
                    None => None,
                };
            }
            if !mark.gradual {
                before = mark.quarter_bpm.or(before);
            }
        }
        *tempi = merged;
    }
}
