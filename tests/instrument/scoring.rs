//! The scoring gives a perfect review full marks, and takes marks away for
//! each kind of fault.

use kettlemark::align::Outcome;
use kettlemark::listen::{Candidate, Heard};
use kettlemark::part::quarters_f64;
use kettlemark::review::{
    DrumFacts, Dynamics, FORMAT, NoteFacts, PartFacts, PassageFacts, Review, Roll, SettingFacts,
    Stop, StopState, StrokeFacts, TakeFacts, TempoFacts, VERSION, Written,
};
use kettlemark::settings::Settings;
use kettlemark_test_support::bars::{self, Bar};
use kettlemark_test_support::conditions::Kind;
use kettlemark_test_support::kit::Instrument;
use kettlemark_test_support::score::Tally;
use kettlemark_test_support::takes::{self, MadeTake};
use kettlemark_test_support::truth::Fate;
use std::sync::OnceLock;

fn strokes(take: &MadeTake) -> Vec<StrokeFacts> {
    let truth = &take.truth;
    let settings = take.part.settings();
    truth
        .strokes
        .iter()
        .map(|s| StrokeFacts {
            time_s: (1000.0 * s.time_s).round() / 1000.0,
            time_sd_ms: 0.25,
            level_db: s.level_db,
            level_sd_db: 1.0,
            drum: Some(settings[s.setting].drum),
            hz: None,
            cents: Some(truth.settings[s.setting].cents),
            cents_sd: Some(1.0),
            in_roll: s.in_roll,
            note: s.note,
        })
        .collect()
}

fn notes(take: &MadeTake) -> Vec<NoteFacts> {
    let (part, truth) = (&take.part, &take.truth);
    part.notes
        .iter()
        .enumerate()
        .map(|(index, note)| NoteFacts {
            index,
            bar: 1,
            beat: 1.0,
            at: quarters_f64(note.at),
            length: quarters_f64(note.length),
            pitch: note.pitch,
            drum: note.drum,
            roll: note.roll,
            outcome: match truth.notes[index].fate {
                Fate::Played => Outcome::Played,
                Fate::Missed => Outcome::Missed,
                Fate::OtherDrum => Outcome::OtherDrum,
                Fate::NotReached => Outcome::NotReached,
            },
            stroke: truth
                .strokes
                .iter()
                .position(|s| s.note == Some(index) && !s.grace && s.counted),
            deviation_ms: None,
            deviation_sd_ms: None,
            expected_s: None,
            click_deviation_ms: None,
            click_deviation_sd_ms: None,
        })
        .collect()
}

fn stops(take: &MadeTake) -> Vec<Stop> {
    let (part, truth) = (&take.part, &take.truth);
    truth
        .stops
        .iter()
        .map(|s| {
            // A roll is followed from its last stroke.
            let roll = truth.rolls.iter().find(|r| r.note == s.note);
            let struck_s = roll
                .map(|r| r.to_s)
                .or(truth.notes[s.note].time_s)
                .unwrap_or(f64::NAN);
            Stop {
                note: s.note,
                bar: 1,
                drum: part.notes[s.note].drum,
                expected: "rest".to_owned(),
                state: s.at_s.map_or(StopState::Ringing, |_| StopState::Stopped),
                written_end_ms: None,
                stopped_after_ms: s.at_s.map(|t| 1000.0 * (t - struck_s)),
                stopped_after_sd_ms: None,
                late_ms: None,
                ring_db_500ms: None,
                curve_db: Vec::new(),
                curve_hop_s: 0.02,
            }
        })
        .collect()
}

/// The review of somebody who knows the truth, but tells times to 1 ms.
fn perfect(take: &MadeTake) -> Review {
    let (part, truth) = (&take.part, &take.truth);
    let settings = part.settings();
    Review {
        format: FORMAT.to_owned(),
        version: VERSION,
        program: String::new(),
        settings: Settings::default(),
        take: TakeFacts::default(),
        part: PartFacts::default(),
        judged: true,
        reason: None,
        same_piece: None,
        passages: truth
            .passages
            .iter()
            .map(|p| PassageFacts {
                from_s: p.from_s,
                to_s: p.to_s,
                from_bar: part.bars[part.notes[p.notes.0].bar].number,
                to_bar: part.bars[part.notes[p.notes.1].bar].number,
                counted: p.counted,
                median_bpm: None,
                played: 0,
                missed: 0,
                other_drum: 0,
                unsure: 0,
                unevenness_ms: None,
            })
            .collect(),
        tempo: TempoFacts::default(),
        metronome: None,
        strokes: strokes(take),
        notes: notes(take),
        figures: Vec::new(),
        figure_kinds: Vec::new(),
        rolls: truth
            .rolls
            .iter()
            .map(|r| Roll {
                note: r.note,
                bar: 1,
                from_s: r.from_s,
                to_s: r.to_s,
                strokes_per_s: Some(r.strokes_per_s),
                strokes_per_s_sd: None,
                unevenness_pct: None,
                unevenness_sd_pct: None,
                level_curve_db: Vec::new(),
                start_accent_db: None,
                start_accent_sd_db: None,
                end_accent_db: None,
                end_accent_sd_db: None,
                gap_ms: None,
                gap_sd_ms: None,
            })
            .collect(),
        drums: settings
            .iter()
            .zip(&truth.settings)
            .map(|(s, t)| DrumFacts {
                drum: s.drum,
                size_in: None,
                settings: vec![SettingFacts {
                    pitch: s.pitch,
                    from_bar: 1,
                    to_bar: 1,
                    hz: Some(t.hz),
                    cents: Some(t.cents + 0.5),
                    cents_sd: Some(1.0),
                    strokes: 1,
                    drift_cents_per_min: None,
                    drift_sd_cents_per_min: None,
                    loud_sharp_cents: None,
                    loud_sharp_sd_cents: None,
                    verdict: None,
                }],
            })
            .collect(),
        intervals: Vec::new(),
        dynamics: Dynamics::default(),
        stops: stops(take),
        doubts: Vec::new(),
        remarks: Vec::new(),
        written: Written::default(),
    }
}

