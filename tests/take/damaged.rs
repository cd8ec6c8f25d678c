//! Damaged files: what can be read is read, what is lost is named with its
//! times, and nothing moves.

use super::common::{self, RATE};
use kettlemark::take::{Recording, TakeInfo};
use std::path::Path;

/// The clicks sound twice, the second time this much later.
const AGAIN_S: f64 = 10.0;
const WHOLE_S: f64 = AGAIN_S + common::LENGTH_S;
/// 1 ms.
const NEAR: i64 = (RATE / 1000) as i64;

/// A file, how it is made from `long.wav`, and what is expected of it.
struct Kind {
    file: &'static str,
    make: &'static str,
    /// The file states when its packets are to sound.
    stamped: bool,
    /// Nothing in the file counts bytes.
    stream: bool,
    /// Behind a damaged place the demuxer finds nothing more.
    rest_is_lost: bool,
}

const KINDS: [Kind; 12] = [
    stream("a.flac", "-c:a flac", true),
    stream("f.ogg", "-c:a flac", true),
    kind("a.m4a", "-c:a aac -b:a 128k", true),
    kind("fast.m4a", "-c:a aac -b:a 128k -movflags +faststart", true),
    kind("l.m4a", "-c:a alac", true),
    blocks("a.mkv", "-c:a aac -b:a 128k"),
    blocks("o.webm", "-c:a libopus -b:a 96k"),
    stream("v.ogg", "-c:a libvorbis -q:a 6", true),
    stream("a.opus", "-c:a libopus -b:a 96k", true),
    kind("a.wav", "-c:a pcm_s16le", true),
    stream("a.mp3", "-c:a libmp3lame -b:a 128k", false),
    stream("a.aac", "-c:a aac -b:a 128k -f adts", false),
];

const fn kind(file: &'static str, make: &'static str, stamped: bool) -> Kind {
    Kind {
        file,
        make,
        stamped,
        stream: false,
        rest_is_lost: false,
    }
}

const fn stream(file: &'static str, make: &'static str, stamped: bool) -> Kind {
    Kind {
        stream: true,
        ..kind(file, make, stamped)
    }
}

const fn blocks(file: &'static str, make: &'static str) -> Kind {
    Kind {
        rest_is_lost: true,
        ..kind(file, make, true)
    }
}

/// `long.wav`: clicks, noise that swells and sinks, the clicks again.
fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let rate_hz = 48_000;
    let clicks = common::clicks(rate_hz);
    let again = (AGAIN_S * f64::from(rate_hz)) as usize;
    let mut samples: Vec<f32> = common::white(9)
        .take(again + clicks.len())
        .enumerate()
        .map(|(i, white)| 0.004 * white + 0.02 * (i as f32 * 0.01).sin())
        .collect();
    for (i, s) in clicks.iter().enumerate() {
        samples[i] += s;
        samples[again + i] += s;
    }
    common::write_wav(&folder.path().join("long.wav"), &[samples], rate_hz);
    folder
}

fn make(folder: &Path, kind: &Kind) -> Vec<u8> {
    let mut arguments = vec!["-i", "long.wav"];
    arguments.extend(kind.make.split(' '));
    arguments.push(kind.file);
    common::ffmpeg(folder, &arguments);
    std::fs::read(folder.join(kind.file)).unwrap()
}

fn read_bytes(folder: &Path, kind: &Kind, bytes: &[u8]) -> (Vec<f32>, TakeInfo) {
    let path = folder.join(format!("damaged-{}", kind.file));
    std::fs::write(&path, bytes).unwrap();
    common::read(&path)
}

/// What the review will say of it.
fn doubted(info: &TakeInfo) -> bool {
    !info.fitness.gaps.is_empty() || !info.fitness.remarks.is_empty()
}

#[test]
fn cut_short() {
    if !common::have(&["ffmpeg"]) {
        return;
    }
    let folder = folder();
    let more = [
        kind("a.aiff", "-c:a pcm_s16be", true),
        kind("a.caf", "-c:a pcm_s16le", true),
        kind("p.mov", "-c:a pcm_s16le -movflags +faststart", true),
        kind("k.mkv", "-c:a libvorbis -q:a 6", true),
    ];
    for kind in KINDS.iter().chain(&more) {
        let bytes = make(folder.path(), kind);
        let cut = &bytes[..bytes.len() * 6 / 10];
        if ["a.m4a", "l.m4a"].contains(&kind.file) {
            // Their index stands at the end and is gone.
            let path = folder.path().join("cut.m4a");
            std::fs::write(&path, cut).unwrap();
            let said = Recording::open(&path).err().unwrap().to_string();
            assert!(said.contains("index"), "{said}");
            continue;
        }
        let (samples, info) = read_bytes(folder.path(), kind, cut);
        let (whole, _) = read_bytes(folder.path(), kind, &bytes);
        let name = kind.file;
        let read_s = samples.len() as f64 / RATE as f64;
        assert!(
            (0.4..0.9).contains(&(read_s / WHOLE_S)),
            "{name}: {read_s} s"
        );
        assert_eq!(
            common::lag(&samples, name),
            common::lag(&whole, name),
            "{name}"
        );
        assert!(doubted(&info), "{name}");
        for (from_s, to_s) in &info.fitness.gaps {
            assert!((from_s - info.duration_s).abs() < 0.1, "{name}: {from_s}");
            assert!((to_s - WHOLE_S).abs() < 0.2, "{name}: {to_s}");
        }
    }
}

