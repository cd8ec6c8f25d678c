//! Stops: when a drum's own partials leave their free decay, or that they do
//! not.
//!
//! Looked at where the part asks for silence: at its end, before rests, on
//! staccato notes and where a stop is marked. From the contact to the next
//! stroke the envelopes of the drum's own partials, at fixed ratios to its
//! measured principal tone, are fitted together by a decay with one common
//! knee ([`super::decay`]). Twice: the first round shows how fast sound dies
//! in this room once a drum is stopped, the second uses that.
//!
//! Two questions are asked: was the drum stopped where that was asked for, and
//! when. The first is answered "stopped" only where the moment lies, one
//! standard uncertainty to either side, inside the time in which a stop is
//! looked for; the second only where the moment is surer than `VAGUE_S`.
//!
//! Drums a fourth or a fifth apart share partials, and one that still rings can
//! look as if the other did. Ringing on, and a stop well before the end, are
//! told only where the partials that are this drum's alone say so too.

use super::decay::{self, Knee, Slopes, Trace};
use super::partials;
use super::scene::Scene;
use super::{AGAINST_SDS, FOR_SDS};
use crate::listen::{LowBand, Stroke};
use crate::part::{Damp, quarters_f64};
use crate::review::{Stop, StopState};
use crate::stats::{self, Estimate};
use num_rational::Ratio;
use std::collections::{BTreeMap, BTreeSet};

/// Partials looked at, as ratios to the principal tone: (1,1) to (5,1),
/// medians of 24 recorded strokes.
const RATIOS: [f64; 5] = [1.0, 1.505, 1.99, 2.45, 2.94];
/// Seconds between frames.
const HOP_S: f64 = 0.01;
/// The attack, s: its other modes die quickly, and a room needs up to some
/// 200 ms to fill.
const SETTLE_S: f64 = 0.05;
const FILL_S: f64 = 0.2;
/// How long after the end of the written value a stop is still looked for, s.
const LOOK_S: f64 = 1.5;
/// Longest stretch looked at after one contact, s.
const LONGEST_S: f64 = 6.0;
/// A rest shorter than this is no wish to stop, quarter notes.
const LEAST_REST_QUARTERS: i64 = 1;
/// Free decay, dB per second, and how far drums differ (fitted to made takes).
const FREE_DB_PER_S: Estimate = Estimate {
    value: 18.0,
    sd: 5.0,
};
/// How far partials differ from the room's own decay, dB per second.
const AFTER_SD_DB_PER_S: f64 = 10.0;
/// Above this the room is dry: the envelope need not be smoothed, dB/s.
const DRY_DB_PER_S: f64 = 90.0;
/// Frames over which the envelope is smoothed in a live room, whose echoes
/// make it flicker.
const SMOOTH: usize = 7;
/// Fewest sure stops that show how fast the room dies, and how sure.
const ROOM_STOPS: usize = 3;
const ROOM_LOG_RATIO: f64 = 8.0;

/// A stop: least slope after the knee and least change of slope, dB/s, least
/// depth below the free decay, dB, least log ratio against no knee. T60 = 2 s
/// is 30 dB/s.
const LEAST_AFTER_DB_PER_S: f64 = 30.0;
const LEAST_BEND_DB_PER_S: f64 = 12.0;
const LEAST_DROP_DB: f64 = 6.0;
const LEAST_LOG_RATIO: f64 = 4.0;
/// Least share of the room's own decay after the knee of a stop, and the most
/// of what rings on: a stopped drum dies away with the room, and slower where
/// others ring along.
const LEAST_ROOM_SHARE: f64 = 0.4;
/// A knee this long before the written end is no stop anybody asked for, and
/// one this long after it, unless steep, may be a recording's fade, s.
const EARLIEST_S: f64 = 0.3;
const LATEST_S: f64 = 0.8;
/// Ringing on: seen for so long past the written end, s, no steeper in all
/// than this, dB/s, and no deeper below the free decay, dB. Only where other
/// stops of the take have shown that the room dies faster: in one that rings as
/// long as a drum nobody can tell.
const SEEN_RINGING_S: f64 = 0.35;
const RINGING_DB_PER_S: f64 = 30.0;
const RINGING_AFTER_DB_PER_S: f64 = 28.0;
const RINGING_DROP_DB: f64 = 5.0;

