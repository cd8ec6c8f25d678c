//! Rolls: their rate, evenness, level and joints.
//!
//! The span of a roll comes from the part and the pulse, its rate from the
//! sound of the whole roll ([`crate::listen::rolling`]). Where its strokes are
//! heard one by one, and agree with that, they tell the rate more closely.

use super::VAGUE_DB;
use super::dynamics;
use super::scene::Scene;
use crate::align::Outcome;
use crate::listen::rolling::{self, LEAST_STROKES, MOST_HOLES, Rolled, Span};
use crate::listen::{Bands, FIRST_SD_S, PLACED_ALONE, Stroke};
use crate::part::{Quarters, quarters_f64};
use crate::review::Roll;
use crate::stats::{self, Estimate};

/// A rate is told when it is this likely to be within 5 %.
pub const SURE: f64 = 0.7;
/// And when a roll is no less likely than this to be there at all, nats: of
/// one whose first stroke was heard, and of one whose beginning is in doubt.
const ROLLED: f64 = -2.0;
const ROLLED_UNSURE: f64 = 0.0;
/// A distance is a whole number of periods within this share of one.
const WHOLE: f64 = 0.3;
/// The rates by single strokes and by sound agree within so many standard
/// uncertainties.
const AGREE: f64 = 2.5;
/// The level along a roll: strokes a step, fewest and most steps.
const STEP_STROKES: usize = 3;
const FEWEST_STEPS: usize = 3;
const MOST_STEPS: usize = 16;
/// Strokes on each side that a joint is compared with.
const JOINT_STROKES: usize = 4;
/// A gap is told when it is longer than this, ms: below it two sounds are
/// still heard as following at once (Hirsh 1959: about 20 ms for order).
pub const LEAST_GAP_MS: f64 = 20.0;
/// And when fewer strokes than this may have been passed over in it.
const PASSED_OVER: f64 = 0.2;

/// Every roll of the counted passage that was begun, and those whose beginning
/// is in doubt but that sound like one.
pub fn rolls(scene: &Scene) -> Vec<Roll> {
    let Some(passage) = scene.counted() else {
        return Vec::new();
    };
    let begun: Vec<(usize, Outcome, Span)> = (passage.notes.0..=passage.notes.1)
        .filter(|&note| scene.part.notes.get(note).is_some_and(|n| n.roll))
        .filter_map(|note| {
            let outcome = scene.matched(note)?.outcome;
            let told = matches!(
                outcome,
                Outcome::Played | Outcome::OtherDrum | Outcome::Unsure
            );
            Some((note, outcome, span(scene, note).filter(|_| told)?))
        })
        .collect();
    let spans: Vec<Span> = begun.iter().map(|b| b.2).collect();
    let heard = rolling::hear(&scene.heard.bands, &scene.heard.residual, &spans);
    begun
        .iter()
        .zip(&heard)
        .filter_map(|(&(note, outcome, span), heard)| {
            let least = if outcome == Outcome::Unsure {
                ROLLED_UNSURE
            } else {
                ROLLED
            };
            let sure = |r: &&Rolled| r.sure >= SURE && r.log_odds >= least;
            let heard = heard.as_ref().filter(sure);
            let begun = outcome != Outcome::Unsure || heard.is_some();
            begun.then(|| roll(scene, note, span, heard))
        })
        .collect()
}

/// Where a roll is expected. `None` where neither the pulse nor a stroke says.
fn span(scene: &Scene, note: usize) -> Option<Span> {
    let written = &scene.part.notes[note];
    let strokes = scene.roll_strokes(note);
    let pulse = |at: Quarters| scene.pulse().and_then(|p| p.time_s(quarters_f64(at)));
    let first_s = || Some(scene.strokes[*strokes.first()?].time_s);
    let last_s = || Some(scene.strokes[*strokes.last()?].time_s);
    let from_s = pulse(written.at).or_else(first_s)?;
    let to_s = pulse(written.at + written.length).or_else(last_s)?;
    Some(Span {
        from_s,
        from_sd_s: FIRST_SD_S,
        to_s,
    })
}

