//! Charts across takes: a value over days, and sets of values beside one
//! another.

use super::stats::Interval;
use crate::number;
use crate::report::lettering::{self, fit, wrap};
use crate::report::scale::{Scale, decimals, step};
use crate::report::svg::{Anchor, Svg};
use crate::words::journal as words;

/// Widths of a chart on a wide and on a narrow page, in its own units.
pub const WIDTHS: [f64; 2] = [720.0, 360.0];
pub(super) const LEFT: f64 = 52.0;
pub(super) const RIGHT: f64 = 14.0;

/// One day over time.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    /// Days from any fixed day.
    pub day: f64,
    /// As it is written under the axis.
    pub date: String,
    /// Of the day.
    pub value: f64,
    /// The day's takes: value and standard uncertainty, where there is one.
    pub takes: Vec<(f64, Option<f64>)>,
    pub tip: String,
}

/// A line through days.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// A day and its value, which the line and the ends of its interval meet.
    pub through: (f64, f64),
    /// A day.
    pub slope: f64,
    /// Of the slope, 95 %.
    pub interval: Option<Interval>,
}

impl Line {
    fn at(&self, slope: f64, day: f64) -> f64 {
        self.through.1 + slope * (day - self.through.0)
    }
}

/// Values over days with the uncertainty of every take, and a line through
/// them with that of its slope. `told` are the figures written under the
/// title. `None` without points.
pub fn over_time(
    id: &str,
    width: f64,
    (title, unit): (&str, &str),
    told: &str,
    points: &[Point],
    line: Option<Line>,
) -> Option<Svg> {
    let (first, last) = (points.first()?, points.last()?);
    let bars = points
        .iter()
        .flat_map(|p| &p.takes)
        .flat_map(|(v, sd)| [v - sd.unwrap_or(0.0), v + sd.unwrap_or(0.0)]);
    let (low, high) = range(points.iter().map(|p| p.value).chain(bars), unit)?;
    let dates = (first.date.as_str(), last.date.as_str());
    let desc = words::over_time_desc(dates, (first.value, last.value), points.len(), unit);
    let mut svg = Svg::new(id, width, title, &desc);
    let top = head(&mut svg, (LEFT, width), (title, unit), told) + 14.0;
    let base = top + 150.0;
    let y = Scale {
        from: low,
        to: high,
        at_from: base,
        at_to: top,
    };
    let span = (last.day - first.day).max(1.0);
    let x = Scale {
        from: first.day - 0.03 * span,
        to: last.day + 0.03 * span,
        at_from: LEFT,
        at_to: width - RIGHT,
    };
    let places = decimals(step(high - low, 5));
    for tick in y.ticks(5) {
        svg.line((LEFT, y.at(tick)), (width - RIGHT, y.at(tick)), "grid");
        let text = number::plain(tick, places);
        svg.text(
            (LEFT - 6.0, y.at(tick) + 4.0),
            "soft small",
            Anchor::End,
            &text,
        );
    }
    svg.line((LEFT, base), (width - RIGHT, base), "axis");
    let under = base + 18.0;
    svg.text((LEFT, under), "soft small", Anchor::Start, &first.date);
    if last.day > first.day {
        svg.text(
            (width - RIGHT, under),
            "soft small",
            Anchor::End,
            &last.date,
        );
    }
    if let Some(line) = line {
        let days = (first.day, last.day);
        if let Some(interval) = line.interval {
            fan(&mut svg, (x, y), &line, interval, days);
        }
        let end = |day| held_end((x, y), &line, line.slope, day).0;
        svg.line(end(days.0), end(days.1), "copper");
    }
    for p in points {
        let day = x.at(p.day);
        for (k, (value, sd)) in p.takes.iter().enumerate() {
            // Takes of one day stand beside one another.
            let aside = 5.0 * (k as f64 - 0.5 * (p.takes.len() - 1) as f64);
            let at = day + aside.clamp(-12.0, 12.0);
            if let Some(sd) = sd {
                upright_bar(&mut svg, at, (y.at(value - sd), y.at(value + sd)));
            }
            if p.takes.len() > 1 {
                svg.circle((at, y.at(*value)), 2.2, "open", None);
            }
        }
        svg.circle((day, y.at(p.value)), 3.4, "dot", Some(&p.tip));
    }
    let key = words::over_time_key(
        points.iter().flat_map(|p| &p.takes).any(|t| t.1.is_some()),
        points.iter().any(|p| p.takes.len() > 1),
        line.is_some_and(|l| l.interval.is_some()),
    );
    let foot = note(&mut svg, (LEFT, under + 4.0, width), &key);
    svg.set_height(foot + 8.0);
    Some(svg)
}

