//! The table of bars: what is asked for, what was reached.

use crate::conditions::Kind;
use crate::count::{Found, Share, quantile, within};
use crate::score::Tally;

/// What a row asks for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Bar {
    AtLeast(f64),
    AtMost(f64),
    Between(f64, f64),
    /// Shown, not asked for.
    Shown,
}

impl Bar {
    /// Whether a figure passes; `None` where there is no figure or no bar.
    pub fn passes(self, figure: Option<f64>) -> Option<bool> {
        let value = figure?;
        match self {
            Self::AtLeast(bar) => Some(value >= bar),
            Self::AtMost(bar) => Some(value <= bar),
            Self::Between(low, high) => Some((low..=high).contains(&value)),
            Self::Shown => None,
        }
    }

    /// As text: ">= .98".
    pub fn text(self) -> String {
        match self {
            Self::AtLeast(bar) => format!(">= {bar}"),
            Self::AtMost(bar) => format!("<= {bar}"),
            Self::Between(low, high) => format!("{low}-{high}"),
            Self::Shown => String::new(),
        }
    }
}

/// One line of the table.
#[derive(Clone, Debug)]
pub struct Row {
    pub name: &'static str,
    pub figure: Option<f64>,
    pub digits: usize,
    /// How many tries stand behind it.
    pub count: usize,
    pub bar: Bar,
}

/// Bars of one kind, in the order of the rows of [`rows`] that have one.
struct Bars {
    f25: f64,
    f10: f64,
    p95_ms: f64,
    triplet_ms: f64,
    accused: f64,
    unsure: f64,
    found: f64,
    tune: [f64; 2],
    stop_ms: f64,
    rolls: f64,
}

fn bars(kind: Kind) -> Bars {
    let clean = Bars {
        f25: 0.995,
        f10: 0.98,
        p95_ms: 4.0,
        triplet_ms: 1.0,
        accused: 0.3,
        unsure: 1.5,
        found: 90.0,
        tune: [2.5, 7.0],
        stop_ms: 20.0,
        rolls: 95.0,
    };
    match kind {
        Kind::Clean => clean,
        Kind::Click => Bars {
            f25: 0.99,
            f10: 0.97,
            p95_ms: 5.0,
            ..clean
        },
        Kind::Phone => Bars {
            stop_ms: 40.0,
            ..bars(Kind::Room)
        },
        Kind::Room | Kind::Noise | Kind::SoftAfterLoud | Kind::Messy => Bars {
            f25: 0.975,
            f10: 0.93,
            p95_ms: 7.0,
            triplet_ms: 2.0,
            accused: 0.6,
            unsure: 3.0,
            found: 75.0,
            tune: [4.0, 10.0],
            stop_ms: 60.0,
            rolls: 90.0,
        },
    }
}

/// Every row for one kind of takes.
pub fn rows(kind: Kind, tally: &Tally) -> Vec<Row> {
    let bar = bars(kind);
    let mut rows = blind_rows(tally);
    rows.extend(stroke_rows(&bar, tally));
    rows.extend(note_rows(&bar, tally));
    rows.extend(tone_rows(&bar, tally));
    rows.extend(metronome_rows(tally));
    rows
}

/// A row of a quantity that may be absent.
fn row(name: &'static str, figure: Option<f64>, digits: usize, count: usize, bar: Bar) -> Row {
    Row {
        name,
        figure,
        digits,
        count,
        bar,
    }
}

/// The rows that say what was heard without the part.
pub fn blind_rows(t: &Tally) -> Vec<Row> {
    let found = |name, found: Found| row(name, found.f(), 4, found.audible, Bar::Shown);
    let time = |name, q| {
        let ms = t.blind_time_error_s(q).map(|s| 1e3 * s);
        row(name, ms, 2, t.blind_times.len(), Bar::Shown)
    };
    vec![
        row("takes", Some(t.takes as f64), 0, t.takes, Bar::Shown),
        found("stroke F at 25 ms, blind", t.blind),
        found("stroke F at 10 ms, blind", t.blind_10),
        time("attack time error, blind, median, ms", 0.5),
        time("attack time error, blind, p95, ms", 0.95),
    ]
}

fn stroke_rows(bar: &Bars, t: &Tally) -> Vec<Row> {
    let found = |name, found: Found, bar| row(name, found.f(), 4, found.audible, bar);
    let time = |name, s: Option<f64>, bar| row(name, s.map(|s| 1e3 * s), 2, t.times.len(), bar);
    let triplet = quantile(t.triplets.iter().map(|t| 1e3 * t.abs()), 0.5);
    let least = Bar::AtLeast;
    vec![
        share("takes not judged, %", t.unjudged, Bar::AtMost(0.0)),
        found("stroke F at 25 ms, part known", t.within_25, least(bar.f25)),
        found("stroke F at 10 ms, part known", t.within_10, least(bar.f10)),
        found("F at 25 ms, rolls left out", t.outside_rolls_25, Bar::Shown),
        found("F at 10 ms, rolls left out", t.outside_rolls_10, Bar::Shown),
        time(
            "attack time error, median, ms",
            t.time_error_s(0.5),
            Bar::Shown,
        ),
        time(
            "attack time error, p95, ms",
            t.time_error_s(0.95),
            Bar::AtMost(bar.p95_ms),
        ),
        time(
            "attack time error in a take, p95, ms",
            quantile(t.times_in_take.iter().map(|e| e.abs()), 0.95),
            Bar::Shown,
        ),
        time("constant lag, ms", t.lag_s(), Bar::Shown),
        row(
            "triplet interval error, median, ms",
            triplet,
            2,
            t.triplets.len(),
            Bar::AtMost(bar.triplet_ms),
        ),
    ]
}

