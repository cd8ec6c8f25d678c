//! Reviews made by hand for the page: what a take could have come to, without
//! any hearing.

mod maker;
mod summing;

use kettlemark::align::Outcome;
use kettlemark::review::{Doubt, Dynamics, MetronomeFacts, PassageFacts, Review, TempoFacts};
use maker::{Wish, make};

pub fn clean() -> Review {
    make(&Wish {
        title: "Lantern Procession",
        file: "2026-10-28_lantern_A.m4a",
        bars: 24,
        bpm: 96.0,
        drums: &["F2", "Bb2", "D3", "F3"],
        faults: 0.05,
        all_rolls: false,
        dense: false,
        seed: 7,
    })
}

pub fn bad() -> Review {
    let mut review = make(&Wish {
        title: "Lantern Procession",
        file: "2026-09-30_lantern_A.mp3",
        bars: 24,
        bpm: 96.0,
        drums: &["F2", "Bb2", "D3", "F3"],
        faults: 1.0,
        all_rolls: false,
        dense: false,
        seed: 7,
    });
    review.doubts = vec![
        Doubt {
            kind: "gain-control".into(),
            text: "The recorder evens the level out: soft strokes come up, loud ones go down."
                .into(),
            limits: vec!["dynamics".into(), "stops".into()],
        },
        Doubt {
            kind: "bass-cut".into(),
            text: "Below about 150 Hz the recording loses bass.".into(),
            limits: vec!["tuning".into()],
        },
    ];
    review.passages.insert(
        0,
        PassageFacts {
            from_s: 0.3,
            to_s: 1.7,
            from_bar: 1,
            to_bar: 1,
            counted: false,
            median_bpm: Some(90.0),
            played: 2,
            missed: 0,
            other_drum: 0,
            unsure: 0,
            unevenness_ms: None,
        },
    );
    review
}

pub fn five_strokes() -> Review {
    let mut review = make(&Wish {
        title: "Five strokes",
        file: "five.wav",
        bars: 2,
        bpm: 80.0,
        drums: &["A2", "D3"],
        faults: 0.2,
        all_rolls: false,
        dense: false,
        seed: 7,
    });
    review.notes.truncate(5);
    let kept = |note: usize| note < 5;
    review.strokes.retain(|s| s.note.is_some_and(kept));
    review.figures.clear();
    review.figure_kinds.clear();
    review.rolls.clear();
    review.stops.clear();
    review.dynamics.accents.retain(|a| kept(a.note));
    review.dynamics.hairpins.clear();
    review.written.hairpins.clear();
    review.remarks.clear();
    review.tempo.curve.truncate(5);
    for drum in &mut review.drums {
        for setting in &mut drum.settings {
            setting.strokes = 2;
            setting.cents = None;
            setting.cents_sd = None;
            setting.hz = None;
            setting.verdict = None;
            setting.drift_cents_per_min = None;
            setting.drift_sd_cents_per_min = None;
            setting.loud_sharp_cents = None;
            setting.loud_sharp_sd_cents = None;
        }
    }
    review.intervals.clear();
    review.part.notes = 5;
    review.take.duration_s = 6.0;
    review
}

/// Ten minutes without much rest.
pub fn ten_minutes() -> Review {
    make(&Wish {
        title: "A long study for four drums",
        file: "long.flac",
        bars: 240,
        bpm: 96.0,
        drums: &["F2", "Bb2", "D3", "F3"],
        faults: 0.4,
        all_rolls: false,
        dense: true,
        seed: 7,
    })
}

