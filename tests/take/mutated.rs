//! Recordings with chance damage: nothing panics, hangs, or takes memory
//! without bound.
//!
//! The inputs are made from fixed seeds and read in a process of their own
//! that may have [`MOST_KB`] of memory. `KETTLEMARK_MUTATIONS=100000 cargo test
//! --release --test take mutated` reads as many as that instead of [`INPUTS`].
//! What is found goes to `tests/out/finds`, and from there, once it is
//! understood, to `tests/take/finds`, whose files are read again every time.

use super::common;
use kettlemark::take::Recording;
use kettlemark_test_support::outside;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// Inputs of an ordinary run.
const INPUTS: u64 = 12_000;
/// Address space of the reading process, kilobytes.
const MOST_KB: u64 = 400_000;
/// One input takes milliseconds; a minute is a hang on any machine.
const HANG: Duration = Duration::from_secs(60);
/// A reader that makes up more than this from a file of a second runs wild.
const MOST_SECONDS: u64 = 3 * 3600;

/// What is read: a second of clicks in every container.
const SEEDS: [(&str, &str); 22] = [
    ("a.wav", "-c:a pcm_s16le"),
    ("b.wav", "-c:a pcm_f32le -ac 6"),
    ("c.wav", "-c:a adpcm_ms"),
    ("d.wav", "-c:a adpcm_ima_wav"),
    ("a.aiff", "-c:a pcm_s24be"),
    ("a.caf", "-c:a pcm_s16le"),
    ("b.caf", "-c:a alac"),
    ("c.caf", "-c:a libopus"),
    ("a.flac", "-c:a flac"),
    ("b.ogg", "-c:a flac"),
    ("a.ogg", "-c:a libvorbis"),
    ("a.opus", "-c:a libopus"),
    ("a.mp3", "-c:a libmp3lame"),
    ("a.aac", "-c:a aac -f adts"),
    ("a.m4a", "-c:a aac"),
    ("b.m4a", "-c:a alac"),
    ("c.mp4", "-c:a libopus -movflags frag_keyframe+empty_moov"),
    (
        "d.mp4",
        "-c:a aac -movflags frag_keyframe+empty_moov+default_base_moof",
    ),
    ("a.mov", "-c:a pcm_s24be"),
    ("a.mkv", "-c:a aac"),
    ("a.webm", "-c:a libopus"),
    ("b.webm", "-c:a libvorbis"),
];

fn make_seeds(folder: &Path) {
    let clicks = common::clicks(22_050);
    common::write_wav(&folder.join("clicks.wav"), &[clicks], 22_050);
    for (file, make) in SEEDS {
        let mut arguments = vec!["-i", "clicks.wav", "-ss", "0.4", "-t", "1"];
        arguments.extend(make.split(' '));
        arguments.push(file);
        common::ffmpeg(folder, &arguments);
    }
}

/// One input: a seed file with some damage that `number` decides alone.
fn mutate(seeds: &[Vec<u8>], number: u64) -> Vec<u8> {
    let mut draw = fastrand::Rng::with_seed(number);
    let mut bytes = seeds[number as usize % seeds.len()].clone();
    // Headers stand at either end.
    let place = |draw: &mut fastrand::Rng, length: usize| {
        let room = length.max(1);
        match draw.u8(0..4) {
            0 => draw.usize(0..room.min(128)),
            1 => draw.usize(0..room.min(2048)),
            2 => room - 1 - draw.usize(0..room.min(2048)),
            _ => draw.usize(0..room),
        }
    };
    for _ in 0..draw.usize(1..6) {
        if bytes.is_empty() {
            break;
        }
        let at = place(&mut draw, bytes.len());
        let span = draw.usize(1..200).min(bytes.len() - at);
        match draw.u8(0..9) {
            0 => bytes[at] ^= 1 << draw.u8(0..8),
            1 => bytes[at] = draw.u8(..),
            2 => bytes[at..at + span].fill(0),
            3 => bytes[at..at + span].fill(0xFF),
            4 => bytes[at..at + span].fill_with(|| draw.u8(..)),
            5 => {
                let extreme = [
                    0,
                    1,
                    0x7FFF_FFFF,
                    0x8000_0000,
                    u32::MAX,
                    0xFFFF,
                    0x0100_0000,
                ];
                let value = extreme[draw.usize(0..extreme.len())];
                let value = if draw.bool() {
                    value.to_be_bytes()
                } else {
                    value.to_le_bytes()
                };
                let room = value.len().min(bytes.len() - at);
                bytes[at..at + room].copy_from_slice(&value[..room]);
            }
            6 => {
                bytes.drain(at..at + span);
            }
            7 => {
                let copy = bytes[at..at + span].to_vec();
                bytes.splice(at..at, copy);
            }
            _ => {
                if draw.u8(0..4) == 0 {
                    bytes.truncate(at);
                } else {
                    let other = &seeds[draw.usize(0..seeds.len())];
                    let from = place(&mut draw, other.len());
                    let to = (from + span).min(other.len());
                    bytes.splice(at..at + span, other[from..to].iter().copied());
                }
            }
        }
    }
    bytes
}

/// Reads a file to its end; what it holds is no matter.
fn read_through(path: &Path) {
    let Ok(mut recording) = Recording::open(path) else {
        return;
    };
    let mut samples = 0u64;
    while let Some(block) = recording.next_block().unwrap() {
        samples += block.len() as u64;
        assert!(
            samples < MOST_SECONDS * common::RATE as u64,
            "makes up sound without end"
        );
        assert!(block.iter().all(|s| s.is_finite()));
    }
    let info = recording.finish();
    let fitness = &info.fitness;
    assert!(info.duration_s.is_finite());
    assert!(fitness.gaps.iter().all(|g| g.0 < g.1 && g.1.is_finite()));
}

