//! What says nothing of the playing changes nothing in the review: when the
//! recording was started, how loud, at which rate, with which polarity, on
//! which channel.

use super::common;
use kettlemark::review::Review;
use kettlemark::settings::Settings;
use kettlemark::take::Recording;
use kettlemark::{listen, pipeline};
use kettlemark_test_support::conditions::Kind;
use kettlemark_test_support::kit::Instrument;
use kettlemark_test_support::takes::{self, MadeTake};
use std::path::Path;

fn review(take: &MadeTake, recording: Recording) -> Review {
    let heard = listen::listen(recording).unwrap();
    pipeline::review(&heard, &take.part, &Settings::default())
}

fn of_samples(take: &MadeTake, samples: Vec<f32>) -> Review {
    review(take, Recording::from_samples(samples, take.rate_hz))
}

/// How far two reviews of the same playing may lie apart.
struct Near {
    /// Notes whose outcome differs, as a share.
    outcomes: f64,
    /// Times, ms beyond half of their told uncertainty: all but one in twenty.
    ms: f64,
    /// Levels, dB.
    db: f64,
    /// Tunings, cents.
    cents: f64,
}

/// The nineteenth twentieth of differences.
fn most(mut differences: Vec<f64>) -> f64 {
    differences.sort_by(f64::total_cmp);
    differences
        .get(differences.len() * 19 / 20)
        .copied()
        .unwrap_or(0.0)
}

fn compare(faults: &mut Vec<String>, name: &str, one: &Review, two: &Review, near: &Near) {
    assert!(one.judged && two.judged, "{name}");
    let notes = one.notes.iter().zip(&two.notes);
    let differ = notes
        .clone()
        .filter(|(a, b)| a.outcome != b.outcome)
        .count();
    let share = differ as f64 / one.notes.len() as f64;
    let ms = most(
        notes
            .filter_map(|(a, b)| {
                let told = one.strokes.get(a.stroke?)?.time_sd_ms;
                let off = (a.deviation_ms? - b.deviation_ms?).abs();
                Some((off - 0.5 * told).max(0.0))
            })
            .collect(),
    );
    let loud = |review: &Review| -> Vec<Option<f64>> {
        let at = |index: Option<usize>| Some(review.strokes.get(index?)?.level_db);
        review.notes.iter().map(|n| at(n.stroke)).collect()
    };
    let db = most(
        loud(one)
            .into_iter()
            .zip(loud(two))
            .filter_map(|(a, b)| Some((a? - b?).abs()))
            .collect(),
    );
    let tuned = |review: &Review| -> Vec<Option<f64>> {
        let settings = review.drums.iter().flat_map(|d| &d.settings);
        settings.map(|s| s.cents).collect()
    };
    let cents = tuned(one)
        .into_iter()
        .zip(tuned(two))
        .filter_map(|(a, b)| Some((a? - b?).abs()))
        .fold(0.0, f64::max);
    let said = format!("{name}: {differ} outcomes, {ms:.3} ms, {db:.3} dB, {cents:.3} cents");
    println!("{said}");
    let fits =
        share <= near.outcomes && ms <= near.ms && db <= near.db + 0.01 && cents <= near.cents;
    if !fits {
        faults.push(said);
    }
}

const SAME: Near = Near {
    outcomes: 0.0,
    ms: 0.05,
    db: 0.02,
    cents: 0.05,
};
/// Where every sample is another one: far below what an ear can tell.
const ALIKE: Near = Near {
    outcomes: 0.02,
    ms: 0.5,
    db: 0.5,
    cents: 2.0,
};

fn write(path: &Path, channels: &[Vec<f32>], rate_hz: u32) -> Recording {
    common::write_wav(path, channels, rate_hz);
    Recording::open(path).unwrap()
}

#[test]
fn nothing_but_the_playing_counts() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("take.wav");
    let mut faults = Vec::new();
    for (kind, seed) in [(Kind::Clean, 3), (Kind::Phone, 4)] {
        let take = takes::make(kind, Instrument::Modal, seed);
        let whole = of_samples(&take, take.samples.clone());
        let scaled = |by: f32| -> Vec<f32> { take.samples.iter().map(|s| s * by).collect() };
        let name = |what: &str| format!("{kind:?} {what}");

        compare(
            &mut faults,
            &name("polarity"),
            &whole,
            &of_samples(&take, scaled(-1.0)),
            &SAME,
        );
        compare(
            &mut faults,
            &name("gain"),
            &whole,
            &of_samples(&take, scaled(0.25)),
            &ALIKE,
        );
        compare(
            &mut faults,
            &name("small gain"),
            &whole,
            &of_samples(&take, scaled(0.013)),
            &ALIKE,
        );

        // Half a second earlier to the button, and a fraction of a sample.
        let mut late: Vec<f32> = take.samples[..16_001].to_vec();
        late.extend(&take.samples);
        compare(
            &mut faults,
            &name("delay"),
            &whole,
            &of_samples(&take, late),
            &ALIKE,
        );

        let silent = vec![0.0; take.samples.len()];
        let left = [take.samples.clone(), silent.clone()];
        let one = review(&take, write(&path, &left, take.rate_hz));
        let right = [silent, take.samples.clone()];
        let two = review(&take, write(&path, &right, take.rate_hz));
        compare(&mut faults, &name("the other channel"), &one, &two, &SAME);
        let turned = [take.samples.clone(), scaled(-1.0)];
        let three = review(&take, write(&path, &turned, take.rate_hz));
        compare(
            &mut faults,
            &name("channels turned round"),
            &one,
            &three,
            &SAME,
        );
        compare(&mut faults, &name("16 bits"), &whole, &one, &ALIKE);

        if common::have(&["ffmpeg"]) {
            write(&path, std::slice::from_ref(&take.samples), take.rate_hz);
            for rate in ["44100", "48000", "96000", "16000"] {
                let other = format!("take-{rate}.wav");
                let make = ["-i", "take.wav", "-ar", rate, "-c:a", "pcm_f32le", &other];
                common::ffmpeg(folder.path(), &make);
                let recording = Recording::open(&folder.path().join(&other)).unwrap();
                compare(
                    &mut faults,
                    &name(rate),
                    &whole,
                    &review(&take, recording),
                    &ALIKE,
                );
            }
        }
    }
    assert!(faults.is_empty(), "{faults:#?}");
}