/// Played to a metronome, 6 ms before it.
pub fn one_drum() -> Review {
    let mut review = make(&Wish {
        title: "Study for one drum",
        file: "one.ogg",
        bars: 8,
        bpm: 72.0,
        drums: &["C3"],
        faults: 0.5,
        all_rolls: false,
        dense: false,
        seed: 7,
    });
    for note in &mut review.notes {
        note.click_deviation_ms = note.deviation_ms.map(|ms| ms - 6.0);
        note.click_deviation_sd_ms = note.deviation_sd_ms;
    }
    review.metronome = Some(MetronomeFacts {
        clicks_per_min: 70.0,
        clicks_per_min_sd: 0.001,
        clicks: 21,
        from_s: 0.3,
        to_s: 29.5,
        time_sd_ms: 0.2,
        quarters: Some(1.0),
        deviation_ms: Some(-6.0),
        deviation_sd_ms: Some(1.1),
        scatter_ms: Some(9.0),
    });
    review
}

pub fn all_rolls() -> Review {
    make(&Wish {
        title: "Long rolls",
        file: "rolls.wav",
        bars: 8,
        bpm: 60.0,
        drums: &["G2", "C3"],
        faults: 0.3,
        all_rolls: true,
        dense: false,
        seed: 7,
    })
}

pub fn refused() -> Review {
    let mut review = clean();
    review.judged = false;
    review.reason = Some("what is played does not follow this part".into());
    review.same_piece = Some(0.01);
    review.passages.clear();
    review.tempo = TempoFacts::default();
    for note in &mut review.notes {
        note.outcome = Outcome::NotReached;
        note.stroke = None;
        note.deviation_ms = None;
        note.deviation_sd_ms = None;
        note.expected_s = None;
    }
    for stroke in &mut review.strokes {
        stroke.note = None;
        stroke.drum = None;
        stroke.hz = None;
        stroke.cents = None;
        stroke.cents_sd = None;
        stroke.in_roll = false;
    }
    review.figures.clear();
    review.figure_kinds.clear();
    review.rolls.clear();
    review.drums.clear();
    review.intervals.clear();
    review.dynamics = Dynamics::default();
    review.stops.clear();
    review.remarks.clear();
    for bar in &mut review.written.bars {
        bar.time_s = None;
    }
    for mark in &mut review.written.marks {
        mark.time_s = None;
    }
    for hairpin in &mut review.written.hairpins {
        hairpin.from_s = None;
        hairpin.to_s = None;
    }
    review
}

/// One of many takes of one part; with `faults` much goes wrong.
pub fn one_of_many(file: &str, bpm: f64, faults: f64, seed: u64) -> Review {
    let mut review = make(&Wish {
        title: "Lantern Procession",
        file: "",
        bars: 24,
        bpm,
        drums: &["F2", "Bb2", "D3", "F3"],
        faults,
        all_rolls: false,
        dense: false,
        seed,
    });
    file.clone_into(&mut review.take.file);
    review.take.hash = format!("{seed:064x}");
    review
}

/// Titles, cues, marks and names that try to be something else.
pub fn hostile() -> Review {
    let mut review = clean();
    review.part.title =
        "<script>alert(1)</script>\"'&amp; \u{202e}desrever\u{202c} 🥁 Процессия с \
                         фонарями, 提灯行列のための行進曲、とても長い題名 ünïcödé \
                         Donaudampfschifffahrtsgesellschaftskapitänsmütze\u{1b}[31m"
            .into();
    review.take.file = "=cmd|' \"><img src=x onerror=alert(2)>.m4a".into();
    review.written.bars[0].cue = Some("</text><script>alert(3)</script> кларнет соло".into());
    review.remarks[0].text = "<b>bold</b> & \"quoted\" text in bars 1-4.".into();
    review.figures[0].kind = "<i>odd</i>".into();
    review.doubts.push(Doubt {
        kind: "noise".into(),
        text: "It hums <script>alert(4)</script>.".into(),
        limits: vec!["<u>x</u>".into()],
    });
    review
}

/// All cases with the name of their golden files.
pub fn all() -> Vec<(&'static str, Review)> {
    vec![
        ("clean", clean()),
        ("bad", bad()),
        ("five", five_strokes()),
        ("long", ten_minutes()),
        ("one-drum", one_drum()),
        ("all-rolls", all_rolls()),
        ("refused", refused()),
        ("hostile", hostile()),
    ]
}
