//! evenness.svg: every figure as the places of its strokes against equal
//! parts, grouped by kind, with the usual shape below; then the tempo.

use super::{Frame, Sign, begin, finish, key, nothing, paragraph, sign, signs, tempo, whisker};
use crate::report::lettering;
use crate::report::scale::{Scale, thinned};
use crate::report::svg::{Anchor, Svg};
use crate::review::{Figure, FigureKind, Review};
use crate::words;

/// Most height that the rows of a panel take while they need not be closer
/// than they can be read.
const ROWS_HEIGHT: f64 = 380.0;
const ROW: f64 = 13.0;
const LEAST_ROW: f64 = 6.0;
/// More rows than this go on in a panel below: a panel fits on a sheet of
/// paper.
const MOST_ROWS: usize = 110;

/// All in one drawing, for a file.
pub fn draw(review: &Review, frame: Frame) -> Svg {
    let kinds = kinds(review);
    if kinds.is_empty() && review.tempo.curve.len() < 2 {
        let why = words::nothing(review, words::NO_FIGURES);
        return nothing(review, frame, "evenness", words::EVENNESS, &why);
    }
    let desc = words::evenness_desc(review);
    let (mut svg, mut y) = begin(review, frame, "evenness", words::EVENNESS, &desc);
    if kinds.is_empty() {
        y = paragraph(&mut svg, frame, y, "soft", words::NO_FIGURES);
    } else {
        y = sides(&mut svg, frame, y);
    }
    for kind in kinds {
        let panels = Panels::of(review, frame, kind);
        for k in 0..panels.rows.len() {
            y = panels.draw(&mut svg, k, y + 12.0);
        }
    }
    y = tempo::panel(&mut svg, review, frame, y + 14.0);
    finish(svg, frame, y)
}

/// One drawing a panel and one for the tempo, so that none is longer than a
/// sheet of paper.
pub fn draw_apart(review: &Review, frame: Frame) -> Vec<Svg> {
    let kinds = kinds(review);
    if kinds.is_empty() && review.tempo.curve.len() < 2 {
        return vec![draw(review, frame)];
    }
    let mut drawings = Vec::new();
    for (i, kind) in kinds.into_iter().enumerate() {
        let panels = Panels::of(review, frame, kind);
        for k in 0..panels.rows.len() {
            let title = words::kind_title(&kind.kind);
            let desc = match k {
                0 => words::kind_desc(kind, &review.settings),
                k => words::kind_more(kind, panels.bars_of(k)),
            };
            let name = format!("evenness-{i}-{k}");
            let (mut svg, mut y) = begin(review, frame, &name, &title, &desc);
            if i == 0 && k == 0 {
                y = sides(&mut svg, frame, y) + 8.0;
            }
            y = panels.draw(&mut svg, k, y);
            drawings.push(finish(svg, frame, y));
        }
    }
    if review.tempo.curve.len() > 1 {
        let desc = words::tempo_line(&review.tempo);
        let (mut svg, y) = begin(review, frame, "tempo", words::TEMPO_ACROSS, &desc);
        let y = tempo::panel(&mut svg, review, frame, y);
        drawings.push(finish(svg, frame, y));
    }
    drawings
}

fn kinds(review: &Review) -> Vec<&FigureKind> {
    review.figure_kinds.iter().filter(|k| k.count > 0).collect()
}

/// The key to the sides.
fn sides(svg: &mut Svg, frame: Frame, y: f64) -> f64 {
    let entries = [
        (Sign::Left, words::KEY_EARLY),
        (Sign::Within, words::KEY_WITHIN),
        (Sign::Right, words::KEY_LATE),
    ];
    key(svg, frame, y, &entries)
}

/// One kind of figure, its rows in as many panels as they ask for.
struct Panels<'a> {
    review: &'a Review,
    frame: Frame,
    kind: &'a FigureKind,
    rows: Vec<Vec<&'a Figure>>,
    parts: usize,
    /// The figures close with the note that follows.
    closed: bool,
}

