//! "Lantern Procession": our own march for four drums, as a part and as
//! MusicXML.
//!
//! Each bar is written in a short hand of its own: `Bb2:e3` is a triplet
//! eighth on B flat; values are w h q e s (whole to sixteenth), `3` a triplet;
//! behind them `>` accent, `!` staccato, `R` roll, `g` a grace note before it;
//! `F2+F3` both drums; `r:q` a rest.

use kettlemark::part::{
    Bar, Cue, Drum, Dynamic, Hairpin, HairpinKind, LevelMark, Note, Part, Quarters, Retuning,
    TempoMark,
};
use kettlemark::pitch::Pitch;
use std::fmt::Write;

/// The title on the sheet.
pub const TITLE: &str = "Lantern Procession";
/// Quarter notes a minute.
pub const BPM: f64 = 96.0;

const BARS: [&str; 24] = [
    "Bb2:q r:q F2:q r:q",
    "Bb2:q r:q F2:e F2:e Bb2:q",
    "Bb2:q r:q F2:q r:q",
    "Bb2:e3 Bb2:e3 Bb2:e3 F2:q Bb2:q r:q",
    "D3:q Bb2:e3 Bb2:e3 Bb2:e3 F2:q r:q",
    "D3:e3 D3:e3 D3:e3 Bb2:e3 Bb2:e3 Bb2:e3 F2:q r:q",
    "F2:e3 F2:e3 F2:e3 Bb2:e3 Bb2:e3 Bb2:e3 D3:e3 D3:e3 D3:e3 F3:e3 F3:e3 F3:e3",
    "F3:q> D3:q> Bb2:q> F2:q>",
    "Bb2:s Bb2:s Bb2:s Bb2:s F2:q Bb2:s Bb2:s Bb2:s Bb2:s F2:q",
    "D3:e D3:e Bb2:e Bb2:e F2:q r:q",
    "F2:wR",
    "Bb2:q> r:q r:h",
    "r:w",
    "r:w",
    "F2:q C3:e3 C3:e3 C3:e3 F2:q C3:q",
    "F2:e3 F2:e3 F2:e3 C3:e3 C3:e3 C3:e3 F3:q r:q",
    "F3:qg D3:e C3:e F2:q! r:q",
    "C3:s C3:s C3:s C3:s F2:q C3:s C3:s C3:s C3:s F2:q",
    "F2+F3:h r:h",
    "C3:e C3:e C3:e C3:e C3:e C3:e C3:e C3:e",
    "C3:s C3:s C3:s C3:s C3:s C3:s C3:s C3:s F2:e3 F2:e3 F2:e3 F2:e3 F2:e3 F2:e3",
    "C3:hR F3:q> C3:q>",
    "F2:e3> F2:e3 F2:e3 C3:e3> C3:e3 C3:e3 F2:q> C3:q>",
    "F2+F3:q> r:q r:h",
];

/// (bar from 1, quarters into it, mark).
const MARKS: [(usize, i64, Dynamic, &str); 9] = [
    (1, 0, Dynamic::P, "p"),
    (5, 0, Dynamic::Mp, "mp"),
    (8, 0, Dynamic::F, "f"),
    (11, 0, Dynamic::P, "p"),
    (12, 0, Dynamic::F, "f"),
    (15, 0, Dynamic::Mf, "mf"),
    (19, 0, Dynamic::P, "p"),
    (22, 0, Dynamic::F, "f"),
    (23, 0, Dynamic::Ff, "ff"),
];

/// (bar and quarters it begins at, the same of its end, kind).
const HAIRPINS: [(usize, i64, usize, i64, HairpinKind); 4] = [
    (7, 0, 8, 0, HairpinKind::Crescendo),
    (10, 0, 11, 0, HairpinKind::Diminuendo),
    (11, 0, 12, 0, HairpinKind::Crescendo),
    (20, 0, 22, 0, HairpinKind::Crescendo),
];

const CUES: [(usize, &str); 2] = [(13, "oboe solo"), (14, "horns enter")];

/// The bar from which drum 2 is wanted at its second pitch.
const RETUNED_AT: usize = 15;

/// Divisions of a quarter note in the MusicXML.
const DIVISIONS: i64 = 12;

/// One written sign: a note, a chord or a rest.
struct Sign<'a> {
    pitches: Vec<Pitch>,
    /// w h q e s.
    value: char,
    triplet: bool,
    flags: &'a str,
}

impl Sign<'_> {
    fn length(&self) -> Quarters {
        let plain = match self.value {
            'w' => Quarters::from(4),
            'h' => Quarters::from(2),
            'q' => Quarters::from(1),
            'e' => Quarters::new(1, 2),
            _ => Quarters::new(1, 4),
        };
        if self.triplet {
            plain * Quarters::new(2, 3)
        } else {
            plain
        }
    }

    fn has(&self, flag: char) -> bool {
        self.flags.contains(flag)
    }
}

