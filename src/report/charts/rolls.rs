//! rolls.svg: the level along every roll, with its speed and its ends.

use super::{Frame, begin, finish, nothing, paragraph};
use crate::report::lettering;
use crate::report::scale::Scale;
use crate::report::svg::{Anchor, Svg};
use crate::review::{Review, Roll};
use crate::{number, words};

/// More rows than this are left to the table.
const MOST: usize = 12;

pub fn draw(review: &Review, frame: Frame) -> Svg {
    if review.rolls.is_empty() {
        let why = words::nothing(review, words::NO_ROLLS);
        return nothing(review, frame, "rolls", words::ROLLS, &why);
    }
    let desc = words::rolls_desc(review, MOST);
    let (mut svg, mut y) = begin(review, frame, "rolls", words::ROLLS, &desc);
    y = paragraph(&mut svg, frame, y, "soft small", words::ROLLS_LINE) + 10.0;
    let (left, right, row) = if frame.is_narrow() {
        (frame.margin() + 28.0, frame.right() - 10.0, 152.0)
    } else {
        (frame.margin() + 152.0, frame.right() - 250.0, 82.0)
    };
    let shown = &review.rolls[..review.rolls.len().min(MOST)];
    let longest = shown.iter().map(|r| r.to_s - r.from_s).fold(0.5, f64::max);
    let time = Scale {
        from: 0.0,
        to: longest,
        at_from: left,
        at_to: right,
    };
    let (low, high) = bounds(shown);
    for roll in shown {
        let top = y + if frame.is_narrow() { 82.0 } else { 8.0 };
        let level = Scale {
            from: low,
            to: high,
            at_from: y + row - 8.0,
            at_to: top,
        };
        labels(&mut svg, review, frame, roll, (y, right));
        curve(&mut svg, roll, &time, &level);
        y += row;
    }
    axis(&mut svg, &time, y);
    y += 34.0;
    if shown.len() < review.rolls.len() {
        let text = words::more_in_table(review.rolls.len() - shown.len());
        y = paragraph(&mut svg, frame, y, "soft small", &text);
    }
    finish(svg, frame, y)
}

fn bounds(rolls: &[Roll]) -> (f64, f64) {
    let levels = || rolls.iter().flat_map(|r| &r.level_curve_db).copied();
    let low = levels().filter(|v| v.is_finite()).fold(-12.0, f64::min);
    ((low / 6.0).floor() * 6.0, 0.0)
}

fn labels(svg: &mut Svg, review: &Review, frame: Frame, roll: &Roll, (y, right): (f64, f64)) {
    let lines = words::roll_lines(roll);
    let label = words::roll_label(review, roll);
    if frame.is_narrow() {
        svg.text((frame.margin(), y + 14.0), "bold", Anchor::Start, &label);
        let room = frame.right() - frame.margin();
        let lines = lettering::wrap(&lines.join("; "), 11.0, room, 4);
        for (k, line) in lines.iter().enumerate() {
            let at = (frame.margin(), y + 29.0 + 14.0 * k as f64);
            svg.text(at, "small", Anchor::Start, line);
        }
        return;
    }
    svg.text((frame.margin(), y + 24.0), "bold", Anchor::Start, &label);
    svg.text(
        (frame.margin(), y + 40.0),
        "soft small",
        Anchor::Start,
        &words::roll_length(roll),
    );
    for (k, line) in lines.iter().enumerate() {
        let x = right + 16.0;
        let line = lettering::fit(line, 11.0, frame.right() - x);
        svg.text(
            (x, y + 17.0 + 14.0 * k as f64),
            "small",
            Anchor::Start,
            &line,
        );
    }
}

fn curve(svg: &mut Svg, roll: &Roll, time: &Scale, level: &Scale) {
    let end = time.at(roll.to_s - roll.from_s);
    svg.rect(
        (time.at_from, level.at_to),
        (end - time.at_from, level.at_from - level.at_to),
        "band2",
        None,
    );
    for db in level.ticks(3) {
        let y = level.at(db);
        svg.line((time.at_from, y), (end, y), "grid");
        svg.text(
            (time.at_from - 5.0, y + 4.0),
            "soft small",
            Anchor::End,
            &number::plain(db, 0),
        );
    }
    let count = roll.level_curve_db.len();
    let step = (end - time.at_from) / count.max(1) as f64;
    let points: Vec<(f64, f64)> = roll
        .level_curve_db
        .iter()
        .enumerate()
        .filter(|(_, db)| db.is_finite())
        .map(|(k, db)| (time.at_from + step * (k as f64 + 0.5), level.held(*db)))
        .collect();
    svg.polyline(&points, "copper");
    svg.line((time.at_from, level.at_from), (end, level.at_from), "axis");
}

fn axis(svg: &mut Svg, time: &Scale, y: f64) {
    svg.line((time.at_from, y), (time.at_to, y), "axis");
    for s in time.ticks(6) {
        let x = time.at(s);
        svg.line((x, y), (x, y + 4.0), "axis");
        svg.text(
            (x, y + 16.0),
            "soft small",
            Anchor::Middle,
            &number::plain(s, 1),
        );
    }
    let middle = f64::midpoint(time.at_from, time.at_to);
    svg.text(
        (middle, y + 30.0),
        "soft small",
        Anchor::Middle,
        words::SECONDS_INTO_ROLL,
    );
}
