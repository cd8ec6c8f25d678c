//! A small writer of SVG (W3C, Scalable Vector Graphics 1.1, second edition).
//!
//! Colours and faces come from classes in `chart.css`, so that one drawing
//! serves light, dark and print; text is escaped; every number is rounded to
//! a tenth of a unit, which also keeps files small and equal from run to run.

use super::lettering::escape;
use std::fmt::Write;

/// The classes every drawing uses.
pub const STYLE: &str = include_str!("chart.css");

/// Where a text is anchored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Anchor {
    Start,
    Middle,
    End,
}

impl Anchor {
    fn attribute(self) -> &'static str {
        match self {
            Self::Start => "",
            Self::Middle => " text-anchor=\"middle\"",
            Self::End => " text-anchor=\"end\"",
        }
    }
}

/// A drawing in the making.
#[derive(Clone, Debug)]
pub struct Svg {
    width: f64,
    height: f64,
    /// Begins the identifiers in this drawing; unique on a page.
    id: String,
    title: String,
    desc: String,
    body: String,
}

/// A coordinate with at most one decimal.
pub fn n(value: f64) -> String {
    of_tenths(tenths(value))
}

fn tenths(value: f64) -> i64 {
    (value * 10.0).round() as i64
}

fn of_tenths(tenths: i64) -> String {
    let sign = if tenths < 0 { "-" } else { "" };
    let (whole, tenth) = (tenths.unsigned_abs() / 10, tenths.unsigned_abs() % 10);
    if tenth == 0 {
        format!("{sign}{whole}")
    } else {
        format!("{sign}{whole}.{tenth}")
    }
}