/// A stretch of the file is zeroed or has bits turned: the clicks before and
/// after stand where they stood, and what is lost in between is named.
#[test]
fn spoilt_in_the_middle() {
    if !common::have(&["ffmpeg"]) {
        return;
    }
    let folder = folder();
    for kind in &KINDS {
        let bytes = make(folder.path(), kind);
        let (whole, info) = read_bytes(folder.path(), kind, &bytes);
        assert!(!doubted(&info), "{}: {:?}", kind.file, info.fitness);
        let before = common::lag(&whole, kind.file);
        let middle = bytes.len() / 2;
        let mut zeroed = bytes.clone();
        zeroed[middle..middle + 5000].fill(0);
        let mut flipped = bytes.clone();
        for (k, i) in (middle..middle + 9_000).step_by(997).enumerate() {
            flipped[i] ^= 1 << (k % 8);
        }
        for (what, bytes) in [("zeroed", zeroed), ("flipped", flipped)] {
            let name = format!("{} {what}", kind.file);
            let (samples, info) = read_bytes(folder.path(), kind, &bytes);
            assert_eq!(common::lag(&samples, &name), before, "{name}");
            let gaps = &info.fitness.gaps;
            for (from_s, to_s) in gaps {
                assert!((5.0..10.3).contains(from_s), "{name}: {gaps:?}");
                assert!(to_s > from_s && *to_s < WHOLE_S + 0.1, "{name}: {gaps:?}");
            }
            // A turned bit in samples, or in a packet without a checksum, is
            // heard as a crackle and loses nothing; zeros in ALAC are one too.
            let told = doubted(&info) || what == "flipped" || kind.file == "l.m4a";
            assert!(told, "{name}");
            let seconds = samples.len() as f64 / RATE as f64;
            let whole_s = whole.len() as f64 / RATE as f64;
            if kind.rest_is_lost && seconds < whole_s - 1.0 {
                let last = gaps.last().unwrap();
                assert!((last.1 - WHOLE_S).abs() < 0.1, "{name}: {gaps:?}");
                continue;
            }
            let after = common::lag_after(&samples, &name, AGAIN_S);
            assert!((after - before).abs() <= NEAR, "{name}: {after} {before}");
            assert!((seconds - whole_s).abs() < 0.1, "{name}: {seconds} s");
        }
    }
}

/// Bytes that are gone altogether are told where packets carry their times or
/// are counted in a header.
#[test]
fn packets_that_are_gone() {
    if !common::have(&["ffmpeg"]) {
        return;
    }
    let folder = folder();
    for kind in KINDS.iter().filter(|k| k.stream) {
        let mut bytes = make(folder.path(), kind);
        let (whole, _) = read_bytes(folder.path(), kind, &bytes);
        let before = common::lag(&whole, kind.file);
        let middle = bytes.len() / 2;
        bytes.drain(middle..middle + 5000);
        let (samples, info) = read_bytes(folder.path(), kind, &bytes);
        assert!(doubted(&info), "{}", kind.file);
        assert_eq!(common::lag(&samples, kind.file), before, "{}", kind.file);
        if kind.stamped {
            let after = common::lag_after(&samples, kind.file, AGAIN_S);
            assert!((after - before).abs() <= NEAR, "{}", kind.file);
        }
    }
}

