//! Writes a part as a sheet that reads back as the same part.

use super::super::time::{tidy, written};
use super::super::{Damp, HairpinKind, Hand, Note, Part, Quarters};
use super::spell::word;
use super::word::DYNAMICS;
use crate::pitch::Pitch;
use std::collections::BTreeMap;
use std::fmt::Write;

/// The sheet of a part: reading it gives an equal part.
pub fn to_sheet(part: &Part) -> String {
    let voices = voices(part);
    let labels = labels(part);
    let mut sheet = Sheet {
        part,
        text: String::new(),
        tunings: part.drums.iter().map(|d| (d.number, d.pitch)).collect(),
        voices,
        labels,
        meter: None,
    };
    sheet.head();
    let mut index = 0;
    while index < part.bars.len() {
        index = sheet.bar(index);
    }
    sheet.tail();
    sheet.text
}

/// What one voice does for a while.
#[derive(Clone, Copy, PartialEq)]
enum Doing<'a> {
    Silent,
    LastsOn,
    Strikes(&'a [Note]),
}

struct Sheet<'a> {
    part: &'a Part,
    text: String,
    tunings: Vec<(u8, Pitch)>,
    /// For each voice the notes struck together, in order of time.
    voices: Vec<Vec<&'a [Note]>>,
    labels: BTreeMap<Quarters, Vec<String>>,
    meter: Option<(u32, u32)>,
}

/// Sorts notes into voices without overlaps; notes that begin and end together
/// are one.
fn voices(part: &Part) -> Vec<Vec<&[Note]>> {
    let mut voices: Vec<(Quarters, Vec<&[Note]>)> = Vec::new();
    for group in part
        .notes
        .chunk_by(|a, b| a.at == b.at && a.length == b.length && a.bar == b.bar)
    {
        let at = group[0].at;
        let end = tidy(at + group[0].length);
        match voices.iter_mut().find(|(free, _)| *free <= at) {
            Some((free, groups)) => {
                *free = end;
                groups.push(group);
            }
            None => voices.push((end, vec![group])),
        }
    }
    voices.into_iter().map(|(_, groups)| groups).collect()
}

fn labels(part: &Part) -> BTreeMap<Quarters, Vec<String>> {
    let mut labels: BTreeMap<Quarters, Vec<String>> = BTreeMap::new();
    // Ends come before beginnings at the same place, so that tags are free.
    let mut open: Vec<Option<Quarters>> = Vec::new();
    let mut begins: BTreeMap<Quarters, Vec<String>> = BTreeMap::new();
    for pin in &part.hairpins {
        let free = open.iter().position(|o| o.is_none_or(|to| to <= pin.from));
        let tag = free.unwrap_or_else(|| {
            open.push(None);
            open.len() - 1
        });
        open[tag] = Some(pin.to);
        let tag = if tag == 0 {
            String::new()
        } else {
            (tag + 1).to_string()
        };
        let word = match pin.kind {
            HairpinKind::Crescendo => "cresc",
            HairpinKind::Diminuendo => "dim",
        };
        begins
            .entry(pin.from)
            .or_default()
            .push(format!("{word}{tag}:"));
        labels.entry(pin.to).or_default().push(format!("end{tag}:"));
    }
    for mark in &part.marks {
        let name = DYNAMICS
            .iter()
            .find(|d| d.1 == mark.mark)
            .map_or("", |d| d.0);
        labels.entry(mark.at).or_default().push(format!("{name}:"));
    }
    for at in &part.fermatas {
        labels.entry(*at).or_default().push("fermata:".to_owned());
    }
    for (at, words) in begins {
        labels.entry(at).or_default().extend(words);
    }
    labels
}

fn quote(text: &str) -> String {
    let text = text
        .replace('\\', "\\\\")
        .replace('"', "\\\"")
        .replace('\n', "\\n")
        .replace('\r', "\\r");
    format!("\"{text}\"")
}

/// A text without quotes where it survives being trimmed.
fn bare(text: &str) -> String {
    let plain = text.trim() == text
        && !text.starts_with('"')
        && !text.is_empty()
        && !text.contains(['\n', '\r']);
    if plain { text.to_owned() } else { quote(text) }
}

impl<'a> Sheet<'a> {
    fn put(&mut self, line: &str) {
        self.text.push_str(line.trim_end());
        self.text.push('\n');
    }

    fn head(&mut self) {
        if !self.part.title.is_empty() {
            self.put(&format!("title {}", bare(&self.part.title)));
        }
        for drum in &self.part.drums {
            let size = drum.size_in.map_or(String::new(), |s| s.to_string());
            self.put(&format!("drum {} {} {size}", drum.number, drum.pitch));
        }
        for unread in &self.part.unread {
            let bar = unread.bar.map_or(String::new(), |b| format!("{b} "));
            self.put(&format!("unread {bar}{}", quote(&unread.what)));
        }
    }

