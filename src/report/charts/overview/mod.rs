//! overview.svg: the take at a glance. Time runs across; below the written
//! marks and the outline of the sound, a lane a drum with its strokes, and
//! the tempo kept.
//!
//! Shape tells the outcome and size the level. In a page every stroke and
//! bar carries its time (`data-t`), which the player reads.

mod lanes;

use crate::report::lettering;
use crate::report::scale::{Scale, step};
use crate::report::svg::{Anchor, Pen, Svg, n, n_fine};
use crate::review::Review;
use crate::{number, words};

/// Units of width a second: sixteenths at 120 stay apart.
const PER_SECOND: f64 = 52.0;
/// A short take fills a page all the same.
const LEAST_WIDTH: f64 = 1080.0;
/// Longer takes are drawn closer: some browsers stop at 2^16 units.
const MOST_WIDTH: f64 = 60_000.0;
const CUE_Y: f64 = 16.0;
const MARK_Y: f64 = 40.0;
const SOUND_TOP: f64 = 56.0;
const SOUND_HEIGHT: f64 = 44.0;
/// Distance of the upright lines of the outline.
const SOUND_STEP: f64 = 5.0;
const BAR_Y: f64 = SOUND_TOP + SOUND_HEIGHT + 18.0;
const LANES_TOP: f64 = BAR_Y + 8.0;
const LANE: f64 = 30.0;
/// A hairpin narrower than this looks like a stub.
const LEAST_HAIRPIN: f64 = 14.0;
const TEMPO_HEIGHT: f64 = 46.0;
/// Room to the left for the names of the lanes.
pub const NAMES: f64 = 92.0;

/// How the strip is laid out.
pub struct Layout {
    pub width: f64,
    pub height: f64,
    /// Seconds to units.
    pub time: Scale,
    /// Drums from the top of the drawing down: highest first.
    drums: Vec<u8>,
    tempo_top: f64,
}

impl Layout {
    pub fn of(review: &Review) -> Self {
        let end = review.take.duration_s.max(1.0);
        let width = (end * PER_SECOND).clamp(LEAST_WIDTH, MOST_WIDTH);
        let mut drums: Vec<u8> = review.drums.iter().map(|d| d.drum).collect();
        drums.extend(review.strokes.iter().filter_map(|s| s.drum));
        if review.judged {
            drums.extend(review.notes.iter().map(|n| n.drum));
        }
        drums.sort_unstable();
        drums.dedup();
        drums.reverse();
        if drums.is_empty() {
            drums.push(0);
        }
        let tempo_top = LANES_TOP + LANE * drums.len() as f64 + 12.0;
        let has_tempo = review.tempo.curve.len() > 1;
        let height = tempo_top + if has_tempo { TEMPO_HEIGHT + 10.0 } else { 0.0 } + 18.0;
        Self {
            width,
            height,
            time: Scale {
                from: 0.0,
                to: end,
                at_from: 0.0,
                at_to: width,
            },
            drums,
            tempo_top,
        }
    }

    /// The middle of a drum's lane; strokes of no known drum lie between the
    /// lanes, at the bottom edge.
    fn lane(&self, drum: Option<u8>) -> f64 {
        let place = drum.and_then(|d| self.drums.iter().position(|x| *x == d));
        let bottom = LANES_TOP + LANE * self.drums.len() as f64;
        if self.drums == [0] {
            return bottom - LANE / 2.0;
        }
        place.map_or(bottom - 3.0, |i| LANES_TOP + LANE * (i as f64 + 0.5))
    }
}

/// The chart as a file of its own.
pub fn file(review: &Review) -> String {
    let layout = Layout::of(review);
    let margin = 24.0;
    let width = layout.width + NAMES + 2.0 * margin;
    let mut svg = Svg::new(
        "a-overview",
        width,
        words::OVERVIEW,
        &words::overview_desc(review),
    );
    let y = super::head(&mut svg, review, margin, width.min(900.0), words::OVERVIEW);
    svg.open(&format!("transform=\"translate({} {})\"", n(margin), n(y)));
    names(&mut svg, review, &layout);
    svg.open(&format!("transform=\"translate({} 0)\"", n(NAMES)));
    strip(&mut svg, review, &layout, false);
    labels(&mut svg, review, &layout, (0.0, layout.width));
    svg.close();
    svg.close();
    let mut x = margin;
    let key_y = y + layout.height + 22.0;
    for (shape, text) in key(review) {
        svg.open(&format!(
            "transform=\"translate({} {})\"",
            n(x),
            n(key_y - 12.0)
        ));
        svg.raw(&shape);
        svg.close();
        svg.text((x + 22.0, key_y), "soft small", Anchor::Start, text);
        x += 22.0 + lettering::width(text, 11.0) + 18.0;
    }
    svg.set_width(width.max(x + margin));
    svg.set_height(key_y + 20.0);
    svg.file()
}

