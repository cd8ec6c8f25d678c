//! The lines that stand between bars: drums, meters, tempo marks and changes of
//! tuning.

use super::super::read::Fault;
use super::super::time::fraction;
use super::super::{Drum, Quarters, Retuning, TempoMark};
use super::line::Line;
use super::parse::Reader;
use crate::pitch::Pitch;

impl Reader {
    pub(super) fn drum(&mut self, line: &mut Line) -> Result<(), Fault> {
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

    pub(super) fn meter(&mut self, line: &mut Line) -> Result<(), Fault> {
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

    pub(super) fn meter_length(&self) -> Quarters {
        Quarters::new(i64::from(self.meter.0) * 4, i64::from(self.meter.1))
    }

    pub(super) fn tempo(&mut self, line: &mut Line) -> Result<(), Fault> {
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

    pub(super) fn tune(&mut self, line: &mut Line) -> Result<(), Fault> {
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
}

pub(super) fn pitch(line: &mut Line) -> Result<Pitch, Fault> {
    line.skip_space();
    let from = line.at;
    let text = line.word();
    text.parse().map_err(|_| {
        line.at = from;
        line.fault("a pitch with its octave", "write it as in Bb2")
    })
}
