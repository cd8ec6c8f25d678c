//! All rounding of a review, in one place: finer than the uncertainty of any
//! figure, coarse enough that last bits never show.

use crate::review::{
    Dynamics, Figure, FigureKind, MetronomeFacts, NoteFacts, PassageFacts, Review, Roll,
    SettingFacts, Stop, StrokeFacts, TakeFacts, TempoFacts, Written,
};

/// Decimal places of each unit.
const SECONDS: i32 = 4;
const MS: i32 = 1;
const DB: i32 = 1;
const CENTS: i32 = 1;
/// Cents a minute: over many minutes a drift is known to hundredths.
const DRIFT: i32 = 3;
const HERTZ: i32 = 2;
const BPM: i32 = 2;
const CLICKS: i32 = 3;
const PERCENT: i32 = 1;
const RATIO: i32 = 4;
const QUARTERS: i32 = 6;
const RATE: i32 = 2;

/// `value` with so many decimal places; never a negative zero.
pub fn to(value: f64, places: i32) -> f64 {
    let scale = 10f64.powi(places);
    (value * scale).round() / scale + 0.0
}

fn fix(value: &mut f64, places: i32) {
    *value = to(*value, places);
}

/// Rounds, and drops what is no number: such a figure was not measured.
fn fix_opt(value: &mut Option<f64>, places: i32) {
    *value = value.filter(|v| v.is_finite()).map(|v| to(v, places));
}

fn fix_all(values: &mut [f64], places: i32) {
    for value in values {
        fix(value, places);
    }
}

/// Rounds every figure of a review.
pub fn review(review: &mut Review) {
    take(&mut review.take);
    fix_opt(&mut review.same_piece, RATIO);
    review.passages.iter_mut().for_each(passage);
    tempo(&mut review.tempo);
    review.metronome.iter_mut().for_each(metronome);
    review.strokes.iter_mut().for_each(stroke);
    review.notes.iter_mut().for_each(note);
    review.figures.iter_mut().for_each(figure);
    review.figure_kinds.iter_mut().for_each(kind);
    review.rolls.iter_mut().for_each(roll);
    for drum in &mut review.drums {
        drum.settings.iter_mut().for_each(setting);
    }
    for interval in &mut review.intervals {
        fix(&mut interval.cents, CENTS);
        fix(&mut interval.cents_sd, CENTS);
    }
    dynamics(&mut review.dynamics);
    review.stops.iter_mut().for_each(stop);
    for remark in &mut review.remarks {
        fix(&mut remark.from_s, SECONDS);
        fix(&mut remark.to_s, SECONDS);
    }
    written(&mut review.written);
}

fn take(take: &mut TakeFacts) {
    fix(&mut take.duration_s, SECONDS);
    fix_opt(&mut take.peak_db, DB);
    fix(&mut take.clipped_share, 6);
    fix_opt(&mut take.noise_floor_db, DB);
    fix_opt(&mut take.bass_cut_hz, 0);
    fix_opt(&mut take.bandwidth_hz, 0);
    for (from, to) in &mut take.gaps {
        fix(from, SECONDS);
        fix(to, SECONDS);
    }
    for value in &mut take.outline_db {
        fix_opt(value, DB);
    }
    fix(&mut take.outline_hop_s, 6);
}

fn passage(passage: &mut PassageFacts) {
    fix(&mut passage.from_s, SECONDS);
    fix(&mut passage.to_s, SECONDS);
    fix_opt(&mut passage.median_bpm, BPM);
    fix_opt(&mut passage.unevenness_ms, MS);
}

fn tempo(tempo: &mut TempoFacts) {
    fix_opt(&mut tempo.median_bpm, BPM);
    fix_opt(&mut tempo.marked_bpm, BPM);
    fix_opt(&mut tempo.drift_pct_per_min, 2);
    fix_opt(&mut tempo.drift_sd_pct_per_min, 2);
    for point in &mut tempo.curve {
        fix(&mut point.beat, QUARTERS);
        fix(&mut point.time_s, SECONDS);
        fix(&mut point.bpm, BPM);
        fix_opt(&mut point.marked_bpm, BPM);
    }
}

fn metronome(metronome: &mut MetronomeFacts) {
    fix(&mut metronome.clicks_per_min, CLICKS);
    fix(&mut metronome.clicks_per_min_sd, CLICKS);
    fix(&mut metronome.from_s, SECONDS);
    fix(&mut metronome.to_s, SECONDS);
    fix(&mut metronome.time_sd_ms, MS);
    fix_opt(&mut metronome.quarters, QUARTERS);
    fix_opt(&mut metronome.deviation_ms, MS);
    fix_opt(&mut metronome.deviation_sd_ms, MS);
    fix_opt(&mut metronome.scatter_ms, MS);
}

fn stroke(stroke: &mut StrokeFacts) {
    fix(&mut stroke.time_s, SECONDS);
    fix(&mut stroke.time_sd_ms, MS);
    fix(&mut stroke.level_db, DB);
    fix(&mut stroke.level_sd_db, DB);
    fix_opt(&mut stroke.hz, HERTZ);
    fix_opt(&mut stroke.cents, CENTS);
    fix_opt(&mut stroke.cents_sd, CENTS);
}

