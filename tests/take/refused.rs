//! What cannot be read or judged: one sentence with what, where and what to
//! do, and the exit code 2; or the reason, and the exit code 1.

use super::common;
use assert_cmd::Command;
use std::path::Path;

fn review(folder: &Path, take: &str) -> (Option<i32>, String) {
    let part = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-takes/lantern.musicxml");
    let output = Command::cargo_bin("kettlemark")
        .unwrap()
        .current_dir(folder)
        .env_remove("KETTLEMARK_LOG")
        .args(["review", take, "--no-log", "--part"])
        .arg(part)
        .output()
        .unwrap();
    let said = String::from_utf8(output.stderr).unwrap();
    (output.status.code(), said)
}

/// Exit code 2, the file named, one sentence that says what and what to do.
fn unreadable(folder: &Path, take: &str, what: &str, advice: &str) {
    let (code, said) = review(folder, take);
    assert_eq!(code, Some(2), "{take}: {said}");
    assert!(said.contains(take), "{take}: {said}");
    assert!(said.contains(what), "{take}: {said}");
    assert!(said.contains(advice), "{take}: {said}");
    assert_eq!(said.trim_end().lines().count(), 1, "{take}: {said}");
    assert!(!folder.join("reports").exists(), "{take}");
}

#[test]
fn what_is_no_recording() {
    let folder = tempfile::tempdir().unwrap();
    let there = folder.path();
    let write = |name: &str, bytes: &[u8]| std::fs::write(there.join(name), bytes).unwrap();
    write("empty.wav", b"");
    write(
        "words.wav",
        b"Dear teacher,\nmy take is in the other mail.\n",
    );
    write("zeros.m4a", &[0; 5000]);
    write("amr.amr", b"#!AMR\n\x3c\x11\x22\x33");
    write("long.wav", b"RF64\xff\xff\xff\xffWAVEds64");
    write("header.wav", b"RIFF\x24\0\0\0WAVEfmt ");
    write("one-byte.mp3", b"\xff");
    std::fs::create_dir(there.join("takes")).unwrap();
    for (take, what, advice) in [
        ("absent.wav", "no such file", "check the name"),
        ("takes", "folder", "kettlemark class"),
        ("empty.wav", "empty", "copy it again"),
        ("words.wav", "text", "give the recording"),
        ("zeros.m4a", "", "convert it"),
        ("amr.amr", "AMR", "convert it"),
        ("long.wav", "RF64", "convert it"),
        ("header.wav", "", "convert it"),
        ("one-byte.mp3", "", "convert it"),
    ] {
        unreadable(there, take, what, advice);
    }
}

#[test]
fn codecs_and_containers_that_are_not_read_are_named() {
    if !common::have(&["ffmpeg"]) {
        return;
    }
    let folder = common::folder_with_clicks(48_000, 2);
    for (file, make, what) in [
        ("a.mp4", "-c:a ac3", "ac-3"),
        ("a.mkv", "-c:a ac3", "ac-3"),
        ("e.mkv", "-c:a eac3", "e-ac-3"),
        ("m.mp2", "-c:a mp2", "mp2"),
        ("d.mkv", "-c:a dca -strict -2", "dts"),
        ("a.wma", "-c:a wmav2", "Windows Media"),
        ("a.wv", "-c:a wavpack", "WavPack"),
        ("a.ac3", "-c:a ac3", "AC-3"),
        ("a.avi", "-c:a pcm_s16le", "AVI"),
        ("a.w64", "-c:a pcm_s16le", "Wave64"),
        ("a.au", "-c:a pcm_s16be", "AU"),
        ("s.ogg", "-c:a libspeex -ar 16000 -ac 1", "Speex"),
        (
            "six.m4a",
            "-af pan=5.1|FL=c0|FR=c1|FC=c0|LFE=c0|BL=c0|BR=c1 -c:a aac",
            "aac",
        ),
        (
            "six.opus",
            "-af pan=5.1|FL=c0|FR=c1|FC=c0|LFE=c0|BL=c0|BR=c1 -c:a libopus",
            "Opus",
        ),
    ] {
        let mut arguments = vec!["-i", "clicks.wav"];
        arguments.extend(make.split(' '));
        arguments.push(file);
        common::ffmpeg(folder.path(), &arguments);
        unreadable(folder.path(), file, what, "ffmpeg -i FILE");
    }
    for (file, make) in [
        (
            "silent.mp4",
            "-f lavfi -i color=black:s=64x64:r=25:d=1 -c:v mpeg4",
        ),
        (
            "silent.webm",
            "-f lavfi -i color=black:s=64x64:r=25:d=1 -c:v libvpx",
        ),
    ] {
        let mut arguments: Vec<&str> = make.split(' ').collect();
        arguments.push(file);
        common::ffmpeg(folder.path(), &arguments);
        unreadable(folder.path(), file, "video without sound", "ffmpeg -i FILE");
    }
}

#[test]
fn what_holds_no_playing_is_refused_with_its_reason() {
    let rate_hz = 44_100;
    let seconds = |s: usize| s * rate_hz as usize;
    let mut state = 1u32;
    let mut white = || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        state as f32 / 2_147_483_648.0 - 1.0
    };
    let mut click = vec![0.0; seconds(3)];
    click[seconds(1)] = 0.9;
    let takes = [
        ("silence", vec![0.0; seconds(3)]),
        ("one-sample", vec![0.5]),
        ("no-sample", Vec::new()),
        ("one-click", click),
        ("off-centre", vec![0.6; seconds(3)]),
        ("noise", (0..seconds(8)).map(|_| white()).collect()),
        ("no-number", vec![f32::NAN; seconds(2)]),
        ("infinite", vec![f32::INFINITY; seconds(2)]),
        ("huge", vec![3e38; seconds(2)]),
    ];
    let folder = tempfile::tempdir().unwrap();
    for (name, samples) in takes {
        let file = format!("{name}.wav");
        let spec = hound::WavSpec {
            channels: 1,
            sample_rate: rate_hz,
            bits_per_sample: 32,
            sample_format: hound::SampleFormat::Float,
        };
        let mut writer = hound::WavWriter::create(folder.path().join(&file), spec).unwrap();
        for s in samples {
            writer.write_sample(s).unwrap();
        }
        writer.finalize().unwrap();
        let (code, said) = review(folder.path(), &file);
        if name == "no-sample" {
            assert_eq!(code, Some(2), "{name}: {said}");
            assert!(said.contains("no sound"), "{said}");
            continue;
        }
        assert_eq!(code, Some(1), "{name}: {said}");
        assert!(said.contains("not judged"), "{name}: {said}");
        let path = folder.path().join("reports").join(name).join("review.json");
        let text = std::fs::read_to_string(path).unwrap();
        let review: kettlemark::review::Review = serde_json::from_str(&text).unwrap();
        assert!(!review.judged && review.reason.is_some(), "{name}");
        let numbers = ["no-number", "infinite", "huge"].contains(&name);
        let told = text.contains("are not numbers");
        assert_eq!(numbers, told, "{name}");
    }
}
