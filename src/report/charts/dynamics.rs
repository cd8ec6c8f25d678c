//! dynamics.svg: levels over the written marks, hairpins with what became of
//! them, and the accents below.

use super::{Frame, begin, finish, nothing, paragraph, place};
use crate::report::lettering;
use crate::report::scale::{Scale, thinned};
use crate::report::svg::{Anchor, Svg, n};
use crate::review::{Accent, LevelFacts, Review};
use crate::{number, words};

const HEIGHT: f64 = 220.0;
const ACCENT_HEIGHT: f64 = 110.0;
/// A just noticeable difference in level (0.5-1 dB; `OpenLearn`, "Hearing").
const NOTICEABLE_DB: f64 = 1.0;

pub fn draw(review: &Review, frame: Frame) -> Svg {
    let points = strokes(review);
    if points.is_empty() {
        let why = words::nothing(review, words::NO_DYNAMICS);
        return nothing(review, frame, "dynamics", words::DYNAMICS, &why);
    }
    let desc = words::dynamics_desc(review);
    let (mut svg, mut y) = begin(review, frame, "dynamics", words::DYNAMICS, &desc);
    let at = along(review, frame, &points);
    y = paragraph(&mut svg, frame, y, "soft small", words::DYNAMICS_LINE) + 10.0;
    let written_top = y;
    let top = y + 40.0;
    let low = points.iter().map(|p| p.1).fold(0.0, f64::min);
    let level = Scale {
        from: ((low - 2.0) / 10.0).floor() * 10.0,
        to: 0.0,
        at_from: top + HEIGHT,
        at_to: top,
    };
    level_axis(&mut svg, &level, &at, words::DB_LOUDEST);
    bars(&mut svg, review, &at, top, top + HEIGHT);
    let places: Vec<_> = points
        .iter()
        .map(|p| (at.at(p.0), level.held(p.1)))
        .collect();
    svg.dots(&places, "dots");
    levels(&mut svg, review, &at, &level, written_top + 14.0);
    hairpins(&mut svg, review, &at, written_top + 28.0);
    y = top + HEIGHT + 22.0;
    y = paragraph(&mut svg, frame, y, "soft small", words::DYNAMICS_KEY);
    for text in words::order_breaks(review) {
        y = paragraph(&mut svg, frame, y, "small", &text);
    }
    y = accents(&mut svg, review, frame, &at, y + 16.0);
    finish(svg, frame, y)
}

/// Every stroke with a note, rolls left out: place in the part, level.
fn strokes(review: &Review) -> Vec<(f64, f64)> {
    let known = review.strokes.iter().filter(|s| !s.in_roll);
    known
        .filter_map(|s| Some((review.notes.get(s.note?)?.at, s.level_db)))
        .filter(|p| p.1.is_finite())
        .collect()
}

/// The part from its first to its last stroke, whole bars.
fn along(review: &Review, frame: Frame, points: &[(f64, f64)]) -> Scale {
    let first = points.iter().map(|p| p.0).fold(f64::INFINITY, f64::min);
    let last = points.iter().map(|p| p.0).fold(f64::NEG_INFINITY, f64::max);
    let bars = &review.written.bars;
    let from = bars.iter().rev().find(|b| b.at <= first).map(|b| b.at);
    let to = bars.iter().find(|b| b.at + b.length > last);
    Scale {
        from: from.unwrap_or(first),
        to: to.map_or(last + 1.0, |b| b.at + b.length),
        at_from: frame.margin() + 36.0,
        at_to: frame.right() - 6.0,
    }
}

fn level_axis(svg: &mut Svg, level: &Scale, at: &Scale, unit: &str) {
    for db in level.ticks(6) {
        let y = level.at(db);
        svg.line((at.at_from, y), (at.at_to, y), "grid");
        svg.text(
            (at.at_from - 6.0, y + 4.0),
            "soft small",
            Anchor::End,
            &number::plain(db, 0),
        );
    }
    svg.text(
        (at.at_from + 4.0, level.at_from - 5.0),
        "soft small",
        Anchor::Start,
        unit,
    );
}

/// Bar lines and numbers under a panel whose axis is the part.
fn bars(svg: &mut Svg, review: &Review, at: &Scale, top: f64, bottom: f64) {
    let inside: Vec<_> = review
        .written
        .bars
        .iter()
        .filter(|b| b.at >= at.from - 1e-6 && b.at < at.to - 1e-6)
        .collect();
    let room = ((at.at_to - at.at_from) / 34.0).max(2.0) as usize;
    let every = thinned(inside.len(), room);
    for bar in inside.iter().step_by(every) {
        let x = at.at(bar.at);
        svg.line((x, top), (x, bottom + 4.0), "grid");
        svg.text(
            (x, bottom + 16.0),
            "soft small",
            Anchor::Middle,
            &bar.number.to_string(),
        );
    }
    svg.line((at.at_from, bottom), (at.at_to, bottom), "axis");
}

