//! Reads a sheet.

use super::super::read::Fault;
use super::super::time::{fraction, tidy};
use super::super::{
    Bar, Cue, Drum, Hairpin, HairpinKind, LevelMark, Note, Part, Quarters, Retuning, TempoMark,
    Unread,
};
use super::again;
use super::line::Line;
use super::word::{self, Core, Label, Struck};
use crate::pitch::Pitch;

/// More bars than any piece has.
const MOST_BARS: usize = 100_000;

/// Reads a whole sheet. Notes have drum 0 where the sheet names no drums.
pub(in crate::part) fn parse(text: &str) -> Result<Part, Fault> {
    let mut reader = Reader::default();
    for (index, content) in text.lines().enumerate() {
        let mut line = Line::new(index + 1, content);
        if !line.done() && line.peek() != Some('#') {
            reader.line(&mut line)?;
        }
    }
    reader.finish()
}

struct Reader {
    part: Part,
    meter: (u32, u32),
    /// Length of a word, quarter notes.
    beat: Quarters,
    tunings: Vec<(u8, Pitch)>,
    /// Notes that a `_` at the start lengthens, for each voice.
    open: Vec<Vec<usize>>,
    /// Voice that is being written, and where it stands in the bar.
    voice: usize,
    at: Quarters,
    /// Where the last voice stopped short, to be told when it is not continued.
    unfilled: Option<Fault>,
    hairpins: Vec<(u32, HairpinKind, Quarters)>,
    rehearsal: Option<String>,
    /// Tempo marks and cues for the bar to come.
    tempi: Vec<(Quarters, TempoMark)>,
    cues: Vec<String>,
}

impl Default for Reader {
    fn default() -> Self {
        Self {
            part: Part::default(),
            meter: (4, 4),
            beat: Quarters::from(1),
            tunings: Vec::new(),
            open: Vec::new(),
            voice: 0,
            at: Quarters::from(0),
            unfilled: None,
            hairpins: Vec::new(),
            rehearsal: None,
            tempi: Vec::new(),
            cues: Vec::new(),
        }
    }
}

const KINDS: &str = "lines begin with a bar number and a colon, more:, with:, title, drum, meter, \
                     tempo, tune, rehearsal, cue, again or unread";

impl Reader {
    fn line(&mut self, line: &mut Line) -> Result<(), Fault> {
        let start = line.at;
        if line.peek().is_some_and(|c| c.is_ascii_digit() || c == '-') {
            self.close_bar()?;
            return self.bar(line);
        }
        let name = line.take_while(|c| c.is_ascii_alphabetic());
        if matches!(name.as_str(), "more" | "with") && line.take(':') {
            if self.part.bars.is_empty() {
                line.at = start;
                return Err(
                    line.message("there is no bar yet; begin with a line such as 1: F . F .")
                );
            }
            if name == "with" {
                self.close_voice()?;
                self.voice += 1;
                self.at = Quarters::from(0);
            }
            return self.words(line);
        }
        self.close_bar()?;
        match name.as_str() {
            "title" => {
                line.skip_space();
                self.part.title = if line.peek() == Some('"') {
                    line.quoted()?
                } else {
                    line.rest()
                };
            }
            "drum" => self.drum(line)?,
            "meter" => self.meter(line)?,
            "tempo" => self.tempo(line)?,
            "tune" => self.tune(line)?,
            "cue" => self.cues.push(line.quoted()?),
            "rehearsal" => {
                line.skip_space();
                let text = if line.peek() == Some('"') {
                    line.quoted()?
                } else {
                    line.rest()
                };
                self.rehearsal = Some(text).filter(|t| !t.is_empty());
            }
            "unread" => {
                line.skip_space();
                let number = line.take_while(|c| c.is_ascii_digit() || c == '-');
                let what = line.quoted()?;
                self.part.unread.push(Unread {
                    bar: number.parse().ok(),
                    what,
                });
            }
            "again" => {
                let (from, to) = numbers(line)?;
                if !again::play(&mut self.part, from, to, MOST_BARS) {
                    return Err(line.message(&format!(
                        "bars {from}-{to} do not stand above in one piece; name bars that do"
                    )));
                }
                self.open.clear();
            }
            _ => {
                line.at = start;
                return Err(line.fault("a line of a sheet", KINDS));
            }
        }
        line.end()
    }

