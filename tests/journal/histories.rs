//! Made-up histories with a known truth: what is found, and how often
//! something is found that is not there.

use crate::common::review;
use kettlemark::align::Outcome;
use kettlemark::journal::compare::{Comparison, Set, Take, compare, files};
use kettlemark::journal::measures;
use kettlemark::journal::stats::ALPHA;
use kettlemark::journal::stats::chance::Chance;
use kettlemark::journal::trend::{self, Kept, Trends, Verdict, trends};
use kettlemark::number::UNKNOWN;
use kettlemark::review::{Accent, DrumFacts, Review, SettingFacts, Stop, StopState};
use kettlemark::words::journal as words;

const HISTORIES: u64 = 200;
/// More than this of 200 would come once in twenty times if the rate were
/// 5 % (binomial, upper 5 % point: 15).
const MOST_FALSE: usize = 15;

/// Ten weeks, two days a week, two takes a day; unevenness from 14 ms down by
/// `per_week`, with day-to-day scatter of 1.2 ms and the figures' own 2 ms.
fn history(per_week: f64, seed: u64) -> Trends {
    let mut chance = Chance::seeded(seed);
    let start = jiff::civil::date(2026, 9, 1);
    let mut takes = Vec::new();
    for day in 0..20 {
        let days = 7 * (day / 2) + 3 * (day % 2);
        let date = start
            .checked_add(jiff::Span::new().days(days))
            .unwrap()
            .to_string();
        let form = 14.0 + per_week * f64::from(days) / 7.0 + 1.2 * chance.normal();
        for take in 0..2 {
            let name = format!("{date}-{take}");
            let made = review(&name, 96.0 + 4.0 * chance.unit(), form, || {
                2.0 * chance.normal()
            });
            takes.push(Kept {
                date: date.clone(),
                settings: made.settings.clone(),
                measures: measures::of_review(&made),
                attempts: trend::attempts(&made, f64::from(days) / 7.0),
            });
        }
    }
    trends(&takes, takes.len())
}

#[test]
fn a_known_improvement_lies_inside_its_interval() {
    let (mut held, mut found) = (0, 0);
    for seed in 0..HISTORIES {
        let history = history(-0.4, seed);
        let main = &history.series[0];
        assert_eq!(main.measure, "unevenness");
        let interval = main.per_week_interval.unwrap();
        held += usize::from(interval.holds(-0.4));
        found += usize::from(main.verdict == Verdict::Better);
    }
    println!("held {held}, found {found} of {HISTORIES}");
    assert!(
        held >= 190,
        "{held} of {HISTORIES} slopes inside their interval"
    );
    assert!(found >= 180, "{found} of {HISTORIES} improvements found");
}

/// Any measure of a history counts, not the first alone.
#[test]
fn without_a_change_no_improvement_is_claimed() {
    let claimed = (0..HISTORIES)
        .filter(|seed| {
            let history = history(0.0, 1_000 + seed);
            history.series.iter().any(|s| s.verdict == Verdict::Better)
        })
        .count();
    println!("claimed {claimed} of {HISTORIES}");
    assert!(claimed <= 10, "{claimed} of {HISTORIES}");
}

#[test]
fn four_days_are_not_enough() {
    let mut chance = Chance::seeded(4);
    let takes: Vec<Kept> = (0..4)
        .map(|i| {
            let made = review(&i.to_string(), 100.0, 20.0 - 4.0 * f64::from(i), || {
                chance.normal()
            });
            Kept {
                date: format!("2026-11-0{}", i + 1),
                settings: made.settings.clone(),
                measures: measures::of_review(&made),
                attempts: Vec::new(),
            }
        })
        .collect();
    let trends = trends(&takes, 4);
    assert!(
        trends
            .series
            .iter()
            .all(|s| s.verdict == Verdict::NotEnough)
    );
    assert!(trends.series[0].per_week_interval.is_none());
    let page = &trend::files(&trends);
    let (_, text) = page.last().unwrap();
    assert!(text.contains("Not enough takes yet"));
}