/// All lines whose slope lies in an interval, held inside the axes.
fn fan(svg: &mut Svg, (x, y): (Scale, Scale), line: &Line, interval: Interval, days: (f64, f64)) {
    let centre = (x.at(line.through.0), y.at(line.through.1));
    for day in [days.0, days.1] {
        let (one, one_end) = held_end((x, y), line, interval.low, day);
        let (other, other_end) = held_end((x, y), line, interval.high, day);
        svg.area(&[centre, one, one_end, other_end, other], "wash");
        svg.line(centre, one, "hair");
        svg.line(centre, other, "hair");
    }
}

/// Where a line of some slope ends on its way to a day: there, or where it
/// leaves the axes; and the place of that day on the axes' end.
fn held_end((x, y): (Scale, Scale), line: &Line, slope: f64, day: f64) -> ((f64, f64), (f64, f64)) {
    let value = line.at(slope, day);
    let held = value.clamp(y.from.min(y.to), y.from.max(y.to));
    let share = (held - line.through.1) / (value - line.through.1);
    // A level line has no share; it never leaves.
    let leaves = if share < 1.0 { share.max(0.0) } else { 1.0 };
    let at = line.through.0 + leaves * (day - line.through.0);
    ((x.at(at), y.at(held)), (x.at(day), y.at(held)))
}

/// An uncertainty as an upright bar with feet.
pub(super) fn upright_bar(svg: &mut Svg, x: f64, (from, to): (f64, f64)) {
    svg.line((x, from), (x, to), "thin");
    svg.line((x - 2.5, from), (x + 2.5, from), "thin");
    svg.line((x - 2.5, to), (x + 2.5, to), "thin");
}

/// What the marks mean, from `left` to the right edge below a line of text
/// that stands at `under`. Gives the foot of the last line.
pub(super) fn note(svg: &mut Svg, (left, under, width): (f64, f64, f64), text: &str) -> f64 {
    let mut y = under;
    for line in wrap(text, 11.0, width - RIGHT - left, 4) {
        y += 14.0;
        svg.text((left, y), "soft small", Anchor::Start, &line);
    }
    y
}

/// One set of values, each with its name.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    pub name: String,
    pub values: Vec<(String, f64)>,
    /// Drawn as an upright line.
    pub mark: Option<f64>,
    /// Drawn as a band around it.
    pub band: Option<Interval>,
}