/// A recorder that was switched off has left the sizes in the header unset.
#[test]
fn headers_that_were_never_finished() {
    let folder = folder();
    let (whole, _) = common::read(&folder.path().join("long.wav"));
    let bytes = std::fs::read(folder.path().join("long.wav")).unwrap();
    let data = bytes.windows(4).position(|w| w == b"data").unwrap() + 4;
    for (riff, size, told) in [
        (0, 0, true),
        (36, 0, true),
        (0, 0xFFFF_FFFF, false),
        (0xFFFF_FFFF, 0xFFFF_FFFF, false),
        (0xFFFF_FFFF, 0, false),
        (0, (bytes.len() - data - 4) as u32, false),
        (77, (bytes.len() - data - 4) as u32, false),
    ] {
        let mut changed = bytes.clone();
        changed[4..8].copy_from_slice(&u32::to_le_bytes(riff));
        changed[data..data + 4].copy_from_slice(&u32::to_le_bytes(size));
        let path = folder.path().join("changed.wav");
        std::fs::write(&path, changed).unwrap();
        if riff == 0xFFFF_FFFF && size == 0 {
            // Whole, and empty: nothing says that it was not finished.
            assert!(Recording::open(&path).is_err());
            continue;
        }
        let (samples, info) = common::read(&path);
        assert!(samples == whole, "{riff} {size}");
        assert!(info.fitness.gaps.is_empty());
        assert_eq!(
            info.fitness.remarks.len(),
            usize::from(told),
            "{riff} {size}"
        );
        let said = info
            .fitness
            .remarks
            .iter()
            .any(|r| r.contains("never finished"));
        assert_eq!(said, told, "{:?}", info.fitness.remarks);
    }
    if !common::have(&["ffmpeg"]) {
        return;
    }
    common::ffmpeg(folder.path(), &["-i", "long.wav", "a.aiff"]);
    let mut bytes = std::fs::read(folder.path().join("a.aiff")).unwrap();
    let data = bytes.windows(4).position(|w| w == b"SSND").unwrap() + 4;
    bytes[4..8].fill(0);
    bytes[data..data + 4].fill(0);
    let path = folder.path().join("changed.aiff");
    std::fs::write(&path, bytes).unwrap();
    let (samples, info) = common::read(&path);
    assert!(samples == whole);
    assert!(info.fitness.remarks[0].contains("never finished"));
}

/// A header that claims gigabytes is held against the length of the file.
#[test]
fn forged_sizes_are_refused_or_put_right() {
    if !common::have(&["ffmpeg"]) {
        return;
    }
    let folder = folder();
    let there = folder.path();
    let forge = |make: &str, file: &str, name: &[u8], at: usize, bytes: &[u8]| {
        let mut arguments = vec!["-i", "long.wav"];
        arguments.extend(make.split(' '));
        arguments.push(file);
        common::ffmpeg(there, &arguments);
        let mut all = std::fs::read(there.join(file)).unwrap();
        let place = all.windows(name.len()).position(|w| w == name).unwrap() + name.len() + at;
        all[place..place + bytes.len()].copy_from_slice(bytes);
        let path = there.join(format!("forged-{file}"));
        std::fs::write(&path, all).unwrap();
        path
    };
    let refused = |path: &Path| Recording::open(path).err().map(|e| e.to_string());
    // Packets in the table of a Core Audio file.
    let path = forge("-c:a alac", "a.caf", b"pakt", 8, &[0x7F; 8]);
    assert!(refused(&path).unwrap().contains("longer than the file"));
    let path = forge("-c:a alac", "b.caf", b"kuki", 0, &[0x7F; 8]);
    assert!(refused(&path).unwrap().contains("longer than the file"));
    // Frames a packet.
    let path = forge("-c:a pcm_s16le", "c.caf", b"lpcm", 8, &[0x7F, 0, 0, 0]);
    assert!(refused(&path).unwrap().contains("damaged"));
    // A packet of an MP4 of two gigabytes.
    let path = forge("-c:a aac", "a.m4a", b"stsz", 12, &[0x7F, 0, 0, 0]);
    assert!(refused(&path).unwrap().contains("packet"));
    // The sound data of a Core Audio file.
    let path = forge("-c:a pcm_s16le", "d.caf", b"data", 0, &[0x7F; 8]);
    let (samples, info) = common::read(&path);
    assert!((samples.len() as f64 / RATE as f64 - WHOLE_S).abs() < 0.01);
    assert!(doubted(&info));
}

/// The sound stops dead for a moment in a recording that is whole.
#[test]
fn dropouts_are_told() {
    let rate_hz = 44_100;
    let mut samples: Vec<f32> = common::white(4)
        .take(rate_hz as usize * 4)
        .map(|v| 0.1 * v)
        .collect();
    samples[88_200..90_000].fill(0.0);
    let (_, info) = common::drain(Recording::from_samples(samples.clone(), rate_hz));
    assert_eq!(info.fitness.gaps.len(), 1);
    let (from_s, to_s) = info.fitness.gaps[0];
    assert!((from_s - 2.0).abs() < 1e-3 && (to_s - 90_000.0 / 44_100.0).abs() < 1e-3);
    // A gate that fades, a start out of nothing and an end into it: no gaps.
    let length = samples.len();
    for i in 0..4410 {
        samples[88_200 - 1 - i] *= (i as f32 / 4410.0).powi(3);
    }
    samples[..20_000].fill(0.0);
    samples[length - 20_000..].fill(0.0);
    let (_, info) = common::drain(Recording::from_samples(samples, rate_hz));
    assert!(info.fitness.gaps.is_empty(), "{:?}", info.fitness.gaps);
}