/// The names of the lanes, to stand left of the strip.
pub fn names(svg: &mut Svg, review: &Review, layout: &Layout) {
    let text = |svg: &mut Svg, y: f64, class: &str, text: &str| {
        svg.text((NAMES - 8.0, y), class, Anchor::End, text);
    };
    text(
        svg,
        SOUND_TOP + SOUND_HEIGHT / 2.0 + 4.0,
        "soft small",
        words::SOUND,
    );
    if review.judged {
        text(svg, BAR_Y, "soft small", words::BAR);
    }
    for drum in &layout.drums {
        let y = layout.lane(Some(*drum));
        let facts = review.drums.iter().find(|d| d.drum == *drum);
        let pitch = facts.and_then(|d| d.settings.first()).map(|s| s.pitch);
        text(svg, y + 4.0, "bold", &words::lane_name(*drum, pitch));
    }
    if let Some(bpm) = tempo_scale(review, layout) {
        let middle = f64::midpoint(bpm.at_from, bpm.at_to);
        text(svg, middle, "soft small", words::TEMPO);
        text(svg, middle + 13.0, "soft small", words::BPM);
    }
    text(svg, layout.height - 4.0, "soft small", words::MIN_SEC);
}

/// The strip itself, without the texts of [`labels`]. `live`: with times for
/// the player, without tips.
pub fn strip(svg: &mut Svg, review: &Review, layout: &Layout, live: bool) {
    passages(svg, review, layout);
    sound(svg, review, layout);
    bars(svg, review, layout, live);
    hairpins(svg, review, layout);
    lanes::retunings(svg, review, layout);
    lanes::rolls(svg, review, layout);
    lanes::notes(svg, review, layout, live);
    lanes::strokes(svg, review, layout, live);
    tempo(svg, review, layout);
}

/// The texts along a stretch of the strip that may be longer than the place
/// they belong to: all of each lies inside the stretch.
pub fn labels(svg: &mut Svg, review: &Review, layout: &Layout, stretch: (f64, f64)) {
    cues(svg, review, layout, stretch);
    marks(svg, review, layout, stretch);
    passage_names(svg, review, layout, stretch);
    tempo_numbers(svg, review, layout, stretch);
    seconds(svg, layout, stretch);
}

/// The strip up to its end in stretches no longer than `most`, for lines of
/// print. They part shortly before a bar where one is near, and where no stroke
/// is cut.
pub fn stretches(review: &Review, layout: &Layout, most: f64) -> Vec<(f64, f64)> {
    let at = |s: f64| layout.time.at(s);
    let strokes: Vec<f64> = review.strokes.iter().map(|s| at(s.time_s)).collect();
    let breaks: Vec<f64> = review
        .written
        .bars
        .iter()
        .filter_map(|b| Some(before(&strokes, at(b.time_s?))))
        .collect();
    let end = end(review, layout);
    let mut from = 0.0;
    let mut found = Vec::new();
    while from < end {
        let far = from + most;
        let to = if far >= end {
            end
        } else {
            let wide = |b: &f64| *b > from + most / 3.0 && *b <= far;
            let last = breaks.iter().copied().rfind(wide);
            last.unwrap_or_else(|| before(&strokes, far))
        };
        found.push((from, to));
        from = to;
    }
    found
}

/// Where nothing more is drawn but what rings: soon after the last stroke and
/// the last bar.
pub fn end(review: &Review, layout: &Layout) -> f64 {
    const RINGS_S: f64 = 2.0;
    let strokes = review.strokes.iter().map(|s| s.time_s);
    let bars = review.written.bars.iter().filter_map(|b| b.time_s);
    let passages = review.passages.iter().map(|p| p.to_s);
    let notes = review.notes.iter().filter_map(|n| n.expected_s);
    let last = strokes.chain(bars).chain(passages).chain(notes);
    let last = last.fold(0.0, f64::max);
    if last > 0.0 {
        layout.time.held(last + RINGS_S)
    } else {
        layout.width
    }
}