fn signs(bar: &str) -> Vec<Sign<'_>> {
    bar.split(' ')
        .filter_map(|word| {
            let (names, rest) = word.split_once(':')?;
            let pitches = names.split('+').filter_map(|n| n.parse().ok()).collect();
            let (value, rest) = rest.split_at(1);
            let triplet = rest.starts_with('3');
            Some(Sign {
                pitches,
                value: value.chars().next()?,
                triplet,
                flags: rest.trim_start_matches('3'),
            })
        })
        .collect()
}

fn place(bar: usize, quarters: i64) -> Quarters {
    Quarters::from(4 * (bar as i64 - 1) + quarters)
}

/// Drum of a pitch: 1 F2, 2 B flat and later C, 3 D, 4 F3.
fn drum(pitch: Pitch) -> u8 {
    match pitch.key() {
        ..=45 => 1,
        46..=48 => 2,
        49..=51 => 3,
        _ => 4,
    }
}

/// The part.
///
/// # Panics
/// Never: the pitches written here are pitches.
pub fn part() -> Part {
    let pitch = |name: &str| -> Pitch { name.parse().expect("a pitch") };
    let mut part = Part {
        title: TITLE.to_owned(),
        ..Part::default()
    };
    part.tempi.push(TempoMark {
        at: Quarters::from(0),
        quarter_bpm: Some(BPM),
        gradual: false,
        text: None,
    });
    let drums = [("F2", 32.0), ("Bb2", 29.0), ("D3", 26.0), ("F3", 23.0)];
    part.drums = drums
        .iter()
        .zip(1..)
        .map(|(&(name, size), number)| Drum {
            number,
            size_in: Some(size),
            pitch: pitch(name),
        })
        .collect();
    part.retunings.push(Retuning {
        bar: RETUNED_AT - 1,
        drum: 2,
        from: pitch("Bb2"),
        to: pitch("C3"),
    });
    part.marks = MARKS
        .iter()
        .map(|m| LevelMark {
            at: place(m.0, m.1),
            mark: m.2,
        })
        .collect();
    part.hairpins = HAIRPINS
        .iter()
        .map(|h| Hairpin {
            from: place(h.0, h.1),
            to: place(h.2, h.3),
            kind: h.4,
        })
        .collect();
    part.cues = CUES
        .iter()
        .map(|c| Cue {
            bar: c.0 - 1,
            text: c.1.to_owned(),
        })
        .collect();
    for (bar, line) in BARS.iter().enumerate() {
        let mut at = place(bar + 1, 0);
        part.bars.push(Bar {
            number: bar as i32 + 1,
            at,
            length: Quarters::from(4),
            meter: (4, 4),
            rehearsal: None,
        });
        for sign in signs(line) {
            let dynamic = part.marks.iter().rev().find(|m| m.at <= at).map(|m| m.mark);
            part.notes.extend(sign.pitches.iter().map(|&pitch| Note {
                bar,
                at,
                length: sign.length(),
                pitch,
                drum: drum(pitch),
                roll: sign.has('R'),
                flam: sign.has('g'),
                accent: sign.has('>'),
                staccato: sign.has('!'),
                tenuto: false,
                dynamic,
                hand: None,
                damp: None,
            }));
            at += sign.length();
        }
    }
    part
}

/// The part as MusicXML 4.0, partwise.
pub fn musicxml() -> String {
    let mut xml = String::from(concat!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n",
        "<!DOCTYPE score-partwise PUBLIC \"-//Recordare//DTD MusicXML 4.0 Partwise//EN\" ",
        "\"http://www.musicxml.org/dtds/partwise.dtd\">\n",
        "<score-partwise version=\"4.0\">\n",
    ));
    let _ = write!(
        xml,
        "  <work>\n    <work-title>{TITLE}</work-title>\n  </work>\n  <part-list>\n    \
         <score-part id=\"P1\">\n      <part-name>Timpani</part-name>\n    \
         </score-part>\n  </part-list>\n  <part id=\"P1\">\n",
    );
    for (bar, line) in BARS.iter().enumerate() {
        let _ = writeln!(xml, "    <measure number=\"{}\">", bar + 1);
        if bar == 0 {
            let _ = write!(
                xml,
                "      <attributes>\n        <divisions>{DIVISIONS}</divisions>\n        \
                 <key>\n          <fifths>-2</fifths>\n        </key>\n        \
                 <time>\n          <beats>4</beats>\n          <beat-type>4</beat-type>\n        \
                 </time>\n        <clef>\n          <sign>F</sign>\n          \
                 <line>4</line>\n        </clef>\n      </attributes>\n",
            );
        }
        directions(&mut xml, bar + 1);
        let signs = signs(line);
        let mut in_triplet = 0;
        for sign in &signs {
            let third = if sign.triplet { in_triplet % 3 } else { 0 };
            in_triplet = if sign.triplet { in_triplet + 1 } else { 0 };
            write_sign(&mut xml, sign, third);
        }
        xml.push_str("    </measure>\n");
    }
    xml.push_str("  </part>\n</score-partwise>\n");
    xml
}

