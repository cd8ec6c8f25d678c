//! What a usual stroke on each drum adds, learned from the matched strokes of
//! a take.

use super::nearby::{Loudness, SPREAD, SPREAD_DB, Stroke};
use super::residual::BIN_S;
use super::residual::PARTS;
use super::rises::Scale;
use super::{BANDS, Heard};
use crate::align::{Alignment, Outcome};
use crate::part::Part;
use crate::stats;

/// Frames from before a contact to after it that tell what it adds.
pub const APART: usize = 4;
/// Fewer strokes do not tell how a drum sounds.
const FEWEST: usize = 3;

/// What a stroke adds: in the parts of the residual, and in the bands; power.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Profile {
    pub parts: [f32; PARTS],
    pub bands: [f32; BANDS],
}

/// What strokes usually add, and how much more or less is to be expected where.
pub struct Usual {
    /// For every place in `Part::settings`, where no louder and no softer is
    /// played than usual; where few strokes were matched, a usual stroke on any
    /// drum. `None`: none was.
    pub profiles: Vec<Option<Profile>>,
    /// Of what a contact adds to the residual in its first 30 ms.
    pub loudness: Loudness,
}

impl Usual {
    pub fn learn(heard: &Heard, part: &Part, alignment: &Alignment) -> Self {
        let scale = Scale::of(&heard.residual);
        let strokes = Stroke::matched(&heard.candidates, part, alignment, &[Outcome::Played]);
        let strength_db = |stroke: &Stroke| {
            // Strokes of a roll may have a time alone.
            let bin = heard.places.get(stroke.candidate).map_or_else(
                || (stroke.time_s / BIN_S).round().max(0.0) as usize,
                |place| place.bin,
            );
            let fresh: f32 = scale.fresh(bin).iter().sum();
            10.0 * f64::from(fresh.max(1e-12)).log10()
        };
        let strengths_db: Vec<f64> = strokes.iter().map(strength_db).collect();
        let loudness = Loudness::new(strokes, &strengths_db);
        let mut profiles: Vec<Vec<Profile>> = vec![Vec::new(); part.settings().len()];
        for (stroke, db) in loudness.expected_db() {
            let profile = Profile::of(heard, &scale, stroke.candidate);
            profiles[stroke.setting].extend(profile.map(|p| p.stronger(-db)));
        }
        let everything = profiles.concat();
        let profiles = profiles
            .iter()
            .map(|p| Profile::median(if p.len() < FEWEST { &everything } else { p }))
            .collect();
        Self { profiles, loudness }
    }
}

impl Profile {
    /// What a candidate adds; `None` where candidates did not come from a
    /// sound.
    fn of(heard: &Heard, scale: &Scale, candidate: usize) -> Option<Self> {
        let place = heard.places.get(candidate)?;
        let time_s = heard.candidates[candidate].time_s;
        let frame = (time_s / heard.bands.hop_s).round() as i64;
        let before = levels_db(heard, frame - APART as i64);
        let after = levels_db(heard, frame + APART as i64);
        let power = |levels: Option<&[f32; BANDS]>, band: usize| {
            levels.map_or(0.0, |l| 10f32.powf(l[band] * 0.1))
        };
        Some(Self {
            parts: scale.fresh(place.bin),
            bands: std::array::from_fn(|b| (power(after, b) - power(before, b)).max(0.0)),
        })
    }

    /// The median of each part and band; `None` of nothing.
    fn median(all: &[Self]) -> Option<Self> {
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

    /// How well the residual around a bin agrees with such a stroke there, about
    /// so much stronger, against none: log likelihood ratio, nepers. `sides` as
    /// in [`Scale::agrees`].
    pub fn agrees(&self, scale: &Scale, bin: usize, db: f64, sides: (usize, usize)) -> f64 {
        let of_strength = |&(off, share): &(f64, f64)| {
            let expected = self.stronger(db + off * SPREAD_DB);
            share.ln() + scale.agrees(bin, &expected.parts, sides)
        };
        stats::log_sum_exp(SPREAD.iter().map(of_strength))
    }

    /// The same, so much stronger.
    #[must_use]
    pub fn stronger(&self, db: f64) -> Self {
        let factor = 10f64.powf(db * 0.1) as f32;
        Self {
            parts: self.parts.map(|p| p * factor),
            bands: self.bands.map(|b| b * factor),
        }
    }
}

/// The levels of a frame; `None` outside the take.
pub fn levels_db(heard: &Heard, frame: i64) -> Option<&[f32; BANDS]> {
    let frame = usize::try_from(frame).ok()?;
    heard.bands.level_db.get(frame)
}
