//! What is written: complete, well-formed, the same every time, and never
//! over somebody else's work.

use crate::fixture;
use kettlemark::report::charts::Frame;
use kettlemark::report::charts::overview::{self, Layout};
use kettlemark::report::{self, Options, json, page};
use kettlemark::review::{Review, StopState};
use kettlemark::words;
use std::path::{Path, PathBuf};

const NAMES: [&str; 10] = [
    "deviations.svg",
    "dynamics.svg",
    "evenness.svg",
    "intonation.svg",
    "overview.svg",
    "review.html",
    "review.json",
    "rolls.svg",
    "stops.svg",
    "strokes.csv",
];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Where the reports for the browser, and for looking at, are written.
pub fn out(name: &str) -> PathBuf {
    root().join("tests/out/page").join(name)
}

fn written(review: &Review) -> (tempfile::TempDir, Vec<(String, String)>) {
    let dir = tempfile::tempdir().unwrap();
    report::write(review, dir.path(), &Options::default()).unwrap();
    let files = NAMES.map(|name| {
        let text = std::fs::read_to_string(dir.path().join(name)).unwrap();
        (name.to_owned(), text)
    });
    (dir, files.to_vec())
}

/// Places of a page or drawing where a line may end between a number and its
/// uncertainty or its unit.
pub fn breaks(markup: &str) -> Vec<String> {
    const UNITS: [&str; 7] = ["±", "ms", "dB", "Hz", "kHz", "%", "cents"];
    let mut text = String::new();
    let mut rest = markup;
    while let Some(at) = rest.find('<') {
        text.push_str(&rest[..at]);
        // No word reaches across a tag.
        text.push('|');
        let end = ["style", "script"]
            .into_iter()
            .find(|tag| rest[at + 1..].starts_with(tag))
            .map_or(">", |tag| {
                if tag == "style" {
                    "</style>"
                } else {
                    "</script>"
                }
            });
        let length = rest[at..]
            .find(end)
            .map_or(rest.len() - at, |i| i + end.len());
        rest = &rest[at + length..];
    }
    let words: Vec<&str> = text.split([' ', '\n']).collect();
    let number = |word: &str, last: bool| {
        let c = if last {
            word.chars().last()
        } else {
            word.chars().next()
        };
        c.is_some_and(|c| c.is_ascii_digit())
    };
    words
        .windows(2)
        .filter(|w| {
            let unit: String = w[1]
                .chars()
                .take_while(|c| !",.;:)|".contains(*c))
                .collect();
            (number(w[0], true) && UNITS.contains(&unit.as_str()))
                || (w[0].ends_with('±') && number(w[1], false))
        })
        .map(|w| w.join(" "))
        .collect()
}

/// A number stands on one line with its uncertainty and its unit: in the texts
/// of the program, and in those that a review brings with common spaces.
#[test]
fn no_line_ends_between_a_number_and_its_unit() {
    assert_eq!(breaks("<p>16.0 ± 1.8 ms, 4<b> ms</b></p>").len(), 3);
    for (name, mut review) in fixture::all() {
        review.doubts.push(kettlemark::review::Doubt {
            kind: "noise".into(),
            text: words::remarks::noise(18.0),
            limits: Vec::new(),
        });
        for (file, text) in written(&review).1 {
            if text.starts_with('<') {
                assert_eq!(breaks(&text), Vec::<String>::new(), "{name}/{file}");
            }
        }
    }
}

/// Levels against an absolute reference say which it is.
#[test]
fn peak_and_noise_are_told_against_full_scale() {
    let mut take = fixture::clean().take;
    take.peak_db = Some(-3.2);
    take.noise_floor_db = Some(-61.0);
    let line = words::page::recording(&take);
    let told = "peak \u{2212}3\u{a0}dB and noise \u{2212}61\u{a0}dB against full scale";
    assert!(line.ends_with(told), "{line}");
    take.peak_db = None;
    take.noise_floor_db = None;
    assert!(!words::page::recording(&take).contains("full scale"));
}

