//! deviations.svg: how far the notes lie from the pulse, counted. A column
//! holds the notes of some milliseconds; filled are those that are surely early
//! or late, hollow those that may lie to either side.

use super::{Frame, begin, finish, nothing, paragraph};
use crate::report::lettering;
use crate::report::svg::{Anchor, Svg, n};
use crate::review::Review;
use crate::stats::median;
use crate::{number, words};
use plotters::prelude::*;

/// Width of a column, ms.
const COLUMN_MS: f64 = 4.0;
/// Columns to each side; what lies beyond is counted in the outermost.
const COLUMNS: usize = 15;
const REACH_MS: f64 = COLUMNS as f64 * COLUMN_MS;
/// Fewer notes are no distribution.
const LEAST: usize = 8;
const HEIGHT: f64 = 270.0;

/// What the drawing library writes as colours, and the classes of `chart.css`
/// that take their place: they follow the reader's light or dark.
const LINES: RGBColor = RGBColor(1, 1, 1);
const GRID: RGBColor = RGBColor(2, 2, 2);
const LETTERS: RGBColor = RGBColor(3, 3, 3);
const EARLY: RGBColor = RGBColor(4, 4, 4);
const LATE: RGBColor = RGBColor(5, 5, 5);
const EITHER: RGBColor = RGBColor(6, 6, 6);
const MIDDLE: RGBColor = RGBColor(7, 7, 7);
const CLASSES: [(RGBColor, &str); 7] = [
    (LINES, "axis"),
    (GRID, "grid"),
    (LETTERS, "soft small"),
    (EARLY, "early"),
    (LATE, "late"),
    (EITHER, "open"),
    (MIDDLE, "copper"),
];

/// The notes of one column.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Column {
    sure: usize,
    unsure: usize,
}

pub fn draw(review: &Review, frame: Frame) -> Svg {
    let notes: Vec<(f64, Option<f64>)> = review
        .notes
        .iter()
        .filter_map(|n| Some((n.deviation_ms?, n.deviation_sd_ms)))
        .collect();
    let all: Vec<f64> = notes.iter().map(|n| n.0).collect();
    let Some(middle) = median(&all).filter(|_| notes.len() >= LEAST) else {
        let why = words::nothing(review, words::NO_DEVIATIONS);
        return nothing(review, frame, "deviations", words::DEVIATIONS, &why);
    };
    let sure = |side: f64| {
        let to_side = notes.iter().filter(|(ms, _)| ms * side > 0.0);
        to_side.filter(|(ms, sd)| words::surely(*ms, *sd)).count()
    };
    let told = words::deviations_line(middle, notes.len(), (sure(-1.0), sure(1.0)));
    let (mut svg, mut y) = begin(review, frame, "deviations", words::DEVIATIONS, &told);
    y = paragraph(&mut svg, frame, y, "soft small", &told);
    y = key(&mut svg, frame, y) + 10.0;
    let (left, size) = (frame.margin(), (frame.right() - frame.margin(), HEIGHT));
    // Drawing into memory fails only where there is no room at all.
    let plot = plot(&columns(&notes), middle, size).unwrap_or_default();
    svg.open(&format!("transform=\"translate({} {})\"", n(left), n(y)));
    svg.raw(&plot);
    svg.close();
    y += HEIGHT;
    if all.iter().any(|ms| ms.abs() > REACH_MS) {
        let text = words::deviations_beyond(REACH_MS);
        y = paragraph(&mut svg, frame, y, "soft small", &text);
    }
    finish(svg, frame, y)
}

fn columns(notes: &[(f64, Option<f64>)]) -> Vec<Column> {
    let mut columns = vec![Column::default(); 2 * COLUMNS];
    for &(ms, sd) in notes {
        let place = ((ms + REACH_MS) / COLUMN_MS).floor().max(0.0) as usize;
        let column = &mut columns[place.min(2 * COLUMNS - 1)];
        if words::surely(ms, sd) {
            column.sure += 1;
        } else {
            column.unsure += 1;
        }
    }
    columns
}