    fn drum(&mut self, line: &mut Line) -> Result<(), Fault> {
        line.skip_space();
        let from = line.at;
        let number = line
            .word()
            .parse::<u8>()
            .ok()
            .filter(|n| (1..=9).contains(n));
        let next = self.part.drums.len() as u8 + 1;
        if number != Some(next) || !self.part.bars.is_empty() {
            line.at = from;
            return Err(line.fault(
                &format!("drum number {next}"),
                "name the drums from the lowest, 1, upwards, before the first bar",
            ));
        }
        let pitch = pitch(line)?;
        line.skip_space();
        let from = line.at;
        let text = line.word();
        let size = text
            .parse::<f64>()
            .ok()
            .filter(|s| (10.0..=50.0).contains(s));
        if size.is_none() && !text.is_empty() {
            line.at = from;
            return Err(line.fault("a size in inches", "write the line as in drum 1 F2 32"));
        }
        self.tunings.push((next, pitch));
        self.part.drums.push(Drum {
            number: next,
            size_in: size,
            pitch,
        });
        Ok(())
    }

    fn meter(&mut self, line: &mut Line) -> Result<(), Fault> {
        line.skip_space();
        let from = line.at;
        let text = line.word();
        let meter = text.split_once('/').and_then(|(beats, unit)| {
            let beats = beats
                .parse::<u32>()
                .ok()
                .filter(|b| (1..=512).contains(b))?;
            let unit = unit.parse::<u32>().ok()?;
            (unit.is_power_of_two() && unit <= 64).then_some((beats, unit))
        });
        let Some(meter) = meter else {
            line.at = from;
            return Err(line.fault("a meter", "write it as in 3/4 or 6/8 in 2"));
        };
        self.meter = meter;
        self.beat = Quarters::new(4, i64::from(meter.1));
        if line.done() {
            return Ok(());
        }
        let from = line.at;
        let beats = (line.word() == "in")
            .then(|| line.word().parse::<u32>().ok())
            .flatten()
            .filter(|b| (1..=512).contains(b));
        let Some(beats) = beats else {
            line.at = from;
            return Err(line.fault("'in' and a number of beats", "write it as in 6/8 in 2"));
        };
        self.beat = self.meter_length() / Quarters::from(i64::from(beats));
        Ok(())
    }

    fn meter_length(&self) -> Quarters {
        Quarters::new(i64::from(self.meter.0) * 4, i64::from(self.meter.1))
    }

    fn tempo(&mut self, line: &mut Line) -> Result<(), Fault> {
        let mut mark = TempoMark {
            at: Quarters::from(0),
            quarter_bpm: None,
            gradual: false,
            text: None,
        };
        let mut offset = Quarters::from(0);
        let mut something = false;
        while !line.done() {
            let from = line.at;
            if line.peek() == Some('"') {
                mark.text = Some(line.quoted()?);
                something = true;
                continue;
            }
            let word = line.word();
            let problem = match word.as_str() {
                "gradual" => {
                    mark.gradual = true;
                    something = true;
                    None
                }
                "per" => match (fraction(&line.word()), mark.quarter_bpm) {
                    (Some(value), Some(bpm)) if value > Quarters::from(0) => {
                        mark.quarter_bpm = Some(bpm * super::super::quarters_f64(value));
                        None
                    }
                    _ => Some("a tempo, 'per' and a note value in quarter notes"),
                },
                "at" => match fraction(&line.word()).filter(|b| *b >= Quarters::from(1)) {
                    Some(beat) => {
                        offset = beat - 1;
                        None
                    }
                    None => Some("'at' and a quarter note of the bar, 1 or more"),
                },
                figure => match figure.parse::<f64>() {
                    Ok(bpm) if (1.0..=2000.0).contains(&bpm) => {
                        mark.quarter_bpm = Some(bpm);
                        something = true;
                        None
                    }
                    _ => Some("a tempo between 1 and 2000, 'gradual', or a text in double quotes"),
                },
            };
            if let Some(expected) = problem {
                line.at = from;
                return Err(line.fault(expected, "write it as in tempo 96 \"Allegro\" at 3"));
            }
        }
        if !something {
            return Err(line.fault(
                "a tempo",
                "write it as in tempo 96 or tempo gradual \"rit.\"",
            ));
        }
        self.tempi.push((offset, mark));
        Ok(())
    }

