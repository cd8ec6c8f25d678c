//! A made take whose strokes and notes are known: what measuring would be
//! given if hearing and matching made no mistakes beyond a small error of
//! time.

use kettlemark::align::{Alignment, Match, Outcome, Passage, Pulse};
use kettlemark::listen::{Candidate, Heard, LowBand, Stroke, Tone};
use kettlemark::take::{Fitness, TakeInfo};
use kettlemark_test_support::draw::Draw;
use kettlemark_test_support::takes::MadeTake;
use kettlemark_test_support::truth::Fate;

/// Error of the contact times handed on, seconds.
pub const TIME_SD_S: f64 = 0.001;
/// Error of the tones handed on, cents.
pub const TONE_SD_CENTS: f64 = 4.0;

pub struct Known {
    pub heard: Heard,
    pub alignment: Alignment,
    pub strokes: Vec<Stroke>,
}

/// What a made take holds, by its truth.
pub fn known(take: &MadeTake, seed: u64) -> Known {
    let mut draw = Draw::new(seed, 77);
    let loudest = take
        .truth
        .strokes
        .iter()
        .map(|s| s.level_db)
        .fold(f64::NEG_INFINITY, f64::max);
    let a4 = 440.0;
    let settings = take.part.settings();
    let mut candidates = Vec::new();
    let mut strokes = Vec::new();
    for (i, truth) in take.truth.strokes.iter().enumerate() {
        let time_s = truth.time_s + TIME_SD_S * draw.normal();
        candidates.push(Candidate {
            time_s,
            time_sd_s: TIME_SD_S,
            log_odds: 6.0,
            level_db: truth.level_db - 10.0,
        });
        let cents = take.truth.settings[truth.setting].cents + TONE_SD_CENTS * draw.normal();
        strokes.push(Stroke {
            candidate: i,
            time_s,
            time_sd_s: TIME_SD_S,
            level_db: truth.level_db - loudest + 0.3 * draw.normal(),
            level_sd_db: 0.3,
            setting: Some(truth.setting),
            tone: Some(Tone {
                hz: settings[truth.setting].pitch.hz(a4) * (cents / 1200.0).exp2(),
                cents,
                cents_sd: TONE_SD_CENTS,
                glide_cents: None,
            }),
            in_roll: truth.in_roll,
            note: truth.note,
        });
    }
    Known {
        alignment: alignment(take, &strokes),
        heard: Heard {
            take: TakeInfo {
                file: "take.wav".to_owned(),
                duration_s: take.samples.len() as f64 / f64::from(take.rate_hz),
                sample_rate_hz: take.rate_hz,
                channels: 1,
                start_offset_known: true,
                fitness: Fitness {
                    peak_db: Some(-3.0),
                    noise_floor_db: Some(-70.0),
                    ..Fitness::default()
                },
                ..TakeInfo::default()
            },
            candidates,
            low: std::sync::Arc::new(low_band(&take.samples, take.rate_hz)),
            ..Heard::default()
        },
        strokes,
    }
}

fn alignment(take: &MadeTake, strokes: &[Stroke]) -> Alignment {
    let matches = take
        .truth
        .notes
        .iter()
        .enumerate()
        .map(|(note, truth)| {
            let own: Vec<usize> = take
                .truth
                .strokes
                .iter()
                .enumerate()
                .filter(|(_, s)| s.note == Some(note) && !s.grace)
                .map(|(i, _)| i)
                .collect();
            Match {
                outcome: match truth.fate {
                    Fate::Played => Outcome::Played,
                    Fate::Missed => Outcome::Missed,
                    Fate::OtherDrum => Outcome::OtherDrum,
                    Fate::NotReached => Outcome::NotReached,
                },
                stroke: own.first().copied(),
                further: own.get(1..).unwrap_or(&[]).to_vec(),
                setting: truth.setting,
                log_ratio: 9.0,
            }
        })
        .collect();
    Alignment {
        passages: vec![Passage {
            from_s: strokes.first().map_or(0.0, |s| s.time_s),
            to_s: strokes.last().map_or(0.0, |s| s.time_s),
            notes: (0, take.part.notes.len() - 1),
            matches,
            pulse: Pulse {
                knots: take.truth.tempo.clone(),
                sd_s: 0.002,
            },
        }],
        counted: Some(0),
        same_piece: 0.99,
        few: false,
        unheard_drums: Vec::new(),
        elsewhere: 0.0,
        extras: Vec::new(),
    }
}

/// The take below 900 Hz, at 2 kHz.
fn low_band(samples: &[f32], rate_hz: u32) -> LowBand {
    const RATE_HZ: u32 = 2000;
    let factor = (rate_hz / RATE_HZ) as usize;
    let half = 12 * factor as i64;
    let cut = 900.0 / f64::from(rate_hz);
    let mut taps: Vec<f64> = (-half..=half)
        .map(|k| {
            let x = k as f64;
            let turn = std::f64::consts::TAU * cut * x;
            let sinc = if k == 0 {
                2.0 * cut
            } else {
                turn.sin() / (std::f64::consts::PI * x)
            };
            sinc * (0.5 + 0.5 * (std::f64::consts::PI * x / (half + 1) as f64).cos())
        })
        .collect();
    let sum: f64 = taps.iter().sum();
    taps.iter_mut().for_each(|t| *t /= sum);
    let low = (0..samples.len().div_ceil(factor))
        .map(|i| {
            let centre = (i * factor) as i64;
            taps.iter()
                .zip(centre - half..)
                .filter_map(|(t, at)| Some(t * f64::from(*samples.get(usize::try_from(at).ok()?)?)))
                .sum::<f64>() as f32
        })
        .collect();
    LowBand {
        rate_hz: f64::from(RATE_HZ),
        samples: low,
    }
}