fn note(note: &mut NoteFacts) {
    fix(&mut note.beat, QUARTERS);
    fix(&mut note.at, QUARTERS);
    fix(&mut note.length, QUARTERS);
    fix_opt(&mut note.deviation_ms, MS);
    fix_opt(&mut note.deviation_sd_ms, MS);
    fix_opt(&mut note.expected_s, SECONDS);
    fix_opt(&mut note.click_deviation_ms, MS);
    fix_opt(&mut note.click_deviation_sd_ms, MS);
}

fn figure(figure: &mut Figure) {
    fix(&mut figure.beat, QUARTERS);
    fix_all(&mut figure.shares, RATIO);
    fix_opt(&mut figure.interval_ms, MS);
    fix_opt(&mut figure.unevenness_ms, MS);
    fix_opt(&mut figure.unevenness_sd_ms, MS);
    fix_opt(&mut figure.unevenness_pct, PERCENT);
}

fn kind(kind: &mut FigureKind) {
    fix_opt(&mut kind.median_unevenness_ms, MS);
    fix_opt(&mut kind.median_unevenness_sd_ms, MS);
    fix_opt(&mut kind.median_unevenness_pct, PERCENT);
    fix_opt(&mut kind.median_interval_ms, MS);
    fix_all(&mut kind.usual_shape_ms, MS);
    fix_all(&mut kind.usual_shape_sd_ms, MS);
    fix_opt(&mut kind.right_ms, MS);
    fix_opt(&mut kind.right_sd_ms, MS);
    fix_opt(&mut kind.left_ms, MS);
    fix_opt(&mut kind.left_sd_ms, MS);
}

fn roll(roll: &mut Roll) {
    fix(&mut roll.from_s, SECONDS);
    fix(&mut roll.to_s, SECONDS);
    fix_opt(&mut roll.strokes_per_s, RATE);
    fix_opt(&mut roll.strokes_per_s_sd, RATE);
    fix_opt(&mut roll.unevenness_pct, PERCENT);
    fix_opt(&mut roll.unevenness_sd_pct, PERCENT);
    fix_all(&mut roll.level_curve_db, DB);
    fix_opt(&mut roll.start_accent_db, DB);
    fix_opt(&mut roll.start_accent_sd_db, DB);
    fix_opt(&mut roll.end_accent_db, DB);
    fix_opt(&mut roll.end_accent_sd_db, DB);
    fix_opt(&mut roll.gap_ms, MS);
    fix_opt(&mut roll.gap_sd_ms, MS);
}

fn setting(setting: &mut SettingFacts) {
    fix_opt(&mut setting.hz, HERTZ);
    fix_opt(&mut setting.cents, CENTS);
    fix_opt(&mut setting.cents_sd, CENTS);
    fix_opt(&mut setting.drift_cents_per_min, DRIFT);
    fix_opt(&mut setting.drift_sd_cents_per_min, DRIFT);
    fix_opt(&mut setting.loud_sharp_cents, CENTS);
    fix_opt(&mut setting.loud_sharp_sd_cents, CENTS);
}

fn dynamics(dynamics: &mut Dynamics) {
    for level in &mut dynamics.levels {
        fix(&mut level.beat, QUARTERS);
        fix_opt(&mut level.level_db, DB);
        fix_opt(&mut level.level_sd_db, DB);
        fix_opt(&mut level.fitted_db, DB);
    }
    for order in &mut dynamics.order_breaks {
        fix(&mut order.excess_db, DB);
        fix(&mut order.excess_sd_db, DB);
    }
    for accent in &mut dynamics.accents {
        fix_opt(&mut accent.contrast_db, DB);
        fix_opt(&mut accent.contrast_sd_db, DB);
    }
    for hairpin in &mut dynamics.hairpins {
        fix_opt(&mut hairpin.change_db, DB);
        fix_opt(&mut hairpin.change_sd_db, DB);
        fix_opt(&mut hairpin.steadiness, RATIO);
    }
}

fn stop(stop: &mut Stop) {
    fix_opt(&mut stop.written_end_ms, MS);
    fix_opt(&mut stop.stopped_after_ms, MS);
    fix_opt(&mut stop.stopped_after_sd_ms, MS);
    fix_opt(&mut stop.late_ms, MS);
    fix_opt(&mut stop.ring_db_500ms, DB);
    fix_all(&mut stop.curve_db, DB);
    fix(&mut stop.curve_hop_s, 6);
}

fn written(written: &mut Written) {
    for bar in &mut written.bars {
        fix(&mut bar.at, QUARTERS);
        fix(&mut bar.length, QUARTERS);
        fix_opt(&mut bar.time_s, SECONDS);
    }
    for mark in &mut written.marks {
        fix(&mut mark.at, QUARTERS);
        fix_opt(&mut mark.time_s, SECONDS);
    }
    for hairpin in &mut written.hairpins {
        fix(&mut hairpin.from, QUARTERS);
        fix(&mut hairpin.to, QUARTERS);
        fix_opt(&mut hairpin.from_s, SECONDS);
        fix_opt(&mut hairpin.to_s, SECONDS);
    }
    for mark in &mut written.tempi {
        fix(&mut mark.at, QUARTERS);
        fix_opt(&mut mark.bpm, BPM);
    }
    fix_all(&mut written.fermatas, QUARTERS);
}
