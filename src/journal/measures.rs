//! What the log keeps of a review: one row a measure, with its definition.
//!
//! A review holds hundreds of numbers; a trend follows a few. Each row says
//! what it is about (`scope` and `key`) and under which version of its
//! definition it was made: numbers of different versions are not compared.

use crate::align::Outcome;
use crate::review::{Figure, Review, StopState};
use crate::settings::Settings;
use crate::stats::{mean, median};
use std::collections::BTreeMap;

/// Which way is better for the player.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Better {
    Lower,
    Higher,
    /// Neither: a matter of choice, such as the tempo.
    Neither,
}

/// What a user chose before a review and a measure depends on. The other
/// settings change no measure: the bands of intonation change words, and the
/// passage says which run is measured, not how.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Choice {
    Nothing,
    /// The frequency of A4, against which a pitch is told.
    A4,
    /// How far off a clean figure may be.
    CleanLimit,
    /// How much likelier "not as written" must be before it is said.
    AccuseRatio,
}

impl Choice {
    /// What was chosen: equal where the measures can be set beside one
    /// another.
    pub fn made(self, settings: &Settings) -> [f64; 2] {
        match self {
            Self::Nothing => [0.0; 2],
            Self::A4 => [settings.a4_hz; 2],
            // The factor and the noticeable difference only matter together.
            Self::CleanLimit => [
                settings.clean_factor * settings.noticeable_ms,
                settings.clean_factor * settings.noticeable_pct,
            ],
            Self::AccuseRatio => [settings.accuse_ratio; 2],
        }
    }
}

/// What a measure is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Definition {
    pub name: &'static str,
    /// Rises whenever the same take would give another number.
    pub version: u32,
    /// Of the values as they are kept.
    pub unit: &'static str,
    pub better: Better,
    /// How many of them are shown.
    pub decimals: usize,
    pub choice: Choice,
}

const fn definition(
    name: &'static str,
    unit: &'static str,
    better: Better,
    decimals: usize,
) -> Definition {
    Definition {
        name,
        version: 1,
        unit,
        better,
        decimals,
        choice: Choice::Nothing,
    }
}

impl Definition {
    /// How far apart two values can be at most; `None` where nothing bounds
    /// them.
    pub fn widest(&self) -> Option<f64> {
        match self.name {
            "clean_share" | "stopped_share" | "missed_share" | "other_drum_share" => Some(100.0),
            "all_clean" => Some(1.0),
            _ => None,
        }
    }

    const fn by(self, choice: Choice) -> Self {
        Self { choice, ..self }
    }
}

/// Every measure that is kept. The first, of the leading kind of figure, is
/// the one a trend is read for.
pub const DEFINITIONS: &[Definition] = &[
    definition("unevenness", "ms", Better::Lower, 1),
    definition("unevenness_share", "%", Better::Lower, 1),
    definition("clean_share", "%", Better::Higher, 0).by(Choice::CleanLimit),
    definition("clean_run", "figures", Better::Higher, 0).by(Choice::CleanLimit),
    definition("all_clean", "0 or 1", Better::Higher, 0).by(Choice::CleanLimit),
    definition("off_pitch", "cents", Better::Lower, 1).by(Choice::A4),
    definition("cents", "cents", Better::Neither, 1).by(Choice::A4),
    definition("accent_contrast", "dB", Better::Neither, 1),
    definition("stop_late", "ms", Better::Neither, 0),
    definition("stopped_share", "%", Better::Higher, 0),
    definition("roll_speed", "strokes/s", Better::Neither, 1),
    definition("roll_unevenness", "%", Better::Lower, 1),
    definition("tempo", "bpm", Better::Neither, 1),
    definition("tempo_drift", "%/min", Better::Neither, 2),
    definition("missed_share", "%", Better::Lower, 1).by(Choice::AccuseRatio),
    definition("other_drum_share", "%", Better::Lower, 1).by(Choice::AccuseRatio),
    definition("deviation", "ms", Better::Neither, 1),
];

/// How many measures are said in the terminal and drawn on a page.
pub const MOST_SHOWN: usize = 8;

/// Of the leading kind of figure, in this order before all else.
const OF_FIGURES: [&str; 4] = ["unevenness", "clean_share", "clean_run", "all_clean"];
/// Of the whole take, in this order behind them.
const OF_TAKES: [&str; 4] = ["off_pitch", "accent_contrast", "stop_late", "tempo"];
/// The unevenness again, in another unit: for tables alone.
const DOUBLE: &str = "unevenness_share";

/// Whether a measure is for charts as well as for tables.
pub fn is_charted(definition: &Definition) -> bool {
    definition.name != DOUBLE
}

/// Whether a kind of figure is a triplet, whose evenness players ask for
/// first.
pub fn is_triplet(kind: &str) -> bool {
    kind.starts_with("triplet")
}