    fn tune(&mut self, line: &mut Line) -> Result<(), Fault> {
        line.skip_space();
        let start = line.at;
        let drum = line.word().parse::<u8>().ok();
        let Some(place) = drum.and_then(|d| self.tunings.iter().position(|t| t.0 == d)) else {
            line.at = start;
            return Err(line.fault(
                "the number of a drum in use",
                "name the drums first, as in drum 1 F2, then write tune 1 F2 to G2",
            ));
        };
        line.skip_space();
        let at = line.at;
        let from = pitch(line)?;
        if from != self.tunings[place].1 {
            line.at = at;
            return Err(line.fault(
                &format!("{}, to which the drum is tuned", self.tunings[place].1),
                "correct the pitch, or the drum",
            ));
        }
        line.skip_space();
        let at = line.at;
        if line.word() != "to" {
            line.at = at;
            return Err(line.fault("'to'", "write it as in tune 1 F2 to G2"));
        }
        let to = pitch(line)?;
        let bar = self.part.bars.len();
        if self
            .part
            .retunings
            .iter()
            .any(|r| r.bar == bar && r.drum == self.tunings[place].0)
        {
            line.at = start;
            return Err(
                line.message("this drum is tuned twice before one bar; write the last pitch only")
            );
        }
        self.part.retunings.push(Retuning {
            bar,
            drum: self.tunings[place].0,
            from,
            to,
        });
        self.tunings[place].1 = to;
        Ok(())
    }

    fn bar(&mut self, line: &mut Line) -> Result<(), Fault> {
        let start = line.at;
        let (from, to) = numbers(line)?;
        line.skip_space();
        let mut length = self.meter_length();
        if line.take('(') {
            let at = line.at;
            let text = line.take_while(|c| c != ')');
            let given = fraction(&text).filter(|l| *l > Quarters::from(0));
            let (Some(given), true) = (given, line.take(')')) else {
                line.at = at;
                return Err(line.fault(
                    "a length in quarter notes and ')'",
                    "write it as in 0 (1): F",
                ));
            };
            length = given;
        }
        line.skip_space();
        if !line.take(':') {
            return Err(line.fault("a colon", "write a bar as in 5: F . F ."));
        }
        let count = i64::from(to) - i64::from(from) + 1;
        if count < 1 || count as usize + self.part.bars.len() > MOST_BARS {
            line.at = start;
            return Err(line.fault(
                "bars that rise, no more than 100 000",
                "write them as in 5-8: .",
            ));
        }
        let content = line.at;
        for number in from..=to {
            self.close_bar()?;
            line.at = content;
            self.open_bar(number, length);
            self.words(line)?;
        }
        Ok(())
    }

    fn open_bar(&mut self, number: i32, length: Quarters) {
        let index = self.part.bars.len();
        let at = self.end();
        self.part.bars.push(Bar {
            number,
            at,
            length,
            meter: self.meter,
            rehearsal: self.rehearsal.take(),
        });
        self.voice = 0;
        self.at = Quarters::from(0);
        self.place_waiting(at);
        let part = &mut self.part;
        part.cues
            .extend(self.cues.drain(..).map(|text| Cue { bar: index, text }));
    }

    fn place_waiting(&mut self, at: Quarters) {
        let waiting = std::mem::take(&mut self.tempi);
        self.part
            .tempi
            .extend(waiting.into_iter().map(|(offset, mark)| TempoMark {
                at: tidy(at + offset),
                ..mark
            }));
    }

    /// End of the last bar.
    fn end(&self) -> Quarters {
        self.part
            .bars
            .last()
            .map_or(Quarters::from(0), |b| tidy(b.at + b.length))
    }

