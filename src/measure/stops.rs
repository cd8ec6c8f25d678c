//! Stops: when a drum's own partials leave their free decay, or that they do
//! not.
//!
//! Looked at where the part asks for silence: at its end, before rests, on
//! staccato notes and where a stop is marked. From the contact to the next
//! stroke the envelopes of the partials at 1, 1.5 and 2 times the measured
//! principal tone are fitted together by a straight decay in dB with one
//! common knee.

use super::decay::{self, Knee, Trace};
use super::partials;
use super::scene::Scene;
use super::stats;
use crate::part::{Damp, Quarters, quarters_f64};
use crate::review::{Stop, StopState};
use num_rational::Ratio;

/// Partials looked at, as ratios to the principal tone: (1,1), (2,1), (3,1)
/// of 24 recorded strokes.
const RATIOS: [f64; 3] = [1.0, 1.505, 1.99];
/// Seconds between frames.
const HOP_S: f64 = 0.01;
/// The attack, whose other modes die quickly, s.
const SETTLE_S: f64 = 0.05;
/// How long after the end of the written value a stop is still looked for, s.
const LOOK_S: f64 = 1.5;
/// Longest stretch looked at after one contact, s.
const LONGEST_S: f64 = 6.0;
/// A rest shorter than this is no wish to stop, quarter notes and seconds.
const LEAST_REST_QUARTERS: i64 = 1;
const LEAST_REST_S: f64 = 0.45;
/// Slopes, dB per second: free decay where nothing is known of the drum, its
/// uncertainty, and the least that a stop adds to it.
const FREE_DB_PER_S: f64 = 15.0;
const FREE_SD_DB_PER_S: f64 = 7.0;
const LEAST_BEND_DB_PER_S: f64 = 14.0;
/// How far below its free decay a stopped drum must end, dB.
const LEAST_DROP_DB: f64 = 9.0;
/// Least share of the squares that the knee explains.
const LEAST_GAIN: f64 = 0.5;
/// A drum that stays within this of its free decay rings on, dB.
const RINGING_DB: f64 = 5.0;
/// How long past the written end it must be seen to ring, s.
const SEEN_RINGING_S: f64 = 0.35;
/// Partials weaker than this above the noise say nothing, dB.
const LEAST_ABOVE_NOISE_DB: f64 = 12.0;
/// Frames closer to the noise than this are left out, dB.
const NOISE_MARGIN_DB: f64 = 6.0;

/// Where a stop is expected.
struct Expected {
    note: usize,
    why: &'static str,
}

/// Every stop that the counted passage asks for. `tones_hz` is the measured
/// principal tone of every place in `Part::settings`.
pub fn stops(scene: &Scene, tones_hz: &[Option<f64>]) -> Vec<Stop> {
    if scene.heard.low.samples.is_empty() || scene.heard.low.rate_hz <= 0.0 {
        return Vec::new();
    }
    expected(scene)
        .iter()
        .filter_map(|e| stop(scene, e, tones_hz))
        .collect()
}

fn expected(scene: &Scene) -> Vec<Expected> {
    let notes = &scene.part.notes;
    let Some(last_end) = notes.iter().map(|n| n.at + n.length).max() else {
        return Vec::new();
    };
    let last_at = notes.iter().map(|n| n.at).max();
    let mut found = Vec::new();
    for (i, note) in notes.iter().enumerate() {
        if note.damp == Some(Damp::LetRing) || scene.played(i).is_none() {
            continue;
        }
        let end = note.at + note.length;
        let next = notes.iter().map(|n| n.at).filter(|&a| a > note.at).min();
        let why = if note.damp == Some(Damp::Stop) {
            "marked"
        } else if Some(note.at) == last_at || end == last_end {
            "final"
        } else if note.staccato {
            "staccato"
        } else if next.is_some_and(|n| long_rest(scene, end, n)) {
            "rest"
        } else {
            continue;
        };
        found.push(Expected { note: i, why });
    }
    found
}

