//! The charts: one file each. Every chart is drawn for a frame (a wide page,
//! a narrow page, a file of its own) and carries its units, its count, its
//! uncertainty and the numbers that matter.

pub mod deviations;
pub mod dynamics;
pub mod evenness;
pub mod intonation;
pub mod overview;
pub mod rolls;
pub mod stops;
mod tempo;

use super::lettering;
use super::svg::{Anchor, Pen, Svg, n};
use crate::review::Review;
use crate::words;

/// Where a chart is to stand.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Frame {
    /// Units of the drawing, about pixels.
    pub width: f64,
    /// Begins its identifiers.
    pub id: &'static str,
    /// It is a file of its own: it names the part and the take.
    pub alone: bool,
}

impl Frame {
    /// In the column of a page.
    pub const WIDE: Self = Self {
        width: 800.0,
        id: "w",
        alone: false,
    };
    /// On a telephone.
    pub const NARROW: Self = Self {
        width: 328.0,
        id: "n",
        alone: false,
    };
    /// A file of its own.
    pub const ALONE: Self = Self {
        width: 832.0,
        id: "a",
        alone: true,
    };

    /// Too narrow for labels beside the rows.
    pub fn is_narrow(&self) -> bool {
        self.width < 500.0
    }

    /// Margin to the left and right.
    pub fn margin(&self) -> f64 {
        if self.alone { 24.0 } else { 1.0 }
    }

    /// The right end of what may be drawn.
    pub fn right(&self) -> f64 {
        self.width - self.margin()
    }
}

/// Every chart as a file: name and content.
pub fn files(review: &Review) -> Vec<(&'static str, String)> {
    let frame = Frame::ALONE;
    vec![
        ("overview.svg", overview::file(review)),
        ("evenness.svg", evenness::draw(review, frame).file()),
        ("deviations.svg", deviations::draw(review, frame).file()),
        ("intonation.svg", intonation::draw(review, frame).file()),
        ("dynamics.svg", dynamics::draw(review, frame).file()),
        ("rolls.svg", rolls::draw(review, frame).file()),
        ("stops.svg", stops::draw(review, frame).file()),
    ]
}

/// A drawing with its head, and the height at which to go on.
fn begin(review: &Review, frame: Frame, name: &str, title: &str, desc: &str) -> (Svg, f64) {
    let mut svg = Svg::new(&format!("{}-{name}", frame.id), frame.width, title, desc);
    if !frame.alone {
        return (svg, 4.0);
    }
    let y = head(&mut svg, review, frame.margin(), frame.width, title);
    (svg, y)
}

/// The visible head of a file of its own; gives the height below it.
fn head(svg: &mut Svg, review: &Review, margin: f64, width: f64, title: &str) -> f64 {
    let room = width - 2.0 * margin;
    let mut y = 32.0;
    svg.text((margin, y), "head", Anchor::Start, title);
    // The part and the take on lines of their own: either may run from right to
    // left.
    let mut lines = lettering::wrap(&words::title(review), 12.0, room, 3);
    lines.extend(lettering::wrap(&review.take.file, 12.0, room, 2));
    for line in lines {
        y += 18.0;
        svg.text((margin, y), "soft", Anchor::Start, &line);
    }
    y + 16.0
}

/// The end of a drawing: its height is known now.
fn finish(mut svg: Svg, frame: Frame, y: f64) -> Svg {
    svg.set_height(y + if frame.alone { 20.0 } else { 4.0 });
    svg
}

/// A chart that has nothing to show says so.
fn nothing(review: &Review, frame: Frame, name: &str, title: &str, why: &str) -> Svg {
    let (mut svg, mut y) = begin(review, frame, name, title, why);
    for line in lettering::wrap(why, 12.0, frame.right() - frame.margin(), 4) {
        y += 16.0;
        svg.text((frame.margin(), y), "soft", Anchor::Start, &line);
    }
    finish(svg, frame, y + 6.0)
}

/// A paragraph; gives the height below it.
fn paragraph(svg: &mut Svg, frame: Frame, y: f64, class: &str, text: &str) -> f64 {
    let size = if class.contains("small") { 11.0 } else { 12.0 };
    // Bold letters are wider.
    let set = if class.contains("bold") {
        size * 1.12
    } else {
        size
    };
    let mut y = y;
    for line in lettering::wrap(text, set, frame.right() - frame.margin(), 6) {
        y += size + 4.0;
        svg.text((frame.margin(), y), class, Anchor::Start, &line);
    }
    y
}