    /// Writes a bar, or several silent ones, and gives the next to write.
    fn bar(&mut self, index: usize) -> usize {
        self.before(index);
        let bar = &self.part.bars[index];
        let full = Quarters::new(i64::from(bar.meter.0) * 4, i64::from(bar.meter.1.max(1)));
        let mut last = index;
        while last + 1 < self.part.bars.len() && self.joins(last) {
            last += 1;
        }
        let mut head = bar.number.to_string();
        if last > index {
            let _ = write!(head, "-{}", self.part.bars[last].number);
        }
        if bar.length != full {
            let _ = write!(head, " ({})", written(bar.length));
        }
        let mut first = true;
        for (voice, doings) in self.voice_pieces(index).into_iter().enumerate() {
            let Some(doings) = doings else { continue };
            let words = self.words(index, &doings, voice == 0);
            let start = if first { head.as_str() } else { "with" };
            let line = format!("{start}: {words}");
            self.put(&line);
            first = false;
        }
        last + 1
    }

    /// Whether a bar and the next are silent, plain and numbered on.
    fn joins(&self, index: usize) -> bool {
        let (a, b) = (&self.part.bars[index], &self.part.bars[index + 1]);
        let silent = |bar: usize| {
            self.voice_pieces(bar)
                .iter()
                .flatten()
                .all(|pieces| pieces.iter().all(|p| p.2 == Doing::Silent))
        };
        let range = a.at..=tidy(b.at + b.length);
        let marked = self.labels.range(range).next().is_some();
        let waited = self
            .part
            .tempi
            .iter()
            .any(|t| self.bar_of(t.at) == index + 1)
            || self.part.cues.iter().any(|c| c.bar == index + 1)
            || self.part.retunings.iter().any(|r| r.bar == index + 1);
        a.number.checked_add(1) == Some(b.number)
            && a.number >= 0
            && a.length == b.length
            && a.meter == b.meter
            && b.rehearsal.is_none()
            && !marked
            && !waited
            && silent(index)
            && silent(index + 1)
    }

    /// The bar that a place belongs to; the number of bars for the very end.
    fn bar_of(&self, at: Quarters) -> usize {
        let after = self.part.bars.partition_point(|b| b.at <= at);
        let index = after.saturating_sub(1);
        match self.part.bars.get(index) {
            Some(bar) if at >= bar.at + bar.length => index + 1,
            _ => index,
        }
    }

    fn before(&mut self, index: usize) {
        let bar = &self.part.bars[index];
        if self.meter != Some(bar.meter) {
            self.meter = Some(bar.meter);
            self.put(&format!("meter {}/{}", bar.meter.0, bar.meter.1));
        }
        if let Some(text) = &bar.rehearsal {
            self.put(&format!("rehearsal {}", bare(text)));
        }
        self.tempi(index, bar.at);
        for cue in self.part.cues.iter().filter(|c| c.bar == index) {
            self.put(&format!("cue {}", quote(&cue.text)));
        }
        for change in self.part.retunings.iter().filter(|r| r.bar == index) {
            self.put(&format!(
                "tune {} {} to {}",
                change.drum, change.from, change.to
            ));
            for tuning in self.tunings.iter_mut().filter(|t| t.0 == change.drum) {
                tuning.1 = change.to;
            }
        }
    }

    fn tempi(&mut self, index: usize, start: Quarters) {
        for mark in &self.part.tempi {
            if self.bar_of(mark.at) != index {
                continue;
            }
            let mut line = "tempo".to_owned();
            if let Some(bpm) = mark.quarter_bpm {
                let _ = write!(line, " {bpm}");
            }
            if mark.gradual {
                line.push_str(" gradual");
            }
            if let Some(text) = &mark.text {
                let _ = write!(line, " {}", quote(text));
            } else if mark.quarter_bpm.is_none() && !mark.gradual {
                line.push_str(" \"\"");
            }
            if mark.at != start {
                let _ = write!(line, " at {}", written(mark.at - start + 1));
            }
            self.put(&line);
        }
    }

    fn tail(&mut self) {
        if let Some(bar) = self.part.bars.last() {
            self.tempi(self.part.bars.len(), bar.at + bar.length);
        }
    }

