//! How long reading a part and finding its tuning plan takes: `cargo bench
//! --bench plan`. The real parts lie beside the checkout; the made ones change
//! pitch often and on many drums.

use divan::Bencher;
use kettlemark::part::{self, ReadOptions};
use kettlemark::pitch::Pitch;
use kettlemark_test_support::draw::Draw;
use kettlemark_test_support::outside;
use std::path::Path;

fn main() {
    divan::main();
}

/// Movements of 46 to 563 bars.
const REAL: [&str; 6] = [
    "Bach_BWV.232_23_timpani",
    "Beach_Op.32_4_timpani",
    "Beethoven_Op.125_3_timpani",
    "Beethoven_Op.21_1_timpani",
    "Beethoven_Op.67_4_timpani",
    "Brahms_Op.98_4_timpani",
];

#[divan::bench(args = REAL)]
fn real_part(bencher: Bencher, name: &str) {
    let Some(path) = outside::shared(&format!("scores/{name}.musicxml")) else {
        return;
    };
    let bytes = std::fs::read(&path).unwrap_or_default();
    let options = ReadOptions::default();
    bencher.bench(|| part::read_bytes(&bytes, &path, &options));
}

/// 600 bars in groups of two with two bars of rest between, each group on three
/// of a number of pitches from F2 upwards.
fn made(pitches: usize) -> String {
    let draw = &mut Draw::new(1, 71);
    let mut text = "tempo 120\n".to_owned();
    for group in 0..150 {
        let bar = 4 * group + 1;
        for i in 0..2 {
            let words: Vec<String> = (0..4)
                .map(|_| Pitch::from_key(41 + draw.below(pitches) as i32).to_string())
                .collect();
            text.push_str(&format!("{}: {}\n", bar + i, words.join(" ")));
        }
        text.push_str(&format!("{}-{}: .\n", bar + 2, bar + 3));
    }
    text
}

#[divan::bench(args = [4, 8, 12], sample_count = 10)]
fn made_part(bencher: Bencher, pitches: usize) {
    let text = made(pitches);
    let options = ReadOptions::default();
    bencher.bench(|| part::read_bytes(text.as_bytes(), Path::new("made"), &options));
}
