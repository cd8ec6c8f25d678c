//! Every row of the format table: the file is made with ffmpeg, decoded by
//! us and by ffmpeg (which honours edit lists and pre-skip), and a stroke in
//! it must lie in the same place. Truth: ffmpeg's own decoding.

use crate::tools::{burst, ffmpeg, late_by, read, write_wav};
use std::path::Path;
use std::process::Command;

struct Row {
    name: &'static str,
    rate_hz: u32,
    channels: u16,
    args: &'static [&'static str],
    codec: &'static str,
    offset_known: bool,
}

const fn row(
    name: &'static str,
    rate_hz: u32,
    channels: u16,
    args: &'static [&'static str],
    codec: &'static str,
    offset_known: bool,
) -> Row {
    Row {
        name,
        rate_hz,
        channels,
        args,
        codec,
        offset_known,
    }
}

const ROWS: &[Row] = &[
    row("u8.wav", 44_100, 1, &["-c:a", "pcm_u8"], "pcm-u8", true),
    row(
        "s16.wav",
        44_100,
        2,
        &["-c:a", "pcm_s16le"],
        "pcm-s16",
        true,
    ),
    row(
        "s24.wav",
        48_000,
        6,
        &["-c:a", "pcm_s24le"],
        "pcm-s24",
        true,
    ),
    row(
        "s32.wav",
        48_000,
        8,
        &["-c:a", "pcm_s32le"],
        "pcm-s32",
        true,
    ),
    row(
        "f32.wav",
        16_000,
        1,
        &["-c:a", "pcm_f32le"],
        "pcm-f32",
        true,
    ),
    row(
        "f64.wav",
        22_050,
        1,
        &["-c:a", "pcm_f64le"],
        "pcm-f64",
        true,
    ),
    row("alaw.wav", 8000, 1, &["-c:a", "pcm_alaw"], "a-law", true),
    row("mulaw.wav", 8000, 1, &["-c:a", "pcm_mulaw"], "mu-law", true),
    row(
        "ima.wav",
        44_100,
        1,
        &["-c:a", "adpcm_ima_wav"],
        "adpcm-ima",
        true,
    ),
    row("ms.wav", 44_100, 1, &["-c:a", "adpcm_ms"], "adpcm-ms", true),
    row(
        "192k.wav",
        192_000,
        1,
        &["-c:a", "pcm_s16le"],
        "pcm-s16",
        true,
    ),
    row(
        "s16.aiff",
        44_100,
        2,
        &["-c:a", "pcm_s16be"],
        "pcm-s16",
        true,
    ),
    row(
        "s24.aiff",
        48_000,
        1,
        &["-c:a", "pcm_s24be"],
        "pcm-s24",
        true,
    ),
    row(
        "f32.aifc",
        44_100,
        1,
        &["-c:a", "pcm_f32be", "-f", "aiff"],
        "pcm-f32",
        true,
    ),
    row("8k.flac", 8000, 1, &[], "flac", true),
    row("44k.flac", 44_100, 2, &[], "flac", true),
    row("96k.flac", 96_000, 2, &[], "flac", true),
    row("flac.ogg", 44_100, 1, &["-c:a", "flac"], "flac", true),
    row("flac.mkv", 44_100, 1, &["-c:a", "flac"], "flac", true),
    row("cbr.mp3", 44_100, 2, &["-b:a", "128k"], "mp3", true),
    row("vbr.mp3", 48_000, 1, &["-q:a", "4"], "mp3", true),
    row("22k.mp3", 22_050, 1, &["-b:a", "64k"], "mp3", true),
    row(
        "notag.mp3",
        44_100,
        1,
        &["-b:a", "128k", "-write_xing", "0", "-id3v2_version", "0"],
        "mp3",
        false,
    ),
    row("44k.m4a", 44_100, 2, &["-c:a", "aac"], "aac", true),
    row("48k.m4a", 48_000, 1, &["-c:a", "aac"], "aac", true),
    row("8k.m4a", 8000, 1, &["-c:a", "aac"], "aac", true),
    row("96k.m4a", 96_000, 1, &["-c:a", "aac"], "aac", true),
    row(
        "front.m4a",
        44_100,
        1,
        &["-c:a", "aac", "-movflags", "+faststart"],
        "aac",
        true,
    ),
    row("aac.mp4", 48_000, 2, &["-c:a", "aac"], "aac", true),
    row("aac.mov", 44_100, 1, &["-c:a", "aac"], "aac", true),
    row(
        "pcm.mov",
        48_000,
        2,
        &["-c:a", "pcm_s16le"],
        "pcm-s16",
        true,
    ),
    row("aac.aac", 44_100, 1, &["-c:a", "aac"], "aac", false),
    row("aac.mkv", 44_100, 1, &["-c:a", "aac"], "aac", false),
    row("alac.m4a", 44_100, 2, &["-c:a", "alac"], "alac", true),
    row("alac.caf", 44_100, 1, &["-c:a", "alac"], "alac", true),
    row(
        "s16.caf",
        44_100,
        1,
        &["-c:a", "pcm_s16be"],
        "pcm-s16",
        true,
    ),
    row(
        "f32.caf",
        48_000,
        1,
        &["-c:a", "pcm_f32le"],
        "pcm-f32",
        true,
    ),
    row(
        "vorbis.ogg",
        44_100,
        2,
        &["-c:a", "libvorbis"],
        "vorbis",
        true,
    ),
    row(
        "vorbis.webm",
        48_000,
        1,
        &["-c:a", "libvorbis"],
        "vorbis",
        true,
    ),
    row("opus.opus", 48_000, 1, &["-c:a", "libopus"], "opus", true),
    row("opus.ogg", 48_000, 2, &["-c:a", "libopus"], "opus", true),
    row("opus.webm", 48_000, 1, &["-c:a", "libopus"], "opus", true),
    row("opus.mkv", 48_000, 2, &["-c:a", "libopus"], "opus", true),
    row("opus.mp4", 48_000, 1, &["-c:a", "libopus"], "opus", true),
];