/// Where no bar is known the player offers none.
#[test]
fn the_player_of_a_refused_take_has_no_bars() {
    let around = page::Around {
        audio: Some(page::Audio {
            src: "take.wav".to_owned(),
            starts_s: 0.0,
            inside: false,
        }),
        recorded: None,
    };
    let bars = [
        "id=\"back\"",
        "id=\"on\"",
        "id=\"loop-from\"",
        "from bar to bar",
    ];
    let judged = page::page(&fixture::clean(), &around);
    let refused = page::page(&fixture::refused(), &around);
    for sign in bars {
        assert!(judged.contains(sign), "{sign}");
        assert!(!refused.contains(sign), "{sign}");
    }
    assert!(refused.contains("id=\"toggle\"") && refused.contains("id=\"loop\""));
}

/// The columns of the notes against the pulse: filled only where a note is
/// early or late beyond its uncertainty; no colour that a dark page would keep.
#[test]
fn only_what_is_surely_early_or_late_looks_so() {
    let mut review = fixture::bad();
    let count = |review: &Review, class: &str| {
        let text = report::charts::deviations::draw(review, Frame::ALONE).file();
        let body = text.split("</style>").nth(1).unwrap().to_owned();
        assert!(!body.contains("fill=\"#") && !body.contains("stroke=\"#"));
        // One of each kind stands in the key.
        body.matches(&format!("class=\"{class}\"")).count() - 1
    };
    assert!(count(&review, "early") > 0 && count(&review, "late") > 0);
    for note in &mut review.notes {
        note.deviation_sd_ms = note.deviation_ms.map(|ms| ms.abs());
    }
    assert_eq!(count(&review, "early") + count(&review, "late"), 0);
    assert!(count(&review, "open") > 0);
    for note in &mut review.notes {
        note.deviation_sd_ms = None;
    }
    assert_eq!(count(&review, "early") + count(&review, "late"), 0);
    // A stop is drawn late only where it surely is.
    let lines = |review: &Review| {
        let text = report::charts::stops::draw(review, Frame::ALONE).file();
        text.matches("class=\"lateline\"").count()
    };
    assert!(lines(&review) > 0);
    for stop in &mut review.stops {
        stop.stopped_after_sd_ms = stop.late_ms.map(f64::abs);
    }
    assert_eq!(lines(&review), 0);
}

/// Of a kind that has more figures, only those are counted that the usual shape
/// is taken over.
#[test]
fn a_usual_stroke_is_counted_among_the_figures_of_its_shape() {
    let mut kinds = fixture::bad().figure_kinds;
    let triplets = kinds.iter_mut().find(|k| k.kind == "triplet-eighths");
    let triplets = triplets.unwrap();
    triplets.count = 30;
    triplets.usual_shape_count[0] = 8;
    triplets.usual_shape_figures = Some(9);
    let told = words::usual_stroke(triplets, 0);
    assert!(
        told.ends_with("early, to that side 8 of 9\u{a0}times."),
        "{told}"
    );
    triplets.usual_shape_figures = None;
    let told = words::usual_stroke(triplets, 0);
    assert!(
        told.ends_with("early, to that side 8\u{a0}times."),
        "{told}"
    );
}

/// A stop at an unknown moment is told as one, without a time.
#[test]
fn a_stop_whose_moment_is_unknown_is_still_a_stop() {
    let mut stop = fixture::clean().stops[0].clone();
    stop.state = StopState::Stopped;
    stop.stopped_after_ms = None;
    stop.stopped_after_sd_ms = None;
    stop.late_ms = None;
    stop.ring_db_500ms = None;
    assert_eq!(words::stop_verdict(&stop), "stopped, when cannot be told");
    // Under a fermata the moment is known and the end is not.
    stop.stopped_after_ms = Some(2400.0);
    stop.stopped_after_sd_ms = Some(20.0);
    assert_eq!(words::stop_verdict(&stop), "stopped");
    stop.late_ms = Some(14.0);
    assert_eq!(
        words::stop_verdict(&stop),
        "stopped +14\u{a0}±\u{a0}20\u{a0}ms against its end"
    );
    stop.late_ms = Some(-140.0);
    assert_eq!(
        words::stop_verdict(&stop),
        "stopped 140\u{a0}±\u{a0}20\u{a0}ms before its end"
    );
}

#[test]
fn every_case_is_written_and_no_page_is_heavy() {
    for (name, review) in fixture::all() {
        report::write(&review, &out(name), &Options::default()).unwrap();
        let mut found: Vec<String> = std::fs::read_dir(out(name))
            .unwrap()
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .filter(|file| !file.starts_with("seen-"))
            .collect();
        found.sort();
        assert_eq!(found, NAMES, "{name}");
        let page = std::fs::metadata(out(name).join("review.html")).unwrap();
        assert!(page.len() <= 1_000_000, "{name}: {} bytes", page.len());
    }
    assert!(fixture::ten_minutes().notes.len() >= 2200);
}

