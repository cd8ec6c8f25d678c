//! Strokes laid down by hand: a part, and a take of it with every stroke where
//! the test wants it.

use kettlemark::align::{Alignment, Match, Outcome, Passage, Pulse};
use kettlemark::listen::{Candidate, Heard, Stroke, Tone};
use kettlemark::measure;
use kettlemark::part::{
    Bar, Drum, Dynamic, LevelMark, Note, Part, Quarters, TempoMark, quarters_f64,
};
use kettlemark::pitch::Pitch;
use kettlemark::review::Review;
use kettlemark::settings::Settings;
use kettlemark::take::{Fitness, TakeInfo};

pub fn q(top: i64, bottom: i64) -> Quarters {
    Quarters::new(top, bottom)
}

pub fn pitch(name: &str) -> Pitch {
    name.parse().unwrap()
}

/// A part of empty 4/4 bars for two drums, F2 and Bb2, at a tempo.
pub fn part(bars: usize, bpm: f64) -> Part {
    Part {
        title: "Lantern Procession".to_owned(),
        bars: (0..bars)
            .map(|i| Bar {
                number: i as i32 + 1,
                at: q(4 * i as i64, 1),
                length: q(4, 1),
                meter: (4, 4),
                rehearsal: None,
            })
            .collect(),
        tempi: vec![TempoMark {
            at: q(0, 1),
            quarter_bpm: Some(bpm),
            gradual: false,
            text: None,
        }],
        drums: vec![
            Drum {
                number: 1,
                size_in: Some(29.0),
                pitch: pitch("F2"),
            },
            Drum {
                number: 2,
                size_in: Some(26.0),
                pitch: pitch("Bb2"),
            },
        ],
        ..Part::default()
    }
}

/// Adds a note to the end of a part.
pub fn note(part: &mut Part, at: Quarters, length: Quarters, drum: u8) -> &mut Note {
    let dynamic = part.marks.iter().rfind(|m| m.at <= at).map(|m| m.mark);
    part.notes.push(Note {
        bar: part.bars.partition_point(|b| b.at <= at) - 1,
        at,
        length,
        pitch: part.drums[usize::from(drum) - 1].pitch,
        drum,
        roll: false,
        flam: false,
        accent: false,
        staccato: false,
        tenuto: false,
        dynamic,
        hand: None,
        damp: None,
    });
    part.notes.last_mut().unwrap()
}

/// Adds notes of one value without a break.
pub fn run(part: &mut Part, at: Quarters, value: Quarters, count: i64, drum: u8) {
    for k in 0..count {
        note(part, at + value * q(k, 1), value, drum);
    }
}

pub fn mark(part: &mut Part, at: Quarters, mark: Dynamic) {
    part.marks.push(LevelMark { at, mark });
}

/// A take of a part.
pub struct Laid {
    pub part: Part,
    pub heard: Heard,
    pub alignment: Alignment,
    pub strokes: Vec<Stroke>,
    pub settings: Settings,
}

impl Laid {
    /// Every note exactly where the marked tempo puts it, from 1 s on, all at
    /// -10 dB and in tune, times known to `sd_ms`.
    pub fn new(part: Part, sd_ms: f64) -> Self {
        let beat_s = 60.0 / part.tempi[0].quarter_bpm.unwrap();
        let time = |at: Quarters| 1.0 + quarters_f64(at) * beat_s;
        let places = part.note_settings();
        let mut laid = Self {
            heard: Heard {
                take: TakeInfo {
                    file: "take.wav".to_owned(),
                    duration_s: 600.0,
                    sample_rate_hz: 48_000,
                    channels: 1,
                    codec: "pcm-s16".to_owned(),
                    start_offset_known: true,
                    fitness: Fitness {
                        peak_db: Some(-3.0),
                        noise_floor_db: Some(-70.0),
                        ..Fitness::default()
                    },
                    ..TakeInfo::default()
                },
                ..Heard::default()
            },
            alignment: Alignment::default(),
            strokes: Vec::new(),
            settings: Settings::default(),
            part,
        };
        let mut matches = Vec::new();
        for (i, note) in laid.part.notes.iter().enumerate() {
            laid.heard.candidates.push(Candidate {
                time_s: time(note.at),
                time_sd_s: sd_ms / 1000.0,
                log_odds: 6.0,
                level_db: -20.0,
            });
            laid.strokes.push(Stroke {
                candidate: i,
                time_s: time(note.at),
                time_sd_s: sd_ms / 1000.0,
                level_db: -10.0,
                level_sd_db: 0.2,
                setting: places[i],
                tone: Some(Tone {
                    hz: note.pitch.hz(440.0),
                    cents: 0.0,
                    cents_sd: 3.0,
                    glide_cents: None,
                }),
                in_roll: false,
                note: Some(i),
            });
            matches.push(Match {
                outcome: Outcome::Played,
                stroke: Some(i),
                further: Vec::new(),
                setting: places[i],
                log_ratio: 9.0,
            });
        }
        let end = laid.part.bars.last().map_or(q(0, 1), |b| b.at + b.length);
        laid.alignment = Alignment {
            passages: vec![Passage {
                from_s: laid.strokes.first().map_or(0.0, |s| s.time_s),
                to_s: laid.strokes.last().map_or(0.0, |s| s.time_s),
                notes: (0, laid.part.notes.len().saturating_sub(1)),
                matches,
                pulse: Pulse {
                    knots: vec![(0.0, 1.0), (quarters_f64(end), time(end))],
                    sd_s: 0.0,
                },
            }],
            counted: Some(0),
            same_piece: 0.99,
            few: false,
            unheard_drums: Vec::new(),
            elsewhere: 0.0,
            extras: Vec::new(),
        };
        laid
    }

    /// Moves the stroke of a note.
    pub fn shift(&mut self, note: usize, ms: f64) {
        self.strokes[note].time_s += ms / 1000.0;
    }

    /// Takes a note away.
    pub fn miss(&mut self, note: usize) {
        let found = &mut self.alignment.passages[0].matches[note];
        found.outcome = Outcome::Missed;
        found.stroke = None;
    }

    pub fn review(&self) -> Review {
        measure::assemble(
            &self.heard,
            &self.part,
            &self.alignment,
            &self.strokes,
            &self.settings,
        )
    }
}
