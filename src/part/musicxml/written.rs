//! A bar as it is written, before repeats are played out.

use super::super::{Damp, Dynamic, HairpinKind, Hand, Quarters};
use crate::pitch::Pitch;

/// One bar; offsets are quarter notes from its own bar line.
#[derive(Clone, Debug, Default)]
pub(super) struct WrittenBar {
    pub number: i32,
    /// The longest content of any part, zero where no part holds music.
    pub content: Quarters,
    pub meter: (u32, u32),
    pub rehearsal: Option<String>,
    pub notes: Vec<WrittenNote>,
    pub events: Vec<(Quarters, Event)>,
    pub signs: Signs,
}

impl WrittenBar {
    /// How long the bar lasts: what stands in it, or its meter when nothing
    /// does.
    pub fn length(&self) -> Quarters {
        if self.content > Quarters::from(0) {
            self.content
        } else {
            meter_length(self.meter)
        }
    }
}

/// Length of a full bar in quarter notes.
pub(super) fn meter_length((beats, unit): (u32, u32)) -> Quarters {
    Quarters::new(i64::from(beats) * 4, i64::from(unit.max(1)))
}

#[derive(Clone, Debug)]
#[expect(clippy::struct_excessive_bools, reason = "each is one sign on paper")]
pub(super) struct WrittenNote {
    pub at: Quarters,
    pub length: Quarters,
    pub pitch: Pitch,
    pub roll: bool,
    /// Continues the roll of the note before under a wavy line.
    pub under_line: bool,
    /// A measured tremolo: the value of one stroke.
    pub stroke: Option<Quarters>,
    pub flam: bool,
    pub accent: bool,
    pub staccato: bool,
    pub tenuto: bool,
    pub hand: Option<Hand>,
    pub damp: Option<Damp>,
    pub tie_from: bool,
    pub tie_to: bool,
}

/// Anything in a bar that is no note.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Event {
    Level(Dynamic),
    /// An accent in dynamic letters: sf, fz, fp. The levels, where named, are
    /// that of the attack and that after it.
    Burst(Option<(Dynamic, Dynamic)>),
    WedgeStart(HairpinKind, String),
    WedgeStop(String),
    /// "cresc.", which lasts until the next mark.
    Swell(HairpinKind),
    Tempo {
        bpm: Option<f64>,
        gradual: bool,
        text: Option<String>,
    },
    Fermata,
    Words(String),
    Hand(Hand),
    Damp(Damp),
    Unread(String),
}

/// The signs of repetition at a bar.
#[derive(Clone, Debug, Default, PartialEq)]
#[expect(clippy::struct_excessive_bools, reason = "each is one sign on paper")]
pub(super) struct Signs {
    pub forward: bool,
    /// How often the passage is played in all.
    pub backward: Option<u32>,
    pub after_jump: bool,
    /// The passes in which the bars from here are played.
    pub ending: Option<Vec<u32>>,
    pub ending_stop: bool,
    pub segno: bool,
    pub coda: bool,
    pub to_coda: bool,
    pub da_capo: bool,
    pub dal_segno: bool,
    pub fine: bool,
}
