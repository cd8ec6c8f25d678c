//! A note at which no stroke was found, or only a doubtful one: was it left out,
//! or played and not heard?
//!
//! A logistic model of a few signs says how much likelier what sounds there is
//! after a stroke than without one. The signs compare it with what strokes on
//! that drum usually add, as strongly as those around.

use super::logistic::Logistic;
use super::residual::BIN_S;
use super::rises::Scale;
use super::usual::{APART, Profile, Usual, levels_db};
use super::views::Spectra;
use super::voices::{Expected, Voices};
use super::{BANDS, Candidate, Heard};
use crate::align::Alignment;
use crate::part::{Note, Part, quarters_f64};
use crate::stats;
use std::sync::LazyLock;

/// How many signs there are, the constant included.
const SIGNS: usize = SIGN_NAMES.len();

/// What each sign says; the order of the weights file.
pub const SIGN_NAMES: [&str; 13] = [
    "constant",
    "residual_against",
    "rise",
    "rise_short",
    "voice_for",
    "voice_against",
    "voice_about_for",
    "voice_about_against",
    "voice_anyhow",
    "gap_before",
    "gap_after",
    "candidate",
    "pulse_sd",
];

/// The signs of one note.
pub type Signs = [f32; SIGNS];

/// Places at which the stroke may have been, bins from where the pulse has it:
/// 15 ms before to 15 ms after.
const PLACES: [i64; 7] = [-30, -20, -10, 0, 10, 20, 30];
/// Bins of the residual compared, after and before a place.
const SIDES: (usize, usize) = (120, 60);
/// Nepers against a stroke beyond which the residual says no more.
const AGAINST: f64 = -2000.0;
/// How much a band rises at most, nepers of power.
const CAP: f32 = 3.5;
/// Frames around a place in which the rise may show.
const AROUND: i64 = 2;
/// Nepers beyond which the bands say no more.
const RISE: (f32, f32) = (-6.0, 8.0);
const SHORT: (f32, f32) = (-12.0, 3.0);
/// The spectra compared end and begin so long before and after, seconds; none
/// are where another stroke follows within so many.
const MARGIN_S: f64 = 0.015;
const FOLLOWED_S: f64 = 0.06;
/// The stroke is looked for about the pulse too: at so many steps before and
/// after, each so long, seconds.
const STEPS: i32 = 6;
const STEP_S: f64 = 0.008;
/// Nothing is told where every place that could be looked at is less likely than
/// this, log of the likeliest one's.
const FAR: f64 = -3.0;
/// Nepers beyond which they say no more.
const VOICE: (f64, f64) = (-400.0, 12.0);
/// Seconds to the stroke before and to the one after beyond which they do not
/// matter.
const GAP_S: (f64, f64) = (0.02, 1.0);
/// A second stroke this close to another does not show, seconds.
const TOGETHER_S: f64 = 0.025;
/// Candidates this far from the pulse may be the stroke, seconds, and how far
/// strokes lie from it, standard deviation.
const REACH_S: f64 = 0.08;
const JITTER_S: f64 = 0.007;
/// Log odds below which a candidate says no more.
const CANDIDATE: f64 = -12.0;
/// Uncertainty of the pulse beyond which it says no more, ms.
const PULSE_SD_MS: f64 = 30.0;
/// The ratio never speaks more plainly than this for a stroke.
const MOST: f64 = 1e3;

static MODEL: LazyLock<Logistic<SIGNS>> =
    LazyLock::new(|| Logistic::read(&SIGN_NAMES, include_str!("silence.csv")));

/// For every note of the part: how much likelier what sounds there is if it was
/// played than if it was left out. `None` where a stroke was found that is
/// likelier one than not, where a doubtful one cannot be looked into, or no
/// passage leads there.
pub fn unheard(
    heard: &Heard,
    part: &Part,
    alignment: &Alignment,
    voices: &Voices,
) -> Vec<Option<f32>> {
    let ratio = |silence| match silence {
        Silence::Covered => 1.0,
        Silence::Shows(signs) => MODEL.log_odds(&signs).exp().min(MOST) as f32,
    };
    let silences = silences(heard, part, alignment, voices).into_iter();
    silences.map(|s| s.map(ratio)).collect()
}

/// The signs of every note at which no sure stroke was found and something can be
/// told, for fitting the weights.
pub fn signs(
    heard: &Heard,
    part: &Part,
    alignment: &Alignment,
    voices: &Voices,
) -> Vec<Option<Signs>> {
    let silences = silences(heard, part, alignment, voices).into_iter();
    let signs = silences.map(|s| match s? {
        Silence::Covered => None,
        Silence::Shows(signs) => Some(signs),
    });
    signs.collect()
}

