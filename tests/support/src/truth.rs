//! What a made take is known to hold.

use serde::{Deserialize, Serialize};

/// Everything known of a made take. Times are seconds from its first sample.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Truth {
    /// In order of time.
    pub strokes: Vec<TrueStroke>,
    /// One for every note of the part.
    pub notes: Vec<TrueNote>,
    /// One for every setting, in the order of `Part::settings`.
    pub settings: Vec<TrueSetting>,
    pub stops: Vec<TrueStop>,
    pub rolls: Vec<TrueRoll>,
    /// Every run through some of the part, in order of time.
    pub passages: Vec<TruePassage>,
    /// Metronome clicks.
    pub clicks_s: Vec<f64>,
    /// The tempo kept: (quarter notes from the start of the part, seconds).
    pub tempo: Vec<(f64, f64)>,
}

/// One stroke that was played.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TrueStroke {
    /// The stick's contact.
    pub time_s: f64,
    /// Place in `Part::notes`; `None`: belongs to no note.
    pub note: Option<usize>,
    /// Place in `Part::settings` of the drum that was struck.
    pub setting: usize,
    /// How hard, dB re the loudest possible.
    pub level_db: f64,
    /// The grace stroke of a flam.
    pub grace: bool,
    pub in_roll: bool,
    /// It belongs to the run that counts.
    pub counted: bool,
    /// How far it stands out: in its best band, its energy against that of
    /// everything else in its first 70 ms, dB.
    pub stand_out_db: f64,
}

/// What really became of a note.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Fate {
    Played,
    Missed,
    OtherDrum,
    /// Not in the run that counts.
    NotReached,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TrueNote {
    pub fate: Fate,
    /// Of its stroke, or of the first of its roll; `None`: missed.
    pub time_s: Option<f64>,
    /// How far that stroke stands out.
    pub stand_out_db: Option<f64>,
    /// Place in `Part::settings` of the drum struck.
    pub setting: Option<usize>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TrueSetting {
    /// The principal tone as it settles.
    pub hz: f64,
    /// Against the written pitch at A4 = 440 Hz.
    pub cents: f64,
    /// How far the tone itself wanders while it settles, standard deviation,
    /// cents: no figure is truer than that.
    pub blur_cents: f64,
}

/// What a player did with a drum at a note's end.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TrueStop {
    /// Place in `Part::notes`.
    pub note: usize,
    /// The hand's first touch; `None`: left to ring.
    pub at_s: Option<f64>,
    /// Where the written value ends at the tempo kept.
    pub due_s: f64,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TrueRoll {
    /// Place in `Part::notes`.
    pub note: usize,
    pub from_s: f64,
    /// Its last stroke.
    pub to_s: f64,
    pub strokes_per_s: f64,
}

/// One run through some of the part.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TruePassage {
    pub from_s: f64,
    pub to_s: f64,
    /// First and last place in `Part::notes`.
    pub notes: (usize, usize),
    pub counted: bool,
}
