//! What is stored without loss comes out as `ffmpeg` decodes it, sample for
//! sample: every depth of PCM, every rate, up to eight channels.

use super::common;
use kettlemark::take::Recording;
use std::path::Path;

/// Full-scale noise over a tone: every bit of every depth is used.
fn noise(frames: usize, seed: u64) -> Vec<f32> {
    common::white(seed)
        .take(frames)
        .enumerate()
        .map(|(i, white)| 0.6 * white + 0.35 * (i as f32 * 0.05).sin())
        .collect()
}

/// One channel as `ffmpeg` decodes it, at the file's own rate.
fn channel_by_ffmpeg(folder: &Path, file: &str, channels: usize, which: usize) -> Vec<f32> {
    common::ffmpeg(folder, &["-i", file, "-f", "f32le", "reference.raw"]);
    common::read_raw(&folder.join("reference.raw"))
        .into_iter()
        .skip(which)
        .step_by(channels)
        .collect()
}

/// Makes a file of one channel and compares every sample.
fn identical(file: &str, rate_hz: u32, arguments: &str) {
    let folder = tempfile::tempdir().unwrap();
    let frames = (rate_hz / 2) as usize + 123;
    let samples = noise(frames, 7);
    let rate = rate_hz.to_string();
    let mut all = if file == "a.wav" {
        // One channel that is called "left" makes `ffmpeg` write the extensible
        // header.
        common::write_float_wav(&folder.path().join("in.wav"), &[samples], rate_hz);
        vec!["-i", "in.wav"]
    } else {
        let bytes: Vec<u8> = samples.iter().flat_map(|s| s.to_le_bytes()).collect();
        std::fs::write(folder.path().join("in.raw"), bytes).unwrap();
        vec!["-f", "f32le", "-ac", "1", "-ar", &rate, "-i", "in.raw"]
    };
    all.extend(arguments.split_whitespace());
    all.push(file);
    common::ffmpeg(folder.path(), &all);
    let reference = channel_by_ffmpeg(folder.path(), file, 1, 0);
    assert_eq!(reference.len(), frames, "{file} {arguments}");
    let (expected, _) = common::drain(Recording::from_samples(reference, rate_hz));
    let (found, info) = common::read(&folder.path().join(file));
    assert_eq!(info.sample_rate_hz, rate_hz, "{file} {arguments}");
    assert!(info.start_offset_known, "{file} {arguments}");
    assert!(info.fitness.gaps.is_empty(), "{file} {arguments}");
    assert!(found == expected, "{file} {arguments}: samples differ");
    let seconds = frames as f64 / f64::from(rate_hz);
    assert!((info.duration_s - seconds).abs() < 1e-9);
}

#[test]
fn every_depth_in_every_container() {
    if !common::have(&["ffmpeg"]) {
        return;
    }
    // 16 kHz is handed on as it is: equality is equality of what was decoded.
    for (file, depths) in [
        ("a.wav", "u8 s16le s24le s32le f32le f64le alaw mulaw"),
        (
            "a.aiff",
            "s8 s16be s24be s32be s16le f32be f64be alaw mulaw",
        ),
        (
            "a.caf",
            "s16be s16le s24be s24le s32be s32le f32be f32le f64be f64le",
        ),
        (
            "a.mov",
            "s16be s16le s24be s24le s32be s32le f32be f32le f64be",
        ),
        ("a.mkv", "s16le s24le s32le f32le"),
    ] {
        for depth in depths.split(' ') {
            identical(file, 16_000, &format!("-c:a pcm_{depth}"));
        }
    }
    for (file, arguments) in [
        ("a.flac", "-c:a flac -sample_fmt s16"),
        ("a.flac", "-c:a flac -sample_fmt s32"),
        ("a.flac", "-c:a flac -compression_level 12 -lpc_passes 3"),
        ("a.ogg", "-c:a flac"),
        ("a.mkv", "-c:a flac"),
        ("a.mp4", "-c:a flac -strict -2"),
        ("a.m4a", "-c:a alac -sample_fmt s16p"),
        ("a.m4a", "-c:a alac -sample_fmt s32p"),
        ("a.caf", "-c:a alac"),
        ("a.mkv", "-c:a alac"),
    ] {
        identical(file, 16_000, arguments);
    }
}

#[test]
fn every_rate() {
    if !common::have(&["ffmpeg"]) {
        return;
    }
    for rate_hz in [
        8_000, 11_025, 22_050, 32_000, 44_100, 48_000, 88_200, 96_000, 176_400, 192_000,
    ] {
        identical("a.wav", rate_hz, "-c:a pcm_s24le");
        identical("a.flac", rate_hz, "-c:a flac");
    }
}

#[test]
fn other_programs_files() {
    if !common::have(&["ffmpeg", "flac", "sox"]) {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let there = folder.path();
    common::write_wav(&there.join("in.wav"), &[noise(9_000, 3)], 16_000);
    common::run(there, "flac", &["--silent", "-8", "in.wav", "-o", "a.flac"]);
    common::run(
        there,
        "flac",
        &["--silent", "--ogg", "in.wav", "-o", "a.oga"],
    );
    for file in ["b.aiff", "b.aifc", "b.caf", "b.flac", "b.wav"] {
        common::run(there, "sox", &["-D", "in.wav", file]);
    }
    let (expected, _) = common::read(&there.join("in.wav"));
    assert_eq!(expected.len(), 9_000);
    for file in [
        "a.flac", "a.oga", "b.aiff", "b.aifc", "b.caf", "b.flac", "b.wav",
    ] {
        let (found, _) = common::read(&there.join(file));
        assert!(found == expected, "{file}");
    }
}

/// One channel of several sounds, whichever it is; the take is that channel.
#[test]
fn any_one_channel_of_eight() {
    if !common::have(&["ffmpeg"]) {
        return;
    }
    for channels in [2, 3, 6, 8] {
        for live in [0, channels - 1] {
            for (file, arguments) in [
                ("a.wav", "-c:a pcm_s16le"),
                ("a.flac", "-c:a flac"),
                ("a.caf", "-c:a pcm_f32le"),
                ("a.aiff", "-c:a pcm_s24be"),
            ] {
                let folder = tempfile::tempdir().unwrap();
                let mut all = vec![vec![0.0; 16_000]; channels];
                all[live] = noise(16_000, 11);
                common::write_float_wav(&folder.path().join("in.wav"), &all, 16_000);
                let mut make = vec!["-i", "in.wav"];
                make.extend(arguments.split_whitespace());
                make.push(file);
                common::ffmpeg(folder.path(), &make);
                let expected = channel_by_ffmpeg(folder.path(), file, channels, live);
                let (found, info) = common::read(&folder.path().join(file));
                assert_eq!(usize::from(info.channels), channels);
                assert!(found == expected, "{file}, {channels} channels, {live}");
            }
        }
    }
}

/// The same on all channels comes out once, not louder.
#[test]
fn the_same_on_all_channels() {
    for channels in 1..=8 {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("in.wav");
        let one = noise(16_000, 5);
        common::write_float_wav(&path, &vec![one.clone(); channels], 16_000);
        let (found, _) = common::read(&path);
        assert_eq!(found.len(), one.len());
        for (a, b) in found.iter().zip(&one) {
            assert!((a - b).abs() < 1e-6, "{channels}: {a} {b}");
        }
    }
}