/// A value for a script to sort by: at most six decimals.
pub fn n_fine(value: f64) -> String {
    let text = format!("{value:.6}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

impl Svg {
    /// An empty drawing; `title` and `desc` are its text alternative.
    pub fn new(id: &str, width: f64, title: &str, desc: &str) -> Self {
        Self {
            width,
            height: 0.0,
            id: id.to_owned(),
            title: title.to_owned(),
            desc: desc.to_owned(),
            body: String::new(),
        }
    }

    pub fn width(&self) -> f64 {
        self.width
    }

    pub fn height(&self) -> f64 {
        self.height
    }

    pub fn set_width(&mut self, width: f64) {
        self.width = width;
    }

    pub fn set_height(&mut self, height: f64) {
        self.height = height;
    }

    /// Opens a group; `attributes` is written as it stands.
    pub fn open(&mut self, attributes: &str) {
        self.put(format_args!("<g {attributes}>"));
    }

    pub fn close(&mut self) {
        self.body.push_str("</g>");
    }

    pub fn line(&mut self, from: (f64, f64), to: (f64, f64), class: &str) {
        self.put(format_args!(
            "<path class=\"{class}\" d=\"M{} {}L{} {}\"/>",
            n(from.0),
            n(from.1),
            n(to.0),
            n(to.1)
        ));
    }

    /// Straight lines through points; nothing for fewer than two.
    pub fn polyline(&mut self, points: &[(f64, f64)], class: &str) {
        if points.len() > 1 {
            self.path(&Pen::through(points).d, class, None);
        }
    }

    /// A closed area through points.
    pub fn area(&mut self, points: &[(f64, f64)], class: &str) {
        if points.len() > 2 {
            let d = format!("{}z", Pen::through(points).d);
            self.path(&d, class, None);
        }
    }

    pub fn rect(&mut self, corner: (f64, f64), size: (f64, f64), class: &str, tip: Option<&str>) {
        self.put(format_args!(
            "<rect class=\"{class}\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"",
            n(corner.0),
            n(corner.1),
            n(size.0.max(0.0)),
            n(size.1.max(0.0))
        ));
        self.end(tip, "rect");
    }

    pub fn circle(&mut self, centre: (f64, f64), radius: f64, class: &str, tip: Option<&str>) {
        self.put(format_args!(
            "<circle class=\"{class}\" cx=\"{}\" cy=\"{}\" r=\"{}\"",
            n(centre.0),
            n(centre.1),
            n(radius)
        ));
        self.end(tip, "circle");
    }

    /// Many small dots in one element: lines of no length with round ends.
    /// Dots that would lie on each other are drawn once.
    pub fn dots(&mut self, places: &[(f64, f64)], class: &str) {
        let halves = |v: f64| (v * 2.0).round() as i64;
        let mut places: Vec<(i64, i64)> =
            places.iter().map(|p| (halves(p.0), halves(p.1))).collect();
        places.sort_unstable();
        places.dedup();
        let mut pen = Pen::default();
        for (x, y) in places {
            pen.go('m', (x as f64 / 2.0, y as f64 / 2.0));
            pen.draw("h0");
        }
        if !pen.d.is_empty() {
            self.path(&pen.d, class, None);
        }
    }

    /// A path; `d` is written as it stands.
    pub fn path(&mut self, d: &str, class: &str, tip: Option<&str>) {
        self.put(format_args!("<path class=\"{class}\" d=\"{d}\""));
        self.end(tip, "path");
    }

    pub fn text(&mut self, at: (f64, f64), class: &str, anchor: Anchor, text: &str) {
        let anchor = anchor.attribute();
        self.put(format_args!(
            "<text class=\"{class}\" x=\"{}\" y=\"{}\"{anchor}>{}</text>",
            n(at.0),
            n(at.1),
            escape(text)
        ));
    }

    /// Many texts of one class and anchor, in a group that has both.
    pub fn texts(&mut self, class: &str, anchor: Anchor, texts: &[((f64, f64), String)]) {
        if texts.is_empty() {
            return;
        }
        self.open(&format!("class=\"{class}\"{}", anchor.attribute()));
        for (at, text) in texts {
            let (x, y, text) = (n(at.0), n(at.1), escape(text));
            self.put(format_args!("<text x=\"{x}\" y=\"{y}\">{text}</text>"));
        }
        self.close();
    }

    /// Markup made by other means, written as it stands.
    pub fn raw(&mut self, markup: &str) {
        self.body.push_str(markup);
    }

    /// What has been drawn, without a frame.
    pub fn body(&self) -> &str {
        &self.body
    }

    /// For a page that has [`STYLE`] in its head.
    pub fn inline(&self, class: &str) -> String {
        let Self { width, height, .. } = self;
        format!(
            "<svg class=\"chart {class}\" role=\"img\" aria-labelledby=\"{id}-t {id}-d\" \
             viewBox=\"0 0 {w} {h}\" width=\"{w}\" height=\"{h}\">{head}{body}</svg>",
            id = self.id,
            w = n(*width),
            h = n(*height),
            head = self.head(),
            body = self.body,
        )
    }

    /// A file of its own, with its style and its paper.
    pub fn file(&self) -> String {
        format!(
            "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
             <svg xmlns=\"http://www.w3.org/2000/svg\" class=\"chart\" role=\"img\" \
             data-generator=\"kettlemark\" aria-labelledby=\"{id}-t {id}-d\" \
             viewBox=\"0 0 {w} {h}\" width=\"{w}\" height=\"{h}\">{head}<style>{STYLE}</style>\
             <rect class=\"paper\" width=\"100%\" height=\"100%\"/>{body}</svg>\n",
            id = self.id,
            w = n(self.width),
            h = n(self.height),
            head = self.head(),
            body = self.body.replace("><", ">\n<"),
        )
    }

    fn head(&self) -> String {
        format!(
            "<title id=\"{id}-t\">{}</title><desc id=\"{id}-d\">{}</desc>",
            escape(&self.title),
            escape(&self.desc),
            id = self.id
        )
    }

    fn end(&mut self, tip: Option<&str>, element: &str) {
        match tip {
            None => self.body.push_str("/>"),
            Some(tip) => {
                self.put(format_args!("><title>{}</title></{element}>", escape(tip)));
            }
        }
    }

    fn put(&mut self, arguments: std::fmt::Arguments<'_>) {
        // Writing to a String never fails.
        let _ = self.body.write_fmt(arguments);
    }
}

/// The `d` of a path in steps from point to point, which are shorter to write
/// than places. Steps are whole tenths of a unit, so that they add up.
#[derive(Clone, Debug, Default)]
pub struct Pen {
    pub d: String,
    at: (i64, i64),
    command: Option<char>,
}

impl Pen {
    /// Straight lines through points; of points on one level line only the
    /// ends.
    pub fn through(points: &[(f64, f64)]) -> Self {
        let mut pen = Self::default();
        for (i, point) in points.iter().enumerate() {
            let level = |k: usize| {
                points
                    .get(k)
                    .is_some_and(|p| tenths(p.1) == tenths(point.1))
            };
            if i == 0 {
                pen.go('m', *point);
            } else if !(level(i - 1) && level(i + 1)) {
                pen.go('l', *point);
            }
        }
        pen
    }

    /// To a place: `m` without and `l` with a line. A path begins with `m`.
    pub fn go(&mut self, command: char, to: (f64, f64)) {
        let to = (tenths(to.0), tenths(to.1));
        // After `m` a further pair would be a line.
        if command == 'm' || self.command != Some(command) {
            self.d.push(command);
        } else {
            self.d.push(' ');
        }
        self.d.push_str(&of_tenths(to.0 - self.at.0));
        let down = of_tenths(to.1 - self.at.1);
        if !down.starts_with('-') {
            self.d.push(' ');
        }
        self.d.push_str(&down);
        self.at = to;
        self.command = Some(command);
    }

    /// An upright line downwards.
    pub fn down(&mut self, by: f64) {
        let by = tenths(by);
        self.d.push('v');
        self.d.push_str(&of_tenths(by));
        self.at.1 += by;
        self.command = None;
    }

    /// Commands that end where they began, written as they stand.
    pub fn draw(&mut self, commands: &str) {
        self.d.push_str(commands);
        self.command = None;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn coordinates_are_short_and_never_minus_zero() {
        assert_eq!(n(-0.04), "0");
        assert_eq!(n(-0.06), "-0.1");
        assert_eq!(n(12.0), "12");
        assert_eq!(n(1234.56), "1234.6");
    }

    /// Steps of a thousand points that no tenth divides end where they are to.
    #[test]
    fn steps_of_a_path_add_up() {
        let points: Vec<(f64, f64)> = (0..1000)
            .map(|k| (f64::from(k) / 3.0, f64::from(k % 7) / 9.0))
            .collect();
        let d = Pen::through(&points).d.replace('-', " -");
        let numbers: Vec<f64> = d
            .split([' ', 'm', 'l'])
            .filter_map(|word| word.parse().ok())
            .collect();
        assert_eq!(numbers.len(), 2 * points.len());
        let end = |k: usize| numbers.iter().skip(k).step_by(2).sum::<f64>();
        assert!((end(0) - points[999].0).abs() < 0.051);
        assert!((end(1) - points[999].1).abs() < 0.051);
        let level = [(0.0, 1.0), (1.0, 1.0), (2.0, 1.04), (3.0, 2.0)];
        assert_eq!(Pen::through(&level).d, "m0 1l2 0 1 1");
    }

    #[test]
    fn a_file_is_well_formed_whatever_the_title() {
        let mut svg = Svg::new("x", 10.0, "<script>\u{1b}&\"", "]]>\u{202e}");
        svg.text((1.0, 2.0), "t", Anchor::End, "</text>'");
        let file = svg.file();
        let parsed = roxmltree::Document::parse(&file).unwrap();
        assert!(
            parsed
                .descendants()
                .all(|e| e.tag_name().name() != "script")
        );
    }
}
