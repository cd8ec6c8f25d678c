//! The expected part: what is written, and what is therefore to be played.
//!
//! Readers produce a [`Part`] *as played*: repeats written out, tied notes
//! joined, measured tremolos expanded. Musical time is exact: quarter notes
//! as fractions from the start.

mod assign;
mod derive;
mod midi;
mod musicxml;
mod read;
pub mod sheet;
mod time;
pub mod tuning;

pub use read::{ReadOptions, read, read_bytes};

use crate::pitch::Pitch;
use num_rational::Ratio;

/// Musical time or length in quarter notes, exact.
pub type Quarters = Ratio<i64>;

/// A part as it is to be played.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Part {
    pub title: String,
    /// Every bar in the order it is played, repeats written out.
    pub bars: Vec<Bar>,
    /// Every sounding note in the order of the part; a chord lists its notes
    /// lowest first. Rests, tied continuations and grace notes are no notes.
    pub notes: Vec<Note>,
    /// Tempo marks in order of time.
    pub tempi: Vec<TempoMark>,
    /// Dynamic marks in order of time.
    pub marks: Vec<LevelMark>,
    pub hairpins: Vec<Hairpin>,
    /// Where a fermata stands: the tempo is free there.
    pub fermatas: Vec<Quarters>,
    /// Free text over a bar ("oboe solo", "strings enter").
    pub cues: Vec<Cue>,
    /// The drums in use, drum 1 = lowest, with their starting pitch.
    pub drums: Vec<Drum>,
    /// Every retuning, in order of time.
    pub retunings: Vec<Retuning>,
    /// What stood in the file and was not understood.
    pub unread: Vec<Unread>,
}

/// One bar as played.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Bar {
    /// The number printed in the part. A repeat gives the same number twice.
    pub number: i32,
    /// Start, from the start of the part.
    pub at: Quarters,
    pub length: Quarters,
    /// The meter in force, as (3, 4).
    pub meter: (u32, u32),
    pub rehearsal: Option<String>,
}

/// One note that is to be struck (once, or as a roll).
#[derive(Clone, Debug, PartialEq)]
pub struct Note {
    /// Place in [`Part::bars`].
    pub bar: usize,
    /// Start, from the start of the part.
    pub at: Quarters,
    /// Full sounding length, tied continuations included.
    pub length: Quarters,
    pub pitch: Pitch,
    /// 1 = lowest; 0 where no drum can be tuned to the pitch.
    pub drum: u8,
    pub roll: bool,
    /// Grace notes stand before it.
    pub flam: bool,
    pub accent: bool,
    pub staccato: bool,
    pub tenuto: bool,
    /// The mark in force.
    pub dynamic: Option<Dynamic>,
    pub hand: Option<Hand>,
    /// A written wish to stop the drum at the note's end, or to let it ring.
    pub damp: Option<Damp>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Hand {
    Right,
    Left,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Damp {
    Stop,
    LetRing,
}

/// A dynamic mark. Ordered by loudness.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Dynamic {
    Pppp,
    Ppp,
    Pp,
    P,
    Mp,
    Mf,
    F,
    Ff,
    Fff,
    Ffff,
}

/// A dynamic mark and where it stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LevelMark {
    pub at: Quarters,
    pub mark: Dynamic,
}

/// A hairpin or a "cresc." with its end.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Hairpin {
    pub from: Quarters,
    pub to: Quarters,
    pub kind: HairpinKind,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum HairpinKind {
    Crescendo,
    Diminuendo,
}

#[derive(Clone, Debug, PartialEq)]
pub struct TempoMark {
    pub at: Quarters,
    /// Quarter notes a minute; absent where the mark is words alone.
    pub quarter_bpm: Option<f64>,
    /// The tempo moves gradually from here to the next mark (rit., accel.).
    pub gradual: bool,
    pub text: Option<String>,
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cue {
    /// Place in [`Part::bars`].
    pub bar: usize,
    pub text: String,
}

#[derive(Clone, Debug, PartialEq)]
pub struct Drum {
    /// 1 = lowest.
    pub number: u8,
    /// Diameter in inches.
    pub size_in: Option<f64>,
    /// The pitch it is tuned to at the start.
    pub pitch: Pitch,
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Retuning {
    /// The bar from whose start the new pitch is wanted at the latest.
    pub bar: usize,
    pub drum: u8,
    pub from: Pitch,
    pub to: Pitch,
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unread {
    /// The printed number of the bar, if it stood in a bar.
    pub bar: Option<i32>,
    pub what: String,
}

/// One pitch a drum is tuned to from one bar to another.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Setting {
    pub drum: u8,
    pub pitch: Pitch,
    /// First place in [`Part::bars`] where it holds.
    pub from_bar: usize,
    /// Last place in [`Part::bars`] where it holds.
    pub to_bar: usize,
}

impl Part {
    /// Every setting of every drum: drums from low to high, then by time.
    pub fn settings(&self) -> Vec<Setting> {
        let last = self.bars.len().saturating_sub(1);
        let mut settings = Vec::new();
        for drum in &self.drums {
            let mut current = Setting {
                drum: drum.number,
                pitch: drum.pitch,
                from_bar: 0,
                to_bar: last,
            };
            for change in self.retunings.iter().filter(|r| r.drum == drum.number) {
                current.to_bar = change.bar.saturating_sub(1);
                let next = Setting {
                    pitch: change.to,
                    from_bar: change.bar,
                    to_bar: last,
                    ..current
                };
                settings.push(std::mem::replace(&mut current, next));
            }
            settings.push(current);
        }
        settings
    }

    /// Place in [`Part::settings`] of the drum of each note, `None` where no
    /// drum is tuned to it.
    pub fn note_settings(&self) -> Vec<Option<usize>> {
        let settings = self.settings();
        self.notes
            .iter()
            .map(|note| {
                settings.iter().position(|s| {
                    s.drum == note.drum && (s.from_bar..=s.to_bar).contains(&note.bar)
                })
            })
            .collect()
    }

    /// Quarter notes from the bar line, 1 = on it.
    pub fn beat(&self, bar: usize, at: Quarters) -> Quarters {
        at - self.bars[bar].at + 1
    }

    /// The tempo asked for at a place, in quarter notes a minute. Between a
    /// gradual mark and the next one it moves in a straight line. `None`
    /// where the part gives no figure.
    pub fn marked_bpm(&self, at: Quarters) -> Option<f64> {
        let figure = |m: &TempoMark| m.quarter_bpm;
        let here = self.tempi.iter().rposition(|m| m.at <= at);
        let before = here.and_then(|i| self.tempi[..=i].iter().rev().find_map(figure))?;
        let gradual_from = here.filter(|&i| self.tempi[i].gradual);
        let next = gradual_from.and_then(|i| self.tempi.get(i + 1).map(|n| (&self.tempi[i], n)));
        match next {
            Some((from, to)) if to.quarter_bpm.is_some() && to.at > from.at => {
                let way = quarters_f64(at - from.at) / quarters_f64(to.at - from.at);
                Some(before + way * (to.quarter_bpm.unwrap_or(before) - before))
            }
            _ => Some(before),
        }
    }
}

/// Quarter notes as a floating point number.
pub fn quarters_f64(q: Quarters) -> f64 {
    *q.numer() as f64 / *q.denom() as f64
}
