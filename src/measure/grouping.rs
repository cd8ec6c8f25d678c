//! Which written notes form a figure: equal values inside one beat, or
//! inside the two or four beats over which a tuplet is spread.
//!
//! This looks at the part alone. A value is the distance from one note to the
//! next, so a sixteenth followed by a sixteenth rest counts as an eighth:
//! that is what is heard.

use crate::part::{Bar, Part, Quarters};
use num_rational::Ratio;

/// A written figure.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Written {
    /// Place in `Part::bars`.
    pub bar: usize,
    /// Start, from the start of the part.
    pub at: Quarters,
    /// From one note to the next.
    pub value: Quarters,
    pub kind: String,
    /// Places in `Part::notes`, one list a stroke: a chord has several.
    pub strokes: Vec<Vec<usize>>,
    /// The notes of the stroke that closes the last interval: the next
    /// written note, when it follows at once.
    pub closing: Option<Vec<usize>>,
}

impl Written {
    /// Number of intervals, the closing one included.
    pub fn intervals(&self) -> usize {
        self.strokes.len() - usize::from(self.closing.is_none())
    }

    /// Where it ends, from the start of the part.
    pub fn end(&self) -> Quarters {
        self.at + self.value * Ratio::from_integer(self.intervals() as i64)
    }
}

/// Notes struck together.
struct Onset {
    at: Quarters,
    bar: usize,
    notes: Vec<usize>,
    roll: bool,
}

/// Every figure of a part, in order. Figures have at least two intervals:
/// fewer cannot be uneven.
pub fn figures(part: &Part) -> Vec<Written> {
    let onsets = onsets(part);
    let mut found = Vec::new();
    let mut start = 0;
    while start + 1 < onsets.len() {
        let value = onsets[start + 1].at - onsets[start].at;
        let mut end = start + 1;
        while end + 1 < onsets.len()
            && !onsets[end].roll
            && onsets[end + 1].at - onsets[end].at == value
        {
            end += 1;
        }
        if !onsets[start].roll && value > Ratio::from_integer(0) {
            split(part, &onsets[start..=end], value, &mut found);
        }
        // The last onset of a run may begin the next one, of another value.
        start = end;
    }
    found
}

fn onsets(part: &Part) -> Vec<Onset> {
    let mut onsets: Vec<Onset> = Vec::new();
    for (i, note) in part.notes.iter().enumerate() {
        match onsets.last_mut() {
            Some(last) if last.at == note.at => {
                last.notes.push(i);
                last.roll |= note.roll;
            }
            _ => onsets.push(Onset {
                at: note.at,
                bar: note.bar,
                notes: vec![i],
                roll: note.roll,
            }),
        }
    }
    onsets
}

/// Cuts a run of equal distances at the spans its value is counted in.
fn split(part: &Part, run: &[Onset], value: Quarters, found: &mut Vec<Written>) {
    let mut i = 0;
    while i < run.len() {
        let Some(bar) = part.bars.get(run[i].bar) else {
            return;
        };
        let Some(span) = span(bar, value) else {
            i += 1;
            continue;
        };
        let window = ((run[i].at - bar.at) / span).floor();
        let until = bar.at + (window + Ratio::from_integer(1)) * span;
        let count = run[i..]
            .iter()
            .take_while(|o| o.at < until && o.bar == run[i].bar && !o.roll)
            .count();
        let members = &run[i..i + count];
        let closing = run.get(i + count);
        // Without a next note at the same distance the last one is not known
        // to have this value, unless nothing follows before it has passed.
        let full = span / value;
        let whole = Ratio::from_integer(count as i64) == full;
        let intervals = (count + usize::from(closing.is_some())).saturating_sub(1);
        if (whole || count >= 3) && intervals >= 2 {
            found.push(Written {
                bar: run[i].bar,
                at: run[i].at,
                value,
                kind: kind(value, count),
                strokes: members.iter().map(|o| o.notes.clone()).collect(),
                closing: closing.map(|o| o.notes.clone()),
            });
        }
        i += count.max(1);
    }
}

/// The shortest of one, two or four beats that holds a whole number of the
/// value, at least two of them in one beat and three in several.
fn span(bar: &Bar, value: Quarters) -> Option<Quarters> {
    let beat = beat(bar);
    for (beats, least) in [(1, 2), (2, 3), (4, 3)] {
        let span = beat * Ratio::from_integer(beats);
        let count = span / value;
        if span <= bar.length.max(beat) && count.is_integer() && *count.numer() >= least {
            return Some(span);
        }
    }
    None
}

/// The length of one beat: the dotted value in compound meters, the whole bar
/// in irregular ones, else the meter's own unit but no shorter than a quarter.
fn beat(bar: &Bar) -> Quarters {
    let (count, unit) = bar.meter;
    let unit_length = Ratio::new(4, i64::from(unit.max(1)));
    if unit >= 8 {
        if count % 3 == 0 {
            return unit_length * Ratio::from_integer(3);
        }
        let quarters = unit_length * Ratio::from_integer(i64::from(count));
        if !quarters.is_integer() && bar.length > Ratio::from_integer(0) {
            return bar.length;
        }
        return Ratio::from_integer(1);
    }
    unit_length.max(Ratio::from_integer(1))
}

/// The name of a figure of `count` notes of this value: the note value, and
/// before it the tuplet where the value is not a plain one.
pub fn kind(value: Quarters, count: usize) -> String {
    const NAMES: [(i64, &str); 6] = [
        (1, "quarters"),
        (2, "eighths"),
        (4, "sixteenths"),
        (8, "thirty-seconds"),
        (16, "sixty-fourths"),
        (32, "hundred-twenty-eighths"),
    ];
    let name = |per_quarter: i64| NAMES.iter().find(|n| n.0 == per_quarter).map(|n| n.1);
    let (top, bottom) = (*value.numer(), *value.denom());
    if top == 1
        && let Some(plain) = name(bottom)
    {
        return plain.to_owned();
    }
    if top == 3
        && let Some(plain) = name(bottom / 2)
    {
        return format!("dotted-{plain}");
    }
    // A tuplet's written value is the plain one next longer than it sounds:
    // three eighths in a quarter sound 1/3 each and are written 1/2.
    let odd = bottom >> bottom.trailing_zeros();
    let prefix = match odd {
        3 if count > 3 && bottom >= 6 => "sextuplet",
        3 => "triplet",
        5 => "quintuplet",
        7 => "septuplet",
        9 => "nonuplet",
        _ => "tuplet",
    };
    let mut written = Ratio::from_integer(4);
    while written / Ratio::from_integer(2) >= value {
        written /= Ratio::from_integer(2);
    }
    let plain = if *written.numer() == 1 {
        name(*written.denom())
    } else if written == Ratio::from_integer(2) {
        Some("halves")
    } else {
        Some("wholes")
    };
    format!("{prefix}-{}", plain.unwrap_or("notes"))
}
