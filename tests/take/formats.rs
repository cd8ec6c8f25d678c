//! Every format that phones, recorders, cameras and browsers write: a click at
//! a known sample comes out within 1 ms of where `ffmpeg` has it when it obeys
//! edit lists and gapless headers, and at its true place wherever the file
//! says how much its encoder added.

use super::common::{self, LENGTH_S, RATE};
use kettlemark_test_support::outside;

/// 1 ms.
const NEAR: i64 = (RATE / 1000) as i64;

/// A file to make.
struct Row {
    file: &'static str,
    rate_hz: u32,
    channels: usize,
    /// Arguments for `ffmpeg` between `-i clicks.wav` and the file's name.
    make: &'static str,
    codec: &'static str,
    /// Whether the file says where its sound begins.
    known: bool,
}

const fn row(
    file: &'static str,
    rate_hz: u32,
    channels: usize,
    make: &'static str,
    codec: &'static str,
    known: bool,
) -> Row {
    Row {
        file,
        rate_hz,
        channels,
        make,
        codec,
        known,
    }
}

fn check(row: &Row, folder: &std::path::Path) {
    let path = folder.join(row.file);
    let (samples, info) = common::read(&path);
    let name = format!("{} ({} Hz, {})", row.file, row.rate_hz, row.make);
    let ours = common::lag(&samples, &name);
    let theirs = common::lag(&common::read_by_ffmpeg(&path, row.rate_hz), &name);
    assert!((ours - theirs).abs() <= NEAR, "{name}: {ours} vs {theirs}");
    assert_eq!(info.start_offset_known, row.known, "{name}");
    if row.known {
        assert!(ours.abs() <= NEAR, "{name}: {ours} samples late");
        assert!(
            (info.duration_s - LENGTH_S).abs() < 0.05,
            "{name}: {} s",
            info.duration_s
        );
    }
    assert_eq!(info.codec, row.codec, "{name}");
    assert_eq!(info.sample_rate_hz, row.rate_hz, "{name}");
    assert_eq!(usize::from(info.channels), row.channels, "{name}");
    assert!(
        info.fitness.gaps.is_empty(),
        "{name}: {:?}",
        info.fitness.gaps
    );
    assert!(
        info.fitness.remarks.is_empty(),
        "{name}: {:?}",
        info.fitness.remarks
    );
}

fn check_all(rows: &[Row]) {
    if !common::have(&["ffmpeg"]) {
        return;
    }
    let mut failures = Vec::new();
    for row in rows {
        let folder = common::folder_with_clicks(row.rate_hz, row.channels);
        let mut arguments = vec!["-i", "clicks.wav"];
        arguments.extend(row.make.split_whitespace());
        arguments.push(row.file);
        common::ffmpeg(folder.path(), &arguments);
        let done = std::panic::catch_unwind(|| check(row, folder.path()));
        if done.is_err() {
            failures.push(row.file);
        }
    }
    assert!(failures.is_empty(), "{failures:?}");
}

#[test]
fn aac() {
    check_all(&[
        row("a.m4a", 44_100, 1, "-c:a aac -b:a 96k", "aac", true),
        row(
            "b.m4a",
            48_000,
            2,
            "-c:a aac -b:a 128k -movflags +faststart",
            "aac",
            true,
        ),
        row("c.m4a", 8_000, 1, "-c:a aac -b:a 24k", "aac", true),
        row("d.m4a", 96_000, 2, "-c:a aac -b:a 256k", "aac", true),
        row("wrong-name.wav", 44_100, 2, "-c:a aac -f ipod", "aac", true),
        row("a.aac", 44_100, 1, "-c:a aac -f adts", "aac", false),
        row("b.aac", 48_000, 2, "-c:a aac -f adts", "aac", false),
        row("a.mkv", 48_000, 2, "-c:a aac", "aac", false),
        row("a.3gp", 16_000, 1, "-c:a aac -b:a 32k", "aac", true),
        row(
            "fragmented.mp4",
            48_000,
            2,
            "-c:a aac -movflags frag_keyframe+empty_moov+default_base_moof",
            "aac",
            false,
        ),
    ]);
}

#[test]
fn mp3() {
    check_all(&[
        row("a.mp3", 44_100, 2, "-c:a libmp3lame -b:a 128k", "mp3", true),
        row("vbr.mp3", 48_000, 2, "-c:a libmp3lame -q:a 4", "mp3", true),
        row(
            "low.mp3",
            22_050,
            1,
            "-c:a libmp3lame -b:a 48k",
            "mp3",
            true,
        ),
        row(
            "untagged.mp3",
            44_100,
            1,
            "-c:a libmp3lame -b:a 96k -write_xing 0 -id3v2_version 0",
            "mp3",
            false,
        ),
    ]);
}

#[test]
fn vorbis_and_opus() {
    check_all(&[
        row("a.ogg", 44_100, 2, "-c:a libvorbis -q:a 4", "vorbis", true),
        row("b.ogg", 22_050, 1, "-c:a libvorbis -q:a 2", "vorbis", true),
        row("a.webm", 48_000, 2, "-c:a libvorbis", "vorbis", true),
        row("v.mkv", 44_100, 2, "-c:a libvorbis", "vorbis", true),
        row("a.opus", 48_000, 1, "-c:a libopus -b:a 48k", "opus", true),
        row("o.ogg", 48_000, 2, "-c:a libopus -b:a 64k", "opus", true),
        row("o.webm", 48_000, 2, "-c:a libopus -b:a 64k", "opus", true),
        row("o.mkv", 48_000, 1, "-c:a libopus -b:a 64k", "opus", true),
        row("o.mp4", 48_000, 2, "-c:a libopus -b:a 64k", "opus", true),
        row(
            "fragmented.mp4",
            48_000,
            1,
            "-c:a libopus -movflags frag_keyframe+empty_moov+default_base_moof",
            "opus",
            true,
        ),
        row("o.caf", 48_000, 2, "-c:a libopus -b:a 64k", "opus", false),
    ]);
}

