//! Would a stroke have shown? For notes at which nothing was found.
//!
//! A stroke shows in the residual or in the bands; it is taken for hidden only
//! as far as both would hide it.

use super::nearby::Nearby;
use super::residual::{BIN_S, PARTS};
use super::rises::Scale;
use super::{BANDS, Heard};
use crate::align::{Alignment, Outcome};
use crate::part::{Part, quarters_f64};

/// How far the strength of a stroke lies from what is expected beside the
/// strokes around it, standard deviation, dB.
const SPREAD_DB: f64 = 3.5;
/// Points at which that spread is looked at, in standard deviations, with the
/// normal share of each.
const SPREAD: [(f64, f32); POINTS] = [
    (-3.0, 0.0060),
    (-2.0, 0.0606),
    (-1.0, 0.2417),
    (0.0, 0.3834),
    (1.0, 0.2417),
    (2.0, 0.0606),
    (3.0, 0.0060),
];
const POINTS: usize = 7;
/// Places at which the stroke may have been, bins from where the pulse has it:
/// 15 ms before to 15 ms after.
const PLACES: [i64; 7] = [-30, -20, -10, 0, 10, 20, 30];
/// What a stroke gains in the residual that shows there half the time, nepers,
/// and how quickly that changes.
const GAIN_SHOWS: (f32, f32) = (8.0, 1.5);
/// The same of the sum of rises in the bands, nepers of power, and how much a
/// band adds at most.
const SUM_SHOWS: (f32, f32) = (3.5, 0.6);
const CAP: f32 = 3.5;
/// Frames around a contact in which the loudest of each band hides it; and
/// frames from before it to after it that tell what it adds.
const AROUND: usize = 8;
const APART: usize = 4;
/// A second stroke this close to another does not show, seconds.
const TOGETHER_S: f64 = 0.025;
/// Fewer strokes do not tell how a drum sounds.
const FEWEST: usize = 3;

/// What a usual stroke adds: in the parts of the residual, and in the bands.
#[derive(Clone, Copy)]
struct Profile {
    parts: [f32; PARTS],
    bands: [f32; BANDS],
}

impl Profile {
    /// The median of each part and band; `None` of nothing.
    fn usual(all: &[Self]) -> Option<Self> {
        let median = |of: &dyn Fn(&Self) -> f32| {
            let mut values: Vec<f32> = all.iter().map(of).collect();
            let middle = values.len() / 2;
            *values.select_nth_unstable_by(middle, f32::total_cmp).1
        };
        (!all.is_empty()).then(|| Self {
            parts: std::array::from_fn(|part| median(&|p| p.parts[part])),
            bands: std::array::from_fn(|band| median(&|p| p.bands[band])),
        })
    }
}

/// For every note of the part: the chance that its stroke, played about as
/// strongly as those around it, would leave no candidate. `None` where a
/// stroke was found or no passage leads there.
pub fn masked(heard: &Heard, part: &Part, alignment: &Alignment) -> Vec<Option<f32>> {
    let look = Look {
        heard,
        scale: Scale::of(&heard.residual),
    };
    let note_settings = part.note_settings();
    let mut profiles: Vec<Vec<Profile>> = vec![Vec::new(); part.settings().len()];
    let mut strokes_s: Vec<f64> = Vec::new();
    for passage in &alignment.passages {
        for (offset, found) in passage.matches.iter().enumerate() {
            let setting = note_settings[passage.notes.0 + offset];
            let all = found.stroke.iter().chain(&found.further);
            strokes_s.extend(all.map(|&c| heard.candidates[c].time_s));
            if let (Outcome::Played, Some(c), Some(s)) = (found.outcome, found.stroke, setting) {
                profiles[s].extend(look.profile(c));
            }
        }
    }
    strokes_s.sort_by(f64::total_cmp);
    let everything = profiles.concat();
    let usual: Vec<Option<Profile>> = profiles
        .iter()
        .map(|p| Profile::usual(if p.len() < FEWEST { &everything } else { p }))
        .collect();
    let nearby = Nearby::new(heard, alignment);
    let usual_db = nearby.usual_db().unwrap_or(0.0);
    let mut masked = vec![None; part.notes.len()];
    for passage in &alignment.passages {
        for (offset, found) in passage.matches.iter().enumerate() {
            let note = passage.notes.0 + offset;
            let at = passage.pulse.time_s(quarters_f64(part.notes[note].at));
            if found.stroke.is_none()
                && let (Some(at), Some(setting)) = (at, note_settings[note])
            {
                let next = strokes_s.partition_point(|&s| s < at - TOGETHER_S);
                let together = strokes_s.get(next).is_some_and(|&s| s < at + TOGETHER_S);
                // The softer of the two sides: a mark may change here.
                let around = nearby.around_db(at, None).into_iter().flatten();
                let stronger_db = around.fold(usual_db, f64::min) - usual_db;
                let factors =
                    SPREAD.map(|(off, _)| 10f64.powf((stronger_db + off * SPREAD_DB) * 0.1) as f32);
                masked[note] = Some(match usual[setting] {
                    Some(profile) if !together => look
                        .in_residual(at, &profile, &factors)
                        .min(look.in_bands(at, &profile, &factors)),
                    _ => 1.0,
                });
            }
        }
    }
    masked
}

