//! Parts that are damaged, forged or wrong: each is answered with its place and
//! what to do, or simply works. Messages have goldens.

use crate::common::{file, message, same_as_golden};
use crate::midi;
use crate::scores::pack;
use kettlemark::part::{self, Part, ReadOptions};
use kettlemark::pitch::Pitch;
use midly::Format;
use std::path::Path;

/// Wrong sheets, one fault each.
const SHEETS: [&str; 40] = [
    "",
    "\n# nothing but a remark\n",
    "1: . . . .\n",
    "hello\n1: F . F .\n",
    "1 F . F .\n",
    "1: F . F\n",
    "1: F . F . .\n",
    "1: F . H .\n",
    "1: F . Fz .\n",
    "1: F,,F . .\n",
    "1: F,(F,F . .\n",
    "1: F*0 . . .\n",
    "1: F*1/0 . . .\n",
    "1: F*-1 . . .\n",
    "1: (((((((((F))))))))) . . .\n",
    "1: loud:F . . .\n",
    "1: cresc:F . . .\n",
    "1: F end:. . .\n",
    "1: cresc:F cresc:F end:. .\n",
    "1: F+ . . .\n",
    "1: F@ . . .\n",
    "1: F@3 . . .\n",
    "drum 1 F2 32\n1: @2 . . .\n",
    "drum 1 F2 32\n1: G . . .\n",
    "drum 1 F2\ndrum 2 F3\n1: F . . .\n",
    "drum 2 F2\n",
    "drum 1 X2\n",
    "drum 1 F2 3200\n",
    "meter 4\n",
    "meter 3/5\n",
    "meter 6/8 in many\n",
    "tempo 0\n",
    "tempo -60\n",
    "tempo\n",
    "tempo 96 at 0\n",
    "drum 1 F2\ntune 1 G2 to A2\n",
    "tune 1 F2 to G2\n",
    "cue oboe solo\n",
    "8-5: .\n1: F . . .\n",
    "1: F . . .\nagain 3-4\n",
];

/// A score of one part whose only bar holds `content`.
fn score(content: &str) -> String {
    format!(
        "<score-partwise><part-list><score-part id=\"P1\"><part-name>Timpani</part-name></score-part></part-list>\n\
         <part id=\"P1\"><measure number=\"7\">\n{content}\n</measure></part></score-partwise>"
    )
}

fn scored_note(pitch: &str, duration: &str) -> String {
    format!("<note>{pitch}<duration>{duration}</duration></note>")
}

const F2: &str = "<pitch><step>F</step><octave>2</octave></pitch>";

fn scores() -> Vec<(&'static str, String)> {
    let note = scored_note(F2, "1");
    let with = |what: &str| score(&format!("{what}{note}"));
    vec![
        (
            "no score",
            "<html><body>Not a score</body></html>".to_owned(),
        ),
        ("not closed", "<score-partwise>\n<part>\n".to_owned()),
        (
            "no parts",
            "<score-partwise><part-list/></score-partwise>".to_owned(),
        ),
        (
            "no notes",
            score("<note><rest/><duration>4</duration></note>"),
        ),
        (
            "notes without a pitch only",
            score("<note><unpitched/><duration>4</duration></note>"),
        ),
        ("a negative duration", score(&scored_note(F2, "-4"))),
        ("no duration", score(&format!("<note>{F2}</note>"))),
        ("a duration of zero", score(&scored_note(F2, "0"))),
        (
            "a duration that is no number",
            score(&scored_note(F2, "1e9")),
        ),
        ("a note without end", score(&scored_note(F2, "999999999"))),
        (
            "divisions of zero",
            with("<attributes><divisions>0</divisions></attributes>"),
        ),
        (
            "a meter of zero",
            with("<attributes><time><beats>0</beats><beat-type>4</beat-type></time></attributes>"),
        ),
        (
            "a meter of thirds",
            with("<attributes><time><beats>2</beats><beat-type>3</beat-type></time></attributes>"),
        ),
        ("a tempo of zero", with("<sound tempo=\"0\"/>")),
        (
            "a negative tempo",
            with(
                "<direction><direction-type><metronome><beat-unit>quarter</beat-unit>\
                 <per-minute>-60</per-minute></metronome></direction-type></direction>",
            ),
        ),
        (
            "no pitch",
            score(&scored_note(
                "<pitch><step>Q</step><octave>2</octave></pitch>",
                "1",
            )),
        ),
        (
            "a repeat without end",
            with(
                "<barline location=\"right\"><repeat direction=\"backward\" times=\"100000\"/></barline>",
            ),
        ),
        ("deep nesting", score(&"<a>".repeat(100_000))),
        (
            "names that grow",
            format!(
                "<!DOCTYPE score-partwise [<!ENTITY a \"aaaaaaaaaa\">{}]>\n<score-partwise>&l9;</score-partwise>",
                (0..10)
                    .map(|i| {
                        let of = if i == 0 {
                            "a".to_owned()
                        } else {
                            format!("l{}", i - 1)
                        };
                        format!("<!ENTITY l{i} \"{}\">", format!("&{of};").repeat(10))
                    })
                    .collect::<Vec<_>>()
                    .concat()
            ),
        ),
        (
            "a name for itself",
            "<!DOCTYPE score-partwise [<!ENTITY a \"&a;\">]>\n<score-partwise>&a;</score-partwise>"
                .to_owned(),
        ),
    ]
}

