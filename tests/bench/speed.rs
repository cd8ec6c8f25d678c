//! What each stage of a review costs on one ten-minute take:
//!
//!     cargo bench --bench speed
//!
//! The take (a generated march on the modal kettledrum in a room, AAC in MP4)
//! and its part are made once and left in `tests/out/bench`, where
//! `tests/bench/side_by_side.py` finds them.

use divan::{Bencher, black_box};
use kettlemark::listen::Heard;
use kettlemark::part::Part;
use kettlemark::review::Review;
use kettlemark::settings::Settings;
use kettlemark::take::Recording;
use kettlemark::{align, listen, part, pipeline, report};
use kettlemark_test_support::conditions::{Chain, Kind};
use kettlemark_test_support::draw::Draw;
use kettlemark_test_support::kit::Instrument;
use kettlemark_test_support::parts::{self, Wish};
use kettlemark_test_support::player::Player;
use kettlemark_test_support::{codec, outside, takes};
use std::path::PathBuf;
use std::sync::LazyLock;

const SEED: u64 = 600;

fn main() {
    divan::main();
}

/// The take, its part, and what the first stages make of them.
struct Given {
    file: PathBuf,
    part: Part,
    heard: Heard,
    review: Review,
}

static GIVEN: LazyLock<Given> = LazyLock::new(|| {
    let folder = outside::root().join("tests/out/bench");
    std::fs::create_dir_all(&folder).expect("tests/out can be written");
    let file = folder.join("ten-minutes.m4a");
    let sheet = folder.join("ten-minutes.kettle");
    let wish = Wish {
        seconds: 600.0,
        ..Wish::default()
    };
    let part = parts::generate(&mut Draw::new(SEED, 1), wish);
    if !file.exists() || !sheet.exists() {
        let player = Player {
            missed: 0.01,
            other_drum: 0.01,
            extra: 0.005,
            ..Player::draw(&mut Draw::new(SEED, 2))
        };
        let rate = 48_000;
        let chain = Chain::draw(Kind::Room, &mut Draw::new(SEED, 3), f64::from(rate));
        let seeds = takes::Seeds {
            kit: SEED,
            playing: SEED,
        };
        let take = takes::make_of(
            part.clone(),
            &player,
            &chain,
            Instrument::Modal,
            seeds,
            rate,
        );
        codec::encode(&file, &take.samples, rate, &["-c:a", "aac", "-b:a", "96k"])
            .expect("ffmpeg writes AAC");
        std::fs::write(&sheet, part::sheet::to_sheet(&part)).expect("tests/out can be written");
    }
    let heard = listen::listen(Recording::open(&file).expect("just written")).expect("readable");
    let review = pipeline::review(&heard, &part, &Settings::default());
    Given {
        file,
        part,
        heard,
        review,
    }
});

/// Decoding and resampling.
#[divan::bench(sample_count = 5, sample_size = 1)]
fn decode(bencher: Bencher) {
    let given = &*GIVEN;
    bencher.bench_local(|| {
        let mut recording = Recording::open(&given.file).expect("it was read before");
        while let Some(block) = recording.next_block().expect("it was read before") {
            black_box(block);
        }
        recording.finish()
    });
}

/// Decoding, and hearing candidate strokes.
#[divan::bench(sample_count = 5, sample_size = 1)]
fn decode_and_listen(bencher: Bencher) {
    let given = &*GIVEN;
    bencher.bench_local(|| {
        let recording = Recording::open(&given.file).expect("it was read before");
        listen::listen(recording).expect("it was read before")
    });
}

/// One matching by time alone.
#[divan::bench(sample_count = 5, sample_size = 1)]
fn align_by_time(bencher: Bencher) {
    let given = &*GIVEN;
    let settings = Settings::default();
    bencher.bench_local(|| align::align(&given.part, &given.heard.candidates, None, &settings));
}

/// Everything between hearing and writing: both matchings, drums, measures.
#[divan::bench(sample_count = 5, sample_size = 1)]
fn review(bencher: Bencher) {
    let given = &*GIVEN;
    bencher.bench_local(|| pipeline::review(&given.heard, &given.part, &Settings::default()));
}

/// JSON, CSV, charts and page.
#[divan::bench(sample_count = 5, sample_size = 1)]
fn report(bencher: Bencher) {
    let given = &*GIVEN;
    let folder = tempfile::tempdir().expect("a folder for the report");
    let options = report::Options::default();
    bencher.bench_local(|| {
        report::write(&given.review, folder.path(), &options).expect("it can be written");
    });
}