impl<'a> Panels<'a> {
    fn of(review: &'a Review, frame: Frame, kind: &'a FigureKind) -> Self {
        let figures: Vec<&Figure> = review
            .figures
            .iter()
            .filter(|f| f.kind == kind.kind && f.shares.len() > 1)
            .collect();
        let panels = figures.len().div_ceil(MOST_ROWS).max(1);
        let each = figures.len().div_ceil(panels).max(1);
        let mut rows: Vec<Vec<&Figure>> = figures.chunks(each).map(<[_]>::to_vec).collect();
        if rows.is_empty() {
            rows.push(Vec::new());
        }
        Self {
            review,
            frame,
            kind,
            rows,
            parts: figures.iter().map(|f| f.shares.len()).max().unwrap_or(2),
            closed: figures.iter().any(|f| f.shares.len() == f.notes.len()),
        }
    }

    /// First and last bar of a panel.
    fn bars_of(&self, k: usize) -> (i32, i32) {
        let bar = |f: Option<&&Figure>| f.map_or(0, |f| f.bar);
        (bar(self.rows[k].first()), bar(self.rows[k].last()))
    }

    /// One panel; gives the height below. The first has what is true of all.
    fn draw(&self, svg: &mut Svg, k: usize, y: f64) -> f64 {
        let (kind, frame) = (self.kind, self.frame);
        let settings = &self.review.settings;
        let mut y = y;
        if k == 0 {
            y = paragraph(svg, frame, y, "bold", &words::kind_heading(kind));
            y = paragraph(
                svg,
                frame,
                y,
                "soft small",
                &words::kind_line(kind, settings),
            );
        } else {
            let more = words::kind_more(kind, self.bars_of(k));
            y = paragraph(svg, frame, y, "bold", &more);
        }
        let scale = Scale {
            from: 0.0,
            to: self.parts as f64,
            at_from: frame.margin() + 56.0,
            at_to: frame.right() - 14.0,
        };
        let Some(interval) = kind.median_interval_ms.filter(|ms| *ms > 0.0) else {
            return y;
        };
        // What an ear notices, as a share of one interval.
        let noticed = words::noticeable_ms(settings, interval);
        let band = noticed / interval;
        let figures = &self.rows[k];
        let top = y + 10.0;
        let row = (ROWS_HEIGHT / figures.len().max(1) as f64).clamp(LEAST_ROW, ROW);
        let rows_bottom = top + row * figures.len() as f64;
        let has_usual = k == 0 && !kind.usual_shape_ms.is_empty();
        let bottom = rows_bottom + if has_usual { 30.0 } else { 4.0 };
        for part in 0..=self.parts {
            let x = scale.at(part as f64);
            if part > 0 && part < self.parts {
                let half = scale.at(band) - scale.at_from;
                svg.rect((x - half, top), (2.0 * half, bottom - top), "band", None);
            }
            svg.line((x, top), (x, bottom), "grid");
        }
        rows(svg, frame, figures, &scale, (top, row), band);
        if has_usual {
            let divide = rows_bottom + 2.0;
            svg.line((scale.at_from, divide), (scale.at_to, divide), "axis");
            let y = rows_bottom + 17.0;
            usual(svg, frame, kind, &scale, (y, band), interval);
        }
        axis(svg, &scale, (self.parts, self.closed), bottom);
        scale_bar(svg, frame, &scale, interval, bottom + 36.0);
        if k > 0 {
            return bottom + 44.0;
        }
        let after = shape_words(svg, frame, kind, noticed, bottom + 44.0);
        match words::hands(kind) {
            Some(text) => paragraph(svg, frame, after, "soft small", &text),
            None => after,
        }
    }
}

fn rows(
    svg: &mut Svg,
    frame: Frame,
    figures: &[&Figure],
    scale: &Scale,
    (top, row): (f64, f64),
    band: f64,
) {
    let every = thinned(figures.len(), (row * figures.len() as f64 / 13.0) as usize);
    let size = (row * 0.36).min(4.2);
    let mut last_bar = None;
    let mut names = Vec::new();
    let mut marks = Vec::new();
    for (i, figure) in figures.iter().enumerate() {
        let y = top + row * (i as f64 + 0.5);
        if i % every == 0 && last_bar != Some(figure.bar) {
            last_bar = Some(figure.bar);
            let at = (scale.at_from - 8.0, y + 4.0);
            names.push((at, words::bar_label(figure.bar)));
        }
        let parts = figure.shares.len() as f64;
        // Outside the band only where that is more than uncertainty.
        let unsure = match (figure.unevenness_sd_ms, figure.interval_ms) {
            (Some(sd), Some(interval)) => 2.0 * sd / interval,
            _ => 0.0,
        };
        let mut sum = 0.0;
        for (k, share) in figure.shares.iter().enumerate() {
            sum += share;
            if k + 1 == figure.shares.len() {
                break;
            }
            let offset = sum * parts - (k + 1) as f64;
            let place = (scale.held(sum * parts), y);
            let kind = side(offset, band + unsure);
            if frame.alone {
                let tip = words::figure_tip(figure, k + 2, offset);
                sign(svg, place, size, kind, Some(&tip));
            } else {
                marks.push((place, kind));
            }
        }
    }
    svg.texts("soft small", Anchor::End, &names);
    signs(svg, size, &marks);
}