/// Whether a candidate is likelier none than a stroke.
fn doubtful(heard: &Heard, candidate: usize) -> bool {
    heard.candidates[candidate].log_odds < 0.0
}

/// The times of all strokes of an alignment, in order, seconds.
fn strokes(heard: &Heard, alignment: &Alignment) -> Vec<f64> {
    let matches = alignment.passages.iter().flat_map(|p| &p.matches);
    let mut strokes_s: Vec<f64> = matches
        .flat_map(|m| m.stroke.iter().chain(&m.further))
        .filter(|&&c| !doubtful(heard, c))
        .map(|&c| heard.candidates[c].time_s)
        .collect();
    strokes_s.sort_by(f64::total_cmp);
    strokes_s
}

/// What is known of a note at which no sure stroke was found.
enum Silence {
    /// Another stroke is too close, or its drum is not known.
    Covered,
    Shows(Signs),
}

fn silences(
    heard: &Heard,
    part: &Part,
    alignment: &Alignment,
    voices: &Voices,
) -> Vec<Option<Silence>> {
    let strokes_s = strokes(heard, alignment);
    let mut look = Look {
        heard,
        scale: Scale::of(&heard.residual),
        voices,
        spectra: Spectra::of(&heard.low),
    };
    let note_settings = part.note_settings();
    let usual = Usual::learn(heard, part, alignment);
    let mut silences: Vec<Option<Silence>> = part.notes.iter().map(|_| None).collect();
    for passage in &alignment.passages {
        for (offset, found) in passage.matches.iter().enumerate() {
            let note = passage.notes.0 + offset;
            let at_s = passage.pulse.time_s(quarters_f64(part.notes[note].at));
            let sure = found.stroke.filter(|&c| !doubtful(heard, c));
            let (Some(at_s), Some(setting), None) = (at_s, note_settings[note], sure) else {
                continue;
            };
            let next = strokes_s.partition_point(|&s| s < at_s);
            let gap = |stroke: Option<&f64>| stroke.map_or(f64::INFINITY, |s| (s - at_s).abs());
            let gaps_s = [
                gap(next.checked_sub(1).map(|before| &strokes_s[before])),
                gap(strokes_s.get(next)),
            ];
            let together = gaps_s.iter().any(|&g| g <= TOGETHER_S);
            let stronger_db = usual.loudness.of_note_db(at_s, &part.notes[note]);
            silences[note] = match &usual.profiles[setting] {
                Some(profile) if !together => Some(Silence::Shows(look.signs(
                    (at_s, passage.pulse.sd_s),
                    (&part.notes[note], setting),
                    &profile.stronger(stronger_db),
                    gaps_s,
                ))),
                _ => found.stroke.is_none().then_some(Silence::Covered),
            };
        }
    }
    silences
}

/// Looks for strokes that were not found.
struct Look<'a> {
    heard: &'a Heard,
    scale: Scale<'a>,
    voices: &'a Voices,
    spectra: Spectra<'a>,
}