#[test]
fn numbers_of_an_earlier_definition_are_left_out_and_it_is_said() {
    let takes: Vec<Kept> = (1..=8)
        .map(|i| {
            let made = review(&i.to_string(), 100.0, 10.0 - f64::from(i) * 0.5, || 0.0);
            let mut measures = measures::of_review(&made);
            if i <= 2 {
                measures.iter_mut().for_each(|m| m.version = 0);
            }
            Kept {
                date: format!("2026-11-0{i}"),
                settings: made.settings.clone(),
                measures,
                attempts: trend::attempts(&made, f64::from(i) / 7.0),
            }
        })
        .collect();
    let trends = trends(&takes, 8);
    assert_eq!(trends.tempo_edges[0].takes.len(), 6);
    assert_eq!(trends.series[0].days.len(), 6);
    assert_eq!(trends.series[0].other_definition, 2);
    assert!(words::series(&trends.series[0]).contains("earlier definition"));
}

/// A take with four kinds of figures, most of them sixteenths, and with what
/// else a player asks for.
fn of_many_kinds(name: &str) -> Review {
    let mut made = constant(name, 2.0, 440.0);
    let triplets = made.figures.clone();
    for (kind, times) in [("eighths", 2), ("quarters", 1), ("sixteenths", 3)] {
        for figure in triplets.iter().cycle().take(16 * times) {
            let mut figure = figure.clone();
            kind.clone_into(&mut figure.kind);
            made.figures.push(figure);
        }
    }
    made.dynamics.accents.push(Accent {
        note: 0,
        bar: 1,
        contrast_db: Some(4.0),
        contrast_sd_db: Some(1.0),
    });
    made.stops.push(Stop {
        note: 0,
        bar: 1,
        drum: 1,
        expected: "rest".to_owned(),
        state: StopState::Stopped,
        written_end_ms: Some(380.0),
        stopped_after_ms: Some(400.0),
        stopped_after_sd_ms: Some(10.0),
        late_ms: Some(20.0),
        ring_db_500ms: None,
        curve_db: Vec::new(),
        curve_hop_s: 0.01,
    });
    made
}

/// What the terminal says and the page draws.
const SHOWN: [&str; 8] = [
    "unevenness",
    "clean_share",
    "clean_run",
    "all_clean",
    "off_pitch",
    "accent_contrast",
    "stop_late",
    "tempo",
];

#[test]
fn what_a_player_asks_for_comes_first() {
    let takes: Vec<Kept> = (1..=6)
        .map(|i| {
            let made = of_many_kinds(&format!("take {i}"));
            Kept {
                date: format!("2026-11-0{i}"),
                settings: made.settings.clone(),
                measures: measures::of_review(&made),
                attempts: Vec::new(),
            }
        })
        .collect();
    let found = trends(&takes, 6);
    let shown: Vec<&str> = found.shown().map(|s| s.measure).collect();
    assert_eq!(shown, SHOWN);
    assert!(found.shown().take(4).all(|s| s.of == "triplet-eighths"));
    // Then the other kinds, each whole; the doubles in per cent last.
    let kinds: Vec<&str> = found.series[8..20].iter().map(|s| s.of.as_str()).collect();
    assert_eq!(kinds[..4], ["eighths"; 4]);
    assert_eq!(kinds[4..8], ["quarters"; 4]);
    assert_eq!(kinds[8..], ["sixteenths"; 4]);
    let doubles = found.series.iter().rev().take(4);
    assert!(doubles.map(|s| s.measure).all(|m| m == "unevenness_share"));

    let set = |name: &str| Set {
        name: name.to_owned(),
        takes: (0..4)
            .map(|i| Take::of(&of_many_kinds(&format!("{name}{i}")), "take").unwrap())
            .collect(),
    };
    let comparison = compare(&set("A"), &set("B"));
    let shown: Vec<&str> = comparison.shown().map(|c| c.measure).collect();
    assert_eq!(shown, SHOWN);
    assert_eq!(comparison.measures[0].of, "triplet-eighths");
    let page = files(&comparison).pop().unwrap().1;
    assert!(page.contains("Unevenness in per cent of the interval"));
    // Without triplets the kind played most leads.
    let without: Vec<Kept> = takes
        .into_iter()
        .map(|mut take| {
            take.measures.retain(|m| m.key != "triplet-eighths");
            take
        })
        .collect();
    assert_eq!(trends(&without, 6).series[0].of, "sixteenths");
}