/// A page with a recording beside it, for the browser; the recording's name
/// is as hostile as a file name can be.
#[test]
fn a_page_with_sound_is_written() {
    let dir = out("sound");
    std::fs::create_dir_all(&dir).unwrap();
    let take = dir.join("seen-a #1 \"take\" 100% <b>&'ü.wav");
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 8000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut wav = hound::WavWriter::create(&take, spec).unwrap();
    for i in 0..8000 * 66 {
        let wave = (f64::from(i) * 0.09).sin() * 800.0;
        wav.write_sample(wave as i16).unwrap();
    }
    wav.finalize().unwrap();
    let mut options = Options {
        take: Some(take),
        with_audio: false,
        recorded: Some("28 October 2026 (from the file's name)".to_owned()),
    };
    report::write(&fixture::bad(), &dir, &options).unwrap();
    let page = std::fs::read_to_string(dir.join("review.html")).unwrap();
    assert!(!page.contains("base64"));
    options.recorded = None;
    report::write(&fixture::refused(), &out("sound-refused"), &options).unwrap();
    assert!(page.contains("src=\"seen-a%20%231%20%22take%22%20100%25%20%3Cb%3E%26%27%C3%BC.wav\""));
}

/// Bytes out of base 64 (RFC 4648, section 4).
fn bytes_of(coded: &str) -> Vec<u8> {
    let value = |letter: u8| match letter {
        b'A'..=b'Z' => letter - b'A',
        b'a'..=b'z' => letter - b'a' + 26,
        b'0'..=b'9' => letter - b'0' + 52,
        b'+' => 62,
        _ => 63,
    };
    let letters: Vec<u8> = coded.bytes().filter(|b| *b != b'=').collect();
    let mut bytes = Vec::new();
    for group in letters.chunks(4) {
        let bits = group.iter().enumerate().fold(0_u32, |bits, (k, l)| {
            bits | u32::from(value(*l)) << (18 - 6 * k)
        });
        bytes.extend_from_slice(&bits.to_be_bytes()[1..group.len()]);
    }
    bytes
}

fn samples_of(file: &Path) -> Vec<f32> {
    let mut recording = kettlemark::take::Recording::open(file).unwrap();
    let mut samples = Vec::new();
    while let Some(block) = recording.next_block().unwrap() {
        samples.extend_from_slice(block);
    }
    samples
}

