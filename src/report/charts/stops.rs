//! stops.svg: after every stroke whose drum is to be silent, how it died
//! away, when it was stopped, and what still rang.

use super::{Frame, begin, finish, nothing, paragraph, whisker};
use crate::report::lettering;
use crate::report::scale::Scale;
use crate::report::svg::{Anchor, Svg, n};
use crate::review::{Review, Stop, StopState};
use crate::{number, words};

/// More rows than this are left to the table: with its heading the chart fits
/// on a sheet of paper.
const MOST: usize = 16;
const FLOOR_DB: f64 = -40.0;

pub fn draw(review: &Review, frame: Frame) -> Svg {
    if review.stops.is_empty() {
        let why = words::nothing(review, words::NO_STOPS);
        return nothing(review, frame, "stops", words::STOPS, &why);
    }
    let desc = words::stops_desc(review);
    let (mut svg, mut y) = begin(review, frame, "stops", words::STOPS, &desc);
    y = paragraph(&mut svg, frame, y, "bold", &desc);
    y = paragraph(&mut svg, frame, y, "soft small", words::STOPS_LINE);
    y = key(&mut svg, frame, y) + 12.0;
    let (left, right, row) = if frame.is_narrow() {
        (frame.margin() + 12.0, frame.right() - 12.0, 90.0)
    } else {
        (frame.margin() + 126.0, frame.right() - 226.0, 50.0)
    };
    let shown = chosen(&review.stops);
    let time = Scale {
        from: 0.0,
        to: longest(&shown),
        at_from: left,
        at_to: right,
    };
    for stop in &shown {
        draw_row(&mut svg, frame, &time, stop, y, row);
        y += row;
    }
    axis(&mut svg, &time, y);
    y += 34.0;
    if shown.len() < review.stops.len() {
        let text = words::more_stops(&shown, review.stops.len() - shown.len());
        y = paragraph(&mut svg, frame, y, "soft small", &text);
    }
    finish(svg, frame, y)
}

/// All, or those that say most, in the order of the part: the end of the part,
/// then by turns where a drum rang on most and where it was stopped farthest
/// from its end.
fn chosen(stops: &[Stop]) -> Vec<&Stop> {
    if stops.len() <= MOST {
        return stops.iter().collect();
    }
    let sorted = |weight: fn(&Stop) -> Option<f64>| {
        let known = stops.iter().enumerate();
        let mut places: Vec<(usize, f64)> =
            known.filter_map(|(i, s)| Some((i, weight(s)?))).collect();
        places.sort_by(|a, b| b.1.total_cmp(&a.1));
        places.into_iter().map(|p| p.0)
    };
    let last = |s: &Stop| (s.expected == "final").then_some(1.0);
    let rang =
        |s: &Stop| (s.state == StopState::Ringing).then_some(s.ring_db_500ms.unwrap_or(-99.0));
    let mut places: Vec<usize> = sorted(last).collect();
    let by_turns: [Vec<usize>; 2] = [
        sorted(rang).collect(),
        sorted(|s| s.late_ms.map(f64::abs)).collect(),
    ];
    let longest = by_turns.iter().map(Vec::len).max().unwrap_or(0);
    for k in 0..longest {
        for one in by_turns.iter().filter_map(|list| list.get(k)) {
            if !places.contains(one) {
                places.push(*one);
            }
        }
    }
    places.extend(0..stops.len());
    let mut kept: Vec<usize> = Vec::new();
    for place in places {
        if kept.len() < MOST && !kept.contains(&place) {
            kept.push(place);
        }
    }
    kept.sort_unstable();
    kept.into_iter().map(|i| &stops[i]).collect()
}

/// The end of the time axis: room for every stop and half a second of ring.
fn longest(stops: &[&Stop]) -> f64 {
    let seconds = |s: &&Stop| {
        let curve = s.curve_db.len() as f64 * s.curve_hop_s;
        let end = s.stopped_after_ms.map_or(0.0, |ms| ms / 1000.0 + 0.4);
        end.max(curve.min(2.5))
    };
    let most = stops.iter().map(seconds).fold(1.0, f64::max);
    (most * 2.0).ceil() / 2.0
}