/// A take of a player who never changes: every other figure lies between the
/// usual limit of 12 ms and twice that, the drum a little off at 440 Hz.
fn constant(name: &str, clean_factor: f64, a4_hz: f64) -> Review {
    let mut chance = Chance::seeded(name.len() as u64);
    let mut made = review(name, 100.0, 12.0, || 6.0 * (chance.unit() - 0.5));
    made.settings.clean_factor = clean_factor;
    made.settings.a4_hz = a4_hz;
    for (i, figure) in made.figures.iter_mut().enumerate() {
        figure.clean = Some(i % 2 == 0 || clean_factor >= 4.0);
    }
    made.drums.push(DrumFacts {
        drum: 1,
        size_in: None,
        settings: vec![SettingFacts {
            pitch: kettlemark::pitch::Pitch::from_key(46),
            from_bar: 1,
            to_bar: 4,
            hz: Some(117.0),
            cents: Some(6.8 - 1200.0 * (a4_hz / 440.0).log2()),
            cents_sd: Some(1.0),
            strokes: 40,
            drift_cents_per_min: None,
            drift_sd_cents_per_min: None,
            loud_sharp_cents: None,
            loud_sharp_sd_cents: None,
            verdict: None,
        }],
    });
    made
}

#[test]
fn other_settings_make_no_improvement_and_it_is_said() {
    let settings = |i: u32| if i <= 6 { (2.0, 440.0) } else { (4.0, 443.0) };
    let takes: Vec<Kept> = (1..=12)
        .map(|i| {
            let (clean_factor, a4_hz) = settings(i);
            let made = constant(&format!("take {i:02}"), clean_factor, a4_hz);
            Kept {
                date: format!("2026-11-{i:02}"),
                settings: made.settings.clone(),
                measures: measures::of_review(&made),
                attempts: trend::attempts(&made, f64::from(i) / 7.0),
            }
        })
        .collect();
    let trends = trends(&takes, 12);
    for s in &trends.series {
        assert!(
            matches!(s.verdict, Verdict::NoTrend | Verdict::NotEnough),
            "{}: {:?}",
            s.measure,
            s.verdict
        );
        // What does not depend on what was changed keeps all its takes.
        let (depends, said) = match s.measure {
            "clean_share" | "clean_run" | "all_clean" => (true, "another limit for clean figures"),
            "cents" | "off_pitch" => (true, "another frequency of A4"),
            _ => (false, "left out"),
        };
        assert_eq!(
            s.other_settings,
            if depends { 6 } else { 0 },
            "{}",
            s.measure
        );
        assert_eq!(s.days.len(), 12 - s.other_settings, "{}", s.measure);
        assert_eq!(words::series(s).contains(said), depends, "{}", s.measure);
    }
    assert_eq!(trends.tempo_edges[0].other_settings, 6);
    assert_eq!(trends.tempo_edges[0].takes.len(), 6);
}