/// Asked for, a copy of the counted passage is inside, and only that: read back,
/// it is what was played, every sample in its place.
#[test]
fn a_page_with_sound_inside_holds_the_counted_passage() {
    const RATE: usize = 16_000;
    let review = fixture::one_drum();
    // A burst at every stroke, over noise.
    let mut sound = vec![0.0_f64; RATE * 66];
    for stroke in &review.strokes {
        let first = (stroke.time_s * RATE as f64).round() as usize;
        for (k, sample) in sound[first..first + RATE / 4].iter_mut().enumerate() {
            let s = k as f64 / RATE as f64;
            *sample += 0.4 * (-s / 0.03).exp() * (s * 900.0).cos();
        }
    }
    let mut state = 1_u32;
    for sample in &mut sound {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        *sample += 0.0005 * (f64::from(state >> 8) / f64::from(1 << 23) - 1.0);
    }
    let dir = tempfile::tempdir().unwrap();
    let take = dir.path().join("take.wav");
    let spec = hound::WavSpec {
        channels: 2,
        sample_rate: RATE as u32,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut wav = hound::WavWriter::create(&take, spec).unwrap();
    for sample in &sound {
        for _ in 0..2 {
            wav.write_sample((sample * 32_767.0) as i16).unwrap();
        }
    }
    wav.finalize().unwrap();
    let options = Options {
        take: Some(take.clone()),
        with_audio: true,
        recorded: None,
    };
    report::write(&review, &out("inside"), &options).unwrap();
    let page = std::fs::read_to_string(out("inside").join("review.html")).unwrap();
    assert!(page.contains("think before you hand it on"));
    let coded = page.split("data:audio/flac;base64,").nth(1).unwrap();
    let copy = dir.path().join("copy.flac");
    std::fs::write(&copy, bytes_of(coded.split('"').next().unwrap())).unwrap();

    let starts = page.split("data-starts=\"").nth(1).unwrap();
    let starts_s: f64 = starts.split('"').next().unwrap().parse().unwrap();
    let passage = &review.passages[0];
    assert!(
        (starts_s - (passage.from_s - 1.0)).abs() < 1e-3,
        "{starts_s}"
    );
    let copied = samples_of(&copy);
    let seconds = copied.len() as f64 / RATE as f64;
    let whole = passage.to_s - passage.from_s + 2.0;
    assert!((seconds - whole).abs() < 1e-3, "{seconds} of {whole}");
    let first = (starts_s * RATE as f64).round() as usize;
    let played = &samples_of(&take)[first..first + copied.len()];
    let peak = played.iter().fold(0.0_f32, |peak, s| peak.max(s.abs()));
    // Twelve bits, rounded.
    let step = 1.0 / 2048.0;
    for (k, (copied, played)) in copied.iter().zip(played).enumerate() {
        let off = (copied - played * 0.9 / peak).abs();
        assert!(off <= 0.51 * step, "sample {k} is off by {off}");
    }
}

#[test]
fn the_same_review_gives_the_same_bytes() {
    assert_eq!(written(&fixture::bad()).1, written(&fixture::bad()).1);
}

#[test]
fn every_review_file_fulfils_the_schema_and_reads_back() {
    let schema: serde_json::Value = serde_json::from_str(json::SCHEMA).unwrap();
    assert!(jsonschema::meta::is_valid(&schema));
    let validator = jsonschema::validator_for(&schema).unwrap();
    for (name, review) in fixture::all() {
        let text = json::text(&review);
        let value: serde_json::Value = serde_json::from_str(&text).unwrap();
        let errors: Vec<String> = validator
            .iter_errors(&value)
            .map(|error| format!("{}: {error}", error.instance_path()))
            .collect();
        assert!(errors.is_empty(), "{name}: {errors:?}");
        // What is read back is written again as the same bytes: nothing that
        // the file says is lost.
        let again: Review = serde_json::from_str(&text).unwrap();
        assert_eq!(json::text(&again), text, "{name}");
    }
    // A check that cannot fail is none.
    let mut value: serde_json::Value =
        serde_json::from_str(&json::text(&fixture::clean())).unwrap();
    value["notes"][0]["outcome"] = "wrong".into();
    assert!(!validator.is_valid(&value));
}

#[test]
fn every_key_of_the_file_stands_in_the_schema() {
    let schema: serde_json::Value = serde_json::from_str(json::SCHEMA).unwrap();
    let file: serde_json::Value = serde_json::from_str(&json::text(&fixture::bad())).unwrap();
    let mut unknown = Vec::new();
    walk(&file, &schema, "", &mut unknown);
    assert!(unknown.is_empty(), "{unknown:?}");
}

fn walk(
    value: &serde_json::Value,
    schema: &serde_json::Value,
    at: &str,
    unknown: &mut Vec<String>,
) {
    match value {
        serde_json::Value::Object(object) => {
            for (key, inner) in object {
                let place = format!("{at}/{key}");
                match schema["properties"].get(key) {
                    Some(known) => walk(inner, known, &place, unknown),
                    None => unknown.push(place),
                }
            }
        }
        serde_json::Value::Array(items) => {
            for item in items.iter().take(1) {
                walk(item, &schema["items"], at, unknown);
            }
        }
        _ => {}
    }
}

#[test]
fn numbers_are_rounded_and_settings_are_not() {
    let mut review = fixture::clean();
    review.settings.a4_hz = 441.234_567;
    review.strokes[0].time_s = 1.0 / 3.0;
    review.notes[1].at = 1.0 / 3.0;
    review.notes[1].deviation_ms = Some(-0.000_01);
    let value: serde_json::Value = serde_json::from_str(&json::text(&review)).unwrap();
    assert_eq!(value["settings"]["a4_hz"], 441.234_567);
    assert_eq!(value["strokes"][0]["time_s"], 0.333_33);
    assert_eq!(value["notes"][1]["at"], 0.333_333);
    assert_eq!(value["notes"][1]["deviation_ms"].to_string(), "0");
}

#[test]
fn every_chart_is_well_formed_and_names_itself() {
    for (name, review) in fixture::all() {
        for (file, text) in report::charts::files(&review) {
            let parsed = roxmltree::Document::parse(&text)
                .unwrap_or_else(|error| panic!("{name}/{file}: {error}"));
            let svg = parsed.root_element();
            let child = |tag: &str| {
                let found = svg
                    .children()
                    .find(|c| c.has_tag_name(("http://www.w3.org/2000/svg", tag)));
                found.and_then(|c| c.text()).unwrap_or_default().to_owned()
            };
            assert!(!child("title").is_empty(), "{name}/{file}");
            assert!(child("desc").len() > 20, "{name}/{file}");
            assert!(
                !text.contains("NaN") && !text.contains("inf"),
                "{name}/{file}"
            );
            let foreign = parsed.descendants().find(|e| {
                ["script", "img", "image", "foreignObject"].contains(&e.tag_name().name())
            });
            assert!(foreign.is_none(), "{name}/{file}");
        }
    }
}

/// However long the part, every written mark and every hairpin with its size
/// stands over the levels.
#[test]
fn no_mark_and_no_hairpin_is_left_out_of_the_levels() {
    for (name, review) in fixture::all() {
        let text = report::charts::dynamics::draw(&review, Frame::ALONE).file();
        let drawn = text.matches("class=\"mark\"").count() - text.matches(">(").count();
        assert_eq!(drawn, review.dynamics.levels.len(), "{name}");
        for hairpin in &review.dynamics.hairpins {
            assert!(text.contains(&words::hairpin_size(hairpin)), "{name}");
        }
        let sizes = text.matches("\u{a0}dB</text>").count();
        assert!(sizes >= review.dynamics.hairpins.len(), "{name}: {sizes}");
    }
}

/// A narrow window gets every panel, be there more of them than in a wide one.
#[test]
fn every_panel_of_levels_is_on_the_page_in_both_widths() {
    for (name, review) in fixture::all() {
        if !review.judged {
            continue;
        }
        let (_dir, files) = written(&review);
        let page = &files.iter().find(|f| f.0 == "review.html").unwrap().1;
        for frame in [Frame::WIDE, Frame::NARROW] {
            let panels = report::charts::dynamics::draw_apart(&review, frame);
            let sign = format!("<title id=\"{}-dynamics", frame.id);
            assert_eq!(page.matches(&sign).count(), panels.len(), "{name} {sign}");
        }
    }
    let long = fixture::ten_minutes();
    assert!(report::charts::dynamics::draw_apart(&long, Frame::NARROW).len() > 5);
}

/// Printed lines part where no stroke is cut, and no longer than a line is.
#[test]
fn printed_lines_part_between_strokes() {
    for (name, review) in fixture::all() {
        let layout = Layout::of(&review);
        let lines = overview::stretches(&review, &layout, 900.0);
        for (from, to) in &lines {
            assert!(to > from && to - from <= 900.0, "{name}: {from} to {to}");
        }
        // From the start of the take to two seconds after the last stroke.
        let last = review.strokes.iter().map(|s| s.time_s).fold(0.0, f64::max);
        let end = lines[lines.len() - 1].1;
        assert!(lines[0].0.abs() < 1e-9, "{name}");
        assert!(end >= layout.time.held(last + 2.0) - 1e-9, "{name}");
        assert!(end < layout.time.held(last + 8.0) + 1e-9, "{name}");
        for pair in lines.windows(2) {
            let end = pair[0].1;
            assert!((end - pair[1].0).abs() < 1e-9, "{name}");
            let strokes = review.strokes.iter().filter(|s| !s.in_roll);
            let off: Vec<f64> = strokes.map(|s| layout.time.at(s.time_s) - end).collect();
            let before = off.iter().copied().filter(|x| *x < 0.0);
            let before = -before.fold(f64::NEG_INFINITY, f64::max);
            let after = off.iter().copied().filter(|x| *x >= 0.0);
            let after = after.fold(f64::INFINITY, f64::min);
            // Between strokes that are close the end lies about half way;
            // without bars the best there is may be closer.
            let nearest = before.min(after);
            assert!(
                nearest > 5.0 || nearest > 0.4 * (before + after) || !review.judged,
                "{name}: a stroke {nearest} from the end of a line"
            );
        }
    }
}

#[test]
fn strokes_csv_holds_every_stroke_and_no_unknown_is_zero() {
    let review = fixture::five_strokes();
    let text = report::csv::strokes(&review);
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let head = reader.headers().unwrap().clone();
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    assert_eq!(rows.len(), review.strokes.len());
    for (row, stroke) in rows.iter().zip(&review.strokes) {
        let cell = |name: &str| &row[head.iter().position(|h| h == name).unwrap()];
        assert!((cell("time_s").parse::<f64>().unwrap() - stroke.time_s).abs() < 1e-5);
        assert_eq!(cell("cents").is_empty(), stroke.cents.is_none());
    }
    let mut unheard = review.clone();
    unheard.strokes[0].cents = None;
    unheard.strokes[0].drum = None;
    let text = report::csv::strokes(&unheard);
    let first = text.lines().nth(1).unwrap();
    assert!(first.split(',').nth(3).unwrap().is_empty());
    assert!(first.split(',').nth(5).unwrap().is_empty());
}

#[test]
fn our_own_output_is_replaced() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path().join("deep/er");
    report::write(&fixture::bad(), &dir, &Options::default()).unwrap();
    std::fs::write(dir.join("my notes.txt"), "keep").unwrap();
    report::write(&fixture::five_strokes(), &dir, &Options::default()).unwrap();
    let page = std::fs::read_to_string(dir.join("review.html")).unwrap();
    assert!(page.contains("Five strokes"));
    assert_eq!(
        std::fs::read_to_string(dir.join("my notes.txt")).unwrap(),
        "keep"
    );
    assert_eq!(std::fs::read_dir(&dir).unwrap().count(), NAMES.len() + 1);
}

