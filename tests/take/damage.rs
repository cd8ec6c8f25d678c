//! Files that are broken or no recordings at all.

use crate::tools::{burst, ffmpeg, late_by, read, write_wav};
use std::path::{Path, PathBuf};

#[test]
fn flat_errors_say_what_is_wrong() {
    let dir = tempfile::tempdir().unwrap();
    let file = |name: &str, bytes: &[u8]| -> PathBuf {
        let path = dir.path().join(name);
        std::fs::write(&path, bytes).unwrap();
        path
    };
    let cases = [
        (dir.path().join("none.wav"), "no such file"),
        (dir.path().to_owned(), "folder"),
        (file("empty.m4a", b""), "empty"),
        (file("text.wav", b"Tuesday: bars 9 to 16, slowly\n"), "text"),
        (
            file("noise.wav", &[0xa5, 0x5a, 0x91, 0x07].repeat(500)),
            "ffmpeg",
        ),
        (file("head.wav", b"RIFF\x24\0\0\0WAVE\x01"), "ffmpeg"),
    ];
    for (path, said) in cases {
        let error = read(&path).unwrap_err();
        assert!(error.contains(said), "{error}");
        assert!(error.starts_with(path.to_str().unwrap()), "{error}");
    }
}

/// A take with a stroke before and one after the damage.
fn two_strokes(path: &Path) -> Vec<f32> {
    let mut samples = burst(44_100, 8.0, 1.0);
    for (a, b) in samples.iter_mut().zip(burst(44_100, 8.0, 6.0)) {
        *a += b;
    }
    write_wav(path, 44_100, 1, &samples);
    samples
}

#[test]
fn lost_packets_are_named_and_move_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let wav = dir.path().join("source.wav");
    two_strokes(&wav);
    let rows = [
        ("a.flac", "flac"),
        ("a.m4a", "aac"),
        ("a.mkv", "aac"),
        ("b.m4a", "alac"),
        ("a.ogg", "libvorbis"),
    ];
    for (name, codec) in rows {
        let path = dir.path().join(name);
        let at = (path.to_str().unwrap(), wav.to_str().unwrap());
        if !ffmpeg(&["-i", at.1, "-c:a", codec, at.0]) {
            return;
        }
        let (whole, _) = read(&path).unwrap();
        let mut bytes = std::fs::read(&path).unwrap();
        let middle = bytes.len() / 2;
        let hole = bytes.len() / 20;
        bytes[middle..middle + hole].fill(0);
        std::fs::write(&path, bytes).unwrap();
        let (damaged, info) = read(&path).unwrap();
        let from = 16_000 * 11 / 2;
        let late = late_by(&damaged[from..], &whole[from..from + 16_000 * 2], 4000);
        println!(
            "{name}: {late:+.2} samples, {:?} {:?}",
            info.fitness.gaps, info.fitness.remarks
        );
        assert!(late.abs() < 4.0, "{name}: {late}");
        assert!(
            !info.fitness.gaps.is_empty() || !info.fitness.remarks.is_empty(),
            "{name}: nothing said"
        );
    }
}

#[test]
fn a_file_cut_short_is_read_up_to_the_cut() {
    let dir = tempfile::tempdir().unwrap();
    let wav = dir.path().join("source.wav");
    two_strokes(&wav);
    for (name, args) in [
        ("a.wav", &["-c:a", "pcm_s16le"][..]),
        ("a.flac", &["-c:a", "flac"]),
        ("a.mp3", &["-b:a", "128k"]),
        ("a.ogg", &["-c:a", "libvorbis"]),
        ("a.aac", &["-c:a", "aac"]),
        ("a.opus", &["-c:a", "libopus"]),
    ] {
        let path = dir.path().join(name);
        let mut all = vec!["-i", wav.to_str().unwrap()];
        all.extend_from_slice(args);
        all.push(path.to_str().unwrap());
        if !ffmpeg(&all) {
            return;
        }
        let (whole, _) = read(&path).unwrap();
        let bytes = std::fs::read(&path).unwrap();
        std::fs::write(&path, &bytes[..bytes.len() * 6 / 10]).unwrap();
        let (cut, info) = read(&path).unwrap();
        println!(
            "{name}: {} of {}, {:?} {:?}",
            cut.len(),
            whole.len(),
            info.fitness.gaps,
            info.fitness.remarks
        );
        assert!(
            cut.len() > whole.len() / 4 && cut.len() < whole.len(),
            "{name}"
        );
        let late = late_by(&cut[..32_000], &whole[..32_000], 100);
        assert!(late.abs() < 0.5, "{name}: {late}");
    }
}

#[test]
fn a_recorder_switched_off_in_the_middle_loses_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let wav = dir.path().join("source.wav");
    two_strokes(&wav);
    let (whole, _) = read(&wav).unwrap();
    let mut bytes = std::fs::read(&wav).unwrap();
    bytes[4..8].fill(0);
    bytes[40..44].fill(0);
    std::fs::write(&wav, bytes).unwrap();
    let (same, info) = read(&wav).unwrap();
    assert_eq!(same, whole);
    assert!(
        info.fitness
            .remarks
            .iter()
            .any(|r| r.contains("did not finish"))
    );
}