#[test]
fn two_sets_are_not_told_apart_by_their_settings() {
    let taken = |name: &str, i: usize, factor: f64| {
        let made = constant(&format!("{name}{i}"), factor, 440.0);
        Take::of(&made, &format!("{name}{i}")).unwrap()
    };
    let set = |name: &str, factors: [f64; 6]| Set {
        name: name.to_owned(),
        takes: (0..6).map(|i| taken(name, i, factors[i])).collect(),
    };
    let usual = set("A", [2.0; 6]);
    let comparison = compare(&usual, &set("B", [4.0; 6]));
    let of = |c: &Comparison| c.measures.iter().map(|c| c.measure).collect::<Vec<_>>();
    assert!(!of(&comparison).contains(&"clean_share"));
    let apart = comparison
        .apart
        .iter()
        .find(|a| a.measure == "clean_share")
        .unwrap();
    assert_eq!(apart.left_out.other_settings, 6);
    let (_, page) = files(&comparison).pop().unwrap();
    assert!(page.contains("another limit for clean figures"));
    let [told] = words::apart(&comparison.apart).try_into().unwrap();
    assert_eq!(
        told.replace('\u{a0}', " "),
        "Not compared: Share of clean figures; Longest run of clean figures; Every figure clean \
         (1 yes, 0 no). 6 takes reviewed with another limit for clean figures left out; review \
         them again with that of the newest to compare."
    );
    // Some takes alike on both sides are enough to go on with.
    let some = compare(&usual, &set("C", [4.0, 4.0, 2.0, 2.0, 2.0, 2.0]));
    let share = some.measures.iter().find(|c| c.measure == "clean_share");
    let share = share.unwrap();
    assert_eq!(share.left_out.other_settings, 2);
    assert_eq!((share.difference.count_a, share.difference.count_b), (6, 4));
    assert_eq!(share.difference.difference, 0.0);
    assert!(words::compared(share, ("A", "C")).contains("2\u{a0}takes reviewed with another"));
    // Where days are known the newest take says what the others are held to.
    let mut dated = usual.clone();
    for take in &mut dated.takes {
        take.recorded = Some("2026-11-20".to_owned());
    }
    let mixed = set("D", [2.0, 2.0, 2.0, 2.0, 2.0, 4.0]);
    let told = |a: &Set| {
        let found = compare(a, &mixed).measures;
        let share = found.iter().find(|c| c.measure == "clean_share");
        share.map(|c| c.left_out.other_settings)
    };
    assert_eq!((told(&dated), told(&usual)), (Some(1), None));
}

/// Shares that swing between nothing and all.
#[test]
fn no_two_days_need_differ_by_more_than_all() {
    let takes: Vec<Kept> = (1..=8)
        .map(|i| {
            let mut made = review(&i.to_string(), 100.0, 8.0, || 0.0);
            for figure in &mut made.figures {
                figure.clean = Some(i % 3 == 0);
            }
            Kept {
                date: format!("2026-11-0{i}"),
                settings: made.settings.clone(),
                measures: measures::of_review(&made),
                attempts: Vec::new(),
            }
        })
        .collect();
    let trends = trends(&takes, 8);
    for measure in ["clean_share", "all_clean"] {
        let s = trends.series.iter().find(|s| s.measure == measure).unwrap();
        let told = words::series(s);
        assert!(
            told.ends_with("No two single days can differ enough to mean anything."),
            "{told}"
        );
        assert_eq!(words::smallest_change(s), UNKNOWN);
    }
    // What nothing bounds is told as before.
    let run = trends.series.iter().find(|s| s.measure == "clean_run");
    assert!(words::series(run.unwrap()).contains("Two days must differ by more than"));
}

fn set(name: &str, takes: usize, ms: f64, chance: &mut Chance) -> Set {
    let takes = (0..takes)
        .map(|i| {
            let form = ms + 1.5 * chance.normal();
            let made = review(&format!("{name}{i}"), 100.0, form, || 2.0 * chance.normal());
            Take::of(&made, &format!("{name}{i}")).unwrap()
        })
        .collect();
    Set {
        name: name.to_owned(),
        takes,
    }
}

#[test]
fn two_stickings_are_told_apart_as_often_as_they_should_be() {
    let (mut held, mut wrong) = (0, 0);
    for seed in 0..HISTORIES {
        let mut chance = Chance::seeded(5_000 + seed);
        let a = set("A", 7, 11.0, &mut chance);
        let b = set("B", 7, 9.0, &mut chance);
        let same = set("C", 7, 11.0, &mut chance);
        let main = &compare(&a, &b).measures[0];
        assert_eq!(main.measure, "unevenness");
        held += usize::from(main.difference.interval.unwrap().holds(-2.0));
        let none = compare(&a, &same);
        wrong += usize::from(none.measures[0].p_corrected.unwrap() <= ALPHA);
    }
    println!("held {held}, wrong {wrong} of {HISTORIES}");
    assert!(
        held >= 185,
        "{held} of {HISTORIES} differences inside their interval"
    );
    assert!(
        wrong <= MOST_FALSE,
        "{wrong} of {HISTORIES} differences that are not there"
    );
}

