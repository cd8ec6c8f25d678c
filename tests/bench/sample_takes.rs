//! Makes everything in `sample-takes/` and the truth in `tests/sample-truth/`:
//! `cargo bench --bench sample_takes -- write`. Needs `ffmpeg`.
//!
//! The takes are played on the modal kettledrum by a made-up player "A".

use kettlemark_test_support::codec;
use kettlemark_test_support::conditions::{Chain, GainControl, Kind};
use kettlemark_test_support::draw::Draw;
use kettlemark_test_support::kit::Instrument;
use kettlemark_test_support::player::{Player, Script};
use kettlemark_test_support::{lantern, outside, takes};
use std::error::Error;

/// One take: its file, what ffmpeg is told, the player.
struct Sample {
    name: &'static str,
    rate_hz: u32,
    arguments: &'static [&'static str],
    /// The day it was played.
    date: &'static str,
    player: Player,
    phone: bool,
}

fn steady(jitter_s: f64, triplet: [f64; 2]) -> Player {
    Player {
        tempo: 1.0,
        wander: 0.006,
        jitter_s,
        triplet,
        missed: 0.0,
        other_drum: 0.0,
        extra: 0.0,
        detune_cents: 0.0,
        level_sd_db: 1.0,
        late_stops: 0.0,
        no_stops: 0.0,
        roll_rate: 10.5,
        script: Script::default(),
    }
}

/// Settings of the march: 0 F2, 1 B flat 2, 2 C3, 3 D3, 4 F3.
fn samples() -> [Sample; 3] {
    [
        Sample {
            name: "lantern-1.mp3",
            rate_hz: 44_100,
            arguments: &["-c:a", "libmp3lame", "-b:a", "96k"],
            date: "2026-10-05",
            player: Player {
                level_sd_db: 1.8,
                no_stops: 0.4,
                late_stops: 0.3,
                roll_rate: 9.0,
                script: Script {
                    missed: vec![33, 71],
                    detune_cents: vec![-4.0, -24.0, 12.0, 3.0, -6.0],
                    tempo: vec![
                        (0.0, 0.94),
                        (60.0, 0.94),
                        (76.0, 0.95),
                        (84.0, 1.04),
                        (92.0, 1.0),
                    ],
                    last_stop: Some(None),
                    ..Script::default()
                },
                ..steady(0.007, [-0.11, -0.03])
            },
            phone: false,
        },
        Sample {
            name: "lantern-2.m4a",
            rate_hz: 48_000,
            arguments: &["-c:a", "aac", "-b:a", "96k"],
            date: "2026-10-26",
            player: Player {
                level_sd_db: 1.3,
                late_stops: 0.3,
                roll_rate: 9.8,
                script: Script {
                    missed: vec![58],
                    other_drum: vec![(53, 3)],
                    detune_cents: vec![3.0, -9.0, -18.0, 4.0, 14.0],
                    tempo: vec![(0.0, 0.97), (74.0, 0.98), (84.0, 1.04), (90.0, 1.02)],
                    last_stop: Some(Some(0.35)),
                    ..Script::default()
                },
                ..steady(0.005, [-0.07, -0.02])
            },
            phone: true,
        },
        Sample {
            name: "lantern-3.flac",
            rate_hz: 32_000,
            arguments: &["-c:a", "flac", "-compression_level", "12"],
            date: "2026-11-16",
            player: Player {
                script: Script {
                    missed: vec![83],
                    detune_cents: vec![2.0, 3.0, -5.0, -2.0, 4.0],
                    tempo: vec![(0.0, 1.0), (74.0, 1.0), (84.0, 1.02), (92.0, 1.0)],
                    last_stop: Some(Some(0.02)),
                    ..Script::default()
                },
                ..steady(0.003, [-0.02, 0.0])
            },
            phone: false,
        },
    ]
}

fn main() -> Result<(), Box<dyn Error>> {
    // Run by a plain `cargo bench` it leaves everything as it is.
    if !std::env::args().any(|a| a == "write") {
        return Ok(());
    }
    let folder = outside::root().join("sample-takes");
    let truths = outside::root().join("tests/sample-truth");
    std::fs::create_dir_all(&folder)?;
    std::fs::create_dir_all(&truths)?;
    std::fs::write(folder.join("lantern.musicxml"), lantern::musicxml())?;
    for (seed, sample) in (1..).zip(samples()) {
        let rate = f64::from(sample.rate_hz);
        let mut draw = Draw::new(seed, 900);
        let mut chain = Chain::draw(Kind::Clean, &mut draw, rate);
        chain.room = Some(kettlemark_test_support::conditions::room(
            &mut draw,
            rate,
            (0.5, 0.6),
            (2.0, 2.5),
        ));
        chain.noise_db = -62.0;
        chain.peak_db = -3.0;
        if sample.phone {
            chain.bass_cut_hz = Some(110.0);
            chain.gain_control = Some(GainControl {
                attack_s: 0.01,
                release_s: 0.6,
                threshold_db: -12.0,
                ratio: 1.4,
            });
        }
        // The same drums every week: the seed of the kit is the same.
        let take = takes::make_of(
            lantern::part(),
            &sample.player,
            &chain,
            Instrument::Modal,
            takes::Seeds {
                kit: 4,
                playing: seed,
            },
            sample.rate_hz,
        );
        let path = folder.join(sample.name);
        let date = format!("date={}", sample.date);
        let mut arguments = sample.arguments.to_vec();
        arguments.extend(["-fflags", "+bitexact", "-metadata", &date]);
        codec::encode(&path, &take.samples, sample.rate_hz, &arguments)
            .ok_or("ffmpeg is missing or failed")?;
        let mut text = serde_json::to_vec_pretty(&take.truth)?;
        text.push(b'\n');
        std::fs::write(truths.join(sample.name).with_extension("json"), text)?;
    }
    Ok(())
}