/// A row of a share in per cent.
fn share(name: &'static str, share: Share, bar: Bar) -> Row {
    row(name, share.pct(), 2, share.of, bar)
}

fn note_rows(bar: &Bars, t: &Tally) -> Vec<Row> {
    vec![
        share("notes with the right outcome, %", t.right, Bar::Shown),
        share(
            "played and audible, called missed or other-drum, %",
            t.accused,
            Bar::AtMost(bar.accused),
        ),
        share(
            "unsure among played and audible, %",
            t.unsure,
            Bar::AtMost(bar.unsure),
        ),
        share(
            "missed notes found, %",
            t.missed_found,
            Bar::AtLeast(bar.found),
        ),
        share(
            "wrong drums found, %",
            t.other_found,
            Bar::AtLeast(bar.found),
        ),
    ]
}

fn metronome_rows(t: &Tally) -> Vec<Row> {
    let size = |name, values: &[f64], digits| {
        let median = quantile(values.iter().map(|v| v.abs()), 0.5);
        row(name, median, digits, values.len(), Bar::Shown)
    };
    let off = |errors: &[(f64, f64)]| errors.iter().map(|e| e.0).collect::<Vec<_>>();
    let within = |errors: &[(f64, f64)]| within(errors.iter().copied());
    vec![
        share("metronomes found, %", t.metronome, Bar::Shown),
        share(
            "metronomes where none is, %",
            t.metronome_false,
            Bar::AtMost(0.0),
        ),
        share(
            "found, and the playing keeps to it, %",
            t.metronome_kept,
            Bar::Shown,
        ),
        size(
            "time from click to click, median error, ppm",
            &t.click_ppm,
            1,
        ),
        row(
            "times of clicks, constant lag, ms",
            quantile(t.click_times.iter().map(|e| e.0), 0.5),
            2,
            t.click_times.len(),
            Bar::Shown,
        ),
        size("times of clicks, median error, ms", &off(&t.click_times), 2),
        share(
            "true times of clicks within 2 sd, %",
            within(&t.click_times),
            Bar::Shown,
        ),
        size(
            "notes against clicks, median error, ms",
            &off(&t.against_clicks),
            2,
        ),
        share(
            "true notes against clicks within 2 sd, %",
            within(&t.against_clicks),
            Bar::Shown,
        ),
    ]
}

fn tone_rows(bar: &Bars, t: &Tally) -> Vec<Row> {
    let cents = |q| quantile(t.tuning.iter().map(|t| t.0.abs()), q);
    let tuned = t.tuning.len();
    let sure = Bar::Between(92.0, 98.0);
    let settings_within = within(t.tuning.iter().copied());
    let strokes_within = within(t.stroke_cents.iter().copied());
    let stop = quantile(t.stops.iter().map(|s| 1e3 * s.abs()), 0.5);
    vec![
        row(
            "tuning of a setting, median, cents",
            cents(0.5),
            2,
            tuned,
            Bar::AtMost(bar.tune[0]),
        ),
        row(
            "tuning of a setting, p90, cents",
            cents(0.9),
            2,
            tuned,
            Bar::AtMost(bar.tune[1]),
        ),
        row(
            "settings whose tone wanders",
            Some(t.blurred as f64),
            0,
            t.tuned.of,
            Bar::Shown,
        ),
        share("settings given a tuning, %", t.tuned, Bar::Shown),
        share("true times within 2 sd, %", t.times_within(), sure),
        share(
            "true intervals of figures within 2 sd, %",
            within(t.intervals.iter().copied()),
            sure,
        ),
        share(
            "true unevenness of figures within 2 sd, %",
            within(t.unevenness.iter().copied()),
            sure,
        ),
        share(
            "true levels of strokes within 2 sd, %",
            within(t.levels.iter().copied()),
            sure,
        ),
        share(
            "true cents of settings within 2 sd, %",
            settings_within,
            sure,
        ),
        share(
            "true cents of strokes within 2 sd, %",
            strokes_within,
            Bar::Shown,
        ),
        row(
            "stop time error, median, ms",
            stop,
            1,
            t.stops.len(),
            Bar::AtMost(bar.stop_ms),
        ),
        share("told stops within 2 sd, %", t.stops_within, Bar::Shown),
        share("stopped or ringing told right, %", t.stop_kind, Bar::Shown),
        share("stops called unsure, %", t.stop_unsure, Bar::Shown),
        share("roll rate within 5 %, %", t.rolls, Bar::AtLeast(bar.rolls)),
        share("told roll rates within 5 %, %", t.rolls_told, Bar::Shown),
        share("told roll rates within 2 sd, %", t.rolls_within, Bar::Shown),
        share(
            "told gaps behind rolls within 2 sd, %",
            t.gaps_within,
            Bar::Shown,
        ),
        share(
            "runs with the right bars, %",
            t.passages,
            Bar::AtLeast(99.0),
        ),
    ]
}