fn long_rest(scene: &Scene, end: Quarters, next: Quarters) -> bool {
    if next - end < Ratio::from_integer(LEAST_REST_QUARTERS) {
        return false;
    }
    let times = scene.pulse().and_then(|p| {
        p.time_s(quarters_f64(end))
            .zip(p.time_s(quarters_f64(next)))
    });
    times.is_some_and(|(a, b)| b - a >= LEAST_REST_S)
}

fn stop(scene: &Scene, expected: &Expected, tones_hz: &[Option<f64>]) -> Option<Stop> {
    let note = &scene.part.notes[expected.note];
    let first = scene.played(expected.note)?;
    let contact_s = if note.roll {
        scene
            .roll_strokes(expected.note)
            .last()
            .map_or(first.time_s, |&i| scene.strokes[i].time_s)
    } else {
        first.time_s
    };
    let end_s = scene
        .pulse()
        .and_then(|p| p.time_s(quarters_f64(note.at + note.length)))?
        .max(contact_s);
    let mut facts = Stop {
        note: expected.note,
        bar: scene.note_bar(expected.note),
        drum: note.drum,
        expected: expected.why.to_owned(),
        state: StopState::Unsure,
        stopped_after_ms: None,
        stopped_after_sd_ms: None,
        late_ms: None,
        ring_db_500ms: None,
        curve_db: Vec::new(),
        curve_hop_s: 2.0 * HOP_S,
    };
    let place = scene.note_tunings[expected.note]?;
    let written_hz = scene.tunings[place].pitch.hz(scene.settings.a4_hz);
    let hz = tones_hz.get(place).copied().flatten().unwrap_or(written_hz);
    let until_s = window_end(scene, contact_s, end_s);
    let view = View::new(scene, hz, contact_s, until_s);
    facts.ring_db_500ms = view.level_at(end_s + 0.5);
    facts.curve_db = view.curve();
    if scene.gap_within(contact_s, until_s) {
        return Some(facts);
    }
    let free_end = scene.fermata_within(note.at, note.at + note.length);
    if let Some(knee) = view.knee() {
        facts.state = view.state(&knee, end_s);
        if facts.state == StopState::Stopped {
            let after_s = SETTLE_S + knee.at * HOP_S;
            facts.stopped_after_ms = Some(after_s * 1000.0);
            facts.stopped_after_sd_ms = Some((knee.half_width * HOP_S * 1000.0).max(8.0));
            facts.late_ms = (!free_end).then_some((contact_s + after_s - end_s) * 1000.0);
        }
    }
    Some(facts)
}

/// Up to where one contact can be followed: the next stroke of any drum, the
/// end of the take, or long after the written end.
fn window_end(scene: &Scene, contact_s: f64, end_s: f64) -> f64 {
    let next = scene
        .strokes
        .iter()
        .map(|s| s.time_s)
        .find(|&t| t > contact_s + 0.03)
        .unwrap_or(f64::INFINITY);
    let low = &scene.heard.low;
    let take = low.samples.len() as f64 / low.rate_hz;
    (next - 0.5 * partials::WINDOW_S)
        .min(take - 0.5 * partials::WINDOW_S)
        .min(end_s + LOOK_S)
        .min(contact_s + LONGEST_S)
}

/// The partials after one contact.
struct View {
    contact_s: f64,
    /// Power of each partial from the contact on.
    powers: Vec<Vec<f64>>,
    /// Of each partial, before the take's own noise is known: the power just
    /// before the contact and the quietest power of the take there.
    floors: Vec<f64>,
}

impl View {
    fn new(scene: &Scene, hz: f64, contact_s: f64, until_s: f64) -> Self {
        let low = &scene.heard.low;
        let count = (((until_s - contact_s) / HOP_S).floor().max(0.0)) as usize + 1;
        let powers = RATIOS
            .iter()
            .map(|r| partials::envelope(low, r * hz, contact_s, HOP_S, count))
            .collect();
        let floors = RATIOS.iter().map(|r| quietest(scene, r * hz)).collect();
        Self {
            contact_s,
            powers,
            floors,
        }
    }