fn packed() -> Vec<(&'static str, Vec<u8>)> {
    let good = pack(&std::fs::read(file("voices.musicxml")).unwrap(), true, None);
    let mut other = std::io::Cursor::new(Vec::new());
    let mut zip = zip::ZipWriter::new(&mut other);
    zip.start_file("notes.txt", zip::write::SimpleFileOptions::default())
        .unwrap();
    zip.finish().unwrap();
    vec![
        ("cut", good[..good.len() / 2].to_vec()),
        ("no score inside", other.into_inner()),
        // 101 million spaces are 100 kB packed.
        ("a bomb", pack(&vec![b' '; 101_000_000], true, Some(1))),
    ]
}

fn midi_files() -> Vec<(&'static str, Vec<u8>)> {
    let note = vec![(0, midi::on(0, 41, 80))];
    let good = midi::bytes(Format::SingleTrack, vec![midi::track(note.clone())]);
    let mut frames = good.clone();
    frames[12..14].copy_from_slice(&[0xE7, 0x28]);
    let mut no_ticks = good.clone();
    no_ticks[12..14].copy_from_slice(&[0, 0]);
    let endless = midi::track(vec![
        (0, midi::on(0, 41, 80)),
        (0x0FFF_FFFF, midi::on(0, 41, 80)),
    ]);
    vec![
        (
            "no notes",
            midi::bytes(Format::SingleTrack, vec![midi::track(vec![])]),
        ),
        ("cut", good[..good.len() - 6].to_vec()),
        ("header alone", b"MThd".to_vec()),
        ("film frames", frames),
        ("no ticks", no_ticks),
        (
            "several pieces",
            midi::bytes(Format::Sequential, vec![midi::track(note)]),
        ),
        (
            "without end",
            midi::bytes(Format::SingleTrack, vec![endless]),
        ),
        ("a recording", b"RIFF\x24\0\0\0WAVEfmt ".to_vec()),
    ]
}

#[test]
fn every_wrong_part_is_told_its_place_and_what_to_do() {
    let plain = ReadOptions::default();
    let mut text = String::new();
    for sheet in SHEETS {
        text.push_str(&format!(
            "--- {sheet:?}\n{}\n",
            message(sheet.as_bytes(), "march.kettle", &plain)
        ));
    }
    for (name, score) in scores() {
        text.push_str(&format!(
            "--- {name}\n{}\n",
            message(score.as_bytes(), "march.musicxml", &plain)
        ));
    }
    for (name, bytes) in packed() {
        text.push_str(&format!(
            "--- packed: {name}\n{}\n",
            message(&bytes, "march.mxl", &plain)
        ));
    }
    for (name, bytes) in midi_files() {
        text.push_str(&format!(
            "--- MIDI: {name}\n{}\n",
            message(&bytes, "march.mid", &plain)
        ));
    }
    text.push_str(&format!(
        "--- bytes\n{}\n",
        message(&[0, 159, 146, 150], "march.xyz", &plain)
    ));
    for drums in [vec![], vec![5.0], vec![30.0; 9]] {
        let options = ReadOptions {
            drums: Some(drums),
            ..ReadOptions::default()
        };
        text.push_str(&format!(
            "--- drums {:?}\n{}\n",
            options.drums,
            message(b"1: F . . .\n", "march.kettle", &options)
        ));
    }
    same_as_golden(&[("errors.txt".to_owned(), text)]);
}

