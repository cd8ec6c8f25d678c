//! Intonation: the pooled principal tone of every setting of every drum,
//! absolutely and between drums.
//!
//! A whole set may be flat together and yet in tune with itself, so the
//! intervals between drums are reported apart from the cents of each.

use super::scene::Scene;
use super::{AGAINST_SDS, FOR_SDS};
use crate::listen::Stroke;
use crate::part::Setting;
use crate::review::{DrumFacts, IntervalFacts, SettingFacts, TuneVerdict};
use crate::settings::Settings;
use crate::stats::{self, Estimate};

/// Scatter of the principal tone from stroke to stroke besides the
/// uncertainty of each, cents: the two halves of a split mode differ by
/// 1.2 Hz, median of 24 recorded strokes, and each stroke excites them
/// differently.
const BETWEEN_STROKES_CENTS: f64 = 4.0;
/// What pooling cannot average away on one drum: cents, and a share of the
/// scatter of its strokes, for what pulls their tones (another drum that rings,
/// the room) pulls many of them the same way. On tuning takes the median error
/// of a setting does not shrink with the number of its strokes, and grows from
/// 1 to 4 cents with their scatter.
const FLOOR_CENTS: f64 = 2.5;
const SHARED: f64 = 0.5;
/// The same of the scatter that outliers take part in: where some strokes lie
/// far from the others, these may be the ones that are pulled.
const WILD: f64 = 0.25;
/// Fewest strokes for a drift, and the shortest time they must span.
const DRIFT_STROKES: usize = 6;
const DRIFT_SPAN_S: f64 = 20.0;
/// Fewest strokes for the effect of loudness, the least spread of their
/// levels (between quartiles), and the largest uncertainty worth reporting.
const LOUD_STROKES: usize = 8;
const LOUD_SPREAD_DB: f64 = 4.0;
const LOUD_MAX_SD_CENTS: f64 = 6.0;

/// All that is said about tuning.
pub struct Intonation {
    pub drums: Vec<DrumFacts>,
    pub intervals: Vec<IntervalFacts>,
    /// Pooled principal tone of each place in `Part::settings`, hertz.
    pub tones_hz: Vec<Option<f64>>,
}

/// The tuning of every setting that the counted passage reached.
pub fn intonation(scene: &Scene) -> Intonation {
    let facts: Vec<SettingFacts> = (0..scene.tunings.len())
        .map(|place| setting(scene, place))
        .collect();
    let drums = scene
        .part
        .drums
        .iter()
        .map(|drum| DrumFacts {
            drum: drum.number,
            size_in: drum.size_in,
            settings: scene
                .tunings
                .iter()
                .zip(&facts)
                .filter(|(s, _)| s.drum == drum.number)
                .map(|(_, f)| f.clone())
                .collect(),
        })
        .collect();
    Intonation {
        drums,
        intervals: intervals(scene, &facts),
        tones_hz: facts.iter().map(|f| f.hz).collect(),
    }
}

/// Strokes of a setting whose drum is sure and whose tone was measured. Only
/// strokes of the counted passage: before it the drum may still be tuned.
fn strokes_of<'a>(scene: &Scene<'a>, place: usize) -> Vec<&'a Stroke> {
    let Some(passage) = scene.counted() else {
        return Vec::new();
    };
    (passage.notes.0..=passage.notes.1)
        .filter_map(|note| scene.sure_stroke(passage, note))
        .filter(|s| s.setting == Some(place) && s.tone.is_some())
        .collect()
}

fn setting(scene: &Scene, place: usize) -> SettingFacts {
    let tuning = &scene.tunings[place];
    let mut facts = unmeasured(scene, tuning);
    let mut strokes = strokes_of(scene, place);
    strokes.dedup_by_key(|s| s.candidate);
    let tones: Vec<(f64, f64, f64, f64)> = strokes
        .iter()
        .filter_map(|s| s.tone.map(|t| (s.time_s, s.level_db, t.cents, t.cents_sd)))
        .collect();
    facts.strokes = tones.len();
    let cents: Vec<f64> = tones.iter().map(|t| t.2).collect();
    let sds: Vec<f64> = tones.iter().map(|t| t.3).collect();
    let Some(pooled) = stats::pooled(&cents, &sds, BETWEEN_STROKES_CENTS) else {
        return facts;
    };
    let scatter = stats::mad_sd(&cents).unwrap_or(0.0);
    let wild = stats::sd(&cents).unwrap_or(0.0);
    let estimate = Estimate {
        value: pooled.value,
        sd: pooled
            .sd
            .hypot(FLOOR_CENTS)
            .hypot(SHARED * scatter)
            .hypot(WILD * wild),
    };
    facts.cents = Some(estimate.value);
    facts.cents_sd = Some(estimate.sd);
    facts.hz = Some(
        tuning.pitch.hz(scene.settings.a4_hz)
            * (estimate.value / crate::pitch::CENTS_PER_OCTAVE).exp2(),
    );
    facts.verdict = verdict(estimate, scene.settings);
    if let Some(line) = drift(&tones) {
        facts.drift_cents_per_min = Some(line.slope);
        facts.drift_sd_cents_per_min = Some(line.slope_sd);
    }
    let loud_sharp = loud_sharp(&strokes);
    facts.loud_sharp_cents = loud_sharp.map(|l| l.slope);
    facts.loud_sharp_sd_cents = loud_sharp.map(|l| l.slope_sd);
    facts
}

