//! Reads a sheet line by line: what each line is for.

use super::super::read::Fault;
use super::super::{HairpinKind, Part, Quarters, TempoMark, Unread};
use super::again;
use super::bar::numbers;
use super::line::Line;
use crate::pitch::Pitch;

/// More bars than any piece has.
pub(super) const MOST_BARS: usize = 100_000;

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

pub(super) struct Reader {
    pub part: Part,
    pub meter: (u32, u32),
    /// Length of a word, quarter notes.
    pub beat: Quarters,
    pub tunings: Vec<(u8, Pitch)>,
    /// Notes that a `_` at the start lengthens, for each voice.
    pub open: Vec<Vec<usize>>,
    /// Voice that is being written, and where it stands in the bar.
    pub voice: usize,
    pub at: Quarters,
    /// Where the last voice stopped short, to be told when it is not continued.
    pub unfilled: Option<Fault>,
    /// Open ones: tag, kind, beginning, and what to say if they never end.
    pub hairpins: Vec<(u32, HairpinKind, Quarters, Fault)>,
    pub rehearsal: Option<String>,
    /// Tempo marks and cues for the bar to come.
    pub tempi: Vec<(Quarters, TempoMark)>,
    pub cues: Vec<String>,
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
                line.skip_space();
                let start = line.at;
                let (from, to) = numbers(line)?;
                if !again::play(&mut self.part, from, to, MOST_BARS) {
                    line.at = start;
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

    /// Lines after the last bar that need a bar to come.
    fn tell_trailing(&mut self) {
        let part = &mut self.part;
        let bars = part.bars.len();
        let mut told: Vec<String> = Vec::new();
        part.retunings.retain(|r| {
            if r.bar < bars {
                return true;
            }
            told.push(format!("drum {} to {} after the last bar", r.drum, r.to));
            false
        });
        told.extend(
            self.cues
                .drain(..)
                .map(|c| format!("the cue \"{c}\" after the last bar")),
        );
        let rehearsal = self.rehearsal.take();
        told.extend(rehearsal.map(|r| format!("rehearsal mark {r} after the last bar")));
        let unread = told.into_iter().map(|what| Unread { bar: None, what });
        part.unread.extend(unread);
    }

    fn finish(mut self) -> Result<Part, Fault> {
        self.close_bar()?;
        let end = self.end();
        self.place_waiting(end);
        self.tell_trailing();
        match self.hairpins.into_iter().next() {
            Some((.., fault)) => Err(fault),
            None => Ok(self.part),
        }
    }
}