#[test]
fn nobody_elses_file_is_touched() {
    for name in NAMES {
        let dir = tempfile::tempdir().unwrap();
        let theirs = dir.path().join(name);
        std::fs::write(&theirs, "<html>somebody else's work</html>").unwrap();
        let error = report::write(&fixture::five_strokes(), dir.path(), &Options::default())
            .unwrap_err()
            .to_string();
        assert!(error.contains(name) && error.contains("--out"), "{error}");
        let kept = std::fs::read_to_string(&theirs).unwrap();
        assert_eq!(kept, "<html>somebody else's work</html>");
        assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 1, "{name}");
    }
}

#[test]
fn what_cannot_be_written_is_said_and_leaves_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("a file");
    std::fs::write(&file, "x").unwrap();
    let inside = file.join("report");
    let error = report::write(&fixture::five_strokes(), &inside, &Options::default());
    let text = error.unwrap_err().to_string();
    assert!(
        text.contains("cannot be written") && text.contains("a file"),
        "{text}"
    );
    // A folder of the name of one of our files is somebody else's.
    std::fs::create_dir(dir.path().join("review.json")).unwrap();
    let error = report::write(&fixture::five_strokes(), dir.path(), &Options::default());
    assert!(error.unwrap_err().to_string().contains("review.json"));
    assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 2);
}

