//! Damaged files by the thousand, from fixed seeds: nothing may panic, hang
//! or ask for memory without bound. `KETTLEMARK_MUTATIONS=100000` runs more.

use crate::tools::{Noise, burst, ffmpeg, write_wav};
use kettlemark::take::Recording;

const KINDS: &[(&str, &[&str])] = &[
    ("a.wav", &["-c:a", "pcm_s16le"]),
    ("b.wav", &["-c:a", "adpcm_ima_wav"]),
    ("a.aiff", &["-c:a", "pcm_s16be"]),
    ("a.flac", &["-c:a", "flac"]),
    ("a.mp3", &["-b:a", "64k"]),
    ("a.m4a", &["-c:a", "aac"]),
    ("b.m4a", &["-c:a", "alac"]),
    ("a.aac", &["-c:a", "aac"]),
    ("a.mkv", &["-c:a", "aac"]),
    ("a.caf", &["-c:a", "pcm_s16be"]),
    ("b.caf", &["-c:a", "alac"]),
    ("a.ogg", &["-c:a", "libvorbis"]),
    ("b.ogg", &["-c:a", "flac"]),
    ("a.opus", &["-c:a", "libopus"]),
    ("a.webm", &["-c:a", "libopus"]),
    ("a.mp4", &["-c:a", "libopus"]),
];

/// Of the 20 000 inputs of a full run, recordings take this many; sheets,
/// MusicXML and MIDI take the rest.
const INPUTS: usize = 6000;

#[test]
fn mutated_files_never_panic_or_grow() {
    let inputs = std::env::var("KETTLEMARK_MUTATIONS")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(INPUTS);
    let dir = tempfile::tempdir().unwrap();
    let wav = dir.path().join("source.wav");
    write_wav(&wav, 8000, 1, &burst(8000, 0.4, 0.1));
    let mut seeds = Vec::new();
    for (name, args) in KINDS {
        let path = dir.path().join(name);
        let mut all = vec!["-i", wav.to_str().unwrap()];
        all.extend_from_slice(args);
        all.push(path.to_str().unwrap());
        if !ffmpeg(&all) {
            return;
        }
        seeds.push(std::fs::read(&path).unwrap());
    }
    let mut noise = Noise(20_261_125);
    let mut read = 0usize;
    let file = dir.path().join("mutated");
    for input in 0..inputs {
        let mut bytes = seeds[input % seeds.len()].clone();
        mutate(&mut bytes, &mut noise);
        std::fs::write(&file, &bytes).unwrap();
        let outcome = std::panic::catch_unwind(|| {
            let Ok(mut recording) = Recording::open(&file) else {
                return 0;
            };
            let mut samples = 0usize;
            while let Ok(Some(block)) = recording.next_block() {
                assert!(block.iter().all(|v| v.is_finite()));
                samples += block.len();
                // Ten minutes out of less than half a second would be a
                // forged length believed.
                assert!(samples < 16_000 * 3600, "input {input} does not end");
            }
            recording.finish();
            1
        });
        match outcome {
            Ok(n) => read += n,
            Err(_) => panic!("input {input} of {}", KINDS[input % seeds.len()].0),
        }
    }
    println!("{inputs} mutated files, {read} of them still readable");
    assert!(read > inputs / 10);
}

fn mutate(bytes: &mut Vec<u8>, noise: &mut Noise) {
    let mut below = |n: usize| (noise.next_u64() % n.max(1) as u64) as usize;
    for _ in 0..=below(4) {
        let length = bytes.len();
        // Headers are where claims stand: half of the damage goes there.
        let place = if below(2) == 0 {
            below(length.min(256))
        } else {
            below(length)
        };
        match below(6) {
            0 => bytes[place] ^= 1 << below(8),
            1 => bytes[place] = below(256) as u8,
            2 => {
                let end = (place + 1 + below(64)).min(length);
                bytes[place..end].fill([0, 0xff][below(2)]);
            }
            3 => bytes.truncate(length - below(length / 2)),
            4 => {
                let end = (place + below(64)).min(length);
                let copy = bytes[place..end].to_vec();
                bytes.splice(place..place, copy);
            }
            _ => {
                let end = (place + below(32)).min(length);
                bytes.drain(place..end);
            }
        }
        if bytes.is_empty() {
            bytes.push(0);
        }
    }
}
