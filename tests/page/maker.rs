//! Makes a take of a made part, note by note. Every number is drawn from a
//! fixed sequence.

use kettlemark::align::Outcome;
use kettlemark::pitch::Pitch;
use kettlemark::review::{Accent, Figure, NoteFacts, Review, Roll, Stop, StopState, StrokeFacts};

/// A fixed sequence of numbers: a linear congruential generator with the
/// constants of Numerical Recipes (Press et al., 3rd edition, 7.1).
pub struct Noise(u64);

impl Noise {
    /// From -1 to 1, roughly bell-shaped.
    pub fn next(&mut self) -> f64 {
        let sum: f64 = (0..3).map(|_| self.even()).sum();
        sum / 3.0
    }

    pub fn even(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
    }

    fn chance(&mut self, share: f64) -> bool {
        self.even() < share * 2.0 - 1.0
    }
}

/// How a made take is to be.
pub struct Wish {
    pub title: &'static str,
    pub file: &'static str,
    pub bars: usize,
    pub bpm: f64,
    pub drums: &'static [&'static str],
    /// 0: as good as it gets; 1: much goes wrong.
    pub faults: f64,
    pub all_rolls: bool,
    /// Sixteenths where there are quarter notes otherwise.
    pub dense: bool,
    /// Two takes with one wish differ by this.
    pub seed: u64,
}

pub struct Maker<'a> {
    pub wish: &'a Wish,
    pub noise: Noise,
    pub pitches: Vec<Pitch>,
    pub notes: Vec<NoteFacts>,
    pub strokes: Vec<StrokeFacts>,
    pub figures: Vec<Figure>,
    pub rolls: Vec<Roll>,
    pub stops: Vec<Stop>,
    pub accents: Vec<Accent>,
}

pub fn make(wish: &Wish) -> Review {
    let mut maker = Maker {
        wish,
        noise: Noise(wish.seed),
        pitches: wish.drums.iter().map(|p| p.parse().unwrap()).collect(),
        notes: Vec::new(),
        strokes: Vec::new(),
        figures: Vec::new(),
        rolls: Vec::new(),
        stops: Vec::new(),
        accents: Vec::new(),
    };
    for bar in 0..wish.bars {
        maker.bar(bar);
    }
    maker.finish()
}