/// Goldens: what stands in the report changes only on purpose. After a
/// change on purpose: `KETTLEMARK_BLESS=1`, then read the difference.
#[test]
fn the_written_words_and_drawings_are_as_agreed() {
    let mut goldens: Vec<(String, String)> = Vec::new();
    for (name, review) in fixture::all() {
        goldens.push((format!("summary-{name}.txt"), report::summary(&review)));
    }
    for (file, text) in written(&fixture::one_drum()).1 {
        goldens.push((format!("one-drum-{file}"), text));
    }
    for (file, text) in report::charts::files(&fixture::bad()) {
        goldens.push((format!("bad-{file}"), text));
    }
    let refused = written(&fixture::refused()).1;
    goldens.extend(
        refused
            .into_iter()
            .filter(|(file, _)| file == "evenness.svg")
            .map(|(file, text)| (format!("refused-{file}"), text)),
    );
    let folder = root().join("tests/golden/page");
    let bless = std::env::var_os("KETTLEMARK_BLESS").is_some();
    if bless {
        std::fs::create_dir_all(&folder).unwrap();
    }
    let mut different = Vec::new();
    for (name, text) in &goldens {
        let path = folder.join(name);
        if bless {
            std::fs::write(&path, text).unwrap();
        } else if std::fs::read_to_string(&path).ok().as_ref() != Some(text) {
            let seen = out("differs").join(name);
            std::fs::create_dir_all(out("differs")).unwrap();
            std::fs::write(seen, text).unwrap();
            different.push(name);
        }
    }
    assert!(
        different.is_empty(),
        "differ from tests/golden/page (what was written is in tests/out/page/differs): \
         {different:?}"
    );
}