/// Looks for strokes that were not found.
struct Look<'a> {
    heard: &'a Heard,
    scale: Scale<'a>,
}

impl Look<'_> {
    /// What a stroke adds; `None` where candidates did not come from a sound.
    fn profile(&self, candidate: usize) -> Option<Profile> {
        let place = self.heard.places.get(candidate)?;
        let bands = &self.heard.bands;
        let time_s = self.heard.candidates[candidate].time_s;
        let frame = (time_s / bands.hop_s).round() as usize;
        let power = |f: Option<usize>, band: usize| {
            f.and_then(|f| bands.level_db.get(f))
                .map_or(0.0, |l| 10f32.powf(l[band] * 0.1))
        };
        Some(Profile {
            parts: self.scale.fresh(place.bin),
            bands: std::array::from_fn(|b| {
                (power(Some(frame + APART), b) - power(frame.checked_sub(APART), b)).max(0.0)
            }),
        })
    }

    /// The chance that the residual would hide a stroke about a time.
    fn in_residual(&self, at_s: f64, profile: &Profile, factors: &[f32; POINTS]) -> f32 {
        let bin = (at_s / BIN_S).round();
        if bin < 0.0 || bin as usize >= self.heard.residual.bins() {
            return 1.0;
        }
        let of_place = |off: &i64| -> f32 {
            let place = (bin as i64 + off).max(0) as usize;
            let gains = self.scale.would_gain(place, &profile.parts, factors);
            hidden(&gains, GAIN_SHOWS)
        };
        PLACES.iter().map(of_place).sum::<f32>() / PLACES.len() as f32
    }

    /// The chance that the bands would hide a stroke about a time.
    fn in_bands(&self, at_s: f64, profile: &Profile, factors: &[f32; POINTS]) -> f32 {
        let bands = &self.heard.bands;
        let frame = (at_s / bands.hop_s).round().max(0.0) as usize;
        // The loudest of the frames around: the stroke may have come a little
        // earlier or later.
        let from = frame.saturating_sub(AROUND);
        let to = (frame + AROUND + 1).min(bands.level_db.len());
        let Some(around) = bands.level_db.get(from..to).filter(|a| !a.is_empty()) else {
            return 1.0;
        };
        let ring: [f32; BANDS] = std::array::from_fn(|b| {
            let loudest = around.iter().map(|l| l[b]).fold(-130.0, f32::max);
            10f32.powf(loudest * 0.1) + 1e-12
        });
        let sums = factors.map(|factor| {
            let rise = |b: usize| ((ring[b] + factor * profile.bands[b]) / ring[b]).ln();
            (0..BANDS).map(|b| rise(b).min(CAP)).sum()
        });
        hidden(&sums, SUM_SHOWS)
    }
}

/// The chance that a stroke does not show, over the spread of its strength.
fn hidden(signs: &[f32; POINTS], (half, width): (f32, f32)) -> f32 {
    let chance = |sign: f32| 1.0 / (1.0 + ((sign - half) / width).exp());
    let shares = SPREAD.iter().zip(signs);
    shares
        .map(|(&(_, share), &sign)| share * chance(sign))
        .sum()
}
