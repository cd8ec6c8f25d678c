//! What is said of a recording's fitness.

use crate::tools::{Noise, burst, drain, read};
use kettlemark::take::Recording;

fn fitness(samples: Vec<f32>) -> (Vec<f32>, kettlemark::take::TakeInfo) {
    drain(Recording::from_samples(samples, 44_100)).unwrap()
}

#[test]
fn clipping_is_told_from_a_loud_take() {
    let clean = burst(44_100, 3.0, 1.0);
    assert_eq!(fitness(clean.clone()).1.fitness.clipped_share, 0.0);
    let clipped = clean.iter().map(|v| (v * 8.0).clamp(-1.0, 1.0)).collect();
    let info = fitness(clipped).1;
    assert!(info.fitness.clipped_share > 0.01);
    assert_eq!(info.fitness.peak_db, Some(0.0));
}

#[test]
fn silence_and_nothing_have_no_levels() {
    for samples in [vec![0.0; 50_000], vec![], vec![0.0]] {
        let info = fitness(samples).1;
        assert_eq!(info.fitness.peak_db, None);
        assert_eq!(info.fitness.noise_floor_db, None);
        assert_eq!(info.fitness.gain_control, None);
    }
}

#[test]
fn samples_that_are_no_numbers_do_no_harm() {
    let mut samples = burst(44_100, 2.0, 1.0);
    samples[1000] = f32::NAN;
    samples[2000] = f32::INFINITY;
    samples[3000] = f32::NEG_INFINITY;
    let (out, info) = fitness(samples);
    assert!(out.iter().all(|v| v.is_finite() && v.abs() < 2.0));
    assert!(
        info.fitness
            .remarks
            .iter()
            .any(|r| r.starts_with("3 samples"))
    );
}

#[test]
fn the_noise_floor_is_that_of_the_noise() {
    // Uniform noise has a third of its peak's square as power.
    for db in [-60.0f64, -40.0] {
        let peak = (10f64.powf(db / 20.0) * 3f64.sqrt()) as f32;
        let mut noise = Noise(11);
        let samples: Vec<f32> = (0..16_000 * 20).map(|_| noise.next_f32() * peak).collect();
        let info = drain(Recording::from_samples(samples, 16_000)).unwrap().1;
        let floor = info.fitness.noise_floor_db.unwrap();
        assert!((floor - db).abs() < 1.5, "{floor} for {db}");
    }
}

#[test]
fn off_centre_is_said() {
    let info = fitness(vec![0.2; 44_100]).1;
    assert!(
        info.fitness
            .remarks
            .iter()
            .any(|r| r.contains("off centre"))
    );
}

#[test]
fn a_telephone_band_is_found_and_a_full_one_is_not_blamed() {
    let dir = tempfile::tempdir().unwrap();
    let mut noise = Noise(5);
    let hiss: Vec<f32> = (0..44_100 * 4).map(|_| noise.next_f32() * 0.1).collect();
    let full = fitness(hiss.clone()).1;
    assert_eq!(full.fitness.bandwidth_hz, None);
    let (wav, narrow) = (dir.path().join("a.wav"), dir.path().join("b.wav"));
    crate::tools::write_wav(&wav, 44_100, 1, &hiss);
    if !crate::tools::ffmpeg(&[
        "-i",
        wav.to_str().unwrap(),
        "-ar",
        "8000",
        narrow.to_str().unwrap(),
    ]) {
        return;
    }
    let found = read(&narrow).unwrap().1.fitness.bandwidth_hz.unwrap();
    assert!((3500.0..=4300.0).contains(&found), "{found}");
}

/// Strokes of different levels with pauses, over hiss.
fn strokes_over_hiss(hiss_db: f64) -> Vec<f32> {
    let mut noise = Noise(3);
    let hiss = 10f64.powf(hiss_db / 20.0) as f32;
    let mut samples = vec![0.0f32; 16_000 * 30];
    for (k, start) in (8000..samples.len()).step_by(16_000 * 5 / 2).enumerate() {
        let level = [0.7, 0.2, 0.5, 0.1][k % 4];
        for i in 0..(samples.len() - start).min(16_000 * 5 / 2) {
            let t = i as f32 / 16_000.0;
            let tone = (t * 110.0 * std::f32::consts::TAU).sin() * (-t / 0.5).exp();
            let click = noise.next_f32() * (-t / 0.02).exp();
            samples[start + i] += level * (0.6 * tone + 0.4 * click);
        }
    }
    samples
        .iter_mut()
        .for_each(|v| *v += hiss * noise.next_f32());
    samples
}

/// A feed-forward gain control: quick down, slow up.
fn gain_controlled(samples: &[f32], release_s: f32) -> Vec<f32> {
    let mut follow = 0.0f32;
    let down = (-1.0f32 / (release_s * 16_000.0)).exp();
    let mut gain_of = |v: f32| {
        follow = if v.abs() > follow {
            v.abs()
        } else {
            follow * down
        };
        (0.05 / follow.max(0.01)).powf(0.75)
    };
    samples
        .iter()
        .map(|v| (v * gain_of(*v)).clamp(-1.0, 1.0))
        .collect()
}

#[test]
fn gain_control_is_found_by_the_hiss_that_comes_up() {
    let at_16k = |samples: Vec<f32>| drain(Recording::from_samples(samples, 16_000)).unwrap().1;
    for hiss_db in [-50.0, -60.0, -70.0] {
        let clean = strokes_over_hiss(hiss_db);
        assert_eq!(
            at_16k(clean.clone()).fitness.gain_control,
            Some(false),
            "{hiss_db}"
        );
        for release_s in [0.5, 1.0] {
            let steered = at_16k(gain_controlled(&clean, release_s))
                .fitness
                .gain_control;
            assert_eq!(steered, Some(true), "{hiss_db} {release_s}");
        }
    }
    // Nothing to go by: digital silence between strokes, or too few strokes.
    assert_eq!(at_16k(strokes_over_hiss(-200.0)).fitness.gain_control, None);
    assert_eq!(at_16k(burst(16_000, 4.0, 1.0)).fitness.gain_control, None);
}

#[test]
fn a_recorder_that_cuts_the_bass_is_noticed() {
    let mut noise = Noise(9);
    let full: Vec<f32> = (0..16_000 * 10).map(|_| noise.next_f32() * 0.01).collect();
    let at_16k = |samples: Vec<f32>| drain(Recording::from_samples(samples, 16_000)).unwrap().1;
    assert_eq!(at_16k(full.clone()).fitness.bass_cut_hz, None);
    // Four poles at 150 Hz.
    let pole = 1.0 - (-std::f32::consts::TAU * 150.0 / 16_000.0).exp();
    let mut low = [0.0f32; 4];
    let cut = full
        .iter()
        .map(|v| {
            low.iter_mut().fold(*v, |x, state| {
                *state += pole * (x - *state);
                x - *state
            })
        })
        .collect();
    let found = at_16k(cut).fitness.bass_cut_hz.unwrap();
    assert!((100.0..=300.0).contains(&found), "{found}");
}
