//! Made-up histories with a known truth: what is found, and how often
//! something is found that is not there.

use crate::common::review;
use kettlemark::journal::compare::{Set, Take, compare, files};
use kettlemark::journal::measures;
use kettlemark::journal::stats::ALPHA;
use kettlemark::journal::stats::chance::Chance;
use kettlemark::journal::trend::{self, Kept, Trends, Verdict, trends};
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
                measures,
                attempts: Vec::new(),
            }
        })
        .collect();
    let trends = trends(&takes, 8);
    assert_eq!(trends.series[0].days.len(), 6);
    assert_eq!(trends.series[0].other_definition, 2);
    assert!(words::series(&trends.series[0]).contains("earlier definition"));
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