fn roll(scene: &Scene, note: usize, span: Span, heard: Option<&Rolled>) -> Roll {
    let places = scene.roll_strokes(note);
    let strokes: Vec<&Stroke> = places.iter().map(|&i| &scene.strokes[i]).collect();
    let times: Vec<f64> = strokes.iter().map(|s| s.time_s).collect();
    let from_s = times.first().copied().unwrap_or(span.from_s);
    let rate = heard.map(|heard| rate(&times, heard));
    let sds: Vec<f64> = strokes.iter().map(|s| s.time_sd_s).collect();
    let uneven = rate.and_then(|r| unevenness_pct(&times, &sds, 1.0 / r.value));
    let steered = scene.levels_spoilt();
    let following = following(scene, note);
    let mut facts = Roll {
        note,
        bar: scene.note_bar(note),
        from_s,
        to_s: span.to_s.max(from_s),
        strokes_per_s: rate.map(|r| r.value),
        strokes_per_s_sd: rate.map(|r| r.sd),
        unevenness_pct: uneven.map(|u| u.value),
        unevenness_sd_pct: uneven.map(|u| u.sd),
        level_curve_db: Vec::new(),
        start_accent_db: None,
        start_accent_sd_db: None,
        end_accent_db: None,
        end_accent_sd_db: None,
        gap_ms: None,
        gap_sd_ms: None,
    };
    if !steered {
        facts.level_curve_db = level_curve(&strokes);
        if strokes.len() > JOINT_STROKES {
            let (first, rest) = (strokes[0], &strokes[1..=JOINT_STROKES]);
            let start = stands_out_db(first, rest);
            facts.start_accent_db = start.map(|s| s.value);
            facts.start_accent_sd_db = start.map(|s| s.sd);
            let ending = &strokes[strokes.len() - JOINT_STROKES..];
            let end = following
                .filter(|&i| same_drum(scene, i, note))
                .and_then(|i| stands_out_db(&scene.strokes[i], ending));
            facts.end_accent_db = end.map(|e| e.value);
            facts.end_accent_sd_db = end.map(|e| e.sd);
        }
    }
    if let (Some(next), Some(heard), Some(rate), Some(last)) =
        (following, heard, rate, strokes.last())
    {
        let gap_ms = gap(last, &scene.strokes[next], rate, heard);
        facts.gap_ms = gap_ms.map(|gap| gap.value);
        facts.gap_sd_ms = gap_ms.map(|gap| gap.sd);
    }
    facts
}

/// Silence between the last stroke of a roll and the next note beyond one
/// period, ms, and its uncertainty: of both strokes and of the period. `None`
/// where strokes of the roll may have been passed over in it.
fn gap(last: &Stroke, next: &Stroke, rate_hz: Estimate, heard: &Rolled) -> Option<Estimate> {
    let period_s = 1.0 / rate_hz.value;
    let period_sd_s = rate_hz.sd * period_s.powi(2);
    let open = (last.time_s + 0.5 * period_s, next.time_s - 0.5 * period_s);
    if heard.strokes(open.0, open.1) > PASSED_OVER {
        return None;
    }
    let gap_ms = 1000.0 * (next.time_s - last.time_s - period_s);
    Some(Estimate {
        value: if gap_ms > LEAST_GAP_MS { gap_ms } else { 0.0 },
        sd: 1000.0 * last.time_sd_s.hypot(next.time_sd_s).hypot(period_sd_s),
    })
}

/// The stroke of the note that follows a roll at once.
fn following(scene: &Scene, note: usize) -> Option<usize> {
    let written = &scene.part.notes[note];
    let end = written.at + written.length;
    let next = scene.part.notes.iter().position(|n| n.at == end)?;
    let found = scene.matched(next)?;
    (found.outcome == Outcome::Played)
        .then_some(found.stroke)
        .flatten()
        .and_then(|c| scene.stroke_place(c))
}

/// Strokes a second: by the strokes heard one by one where they agree with the
/// sound of the whole.
fn rate(times: &[f64], heard: &Rolled) -> Estimate {
    let whole = Estimate {
        value: heard.rate_hz,
        sd: heard.rate_sd_hz,
    };
    rate_from_times(times, whole.value)
        .filter(|one| (one.value - whole.value).abs() < AGREE * whole.sd.hypot(one.sd))
        .unwrap_or(whole)
}