    /// Power of all partials at a frame.
    fn sum(&self, frame: usize) -> Option<f64> {
        self.powers
            .iter()
            .map(|p| p.get(frame).copied())
            .sum::<Option<f64>>()
    }

    /// The loudest power of the stroke itself.
    fn stroke(&self) -> Option<f64> {
        let frames = (0.2 / HOP_S) as usize;
        (0..=frames)
            .filter_map(|k| self.sum(k))
            .max_by(f64::total_cmp)
            .filter(|p| *p > 0.0)
    }

    /// Level at a time, dB re the stroke; `None` beyond the window.
    fn level_at(&self, time_s: f64) -> Option<f64> {
        let frame = ((time_s - self.contact_s) / HOP_S).round().max(0.0) as usize;
        let power = self.sum(frame)?.max(1e-14);
        Some(10.0 * (power / self.stroke()?).log10())
    }

    fn curve(&self) -> Vec<f64> {
        let Some(stroke) = self.stroke() else {
            return Vec::new();
        };
        (0..self.powers[0].len())
            .step_by(2)
            .filter_map(|k| self.sum(k))
            .map(|p| 10.0 * (p.max(1e-14) / stroke).log10())
            .collect()
    }

    fn traces(&self) -> Vec<Trace> {
        let settle = (SETTLE_S / HOP_S).round() as usize;
        self.powers
            .iter()
            .zip(&self.floors)
            .filter_map(|(power, floor)| {
                let tail = power.get(settle..)?;
                let floor_db = 10.0 * floor.max(1e-14).log10();
                let db: Vec<f64> = tail.iter().map(|p| 10.0 * p.max(1e-14).log10()).collect();
                let start = *db.first()?;
                if start - floor_db < LEAST_ABOVE_NOISE_DB {
                    return None;
                }
                let usable = db
                    .iter()
                    .position(|v| *v < floor_db + NOISE_MARGIN_DB)
                    .unwrap_or(db.len());
                Some(Trace {
                    usable,
                    free: (FREE_DB_PER_S * HOP_S, FREE_SD_DB_PER_S * HOP_S),
                    weight: 1.0,
                    db,
                })
            })
            .collect()
    }

    fn knee(&self) -> Option<Knee> {
        let traces = self.traces();
        let longest = traces.iter().map(|t| t.usable).max()?;
        decay::knee(&traces, 0, longest.checked_sub(4)?)
    }

    fn state(&self, knee: &Knee, end_s: f64) -> StopState {
        let bend = (knee.after - knee.before) / HOP_S;
        let gain = 1.0 - knee.sse / knee.sse_line.max(1e-9);
        let seen = self.contact_s + HOP_S * self.powers[0].len() as f64 - end_s;
        if knee.drop_db >= LEAST_DROP_DB
            && bend >= LEAST_BEND_DB_PER_S
            && gain >= LEAST_GAIN
            && knee.bending > 0.6
        {
            StopState::Stopped
        } else if knee.drop_db < RINGING_DB && seen >= SEEN_RINGING_S {
            StopState::Ringing
        } else {
            StopState::Unsure
        }
    }
}

/// The quietest power of the take around a frequency: the fifth percentile of
/// looks all over the take.
fn quietest(scene: &Scene, hz: f64) -> f64 {
    const LOOKS: usize = 40;
    let low = &scene.heard.low;
    let length = low.samples.len() as f64 / low.rate_hz;
    let looks: Vec<f64> = (0..LOOKS)
        .flat_map(|k| {
            let at = (k as f64 + 0.5) / LOOKS as f64 * length;
            partials::envelope(low, hz, at, HOP_S, 1)
        })
        .filter(|p| *p > 0.0)
        .collect();
    stats::quantile(&looks, 0.05).unwrap_or(1e-14)
}