const AT_S: f64 = 1.2345;
/// Codecs that lose nothing, so that samples must be those of ffmpeg.
const LOSSLESS: &[&str] = &[
    "pcm-s16", "pcm-s24", "pcm-s32", "pcm-f32", "pcm-f64", "flac", "alac",
];

/// ffmpeg's decoding as one channel of floats at the file's rate, then
/// through our own resampler, so that only decoding and placing differ.
fn decoded_by_ffmpeg(path: &Path, rate_hz: u32) -> Vec<f32> {
    let output = Command::new("ffmpeg")
        .args(["-v", "error", "-i"])
        .arg(path)
        // The first channel: all hold the same.
        .args([
            "-af",
            "pan=mono|c0=c0",
            "-f",
            "f32le",
            "-c:a",
            "pcm_f32le",
            "-",
        ])
        .output()
        .unwrap();
    let samples = output
        .stdout
        .chunks_exact(4)
        .map(|b| f32::from_le_bytes(b.try_into().unwrap()))
        .collect();
    let recording = kettlemark::take::Recording::from_samples(samples, rate_hz);
    crate::tools::drain(recording).unwrap().0
}

#[test]
fn every_format_puts_the_stroke_where_ffmpeg_puts_it() {
    let dir = tempfile::tempdir().unwrap();
    for row in ROWS {
        let wav = dir.path().join("source.wav");
        write_wav(
            &wav,
            row.rate_hz,
            row.channels,
            &burst(row.rate_hz, 3.0, AT_S),
        );
        let path = dir.path().join(row.name);
        let mut args = vec!["-i", wav.to_str().unwrap()];
        args.extend_from_slice(row.args);
        args.push(path.to_str().unwrap());
        if !ffmpeg(&args) {
            return;
        }
        let (ours, info) = read(&path).unwrap_or_else(|e| panic!("{}: {e}", row.name));
        let theirs = decoded_by_ffmpeg(&path, row.rate_hz);
        let late_ms = late_by(&ours, &theirs, 1000) / 16.0;
        println!(
            "{:12} {:8} {:6} Hz  {late_ms:+.3} ms against ffmpeg, {:+} samples long, gaps {:?} {:?}",
            row.name,
            info.codec,
            info.sample_rate_hz,
            ours.len() as i64 - theirs.len() as i64,
            info.fitness.gaps,
            info.fitness.remarks
        );
        assert_eq!(info.codec, row.codec, "{}", row.name);
        assert_eq!(info.sample_rate_hz, row.rate_hz, "{}", row.name);
        assert_eq!(info.channels, row.channels, "{}", row.name);
        assert!(
            info.fitness.gaps.is_empty(),
            "{}: {:?}",
            row.name,
            info.fitness.gaps
        );
        if row.offset_known {
            assert!(late_ms.abs() < 1.0, "{}: {late_ms} ms", row.name);
            let source = burst(row.rate_hz, 3.0, AT_S);
            let source = kettlemark::take::Recording::from_samples(source, row.rate_hz);
            let truth = crate::tools::drain(source).unwrap().0;
            let late_ms = late_by(&ours, &truth, 1000) / 16.0;
            assert!(
                late_ms.abs() < 1.0,
                "{}: {late_ms} ms against the source",
                row.name
            );
        }
        assert_eq!(info.start_offset_known, row.offset_known, "{}", row.name);
        if LOSSLESS.contains(&row.codec) {
            assert_eq!(ours.len(), theirs.len(), "{}", row.name);
            let worst = ours
                .iter()
                .zip(&theirs)
                .fold(0.0f32, |m, (a, b)| m.max((a - b).abs()));
            assert!(worst < 2e-7, "{}: {worst}", row.name);
        }
    }
}