    fn words(&mut self, line: &mut Line) -> Result<(), Fault> {
        let Some((bar_at, length)) = self.part.bars.last().map(|b| (b.at, b.length)) else {
            return Ok(());
        };
        if self.open.len() <= self.voice {
            self.open.push(Vec::new());
        }
        let first_at = self.at;
        let mut words = Vec::new();
        loop {
            let labels = word::labels(line)?;
            if line.done() {
                // A label without a word stands where the words end.
                let end = words.iter().fold(first_at, |sum, w: &(word::Word, usize)| {
                    sum + w.0.beats.unwrap_or(Quarters::from(1)) * self.beat
                });
                let whole = self.is_whole(&words);
                let at = if whole { length } else { end };
                for piece in words.drain(..) {
                    self.word(&piece.0, whole.then_some(length), line)?;
                }
                for label in labels {
                    self.label(label, tidy(bar_at + at), line)?;
                }
                break;
            }
            let place = line.at;
            words.push((word::word(line, labels)?, place));
        }
        let place = line.at;
        let missing = length - self.at;
        self.unfilled = None;
        if missing != Quarters::from(0) {
            line.at = place;
            let beats = |q: Quarters| super::super::time::written(q / self.beat);
            let fault = line.message(&format!(
                "expected {} beats in the bar, found {}; a word is one beat unless * says \
                 otherwise, and 0 (1): stands for a bar of one quarter note",
                beats(length),
                beats(self.at)
            ));
            if missing < Quarters::from(0) {
                return Err(fault);
            }
            self.unfilled = Some(fault);
        }
        Ok(())
    }

    /// Whether the voice is a single `.` or `_` that fills its bar.
    fn is_whole(&self, words: &[(word::Word, usize)]) -> bool {
        self.at == Quarters::from(0)
            && matches!(words, [(w, _)] if w.beats.is_none()
                && matches!(w.pieces.as_slice(), [p] if !matches!(p.core, Core::Struck(_))))
    }

    fn word(
        &mut self,
        word: &word::Word,
        whole: Option<Quarters>,
        line: &mut Line,
    ) -> Result<(), Fault> {
        let length = whole.unwrap_or(word.beats.unwrap_or(Quarters::from(1)) * self.beat);
        let bar = self.part.bars.len() - 1;
        let bar_at = self.part.bars[bar].at;
        for piece in &word.pieces {
            line.at = piece.place;
            let at = tidy(bar_at + self.at);
            for label in &piece.labels {
                self.label(*label, at, line)?;
            }
            let lasts = tidy(piece.share * length);
            let until = tidy(self.at + lasts);
            match &piece.core {
                Core::Silent => self.open[self.voice].clear(),
                Core::LastsOn => {
                    for &note in &self.open[self.voice] {
                        let note = &mut self.part.notes[note];
                        note.length = tidy(bar_at + until - note.at);
                    }
                }
                Core::Struck(drums) => {
                    self.open[self.voice].clear();
                    for struck in drums {
                        let (pitch, drum) = self.resolve(struck, line)?;
                        self.open[self.voice].push(self.part.notes.len());
                        self.part.notes.push(Note {
                            bar,
                            at,
                            length: lasts,
                            pitch,
                            drum,
                            roll: struck.roll,
                            flam: struck.flam,
                            accent: struck.accent,
                            staccato: struck.staccato,
                            tenuto: struck.tenuto,
                            dynamic: None,
                            hand: struck.hand,
                            damp: struck.damp,
                        });
                    }
                }
            }
            self.at = until;
        }
        Ok(())
    }

