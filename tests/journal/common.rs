//! Literal reviews: no take is decoded here.

use kettlemark::align::Outcome;
use kettlemark::review::{
    Dynamics, FORMAT, Figure, NoteFacts, PartFacts, Review, TakeFacts, TempoFacts, VERSION, Written,
};
use kettlemark::settings::Settings;

/// A judged review of sixteen triplets; one unevenness a figure, ms, spread
/// about `unevenness_ms` by what `wobble` gives. Clean up to 12 ms.
pub fn review(take: &str, bpm: f64, unevenness_ms: f64, mut wobble: impl FnMut() -> f64) -> Review {
    let interval_ms = 20_000.0 / bpm;
    let figures: Vec<Figure> = (0..16)
        .map(|i| {
            let ms = (unevenness_ms + wobble()).max(0.2);
            Figure {
                bar: 1 + i / 4,
                beat: 1.0 + f64::from(i % 4),
                kind: "triplet-eighths".to_owned(),
                notes: (0..3).map(|k| 3 * i as usize + k).collect(),
                shares: Vec::new(),
                interval_ms: Some(interval_ms),
                unevenness_ms: Some(ms),
                unevenness_sd_ms: Some(1.0),
                unevenness_pct: Some(100.0 * ms / interval_ms),
                clean: Some(ms < 12.0),
            }
        })
        .collect();
    let notes = (0..48)
        .map(|index| NoteFacts {
            index,
            bar: 1 + index as i32 / 12,
            beat: 1.0 + (index % 12) as f64 / 3.0,
            at: index as f64 / 3.0,
            length: 1.0 / 3.0,
            pitch: kettlemark::pitch::Pitch::from_key(46),
            drum: 1,
            roll: false,
            outcome: Outcome::Played,
            stroke: None,
            deviation_ms: Some(2.0),
            deviation_sd_ms: Some(1.0),
            expected_s: None,
            click_deviation_ms: None,
            click_deviation_sd_ms: None,
        })
        .collect();
    Review {
        format: FORMAT.to_owned(),
        version: VERSION,
        program: "0.1.0".to_owned(),
        settings: Settings::default(),
        take: TakeFacts {
            file: format!("{take}.wav"),
            hash: blake3_like(take),
            ..TakeFacts::default()
        },
        part: PartFacts {
            title: "Lantern Procession".to_owned(),
            bars: 4,
            notes: 48,
            identity: "5eed5eed5eed".to_owned(),
        },
        judged: true,
        reason: None,
        same_piece: None,
        passages: Vec::new(),
        tempo: TempoFacts {
            median_bpm: Some(bpm),
            ..TempoFacts::default()
        },
        metronome: None,
        strokes: Vec::new(),
        notes,
        figures,
        figure_kinds: Vec::new(),
        rolls: Vec::new(),
        drums: Vec::new(),
        intervals: Vec::new(),
        dynamics: Dynamics::default(),
        stops: Vec::new(),
        doubts: Vec::new(),
        remarks: Vec::new(),
        written: Written::default(),
    }
}

/// A text that stands for a hash: different for different takes.
fn blake3_like(take: &str) -> String {
    let mut text = take
        .bytes()
        .map(|b| format!("{b:02x}"))
        .collect::<Vec<_>>()
        .concat();
    text.push_str("00000000");
    text
}
