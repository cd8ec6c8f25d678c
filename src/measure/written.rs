//! What the review repeats of the take and of the written part.

use super::dynamics::mark_name;
use super::scene::Scene;
use crate::listen::Heard;
use crate::part::{HairpinKind, Part, quarters_f64};
use crate::review::{
    PartFacts, TakeFacts, Written, WrittenBar, WrittenHairpin, WrittenMark, WrittenTempo,
};

/// Seconds between values of the loudness outline, and the most values.
const OUTLINE_HOP_S: f64 = 0.1;
const OUTLINE_MOST: usize = 1200;
/// Quieter than this against the loudest moment is drawn as silence, dB.
const OUTLINE_FLOOR_DB: f64 = -70.0;

/// The take as the review lists it.
pub fn take(heard: &Heard) -> TakeFacts {
    let take = &heard.take;
    let fitness = &take.fitness;
    let (outline_db, outline_hop_s) = outline(heard);
    TakeFacts {
        file: take.file.clone(),
        hash: take.hash.clone(),
        duration_s: take.duration_s,
        sample_rate_hz: take.sample_rate_hz,
        channels: take.channels,
        codec: take.codec.clone(),
        start_offset_known: take.start_offset_known,
        peak_db: fitness.peak_db,
        clipped_share: fitness.clipped_share,
        noise_floor_db: fitness.noise_floor_db,
        bass_cut_hz: fitness.bass_cut_hz,
        bandwidth_hz: fitness.bandwidth_hz,
        gain_control: fitness.gain_control,
        gaps: fitness.gaps.clone(),
        outline_db,
        outline_hop_s,
    }
}

/// The loudest frame of every step, dB re the loudest moment of the take.
fn outline(heard: &Heard) -> (Vec<Option<f64>>, f64) {
    let bands = &heard.bands;
    if bands.hop_s <= 0.0 || bands.level_db.is_empty() {
        return (Vec::new(), OUTLINE_HOP_S);
    }
    let length = bands.hop_s * bands.level_db.len() as f64;
    let hop = OUTLINE_HOP_S.max(length / OUTLINE_MOST as f64);
    let frames = (hop / bands.hop_s).round().max(1.0) as usize;
    let loudest = |chunk: &[[f32; crate::listen::BANDS]]| {
        chunk
            .iter()
            .map(|frame| {
                frame
                    .iter()
                    .map(|db| f64::from((db / 10.0 * std::f32::consts::LOG2_10).exp2()))
                    .filter(|p| p.is_finite())
                    .sum::<f64>()
            })
            .fold(0.0, f64::max)
    };
    let powers: Vec<f64> = bands.level_db.chunks(frames).map(loudest).collect();
    let peak = powers.iter().copied().fold(0.0, f64::max);
    let outline = powers
        .iter()
        .map(|p| {
            let db = 10.0 * (p / peak).log10();
            (peak > 0.0 && db > OUTLINE_FLOOR_DB).then_some(db)
        })
        .collect();
    (outline, frames as f64 * bands.hop_s)
}

/// The part as the review lists it.
pub fn part(part: &Part) -> PartFacts {
    PartFacts {
        title: part.title.clone(),
        bars: part.bars.len(),
        notes: part.notes.len(),
        identity: identity(part),
    }
}

/// BLAKE3 over what is to be played: the same part whatever file it came from
/// and whatever its title.
pub fn identity(part: &Part) -> String {
    let mut hasher = blake3::Hasher::new();
    for note in &part.notes {
        let line = format!(
            "{} {} {} {} {} {}\n",
            note.at,
            note.length,
            note.pitch.key(),
            note.drum,
            note.roll,
            note.flam
        );
        hasher.update(line.as_bytes());
    }
    hasher.finalize().to_hex().to_string()
}

/// Bars, marks and hairpins with the times at which the counted passage
/// reached them, and what is written of the tempo.
pub fn written(scene: &Scene) -> Written {
    let part = scene.part;
    let span = scene.counted().and_then(|p| {
        let first = part.notes.get(p.notes.0)?;
        let last = part.notes.get(p.notes.1)?;
        let bar = part.bars.get(first.bar)?;
        Some((quarters_f64(bar.at), quarters_f64(last.at + last.length)))
    });
    let time = |at: f64| {
        let (from, to) = span?;
        (at >= from && at <= to)
            .then(|| scene.pulse().and_then(|p| p.time_s(at)))
            .flatten()
    };
    Written {
        bars: part
            .bars
            .iter()
            .enumerate()
            .map(|(i, bar)| WrittenBar {
                number: bar.number,
                at: quarters_f64(bar.at),
                length: quarters_f64(bar.length),
                time_s: time(quarters_f64(bar.at)),
                cue: part
                    .cues
                    .iter()
                    .find(|c| c.bar == i)
                    .map(|c| c.text.clone()),
            })
            .collect(),
        marks: part
            .marks
            .iter()
            .map(|mark| WrittenMark {
                at: quarters_f64(mark.at),
                bar: scene.bar_number(scene.bar_at(mark.at)),
                mark: mark_name(mark.mark).to_owned(),
                time_s: time(quarters_f64(mark.at)),
            })
            .collect(),
        hairpins: part
            .hairpins
            .iter()
            .map(|hairpin| WrittenHairpin {
                from: quarters_f64(hairpin.from),
                to: quarters_f64(hairpin.to),
                kind: match hairpin.kind {
                    HairpinKind::Crescendo => "crescendo".to_owned(),
                    HairpinKind::Diminuendo => "diminuendo".to_owned(),
                },
                from_s: time(quarters_f64(hairpin.from)),
                to_s: time(quarters_f64(hairpin.to)),
            })
            .collect(),
        tempi: part
            .tempi
            .iter()
            .map(|mark| WrittenTempo {
                at: quarters_f64(mark.at),
                bpm: mark.quarter_bpm,
                gradual: mark.gradual,
            })
            .collect(),
        fermatas: part.fermatas.iter().map(|&f| quarters_f64(f)).collect(),
    }
}