/// Where a measure stands among all, to be sorted by: the leading kind of
/// figure, the take, the other kinds, all else, and last what is there twice.
pub fn standing(
    definition: &Definition,
    of: &str,
    leading: Option<&str>,
) -> (usize, String, usize, String) {
    let among = |names: &[&str]| names.iter().position(|n| *n == definition.name);
    let place = place_of(definition.name).unwrap_or(DEFINITIONS.len());
    match (among(&OF_FIGURES), among(&OF_TAKES)) {
        (Some(rank), _) if Some(of) == leading => (0, String::new(), rank, String::new()),
        (Some(rank), _) => (2, of.to_owned(), rank, String::new()),
        (_, Some(rank)) => (1, String::new(), rank, of.to_owned()),
        _ => (
            3 + usize::from(definition.name == DOUBLE),
            String::new(),
            place,
            of.to_owned(),
        ),
    }
}

/// The place of a name among [`DEFINITIONS`], if it is there.
pub fn place_of(name: &str) -> Option<usize> {
    DEFINITIONS.iter().position(|d| d.name == name)
}

/// The definition of a name, if there is one.
pub fn definition_of(name: &str) -> Option<&'static Definition> {
    place_of(name).map(|place| &DEFINITIONS[place])
}

/// One number of one take.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Measure {
    /// "take", "figure", "drum" or "bar".
    pub scope: String,
    /// The figure kind, "2 Bb2" for a drum and its pitch, the bar's printed
    /// number; empty for a take.
    pub key: String,
    pub name: String,
    pub value: f64,
    /// Standard uncertainty; `None` where the review gives none.
    pub sd: Option<f64>,
    /// How many things stand behind it.
    pub count: usize,
    /// Of the definition.
    pub version: u32,
}

struct Rows(Vec<Measure>);

impl Rows {
    fn put(
        &mut self,
        (scope, key): (&str, &str),
        name: &str,
        value: Option<f64>,
        sd: Option<f64>,
        count: usize,
    ) {
        let version = definition_of(name).map_or(1, |d| d.version);
        if let Some(value) = value.filter(|v| v.is_finite()) {
            self.0.push(Measure {
                scope: scope.to_owned(),
                key: key.to_owned(),
                name: name.to_owned(),
                value,
                sd: sd.filter(|s| s.is_finite()),
                count,
                version,
            });
        }
    }
}

/// All measures of a review; none where the take was not judged. What is
/// unknown has no row.
pub fn of_review(review: &Review) -> Vec<Measure> {
    let mut rows = Rows(Vec::new());
    if review.judged {
        take(review, &mut rows);
        figures(review, &mut rows);
        drums(review, &mut rows);
        bars(review, &mut rows);
    }
    rows.0
}

fn take(review: &Review, rows: &mut Rows) {
    let here = ("take", "");
    let strokes = review.strokes.len();
    rows.put(here, "tempo", review.tempo.median_bpm, None, strokes);
    rows.put(
        here,
        "tempo_drift",
        review.tempo.drift_pct_per_min,
        review.tempo.drift_sd_pct_per_min,
        strokes,
    );
    let judged: Vec<Outcome> = review
        .notes
        .iter()
        .map(|n| n.outcome)
        .filter(|o| !matches!(o, Outcome::Unsure | Outcome::NotReached))
        .collect();
    for (name, outcome) in [
        ("missed_share", Outcome::Missed),
        ("other_drum_share", Outcome::OtherDrum),
    ] {
        let count = judged.iter().filter(|o| **o == outcome).count();
        rows.put(
            here,
            name,
            per_cent(count, judged.len()),
            None,
            judged.len(),
        );
    }
    let contrasts: Vec<f64> = review
        .dynamics
        .accents
        .iter()
        .filter_map(|a| a.contrast_db)
        .collect();
    rows.put(
        here,
        "accent_contrast",
        median(&contrasts),
        None,
        contrasts.len(),
    );
    stops(review, rows);
    let speeds: Vec<f64> = review
        .rolls
        .iter()
        .filter_map(|r| r.strokes_per_s)
        .collect();
    rows.put(here, "roll_speed", median(&speeds), None, speeds.len());
    let uneven: Vec<f64> = review
        .rolls
        .iter()
        .filter_map(|r| r.unevenness_pct)
        .collect();
    rows.put(here, "roll_unevenness", median(&uneven), None, uneven.len());
    let settings = review.drums.iter().flat_map(|d| &d.settings);
    let (off, sds): (Vec<f64>, Vec<Option<f64>>) = settings
        .filter_map(|s| s.cents.map(|c| (c.abs(), s.cents_sd)))
        .unzip();
    let sds: Option<Vec<f64>> = sds.into_iter().collect();
    rows.put(
        here,
        "off_pitch",
        mean(&off),
        sds.and_then(|s| sd_of_mean(&s)),
        off.len(),
    );
}

fn stops(review: &Review, rows: &mut Rows) {
    let known: Vec<_> = review
        .stops
        .iter()
        .filter(|s| s.state != StopState::Unsure)
        .collect();
    let made = known
        .iter()
        .filter(|s| s.state == StopState::Stopped)
        .count();
    let here = ("take", "");
    rows.put(
        here,
        "stopped_share",
        per_cent(made, known.len()),
        None,
        known.len(),
    );
    let late: Vec<f64> = known.iter().filter_map(|s| s.late_ms).collect();
    rows.put(here, "stop_late", median(&late), None, late.len());
}

