//! deviations.svg: how far the notes lie from the pulse, counted.

use super::{Frame, nothing};
use crate::report::lettering;
use crate::review::Review;
use crate::stats::median;
use crate::{number, words};
use plotters::prelude::*;

const SIZE: (u32, u32) = (832, 380);
/// Width of a column, ms.
const COLUMN_MS: i32 = 4;
/// Columns to each side; what lies beyond is counted in the outermost.
const COLUMNS: i32 = 15;
/// Fewer notes are no distribution.
const LEAST: usize = 8;
/// Early and late, told apart by place as well (Okabe and Ito's blue and
/// vermillion).
const EARLY: RGBColor = RGBColor(0, 114, 178);
const LATE: RGBColor = RGBColor(213, 94, 0);

/// The chart as a file of its own.
pub fn file(review: &Review) -> String {
    let mut deviations: Vec<f64> = review.notes.iter().filter_map(|n| n.deviation_ms).collect();
    deviations.sort_by(f64::total_cmp);
    let middle = median(&deviations).filter(|_| deviations.len() >= LEAST);
    middle
        .and_then(|m| draw(review, &deviations, m).ok())
        .unwrap_or_else(|| {
            let why = words::nothing(review, words::NO_DEVIATIONS);
            nothing(review, Frame::ALONE, "deviations", words::DEVIATIONS, &why).file()
        })
}

/// Draws columns and the median. Fails only if the drawing library does.
fn draw(
    review: &Review,
    deviations: &[f64],
    middle: f64,
) -> Result<String, Box<dyn std::error::Error>> {
    let column =
        |ms: f64| ((ms / f64::from(COLUMN_MS)).floor() as i32).clamp(-COLUMNS, COLUMNS - 1);
    let mut counts = vec![0_i32; 2 * COLUMNS as usize];
    for &ms in deviations {
        counts[(column(ms) + COLUMNS) as usize] += 1;
    }
    let highest = counts.iter().copied().max().unwrap_or(1);
    let reach = f64::from(COLUMNS * COLUMN_MS);
    let told = words::deviations_line(&number::signed(middle, 1), deviations.len());
    let mut drawing = String::new();
    {
        let area = SVGBackend::with_string(&mut drawing, SIZE).into_drawing_area();
        area.fill(&WHITE)?;
        let name = lettering::fit(&lettering::harmless(&review.part.title), 20.0, 520.0);
        let mut chart = ChartBuilder::on(&area)
            .caption(format!("{}: {name}", words::DEVIATIONS), ("sans-serif", 20))
            .margin(16)
            .x_label_area_size(44)
            .y_label_area_size(52)
            .build_cartesian_2d(-reach..reach, 0..highest + highest / 5 + 1)?;
        chart
            .configure_mesh()
            .disable_x_mesh()
            .x_desc(words::DEVIATIONS_ACROSS)
            .y_desc(words::DEVIATIONS_UP)
            .x_label_formatter(&|ms| number::signed(*ms, 0))
            .label_style(("sans-serif", 15))
            .axis_desc_style(("sans-serif", 16))
            .draw()?;
        chart.draw_series(
            counts
                .iter()
                .enumerate()
                .filter(|(_, n)| **n > 0)
                .map(|(i, &n)| {
                    let from = f64::from((i as i32 - COLUMNS) * COLUMN_MS);
                    let colour = if from < 0.0 { EARLY } else { LATE };
                    let to = from + f64::from(COLUMN_MS);
                    Rectangle::new([(from + 0.2, 0), (to - 0.2, n)], colour.filled())
                }),
        )?;
        let top = highest + highest / 10 + 1;
        chart.draw_series(LineSeries::new(
            [(middle, 0), (middle, top)],
            BLACK.stroke_width(2),
        ))?;
        chart.draw_series(std::iter::once(Text::new(
            told.clone(),
            (-reach + 2.0, top),
            ("sans-serif", 16),
        )))?;
        area.present()?;
    }
    // The library writes no text alternative.
    let head = "<svg role=\"img\" data-generator=\"kettlemark\" aria-labelledby=\"v-t v-d\" ";
    let named = format!(
        ">\n<title id=\"v-t\">{}</title><desc id=\"v-d\">{}</desc>",
        lettering::escape(words::DEVIATIONS),
        lettering::escape(&told)
    );
    Ok(drawing.replacen("<svg ", head, 1).replacen('>', &named, 1))
}
