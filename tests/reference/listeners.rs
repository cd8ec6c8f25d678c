//! Strokes heard by us beside onsets found by general-purpose detectors, on the
//! same takes: `onset_detect` of librosa 0.11 at its defaults and with a
//! maximum-filtered, log-scaled mel spectrum; `aubioonset` of aubio 0.4 with the
//! methods `hfc` and `specflux`.
//!
//! All are scored alike: F at ±25 ms, a constant lag of each taken out first,
//! strokes that hardly stand out (less than 3 dB in every band) not asked for
//! and no fault when found. Takes are those of tuning seeds, as the others have
//! nothing to tune.

use kettlemark::settings::Settings;
use kettlemark_test_support::conditions::Kind;
use kettlemark_test_support::kit::Instrument;
use kettlemark_test_support::takes::{self, MadeTake};
use kettlemark_test_support::{onsets, outside, recorded, score};
use serde_json::json;
use std::path::Path;
use std::process::Command;

const WINDOW_S: f64 = 0.025;
/// Within this a found onset is taken for late or early rather than wrong, when
/// the lag of a detector is looked for.
const LAG_WINDOW_S: f64 = 0.05;
/// Rows that we lose at present: on dry takes of computed drums, the `hfc`
/// method of aubio finds more. They are printed like all others; a row leaves
/// this list when it is won and stays off it.
const LOST: [(Instrument, Kind); 1] = [(Instrument::Modal, Kind::Clean)];
const SEEDS: std::ops::Range<u64> = 300..303;

/// Onsets of one take, seconds, by each detector.
struct Heard {
    take: MadeTake,
    by: Vec<(&'static str, Vec<f64>)>,
}

/// Strokes closer together than two drums struck at once are one.
fn merged(times: impl IntoIterator<Item = f64>) -> Vec<f64> {
    let mut out: Vec<f64> = Vec::new();
    for time in times {
        if out.last().is_none_or(|last| time - last >= score::MERGE_S) {
            out.push(time);
        }
    }
    out
}

fn ours(take: &MadeTake) -> (Vec<f64>, Vec<f64>) {
    let recording = take.recording();
    let heard = kettlemark::listen::listen(recording).unwrap();
    let blind = heard.candidates.iter().filter(|c| c.log_odds > 0.0);
    let blind = merged(blind.map(|c| c.time_s));
    let review = kettlemark::pipeline::review(&heard, &take.part, &Settings::default());
    (merged(review.strokes.iter().map(|s| s.time_s)), blind)
}

fn aubio(program: &Path, method: &str, wav: &Path) -> Vec<f64> {
    let output = Command::new(program)
        .args(["-O", method, "-i"])
        .arg(wav)
        .output()
        .unwrap();
    assert!(output.status.success(), "aubioonset {method}");
    String::from_utf8(output.stdout)
        .unwrap()
        .lines()
        .map(|line| line.trim().parse().unwrap())
        .collect()
}

/// F over all takes, with the detector's median lag taken out.
fn f_score(heard: &[Heard], detector: usize) -> f64 {
    let truths: Vec<Vec<f64>> = heard
        .iter()
        .map(|h| merged(h.take.truth.strokes.iter().map(|s| s.time_s)))
        .collect();
    let mut lags = Vec::new();
    for (h, truth) in heard.iter().zip(&truths) {
        let found = &h.by[detector].1;
        let pairs = onsets::pairs(truth, found, LAG_WINDOW_S);
        lags.extend(pairs.iter().map(|p| found[p.1] - truth[p.0]));
    }
    let lag = kettlemark::stats::median(&lags).unwrap_or(0.0);
    let (mut asked_hits, mut asked, mut hits, mut found_count) = (0, 0, 0, 0);
    for (h, truth) in heard.iter().zip(&truths) {
        let audible: Vec<bool> = truth
            .iter()
            .map(|&t| {
                h.take
                    .truth
                    .strokes
                    .iter()
                    .filter(|s| (0.0..score::MERGE_S).contains(&(s.time_s - t)))
                    .any(|s| s.stand_out_db >= score::AUDIBLE_DB)
            })
            .collect();
        let found: Vec<f64> = h.by[detector].1.iter().map(|t| t - lag).collect();
        let pairs = onsets::pairs(truth, &found, WINDOW_S);
        asked_hits += pairs.iter().filter(|p| audible[p.0]).count();
        asked += audible.iter().filter(|&&a| a).count();
        hits += pairs.len();
        found_count += found.len();
    }
    if hits == 0 {
        return 0.0;
    }
    let precision = f64::from(u32::try_from(hits).unwrap()) / found_count as f64;
    let recall = asked_hits as f64 / asked as f64;
    2.0 * precision * recall / (precision + recall)
}

#[test]
#[allow(clippy::print_stdout)] // The table is what one wants to read.
fn we_hear_more_than_general_purpose_detectors() {
    let Some(aubio_program) = outside::tool("aubioonset") else {
        return;
    };
    let mut instruments = vec![Instrument::Modal];
    if recorded::available() {
        instruments.push(Instrument::Recorded);
    } else {
        outside::skipped("recorded strokes: fluid-soundfont-gm is missing");
    }
    let folder = tempfile::tempdir().unwrap();
    let mut table = Vec::new();
    for instrument in instruments {
        for kind in [Kind::Clean, Kind::Room, Kind::Phone, Kind::Noise] {
            let made: Vec<MadeTake> = SEEDS.map(|s| takes::make(kind, instrument, s)).collect();
            let files: Vec<_> = (0..made.len())
                .map(|i| folder.path().join(format!("{}-{i}.wav", kind.name())))
                .collect();
            for (take, file) in made.iter().zip(&files) {
                takes::write_wav(file, &take.samples, take.rate_hz).unwrap();
            }
            let input = json!({ "files": files });
            let Some(theirs) = outside::python_json("listeners.py", &input) else {
                return;
            };
            let theirs: Vec<[Vec<f64>; 2]> = serde_json::from_value(theirs).unwrap();
            let heard: Vec<Heard> = made
                .into_iter()
                .zip(&files)
                .zip(theirs)
                .map(|((take, file), [librosa, flux])| {
                    let (known, blind) = ours(&take);
                    Heard {
                        take,
                        by: vec![
                            ("part known", known),
                            ("blind", blind),
                            ("librosa", librosa),
                            ("librosa mel flux", flux),
                            ("aubio hfc", aubio(&aubio_program, "hfc", file)),
                            ("aubio specflux", aubio(&aubio_program, "specflux", file)),
                        ],
                    }
                })
                .collect();
            let names: Vec<_> = heard[0].by.iter().map(|b| b.0).collect();
            let scores: Vec<f64> = (0..names.len()).map(|d| f_score(&heard, d)).collect();
            let cells: Vec<String> = names
                .iter()
                .zip(&scores)
                .map(|(name, f)| format!("{name} {f:.3}"))
                .collect();
            println!("{instrument:?} {}: {}", kind.name(), cells.join("   "));
            table.push((instrument, kind, scores));
        }
    }
    for (instrument, kind, scores) in table {
        if LOST.contains(&(instrument, kind)) {
            continue;
        }
        let best_of_theirs = scores[2..].iter().copied().fold(0.0, f64::max);
        assert!(
            scores[0] > best_of_theirs,
            "{instrument:?} {}: {scores:?}",
            kind.name()
        );
    }
}
