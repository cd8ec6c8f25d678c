//! Bars: their numbers, their words, and what each word does to the part.

use super::super::read::Fault;
use super::super::time::{fraction, tidy};
use super::super::{Bar, Cue, Hairpin, LevelMark, Note, Quarters, TempoMark};
use super::line::Line;
use super::parse::{MOST_BARS, Reader};
use super::word::{self, Core, Label};

impl Reader {
    pub(super) fn bar(&mut self, line: &mut Line) -> Result<(), Fault> {
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

    pub(super) fn open_bar(&mut self, number: i32, length: Quarters) {
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

    pub(super) fn place_waiting(&mut self, at: Quarters) {
        let waiting = std::mem::take(&mut self.tempi);
        self.part
            .tempi
            .extend(waiting.into_iter().map(|(offset, mark)| TempoMark {
                at: tidy(at + offset),
                ..mark
            }));
    }

    /// End of the last bar.
    pub(super) fn end(&self) -> Quarters {
        self.part
            .bars
            .last()
            .map_or(Quarters::from(0), |b| tidy(b.at + b.length))
    }

    pub(super) fn words(&mut self, line: &mut Line) -> Result<(), Fault> {
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
    pub(super) fn is_whole(&self, words: &[(word::Word, usize)]) -> bool {
        self.at == Quarters::from(0)
            && matches!(words, [(w, _)] if w.beats.is_none()
                && matches!(w.pieces.as_slice(), [p] if !matches!(p.core, Core::Struck(_))))
    }

    pub(super) fn word(
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

    pub(super) fn label(&mut self, label: Label, at: Quarters, line: &Line) -> Result<(), Fault> {
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
                let open = "a hairpin begins here and never ends; write end: where it does";
                self.hairpins.push((tag, kind, at, line.message(open)));
            }
            Label::End(tag) => {
                let Some(open) = self.hairpins.iter().position(|h| h.0 == tag && h.2 < at) else {
                    return Err(line
                        .message("no hairpin is open here; write cresc: or dim: where it begins"));
                };
                let (_, kind, from, _) = self.hairpins.remove(open);
                self.part.hairpins.push(Hairpin { from, to: at, kind });
            }
        }
        Ok(())
    }

    pub(super) fn close_voice(&mut self) -> Result<(), Fault> {
        self.unfilled.take().map_or(Ok(()), Err)
    }

    pub(super) fn close_bar(&mut self) -> Result<(), Fault> {
        self.close_voice()?;
        // Voices that the bar does not have end with the bar before.
        self.open.truncate(self.voice + 1);
        Ok(())
    }
}

/// "5" or "5-8".
pub(super) fn numbers(line: &mut Line) -> Result<(i32, i32), Fault> {
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

pub(super) fn integer(line: &mut Line) -> Option<i32> {
    let sign = if line.take('-') { "-" } else { "" };
    let digits = line.take_while(|c| c.is_ascii_digit());
    format!("{sign}{digits}").parse().ok()
}
