//! intonation.svg: how each setting of each drum is tuned, then the
//! intervals between the drums.

use super::{Frame, Sign, begin, finish, key, nothing, paragraph, sign, whisker};
use crate::report::lettering;
use crate::report::scale::Scale;
use crate::report::svg::{Anchor, Svg};
use crate::review::{DrumFacts, IntervalFacts, Review, SettingFacts, TuneVerdict};
use crate::{number, words};

/// More rows than this are left to the table.
const MOST: usize = 24;

/// All in one drawing, for a file.
pub fn draw(review: &Review, frame: Frame) -> Svg {
    if !any(review) {
        let why = words::nothing(review, words::NO_TUNING);
        return nothing(review, frame, "intonation", words::INTONATION, &why);
    }
    let desc = words::intonation_desc(review);
    let (mut svg, y) = begin(review, frame, "intonation", words::INTONATION, &desc);
    let mut y = settings(&mut svg, review, frame, y);
    if !review.intervals.is_empty() {
        y = intervals(&mut svg, review, frame, y + 4.0);
    }
    finish(svg, frame, y)
}

/// The drums and the intervals apart, so that neither is longer than a sheet
/// of paper.
pub fn draw_apart(review: &Review, frame: Frame) -> Vec<Svg> {
    if !any(review) {
        return vec![draw(review, frame)];
    }
    let desc = words::intonation_desc(review);
    let (mut svg, y) = begin(review, frame, "intonation", words::INTONATION, &desc);
    let y = settings(&mut svg, review, frame, y);
    let mut drawings = vec![finish(svg, frame, y)];
    if !review.intervals.is_empty() {
        let desc = words::intervals_desc(review);
        let (mut svg, y) = begin(review, frame, "intervals", words::INTERVALS, &desc);
        let y = intervals(&mut svg, review, frame, y);
        drawings.push(finish(svg, frame, y));
    }
    drawings
}

fn any(review: &Review) -> bool {
    review.drums.iter().any(|d| !d.settings.is_empty())
}

fn scale(review: &Review, frame: Frame) -> Scale {
    let limit = limit(review);
    let (left, right) = if frame.is_narrow() {
        (frame.margin() + 18.0, frame.right() - 18.0)
    } else {
        (frame.margin() + 112.0, frame.right() - 264.0)
    };
    Scale {
        from: -limit,
        to: limit,
        at_from: left,
        at_to: right,
    }
}

/// A narrow row has its numbers above the drawing, in one line or in two.
fn row_height(frame: Frame, lines: usize) -> f64 {
    match (frame.is_narrow(), lines) {
        (false, _) => 40.0,
        (true, 1) => 56.0,
        (true, _) => 71.0,
    }
}

fn settings(svg: &mut Svg, review: &Review, frame: Frame, y: f64) -> f64 {
    let scale = scale(review, frame);
    let in_tune = words::key_in_tune(&review.settings);
    let entries = [
        (Sign::Down, words::KEY_FLAT),
        (Sign::Within, in_tune.as_str()),
        (Sign::Up, words::KEY_SHARP),
        (Sign::Unsure, words::KEY_STRADDLES),
    ];
    let y = key(svg, frame, y, &entries);
    let mut y = paragraph(svg, frame, y, "soft small", words::INTONATION_KEY) + 12.0;
    let drums = review.drums.iter().rev();
    let rows: Vec<(&DrumFacts, &SettingFacts)> = drums
        .flat_map(|d| d.settings.iter().map(move |s| (d, s)))
        .collect();
    for row in rows.iter().take(MOST) {
        ground(svg, review, &scale, y, row_height(frame, 2));
        setting_row(svg, review, frame, &scale, *row, y);
        y += row_height(frame, 2);
    }
    axis(svg, &scale, y, words::CENTS_AXIS);
    more(svg, frame, rows.len(), y + 32.0)
}

fn intervals(svg: &mut Svg, review: &Review, frame: Frame, y: f64) -> f64 {
    let scale = scale(review, frame);
    let y = paragraph(svg, frame, y, "bold", words::INTERVALS);
    let mut y = paragraph(svg, frame, y, "soft small", words::INTERVALS_LINE) + 10.0;
    for interval in review.intervals.iter().take(MOST) {
        ground(svg, review, &scale, y, row_height(frame, 1));
        let row = Row {
            label: words::interval_label(interval),
            under: words::bar_span(interval.from_bar, interval.to_bar),
            value: Some(interval.cents),
            sd: Some(interval.cents_sd),
            kind: interval_sign(review, interval),
            big: words::interval_size(interval),
            small: String::new(),
        };
        draw_row(svg, frame, &scale, &row, y);
        y += row_height(frame, 1);
    }
    axis(svg, &scale, y, words::CENTS_INTERVAL_AXIS);
    more(svg, frame, review.intervals.len(), y + 32.0)
}

fn more(svg: &mut Svg, frame: Frame, rows: usize, y: f64) -> f64 {
    if rows <= MOST {
        return y;
    }
    paragraph(
        svg,
        frame,
        y,
        "soft small",
        &words::more_in_table(rows - MOST),
    )
}

struct Row {
    label: String,
    under: String,
    value: Option<f64>,
    sd: Option<f64>,
    kind: Sign,
    big: String,
    small: String,
}