    /// For each voice what it does in a bar, cut where labels stand; `None` for
    /// a voice that has nothing there. The first always has something.
    fn voice_pieces(&self, index: usize) -> Vec<Option<Vec<(Quarters, Quarters, Doing<'a>)>>> {
        let bar = &self.part.bars[index];
        let (start, end) = (bar.at, tidy(bar.at + bar.length));
        let silence = vec![(start, end, Doing::Silent)];
        let mut all = Vec::new();
        for groups in &self.voices {
            let from = groups.partition_point(|g| tidy(g[0].at + g[0].length) <= start);
            let mut pieces = Vec::new();
            let mut now = start;
            for group in groups[from..].iter().take_while(|g| g[0].at < end) {
                let at = group[0].at;
                if at > now {
                    pieces.push((now, at, Doing::Silent));
                }
                let until = tidy(at + group[0].length).min(end);
                let doing = if at < start {
                    Doing::LastsOn
                } else {
                    Doing::Strikes(group)
                };
                pieces.push((at.max(start), until, doing));
                now = until;
            }
            if pieces.is_empty() {
                all.push(None);
                continue;
            }
            if now < end {
                pieces.push((now, end, Doing::Silent));
            }
            all.push(Some(pieces));
        }
        // A voice stands in its place only when those before it are there.
        let used = all.iter().rposition(Option::is_some).map_or(1, |p| p + 1);
        all.truncate(used);
        if all.is_empty() {
            all.push(None);
        }
        for voice in &mut all {
            voice.get_or_insert_with(|| silence.clone());
        }
        all
    }

    fn words(
        &self,
        index: usize,
        pieces: &[(Quarters, Quarters, Doing)],
        labelled: bool,
    ) -> String {
        let bar = &self.part.bars[index];
        let end = tidy(bar.at + bar.length);
        let beat = Quarters::new(4, i64::from(bar.meter.1.max(1)));
        let cuts: Vec<(Quarters, &Vec<String>)> = if labelled {
            self.labels
                .range(bar.at..end)
                .map(|(a, l)| (*a, l))
                .collect()
        } else {
            Vec::new()
        };
        let mut fine: Vec<(Quarters, Quarters, String)> = Vec::new();
        for &(from, to, doing) in pieces {
            let mut edges = vec![from];
            edges.extend(cuts.iter().map(|c| c.0).filter(|a| *a > from && *a < to));
            edges.push(to);
            for (i, edge) in edges.windows(2).enumerate() {
                let mut text = String::new();
                if let Some((_, words)) = cuts.iter().find(|c| c.0 == edge[0]) {
                    text.push_str(&words.concat());
                }
                text.push_str(&match doing {
                    Doing::Silent => ".".to_owned(),
                    Doing::Strikes(group) if i == 0 => self.struck(group),
                    _ => "_".to_owned(),
                });
                fine.push((edge[0], edge[1], text));
            }
        }
        let mut words = Vec::new();
        if let [(_, _, only)] = fine.as_slice()
            && only.ends_with(['.', '_'])
        {
            words.push(only.clone());
        } else {
            let mut at = 0;
            while at < fine.len() {
                let (word, next) = word(&fine, at, beat);
                words.push(word);
                at = next;
            }
        }
        let last = index + 1 == self.part.bars.len();
        if last && labelled {
            let closing: Vec<String> = self
                .labels
                .range(end..)
                .flat_map(|(_, l)| l.clone())
                .collect();
            if !closing.is_empty() {
                words.push(closing.concat());
            }
        }
        words.join(" ")
    }

    fn struck(&self, group: &[Note]) -> String {
        let one = |note: &Note| {
            let here: Vec<u8> = self
                .tunings
                .iter()
                .filter(|t| t.1.key() == note.pitch.key())
                .map(|t| t.0)
                .collect();
            // Without an octave the pitch takes the spelling of its drum.
            let alone = self
                .tunings
                .iter()
                .filter(|t| t.1.key().rem_euclid(12) == note.pitch.key().rem_euclid(12))
                .count()
                == 1;
            let exact = self.tunings.iter().any(|t| t.1 == note.pitch);
            let full = note.pitch.to_string();
            let mut text = if here.first() == Some(&note.drum) && alone && exact {
                full.trim_end_matches(|c: char| c.is_ascii_digit() || c == '-')
                    .to_owned()
            } else {
                full
            };
            let plain = if self.tunings.is_empty() {
                note.drum == 0
            } else {
                here.first() == Some(&note.drum)
            };
            if !plain {
                let _ = write!(text, "@{}", note.drum);
            }
            let signs = [
                (note.roll, '~'),
                (note.accent, '^'),
                (note.staccato, '\''),
                (note.tenuto, '='),
                (note.flam, '&'),
                (note.hand == Some(Hand::Right), 'r'),
                (note.hand == Some(Hand::Left), 'l'),
                (note.damp == Some(Damp::Stop), 'x'),
                (note.damp == Some(Damp::LetRing), 'o'),
            ];
            text.extend(signs.iter().filter(|s| s.0).map(|s| s.1));
            text
        };
        group.iter().map(one).collect::<Vec<_>>().join("+")
    }
}