fn seeds_in(folder: &Path) -> Vec<Vec<u8>> {
    SEEDS
        .iter()
        .map(|(file, _)| std::fs::read(folder.join(file)).unwrap())
        .collect()
}

/// The reading process: only started by the test below.
#[test]
fn child() {
    let Some(folder) = std::env::var_os("KETTLEMARK_MUTATED_IN").map(PathBuf::from) else {
        return;
    };
    let number = |name: &str| -> u64 { std::env::var(name).unwrap().parse().unwrap() };
    let (from, to) = (
        number("KETTLEMARK_MUTATED_FROM"),
        number("KETTLEMARK_MUTATED_TO"),
    );
    let seeds = seeds_in(&folder);
    let name = format!("{from}.input");
    let (input, at) = (folder.join(&name), folder.join(format!("{from}.at")));
    for number in from..to {
        std::fs::write(&at, number.to_string()).unwrap();
        std::fs::write(&input, mutate(&seeds, number)).unwrap();
        read_through(&input);
    }
    std::fs::write(&at, "done").unwrap();
}

/// This test program again, with less memory.
fn start(folder: &Path, from: u64, to: u64) -> Child {
    let log = std::fs::File::create(folder.join(format!("{from}.log"))).unwrap();
    Command::new("sh")
        .args(["-c", &format!("ulimit -v {MOST_KB}; exec \"$0\" \"$@\"")])
        .arg(std::env::current_exe().unwrap())
        .args([
            "--exact",
            "mutated::child",
            "--nocapture",
            "--test-threads=1",
        ])
        .env("KETTLEMARK_MUTATED_IN", folder)
        .env("KETTLEMARK_MUTATED_FROM", from.to_string())
        .env("KETTLEMARK_MUTATED_TO", to.to_string())
        .env("RUST_BACKTRACE", "0")
        .stdout(Stdio::null())
        .stderr(log)
        .spawn()
        .unwrap()
}

/// Waits for it; the error is where and why it failed.
fn watch(child: &mut Child, folder: &Path, from: u64) -> Result<(), String> {
    let at = || std::fs::read_to_string(folder.join(format!("{from}.at"))).unwrap_or_default();
    let (mut last, mut since) = (at(), Instant::now());
    loop {
        if let Some(status) = child.try_wait().unwrap() {
            let log = std::fs::read_to_string(folder.join(format!("{from}.log"))).unwrap();
            return if status.success() && at() == "done" && !log.contains("panicked") {
                Ok(())
            } else {
                Err(format!("input {}: {status}: {log}", at()))
            };
        }
        let now = at();
        if now != last {
            (last, since) = (now, Instant::now());
        }
        if since.elapsed() > HANG {
            child.kill().unwrap();
            child.wait().unwrap();
            return Err(format!("input {last} hangs"));
        }
        std::thread::sleep(Duration::from_millis(20));
    }
}

#[test]
fn chance_damage_does_no_harm() {
    if !common::have(&["ffmpeg"]) {
        return;
    }
    let inputs = std::env::var("KETTLEMARK_MUTATIONS")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(INPUTS);
    let folder = tempfile::tempdir().unwrap();
    make_seeds(folder.path());
    let half = inputs / 2;
    let mut children = [(0, half), (half, inputs)].map(|(from, to)| {
        let child = start(folder.path(), from, to);
        (from, child)
    });
    let failures: Vec<String> = children
        .iter_mut()
        .filter_map(|(from, child)| {
            let failure = watch(child, folder.path(), *from).err()?;
            let finds = outside::root().join("tests/out/finds");
            std::fs::create_dir_all(&finds).unwrap();
            let find = finds.join(format!("recording-{from}"));
            std::fs::copy(folder.path().join(format!("{from}.input")), &find).unwrap();
            Some(format!("{failure}; kept as {}", find.display()))
        })
        .collect();
    println!("{inputs} inputs, {} failures", failures.len());
    assert!(failures.is_empty(), "{failures:#?}");
}

/// A few of them through the program itself.
#[test]
fn the_program_answers_chance_damage() {
    if !common::have(&["ffmpeg"]) {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    make_seeds(folder.path());
    let seeds = seeds_in(folder.path());
    let part = outside::root().join("sample-takes/lantern.musicxml");
    for number in 1_000_000..1_000_044 {
        let input = folder.path().join("take.m4a");
        std::fs::write(&input, mutate(&seeds, number)).unwrap();
        let output = Command::new("sh")
            .args(["-c", &format!("ulimit -v {MOST_KB}; exec \"$0\" \"$@\"")])
            .arg(env!("CARGO_BIN_EXE_kettlemark"))
            .arg("review")
            .arg(&input)
            .args(["--no-log", "--out", "out", "--part"])
            .arg(&part)
            .current_dir(folder.path())
            .output()
            .unwrap();
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(
            matches!(output.status.code(), Some(0..=2)),
            "{number}: {}: {said}",
            output.status
        );
        assert!(!said.contains("panicked"), "{number}: {said}");
    }
}

/// What was found once is read again.
#[test]
fn finds_stay_mended() {
    let folder = outside::root().join("tests/take/finds");
    let mut names: Vec<PathBuf> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    names.sort();
    for path in names {
        read_through(&path);
    }
}
