//! dynamics.svg: levels over the written marks, hairpins with what became of
//! them, and the accents below.

use super::{Frame, begin, finish, nothing, paragraph, place};
use crate::report::lettering;
use crate::report::scale::{Scale, thinned};
use crate::report::svg::{Anchor, Pen, Svg, n};
use crate::review::{Accent, LevelFacts, Review};
use crate::{number, words};

/// Height of the levels where one panel holds the whole part, and where
/// several do.
const HEIGHT: f64 = 220.0;
const HEIGHT_OF_MANY: f64 = 160.0;
/// Contrasts beyond this are drawn at the edge: uncertainties of a few strokes
/// may be wider than anything that is played.
const FARTHEST_DB: f64 = 25.0;
const ACCENT_HEIGHT: f64 = 110.0;
/// Units of width a quarter note has at least: marks and hairpins of two bars
/// stay apart. Longer parts go on in a panel below.
const LEAST_A_QUARTER: f64 = 3.5;
/// A hairpin narrower than this looks like a stub.
const LEAST_HAIRPIN: f64 = 9.0;
/// A just noticeable difference in level (0.5-1 dB; `OpenLearn`, "Hearing").
const NOTICEABLE_DB: f64 = 1.0;

/// All in one drawing, for a file.
pub fn draw(review: &Review, frame: Frame) -> Svg {
    let Some(levels) = Levels::of(review, frame) else {
        return none(review, frame);
    };
    let desc = words::dynamics_desc(review);
    let (mut svg, mut y) = begin(review, frame, "dynamics", words::DYNAMICS, &desc);
    for k in 0..levels.panels.len() {
        y = levels.panel(&mut svg, k, y);
    }
    y = levels.accents(&mut svg, y);
    finish(svg, frame, y)
}

/// A drawing for every panel, so that none is longer than a sheet of paper;
/// the last holds the accents as well.
pub fn draw_apart(review: &Review, frame: Frame) -> Vec<Svg> {
    let Some(levels) = Levels::of(review, frame) else {
        return vec![none(review, frame)];
    };
    let last = levels.panels.len() - 1;
    (0..=last)
        .map(|k| {
            let name = format!("dynamics{k}");
            let desc = if k == 0 {
                words::dynamics_desc(review)
            } else {
                words::dynamics_more(levels.bars_of(k))
            };
            let (mut svg, y) = begin(review, frame, &name, words::DYNAMICS, &desc);
            let mut y = levels.panel(&mut svg, k, y);
            if k == last {
                y = levels.accents(&mut svg, y);
            }
            finish(svg, frame, y)
        })
        .collect()
}

fn none(review: &Review, frame: Frame) -> Svg {
    let why = words::nothing(review, words::NO_DYNAMICS);
    nothing(review, frame, "dynamics", words::DYNAMICS, &why)
}

/// What the panels share.
struct Levels<'a> {
    review: &'a Review,
    frame: Frame,
    /// Place in the part, level.
    points: Vec<(f64, f64)>,
    /// The part from its first to its last stroke, for the accents.
    whole: Scale,
    panels: Vec<Scale>,
    /// The lowest level of the axis, dB.
    low: f64,
}

impl<'a> Levels<'a> {
    fn of(review: &'a Review, frame: Frame) -> Option<Self> {
        let points = strokes(review);
        if points.is_empty() {
            return None;
        }
        let whole = along(review, frame, &points);
        let low = points.iter().map(|p| p.1).fold(0.0, f64::min);
        Some(Self {
            panels: panels(review, &whole),
            low: ((low - 2.0) / 10.0).floor() * 10.0,
            review,
            frame,
            points,
            whole,
        })
    }

    /// First and last bar of a panel.
    fn bars_of(&self, panel: usize) -> (i32, i32) {
        let at = &self.panels[panel];
        let inside = || {
            self.review
                .written
                .bars
                .iter()
                .filter(|b| in_panel(at, b.at))
        };
        let first = inside().next().map_or(0, |b| b.number);
        (first, inside().next_back().map_or(first, |b| b.number))
    }