/// Strokes a second from the times of single strokes, seconds, rising, where
/// the rate is known roughly: the number of periods from the first stroke to
/// the last over the time between them. Strokes are numbered by their distances
/// in whole periods, so that a missed one, which leaves a distance of two, does
/// not slow the roll. `None` with fewer than five strokes, and where so many
/// are missed, or lie between the places, that the numbering is in doubt.
pub fn rate_from_times(times: &[f64], about_hz: f64) -> Option<Estimate> {
    if times.len() < LEAST_STROKES {
        return None;
    }
    let gaps: Vec<f64> = times.windows(2).map(|w| w[1] - w[0]).collect();
    let steps: Vec<f64> = gaps.iter().map(|g| (g * about_hz).round()).collect();
    let whole = gaps.iter().zip(&steps);
    if whole
        .clone()
        .any(|(g, n)| *n < 1.0 || (g * about_hz - n).abs() > WHOLE * n.sqrt())
    {
        return None;
    }
    let sum: f64 = steps.iter().sum();
    if sum > MOST_HOLES * gaps.len() as f64 {
        return None;
    }
    let rate = sum / (times[times.len() - 1] - times[0]);
    let off: Vec<f64> = whole.map(|(g, n)| g * rate / n - 1.0).collect();
    // The scatter of the distances themselves, which end at the same strokes:
    // what is not counted of the roll before the first stroke and after the
    // last may differ by as much.
    let scatter = stats::sd(&off)?;
    Some(Estimate {
        value: rate,
        sd: rate * scatter / sum.sqrt(),
    })
}

/// Standard deviation of the distances between strokes, per cent of the period,
/// timing uncertainty taken out in quadrature, from the times of the strokes
/// and their standard uncertainties, seconds. `None` with too few single
/// distances.
///
/// How evenly the player rolls is drawn from a few distances. Their mean square
/// is known to one part in the root of (n - 1) / 3: were they independent, of
/// (n - 1) / 2; but a late stroke lengthens one distance and shortens the next,
/// and the squares of such neighbours, correlated by -1/2, go together by 1/4.
/// The root is then as unsure as its slope says, near zero as the root of that
/// uncertainty, and nowhere surer than what the times leave open of a distance.
pub fn unevenness_pct(times_s: &[f64], sds_s: &[f64], period_s: f64) -> Option<Estimate> {
    let sure: Vec<bool> = sds_s
        .iter()
        .map(|sd| *sd < PLACED_ALONE * period_s)
        .collect();
    let (gaps, noise): (Vec<f64>, Vec<f64>) = (1..times_s.len().min(sds_s.len()))
        .filter(|&i| sure[i - 1] && sure[i])
        .map(|i| {
            let noise = sds_s[i - 1].powi(2) + sds_s[i].powi(2);
            (times_s[i] - times_s[i - 1], noise)
        })
        .filter(|(gap, _)| *gap > 0.5 * period_s && *gap < 1.5 * period_s)
        .unzip();
    if gaps.len() < LEAST_STROKES {
        return None;
    }
    let noise = stats::mean(&noise)?;
    let open = noise.sqrt();
    let raw = stats::sd(&gaps)?.powi(2);
    let square_sd = raw * (3.0 / (gaps.len() - 1) as f64).sqrt();
    let uneven = (raw - noise).max(0.0).sqrt();
    let sd = square_sd.sqrt().min(0.5 * square_sd / uneven);
    let share = |seconds: f64| 100.0 * seconds / period_s;
    Some(Estimate {
        value: share(uneven),
        sd: share(sd.max(open)),
    })
}

/// Levels in equal steps of time, about three strokes a step, of the strokes
/// whose level is not hidden by what rings. Empty where so many are hidden that
/// no shape can be told; single empty steps take the straight line between
/// their neighbours.
fn level_curve(strokes: &[&Stroke]) -> Vec<f64> {
    let steps = (strokes.len() / STEP_STROKES).min(MOST_STEPS);
    let (Some(first), Some(last)) = (strokes.first(), strokes.last()) else {
        return Vec::new();
    };
    let width_s = (last.time_s - first.time_s) / steps as f64;
    if steps < FEWEST_STEPS || width_s <= 0.0 {
        return Vec::new();
    }
    let step = |s: &Stroke| (((s.time_s - first.time_s) / width_s) as usize).min(steps - 1);
    let binned: Vec<Option<f64>> = (0..steps)
        .map(|k| {
            let own = strokes.iter().filter(|s| step(s) == k);
            let clear: Vec<f64> = own.filter_map(|s| clear_db(s)).collect();
            stats::median(&clear)
        })
        .collect();
    let alone = |w: &[Option<f64>]| w.iter().all(Option::is_none);
    if binned.windows(2).any(alone) || 3 * binned.iter().flatten().count() < 2 * steps {
        return Vec::new();
    }
    fill(&binned)
}

