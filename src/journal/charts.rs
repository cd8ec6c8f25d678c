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
const LEFT: f64 = 52.0;
const RIGHT: f64 = 14.0;

/// One point over time.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    /// Days from any fixed day.
    pub day: f64,
    /// As it is written under the axis.
    pub date: String,
    pub value: f64,
    pub tip: String,
}

/// A line: (day, value) of its two ends.
pub type Line = [(f64, f64); 2];

/// Values over days, with a line through them. `None` without points.
pub fn over_time(
    id: &str,
    width: f64,
    (title, unit): (&str, &str),
    points: &[Point],
    line: Option<Line>,
) -> Option<Svg> {
    let (first, last) = (points.first()?, points.last()?);
    let values = points.iter().map(|p| p.value);
    let ends = line.iter().flatten().map(|e| e.1);
    let (low, high) = range(values.chain(ends))?;
    let dates = (first.date.as_str(), last.date.as_str());
    let desc = words::over_time_desc(dates, (first.value, last.value), points.len(), unit);
    let mut svg = Svg::new(id, width, title, &desc);
    let top = head(&mut svg, (LEFT, width), (title, unit), "") + 14.0;
    let height = top + 180.0;
    svg.set_height(height);
    let y = Scale {
        from: low,
        to: high,
        at_from: height - 30.0,
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
    let base = height - 30.0;
    svg.line((LEFT, base), (width - RIGHT, base), "axis");
    let under = height - 12.0;
    svg.text((LEFT, under), "soft small", Anchor::Start, &first.date);
    if last.day > first.day {
        svg.text(
            (width - RIGHT, under),
            "soft small",
            Anchor::End,
            &last.date,
        );
    }
    if let Some([a, b]) = line {
        svg.line((x.at(a.0), y.at(a.1)), (x.at(b.0), y.at(b.1)), "copper");
    }
    for p in points {
        svg.circle((x.at(p.day), y.at(p.value)), 3.4, "dot", Some(&p.tip));
    }
    Some(svg)
}

/// One set of values, each with its name.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    pub name: String,
    pub values: Vec<(String, f64)>,
    /// Drawn as an upright line.
    pub mark: Option<f64>,
    /// Drawn as a band.
    pub band: Option<Interval>,
}

/// Sets of values, one row each, on one axis. `None` without values.
pub fn rows(id: &str, width: f64, (title, unit): (&str, &str), rows: &[Row]) -> Option<Svg> {
    let all = rows.iter().flat_map(|r| {
        let band = r.band.iter().flat_map(|b| [b.low, b.high]);
        r.values.iter().map(|v| v.1).chain(r.mark).chain(band)
    });
    let (low, high) = range(all)?;
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
    svg.set_height(base + 28.0);
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
fn head(svg: &mut Svg, at: (f64, f64), (title, unit): (&str, &str), added: &str) -> f64 {
    /// Bold letters are wider than the common ones that are measured.
    const BOLD: f64 = 1.12;
    let (left, right) = at;
    let mut y = 2.0;
    let text = words::with_unit(title, unit);
    for line in wrap(&text, 12.0 * BOLD, right - left, 4) {
        y += 14.0;
        svg.text((left, y), "bold", Anchor::Start, &line);
    }
    if !added.is_empty() {
        y += 14.0;
        svg.text((left, y), "soft small", Anchor::Start, added);
    }
    y
}

/// The ends of an axis: the values with a little room, never empty.
fn range(values: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    let (low, high) = values
        .filter(|v| v.is_finite())
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| {
            (l.min(v), h.max(v))
        });
    if low > high {
        return None;
    }
    let room = ((high - low) * 0.08).max(0.5);
    // An axis of sizes and shares does not go below nothing.
    let floor = if low >= 0.0 {
        (low - room).max(0.0)
    } else {
        low - room
    };
    Some((floor, high + room))
}