    /// One panel of levels; gives the height below it.
    fn panel(&self, svg: &mut Svg, k: usize, y: f64) -> f64 {
        let (review, frame, at) = (self.review, self.frame, &self.panels[k]);
        let mut y = y;
        if k == 0 {
            y = paragraph(svg, frame, y, "soft small", words::DYNAMICS_LINE) + 10.0;
        }
        let written_top = y;
        let top = y + 40.0;
        let height = if self.panels.len() > 1 {
            HEIGHT_OF_MANY
        } else {
            HEIGHT
        };
        let level = Scale {
            from: self.low,
            to: 0.0,
            at_from: top + height,
            at_to: top,
        };
        level_axis(svg, &level, at, words::DB_LOUDEST);
        bars(svg, review, at, top, top + height);
        let here = self.points.iter().filter(|p| in_panel(at, p.0));
        let places: Vec<_> = here.map(|p| (at.at(p.0), level.held(p.1))).collect();
        svg.dots(&places, "dots");
        let marks = marks(svg, review, at, &level, (written_top + 14.0, frame.alone));
        hairpins(svg, review, at, &marks, written_top + 28.0);
        y = top + height + 22.0;
        if k + 1 < self.panels.len() {
            return y + 14.0;
        }
        y = paragraph(svg, frame, y, "soft small", &words::dynamics_key(review));
        for text in words::order_breaks(review) {
            y = paragraph(svg, frame, y, "small", &text);
        }
        y
    }

    fn accents(&self, svg: &mut Svg, y: f64) -> f64 {
        accents(svg, self.review, self.frame, &self.whole, y + 16.0)
    }
}

/// A place of the part lies in a panel.
fn in_panel(at: &Scale, place: f64) -> bool {
    place >= at.from - 1e-6 && place < at.to - 1e-6
}

/// As few panels as leave a quarter note its room, of about equally many bars
/// and all to one scale.
fn panels(review: &Review, whole: &Scale) -> Vec<Scale> {
    let span = whole.to - whole.from;
    let room = whole.at_to - whole.at_from;
    let wanted = (span * LEAST_A_QUARTER / room).ceil().max(1.0) as usize;
    let starts: Vec<f64> = review.written.bars.iter().map(|b| b.at).collect();
    let mut ends = vec![whole.from];
    for k in 1..wanted {
        let fair = whole.from + span * k as f64 / wanted as f64;
        let near = starts
            .iter()
            .copied()
            .min_by(|a, b| (a - fair).abs().total_cmp(&(b - fair).abs()));
        let last = ends[ends.len() - 1];
        ends.extend(near.filter(|at| *at > last && *at < whole.to));
    }
    ends.push(whole.to);
    let longest = ends.windows(2).map(|w| w[1] - w[0]).fold(0.0, f64::max);
    ends.windows(2)
        .map(|w| Scale {
            from: w[0],
            to: w[1],
            at_from: whole.at_from,
            at_to: whole.at_from + room * (w[1] - w[0]) / longest,
        })
        .collect()
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
        .filter(|b| in_panel(at, b.at))
        .collect();
    let room = ((at.at_to - at.at_from) / 34.0).max(2.0) as usize;
    let every = thinned(inside.len(), room);
    let mut lines = Pen::default();
    let mut names = Vec::new();
    for bar in inside.iter().step_by(every) {
        let x = at.at(bar.at);
        lines.go('m', (x, top));
        lines.down(bottom + 4.0 - top);
        names.push(((x, bottom + 16.0), bar.number.to_string()));
    }
    svg.texts("soft small", Anchor::Middle, &names);
    if !lines.d.is_empty() {
        svg.path(&lines.d, "grid", None);
    }
    svg.line((at.at_from, bottom), (at.at_to, bottom), "axis");
}