fn side(offset: f64, band: f64) -> Sign {
    if offset < -band {
        Sign::Left
    } else if offset > band {
        Sign::Right
    } else {
        Sign::Within
    }
}

/// The median place of each stroke with twice its uncertainty.
fn usual(
    svg: &mut Svg,
    frame: Frame,
    kind: &FigureKind,
    scale: &Scale,
    (y, band): (f64, f64),
    interval: f64,
) {
    svg.text(
        (frame.margin(), y + 4.0),
        "small",
        Anchor::Start,
        words::USUAL,
    );
    for (k, ms) in kind.usual_shape_ms.iter().enumerate() {
        let offset = ms / interval;
        let place = (k + 1) as f64 + offset;
        let reach = kind
            .usual_shape_sd_ms
            .get(k)
            .map_or(0.0, |sd| 2.0 * sd / interval);
        if reach > 0.0 {
            whisker(
                svg,
                y,
                scale.held(place - reach),
                scale.held(place + reach),
                "ink",
            );
        }
        let shape = side(offset, band + reach);
        sign(svg, (scale.held(place), y), 5.5, shape, None);
    }
}

/// Numbers the strokes; where the figures close with the note that follows, it
/// stands last.
fn axis(svg: &mut Svg, scale: &Scale, (parts, closed): (usize, bool), bottom: f64) {
    svg.line((scale.at_from, bottom), (scale.at_to, bottom), "axis");
    for k in 0..=parts {
        let next = closed && k == parts;
        let (name, anchor, right) = if next {
            (words::NEXT_NOTE.to_owned(), Anchor::End, 13.0)
        } else {
            ((k + 1).to_string(), Anchor::Middle, 0.0)
        };
        let x = scale.at(k as f64) + right;
        svg.text((x, bottom + 15.0), "soft small", anchor, &name);
    }
}

/// How long some round number of milliseconds is.
fn scale_bar(svg: &mut Svg, frame: Frame, scale: &Scale, interval: f64, y: f64) {
    let unit = scale.at(1.0) - scale.at(0.0);
    let ms = [10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0]
        .into_iter()
        .find(|ms| ms / interval * unit >= 24.0)
        .unwrap_or(1000.0);
    let long = ms / interval * unit;
    let x = scale.at_from;
    svg.path(
        &format!(
            "M{a} {t}V{b}M{a} {m}H{z}M{z} {t}V{b}",
            a = crate::report::svg::n(x),
            z = crate::report::svg::n(x + long),
            t = crate::report::svg::n(y - 7.0),
            m = crate::report::svg::n(y - 4.0),
            b = crate::report::svg::n(y - 1.0)
        ),
        "hair",
        None,
    );
    let text = words::scale_bar(ms);
    let room = frame.right() - x - long - 8.0;
    svg.text(
        (x + long + 6.0, y),
        "soft small",
        Anchor::Start,
        &lettering::fit(&text, 11.0, room),
    );
}

/// The usual shape in words, one line a stroke; coloured where an ear notices
/// it.
fn shape_words(svg: &mut Svg, frame: Frame, kind: &FigureKind, noticed: f64, y: f64) -> f64 {
    let mut y = y;
    for k in 0..kind.usual_shape_ms.len() {
        let ms = kind.usual_shape_ms[k];
        let sure = words::surely(ms, kind.usual_shape_sd_ms.get(k).copied());
        let class = match ms {
            _ if !sure || ms.abs() < noticed => "small",
            ms if ms < 0.0 => "small earlytext",
            _ => "small latetext",
        };
        y = paragraph(svg, frame, y, class, &words::usual_stroke(kind, k));
    }
    y
}
