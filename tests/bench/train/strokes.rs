//! Is a rise a stroke? The weights of `src/listen/judge.rs`.

use crate::{KINDS, fit, takes};
use kettlemark::listen::{Candidate, FEATURE_NAMES, Features, Listener, Logistic};
use kettlemark_test_support::conditions::Kind;
use kettlemark_test_support::dsp::resample;
use kettlemark_test_support::kit::Instrument;
use kettlemark_test_support::onsets::pairs;
use kettlemark_test_support::takes::make_coded;
use rayon::prelude::*;

const FEATURES: usize = FEATURE_NAMES.len();
/// Seeds for fitting and for the table that is printed; all below the first
/// judging seed.
const FIT: std::ops::Range<u64> = 0..8;
const CHECK: std::ops::Range<u64> = 500..502;

/// One take's rises and what they really are.
struct Sheet {
    kind: Kind,
    instrument: Instrument,
    rises: Vec<(Candidate, Features)>,
    /// `Some(true)`: a stroke; `Some(false)`: none; `None`: not asked for.
    labels: Vec<Option<bool>>,
    /// Error of the contact time of each true stroke found, seconds.
    errors_s: Vec<f64>,
    /// Told uncertainty of each of those, seconds.
    told_s: Vec<f64>,
    /// Audible strokes with no rise near them.
    unheard: usize,
}

fn sheet(kind: Kind, instrument: Instrument, seed: u64) -> Sheet {
    let take = make_coded(kind, instrument, seed);
    let samples = resample(&take.samples, f64::from(take.rate_hz) / 16_000.0);
    let mut listener = Listener::default();
    listener.push(&samples);
    let rises = listener.finish_for_fitting();
    let truth: Vec<f64> = take.truth.strokes.iter().map(|s| s.time_s).collect();
    let heard: Vec<f64> = rises.iter().map(|(c, _)| c.time_s).collect();
    let mut order: Vec<usize> = (0..heard.len()).collect();
    order.sort_by(|&a, &b| heard[a].total_cmp(&heard[b]));
    let sorted: Vec<f64> = order.iter().map(|&i| heard[i]).collect();
    let mut labels = vec![Some(false); rises.len()];
    let mut errors_s = Vec::new();
    let mut told_s = Vec::new();
    let mut found = vec![false; truth.len()];
    for (t, h) in pairs(&truth, &sorted, 0.025) {
        let asked = take.truth.strokes[t].stand_out_db >= 3.0;
        labels[order[h]] = asked.then_some(true);
        found[t] = true;
        if asked {
            errors_s.push(sorted[h] - truth[t]);
            told_s.push(rises[order[h]].0.time_sd_s);
        }
    }
    let unheard = take
        .truth
        .strokes
        .iter()
        .zip(&found)
        .filter(|(s, f)| s.stand_out_db >= 3.0 && !**f)
        .count();
    Sheet {
        kind,
        instrument,
        rises,
        labels,
        errors_s,
        told_s,
        unheard,
    }
}

fn sheets(seeds: std::ops::Range<u64>) -> Vec<Sheet> {
    takes(&KINDS, seeds)
        .into_par_iter()
        .map(|(k, i, s)| sheet(k, i, s))
        .collect()
}

fn quantile(values: &mut [f64], q: f64) -> f64 {
    values.sort_by(f64::total_cmp);
    values
        .get(((values.len().max(1) - 1) as f64 * q) as usize)
        .copied()
        .unwrap_or(f64::NAN)
}

/// The weights that suit the takes for fitting.
pub fn fitted() -> Logistic<FEATURES> {
    let sheets = sheets(FIT);
    let labelled = sheets.iter().flat_map(|s| s.rises.iter().zip(&s.labels));
    let rows: Vec<(&Features, bool)> = labelled
        .filter_map(|((_, features), label)| Some((features, (*label)?)))
        .collect();
    fit(&rows)
}