impl Look<'_> {
    /// The signs of a note on a setting, a stroke for which should add a
    /// profile, at a time of the pulse with its uncertainty.
    fn signs(
        &mut self,
        (at_s, pulse_sd_s): (f64, f64),
        (note, setting): (&Note, usize),
        expected: &Profile,
        gaps_s: [f64; 2],
    ) -> Signs {
        let against = self.against(at_s, expected);
        let (rise, rise_expected) = self.rises(at_s, expected);
        let rise_short = (rise - rise_expected).clamp(SHORT.0, SHORT.1);
        let sound = self.voices.expected(note, setting, at_s);
        let voice = match sound {
            Some(sound) if gaps_s[1] >= FOLLOWED_S => {
                let view = self.spectra.around(at_s, MARGIN_S, MARGIN_S);
                self.voices.struck(&view, sound).clamp(VOICE.0, VOICE.1)
            }
            _ => 0.0,
        };
        let (about, anyhow) = sound.map_or((0.0, 0.0), |sound| {
            self.voice_about((at_s, pulse_sd_s), sound, gaps_s)
        });
        let gap = |gap_s: f64| gap_s.clamp(GAP_S.0, GAP_S.1).ln() as f32;
        let sides = |voice: f64| [voice.max(0.0), (-voice).max(0.0).sqrt()].map(|v| v as f32);
        let [voice_for, voice_against] = sides(voice);
        let [about_for, about_against] = sides(about);
        let against = (-against).ln_1p() as f32;
        let candidate = self.candidate(at_s, pulse_sd_s) as f32;
        [
            1.0,
            against,
            rise.clamp(RISE.0, RISE.1),
            rise_short,
            voice_for,
            voice_against,
            about_for,
            about_against,
            anyhow.max(0.0).ln_1p() as f32,
            gap(gaps_s[0]),
            gap(gaps_s[1]),
            candidate,
            (1000.0 * pulse_sd_s).min(PULSE_SD_MS) as f32,
        ]
    }

    /// How well an expected stroke explains what sounds about a time of the
    /// pulse, wherever between its neighbours it may lie: at the strength that is
    /// expected, and at the likeliest one; nepers, 0 where the neighbours are too
    /// near.
    fn voice_about(
        &mut self,
        (at_s, pulse_sd_s): (f64, f64),
        sound: Expected,
        gaps_s: [f64; 2],
    ) -> (f64, f64) {
        let variance = pulse_sd_s.powi(2) + JITTER_S.powi(2);
        let neighbours_s = (at_s - gaps_s[0], at_s + gaps_s[1]);
        let mut shares = Vec::new();
        let mut logs = Vec::new();
        let mut anyhow = f64::NEG_INFINITY;
        for step in -STEPS..=STEPS {
            let off_s = f64::from(step) * STEP_S;
            let share = -0.5 * off_s * off_s / variance;
            let Some(view) = self.spectra.between(at_s + off_s, neighbours_s) else {
                continue;
            };
            shares.push(share);
            logs.push(share + self.voices.struck(&view, sound));
            anyhow = anyhow.max(share + self.voices.struck_anyhow(&view, sound));
        }
        if shares.iter().all(|&share| share < FAR) {
            return (0.0, 0.0);
        }
        let sum = |logs: Vec<f64>| stats::log_sum_exp(logs.into_iter());
        let about = sum(logs) - sum(shares);
        (about.clamp(VOICE.0, VOICE.1), anyhow)
    }

    /// What the residual about a time says against an expected stroke, nepers,
    /// 0 where it says nothing against it.
    fn against(&self, at_s: f64, expected: &Profile) -> f64 {
        let bin = (at_s / BIN_S).round() as i64;
        let places = PLACES.map(|off| usize::try_from(bin + off).ok());
        let bins = self.heard.residual.bins();
        let inside = places.into_iter().flatten().filter(|&place| place < bins);
        let of_place = |place| expected.agrees(&self.scale, place, 0.0, SIDES);
        let log_ratio = stats::log_sum_exp(inside.map(of_place)) - (PLACES.len() as f64).ln();
        log_ratio.clamp(AGAINST, 0.0)
    }

    /// The log odds of the likeliest candidate about a time of the pulse, the
    /// less the farther off.
    fn candidate(&self, at_s: f64, pulse_sd_s: f64) -> f64 {
        let log_odds = |c: &Candidate| {
            let off_s = c.time_s - at_s;
            let variance = pulse_sd_s.powi(2) + JITTER_S.powi(2) + c.time_sd_s.powi(2);
            c.log_odds - 0.5 * off_s * off_s / variance
        };
        let candidates = self.heard.candidates.iter();
        let near = candidates.filter(|c| (c.time_s - at_s).abs() <= REACH_S);
        near.map(log_odds).fold(CANDIDATE, f64::max)
    }

    /// How much the bands rise at most about a time, and how much they would
    /// with a stroke; nepers of power, all bands together.
    fn rises(&self, at_s: f64, expected: &Profile) -> (f32, f32) {
        let apart = APART as i64;
        let middle = (at_s / self.heard.bands.hop_s).round() as i64;
        let seen = (middle - AROUND..=middle + AROUND)
            .filter_map(|frame| {
                let before = levels_db(self.heard, frame - apart)?;
                let after = levels_db(self.heard, frame + apart)?;
                let nepers = |db: f32| db * 0.1 * std::f32::consts::LN_10;
                let rise = |b: usize| nepers(after[b] - before[b]).clamp(-CAP, CAP);
                Some((0..BANDS).map(rise).sum())
            })
            .fold(RISE.0, f32::max);
        let would = levels_db(self.heard, middle - apart).map_or(0.0, |before| {
            let rise = |b: usize| {
                let ring = 10f32.powf(before[b] * 0.1) + 1e-12;
                (expected.bands[b] / ring).ln_1p().min(CAP)
            };
            (0..BANDS).map(rise).sum()
        });
        (seen, would)
    }
}
