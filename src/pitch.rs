//! Pitches, frequencies and cents.
//!
//! Scientific pitch names in ASCII (`Bb2`, `F#3`), C4 = 261.63 Hz when
//! A4 = 440 Hz (ISO 16:1975), equal temperament throughout.

use std::fmt;
use std::str::FromStr;

/// One octave in cents.
pub const CENTS_PER_OCTAVE: f64 = 1200.0;

/// A written pitch: letter, alteration and octave. Enharmonic pitches differ
/// as values (`A#2` is not `Bb2`) but share their [`Pitch::key`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Pitch {
    /// 0 = C ... 6 = B.
    pub step: u8,
    /// Semitones: flat negative.
    pub alter: i8,
    /// Octave of scientific pitch notation: C4 is middle C.
    pub octave: i8,
}

/// Semitones above C of each letter, C first.
const STEP_SEMITONES: [i32; 7] = [0, 2, 4, 5, 7, 9, 11];
const LETTERS: &[u8; 7] = b"CDEFGAB";

impl Pitch {
    /// The key number in semitones, 60 = C4 (the numbering of MIDI 1.0).
    pub fn key(self) -> i32 {
        (i32::from(self.octave) + 1) * 12
            + STEP_SEMITONES[usize::from(self.step)]
            + i32::from(self.alter)
    }

    /// The pitch of a key number, spelled as timpani parts mostly do:
    /// `Bb`, `Eb`, `Ab`, but `C#` and `F#`.
    pub fn from_key(key: i32) -> Self {
        const SPELLING: [(u8, i8); 12] = [
            (0, 0),
            (0, 1),
            (1, 0),
            (2, -1),
            (2, 0),
            (3, 0),
            (3, 1),
            (4, 0),
            (5, -1),
            (5, 0),
            (6, -1),
            (6, 0),
        ];
        let (step, alter) = SPELLING[key.rem_euclid(12) as usize];
        Self {
            step,
            alter,
            octave: (key.div_euclid(12) - 1) as i8,
        }
    }

    /// Frequency in hertz in equal temperament, for A4 = `a4_hz`.
    pub fn hz(self, a4_hz: f64) -> f64 {
        a4_hz * 2f64.powf(f64::from(self.key() - 69) / 12.0)
    }
}

/// Lower sounds first; enharmonic spellings are ordered by letter.
impl Ord for Pitch {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        (self.key(), self.octave, self.step).cmp(&(other.key(), other.octave, other.step))
    }
}

impl PartialOrd for Pitch {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl fmt::Display for Pitch {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let letter = char::from(LETTERS[usize::from(self.step)]);
        let sign = if self.alter < 0 { "b" } else { "#" };
        let signs = sign.repeat(usize::from(self.alter.unsigned_abs()));
        write!(f, "{letter}{signs}{}", self.octave)
    }
}

/// A text that is not a pitch name.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "'{0}' is not a pitch: expected a letter A-G, then #, b or nothing, then an octave, as in Bb2"
)]
pub struct PitchError(pub String);

impl FromStr for Pitch {
    type Err = PitchError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let wrong = || PitchError(text.to_owned());
        let mut chars = text.chars();
        let letter = chars.next().ok_or_else(wrong)?.to_ascii_uppercase();
        let step = LETTERS
            .iter()
            .position(|&l| char::from(l) == letter)
            .ok_or_else(wrong)?;
        let rest = chars.as_str();
        let signs = rest.chars().take_while(|c| matches!(c, '#' | 'b')).count();
        if signs > 2 || (signs == 2 && rest.as_bytes()[0] != rest.as_bytes()[1]) {
            return Err(wrong());
        }
        let alter = match rest.chars().next() {
            Some('b') => -(signs as i8),
            _ => signs as i8,
        };
        let octave: i8 = rest[signs..].parse().map_err(|_| wrong())?;
        if !(-1..=9).contains(&octave) {
            return Err(wrong());
        }
        Ok(Self {
            step: step as u8,
            alter,
            octave,
        })
    }
}

impl serde::Serialize for Pitch {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> serde::Deserialize<'de> for Pitch {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        String::deserialize(deserializer)?
            .parse()
            .map_err(serde::de::Error::custom)
    }
}

/// The interval from `reference_hz` up to `hz` in cents; both must be
/// positive.
pub fn cents(hz: f64, reference_hz: f64) -> f64 {
    CENTS_PER_OCTAVE * (hz / reference_hz).log2()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Equal temperament, A4 = 440 Hz, as tabulated in the CRC Handbook of
    /// Chemistry and Physics, section 14 ("Musical scales"), to 0.01 Hz.
    #[test]
    fn frequencies_agree_with_the_crc_handbook() {
        for (name, hz) in [
            ("D2", 73.42),
            ("F2", 87.31),
            ("A2", 110.00),
            ("Bb2", 116.54),
            ("C3", 130.81),
            ("F#3", 185.00),
            ("A3", 220.00),
            ("C4", 261.63),
        ] {
            let pitch: Pitch = name.parse().unwrap();
            assert!((pitch.hz(440.0) - hz).abs() < 0.005, "{name}");
        }
    }

    /// Just intervals in cents are pure arithmetic: 1200 log2(ratio).
    #[test]
    fn a_just_fifth_is_701_955_cents() {
        assert!((cents(3.0, 2.0) - 701.955).abs() < 5e-4);
        assert!((cents(4.0, 3.0) - 498.045).abs() < 5e-4);
    }

    #[test]
    fn names_survive_a_round_trip() {
        for key in 24..84 {
            let pitch = Pitch::from_key(key);
            assert_eq!(pitch.key(), key);
            assert_eq!(pitch.to_string().parse::<Pitch>().unwrap(), pitch);
        }
        for wrong in ["", "H2", "C", "C#b3", "Cbbb3", "c##x", "Eb99"] {
            assert!(wrong.parse::<Pitch>().is_err(), "{wrong}");
        }
    }
}
