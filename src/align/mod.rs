//! Matching: which stroke is which note, and the tempo the player keeps.

/// What the matching found.
#[derive(Clone, Debug, Default)]
pub struct Alignment {
    /// Every stretch of the take that follows the part, in order of time.
    pub passages: Vec<Passage>,
    /// Place in `passages` of the one that counts.
    pub counted: Option<usize>,
    /// Probability that this take is of this part, 0 to 1, calibrated.
    pub same_piece: f64,
    /// Places in `Heard::candidates` that are strokes of the drums but no
    /// note's, with the setting if it can be told, in order of time.
    pub extras: Vec<Extra>,
}

/// One run through some of the part.
#[derive(Clone, Debug)]
pub struct Passage {
    pub from_s: f64,
    pub to_s: f64,
    /// First and last place in `Part::notes`, both included.
    pub notes: (usize, usize),
    /// One for every note from `notes.0` to `notes.1`.
    pub matches: Vec<Match>,
    pub pulse: Pulse,
}

/// What became of one note.
#[derive(Clone, Debug, PartialEq)]
pub struct Match {
    pub outcome: Outcome,
    /// Place in `Heard::candidates`; the first of a roll.
    pub stroke: Option<usize>,
    /// The further strokes of a roll or flam, in order of time.
    pub further: Vec<usize>,
    /// Place in `Part::settings` of the drum that was struck.
    pub setting: Option<usize>,
    /// Natural log of how much likelier "as written" is than the best of
    /// "missed" and "other drum".
    pub log_ratio: f64,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    Played,
    Missed,
    OtherDrum,
    Unsure,
    NotReached,
}

/// A stroke that is no note's.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Extra {
    /// Place in `Heard::candidates`.
    pub candidate: usize,
    /// Place in `Part::settings`.
    pub setting: Option<usize>,
}

/// The tempo the player keeps: a smooth curve from musical to real time.
#[derive(Clone, Debug, Default)]
pub struct Pulse {
    /// (quarter notes from the start of the part, seconds), both rising;
    /// straight lines between, the outermost slope beyond.
    pub knots: Vec<(f64, f64)>,
    /// Standard uncertainty of the seconds.
    pub sd_s: f64,
}

impl Pulse {
    /// The time at which a place in the part falls, seconds. `None` without
    /// two knots.
    pub fn time_s(&self, quarters: f64) -> Option<f64> {
        let (a, b) = self.span(quarters)?;
        Some(a.1 + (quarters - a.0) * (b.1 - a.1) / (b.0 - a.0))
    }

    /// The tempo there, quarter notes a minute.
    pub fn bpm(&self, quarters: f64) -> Option<f64> {
        let (a, b) = self.span(quarters)?;
        Some(60.0 * (b.0 - a.0) / (b.1 - a.1))
    }

    fn span(&self, quarters: f64) -> Option<((f64, f64), (f64, f64))> {
        let last = self.knots.len().checked_sub(2)?;
        let i = self
            .knots
            .partition_point(|k| k.0 <= quarters)
            .saturating_sub(1)
            .min(last);
        Some((self.knots[i], self.knots[i + 1]))
    }
}