/// Sets of values, one row each, on one axis; `key` says what the marks mean
/// where it is not plain. `None` without values.
pub fn rows(
    id: &str,
    width: f64,
    (title, unit): (&str, &str),
    rows: &[Row],
    key: &str,
) -> Option<Svg> {
    let all = rows.iter().flat_map(|r| {
        let band = r.band.iter().flat_map(|b| [b.low, b.high]);
        r.values.iter().map(|v| v.1).chain(r.mark).chain(band)
    });
    let (low, high) = range(all, unit)?;
    let counts: Vec<(&str, usize)> = rows
        .iter()
        .map(|r| (r.name.as_str(), r.values.len()))
        .collect();
    let mut svg = Svg::new(id, width, title, &words::rows_desc(&counts));
    let left = if rows.len() > 1 { width * 0.22 } else { 14.0 };
    let counted = match rows {
        [only] => words::n(only.values.len()),
        _ => String::new(),
    };
    let top = head(&mut svg, (0.0, width), (title, unit), &counted) + 10.0;
    let row_height = 34.0;
    let base = top + row_height * rows.len() as f64;
    let foot = note(&mut svg, (left, base + 18.0, width), key);
    svg.set_height(foot + 10.0);
    let x = Scale {
        from: low,
        to: high,
        at_from: left + 6.0,
        at_to: width - RIGHT - 6.0,
    };
    let most = if width > 500.0 { 8 } else { 4 };
    let places = decimals(step(high - low, most));
    for tick in x.ticks(most) {
        svg.line((x.at(tick), top - 2.0), (x.at(tick), base), "grid");
        let text = number::plain(tick, places);
        svg.text(
            (x.at(tick), base + 16.0),
            "soft small",
            Anchor::Middle,
            &text,
        );
    }
    svg.line((left, base), (width - RIGHT, base), "axis");
    for (i, row) in rows.iter().enumerate() {
        let y = top + row_height * (i as f64 + 0.5);
        if rows.len() > 1 {
            let name = fit(&row.name, 12.0, left - 8.0);
            svg.text((0.0, y - 2.0), "", Anchor::Start, &name);
            let mut counted = words::n_and_mean(row.values.len(), row.mark);
            if lettering::width(&counted, 11.0) > left - 8.0 {
                counted = words::n(row.values.len());
            }
            svg.text((0.0, y + 12.0), "soft small", Anchor::Start, &counted);
        }
        if let Some(band) = row.band {
            let (a, b) = (x.at(band.low), x.at(band.high));
            svg.rect((a, y - 10.0), (b - a, 20.0), "wash", None);
        }
        // Equal values lie above one another instead of on one another.
        let mut taken: Vec<(f64, f64)> = Vec::new();
        for (name, value) in &row.values {
            let at = x.at(*value);
            let near = taken.iter().filter(|(t, _)| (t - at).abs() < 5.0).count();
            let side = if near % 2 == 0 { 1.0 } else { -1.0 };
            let lift = side * near.div_ceil(2) as f64 * 5.0;
            let lift = lift.clamp(-13.0, 13.0);
            taken.push((at, lift));
            let tip = words::take_tip(name, *value, unit);
            svg.circle((at, y + lift), 3.4, "dot", Some(&tip));
        }
        if let Some(mark) = row.mark {
            svg.line((x.at(mark), y - 13.0), (x.at(mark), y + 13.0), "copper");
        }
    }
    Some(svg)
}

/// The title with its unit, and what is added to it, from `at` to the right
/// edge in as many lines as it takes. Gives the foot of the last one.
pub(super) fn head(svg: &mut Svg, at: (f64, f64), (title, unit): (&str, &str), added: &str) -> f64 {
    /// Bold letters are wider than the common ones that are measured.
    const BOLD: f64 = 1.12;
    let (left, right) = at;
    let mut y = 2.0;
    let text = words::with_unit(title, unit);
    for line in wrap(&text, 12.0 * BOLD, right - left, 4) {
        y += 14.0;
        svg.text((left, y), "bold", Anchor::Start, &line);
    }
    for line in wrap(added, 11.0, right - left, 3) {
        y += 14.0;
        svg.text((left, y), "soft small", Anchor::Start, &line);
    }
    y
}

/// The ends of an axis: the values with a little room, never empty.
fn range(values: impl Iterator<Item = f64>, unit: &str) -> Option<(f64, f64)> {
    let (low, high) = values
        .filter(|v| v.is_finite())
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| {
            (l.min(v), h.max(v))
        });
    if low > high {
        return None;
    }
    let room = match high - low {
        0.0 => (0.04 * high.abs()).max(0.5),
        span => (0.08 * span).max(0.5),
    };
    // An axis of sizes and shares does not go below nothing, one of shares
    // not above all.
    let floor = if low >= 0.0 {
        (low - room).max(0.0)
    } else {
        low - room
    };
    let top = if unit == "%" && high <= 100.0 {
        (high + room).min(100.0)
    } else {
        high + room
    };
    Some((floor, top))
}