    fn resolve(&self, struck: &Struck, line: &Line) -> Result<(Pitch, u8), Fault> {
        let tuned = |drum: u8| self.tunings.iter().find(|t| t.0 == drum).map(|t| t.1);
        let list = || {
            self.tunings
                .iter()
                .map(|(d, p)| format!("{p} (drum {d})"))
                .collect::<Vec<_>>()
                .join(", ")
        };
        let named = struck.letter.map(|p| (p, struck.octave));
        let in_octave = |letter: Pitch, octave: i8| Pitch { octave, ..letter };
        match (named, struck.drum) {
            (None, drum) => {
                let drum = drum.unwrap_or(0);
                tuned(drum).map(|p| (p, drum)).ok_or_else(|| {
                    line.fault(
                        "the number of a drum in use",
                        "name the drums first, as in drum 1 F2",
                    )
                })
            }
            (Some((letter, Some(octave))), Some(drum)) => {
                if drum != 0 && tuned(drum).is_none() {
                    return Err(line.fault("a drum in use", "name it first, as in drum 1 F2"));
                }
                Ok((in_octave(letter, octave), drum))
            }
            (Some((letter, None)), Some(drum)) => {
                let octave = tuned(drum).map(|p| p.octave);
                octave
                    .map(|o| (in_octave(letter, o), drum))
                    .ok_or_else(|| line.fault("a pitch with its octave", "write it as in C3@2"))
            }
            (Some((letter, octave)), None) if self.tunings.is_empty() => {
                let octave = octave.unwrap_or_else(|| {
                    // The compass of the usual pair with a tone to spare.
                    (1..=4)
                        .find(|&o| (40..=51).contains(&in_octave(letter, o).key()))
                        .unwrap_or(2)
                });
                Ok((in_octave(letter, octave), 0))
            }
            (Some((letter, octave)), None) => {
                let fits = |p: Pitch| {
                    let same = octave.is_none_or(|o| in_octave(letter, o).key() == p.key());
                    same && in_octave(letter, 0).key().rem_euclid(12) == p.key().rem_euclid(12)
                };
                let found: Vec<&(u8, Pitch)> = self.tunings.iter().filter(|t| fits(t.1)).collect();
                match found.as_slice() {
                    [(drum, pitch), rest @ ..] if octave.is_some() || rest.is_empty() => {
                        Ok((octave.map_or(*pitch, |o| in_octave(letter, o)), *drum))
                    }
                    [] => Err(line.fault(
                        &format!("a pitch of a drum in use: {}", list()),
                        "write a line such as tune 1 F2 to G2 before this bar, or leave out the \
                         drum lines and the plan is found",
                    )),
                    _ => Err(line.fault(
                        "a pitch with its octave",
                        "two drums have this name; write which, as in F2 or F3",
                    )),
                }
            }
        }
    }

    fn label(&mut self, label: Label, at: Quarters, line: &Line) -> Result<(), Fault> {
        match label {
            Label::Level(mark) => self.part.marks.push(LevelMark { at, mark }),
            Label::Fermata => self.part.fermatas.push(at),
            Label::Hairpin(kind, tag) => {
                if self.hairpins.iter().any(|h| h.0 == tag) {
                    return Err(line.message(
                        "a hairpin is still open; close it with end:, or write cresc2: and end2: \
                         for a second one",
                    ));
                }
                self.hairpins.push((tag, kind, at));
            }
            Label::End(tag) => {
                let Some(open) = self.hairpins.iter().position(|h| h.0 == tag && h.2 < at) else {
                    return Err(line
                        .message("no hairpin is open here; write cresc: or dim: where it begins"));
                };
                let (_, kind, from) = self.hairpins.remove(open);
                self.part.hairpins.push(Hairpin { from, to: at, kind });
            }
        }
        Ok(())
    }

    fn close_voice(&mut self) -> Result<(), Fault> {
        self.unfilled.take().map_or(Ok(()), Err)
    }

    fn close_bar(&mut self) -> Result<(), Fault> {
        self.close_voice()?;
        // Voices that the bar does not have end with the bar before.
        self.open.truncate(self.voice + 1);
        Ok(())
    }

    fn finish(mut self) -> Result<Part, Fault> {
        self.close_bar()?;
        let end = self.end();
        self.place_waiting(end);
        if let Some((_, _, at)) = self.hairpins.first() {
            let place = self.part.bars.partition_point(|b| b.at <= *at).max(1) - 1;
            let number = self.part.bars.get(place).map_or(0, |b| b.number);
            return Err(Fault::new(
                format!("bar {number}"),
                "a hairpin begins and never ends; write end: where it does",
            ));
        }
        Ok(self.part)
    }
}

/// "5" or "5-8".
fn numbers(line: &mut Line) -> Result<(i32, i32), Fault> {
    line.skip_space();
    let from = line.at;
    let first = integer(line);
    let second = if line.take('-') { integer(line) } else { first };
    if let (Some(a), Some(b)) = (first, second) {
        Ok((a, b))
    } else {
        line.at = from;
        Err(line.fault("the number of a bar", "write it as in 5 or 5-8"))
    }
}

fn integer(line: &mut Line) -> Option<i32> {
    let sign = if line.take('-') { "-" } else { "" };
    let digits = line.take_while(|c| c.is_ascii_digit());
    format!("{sign}{digits}").parse().ok()
}

fn pitch(line: &mut Line) -> Result<Pitch, Fault> {
    line.skip_space();
    let from = line.at;
    let text = line.word();
    text.parse().map_err(|_| {
        line.at = from;
        line.fault("a pitch with its octave", "write it as in Bb2")
    })
}