fn fill(binned: &[Option<f64>]) -> Vec<f64> {
    let known: Vec<(usize, f64)> = binned
        .iter()
        .enumerate()
        .filter_map(|(i, v)| v.map(|v| (i, v)))
        .collect();
    (0..binned.len())
        .filter_map(|k| {
            let after = known.partition_point(|p| p.0 < k);
            match (after.checked_sub(1).map(|i| known[i]), known.get(after)) {
                (_, Some(&(i, v))) if i == k => Some(v),
                (Some(a), Some(&b)) => {
                    Some(a.1 + (k - a.0) as f64 * (b.1 - a.1) / (b.0 - a.0) as f64)
                }
                (Some(a), None) => Some(a.1),
                (None, Some(&b)) => Some(b.1),
                (None, None) => None,
            }
        })
        .collect()
}

/// Mean power over all bands in a stretch, dB re full scale. `None` outside the
/// take and in digital silence.
fn loudness_db(bands: &Bands, from_s: f64, length_s: f64) -> Option<f64> {
    let frame = |s: f64| (s / bands.hop_s) as usize;
    let (first, last) = (frame(from_s), frame(from_s + length_s));
    let frames = bands.level_db.get(first..last.max(first + 1))?;
    let all = frames.iter().flatten();
    let powers = all.map(|db| 10f64.powf(f64::from(*db) / 10.0));
    let power: f64 = powers.filter(|p| p.is_finite()).sum();
    (power > 0.0).then(|| 10.0 * (power / frames.len() as f64).log10())
}

/// Whether a stroke was heard on the drum of a note: the room tilts the levels
/// of drums against each other.
fn same_drum(scene: &Scene, stroke: usize, note: usize) -> bool {
    let setting = scene.strokes[stroke].setting;
    setting.is_some_and(|s| scene.tunings[s].drum == scene.part.notes[note].drum)
}

/// The level of a stroke, dB. `None` where what rings hides it.
fn clear_db(stroke: &Stroke) -> Option<f64> {
    (stroke.level_sd_db <= VAGUE_DB).then_some(stroke.level_db)
}

/// The level of a stroke against the median of others, dB. `None` where what
/// rings hides its level, or those of more than half of the others.
fn stands_out_db(stroke: &Stroke, others: &[&Stroke]) -> Option<Estimate> {
    let level = |s: &Stroke| {
        Some(Estimate {
            value: clear_db(s)?,
            sd: s.level_sd_db,
        })
    };
    let levels: Vec<Estimate> = others.iter().filter_map(|s| level(s)).collect();
    let enough = 2 * levels.len() >= others.len();
    dynamics::stands_out_db(level(stroke)?, &levels).filter(|_| enough)
}

/// (quarter notes, dB) of the loudness of rolls between two moments, for
/// swells: power over all bands, one value a tenth of a second.
pub fn level_over(scene: &Scene, from: Quarters, to: Quarters) -> Vec<(f64, f64)> {
    // The first stroke's own attack is no part of the swell.
    const ATTACK_S: f64 = 0.15;
    const STEP_S: f64 = 0.1;
    let (Some(pulse), bands) = (scene.pulse(), &scene.heard.bands) else {
        return Vec::new();
    };
    let mut points = Vec::new();
    for note in scene.part.notes.iter().filter(|n| n.roll) {
        let (start, end) = (note.at.max(from), (note.at + note.length).min(to));
        if start >= end || bands.hop_s <= 0.0 {
            continue;
        }
        let (a, b) = (quarters_f64(start), quarters_f64(end));
        let Some((ta, tb)) = pulse.time_s(a).zip(pulse.time_s(b)) else {
            continue;
        };
        let mut t = ta + ATTACK_S;
        while t + STEP_S <= tb {
            if let Some(db) = loudness_db(bands, t, STEP_S) {
                let way = (t + 0.5 * STEP_S - ta) / (tb - ta);
                points.push((a + way * (b - a), db));
            }
            t += STEP_S;
        }
    }
    points
}