#[test]
fn a_page_of_two_single_takes_shows_bars_and_settles_nothing() {
    let mut chance = Chance::seeded(9);
    let comparison = compare(
        &set("student", 1, 14.0, &mut chance),
        &set("teacher", 1, 5.0, &mut chance),
    );
    assert_eq!(comparison.bars.len(), 4);
    for m in &comparison.measures {
        assert_eq!((m.difference.p, m.p_corrected), (None, None));
        assert_eq!(m.difference.interval, None);
    }
    let files = files(&comparison);
    let (name, page) = files.last().unwrap();
    assert_eq!(name, "compare.html");
    assert!(page.contains("Not enough takes to settle it") && page.contains("Bar by bar"));
    let drawn = |name: &str| {
        std::path::Path::new(name)
            .extension()
            .is_some_and(|e| e == "svg")
    };
    let charts: Vec<_> = files.iter().filter(|f| drawn(&f.0)).collect();
    assert!(!charts.is_empty());
    for (name, file) in charts {
        assert!(roxmltree::Document::parse(file).is_ok(), "{name}");
    }
}

/// A student's take beside the teacher's, bar by bar, each figure as sure as
/// its review makes it.
#[test]
fn bars_are_told_with_their_uncertainty_and_their_wrong_notes() {
    let mut student = review("student", 100.0, 14.0, || 0.0);
    for (note, outcome) in [
        (13, Outcome::Missed),
        (14, Outcome::Missed),
        (15, Outcome::OtherDrum),
        (40, Outcome::NotReached),
        (47, Outcome::Unsure),
    ] {
        student.notes[note].outcome = outcome;
    }
    student.notes[0].deviation_sd_ms = None;
    let teacher = review("teacher", 100.0, 5.0, || 0.0);
    // As logs kept bars at first.
    let mut bare = measures::of_review(&teacher);
    for m in bare.iter_mut().filter(|m| m.scope == "bar") {
        m.sd = None;
    }
    let set = |name: &str, takes: Vec<Option<Take>>| Set {
        name: name.to_owned(),
        takes: takes.into_iter().flatten().collect(),
    };
    let of_student = set("student", vec![Take::of(&student, "student")]);
    let of_teacher = set(
        "teacher",
        vec![Take::kept(
            &teacher,
            "teacher",
            bare,
            Some("2026-11-01".to_owned()),
        )],
    );
    let comparison = compare(&of_student, &of_teacher);
    let close = |found: Option<f64>, expected: f64| {
        assert!((found.unwrap() - expected).abs() < 1e-3, "{found:?}");
    };
    let bar = &comparison.bars[1];
    assert_eq!(bar.bar, 2);
    // Twelve notes of 1 ms each, four figures of 1 ms each.
    for side in 0..2 {
        close(bar.deviation_sd_ms[side], 1.0 / 12.0_f64.sqrt());
        close(bar.unevenness_sd_ms[side], 1.253 / 2.0);
    }
    assert_eq!(bar.missed, [Some(2.0), Some(0.0)]);
    assert_eq!(bar.other_drum, [Some(1.0), Some(0.0)]);
    assert_eq!(comparison.bars[3].missed, [Some(0.0), Some(0.0)]);
    // One note without an uncertainty leaves its bar without.
    assert_eq!(comparison.bars[0].deviation_sd_ms[0], None);
    let page = files(&comparison).pop().unwrap().1;
    assert!(page.contains("14.0\u{a0}±\u{a0}0.6"), "{page}");
    assert!(page.contains("notes not heard or on another drum"));
    // Several takes are as unsure as they scatter, where that is more.
    let takes = [6.0, 10.0, 14.0, 18.0];
    let several = takes.map(|ms| Take::of(&review(&ms.to_string(), 100.0, ms, || 0.0), "take"));
    let bars = compare(&of_student, &set("several", several.into())).bars;
    let scatter = (80.0_f64 / 3.0).sqrt();
    close(bars[1].unevenness_sd_ms[1], 1.253 * scatter / 2.0);
    close(bars[1].unevenness_ms[1], 12.0);
}