/// Axes, columns and the median, without a frame.
fn plot(
    columns: &[Column],
    middle: f64,
    (width, height): (f64, f64),
) -> Result<String, Box<dyn std::error::Error>> {
    let highest = columns.iter().map(|c| c.sure + c.unsure).max().unwrap_or(1);
    let mut drawing = String::new();
    {
        let size = (width as u32, height as u32);
        let area = SVGBackend::with_string(&mut drawing, size).into_drawing_area();
        let letters = ("sans-serif", 14).into_font().color(&LETTERS);
        let mut chart = ChartBuilder::on(&area)
            .margin_right(12)
            .x_label_area_size(38)
            .y_label_area_size(48)
            .build_cartesian_2d(-REACH_MS..REACH_MS, 0..highest + 1)?;
        chart
            .configure_mesh()
            .disable_x_mesh()
            .light_line_style(TRANSPARENT)
            .bold_line_style(GRID)
            .axis_style(LINES)
            .x_labels(7)
            .y_labels(6)
            .x_desc(words::DEVIATIONS_ACROSS)
            .y_desc(words::DEVIATIONS_UP)
            .x_label_formatter(&|ms| number::signed(*ms, 0))
            .label_style(letters.clone())
            .axis_desc_style(letters)
            .draw()?;
        // Hollow at the foot, filled above: the eye adds them up.
        for (i, column) in columns.iter().enumerate() {
            let from = i as f64 * COLUMN_MS - REACH_MS;
            let side = if from < 0.0 { EARLY } else { LATE };
            let parts = [
                (0, column.unsure, EITHER),
                (column.unsure, column.unsure + column.sure, side),
            ];
            chart.draw_series(parts.iter().filter(|(foot, head, _)| head > foot).map(
                |(foot, head, colour)| {
                    let corners = [(from + 0.25, *foot), (from + COLUMN_MS - 0.25, *head)];
                    Rectangle::new(corners, colour.filled())
                },
            ))?;
        }
        let middle = middle.clamp(-REACH_MS, REACH_MS);
        chart.draw_series(LineSeries::new(
            [(middle, 0), (middle, highest + 1)],
            MIDDLE,
        ))?;
        area.present()?;
    }
    Ok(classed(&drawing))
}

/// What stands inside the library's own frame, with classes for colours and
/// without faces of its own.
fn classed(drawing: &str) -> String {
    let from = drawing.find('>').map_or(0, |i| i + 1);
    let to = drawing.rfind("</svg>").unwrap_or(drawing.len());
    let mut inner = drawing[from..to].replace(" font-family=\"sans-serif\"", "");
    for (RGBColor(r, g, b), class) in CLASSES {
        for paint in ["fill", "stroke"] {
            let colour = format!("{paint}=\"#{r:02X}{g:02X}{b:02X}\"");
            inner = inner.replace(&colour, &format!("class=\"{class}\""));
        }
    }
    inner
}

/// What is drawn how; gives the height below it.
fn key(svg: &mut Svg, frame: Frame, y: f64) -> f64 {
    let (mut x, mut y) = (frame.margin() + 2.0, y + 16.0);
    for (class, text) in [
        ("early", words::KEY_EARLY),
        ("open", words::KEY_EITHER_SIDE),
        ("late", words::KEY_LATE),
        ("copper", words::KEY_MEDIAN),
    ] {
        let room = 16.0 + lettering::width(text, 11.0);
        if x + room > frame.right() {
            x = frame.margin() + 2.0;
            y += 16.0;
        }
        if class == "copper" {
            svg.line((x + 4.0, y - 10.0), (x + 4.0, y + 1.0), class);
        } else {
            svg.rect((x, y - 9.0), (8.0, 9.0), class, None);
        }
        svg.text((x + 14.0, y), "soft small", Anchor::Start, text);
        x += room + 16.0;
    }
    y
}