fn unmeasured(scene: &Scene, tuning: &Setting) -> SettingFacts {
    SettingFacts {
        pitch: tuning.pitch,
        from_bar: scene.bar_number(tuning.from_bar),
        to_bar: scene.bar_number(tuning.to_bar),
        hz: None,
        cents: None,
        cents_sd: None,
        strokes: 0,
        drift_cents_per_min: None,
        drift_sd_cents_per_min: None,
        loud_sharp_cents: None,
        loud_sharp_sd_cents: None,
        verdict: None,
    }
}

/// The farthest band that a tuning surely lies beyond, or that it surely lies in
/// the first; `None` where the uncertainty straddles the first limit.
pub fn verdict(cents: Estimate, settings: &Settings) -> Option<TuneVerdict> {
    let [near, far] = settings.tune_bands_cents;
    let off = cents.value.abs();
    if off + FOR_SDS * cents.sd <= near {
        Some(TuneVerdict::InTune)
    } else if off - AGAINST_SDS * cents.sd > far {
        Some(TuneVerdict::Off)
    } else if off - AGAINST_SDS * cents.sd > near {
        Some(TuneVerdict::Noticeable)
    } else {
        None
    }
}

/// Change of the tuning with time, cents a minute.
fn drift(tones: &[(f64, f64, f64, f64)]) -> Option<stats::Line> {
    let (first, last) = (tones.first()?, tones.last()?);
    if tones.len() < DRIFT_STROKES || last.0 - first.0 < DRIFT_SPAN_S {
        return None;
    }
    let points: Vec<(f64, f64)> = tones.iter().map(|t| (t.0 / 60.0, t.2)).collect();
    stats::theil_sen(&points)
}

/// How much sharper louder strokes start than softer ones, cents per 10 dB.
fn loud_sharp(strokes: &[&Stroke]) -> Option<stats::Line> {
    let points: Vec<(f64, f64)> = strokes
        .iter()
        .filter_map(|s| {
            s.tone
                .and_then(|t| t.glide_cents)
                .map(|g| (s.level_db / 10.0, g))
        })
        .collect();
    let levels: Vec<f64> = points.iter().map(|p| p.0 * 10.0).collect();
    let spread = stats::quantile(&levels, 0.75)? - stats::quantile(&levels, 0.25)?;
    if points.len() < LOUD_STROKES || spread < LOUD_SPREAD_DB {
        return None;
    }
    stats::theil_sen(&points).filter(|line| line.slope_sd <= LOUD_MAX_SD_CENTS)
}

/// Intervals between every two drums in the bars where both settings hold,
/// lower drum first.
fn intervals(scene: &Scene, facts: &[SettingFacts]) -> Vec<IntervalFacts> {
    let mut found = Vec::new();
    for (i, lower) in scene.tunings.iter().enumerate() {
        for (j, upper) in scene.tunings.iter().enumerate() {
            let from = lower.from_bar.max(upper.from_bar);
            let to = lower.to_bar.min(upper.to_bar);
            if lower.drum >= upper.drum || from > to {
                continue;
            }
            let (a, b) = (&facts[i], &facts[j]);
            let Some((ca, cb)) = a.cents.zip(b.cents) else {
                continue;
            };
            let sd = a.cents_sd.unwrap_or(0.0).hypot(b.cents_sd.unwrap_or(0.0));
            found.push(IntervalFacts {
                from_bar: scene.bar_number(from),
                to_bar: scene.bar_number(to),
                lower_drum: lower.drum,
                lower: lower.pitch,
                upper_drum: upper.drum,
                upper: upper.pitch,
                cents: cb - ca,
                cents_sd: sd,
            });
        }
    }
    found
}
