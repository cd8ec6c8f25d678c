//! The review: everything one take says about one part, as plain values.
//!
//! Times are seconds from the first sample that a player of the file would
//! sound. Unknown is `None`, never 0. This is also the shape of
//! `review.json`; fields may be added, none may change its meaning.

use crate::align::Outcome;
use crate::pitch::Pitch;
use crate::settings::Settings;
use serde::{Deserialize, Serialize};

/// The `format` of every review file.
pub const FORMAT: &str = "kettlemark-review";
/// The `version` of the review file.
pub const VERSION: u32 = 1;

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Review {
    pub format: String,
    pub version: u32,
    /// Of the program that wrote it.
    pub program: String,
    pub settings: Settings,
    pub take: TakeFacts,
    pub part: PartFacts,
    pub judged: bool,
    /// Why it was not judged.
    pub reason: Option<String>,
    /// Probability that the take is of this part, calibrated.
    pub same_piece: Option<f64>,
    pub passages: Vec<PassageFacts>,
    pub tempo: TempoFacts,
    /// A metronome that sounds along. `None`: none was found.
    pub metronome: Option<MetronomeFacts>,
    pub strokes: Vec<StrokeFacts>,
    pub notes: Vec<NoteFacts>,
    pub figures: Vec<Figure>,
    /// Figures of one kind taken together.
    pub figure_kinds: Vec<FigureKind>,
    pub rolls: Vec<Roll>,
    pub drums: Vec<DrumFacts>,
    /// Intervals between drums that sound together in one setting.
    pub intervals: Vec<IntervalFacts>,
    pub dynamics: Dynamics,
    pub stops: Vec<Stop>,
    pub doubts: Vec<Doubt>,
    pub remarks: Vec<Remark>,
    /// The written part as far as a page needs it.
    pub written: Written,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct TakeFacts {
    pub file: String,
    pub hash: String,
    pub duration_s: f64,
    pub sample_rate_hz: u32,
    pub channels: u16,
    pub codec: String,
    pub start_offset_known: bool,
    /// Largest sample, dB re full scale. `None`: there is no sound.
    pub peak_db: Option<f64>,
    pub clipped_share: f64,
    /// Mean square of the quietest moments, dB re the square of full scale.
    pub noise_floor_db: Option<f64>,
    pub bass_cut_hz: Option<f64>,
    pub bandwidth_hz: Option<f64>,
    pub gain_control: Option<bool>,
    /// Lost spans, seconds.
    pub gaps: Vec<(f64, f64)>,
    /// Loudness outline for drawing, dB re its loudest moment, one value
    /// every `outline_hop_s`; `None` where there is silence.
    pub outline_db: Vec<Option<f64>>,
    pub outline_hop_s: f64,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct PartFacts {
    pub title: String,
    /// As played.
    pub bars: usize,
    /// How many notes are expected.
    pub notes: usize,
    /// BLAKE3 of the notes, hexadecimal: the same part whatever its file.
    pub identity: String,
}

/// One run through some of the part.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PassageFacts {
    pub from_s: f64,
    pub to_s: f64,
    pub from_bar: i32,
    pub to_bar: i32,
    pub counted: bool,
    pub median_bpm: Option<f64>,
    pub played: usize,
    pub missed: usize,
    pub other_drum: usize,
    pub unsure: usize,
    /// Median unevenness of its figures.
    pub unevenness_ms: Option<f64>,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct TempoFacts {
    /// Quarter notes a minute.
    pub median_bpm: Option<f64>,
    pub marked_bpm: Option<f64>,
    /// Slope of the tempo over the counted passage, per cent a minute of
    /// playing; faster positive.
    pub drift_pct_per_min: Option<f64>,
    pub drift_sd_pct_per_min: Option<f64>,
    pub curve: Vec<TempoPoint>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TempoPoint {
    pub bar: i32,
    /// Quarter notes from 1 at the bar line.
    pub beat: f64,
    pub time_s: f64,
    pub bpm: f64,
    /// What is written there.
    pub marked_bpm: Option<f64>,
}

/// A metronome that sounds along.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct MetronomeFacts {
    pub clicks_per_min: f64,
    pub clicks_per_min_sd: f64,
    /// How many were heard by themselves; strokes cover the others.
    pub clicks: usize,
    /// The first and the last of those.
    pub from_s: f64,
    pub to_s: f64,
    /// Standard uncertainty of the times of all clicks together.
    pub time_sd_ms: f64,
    /// Quarter notes from click to click, as it was played. `None`: the
    /// playing does not keep to it, and nothing is measured against it.
    pub quarters: Option<f64>,
    /// Median of the notes against the clicks, early negative.
    pub deviation_ms: Option<f64>,
    pub deviation_sd_ms: Option<f64>,
    /// Scatter of the notes about that, standard deviation.
    pub scatter_ms: Option<f64>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct StrokeFacts {
    pub time_s: f64,
    pub time_sd_ms: f64,
    /// dB re the loudest stroke of the take.
    pub level_db: f64,
    pub level_sd_db: f64,
    pub drum: Option<u8>,
    /// Principal tone.
    pub hz: Option<f64>,
    /// Against the written pitch of the drum that was struck.
    pub cents: Option<f64>,
    pub cents_sd: Option<f64>,
    pub in_roll: bool,
    /// `index` of the note.
    pub note: Option<usize>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct NoteFacts {
    pub index: usize,
    pub bar: i32,
    /// Quarter notes from 1 at the bar line.
    pub beat: f64,
    /// Quarter notes from the start of the part, as played.
    pub at: f64,
    pub length: f64,
    pub pitch: Pitch,
    pub drum: u8,
    pub roll: bool,
    pub outcome: Outcome,
    /// Place in `strokes`.
    pub stroke: Option<usize>,
    /// Its time minus the pulse, early negative.
    pub deviation_ms: Option<f64>,
    pub deviation_sd_ms: Option<f64>,
    /// Where the pulse puts it.
    pub expected_s: Option<f64>,
    /// Its time minus that of the metronome, early negative. `None` where no
    /// metronome was found or the playing does not keep to it.
    pub click_deviation_ms: Option<f64>,
    pub click_deviation_sd_ms: Option<f64>,
}

/// A group of equal written values inside one beat or span.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Figure {
    pub bar: i32,
    pub beat: f64,
    /// "triplet-eighths", "sixteenths" ...
    pub kind: String,
    /// `index` of its notes.
    pub notes: Vec<usize>,
    /// Ratios that sum to 1, one an interval; the closing interval is there
    /// only when the next written note follows at once. Empty where a stroke
    /// is missing.
    pub shares: Vec<f64>,
    /// Mean interval.
    pub interval_ms: Option<f64>,
    pub unevenness_ms: Option<f64>,
    pub unevenness_sd_ms: Option<f64>,
    pub unevenness_pct: Option<f64>,
    /// `None`: the uncertainty straddles the limit, or it was not measured.
    pub clean: Option<bool>,
}

/// All figures of one kind.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FigureKind {
    pub kind: String,
    /// How many were measured.
    pub count: usize,
    pub median_unevenness_ms: Option<f64>,
    /// Standard uncertainty of it.
    pub median_unevenness_sd_ms: Option<f64>,
    pub median_unevenness_pct: Option<f64>,
    pub median_interval_ms: Option<f64>,
    /// Of those with a verdict: clean, not clean.
    pub clean: usize,
    pub not_clean: usize,
    /// Median place of each stroke after the first against equal parts, ms,
    /// early negative.
    pub usual_shape_ms: Vec<f64>,
    /// Standard uncertainty of each.
    pub usual_shape_sd_ms: Vec<f64>,
    /// In how many figures each of them is to the same side as the median.
    pub usual_shape_count: Vec<usize>,
    /// Over how many figures that is: those that have the commonest number of
    /// strokes and intervals.
    pub usual_shape_figures: Option<usize>,
    /// Median deviation of strokes by the right and left hand, ms, early
    /// negative, with its standard uncertainty. `None` where stickings are not
    /// written or too few such strokes were heard.
    pub right_ms: Option<f64>,
    pub right_sd_ms: Option<f64>,
    pub left_ms: Option<f64>,
    pub left_sd_ms: Option<f64>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Roll {
    /// `index` of the note.
    pub note: usize,
    pub bar: i32,
    pub from_s: f64,
    pub to_s: f64,
    pub strokes_per_s: Option<f64>,
    pub strokes_per_s_sd: Option<f64>,
    /// Standard deviation of the distances between its strokes, per cent of
    /// their mean, timing uncertainty taken out. `None` where too few strokes
    /// were heard one by one.
    pub unevenness_pct: Option<f64>,
    /// Standard uncertainty of it.
    pub unevenness_sd_pct: Option<f64>,
    /// Level along the roll in equal steps, dB re the loudest stroke. Empty where
    /// what rings hides it.
    pub level_curve_db: Vec<f64>,
    /// First stroke against the roll's next strokes. `None` where what rings
    /// hides their levels.
    pub start_accent_db: Option<f64>,
    /// Standard uncertainty of it.
    pub start_accent_sd_db: Option<f64>,
    /// The following note, if it follows at once on the same drum, against the
    /// roll's last strokes. `None` where what rings hides their levels.
    pub end_accent_db: Option<f64>,
    /// Standard uncertainty of it.
    pub end_accent_sd_db: Option<f64>,
    /// Silence between the last stroke and the next note beyond one stroke's
    /// spacing.
    pub gap_ms: Option<f64>,
    /// Standard uncertainty of it.
    pub gap_sd_ms: Option<f64>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct DrumFacts {
    pub drum: u8,
    pub size_in: Option<f64>,
    pub settings: Vec<SettingFacts>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SettingFacts {
    pub pitch: Pitch,
    pub from_bar: i32,
    pub to_bar: i32,
    /// Pooled principal tone.
    pub hz: Option<f64>,
    /// Against the written pitch, sharp positive.
    pub cents: Option<f64>,
    pub cents_sd: Option<f64>,
    /// How many strokes stand behind it.
    pub strokes: usize,
    pub drift_cents_per_min: Option<f64>,
    pub drift_sd_cents_per_min: Option<f64>,
    /// How much sharper loud strokes start than soft ones, cents per 10 dB.
    pub loud_sharp_cents: Option<f64>,
    /// Standard uncertainty of it.
    pub loud_sharp_sd_cents: Option<f64>,
    pub verdict: Option<TuneVerdict>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum TuneVerdict {
    InTune,
    Noticeable,
    Off,
}

/// The interval between two drums against equal temperament.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct IntervalFacts {
    pub from_bar: i32,
    pub to_bar: i32,
    pub lower_drum: u8,
    pub lower: Pitch,
    pub upper_drum: u8,
    pub upper: Pitch,
    /// Wide positive.
    pub cents: f64,
    pub cents_sd: f64,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Dynamics {
    /// One for every stretch under one mark on one drum family.
    pub levels: Vec<LevelFacts>,
    /// Where neighbouring marks come out in the wrong order.
    pub order_breaks: Vec<OrderBreak>,
    pub accents: Vec<Accent>,
    pub hairpins: Vec<HairpinFacts>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LevelFacts {
    pub bar: i32,
    pub beat: f64,
    /// Last bar of the stretch.
    pub to_bar: i32,
    pub mark: String,
    /// dB re the loudest stroke; differences between drums taken out.
    pub level_db: Option<f64>,
    pub level_sd_db: Option<f64>,
    pub strokes: usize,
    /// What a monotone fit of all marks gives this mark.
    pub fitted_db: Option<f64>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct OrderBreak {
    pub softer_mark: String,
    pub softer_bar: i32,
    pub louder_mark: String,
    pub louder_bar: i32,
    /// How far the softer mark came out above the louder one.
    pub excess_db: f64,
    pub excess_sd_db: f64,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Accent {
    /// `index` of the note.
    pub note: usize,
    pub bar: i32,
    /// Against unaccented neighbours on the same drum.
    pub contrast_db: Option<f64>,
    pub contrast_sd_db: Option<f64>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct HairpinFacts {
    pub from_bar: i32,
    pub to_bar: i32,
    /// "crescendo" or "diminuendo".
    pub written: String,
    /// From its start to its end, louder positive.
    pub change_db: Option<f64>,
    pub change_sd_db: Option<f64>,
    /// Share of the change that a straight line explains, 0 to 1.
    pub steadiness: Option<f64>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Stop {
    /// `index` of the note after whose end the drum is to be silent.
    pub note: usize,
    pub bar: i32,
    pub drum: u8,
    /// "final", "rest", "staccato" or "marked".
    pub expected: String,
    pub state: StopState,
    /// From the stroke's contact, the last one of a roll, to the end of the
    /// written value. `None` under a fermata.
    pub written_end_ms: Option<f64>,
    /// From the same contact to the stop. `None` unless stopped, and where the
    /// moment is so unsure that nobody could be called in time.
    pub stopped_after_ms: Option<f64>,
    /// Standard uncertainty of both it and `late_ms`.
    pub stopped_after_sd_ms: Option<f64>,
    /// Against the end of the written value, late positive. `None` under a
    /// fermata as well.
    pub late_ms: Option<f64>,
    /// Level 0.5 s after the stroke's written end, relative to the stroke.
    pub ring_db_500ms: Option<f64>,
    /// Level of the drum's own partials after the stroke for drawing,
    /// dB re the stroke, every `curve_hop_s` from the same contact.
    pub curve_db: Vec<f64>,
    pub curve_hop_s: f64,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum StopState {
    Stopped,
    Ringing,
    Unsure,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Doubt {
    /// "clipping", "gain-control", "bass-cut", "noise", "gap" ...
    pub kind: String,
    pub text: String,
    /// Measures that this makes less sure: "evenness", "tuning", "dynamics",
    /// "stops", "rolls", "outcomes".
    pub limits: Vec<String>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Remark {
    /// 1 = most useful.
    pub rank: usize,
    pub kind: String,
    /// Printed bar numbers.
    pub bars: Vec<i32>,
    pub text: String,
    /// One way to practise it.
    pub practise: String,
    /// What to play to hear it.
    pub from_s: f64,
    pub to_s: f64,
}

/// The written part as far as a page needs it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Written {
    pub bars: Vec<WrittenBar>,
    pub marks: Vec<WrittenMark>,
    pub hairpins: Vec<WrittenHairpin>,
    /// Tempo marks in their order.
    #[serde(default)]
    pub tempi: Vec<WrittenTempo>,
    /// Where a fermata stands, quarter notes from the start of the part.
    #[serde(default)]
    pub fermatas: Vec<f64>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct WrittenTempo {
    pub at: f64,
    /// Quarter notes a minute. `None`: the mark is words alone.
    pub bpm: Option<f64>,
    /// The tempo moves gradually from here to the next mark.
    pub gradual: bool,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct WrittenBar {
    pub number: i32,
    /// Quarter notes from the start of the part.
    pub at: f64,
    pub length: f64,
    /// Where the pulse of the counted passage puts its start.
    pub time_s: Option<f64>,
    pub cue: Option<String>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct WrittenMark {
    pub at: f64,
    pub bar: i32,
    pub mark: String,
    pub time_s: Option<f64>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct WrittenHairpin {
    pub from: f64,
    pub to: f64,
    pub kind: String,
    pub from_s: Option<f64>,
    pub to_s: Option<f64>,
}