/// Half way between the last stroke before a bar line and the line or the
/// stroke that falls on it, never far from the line.
fn before(strokes: &[f64], line: f64) -> f64 {
    const NEAR: f64 = 12.0;
    const FARTHEST: f64 = 24.0;
    let on = strokes.iter().copied().filter(|x| (x - line).abs() <= NEAR);
    let first = on.fold(line, f64::min);
    let earlier = strokes.iter().copied().filter(|x| *x < first);
    let last = earlier.fold(first - FARTHEST, f64::max);
    f64::midpoint(last, first)
}

fn passages(svg: &mut Svg, review: &Review, layout: &Layout) {
    let bottom = LANES_TOP + LANE * layout.drums.len() as f64;
    for passage in &review.passages {
        let (a, b) = (
            layout.time.held(passage.from_s),
            layout.time.held(passage.to_s),
        );
        let class = if passage.counted { "band2" } else { "dash" };
        svg.rect((a, LANES_TOP), (b - a, bottom - LANES_TOP), class, None);
    }
    for i in 0..=layout.drums.len() {
        let y = LANES_TOP + LANE * i as f64;
        svg.line((0.0, y), (layout.width, y), "grid");
    }
}

fn sound(svg: &mut Svg, review: &Review, layout: &Layout) {
    let take = &review.take;
    if take.outline_db.is_empty() || take.outline_hop_s <= 0.0 {
        return;
    }
    let middle = SOUND_TOP + SOUND_HEIGHT / 2.0;
    // One upright line every few units, as tall as the loudest moment there.
    let columns = (layout.width / SOUND_STEP) as usize;
    let moment = |x: f64| x / layout.width * layout.time.to / take.outline_hop_s;
    let mut pen = Pen::default();
    for k in 0..columns {
        let x = k as f64 * SOUND_STEP;
        let first = moment(x) as usize;
        let last = (moment(x + SOUND_STEP).ceil() as usize).max(first + 1);
        let part = take.outline_db.get(first..last.min(take.outline_db.len()));
        let levels = part.unwrap_or_default().iter().flatten();
        let loudest = levels.copied().fold(f64::NEG_INFINITY, f64::max);
        // Amplitude, with a square root so that soft strokes stay visible.
        let half = (10f64.powf(loudest / 40.0).min(1.0) * SOUND_HEIGHT / 2.0).round();
        if half >= 1.0 {
            pen.go('m', (x + 2.0, middle - half));
            pen.down(2.0 * half);
        }
    }
    if !pen.d.is_empty() {
        svg.path(&pen.d, "sound", None);
    }
    svg.line((0.0, middle), (layout.width, middle), "grid");
}

/// Where a text of this width may begin so that it ends inside the stretch.
fn inside(x: f64, width: f64, (from, to): (f64, f64)) -> f64 {
    // Faces wider than the estimate need a little more.
    const SPARE: f64 = 3.0;
    x.min(to - width - SPARE).max(from)
}

fn begins_in(x: f64, (from, to): (f64, f64)) -> bool {
    x >= from - 1e-6 && x < to - 1e-6
}

fn passage_names(svg: &mut Svg, review: &Review, layout: &Layout, stretch: (f64, f64)) {
    if review.passages.len() < 2 {
        return;
    }
    let y = LANES_TOP + LANE * layout.drums.len() as f64 + 11.0;
    for passage in &review.passages {
        let (a, b) = (
            layout.time.held(passage.from_s),
            layout.time.held(passage.to_s),
        );
        if begins_in(a, stretch) {
            let text = words::passage_label(passage);
            let text = lettering::fit(&text, 11.0, (b - a).max(30.0));
            let x = inside(a + 2.0, lettering::width(&text, 11.0), stretch);
            svg.text((x, y), "soft small", Anchor::Start, &text);
        }
    }
}

fn seconds(svg: &mut Svg, layout: &Layout, stretch: (f64, f64)) {
    let scale = layout.width / layout.time.to;
    let every = step(60.0 / scale, 1).max(1.0);
    for s in crate::report::scale::ticks(0.0, layout.time.to, (layout.time.to / every) as usize) {
        let x = layout.time.at(s);
        if begins_in(x, stretch) {
            let text = number::clock(s);
            let half = lettering::width(&text, 11.0) / 2.0;
            let x = inside(x - half, 2.0 * half, stretch);
            let y = layout.height - 4.0;
            svg.text((x, y), "soft small", Anchor::Start, &text);
        }
    }
}