/// How well a model does on other takes.
pub fn check(model: &Logistic<FEATURES>) {
    let sheets = sheets(CHECK);
    table(&sheets, model);
    spread(&sheets);
}

/// F at a decision of one half, and the timing of what was found.
fn table(sheets: &[Sheet], model: &Logistic<FEATURES>) {
    println!(
        "kind, drums: strokes, unheard, best F (log odds), F at 0, by hand F; time median, p50, p95 ms"
    );
    let mut groups: Vec<(Kind, Instrument)> =
        sheets.iter().map(|s| (s.kind, s.instrument)).collect();
    groups.dedup();
    groups.sort_by_key(|g| format!("{g:?}"));
    groups.dedup();
    for (kind, instrument) in groups {
        let mut scored: Vec<(f64, f64, bool)> = Vec::new();
        let (mut unheard, mut errors) = (0, Vec::new());
        for s in sheets
            .iter()
            .filter(|s| s.kind == kind && s.instrument == instrument)
        {
            unheard += s.unheard;
            errors.extend(s.errors_s.iter().map(|e| e * 1e3));
            for ((_, f), label) in s.rises.iter().zip(&s.labels) {
                if let Some(l) = label {
                    let z = model.log_odds(f);
                    scored.push((z, f64::from(f[17]), *l));
                }
            }
        }
        let strokes = scored.iter().filter(|s| s.2).count() + unheard;
        let best = |key: &dyn Fn(&(f64, f64, bool)) -> f64| {
            let mut sorted = scored.clone();
            sorted.sort_by(|a, b| key(b).total_cmp(&key(a)));
            let (mut hits, mut best) = (0.0, (0.0, 0.0));
            for (i, s) in sorted.iter().enumerate() {
                hits += f64::from(u8::from(s.2));
                let f = 2.0 * hits / (i as f64 + 1.0 + strokes as f64);
                if f > best.0 {
                    best = (f, key(s));
                }
            }
            best
        };
        let learned = best(&|s| s.0);
        let hand = best(&|s| s.1);
        let taken: Vec<_> = scored.iter().filter(|s| s.0 > 0.0).collect();
        let hits = taken.iter().filter(|s| s.2).count();
        let plain = 2.0 * hits as f64 / (taken.len() + strokes) as f64;
        let lag = quantile(&mut errors, 0.5);
        let mut off: Vec<f64> = errors.iter().map(|e| (e - lag).abs()).collect();
        println!(
            "{kind:?} {instrument:?}: {strokes}, {unheard}, {:.4} ({:.1}), {plain:.4}, {:.4} ({:.1}); {lag:.2}, {:.2}, {:.2}",
            learned.0,
            learned.1,
            hand.0,
            hand.1,
            quantile(&mut off, 0.5),
            quantile(&mut off, 0.95),
        );
    }
}

/// How far contact times are off, by the uncertainty that is told of them: how
/// well the numbers in `src/listen/contacts.rs` hold.
fn spread(sheets: &[Sheet]) {
    println!("told uncertainty, ms: strokes, late by, off by 68 % and 95 %, ms");
    for (from, to) in [
        (0.0, 1.2),
        (1.2, 2.0),
        (2.0, 3.0),
        (3.0, 5.0),
        (5.0, 7.0),
        (7.0, 9.0),
        (9.0, 30.0),
    ] {
        let mut late: Vec<f64> = sheets
            .iter()
            .flat_map(|s| s.errors_s.iter().zip(&s.told_s))
            .filter(|(_, told)| (from..to).contains(&(*told * 1e3)))
            .map(|(error, _)| error * 1e3)
            .collect();
        let middle = quantile(&mut late, 0.5);
        let mut off: Vec<f64> = late.iter().map(|l| (l - middle).abs()).collect();
        println!(
            "{from} to {to}: {}, {middle:.2}, {:.2}, {:.2}",
            off.len(),
            quantile(&mut off, 0.68),
            quantile(&mut off, 0.95),
        );
    }
}
