//! The tempo kept across the piece, with the written one.

use super::{Frame, bar_times};
use crate::report::scale::{Scale, decimals, step, thinned};
use crate::report::svg::{Anchor, Svg};
use crate::review::Review;
use crate::{number, words};

const HEIGHT: f64 = 130.0;

/// Draws the panel below `y` and gives the height below it. Nothing without
/// two points.
pub fn panel(svg: &mut Svg, review: &Review, frame: Frame, y: f64) -> f64 {
    let curve = &review.tempo.curve;
    let (Some(first), Some(last)) = (curve.first(), curve.last()) else {
        return y;
    };
    if curve.len() < 2 {
        return y;
    }
    let top = y + 44.0;
    svg.text(
        (frame.margin(), y + 18.0),
        "bold",
        Anchor::Start,
        words::TEMPO_ACROSS,
    );
    svg.text(
        (frame.margin(), y + 34.0),
        "soft small",
        Anchor::Start,
        words::TEMPO_UNIT,
    );
    let time = Scale {
        from: first.time_s,
        to: last.time_s,
        at_from: frame.margin() + 34.0,
        at_to: frame.right() - 8.0,
    };
    let (low, high) = bounds(review);
    let bpm = Scale {
        from: low,
        to: high,
        at_from: top + HEIGHT,
        at_to: top,
    };
    let tick = step(high - low, 6);
    for value in bpm.ticks(6) {
        let at = bpm.at(value);
        svg.line((time.at_from, at), (time.at_to, at), "grid");
        svg.text(
            (time.at_from - 6.0, at + 4.0),
            "soft small",
            Anchor::End,
            &number::plain(value, decimals(tick)),
        );
    }
    bar_axis(svg, review, &time, top, top + HEIGHT);
    let mut written: Vec<(f64, f64)> = Vec::new();
    for point in curve {
        match point.marked_bpm {
            Some(marked) => written.push((time.at(point.time_s), bpm.held(marked))),
            None => svg.polyline(&std::mem::take(&mut written), "dash"),
        }
    }
    svg.polyline(&written, "dash");
    let kept: Vec<_> = curve
        .iter()
        .map(|p| (time.at(p.time_s), bpm.held(p.bpm)))
        .collect();
    svg.polyline(&kept, "copper");
    let below = top + HEIGHT + 34.0;
    svg.line(
        (time.at_from, below),
        (time.at_from + 22.0, below),
        "copper",
    );
    svg.text(
        (time.at_from + 28.0, below + 4.0),
        "soft small",
        Anchor::Start,
        &words::tempo_kept(&review.tempo),
    );
    let next = below + 17.0;
    svg.line((time.at_from, next), (time.at_from + 22.0, next), "dash");
    svg.text(
        (time.at_from + 28.0, next + 4.0),
        "soft small",
        Anchor::Start,
        &words::tempo_written(&review.tempo),
    );
    next + 8.0
}

/// Room for every tempo kept and written, with a little air.
fn bounds(review: &Review) -> (f64, f64) {
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for point in &review.tempo.curve {
        for bpm in std::iter::once(point.bpm).chain(point.marked_bpm) {
            low = low.min(bpm);
            high = high.max(bpm);
        }
    }
    let air = ((high - low) * 0.08).max(2.0);
    (low - air, high + air)
}

/// Bar lines and numbers under a panel whose axis is time.
pub fn bar_axis(svg: &mut Svg, review: &Review, time: &Scale, top: f64, bottom: f64) {
    let bars = bar_times(review);
    let room = ((time.at_to - time.at_from) / 34.0).max(2.0) as usize;
    let every = thinned(bars.len(), room);
    for (i, (bar, at_s)) in bars.iter().enumerate() {
        let x = time.at(*at_s);
        if i % every != 0 || x < time.at_from - 0.5 || x > time.at_to + 0.5 {
            continue;
        }
        svg.line((x, top), (x, bottom + 4.0), "grid");
        svg.text(
            (x, bottom + 16.0),
            "soft small",
            Anchor::Middle,
            &bar.to_string(),
        );
    }
    svg.line((time.at_from, bottom), (time.at_to, bottom), "axis");
}
