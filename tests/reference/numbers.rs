//! Our statistics and evenness figures against numpy 2.4 and scipy 1.17 on the
//! same random numbers, and the thresholds against the paper they come from.

use kettlemark::align::Pulse;
use kettlemark::measure::figures;
use kettlemark::settings::Settings;
use kettlemark::stats;
use kettlemark_test_support::draw::Draw;
use kettlemark_test_support::outside;
use serde::Deserialize;
use serde_json::json;

/// What `row_statistics.py` answers for one row of numbers.
#[derive(Deserialize)]
struct Theirs {
    median: f64,
    quantile_30: f64,
    mean: f64,
    sd: f64,
    mad_sd: f64,
    isotonic: Vec<f64>,
    slope: f64,
    intercept: f64,
    r_squared: f64,
}

fn close(ours: f64, theirs: f64, what: &str) {
    let off = (ours - theirs).abs();
    assert!(
        off <= 1e-9 * (1.0 + theirs.abs()),
        "{what}: {ours} against {theirs}"
    );
}

#[test]
fn statistics_are_those_of_numpy_and_scipy() {
    let mut draw = Draw::new(7, 100);
    let rows: Vec<Vec<f64>> = (0..200)
        .map(|i| {
            (0..3 + i % 40)
                .map(|_| draw.normal() * 20.0 + 100.0)
                .collect()
        })
        .collect();
    let weights: Vec<Vec<f64>> = rows
        .iter()
        .map(|row| row.iter().map(|_| draw.between(0.2, 3.0)).collect())
        .collect();
    let input = json!({ "rows": rows, "weights": weights });
    let Some(theirs) = outside::python_json("row_statistics.py", &input) else {
        return;
    };
    let theirs: Vec<Theirs> = serde_json::from_value(theirs).unwrap();
    assert_eq!(theirs.len(), rows.len());
    for ((row, weights), theirs) in rows.iter().zip(&weights).zip(&theirs) {
        close(stats::median(row).unwrap(), theirs.median, "median");
        close(
            stats::quantile(row, 0.3).unwrap(),
            theirs.quantile_30,
            "quantile",
        );
        close(stats::mean(row).unwrap(), theirs.mean, "mean");
        close(stats::sd(row).unwrap(), theirs.sd, "sd");
        close(stats::mad_sd(row).unwrap(), theirs.mad_sd, "mad");
        for (ours, theirs) in stats::isotonic(row, weights).iter().zip(&theirs.isotonic) {
            close(*ours, *theirs, "isotonic");
        }
        let points: Vec<(f64, f64)> = row
            .iter()
            .enumerate()
            .map(|(i, &y)| (i as f64, y))
            .collect();
        let line = stats::theil_sen(&points).unwrap();
        close(line.slope, theirs.slope, "Theil-Sen slope");
        close(line.intercept, theirs.intercept, "Theil-Sen intercept");
        close(
            stats::straightness(&points).unwrap(),
            theirs.r_squared,
            "r squared",
        );
    }
}

/// What `row_intervals.py` answers for one row of times.
#[derive(Deserialize)]
struct TheirFigure {
    shares: Vec<f64>,
    interval_ms: f64,
    unevenness_ms: f64,
    unevenness_pct: f64,
    bpm: f64,
}

#[test]
fn intervals_and_tempo_are_those_of_numpy() {
    let mut draw = Draw::new(8, 100);
    let rows: Vec<Vec<f64>> = (0..300)
        .map(|i| {
            let space = draw.between(0.08, 0.8);
            let start = draw.between(0.0, 100.0);
            (0..3 + i % 6)
                .map(|k| start + (f64::from(k) + draw.between(-0.3, 0.3)) * space)
                .collect()
        })
        .collect();
    let Some(theirs) = outside::python_json("row_intervals.py", &json!({ "rows": rows })) else {
        return;
    };
    let theirs: Vec<TheirFigure> = serde_json::from_value(theirs).unwrap();
    assert_eq!(theirs.len(), rows.len());
    for (times, theirs) in rows.iter().zip(&theirs) {
        // Times without uncertainty: nothing is taken out in quadrature.
        let certain = vec![0.0; times.len()];
        let ours = figures::evenness(times, &certain, &Settings::default()).unwrap();
        assert_eq!(ours.shares.len(), theirs.shares.len());
        for (ours, theirs) in ours.shares.iter().zip(&theirs.shares) {
            close(*ours, *theirs, "share");
        }
        close(ours.interval_ms, theirs.interval_ms, "interval");
        close(ours.unevenness_ms, theirs.unevenness_ms, "unevenness in ms");
        close(
            ours.unevenness_pct,
            theirs.unevenness_pct,
            "unevenness in %",
        );
        let pulse = Pulse {
            knots: times
                .iter()
                .enumerate()
                .map(|(i, &t)| (i as f64, t))
                .collect(),
            ..Pulse::default()
        };
        close(pulse.bpm(0.5).unwrap(), theirs.bpm, "tempo");
    }
}

/// A. Friberg and J. Sundberg, "Time discrimination in a monotonic, isochronous
/// sequence", J. Acoust. Soc. Am. 98 (1995), abstract: 6 ms for intervals below
/// 240 ms, 2.5 % of the interval from 240 to 1000 ms. The triplets of five
/// tempi, worked by hand.
#[test]
fn what_is_noticeable_follows_friberg_and_sundberg() {
    for (bpm, noticeable_ms) in [
        (60.0, 8.333),
        (80.0, 6.25),
        (100.0, 6.0),
        (120.0, 6.0),
        (144.0, 6.0),
    ] {
        let triplet_ms = 60_000.0 / bpm / 3.0;
        let ours = figures::noticeable_ms(triplet_ms, &Settings::default());
        assert!((ours - noticeable_ms).abs() < 1e-3, "{bpm}: {ours}");
    }
}