fn heard(take: &MadeTake) -> Heard {
    let candidates = take
        .truth
        .strokes
        .iter()
        .map(|s| Candidate {
            time_s: s.time_s,
            time_sd_s: 0.001,
            log_odds: 5.0,
            level_db: -20.0,
        })
        .collect();
    Heard {
        candidates,
        ..Heard::default()
    }
}

/// Takes with some of every fault.
fn tally(change: impl Fn(&mut Review)) -> Tally {
    static TAKES: OnceLock<Vec<MadeTake>> = OnceLock::new();
    let made = TAKES.get_or_init(|| {
        let make = |seed| takes::make(Kind::Clean, Instrument::Modal, seed);
        (0..6).map(make).collect()
    });
    let mut tally = Tally::default();
    for take in made {
        let mut review = perfect(take);
        change(&mut review);
        tally.add("made", take, &heard(take), &review);
    }
    tally
}

fn missed_bars(tally: &Tally) -> Vec<&'static str> {
    bars::rows(Kind::Clean, tally)
        .iter()
        // Uncertainties of a perfect review are no sample of anything.
        .filter(|row| !matches!(row.bar, Bar::Between(..)))
        .filter(|row| row.bar != Bar::Shown && row.bar.passes(row.figure) != Some(true))
        .map(|row| row.name)
        .collect()
}

#[test]
fn a_perfect_review_passes_every_bar() {
    let tally = tally(|_| ());
    assert_eq!(missed_bars(&tally), Vec::<&str>::new());
    let failing: Vec<_> = tally.failures.iter().map(|f| &f.what).collect();
    assert!(failing.is_empty(), "{failing:?}");
}

#[test]
fn each_fault_shows_in_its_own_rows() {
    let late = tally(|r| {
        for (i, s) in r.strokes.iter_mut().enumerate() {
            s.time_s += if i % 10 == 0 { 0.015 } else { 0.0 };
        }
    });
    let missed = missed_bars(&late);
    assert!(
        missed.contains(&"stroke F at 10 ms, part known"),
        "{missed:?}"
    );
    assert!(missed.contains(&"attack time error, p95, ms"), "{missed:?}");
    assert!(
        !missed.contains(&"stroke F at 25 ms, part known"),
        "{missed:?}"
    );

    let accusing = tally(|r| {
        for n in r.notes.iter_mut().step_by(20) {
            n.outcome = Outcome::Missed;
        }
    });
    assert!(missed_bars(&accusing).contains(&"played and audible, called missed or other-drum, %"));

    let kind = tally(|r| {
        for n in &mut r.notes {
            n.outcome = Outcome::Played;
        }
    });
    assert_eq!(
        missed_bars(&kind),
        ["missed notes found, %", "wrong drums found, %"]
    );

    let deaf = tally(|r| r.strokes.truncate(r.strokes.len() / 2));
    assert!(missed_bars(&deaf).contains(&"stroke F at 25 ms, part known"));

    let flat = tally(|r| {
        for s in r.drums.iter_mut().flat_map(|d| &mut d.settings) {
            s.cents = s.cents.map(|c| c - 8.0);
        }
        for s in &mut r.stops {
            s.stopped_after_ms = s.stopped_after_ms.map(|ms| ms + 50.0);
        }
        for roll in &mut r.rolls {
            roll.strokes_per_s = roll.strokes_per_s.map(|v| 1.1 * v);
        }
    });
    assert_eq!(
        missed_bars(&flat),
        [
            "tuning of a setting, median, cents",
            "tuning of a setting, p90, cents",
            "stop time error, median, ms",
            "roll rate within 5 %, %",
        ]
    );
}