fn draw_row(svg: &mut Svg, frame: Frame, time: &Scale, stop: &Stop, y: f64, row: f64) {
    let curve_top = if frame.is_narrow() { y + 52.0 } else { y + 5.0 };
    let bottom = y + row - 3.0;
    if frame.is_narrow() {
        let room = frame.right() - frame.margin() - 4.0;
        let label = lettering::fit(&words::stop_label(stop), 12.0, room);
        svg.text(
            (frame.margin() + 2.0, y + 15.0),
            "bold",
            Anchor::Start,
            &label,
        );
        let lines = lettering::wrap(&words::stop_verdict(stop), 11.0, room, 2);
        for (k, line) in lines.iter().enumerate() {
            let at = (frame.margin() + 2.0, y + 30.0 + 14.0 * k as f64);
            svg.text(at, "small", Anchor::Start, line);
        }
    } else {
        let place = words::stop_place(stop);
        svg.text((frame.margin(), y + 20.0), "bold", Anchor::Start, &place);
        let kind = words::stop_expected(stop);
        svg.text(
            (frame.margin(), y + 35.0),
            "soft small",
            Anchor::Start,
            kind,
        );
        let x = time.at_to + 14.0;
        let room = frame.right() - x;
        let lines = lettering::wrap(&words::stop_verdict(stop), 11.0, room, 2);
        let first = y + if lines.len() > 1 { 20.0 } else { 27.0 };
        for (k, line) in lines.iter().enumerate() {
            svg.text((x, first + 15.0 * k as f64), "small", Anchor::Start, line);
        }
    }
    svg.line((time.at_from, bottom), (time.at_to, bottom), "grid");
    let level = Scale {
        from: 0.0,
        to: FLOOR_DB,
        at_from: curve_top,
        at_to: bottom,
    };
    let mut points = vec![(time.at(0.0), bottom)];
    for (k, db) in stop.curve_db.iter().enumerate() {
        let seconds = k as f64 * stop.curve_hop_s;
        let x = time.at(seconds);
        // No finer than four units: the eye sees no more.
        let far = points.len() < 2 || points.last().is_none_or(|p| x - p.0 >= 4.0);
        if seconds <= time.to && db.is_finite() && far {
            points.push((x, level.held(*db)));
        }
    }
    if let Some(last) = points.last().copied() {
        points.push((last.0, bottom));
        svg.area(&points, "decay");
    }
    let moment = |ms: f64| time.held(ms / 1000.0);
    let shown = |ms: &f64| ms / 1000.0 <= time.to;
    let written = stop.written_end_ms.filter(shown).map(moment);
    if let Some(written) = written {
        svg.line((written, curve_top), (written, bottom), "dash");
    }
    let Some(after_ms) = stop.stopped_after_ms else {
        // A stop at an unknown moment has no place on the axis.
        if stop.state != StopState::Stopped {
            mark(svg, (time.at_to - 9.0, curve_top + 7.0), stop.state);
        }
        return;
    };
    if let (Some(late_ms), Some(written)) = (stop.late_ms, written) {
        let class = match () {
            () if !words::surely(late_ms, stop.stopped_after_sd_ms) => "hair",
            // A staccato note is meant to be shorter than its value.
            () if late_ms < 0.0 && stop.expected == "staccato" => "hair",
            () if late_ms < 0.0 => "earlyline",
            () => "lateline",
        };
        let level = bottom - 5.0;
        svg.line((written, level), (moment(after_ms), level), class);
    }
    if let Some(sd) = stop.stopped_after_sd_ms {
        let (from, to) = (moment(after_ms - 2.0 * sd), moment(after_ms + 2.0 * sd));
        whisker(svg, bottom - 5.0, from, to, "ink");
    }
    mark(svg, (moment(after_ms), bottom - 5.0), stop.state);
}

/// A filled square: stopped. Waves: it rang on. A broken circle: unsure.
fn mark(svg: &mut Svg, at: (f64, f64), state: StopState) {
    let (x, y) = at;
    match state {
        StopState::Stopped => svg.rect((x - 4.0, y - 4.0), (8.0, 8.0), "dot", None),
        StopState::Ringing => {
            let d = format!("M{} {}q3 -6 6 0t6 0t6 0", n(x - 9.0), n(y));
            svg.path(&d, "copper", None);
        }
        StopState::Unsure => svg.circle(at, 4.5, "opendash", None),
    }
}

fn key(svg: &mut Svg, frame: Frame, y: f64) -> f64 {
    let (mut x, mut y) = (frame.margin() + 8.0, y + 16.0);
    for (state, text) in [
        (StopState::Stopped, words::KEY_STOPPED),
        (StopState::Ringing, words::KEY_RINGING),
        (StopState::Unsure, words::KEY_UNSURE),
    ] {
        let room = 18.0 + lettering::width(text, 11.0);
        if x + room > frame.right() {
            x = frame.margin() + 8.0;
            y += 16.0;
        }
        mark(svg, (x, y - 4.0), state);
        svg.text((x + 13.0, y), "soft small", Anchor::Start, text);
        x += room + 18.0;
    }
    let room = 26.0 + lettering::width(words::KEY_WRITTEN_END, 11.0);
    if x + room > frame.right() {
        x = frame.margin() + 8.0;
        y += 16.0;
    }
    svg.line((x, y - 11.0), (x, y + 2.0), "dash");
    svg.text(
        (x + 8.0, y),
        "soft small",
        Anchor::Start,
        words::KEY_WRITTEN_END,
    );
    y
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
        words::SECONDS_AFTER_STROKE,
    );
}
