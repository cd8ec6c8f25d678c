//! Our statistics beside scipy's, and beside counting every order.

use kettlemark::journal::stats::chance::Chance;
use kettlemark::journal::stats::difference::difference;
use kettlemark::journal::stats::logistic::{Attempt, PENALTY, fit};
use kettlemark::journal::stats::trend::{mann_kendall, trend_line};
use kettlemark_test_support::outside;
use serde_json::json;

#[test]
fn trends_differences_and_curves_agree_with_scipy() {
    let mut chance = Chance::seeded(77);
    let mut round = |scale: f64, step: f64| (scale * chance.normal() / step).round() * step;
    let series: Vec<Vec<f64>> = (0..24)
        .map(|i| {
            // Coarse steps make ties.
            let step = if i % 2 == 0 { 0.001 } else { 2.0 };
            (0..5 + i % 4)
                .map(|k| f64::from(k) * 0.5 + round(3.0, step))
                .collect()
        })
        .collect();
    let pairs: Vec<[Vec<f64>; 2]> = (0..8)
        .map(|i| {
            let a = (0..5 + i % 3).map(|_| round(2.0, 0.01)).collect();
            let b = (0..6).map(|_| 1.0 + round(2.0, 0.01)).collect();
            [a, b]
        })
        .collect();
    let attempts: Vec<Attempt> = (0..80)
        .map(|i| Attempt {
            bpm: 70.0 + f64::from(i),
            week: f64::from(i % 10),
            success: round(30.0, 0.01) > f64::from(i) - 50.0,
        })
        .collect();
    let rows: Vec<(f64, f64, bool)> = attempts
        .iter()
        .map(|a| (a.bpm, a.week, a.success))
        .collect();
    let input = json!({"series": series, "pairs": pairs, "attempts": rows, "penalty": PENALTY});
    let Some(theirs) = outside::python_json("journal_statistics.py", &input) else {
        return;
    };
    let close = |ours: f64, theirs: &serde_json::Value, within: f64, what: &str| {
        let theirs = theirs.as_f64().unwrap();
        assert!(
            (ours - theirs).abs() <= within,
            "{what}: {ours} against {theirs}"
        );
    };
    for (values, theirs) in series.iter().zip(theirs["series"].as_array().unwrap()) {
        let test = mann_kendall(values).unwrap();
        let points: Vec<(f64, f64)> = (0..).map(f64::from).zip(values.iter().copied()).collect();
        let line = trend_line(&points).unwrap();
        close(test.p, &theirs["p_by_counting"], 1e-9, "p");
        close(test.s as f64, &theirs["s"], 0.0, "S");
        close(line.slope, &theirs["slope"], 1e-9, "slope");
        close(line.intercept, &theirs["intercept"], 1e-9, "intercept");
        if let Some(p) = theirs["p_kendall"].as_f64() {
            close(test.p, &json!(p), 1e-9, "p of kendalltau");
        }
        let interval = line.interval.unwrap();
        close(interval.low, &theirs["low"], 1e-9, "low");
        close(interval.high, &theirs["high"], 1e-9, "high");
    }
    for ([a, b], theirs) in pairs.iter().zip(theirs["pairs"].as_array().unwrap()) {
        let found = difference(a, b).unwrap();
        assert!(found.exact);
        close(
            found.p.unwrap(),
            &theirs["p"],
            1e-9,
            "p of the permutation test",
        );
    }
    let curve = fit(&attempts, true).unwrap();
    close(
        curve.per_bpm,
        &theirs["curve"]["per_bpm"],
        1e-5,
        "slope of the curve",
    );
    close(
        curve.per_week,
        &theirs["curve"]["per_week"],
        1e-5,
        "week of the curve",
    );
    close(
        curve.constant,
        &theirs["curve"]["constant"],
        1e-3,
        "constant of the curve",
    );
}