impl Maker<'_> {
    pub fn bpm(&self, at: f64) -> f64 {
        let end = self.wish.bars as f64 * 4.0;
        let wave = (at / end * 9.0).sin() * 2.0;
        self.wish.bpm * (0.98 + self.wish.faults * 0.08 * at / end) + wave
    }

    /// The pulse: quarter notes to seconds, by small steps.
    pub fn time(&self, at: f64) -> f64 {
        let whole = at.floor() as usize;
        let sum: f64 = (0..whole).map(|q| 60.0 / self.bpm(q as f64)).sum();
        2.0 + sum + (at - whole as f64) * 60.0 / self.bpm(whole as f64)
    }

    fn bar(&mut self, bar: usize) {
        let at = bar as f64 * 4.0;
        let drums = self.pitches.len();
        let last = bar + 1 == self.wish.bars;
        if self.wish.all_rolls {
            self.roll(bar, at, 4.0, bar % drums);
            return;
        }
        match bar % 4 {
            _ if last => {
                self.roll(bar, at, 2.0, 0);
                self.note(bar, at + 2.0, 2.0, 0);
                self.stop(bar, "final", 2.0);
            }
            0 if self.wish.dense => {
                for beat in 0..4 {
                    self.figure(bar, at + f64::from(beat), 4, "sixteenths", true, drums);
                }
            }
            0 => {
                for beat in 0..4 {
                    self.note(
                        bar,
                        at + f64::from(beat),
                        1.0,
                        (bar / 4 + beat as usize) % drums,
                    );
                }
                let first = self.notes.len() - 4;
                let contrast = 4.0 + 3.0 * self.noise.next() - self.wish.faults * 2.0;
                self.accents.push(Accent {
                    note: first,
                    bar: bar as i32 + 1,
                    contrast_db: Some(contrast),
                    contrast_sd_db: Some(0.8),
                });
            }
            1 => {
                self.figure(bar, at, 3, "triplet-eighths", true, drums);
                self.figure(bar, at + 1.0, 3, "triplet-eighths", true, drums);
                self.note(bar, at + 2.0, 1.0, 0);
                self.note(bar, at + 3.0, 0.5, drums - 1);
                self.stop(bar, "staccato", 0.5);
            }
            2 => {
                self.figure(bar, at, 4, "sixteenths", true, drums);
                let (parts, kind) = if self.wish.dense {
                    (4, "sixteenths")
                } else {
                    (2, "eighths")
                };
                self.figure(bar, at + 1.0, parts, kind, true, drums);
                self.note(bar, at + 2.0, 1.0, 1 % drums);
                self.stop(bar, "rest", 1.0);
            }
            _ => {
                self.roll(bar, at, 2.0, drums - 1);
                self.figure(bar, at + 2.0, 4, "sixteenths", false, drums);
            }
        }
    }

    fn figure(
        &mut self,
        bar: usize,
        at: f64,
        parts: usize,
        kind: &str,
        closed: bool,
        drums: usize,
    ) {
        let first = self.notes.len();
        for k in 0..parts {
            let place = at + k as f64 / parts as f64;
            self.note(bar, place, 1.0 / parts as f64, (bar + k) % drums);
            if k == 1 && parts == 3 {
                // The usual fault: the middle of a triplet comes early.
                let shift = -22.0 * self.wish.faults;
                let note = self.notes.last_mut().unwrap();
                if let (Some(ms), Some(i)) = (note.deviation_ms, note.stroke) {
                    note.deviation_ms = Some(ms + shift);
                    self.strokes[i].time_s += shift / 1000.0;
                }
            }
        }
        let mut times: Vec<Option<f64>> = self.notes[first..]
            .iter()
            .map(|n| Some(self.strokes[n.stroke?].time_s))
            .collect();
        if closed {
            let next = self.time(at + 1.0) + 0.004 * self.noise.next();
            times.push(Some(next));
        }
        let whole: Option<Vec<f64>> = times.into_iter().collect();
        let gaps: Vec<f64> = whole
            .iter()
            .flat_map(|t| t.windows(2).map(|w| (w[1] - w[0]) * 1000.0))
            .collect();
        let mean = gaps.iter().sum::<f64>() / gaps.len().max(1) as f64;
        let square =
            gaps.iter().map(|g| (g - mean).powi(2)).sum::<f64>() / gaps.len().max(1) as f64;
        let known = !gaps.is_empty();
        let ms = square.sqrt();
        let limit = 2.0 * (0.025 * mean).max(6.0);
        let worst = gaps.iter().map(|g| (g - mean).abs()).fold(0.0, f64::max);
        let clean = match worst {
            w if w < limit - 3.0 => Some(true),
            w if w > limit + 3.0 => Some(false),
            _ => None,
        };
        self.figures.push(Figure {
            bar: bar as i32 + 1,
            beat: at - bar as f64 * 4.0 + 1.0,
            kind: kind.into(),
            notes: (first..first + parts).collect(),
            shares: gaps.iter().map(|g| g / mean / gaps.len() as f64).collect(),
            interval_ms: known.then_some(mean),
            unevenness_ms: known.then_some(ms),
            unevenness_sd_ms: known.then_some(1.4),
            unevenness_pct: known.then_some(ms / mean * 100.0),
            clean: clean.filter(|_| known),
        });
    }

    fn note(&mut self, bar: usize, at: f64, length: f64, drum: usize) {
        let outcome = match () {
            () if self.noise.chance(0.02 * self.wish.faults) => Outcome::Missed,
            () if self.noise.chance(0.02 * self.wish.faults) => Outcome::OtherDrum,
            () if self.noise.chance(0.02 * self.wish.faults) => Outcome::Unsure,
            () => Outcome::Played,
        };
        let expected = self.time(at);
        let index = self.notes.len();
        let mut deviation = None;
        let mut stroke = None;
        if matches!(outcome, Outcome::Played | Outcome::OtherDrum) {
            let ms = self.noise.next() * (3.0 + 18.0 * self.wish.faults);
            deviation = Some(ms);
            stroke = Some(self.strokes.len());
            let other = (drum + 1) % self.pitches.len();
            let struck = if outcome == Outcome::OtherDrum {
                other
            } else {
                drum
            };
            self.stroke(expected + ms / 1000.0, struck, Some(index), false);
        }
        self.notes.push(NoteFacts {
            index,
            bar: bar as i32 + 1,
            beat: at - bar as f64 * 4.0 + 1.0,
            at,
            length,
            pitch: self.pitches[drum],
            drum: drum as u8 + 1,
            roll: false,
            outcome,
            stroke,
            deviation_ms: deviation,
            deviation_sd_ms: deviation.map(|_| 1.2),
            expected_s: Some(expected),
            click_deviation_ms: None,
            click_deviation_sd_ms: None,
        });
    }

    fn stroke(&mut self, time_s: f64, drum: usize, note: Option<usize>, in_roll: bool) {
        let phrase = ((time_s / 9.0).sin() + 1.0) * -9.0;
        let level = (phrase - 2.0 + 2.5 * self.noise.next()).min(0.0);
        let off = self.cents(drum) + 4.0 * self.noise.next();
        self.strokes.push(StrokeFacts {
            time_s,
            time_sd_ms: 1.2,
            level_db: level,
            level_sd_db: 0.5,
            drum: Some(drum as u8 + 1),
            hz: Some(self.pitches[drum].hz(440.0) * 2f64.powf(off / 1200.0)),
            cents: Some(off),
            cents_sd: Some(4.0),
            in_roll,
            note,
        });
    }

    pub fn cents(&self, drum: usize) -> f64 {
        [-4.0, 14.0, -31.0, 6.0][drum % 4] * (0.3 + self.wish.faults)
    }

    fn roll(&mut self, bar: usize, at: f64, length: f64, drum: usize) {
        self.note(bar, at, length, drum);
        let note = self.notes.len() - 1;
        self.notes[note].roll = true;
        let (from, to) = (self.time(at), self.time(at + length));
        let mut t = from + 0.085;
        while t < to - 0.05 {
            self.stroke(t, drum, Some(note), true);
            t += 0.085 + 0.006 * self.wish.faults * self.noise.next();
        }
        let curve: Vec<f64> = (0..24)
            .map(|k| -16.0 + 9.0 * f64::from(k) / 23.0 + 1.2 * self.noise.next())
            .collect();
        self.rolls.push(Roll {
            note,
            bar: bar as i32 + 1,
            from_s: from,
            to_s: to,
            strokes_per_s: Some(11.7 + self.noise.next()),
            strokes_per_s_sd: Some(0.4),
            unevenness_pct: Some(3.0 + 6.0 * self.wish.faults),
            unevenness_sd_pct: Some(1.1),
            level_curve_db: curve,
            start_accent_db: Some(2.4),
            start_accent_sd_db: Some(0.9),
            end_accent_db: (bar % 8 != 3).then_some(-1.2),
            end_accent_sd_db: (bar % 8 != 3).then_some(0.8),
            gap_ms: Some(35.0 + 40.0 * self.wish.faults),
            gap_sd_ms: Some(4.0),
        });
    }

    /// The last note is to be stopped.
    fn stop(&mut self, bar: usize, expected: &str, length: f64) {
        let Some(note) = self.notes.last() else {
            return;
        };
        let (index, drum) = (note.index, note.drum);
        let written_ms = length * 60_000.0 / self.wish.bpm;
        let late = 18.0 + 150.0 * self.wish.faults * self.noise.next().abs();
        let state = match () {
            () if self.noise.chance(0.25 * self.wish.faults) => StopState::Ringing,
            () if self.noise.chance(0.2 * self.wish.faults) => StopState::Unsure,
            () => StopState::Stopped,
        };
        let stopped = state == StopState::Stopped;
        let after = written_ms + late;
        let hop = 0.02;
        let curve = (0..125)
            .map(|k| {
                let ms = f64::from(k) * hop * 1000.0;
                let free = -ms / 1000.0 * 9.0;
                let fall = if stopped {
                    -(ms - after).max(0.0) * 0.12
                } else {
                    0.0
                };
                (free + fall).max(-46.0) + 0.4 * self.noise.next()
            })
            .collect();
        self.stops.push(Stop {
            note: index,
            bar: bar as i32 + 1,
            drum,
            expected: expected.into(),
            state,
            written_end_ms: Some(after - late),
            stopped_after_ms: stopped.then_some(after),
            stopped_after_sd_ms: stopped.then_some(12.0),
            late_ms: stopped.then_some(late),
            ring_db_500ms: (state != StopState::Unsure).then_some(if stopped {
                -33.0
            } else {
                -9.0
            }),
            curve_db: curve,
            curve_hop_s: hop,
        });
    }
}