#[test]
fn video_with_sound() {
    const PICTURE: &str = "-f lavfi -i color=black:s=64x64:r=25 -shortest";
    for (make, codec, known, file) in [
        ("-c:v mpeg4 -c:a aac", "aac", true, "v.mp4"),
        ("-c:v mpeg4 -c:a aac", "aac", true, "v.mov"),
        ("-c:v mpeg4 -c:a pcm_s16le", "pcm-s16", true, "p.mov"),
        ("-c:v mpeg4 -c:a aac", "aac", false, "v.mkv"),
        ("-c:v mpeg4 -c:a flac", "flac", true, "f.mkv"),
        ("-c:v libvpx -c:a libopus", "opus", true, "v.webm"),
    ] {
        let make = format!("{PICTURE} {make}");
        check_all(&[row(file, 48_000, 2, make.leak(), codec, known)]);
    }
}

#[test]
fn lossless_and_nearly() {
    check_all(&[
        row("a.flac", 44_100, 2, "-c:a flac", "flac", true),
        row("b.flac", 192_000, 1, "-c:a flac", "flac", true),
        row("f.ogg", 48_000, 2, "-c:a flac", "flac", true),
        row("f.mkv", 48_000, 2, "-c:a flac", "flac", true),
        row("f.mp4", 48_000, 2, "-c:a flac -strict -2", "flac", true),
        row("a.m4a", 44_100, 2, "-c:a alac", "alac", true),
        row("a.caf", 48_000, 2, "-c:a alac", "alac", true),
        row("a.wav", 44_100, 1, "-c:a adpcm_ima_wav", "adpcm-ima", true),
        row("m.wav", 44_100, 2, "-c:a adpcm_ms", "adpcm-ms", true),
        row("l.wav", 8_000, 1, "-c:a pcm_alaw", "a-law", true),
        row("u.wav", 8_000, 1, "-c:a pcm_mulaw", "mu-law", true),
        row("u.aiff", 8_000, 1, "-c:a pcm_mulaw", "mu-law", true),
    ]);
}

/// The encoders of their own projects write other headers than `ffmpeg`.
#[test]
fn other_encoders() {
    if !common::have(&["ffmpeg", "lame", "oggenc", "opusenc"]) {
        return;
    }
    for (program, make, row) in [
        (
            "lame",
            "--quiet -b 128 clicks.wav l.mp3",
            row("l.mp3", 44_100, 2, "", "mp3", true),
        ),
        (
            "lame",
            "--quiet -V 3 clicks.wav v.mp3",
            row("v.mp3", 48_000, 1, "", "mp3", true),
        ),
        (
            "lame",
            "--quiet -t --id3v2-only -b 96 clicks.wav t.mp3",
            row("t.mp3", 44_100, 1, "", "mp3", false),
        ),
        (
            "oggenc",
            "-Q -q 5 clicks.wav -o o.ogg",
            row("o.ogg", 44_100, 2, "", "vorbis", true),
        ),
        (
            "opusenc",
            "--quiet --bitrate 48 clicks.wav o.opus",
            row("o.opus", 48_000, 2, "", "opus", true),
        ),
        (
            "opusenc",
            "--quiet --framesize 60 --bitrate 24 clicks.wav p.opus",
            row("p.opus", 48_000, 1, "", "opus", true),
        ),
    ] {
        let folder = common::folder_with_clicks(row.rate_hz, row.channels);
        let arguments: Vec<&str> = make.split(' ').collect();
        common::run(folder.path(), program, &arguments);
        check(&row, folder.path());
    }
}

/// Made by the Fraunhofer encoder (fdk-aac 2.0.3: AOT 5 mono and AOT 29
/// stereo at 24 kbit/s, ADTS) from [`common::clicks`] at 44.1 kHz. `ffmpeg`
/// has no encoder for it, but decodes it whole.
#[test]
fn he_aac_is_read_at_half_its_rate() {
    if !common::have(&["ffmpeg"]) {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    for name in ["he-aac-v1", "he-aac-v2"] {
        let from = outside::root()
            .join("tests/take/data")
            .join(format!("{name}.aac"));
        let adts = folder.path().join("take.aac");
        let m4a = folder.path().join("take.m4a");
        std::fs::copy(from, &adts).unwrap();
        common::ffmpeg(folder.path(), &["-i", "take.aac", "-c", "copy", "take.m4a"]);
        for path in [&adts, &m4a] {
            let (samples, info) = common::read(path);
            let ours = common::lag(&samples, name);
            let theirs = common::lag(&common::read_by_ffmpeg(path, 44_100), name);
            assert_eq!(info.sample_rate_hz, 22_050);
            assert!(!info.start_offset_known && info.fitness.gaps.is_empty());
            if path == &m4a {
                assert!((ours - theirs).abs() <= NEAR, "{name}: {ours} vs {theirs}");
                let said = info.fitness.remarks.iter().any(|r| r.contains("HE-AAC"));
                assert!(said, "{:?}", info.fitness.remarks);
            } else {
                // Nothing in ADTS says that there is an upper half: the core
                // comes out earlier by the upper half's delay, 21.8 ms.
                assert!((ours + 349 - theirs).abs() <= NEAR, "{ours} vs {theirs}");
            }
        }
    }
}