fn figures(review: &Review, rows: &mut Rows) {
    let mut kinds: BTreeMap<&str, Vec<&Figure>> = BTreeMap::new();
    for figure in &review.figures {
        kinds.entry(&figure.kind).or_default().push(figure);
    }
    for (kind, figures) in kinds {
        let here = ("figure", kind);
        let measured: Vec<f64> = figures.iter().filter_map(|f| f.unevenness_ms).collect();
        let sds: Vec<f64> = figures.iter().filter_map(|f| f.unevenness_sd_ms).collect();
        let sd = sd_of_median(&sds);
        rows.put(here, "unevenness", median(&measured), sd, measured.len());
        let shares: Vec<f64> = figures.iter().filter_map(|f| f.unevenness_pct).collect();
        rows.put(
            here,
            "unevenness_share",
            median(&shares),
            None,
            shares.len(),
        );
        let verdicts: Vec<bool> = figures.iter().filter_map(|f| f.clean).collect();
        let clean = verdicts.iter().filter(|c| **c).count();
        let count = verdicts.len();
        rows.put(here, "clean_share", per_cent(clean, count), None, count);
        if count > 0 {
            rows.put(
                here,
                "clean_run",
                Some(longest_run(&figures) as f64),
                None,
                count,
            );
        }
        // One figure without a verdict leaves open whether all were clean,
        // unless another was not.
        let all = if clean < count {
            Some(0.0)
        } else {
            (count > 0 && count == figures.len()).then_some(1.0)
        };
        rows.put(here, "all_clean", all, None, count);
    }
}

/// The longest run of clean figures; one without a verdict ends it.
fn longest_run(figures: &[&Figure]) -> usize {
    figures
        .split(|f| f.clean != Some(true))
        .map(<[&Figure]>::len)
        .max()
        .unwrap_or(0)
}

fn drums(review: &Review, rows: &mut Rows) {
    let mut pitches: BTreeMap<String, Vec<(f64, Option<f64>, usize)>> = BTreeMap::new();
    for drum in &review.drums {
        for setting in &drum.settings {
            if let Some(cents) = setting.cents {
                pitches
                    .entry(format!("{} {}", drum.drum, setting.pitch))
                    .or_default()
                    .push((cents, setting.cents_sd, setting.strokes));
            }
        }
    }
    for (key, settings) in pitches {
        let cents: Vec<f64> = settings.iter().map(|s| s.0).collect();
        let sds: Option<Vec<f64>> = settings.iter().map(|s| s.1).collect();
        let strokes = settings.iter().map(|s| s.2).sum();
        let sd = sds.and_then(|s| sd_of_mean(&s));
        rows.put(("drum", &key), "cents", mean(&cents), sd, strokes);
    }
}

fn bars(review: &Review, rows: &mut Rows) {
    type Estimate = (f64, Option<f64>);
    let mut by_bar: BTreeMap<i32, [Vec<Estimate>; 2]> = BTreeMap::new();
    for note in &review.notes {
        if let Some(ms) = note.deviation_ms {
            let [deviations, _] = by_bar.entry(note.bar).or_default();
            deviations.push((ms, note.deviation_sd_ms));
        }
    }
    for figure in &review.figures {
        if let Some(ms) = figure.unevenness_ms {
            let [_, uneven] = by_bar.entry(figure.bar).or_default();
            uneven.push((ms, figure.unevenness_sd_ms));
        }
    }
    for (bar, [deviations, uneven]) in by_bar {
        let here = ("bar", &*bar.to_string());
        let (values, sds): (Vec<f64>, Vec<Option<f64>>) = deviations.into_iter().unzip();
        let sds: Option<Vec<f64>> = sds.into_iter().collect();
        let sd = sds.and_then(|s| sd_of_mean(&s));
        rows.put(here, "deviation", mean(&values), sd, values.len());
        let (values, sds): (Vec<f64>, Vec<Option<f64>>) = uneven.into_iter().unzip();
        let sds: Vec<f64> = sds.into_iter().flatten().collect();
        let sd = sd_of_median(&sds);
        rows.put(here, "unevenness", median(&values), sd, values.len());
    }
}

fn per_cent(count: usize, of: usize) -> Option<f64> {
    (of > 0).then(|| 100.0 * count as f64 / of as f64)
}

/// Standard uncertainty of the median of like estimates: from three on a
/// quarter more than that of their mean (efficiency 2/pi for normal errors).
pub(super) fn sd_of_median(sds: &[f64]) -> Option<f64> {
    let less_sure = if sds.len() > 2 { 1.253 } else { 1.0 };
    median(sds).map(|s| less_sure * s / (sds.len() as f64).sqrt())
}

/// Standard uncertainty of the mean of independent estimates.
fn sd_of_mean(sds: &[f64]) -> Option<f64> {
    let squares: f64 = sds.iter().map(|s| s * s).sum();
    (!sds.is_empty()).then(|| squares.sqrt() / sds.len() as f64)
}