/// What the part says of other instruments, over the bar it stands in; near
/// the end of a stretch it moves to the left.
fn cues(svg: &mut Svg, review: &Review, layout: &Layout, stretch: (f64, f64)) {
    let mut free = stretch.0;
    let with_cue = review.written.bars.iter();
    let cues: Vec<(f64, &str)> = with_cue
        .filter_map(|b| Some((layout.time.at(b.time_s?), b.cue.as_deref()?)))
        .filter(|(x, _)| begins_in(*x, stretch))
        .collect();
    for (i, (x, cue)) in cues.iter().enumerate() {
        let next = cues.get(i + 1).map(|c| c.0 - 10.0);
        let wanted = lettering::width(&lettering::harmless(cue), 12.0) + 3.0;
        let end = next.filter(|n| *n > x + 30.0).unwrap_or(stretch.1);
        let start = (x + 3.0).min(end - wanted).max(free).min(x + 3.0);
        let text = lettering::fit(cue, 12.0, end - start);
        if start >= free && end > start {
            svg.text((start, CUE_Y), "soft", Anchor::Start, &text);
            free = start + lettering::width(&text, 12.0) + 10.0;
        }
    }
}

fn bars(svg: &mut Svg, review: &Review, layout: &Layout, live: bool) {
    let bottom = layout.tempo_top
        + if review.tempo.curve.len() > 1 {
            TEMPO_HEIGHT
        } else {
            0.0
        };
    let written = &review.written.bars;
    let (mut lines, mut beats) = (Pen::default(), Pen::default());
    let mut numbers = Svg::new("", 0.0, "", "");
    for (i, bar) in written.iter().enumerate() {
        let Some(start) = bar.time_s else { continue };
        let x = layout.time.at(start);
        lines.go('m', (x, SOUND_TOP));
        lines.down(bottom - SOUND_TOP);
        if let Some(end) = written.get(i + 1).and_then(|b| b.time_s) {
            for k in (1..bar.length.ceil() as usize).map(|k| k as f64) {
                let at = layout.time.at(start + (end - start) * k / bar.length);
                beats.go('m', (at, LANES_TOP));
                beats.down(layout.tempo_top - 12.0 - LANES_TOP);
            }
        }
        let number = format!(
            "<text x=\"{}\" y=\"{}\">{}</text>",
            n(x + 3.0),
            n(BAR_Y),
            bar.number
        );
        if live {
            // In a page, numbers need no quotes around them.
            numbers.raw(&format!(
                "<a href=#bar-{i} data-t={} data-b={} aria-label=\"{}\">{number}</a>",
                n_fine((start * 1000.0).round() / 1000.0),
                bar.number,
                lettering::escape(&words::bar_link(bar.number, start))
            ));
        } else {
            numbers.raw(&number);
        }
    }
    for (pen, class) in [(lines, "axis"), (beats, "grid")] {
        if !pen.d.is_empty() {
            svg.path(&pen.d, class, None);
        }
    }
    svg.open("class=\"bold small\"");
    svg.raw(numbers.body());
    svg.close();
}

/// How wide a dynamic mark is: bold and slanted, wider than the plain face.
fn mark_width(mark: &str) -> f64 {
    lettering::width(mark, 17.0)
}

fn marks(svg: &mut Svg, review: &Review, layout: &Layout, stretch: (f64, f64)) {
    for mark in &review.written.marks {
        let x = mark.time_s.map(|s| layout.time.at(s));
        if let Some(x) = x.filter(|x| begins_in(*x, stretch)) {
            let x = inside(x, mark_width(&mark.mark), stretch);
            svg.text((x, MARK_Y + 5.0), "mark", Anchor::Start, &mark.mark);
        }
    }
}

/// Written hairpins, behind a mark at their start and short of one at their
/// end.
fn hairpins(svg: &mut Svg, review: &Review, layout: &Layout) {
    let marks: Vec<(f64, f64)> = review
        .written
        .marks
        .iter()
        .filter_map(|m| Some((layout.time.at(m.time_s?), mark_width(&m.mark))))
        .collect();
    for hairpin in &review.written.hairpins {
        let (Some(from), Some(to)) = (hairpin.from_s, hairpin.to_s) else {
            continue;
        };
        let (start, end) = (layout.time.at(from), layout.time.at(to));
        let a = marks
            .iter()
            .find(|m| (m.0 - 1.0..m.0 + m.1).contains(&start))
            .map_or(start, |m| m.0 + m.1 + 3.0);
        let b = (end - 5.0).max(a + LEAST_HAIRPIN);
        let (narrow, wide) = if hairpin.kind == "crescendo" {
            (a, b)
        } else {
            (b, a)
        };
        let d = format!(
            "M{w} {t}L{p} {m}L{w} {b}",
            w = n(wide),
            p = n(narrow),
            t = n(MARK_Y - 5.0),
            m = n(MARK_Y),
            b = n(MARK_Y + 5.0)
        );
        svg.path(&d, "thin", None);
    }
}