/// Another drum struck within this long before may still ring, s.
const RINGS_S: f64 = 10.0;
/// Partials of two drums this near to each other are one in the window, Hz.
const SHARED_HZ: f64 = 20.0;
/// What rang of a shared partial before a stroke may go on after a stop, unless
/// it was so much softer, dB.
const LEAST_OVER_RING_DB: f64 = 15.0;
/// When it is looked at, s before the contact.
const RANG_S: [f64; 3] = [0.08, 0.06, 0.04];
/// Partials weaker than this above the noise say nothing, dB.
const LEAST_ABOVE_NOISE_DB: f64 = 12.0;
/// Frames closer to the noise than this are left out, dB.
const NOISE_MARGIN_DB: f64 = 6.0;
/// Silence, dB.
const NOTHING: f64 = 1e-14;
/// A stop this much after the written end is late, ms (common practice, no
/// source).
pub const LATE_MS: f64 = 150.0;
/// A moment less sure than this is not told, s. Nobody could then be called in
/// time, not even who stops at the very end of the value, since that needs the
/// moment within [`LATE_MS`] by [`FOR_SDS`] uncertainties; some could still be
/// called late. What can only speak against the player is not told.
const VAGUE_S: f64 = LATE_MS / 1000.0 / FOR_SDS;
/// Least uncertainty of the time of a stop, s: a hand takes that long to close.
const FLOOR_S: f64 = 0.008;
/// How much wider true errors are than the likelihood of the knee says
/// (fitted to made takes).
const WIDEN: f64 = 1.4;

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
    let mut floors = BTreeMap::new();
    let views: Vec<View> = expected(scene)
        .into_iter()
        .filter_map(|e| View::new(scene, e, tones_hz, &mut floors))
        .collect();
    let room = room_decay(&views);
    views.iter().map(|v| stop(scene, v, room)).collect()
}

/// How fast sound dies once a drum is stopped, dB/s: the median of the sure
/// stops; `None` with too few.
fn room_decay(views: &[View]) -> Option<f64> {
    let found: Vec<f64> = views
        .iter()
        .filter_map(|v| v.knee(SMOOTH, None, false).map(|k| (v, k)))
        .filter(|(v, k)| {
            let moment = v.moment(k, SMOOTH);
            k.log_ratio > ROOM_LOG_RATIO
                && stopped(k, None)
                && asked_for(moment, v.end_s, k.after / HOP_S)
        })
        .map(|(_, k)| k.after / HOP_S)
        .collect();
    if found.len() < ROOM_STOPS {
        return None;
    }
    stats::median(&found)
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
        } else if next.is_some_and(|n| n - end >= Ratio::from_integer(LEAST_REST_QUARTERS)) {
            "rest"
        } else {
            continue;
        };
        found.push(Expected { note: i, why });
    }
    found
}