#[test]
fn files_that_are_none_are_told() {
    let plain = ReadOptions::default();
    let dir = tempfile::tempdir().unwrap();
    let told = |path: &Path| part::read(path, &plain).unwrap_err().to_string();
    assert!(told(&dir.path().join("none.kettle")).contains("no such file"));
    assert!(told(dir.path()).contains("is a folder"));
}

fn works(text: &str, name: &str) -> Part {
    part::read_bytes(text.as_bytes(), Path::new(name), &ReadOptions::default())
        .unwrap_or_else(|e| panic!("{e}"))
}

#[test]
fn ten_thousand_bars_work() {
    let sheet = works("1-9999: .\n10000: F . F .\n", "long.kettle");
    assert_eq!((sheet.bars.len(), sheet.notes.len()), (10_000, 2));
    let bars: Vec<String> = (1..=10_000)
        .map(|i| format!("<measure number=\"{i}\">{}</measure>", scored_note(F2, "4")))
        .collect();
    let text = score("").replace("<measure number=\"7\">\n\n</measure>", &bars.concat());
    let score = works(&text, "long.musicxml");
    assert_eq!((score.bars.len(), score.notes.len()), (10_000, 10_000));
    let many = message(
        b"1-100001: F . . .\n",
        "endless.kettle",
        &ReadOptions::default(),
    );
    assert!(many.contains("no more than 100 000"), "{many}");
}

/// Repeats in repeats, as no engraver writes them: played as far as their signs
/// make sense, and never without end.
#[test]
fn nested_repeats_come_to_an_end() {
    let forward = "<barline location=\"left\"><repeat direction=\"forward\"/></barline>";
    let backward = "<barline location=\"right\"><repeat direction=\"backward\"/></barline>";
    let bar = |i: usize, left: &str, right: &str| {
        format!(
            "<measure number=\"{i}\">{left}{}{right}</measure>",
            scored_note(F2, "4")
        )
    };
    let bars = [
        bar(1, forward, ""),
        bar(2, forward, ""),
        bar(3, "", backward),
        bar(4, "", backward),
        bar(5, "", ""),
    ];
    let text = score("").replace("<measure number=\"7\">\n\n</measure>", &bars.concat());
    let numbers: Vec<i32> = works(&text, "nested.musicxml")
        .bars
        .iter()
        .map(|b| b.number)
        .collect();
    // The inner repeat; then bar 4 goes back to the last place that a repeat
    // ended.
    assert_eq!(numbers, [1, 2, 3, 2, 3, 4, 4, 5]);
}

#[test]
fn many_pitches_on_four_drums_are_told_not_refused() {
    let notes: Vec<String> = (0..30)
        .map(|i| {
            let pitch = Pitch::from_key(36 + i).to_string();
            let (name, octave) = pitch.split_at(pitch.len() - 1);
            let alter = i32::from(name.ends_with('#')) - i32::from(name.ends_with('b'));
            let pitch = format!(
                "<pitch><step>{}</step><alter>{alter}</alter><octave>{octave}</octave></pitch>",
                &name[..1]
            );
            scored_note(&pitch, "1")
        })
        .collect();
    let part = works(&score(&notes.concat()), "many.musicxml");
    assert_eq!(part.notes.len(), 30);
    assert_eq!(part.notes.iter().filter(|n| n.drum > 0).count(), 4);
}