fn tempo_scale(review: &Review, layout: &Layout) -> Option<Scale> {
    let curve = &review.tempo.curve;
    if curve.len() < 2 {
        return None;
    }
    let all = || {
        curve
            .iter()
            .flat_map(|p| std::iter::once(p.bpm).chain(p.marked_bpm))
    };
    let low = all().fold(f64::INFINITY, f64::min) - 2.0;
    let high = all().fold(f64::NEG_INFINITY, f64::max) + 2.0;
    Some(Scale {
        from: low,
        to: high,
        at_from: layout.tempo_top + TEMPO_HEIGHT,
        at_to: layout.tempo_top,
    })
}

fn tempo(svg: &mut Svg, review: &Review, layout: &Layout) {
    let Some(bpm) = tempo_scale(review, layout) else {
        return;
    };
    let curve = &review.tempo.curve;
    let at = |s: f64, v: f64| (layout.time.at(s), bpm.held(v));
    let written: Vec<_> = curve
        .iter()
        .filter_map(|p| Some(at(p.time_s, p.marked_bpm?)))
        .collect();
    svg.polyline(&written, "dash");
    let kept: Vec<_> = curve.iter().map(|p| at(p.time_s, p.bpm)).collect();
    svg.polyline(&kept, "copper");
}

/// The figure is repeated so that one is always in sight.
fn tempo_numbers(svg: &mut Svg, review: &Review, layout: &Layout, stretch: (f64, f64)) {
    let Some(bpm) = tempo_scale(review, layout) else {
        return;
    };
    let mut free = stretch.0;
    for point in &review.tempo.curve {
        let (x, y) = (layout.time.at(point.time_s), bpm.held(point.bpm));
        if x >= free && x + 24.0 < stretch.1 {
            // Away from the written tempo.
            let under = point.marked_bpm.is_some_and(|marked| point.bpm < marked);
            let y = if under { y + 13.0 } else { y - 5.0 };
            svg.text(
                (x + 2.0, y),
                "small",
                Anchor::Start,
                &number::plain(point.bpm, 0),
            );
            free = x + 320.0;
        }
    }
}

/// The shapes and what they mean, each in a box of 16 by 16. Where nothing was
/// judged there are strokes and no notes.
pub fn key(review: &Review) -> Vec<(String, &'static str)> {
    let shape = |markup: &str| markup.to_owned();
    let plus = shape("<path class=\"hair\" d=\"M8 4v8m-4 -4h8\"/>");
    if !review.judged {
        return vec![(plus, words::KEY_STROKE)];
    }
    let mut key = vec![
        (
            shape("<circle class=\"dot\" cx=\"8\" cy=\"8\" r=\"4\"/>"),
            words::KEY_PLAYED,
        ),
        (
            shape("<path class=\"open\" d=\"M3 3h10v10h-10zl10 10m0 -10l-10 10\"/>"),
            words::KEY_MISSED,
        ),
        (
            shape("<path class=\"copperfill\" d=\"M8 2l6 6l-6 6l-6 -6z\"/>"),
            words::KEY_OTHER,
        ),
        (
            shape("<circle class=\"opendash\" cx=\"8\" cy=\"8\" r=\"5.5\"/>"),
            words::KEY_UNSURE,
        ),
        (plus, words::KEY_EXTRA),
        (
            shape("<rect class=\"roll\" x=\"1\" y=\"3\" width=\"14\" height=\"10\"/>"),
            words::KEY_ROLL,
        ),
    ];
    let curve = &review.tempo.curve;
    if curve.len() > 1 {
        let kept = "<path class=\"copper\" d=\"M0 10l5 -3l6 2l5 -4\"/>";
        key.push((shape(kept), words::KEY_TEMPO_KEPT));
        if curve.iter().any(|p| p.marked_bpm.is_some()) {
            let written = "<path class=\"dash\" d=\"M0 8h16\"/>";
            key.push((shape(written), words::KEY_TEMPO_WRITTEN));
        }
    }
    key
}