/// Everything above and below the notes, at a bar's start.
fn directions(xml: &mut String, bar: usize) {
    let mut direction = |placement: &str, inside: &str, sound: &str| {
        let _ = writeln!(
            xml,
            "      <direction placement=\"{placement}\">\n        <direction-type>{inside}\
             </direction-type>{sound}\n      </direction>",
        );
    };
    if bar == 1 {
        let mark = format!(
            "<metronome><beat-unit>quarter</beat-unit><per-minute>{BPM}</per-minute></metronome>"
        );
        direction(
            "above",
            &mark,
            &format!("\n        <sound tempo=\"{BPM}\"/>"),
        );
    }
    for (_, text) in CUES.iter().filter(|c| c.0 == bar) {
        direction("above", &format!("<words>{text}</words>"), "");
    }
    for _ in HAIRPINS.iter().filter(|h| h.2 == bar) {
        direction("below", "<wedge type=\"stop\" number=\"1\"/>", "");
    }
    for (_, _, _, mark) in MARKS.iter().filter(|m| m.0 == bar) {
        direction("below", &format!("<dynamics><{mark}/></dynamics>"), "");
    }
    for hairpin in HAIRPINS.iter().filter(|h| h.0 == bar) {
        let kind = match hairpin.4 {
            HairpinKind::Crescendo => "crescendo",
            HairpinKind::Diminuendo => "diminuendo",
        };
        direction(
            "below",
            &format!("<wedge type=\"{kind}\" number=\"1\"/>"),
            "",
        );
    }
}

fn write_pitch(xml: &mut String, pitch: Pitch) {
    let name = pitch.to_string();
    let alter = if pitch.alter == 0 {
        String::new()
    } else {
        format!("<alter>{}</alter>", pitch.alter)
    };
    let _ = writeln!(
        xml,
        "        <pitch><step>{}</step>{alter}<octave>{}</octave></pitch>",
        &name[..1],
        pitch.octave
    );
}

fn write_sign(xml: &mut String, sign: &Sign, third: usize) {
    let length = sign.length() * DIVISIONS;
    let kind = match sign.value {
        'w' => "whole",
        'h' => "half",
        'q' => "quarter",
        'e' => "eighth",
        _ => "16th",
    };
    if sign.has('g') {
        xml.push_str("      <note>\n        <grace slash=\"yes\"/>\n");
        write_pitch(xml, sign.pitches[0]);
        xml.push_str("        <voice>1</voice>\n        <type>eighth</type>\n      </note>\n");
    }
    if sign.pitches.is_empty() {
        let rest = if sign.value == 'w' {
            "<rest measure=\"yes\"/>"
        } else {
            "<rest/>"
        };
        let _ = writeln!(
            xml,
            "      <note>\n        {rest}\n        <duration>{length}</duration>\n        \
             <voice>1</voice>\n        <type>{kind}</type>\n      </note>",
        );
    }
    for (place, &pitch) in sign.pitches.iter().enumerate() {
        xml.push_str("      <note>\n");
        if place > 0 {
            xml.push_str("        <chord/>\n");
        }
        write_pitch(xml, pitch);
        let _ = writeln!(
            xml,
            "        <duration>{length}</duration>\n        <voice>1</voice>\n        \
             <type>{kind}</type>",
        );
        if sign.triplet {
            xml.push_str(
                "        <time-modification><actual-notes>3</actual-notes>\
                 <normal-notes>2</normal-notes></time-modification>\n",
            );
        }
        let mut inside = String::new();
        if sign.triplet && place == 0 && third != 1 {
            let end = if third == 0 { "start" } else { "stop" };
            let _ = write!(inside, "<tuplet type=\"{end}\"/>");
        }
        if sign.has('R') {
            inside.push_str("<ornaments><tremolo type=\"single\">3</tremolo></ornaments>");
        }
        if sign.has('>') || sign.has('!') {
            inside.push_str("<articulations>");
            inside.push_str(if sign.has('>') { "<accent/>" } else { "" });
            inside.push_str(if sign.has('!') { "<staccato/>" } else { "" });
            inside.push_str("</articulations>");
        }
        if !inside.is_empty() {
            let _ = writeln!(xml, "        <notations>{inside}</notations>");
        }
        xml.push_str("      </note>\n");
    }
}