/// One bar of level for every stretch under one mark.
fn levels(svg: &mut Svg, review: &Review, at: &Scale, level: &Scale, marks_y: f64) {
    let mut from = 0.0;
    let mut free_from = f64::NEG_INFINITY;
    let stretches: Vec<(&LevelFacts, f64)> = review
        .dynamics
        .levels
        .iter()
        .filter_map(|l| {
            let start = place(review, l.bar, l.beat, from)?;
            from = start;
            Some((l, start))
        })
        .collect();
    for (i, (stretch, start)) in stretches.iter().enumerate() {
        let next = stretches.get(i + 1).map(|n| n.1);
        let end = place(review, stretch.to_bar + 1, 1.0, *start).unwrap_or(at.to);
        let end = next.filter(|n| n > start).map_or(end, |n| n.min(end));
        let (a, b) = (at.held(*start), at.held(end.max(*start)));
        let b = b.max(a + 5.0);
        if a + 2.0 >= free_from {
            svg.text((a, marks_y), "mark", Anchor::Start, &stretch.mark);
            // Bold and slanted: wider than the plain face.
            free_from = a + lettering::width(&stretch.mark, 17.0) + 3.0;
        }
        if let Some(fitted) = stretch.fitted_db {
            let y = level.held(fitted);
            svg.line((a, y), (b, y), "dash");
        }
        let Some(db) = stretch.level_db else { continue };
        if let Some(sd) = stretch.level_sd_db {
            let (high, low) = (level.held(db + 2.0 * sd), level.held(db - 2.0 * sd));
            svg.rect((a, high), (b - a, low - high), "wash", None);
        }
        let tip = words::level_tip(stretch);
        let d = format!("M{} {}H{}", n(a), n(level.held(db)), n(b));
        svg.path(&d, "copper", Some(&tip));
        let text = words::level_number(stretch);
        if b - a > lettering::width(&text, 11.0) + 4.0 {
            let y = level.held(db) - 6.0;
            svg.text((a + 3.0, y), "small clear", Anchor::Start, &text);
        }
    }
}

fn hairpins(svg: &mut Svg, review: &Review, at: &Scale, y: f64) {
    let mut free_from = f64::NEG_INFINITY;
    for (i, written) in review.written.hairpins.iter().enumerate() {
        if written.to <= at.from || written.from >= at.to {
            continue;
        }
        let (a, b) = (at.held(written.from), at.held(written.to));
        // Short of the mark that follows.
        let b = (b - 5.0).max(a + 5.0);
        let grows = written.kind == "crescendo";
        let (narrow, wide) = if grows { (a, b) } else { (b, a) };
        let d = format!(
            "M{w} {t}L{n} {m}L{w} {b}",
            w = n(wide),
            n = n(narrow),
            t = n(y - 14.0),
            m = n(y - 10.0),
            b = n(y - 6.0)
        );
        svg.path(&d, "thin", None);
        let Some(facts) = review.dynamics.hairpins.get(i) else {
            continue;
        };
        let text = words::hairpin_size(facts);
        let room = lettering::width(&text, 11.5);
        let x = a.min(at.at_to - room).max(at.at_from);
        if x >= free_from {
            svg.text((x, y + 7.0), "soft small", Anchor::Start, &text);
            free_from = x + room + 4.0;
        }
    }
}

/// Contrast of every accent with the unaccented strokes around it.
fn accents(svg: &mut Svg, review: &Review, frame: Frame, at: &Scale, y: f64) -> f64 {
    let known: Vec<(&Accent, f64, f64)> = review
        .dynamics
        .accents
        .iter()
        .filter_map(|a| Some((a, a.contrast_db?, review.notes.get(a.note)?.at)))
        .collect();
    if known.is_empty() {
        return y;
    }
    let y = paragraph(svg, frame, y, "bold", &words::accents_heading(review));
    let y = paragraph(svg, frame, y, "soft small", words::ACCENTS_LINE) + 8.0;
    let high = known.iter().map(|k| k.1).fold(6.0, f64::max) + 2.0;
    let low = known.iter().map(|k| k.1).fold(-2.0, f64::min) - 1.0;
    let contrast = Scale {
        from: low,
        to: high,
        at_from: y + ACCENT_HEIGHT,
        at_to: y,
    };
    let (upper, lower) = (contrast.at(NOTICEABLE_DB), contrast.at(-NOTICEABLE_DB));
    svg.rect(
        (at.at_from, upper),
        (at.at_to - at.at_from, lower - upper),
        "band",
        None,
    );
    level_axis(svg, &contrast, at, words::DB);
    bars(svg, review, at, y, y + ACCENT_HEIGHT);
    for (accent, db, place) in known {
        let x = at.at(place);
        svg.line((x, contrast.at(0.0)), (x, contrast.held(db)), "hair");
        if let Some(sd) = accent.contrast_sd_db {
            let d = format!(
                "M{x} {}V{}",
                n(contrast.held(db - 2.0 * sd)),
                n(contrast.held(db + 2.0 * sd)),
                x = n(x)
            );
            svg.path(&d, "ink", None);
        }
        let tip = words::accent_tip(accent);
        svg.circle((x, contrast.held(db)), 3.4, "dot", Some(&tip));
    }
    y + ACCENT_HEIGHT + 22.0
}
