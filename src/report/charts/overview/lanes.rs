//! The lanes of the drums: strokes, rolls, notes that were not simply played,
//! and new pitches.

use super::Layout;
use crate::align::Outcome;
use crate::report::lettering;
use crate::report::svg::{Anchor, Svg, n, n_fine};
use crate::review::{NoteFacts, Review, StrokeFacts};
use crate::words;
use std::collections::BTreeMap;

/// A new pitch is named in its drum's lane where it begins.
pub fn retunings(svg: &mut Svg, review: &Review, layout: &Layout) {
    for drum in &review.drums {
        for setting in drum.settings.iter().skip(1) {
            let bar = review
                .written
                .bars
                .iter()
                .find(|b| b.number == setting.from_bar);
            if let Some(s) = bar.and_then(|b| b.time_s) {
                let at = (layout.time.at(s) + 4.0, layout.lane(Some(drum.drum)) - 5.0);
                svg.text(
                    at,
                    "small bold",
                    Anchor::Start,
                    &words::retuned(setting.pitch),
                );
            }
        }
    }
}

pub fn rolls(svg: &mut Svg, review: &Review, layout: &Layout) {
    for roll in &review.rolls {
        let drum = review.notes.get(roll.note).map(|n| n.drum);
        let (a, b) = (layout.time.at(roll.from_s), layout.time.at(roll.to_s));
        let y = layout.lane(drum);
        svg.rect((a, y - 6.0), (b - a, 12.0), "roll", None);
    }
}

/// Notes that were not simply played, where the pulse puts them.
pub fn notes(svg: &mut Svg, review: &Review, layout: &Layout, live: bool) {
    for note in &review.notes {
        let struck = note.stroke.and_then(|i| review.strokes.get(i));
        let time = note.expected_s.or(struck.map(|s| s.time_s));
        let Some(time) = time else { continue };
        let (x, y) = (layout.time.at(time), layout.lane(Some(note.drum)));
        let tip = words::note_tip(note);
        let mark = Mark {
            live,
            time_s: time,
            note: Some(note.index),
            tip: &tip,
        };
        match note.outcome {
            Outcome::Missed => {
                let (x, y) = (n(x - 5.0), n(y - 5.0));
                let d = format!("class=\"open\" d=\"M{x} {y}h10v10h-10zl10 10m0 -10l-10 10\"");
                mark.put(svg, "path", &d);
            }
            Outcome::Unsure => mark.put(svg, "circle", &circle("opendash", (x, y), 5.5)),
            Outcome::OtherDrum => {
                if let Some(stroke) = struck {
                    let to = (layout.time.at(stroke.time_s), layout.lane(stroke.drum));
                    svg.line((x, y), to, "hair");
                }
                mark.put(svg, "circle", &circle("open", (x, y), 3.0));
            }
            Outcome::Played | Outcome::NotReached => {}
        }
    }
}

/// A shape with its time and note for the player, or with a tip.
struct Mark<'a> {
    live: bool,
    time_s: f64,
    note: Option<usize>,
    tip: &'a str,
}

impl Mark<'_> {
    fn put(&self, svg: &mut Svg, element: &str, attributes: &str) {
        if self.live {
            let time = n_fine((self.time_s * 1000.0).round() / 1000.0);
            let note = self.note.map(|n| format!(" data-n=\"{n}\""));
            let note = note.unwrap_or_default();
            svg.raw(&format!(
                "<{element} {attributes} data-t=\"{time}\"{note}/>"
            ));
        } else {
            let tip = lettering::escape(self.tip);
            svg.raw(&format!(
                "<{element} {attributes}><title>{tip}</title></{element}>"
            ));
        }
    }
}

pub fn strokes(svg: &mut Svg, review: &Review, layout: &Layout, live: bool) {
    let outcomes: BTreeMap<usize, &NoteFacts> = review
        .notes
        .iter()
        .filter_map(|note| Some((note.stroke?, note)))
        .collect();
    // Strokes as written are the many: they share one group and its class.
    let mut played = Svg::new("", 0.0, "", "");
    let mut lanes: BTreeMap<String, String> = BTreeMap::new();
    for (i, stroke) in review.strokes.iter().enumerate() {
        if stroke.in_roll && !outcomes.contains_key(&i) {
            continue;
        }
        let (x, y) = (layout.time.at(stroke.time_s), layout.lane(stroke.drum));
        let note = outcomes.get(&i);
        let tip = words::stroke_tip(review, stroke, note.copied());
        let mark = Mark {
            live,
            time_s: stroke.time_s,
            note: stroke.note,
            tip: &tip,
        };
        let r = radius(stroke);
        match note.map(|n| n.outcome) {
            Some(Outcome::OtherDrum) => {
                let (top, r) = (n(y - r - 2.0), n(r + 2.0));
                let d = format!("M{} {top}l{r} {r}l-{r} {r}l-{r} -{r}z", n(x));
                mark.put(svg, "path", &format!("class=\"copperfill\" d=\"{d}\""));
            }
            Some(_) if live => {
                let lane = lanes.entry(n(y)).or_default();
                lane.push_str(&live_circle(x, r, stroke.note));
            }
            Some(_) => mark.put(&mut played, "circle", &circle("", (x, y), r)),
            None if stroke.note.is_none() => {
                let d = format!("M{} {}v8m-4 -4h8", n(x), n(y - 4.0));
                mark.put(svg, "path", &format!("class=\"hair\" d=\"{d}\""));
            }
            None => {}
        }
    }
    svg.open("class=\"dot\"");
    svg.raw(played.body());
    for (y, circles) in lanes {
        svg.open(&format!("transform=\"translate(0 {y})\""));
        svg.raw(&circles);
        svg.close();
    }
    svg.close();
}

fn circle(class: &str, at: (f64, f64), radius: f64) -> String {
    let class = if class.is_empty() {
        String::new()
    } else {
        format!("class=\"{class}\" ")
    };
    format!(
        "{class}cx=\"{}\" cy=\"{}\" r=\"{}\"",
        n(at.0),
        n(at.1),
        n(radius)
    )
}

/// A stroke as written, in its lane, for the player: its place, to a hundredth
/// of a unit, is its time. In a page numbers need no quotes around them.
fn live_circle(x: f64, radius: f64, note: Option<usize>) -> String {
    let note = note.map(|n| format!(" data-n={n}")).unwrap_or_default();
    format!(
        "<circle cx={} r={}{note} />",
        n_fine((x * 100.0).round() / 100.0),
        n(radius)
    )
}

/// 1.6 to 6 units over 40 dB.
fn radius(stroke: &StrokeFacts) -> f64 {
    let level = if stroke.level_db.is_finite() {
        stroke.level_db
    } else {
        -40.0
    };
    1.6 + 4.4 * ((level + 40.0) / 40.0).clamp(0.0, 1.0)
}