/// Half the width of the scale: everything that is drawn fits, up to a
/// semitone.
fn limit(review: &Review) -> f64 {
    let settings = review.drums.iter().flat_map(|d| &d.settings);
    let tunings = settings.filter_map(|s| Some(s.cents?.abs() + 2.0 * s.cents_sd.unwrap_or(0.0)));
    let intervals = review
        .intervals
        .iter()
        .map(|i| i.cents.abs() + 2.0 * i.cents_sd);
    let most = tunings.chain(intervals).fold(0.0, f64::max);
    let least = review.settings.tune_bands_cents[1] + 10.0;
    ((most.max(least) / 10.0).ceil() * 10.0).min(100.0)
}

/// Bands, zero line and grid behind one row.
fn ground(svg: &mut Svg, review: &Review, scale: &Scale, y: f64, height: f64) {
    let [near, far] = review.settings.tune_bands_cents;
    for (cents, class) in [(far, "band2"), (near, "band")] {
        let (a, b) = (scale.held(-cents), scale.held(cents));
        svg.rect((a, y), (b - a, height), class, None);
    }
    svg.line((scale.at(0.0), y), (scale.at(0.0), y + height), "axis");
    svg.line((scale.at_from, y), (scale.at_to, y), "grid");
}

fn setting_row(
    svg: &mut Svg,
    review: &Review,
    frame: Frame,
    scale: &Scale,
    (drum, setting): (&DrumFacts, &SettingFacts),
    y: f64,
) {
    let bottom = y + row_height(frame, 2) - 6.0;
    let mut places = Vec::new();
    for stroke in &review.strokes {
        let bar = stroke.note.and_then(|n| review.notes.get(n)).map(|n| n.bar);
        let here = stroke.drum == Some(drum.drum)
            && bar.is_some_and(|b| (setting.from_bar..=setting.to_bar).contains(&b));
        if let (true, Some(cents)) = (here, stroke.cents) {
            places.push((scale.held(cents), bottom));
        }
    }
    svg.dots(&places, "dots");
    let row = Row {
        label: words::setting_label(drum.drum, setting.pitch),
        under: words::bar_span(setting.from_bar, setting.to_bar),
        value: setting.cents,
        sd: setting.cents_sd,
        kind: setting_sign(setting),
        big: words::setting_cents(setting),
        small: words::setting_small(setting),
    };
    draw_row(svg, frame, scale, &row, y);
}

fn draw_row(svg: &mut Svg, frame: Frame, scale: &Scale, row: &Row, y: f64) {
    let middle = match (frame.is_narrow(), row.small.is_empty()) {
        (false, _) => y + 18.0,
        (true, true) => y + 36.0,
        (true, false) => y + 51.0,
    };
    if frame.is_narrow() {
        let label = format!("{}, {}", row.label, row.under);
        let room = frame.right() - frame.margin() - lettering::width(&row.big, 13.4) - 8.0;
        svg.text(
            (frame.margin() + 2.0, y + 15.0),
            "small",
            Anchor::Start,
            &lettering::fit(&label, 11.0, room),
        );
        svg.text(
            (frame.right() - 2.0, y + 15.0),
            "bold",
            Anchor::End,
            &row.big,
        );
        let room = frame.right() - frame.margin() - 4.0;
        svg.text(
            (frame.margin() + 2.0, y + 30.0),
            "soft small",
            Anchor::Start,
            &lettering::fit(&row.small, 11.0, room),
        );
    } else {
        svg.text(
            (frame.margin(), y + 17.0),
            "bold",
            Anchor::Start,
            &row.label,
        );
        svg.text(
            (frame.margin(), y + 31.0),
            "soft small",
            Anchor::Start,
            &row.under,
        );
        let x = scale.at_to + 12.0;
        svg.text((x, y + 17.0), "bold", Anchor::Start, &row.big);
        let small = lettering::fit(&row.small, 11.0, frame.right() - x);
        svg.text((x, y + 31.0), "soft small", Anchor::Start, &small);
    }
    let Some(cents) = row.value else { return };
    if let Some(sd) = row.sd {
        let (from, to) = (scale.held(cents - 2.0 * sd), scale.held(cents + 2.0 * sd));
        whisker(svg, middle, from, to, "ink");
    }
    sign(svg, (scale.held(cents), middle), 5.5, row.kind, None);
}

/// The verdict as a shape; none where the uncertainty reaches across a limit.
fn setting_sign(setting: &SettingFacts) -> Sign {
    match (setting.verdict, setting.cents) {
        (Some(TuneVerdict::InTune), _) => Sign::Within,
        (Some(_), Some(cents)) if cents < 0.0 => Sign::Down,
        (Some(_), Some(_)) => Sign::Up,
        _ => Sign::Unsure,
    }
}

fn interval_sign(review: &Review, interval: &IntervalFacts) -> Sign {
    let near = review.settings.tune_bands_cents[0];
    let (cents, reach) = (interval.cents, 2.0 * interval.cents_sd);
    match () {
        () if cents.abs() + reach <= near => Sign::Within,
        () if cents + reach < -near => Sign::Down,
        () if cents - reach > near => Sign::Up,
        () => Sign::Unsure,
    }
}

fn axis(svg: &mut Svg, scale: &Scale, y: f64, unit: &str) {
    svg.line((scale.at_from, y), (scale.at_to, y), "axis");
    let most = ((scale.at_to - scale.at_from) / 40.0) as usize;
    for cents in scale.ticks(most) {
        let x = scale.at(cents);
        svg.line((x, y), (x, y + 4.0), "axis");
        svg.text(
            (x, y + 16.0),
            "soft small",
            Anchor::Middle,
            &number::signed(cents, 0),
        );
    }
    let middle = f64::midpoint(scale.at_from, scale.at_to);
    svg.text((middle, y + 30.0), "soft small", Anchor::Middle, unit);
}