/// The marks that tell early, late, flat, sharp and within apart by shape.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Sign {
    Within,
    Left,
    Right,
    Down,
    Up,
    Unsure,
}

impl Sign {
    /// Draws a mark of `size`, half its height. Round ones are written as a
    /// line of no length, to be drawn with round ends.
    fn outline(self, pen: &mut Pen, (x, y): (f64, f64), size: f64) {
        let long = size * 1.5;
        let whole = n(2.0 * size);
        let (tip, side, base) = match self {
            Self::Within | Self::Unsure => {
                pen.go('m', (x, y));
                pen.draw("h0");
                return;
            }
            Self::Left => ((x - long / 2.0, y), (long, -size), 'v'),
            Self::Right => ((x + long / 2.0, y), (-long, -size), 'v'),
            Self::Down => ((x, y + long / 2.0), (-size, -long), 'h'),
            Self::Up => ((x, y - long / 2.0), (-size, long), 'h'),
        };
        pen.go('m', tip);
        // From its tip along one side, then along the base.
        pen.draw(&format!("l{} {}{base}{whole}z", n(side.0), n(side.1)));
    }

    fn class(self) -> &'static str {
        match self {
            Self::Within | Self::Unsure => "dot",
            Self::Left | Self::Down => "early",
            Self::Right | Self::Up => "late",
        }
    }
}

/// A mark of `size` (half its height) at a place.
fn sign(svg: &mut Svg, at: (f64, f64), size: f64, kind: Sign, tip: Option<&str>) {
    match kind {
        Sign::Within => svg.circle(at, size * 0.75, "dot", tip),
        Sign::Unsure => svg.circle(at, size * 0.8, "open", tip),
        _ => {
            let mut pen = Pen::default();
            kind.outline(&mut pen, at, size);
            svg.path(&pen.d, kind.class(), tip);
        }
    }
}

/// Many marks of one size, one element a kind.
fn signs(svg: &mut Svg, size: f64, marks: &[((f64, f64), Sign)]) {
    for kind in [Sign::Within, Sign::Left, Sign::Right, Sign::Down, Sign::Up] {
        let mut pen = Pen::default();
        for mark in marks.iter().filter(|m| m.1 == kind) {
            kind.outline(&mut pen, mark.0, size);
        }
        let d = pen.d;
        if d.is_empty() {
            continue;
        }
        if kind == Sign::Within {
            let width = n(size * 1.5);
            svg.raw(&format!(
                "<path class=\"points\" stroke-width=\"{width}\" d=\"{d}\"/>"
            ));
        } else {
            svg.path(&d, kind.class(), None);
        }
    }
}

/// A key of signs in one or more lines; gives the height below it.
fn key(svg: &mut Svg, frame: Frame, y: f64, entries: &[(Sign, &str)]) -> f64 {
    let (mut x, mut y) = (frame.margin() + 6.0, y + 14.0);
    for (kind, text) in entries {
        let room = 14.0 + lettering::width(text, 11.0);
        if x + room > frame.right() && x > frame.margin() + 6.0 {
            x = frame.margin() + 6.0;
            y += 16.0;
        }
        sign(svg, (x, y - 4.0), 4.0, *kind, None);
        svg.text((x + 9.0, y), "soft small", Anchor::Start, text);
        x += room + 16.0;
    }
    y
}

/// A whisker from one value to another with short ends.
fn whisker(svg: &mut Svg, y: f64, from: f64, to: f64, class: &str) {
    let d = format!(
        "M{a} {t}V{b}M{a} {m}H{z}M{z} {t}V{b}",
        a = n(from),
        z = n(to),
        t = n(y - 3.0),
        m = n(y),
        b = n(y + 3.0)
    );
    svg.path(&d, class, None);
}

/// Printed bar numbers and where the counted passage has them, seconds.
fn bar_times(review: &Review) -> Vec<(i32, f64)> {
    let bars = review.written.bars.iter();
    bars.filter_map(|b| Some((b.number, b.time_s?))).collect()
}

/// Where a bar and beat stand, in quarter notes from the start of the part.
/// A number that is printed twice stands for its first time at or after
/// `from`.
fn place(review: &Review, bar: i32, beat: f64, from: f64) -> Option<f64> {
    let bars = &review.written.bars;
    let named = |later: bool| {
        bars.iter()
            .find(|b| b.number == bar && (!later || b.at + b.length > from))
    };
    let bar = named(true).or_else(|| named(false))?;
    Some(bar.at + beat - 1.0)
}
