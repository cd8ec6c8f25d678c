//! Which pitch and drum a stroke of the sheet means.

use super::super::read::Fault;
use super::line::Line;
use super::parse::Reader;
use super::word::Struck;
use crate::pitch::Pitch;

impl Reader {
    pub(super) fn resolve(&self, struck: &Struck, line: &Line) -> Result<(Pitch, u8), Fault> {
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
}