fn stop(scene: &Scene, view: &View, room: Option<f64>) -> Stop {
    let note = &scene.part.notes[view.expected.note];
    // Under one the end is the player's own.
    let fermata = scene.fermata_within(note.at, note.at + note.length);
    let mut facts = Stop {
        note: view.expected.note,
        bar: scene.note_bar(view.expected.note),
        drum: note.drum,
        expected: view.expected.why.to_owned(),
        state: StopState::Unsure,
        written_end_ms: (!fermata).then_some((view.end_s - view.contact_s) * 1000.0),
        stopped_after_ms: None,
        stopped_after_sd_ms: None,
        late_ms: None,
        ring_db_500ms: view.level_at(view.end_s + 0.5),
        curve_db: view.curve(),
        curve_hop_s: CURVE_STEP as f64 * HOP_S,
    };
    let (smooth, known) = match room {
        Some(decay) if decay > DRY_DB_PER_S => (1, None),
        _ => (SMOOTH, room),
    };
    let knee = view.knee(smooth, known, false);
    let until_s = view.contact_s + HOP_S * view.powers[0].len() as f64;
    let Some(knee) = knee.filter(|_| !scene.gap_within(view.contact_s, until_s)) else {
        return facts;
    };
    let moment = view.moment(&knee, smooth);
    // What another drum does is not held against this one: neither that it rings
    // on, nor that it was stopped before.
    let alone = || view.knee(smooth, known, true);
    if stopped(&knee, room) && asked_for(moment, view.end_s, knee.after / HOP_S) {
        facts.state = StopState::Stopped;
        let early = moment.value + AGAINST_SDS * moment.sd < view.end_s;
        let agrees = |own: Knee| {
            let own = view.moment(&own, smooth);
            (own.value - moment.value).abs() < AGAINST_SDS * own.sd.hypot(moment.sd)
        };
        if moment.sd <= VAGUE_S && (!early || alone().is_some_and(agrees)) {
            facts.stopped_after_ms = Some((moment.value - view.contact_s) * 1000.0);
            facts.stopped_after_sd_ms = Some(moment.sd * 1000.0);
            facts.late_ms = (!fermata).then_some((moment.value - view.end_s) * 1000.0);
        }
    } else if let Some(room) = room
        && view.ringing(&knee, room)
        && alone().is_some_and(|own| view.ringing(&own, room))
    {
        facts.state = StopState::Ringing;
    }
    facts
}

/// Whether a drum died away as a stopped one does, at whatever moment. `room`:
/// its decay, dB/s.
fn stopped(knee: &Knee, room: Option<f64>) -> bool {
    let after = knee.after / HOP_S;
    after >= LEAST_AFTER_DB_PER_S
        && (knee.after - knee.before) / HOP_S >= LEAST_BEND_DB_PER_S
        && knee.drop_db >= LEAST_DROP_DB
        && knee.log_ratio >= LEAST_LOG_RATIO
        && room.is_none_or(|r| after >= LEAST_ROOM_SHARE * r)
}

/// Whether a drum that was stopped at a moment, s, was stopped where that was
/// asked for: see [`EARLIEST_S`] and [`LATEST_S`]. `after`: how fast it died
/// then, dB/s.
fn asked_for(moment: Estimate, end_s: f64, after: f64) -> bool {
    let late_s = moment.value - end_s;
    let reach_s = FOR_SDS * moment.sd;
    late_s - reach_s > -EARLIEST_S && (late_s + reach_s < LATEST_S || after > DRY_DB_PER_S)
}

