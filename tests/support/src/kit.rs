//! A set of drums, each at every pitch the part asks of it.

use crate::draw::Draw;
use crate::modal::{Later, ModalDrum};
use crate::recorded::{RecordedDrum, Set};
use crate::truth::TrueSetting;
use kettlemark::part::Part;

/// What the strokes are made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Instrument {
    Modal,
    /// Of the usual set of recorded strokes.
    Recorded,
    /// Of sets that nothing is tuned on.
    OtherRecorded,
}

impl Instrument {
    /// Every one.
    pub const ALL: [Self; 3] = [Self::Modal, Self::Recorded, Self::OtherRecorded];

    /// As commands name it.
    pub fn name(self) -> &'static str {
        match self.strokes() {
            None => "modal",
            Some(Set::Usual) => "recorded",
            Some(Set::Other) => "other",
        }
    }

    /// The recorded strokes it is made of.
    pub fn strokes(self) -> Option<Set> {
        match self {
            Self::Modal => None,
            Self::Recorded => Some(Set::Usual),
            Self::OtherRecorded => Some(Set::Other),
        }
    }
}

enum Drum {
    Modal(ModalDrum),
    Recorded(RecordedDrum),
}

/// The drums of one take, one for every setting of the part.
pub struct Kit {
    drums: Vec<Drum>,
    /// In the order of `Part::settings`.
    pub tuning: Vec<TrueSetting>,
}

impl Kit {
    /// Draws the drums for a part, each setting `detune_cents` off, one value
    /// for every setting.
    pub fn draw(
        instrument: Instrument,
        seed: u64,
        part: &Part,
        detune_cents: &[f64],
        rate_hz: f64,
        wide: bool,
    ) -> Self {
        let mut drums = Vec::new();
        let mut tuning = Vec::new();
        for (setting, &cents) in part.settings().iter().zip(detune_cents) {
            let hz = setting.pitch.hz(440.0) * 2f64.powf(cents / 1200.0);
            // A drum keeps its nature when it is retuned.
            let mut draw = Draw::new(seed, 100 + u64::from(setting.drum));
            let (made, blur_cents) = match instrument.strokes() {
                None => (Drum::Modal(ModalDrum::draw(&mut draw, hz, wide)), 0.0),
                Some(set) => {
                    let made = RecordedDrum::draw(set, &mut draw, hz, rate_hz, wide);
                    let blur_cents = made.blur_cents;
                    (Drum::Recorded(made), blur_cents)
                }
            };
            drums.push(made);
            tuning.push(TrueSetting {
                hz,
                cents,
                blur_cents,
            });
        }
        Self { drums, tuning }
    }

    /// One stroke on a setting's drum, and how many of its samples come
    /// before the contact.
    pub fn stroke(
        &self,
        draw: &mut Draw,
        setting: usize,
        level_db: f64,
        later: &[(usize, Later)],
        rate_hz: f64,
        longest: usize,
    ) -> (usize, Vec<f32>) {
        match &self.drums[setting] {
            Drum::Modal(d) => (0, d.stroke(draw, level_db, later, rate_hz, longest)),
            Drum::Recorded(d) => (
                d.lead(),
                d.stroke(draw, level_db, later, rate_hz, longest + d.lead()),
            ),
        }
    }
}
