//! Evenness against tempo: how often a figure is clean at each tempo it was
//! played at, and the fastest at which it is nine times of ten.

use super::charts::{LEFT, RIGHT, head, note, upright_bar};
use super::stats::logistic::Fastest;
use super::stats::share_interval;
use super::trend::TempoEdge;
use crate::number::plain;
use crate::report::lettering;
use crate::report::scale::{Scale, decimals, step};
use crate::report::svg::{Anchor, Svg};
use crate::words::journal as words;

/// What "nine times of ten" is on an axis of per cent.
const WANTED: f64 = 90.0;

/// The share of clean figures of every take over its tempo. `None` without
/// takes.
pub fn against_tempo(id: &str, width: f64, edge: &TempoEdge) -> Option<Svg> {
    let bpm = || edge.takes.iter().map(|t| t.bpm);
    let (slowest, fastest) = (bpm().reduce(f64::min)?, bpm().reduce(f64::max)?);
    let title = words::against_tempo_title(&edge.figure);
    let mut svg = Svg::new(id, width, &title, &words::tempo_edge(edge));
    let figures = edge.takes.iter().map(|t| t.of).sum();
    let told = words::against_tempo_told(edge.takes.len(), figures);
    let marked = matches!(edge.fastest, Fastest::At { .. });
    let room = if marked { 30.0 } else { 14.0 };
    let top = head(&mut svg, (LEFT, width), (&title, "%"), &told) + room;
    let base = top + 150.0;
    let aside = (0.06 * (fastest - slowest)).max(2.0);
    let x = Scale {
        from: slowest - aside,
        to: fastest + aside,
        at_from: LEFT,
        at_to: width - RIGHT,
    };
    let y = Scale {
        from: 0.0,
        to: 100.0,
        at_from: base,
        at_to: top,
    };
    for share in [0.0, 25.0, 50.0, 75.0, 100.0] {
        svg.line((LEFT, y.at(share)), (width - RIGHT, y.at(share)), "grid");
    }
    for share in [0.0, 25.0, 50.0, 75.0, WANTED, 100.0] {
        let at = (LEFT - 6.0, y.at(share) + 4.0);
        svg.text(at, "soft small", Anchor::End, &plain(share, 0));
    }
    let most = if width > 500.0 { 8 } else { 4 };
    let places = decimals(step(x.to - x.from, most));
    for tempo in x.ticks(most) {
        svg.line((x.at(tempo), base), (x.at(tempo), base + 4.0), "axis");
        let at = (x.at(tempo), base + 17.0);
        svg.text(at, "soft small", Anchor::Middle, &plain(tempo, places));
    }
    let unit_at = ((LEFT + width - RIGHT) / 2.0, base + 32.0);
    svg.text(unit_at, "soft small", Anchor::Middle, words::TEMPO_AXIS);
    fastest_clean(&mut svg, (x, y), &edge.fastest);
    svg.line((LEFT, y.at(WANTED)), (width - RIGHT, y.at(WANTED)), "dash");
    svg.line((LEFT, base), (width - RIGHT, base), "axis");
    if let Some(curve) = &edge.curve {
        let steps = 40;
        let points: Vec<(f64, f64)> = (0..=steps)
            .map(|i| slowest + (fastest - slowest) * f64::from(i) / f64::from(steps))
            .map(|bpm| (x.at(bpm), y.at(100.0 * curve.share_at(bpm))))
            .collect();
        svg.polyline(&points, "copper");
    }
    for take in &edge.takes {
        let Some(interval) = share_interval(take.clean, take.of) else {
            continue;
        };
        let at = x.at(take.bpm);
        let ends = (y.at(100.0 * interval.low), y.at(100.0 * interval.high));
        upright_bar(&mut svg, at, ends);
        let share = 100.0 * take.clean as f64 / take.of as f64;
        let tip = words::at_tempo_tip(take);
        svg.circle((at, y.at(share)), 3.4, "dot", Some(&tip));
    }
    let key = words::against_tempo_key(edge.curve.is_some(), edge.at_the_end, marked);
    let foot = note(&mut svg, (LEFT, unit_at.1 + 4.0, width), &key);
    svg.set_height(foot + 8.0);
    Some(svg)
}

/// The fastest tempo at nine of ten as an upright line, its interval as a
/// band, both named above.
fn fastest_clean(svg: &mut Svg, (x, y): (Scale, Scale), fastest: &Fastest) {
    let Fastest::At { bpm, interval, .. } = fastest else {
        return;
    };
    let (top, base) = (y.at(100.0), y.at(0.0));
    let (from, to) = (x.held(interval.low), x.held(interval.high));
    svg.rect((from, top), (to - from, base - top), "wash", None);
    svg.line((from, top), (from, base), "hair");
    svg.line((to, top), (to, base), "hair");
    let at = x.at(*bpm);
    svg.line((at, top - 8.0), (at, base), "copper");
    let text = words::fastest_clean(*bpm, *interval);
    // Kept inside the drawing.
    let half = 0.5 * lettering::width(&text, 12.0);
    let middle = at.clamp(x.at_from + half, (x.at_to - half).max(x.at_from + half));
    svg.text((middle, top - 13.0), "bold", Anchor::Middle, &text);
}