/// By how much the time of a stop is less sure than the likelihood of the knee
/// says: a smoothed envelope has fewer frames of its own.
fn widen(smooth: usize) -> f64 {
    let together = decay::TOGETHER + (smooth - 1) as f64;
    WIDEN * (together / decay::TOGETHER).sqrt()
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

/// Frames from one value of the drawn curve to the next.
const CURVE_STEP: usize = 2;

/// The partials after one contact.
struct View {
    expected: Expected,
    /// Contact of the note, the last one of a roll.
    contact_s: f64,
    /// Where the written value ends.
    end_s: f64,
    /// Power of each partial from the last contact on.
    powers: Vec<Vec<f64>>,
    /// Which of them are this drum's alone.
    own: Vec<bool>,
    /// Of each partial, the quietest power of the take.
    floors: Vec<f64>,
}

impl View {
    /// `None` where the note was not played, or its drum or end are unknown.
    fn new(
        scene: &Scene,
        expected: Expected,
        tones_hz: &[Option<f64>],
        floors: &mut BTreeMap<usize, Vec<f64>>,
    ) -> Option<Self> {
        let note = &scene.part.notes[expected.note];
        let first_s = scene.played(expected.note)?.time_s;
        let contact_s = if note.roll {
            let last = scene.roll_strokes(expected.note).last();
            last.map_or(first_s, |&i| scene.strokes[i].time_s)
        } else {
            first_s
        };
        let end_s = scene
            .pulse()
            .and_then(|p| p.time_s(quarters_f64(note.at + note.length)))?
            .max(contact_s);
        let place = scene.note_tunings[expected.note]?;
        let written_hz = scene.tunings[place].pitch.hz(scene.settings.a4_hz);
        let hz = tones_hz.get(place).copied().flatten().unwrap_or(written_hz);
        let until_s = window_end(scene, contact_s, end_s);
        let count = ((until_s - contact_s) / HOP_S).floor().max(0.0) as usize + 1;
        let low = &scene.heard.low;
        let envelope = |r: &f64| partials::envelope(low, r * hz, contact_s, HOP_S, count);
        let powers: Vec<Vec<f64>> = RATIOS.iter().map(envelope).collect();
        let others_hz = others_hz(scene, tones_hz, place, contact_s);
        let own = RATIOS
            .iter()
            .zip(&powers)
            .map(|(r, power)| {
                let shared = others_hz.iter().any(|o| (o - r * hz).abs() < SHARED_HZ);
                !shared || over_ring(low, r * hz, first_s, power)
            })
            .collect();
        Some(Self {
            expected,
            contact_s,
            end_s,
            powers,
            own,
            floors: floors
                .entry(place)
                .or_insert_with(|| RATIOS.iter().map(|r| quietest(scene, r * hz)).collect())
                .clone(),
        })
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
        (0..=(FILL_S / HOP_S) as usize)
            .filter_map(|k| self.sum(k))
            .max_by(f64::total_cmp)
            .filter(|p| *p > NOTHING)
    }

    /// Level at a time, dB re the stroke; `None` beyond the window.
    fn level_at(&self, time_s: f64) -> Option<f64> {
        let frame = ((time_s - self.contact_s) / HOP_S).round().max(0.0) as usize;
        let power = self.sum(frame)?.max(NOTHING);
        Some(10.0 * (power / self.stroke()?).log10())
    }

    fn curve(&self) -> Vec<f64> {
        let Some(stroke) = self.stroke() else {
            return Vec::new();
        };
        (0..self.powers[0].len())
            .step_by(CURVE_STEP)
            .filter_map(|k| self.sum(k))
            .map(|p| 10.0 * (p.max(NOTHING) / stroke).log10())
            .collect()
    }

    /// Each partial from where it has risen to where it sinks into the noise;
    /// `alone`: only those that are this drum's alone.
    fn traces(&self, smooth: usize, alone: bool) -> Vec<Trace> {
        let partials = self.powers.iter().zip(&self.floors).zip(&self.own);
        partials
            .filter(|(_, own)| **own || !alone)
            .filter_map(|((power, floor), _)| trace(power, *floor, smooth))
            .collect()
    }

    /// `after`: the room's decay, dB/s.
    fn knee(&self, smooth: usize, after: Option<f64>, alone: bool) -> Option<Knee> {
        let slopes = Slopes {
            free: Estimate {
                value: FREE_DB_PER_S.value * HOP_S,
                sd: FREE_DB_PER_S.sd * HOP_S,
            },
            after: after.map(|value| Estimate {
                value: value * HOP_S,
                sd: AFTER_SD_DB_PER_S * HOP_S,
            }),
        };
        decay::knee(&self.traces(smooth, alone), &slopes)
    }

    /// When the knee was, s from the first sample.
    fn moment(&self, knee: &Knee, smooth: usize) -> Estimate {
        Estimate {
            value: self.contact_s + knee.at.value * HOP_S,
            sd: FLOOR_S.hypot(widen(smooth) * knee.at.sd * HOP_S),
        }
    }

    /// `room`: its decay, dB/s.
    fn ringing(&self, knee: &Knee, room: f64) -> bool {
        let seen_s = self.contact_s + knee.until as f64 * HOP_S - self.end_s;
        seen_s >= SEEN_RINGING_S
            && knee.slope / HOP_S < RINGING_DB_PER_S.min(LEAST_ROOM_SHARE * room)
            && (knee.drop_db < RINGING_DROP_DB || knee.after / HOP_S < RINGING_AFTER_DB_PER_S)
    }
}

fn trace(power: &[f64], floor: f64, smooth: usize) -> Option<Trace> {
    let settle = (SETTLE_S / HOP_S).round() as usize;
    if power.len() < settle + decay::SHORTEST {
        return None;
    }
    let to_db = |p: &f64| 10.0 * p.max(NOTHING).log10();
    let db: Vec<f64> = stats::moving_mean(power, smooth / 2)
        .iter()
        .map(to_db)
        .collect();
    let floor_db = to_db(&floor);
    let filled = (FILL_S / HOP_S).round() as usize;
    let last = filled.min((db.len() / 2).max(settle + 1));
    let steady = stats::moving_mean(&db, 2);
    let from = (settle..last).max_by(|&a, &b| steady[a].total_cmp(&steady[b]))?;
    if db[from] - floor_db < LEAST_ABOVE_NOISE_DB {
        return None;
    }
    let audible = db[from..]
        .iter()
        .take_while(|v| **v >= floor_db + NOISE_MARGIN_DB)
        .count();
    Some(Trace {
        from,
        db: db[from..from + audible].to_vec(),
    })
}

/// Partials of the drums, but the one at a place, that were struck not long
/// before a contact and may still ring, Hz.
fn others_hz(scene: &Scene, tones_hz: &[Option<f64>], place: usize, contact_s: f64) -> Vec<f64> {
    let recent = |s: &&Stroke| (contact_s - RINGS_S..contact_s).contains(&s.time_s);
    let struck = scene.strokes.iter().filter(recent);
    let places: BTreeSet<usize> = struck.filter_map(|s| s.setting).collect();
    let others = places.into_iter().filter(|&p| p != place);
    let tone_hz = |p: usize| {
        let written_hz = scene.tunings[p].pitch.hz(scene.settings.a4_hz);
        tones_hz.get(p).copied().flatten().unwrap_or(written_hz)
    };
    let partials = others.flat_map(|p| RATIOS.map(|r| r * tone_hz(p)));
    partials.collect()
}

/// Whether a stroke is so strong in a partial, given its powers after, that what
/// rang there before the first contact does not matter.
fn over_ring(low: &LowBand, hz: f64, first_s: f64, power: &[f64]) -> bool {
    let filled = power.iter().take((FILL_S / HOP_S) as usize);
    let after = filled.copied().fold(NOTHING, f64::max);
    let rang = RANG_S.map(|s| partials::envelope(low, hz, first_s - s, HOP_S, 1)[0]);
    let before = rang.into_iter().fold(NOTHING, f64::max);
    10.0 * (after / before).log10() >= LEAST_OVER_RING_DB
}

/// The quietest power of the take around a frequency: the fifth percentile of
/// looks all over the take.
fn quietest(scene: &Scene, hz: f64) -> f64 {
    const LOOKS: usize = 60;
    let low = &scene.heard.low;
    let length = low.samples.len() as f64 / low.rate_hz;
    let looks: Vec<f64> = (0..LOOKS)
        .flat_map(|k| {
            let at = (k as f64 + 0.5) / LOOKS as f64 * length;
            partials::envelope(low, hz, at, HOP_S, 1)
        })
        .filter(|p| *p > 0.0)
        .collect();
    stats::quantile(&looks, 0.05).unwrap_or(NOTHING)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(late_s: f64, sd: f64, after: f64) -> bool {
        let value = 4.0 + late_s;
        asked_for(Estimate { value, sd }, 4.0, after)
    }

    #[test]
    fn a_moment_that_may_lie_anywhere_answers_no_stop() {
        assert!(asked(0.032, 0.05, 40.0));
        assert!(!asked(0.032, 0.52, 40.0));
        assert!(asked(-0.24, 0.04, 40.0));
        assert!(!asked(-0.24, 0.09, 40.0));
        // What dies as fast as in a dry room is no fade, however late.
        assert!(!asked(0.75, 0.09, 40.0));
        assert!(asked(0.75, 0.09, 120.0));
    }
}