#[test]
fn a_video_gives_its_sound() {
    let dir = tempfile::tempdir().unwrap();
    let wav = dir.path().join("source.wav");
    write_wav(&wav, 48_000, 2, &burst(48_000, 3.0, AT_S));
    for name in ["film.mp4", "film.mov", "film.mkv", "part.mp4"] {
        let path = dir.path().join(name);
        let mut args = vec![
            "-f",
            "lavfi",
            "-i",
            "testsrc=size=64x64:rate=25:duration=3",
            "-i",
        ];
        args.extend([wav.to_str().unwrap(), "-c:v", "mpeg4", "-c:a", "aac"]);
        if name == "part.mp4" {
            args.extend(["-movflags", "frag_keyframe+empty_moov"]);
        }
        args.push(path.to_str().unwrap());
        if !ffmpeg(&args) {
            return;
        }
        let (ours, info) = read(&path).unwrap_or_else(|e| panic!("{name}: {e}"));
        let late_ms = late_by(&ours, &decoded_by_ffmpeg(&path, 48_000), 1000) / 16.0;
        println!(
            "{name} {late_ms:+.3} ms against ffmpeg, known {}",
            info.start_offset_known
        );
        assert!(
            !info.start_offset_known || late_ms.abs() < 1.0,
            "{name}: {late_ms} ms"
        );
        assert!(late_ms.abs() < 25.0, "{name}: {late_ms} ms");
    }
    let silent = dir.path().join("silent.mp4");
    let film = [
        "-f",
        "lavfi",
        "-i",
        "testsrc=size=64x64:rate=25:duration=1",
        "-c:v",
        "mpeg4",
    ];
    let mut args = film.to_vec();
    args.push(silent.to_str().unwrap());
    ffmpeg(&args);
    assert!(read(&silent).unwrap_err().contains("video without sound"));
}

#[test]
fn what_is_not_read_is_named_with_the_way_out() {
    let dir = tempfile::tempdir().unwrap();
    let wav = dir.path().join("source.wav");
    write_wav(&wav, 44_100, 1, &burst(44_100, 1.0, 0.5));
    let rows: &[(&str, &[&str], &str)] = &[
        ("take.wma", &["-c:a", "wmav2"], "Windows Media"),
        ("take.wv", &["-c:a", "wavpack"], "WavPack"),
        ("take.ac3", &["-c:a", "ac3"], "AC-3"),
        ("take.w64", &["-c:a", "pcm_s16le"], "Wave64"),
        (
            "take.wav",
            &["-c:a", "pcm_s16le", "-rf64", "always"],
            "RF64",
        ),
        ("ac3.mkv", &["-c:a", "ac3"], "ac-3"),
    ];
    for (name, args, said) in rows {
        let path = dir.path().join(name);
        let mut all = vec!["-i", wav.to_str().unwrap()];
        all.extend_from_slice(args);
        all.push(path.to_str().unwrap());
        if !ffmpeg(&all) {
            return;
        }
        let error = read(&path).unwrap_err();
        println!("{error}");
        assert!(error.contains(said) && error.contains("ffmpeg"), "{error}");
    }
}