/// One bar of level for every stretch under one mark, and the marks; gives
/// where each written mark stands, from and to. A stretch that goes on from
/// the panel before has its mark in brackets.
fn marks(
    svg: &mut Svg,
    review: &Review,
    at: &Scale,
    level: &Scale,
    (marks_y, alone): (f64, bool),
) -> Vec<(f64, f64)> {
    let mut from = 0.0;
    let mut written: Vec<(f64, f64)> = Vec::new();
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
        let end = place(review, stretch.to_bar + 1, 1.0, *start)
            .unwrap_or(f64::INFINITY)
            .max(*start);
        let end = next.filter(|n| n > start).map_or(end, |n| n.min(end));
        if end <= at.from + 1e-6 || *start >= at.to - 1e-6 {
            continue;
        }
        let (a, b) = (at.held(*start), at.held(end));
        let b = b.max(a + 5.0);
        let mark = if in_panel(at, *start) {
            stretch.mark.clone()
        } else {
            format!("({})", stretch.mark)
        };
        let free = written.last().is_none_or(|w| a + 2.0 >= w.1);
        if free {
            svg.text((a, marks_y), "mark", Anchor::Start, &mark);
            // Bold and slanted: wider than the plain face.
            written.push((a, a + lettering::width(&mark, 17.0) + 3.0));
        }
        let moved = |fitted: &f64| stretch.level_db.is_none_or(|l| (l - fitted).abs() > 0.05);
        if let Some(fitted) = stretch.fitted_db.filter(moved) {
            let y = level.held(fitted);
            svg.line((a, y), (b, y), "dash");
        }
        let Some(db) = stretch.level_db else { continue };
        if let Some(sd) = stretch.level_sd_db {
            let (high, low) = (level.held(db + 2.0 * sd), level.held(db - 2.0 * sd));
            svg.rect((a, high), (b - a, low - high), "wash", None);
        }
        let tip = alone.then(|| words::level_tip(stretch));
        let d = format!("M{} {}H{}", n(a), n(level.held(db)), n(b));
        svg.path(&d, "copper", tip.as_deref());
        numbers(svg, stretch, (a + 3.0, b - a - 4.0), level);
    }
    written
}

/// The level of a stretch in numbers, in as few lines as its width allows,
/// over its line or, near the top, under it.
fn numbers(svg: &mut Svg, stretch: &LevelFacts, (x, room): (f64, f64), level: &Scale) {
    const LINE: f64 = 12.0;
    let Some(db) = stretch.level_db else { return };
    let widest = |lines: &[String]| {
        let widths = lines.iter().map(|l| lettering::width(l, 11.0));
        widths.fold(0.0, f64::max)
    };
    let choices = words::level_numbers(stretch);
    let Some(lines) = choices.iter().find(|lines| widest(lines) < room) else {
        return;
    };
    let tall = LINE * (lines.len() - 1) as f64;
    let over = level.held(db) - 6.0 - tall;
    let first = if over - LINE + 3.0 >= level.at_to {
        over
    } else {
        level.held(db) + LINE + 3.0
    };
    for (k, line) in lines.iter().enumerate() {
        let at = (x, first + LINE * k as f64);
        svg.text(at, "small clear", Anchor::Start, line);
    }
}

/// Written hairpins between the marks, each with the change that was played.
fn hairpins(svg: &mut Svg, review: &Review, at: &Scale, marks: &[(f64, f64)], y: f64) {
    let mut free_from = f64::NEG_INFINITY;
    for (i, written) in review.written.hairpins.iter().enumerate() {
        if written.to <= at.from || written.from >= at.to {
            continue;
        }
        let (start, end) = (at.held(written.from), at.held(written.to));
        // Behind a mark at its start, short of one at its end.
        let a = marks
            .iter()
            .find(|m| (m.0 - 1.0..m.1).contains(&start))
            .map_or(start, |m| m.1);
        let b = (end - 5.0).max(a + LEAST_HAIRPIN);
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
        let facts = review.dynamics.hairpins.get(i);
        let Some(facts) = facts.filter(|_| in_panel(at, written.from)) else {
            continue;
        };
        let text = words::hairpin_size(facts);
        let room = lettering::width(&text, 11.5);
        let x = start.min(at.at_to - room).max(at.at_from);
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
    let reach = |a: &Accent| 2.0 * a.contrast_sd_db.unwrap_or(0.0);
    let highest = known.iter().map(|k| k.1 + reach(k.0)).fold(6.0, f64::max);
    let lowest = known.iter().map(|k| k.1 - reach(k.0)).fold(-2.0, f64::min);
    let high = highest.min(FARTHEST_DB) + 1.0;
    let low = lowest.max(-FARTHEST_DB) - 1.0;
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
        let tip = frame.alone.then(|| words::accent_tip(accent));
        svg.circle((x, contrast.held(db)), 3.4, "dot", tip.as_deref());
    }
    y + ACCENT_HEIGHT + 22.0
}
