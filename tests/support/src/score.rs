//! How well a review agrees with the truth of a made take: every row of the
//! table of bars, counted over many takes.
//!
//! Strokes are paired as [`crate::onsets`] says. Strokes closer together than
//! [`MERGE_S`] (two drums struck at once) count as one, in the truth and in what
//! was heard. Only strokes that stand out by [`AUDIBLE_DB`] or more are asked
//! for; a softer one that was heard is no fault either. Errors in time are
//! those of pairs within 25 ms, less the median of all takes of a kind.

use crate::count::{
    Found, Share, error_without_lag_s, lag_s, merged, merged_times, quantile, within,
};
use crate::onsets;
use crate::takes::MadeTake;
use crate::truth::{Fate, TrueRoll, TrueStroke};
use kettlemark::align::Outcome;
use kettlemark::listen::Heard;
use kettlemark::measure::rolls::LEAST_GAP_MS;
use kettlemark::review::{Figure, Review, StopState, StrokeFacts};

/// From here up a stroke has to be heard, dB.
pub const AUDIBLE_DB: f64 = 3.0;
/// Strokes closer than this are one, seconds.
pub const MERGE_S: f64 = 0.012;
/// Settings with fewer audible strokes are not asked for.
const TUNABLE_STROKES: usize = 3;
/// Fewest strokes whose levels are compared with one another.
const LEVEL_STROKES: usize = 6;
/// Settings whose own tone wanders more than this are not asked for, cents: two
/// thirds of what the looser bar allows to nine settings in ten.
pub const CLEAR_CENTS: f64 = 7.0;

/// One thing that went wrong, for somebody to look at.
#[derive(Clone, Debug, PartialEq)]
pub struct Failure {
    /// Which take.
    pub take: String,
    pub time_s: f64,
    pub what: String,
    pub stand_out_db: Option<f64>,
}

/// Everything counted over the takes of one kind.
#[derive(Clone, Debug, Default)]
pub struct Tally {
    pub takes: usize,
    /// Takes that the review would not judge.
    pub unjudged: Share,
    /// Candidates likelier than not, ±25 ms, the part not known.
    pub blind: Found,
    /// The same, ±10 ms.
    pub blind_10: Found,
    /// (heard minus true, told uncertainty) of those, seconds.
    pub blind_times: Vec<(f64, f64)>,
    pub blind_failures: Vec<Failure>,
    pub within_25: Found,
    pub within_10: Found,
    /// The same without strokes inside rolls.
    pub outside_rolls_25: Found,
    pub outside_rolls_10: Found,
    /// (heard minus true, told uncertainty), seconds, of notes' strokes.
    pub times: Vec<(f64, f64)>,
    /// The errors of those without the lag of their own take, seconds.
    pub times_in_take: Vec<f64>,
    /// Heard minus true interval inside triplets, seconds.
    pub triplets: Vec<f64>,
    /// Heard minus true interval between neighbours inside figures, and the
    /// uncertainty told by its two strokes, ms.
    pub intervals: Vec<(f64, f64)>,
    /// Told minus true unevenness of figures, and its uncertainty, ms.
    pub unevenness: Vec<(f64, f64)>,
    /// Told minus true level of strokes, less the median on their drum, and the
    /// uncertainty, dB; of takes whose dynamics are judged.
    pub levels: Vec<(f64, f64)>,
    /// Notes called what they were, of all that are audible or missed.
    pub right: Share,
    /// Played and audible, but called missed or other-drum.
    pub accused: Share,
    /// Played and audible, but called unsure.
    pub unsure: Share,
    pub missed_found: Share,
    pub other_found: Share,
    /// Heard minus true tuning of settings, and the told uncertainty, cents.
    pub tuning: Vec<(f64, f64)>,
    /// Settings whose own tone wanders too far to be asked for.
    pub blurred: usize,
    /// Settings with enough strokes that got a figure.
    pub tuned: Share,
    /// The same of single strokes.
    pub stroke_cents: Vec<(f64, f64)>,
    /// Heard minus true stop, seconds.
    pub stops: Vec<f64>,
    /// Whether the true stop lies within two told uncertainties.
    pub stops_within: Share,
    /// Stopped or left to ring: told right, told wrong is the rest less
    /// unsure.
    pub stop_kind: Share,
    pub stop_unsure: Share,
    /// Rolls with the right rate, of all.
    pub rolls: Share,
    /// The same of those that were given a rate, and whether the true rate
    /// lies within two told uncertainties.
    pub rolls_told: Share,
    pub rolls_within: Share,
    /// The same of the gaps behind rolls; what is told to be none may be as
    /// long as what is not told yet.
    pub gaps_within: Share,
    /// Runs told with the right bars and rightly counted or not.
    pub passages: Share,
    /// Tenths of probability of candidates: (sum told, strokes, candidates).
    pub reliability: [(f64, usize, usize); 10],
    /// Takes with clicks, and whether their metronome was found; takes without,
    /// and whether one was told.
    pub metronome: Share,
    pub metronome_false: Share,
    /// Of those found, whose playing was seen to keep to it.
    pub metronome_kept: Share,
    /// Told minus true time from click to click, millionths of it.
    pub click_ppm: Vec<f64>,
    /// Told minus true times of clicks, and the told uncertainty, ms; the first
    /// and the last one of each take.
    pub click_times: Vec<(f64, f64)>,
    /// Told minus true time of notes against the clicks, and the told
    /// uncertainty, ms.
    pub against_clicks: Vec<(f64, f64)>,
    pub failures: Vec<Failure>,
}

/// What a review should call a note.
fn outcome(fate: Fate) -> Outcome {
    match fate {
        Fate::Played => Outcome::Played,
        Fate::Missed => Outcome::Missed,
        Fate::OtherDrum => Outcome::OtherDrum,
        Fate::NotReached => Outcome::NotReached,
    }
}

/// True strokes and what was heard of them.
fn stroke_pairs<'a>(
    take: &'a MadeTake,
    review: &'a Review,
) -> Vec<(&'a StrokeFacts, &'a TrueStroke)> {
    let truth: Vec<f64> = take.truth.strokes.iter().map(|s| s.time_s).collect();
    let told: Vec<f64> = review.strokes.iter().map(|s| s.time_s).collect();
    onsets::pairs(&truth, &told, 0.025)
        .into_iter()
        .map(|(i, j)| (&review.strokes[j], &take.truth.strokes[i]))
        .collect()
}

/// The notes whose strokes bound the intervals of a figure, its closing one
/// included where there is one. `None` where it was not measured.
fn row_of(figure: &Figure, notes: usize) -> Option<Vec<usize>> {
    let mut places = figure.notes.clone();
    if figure.shares.len() == places.len() {
        places.push(places.last()? + 1);
    }
    let whole = figure.shares.len() + 1 == places.len();
    (whole && places.iter().all(|&n| n < notes)).then_some(places)
}

/// Whether a time lies inside one of the true rolls.
fn rolling(take: &MadeTake, time_s: f64) -> bool {
    take.truth
        .rolls
        .iter()
        .any(|r| r.from_s + 0.03 < time_s && time_s < r.to_s + 0.05)
}

/// Names every stroke that was not heard and every one that was not there.
fn add_stroke_failures(
    take: &MadeTake,
    truth: &[&TrueStroke],
    told: &[f64],
    pairs: &[(usize, usize)],
    failures: &mut Failures,
) {
    for (i, stroke) in truth.iter().enumerate() {
        if stroke.stand_out_db >= AUDIBLE_DB && pairs.iter().all(|p| p.0 != i) {
            let kind = if stroke.in_roll {
                "not heard, in a roll"
            } else if stroke.grace {
                "not heard, grace"
            } else {
                "not heard"
            };
            failures.add(stroke.time_s, kind.to_owned(), Some(stroke.stand_out_db));
        }
    }
    for (j, &time) in told.iter().enumerate() {
        if pairs.iter().all(|p| p.1 != j) {
            let click = take.truth.clicks_s.iter().any(|c| (c - time).abs() < 0.03);
            let what = if click {
                "heard, but a click"
            } else {
                "heard, but not there"
            };
            failures.add(time, what.to_owned(), None);
        }
    }
    for &(i, j) in pairs {
        let off = told[j] - truth[i].time_s;
        if off.abs() > 0.010 && truth[i].stand_out_db >= AUDIBLE_DB && !truth[i].in_roll {
            let what = format!("{:+.1} ms off", 1000.0 * off);
            failures.add(truth[i].time_s, what, Some(truth[i].stand_out_db));
        }
    }
}

impl Tally {
    /// Adds one take.
    pub fn add(&mut self, name: &str, take: &MadeTake, heard: &Heard, review: &Review) {
        self.takes += 1;
        self.unjudged.add(!review.judged);
        let mut failures = Failures {
            take: name,
            list: Vec::new(),
        };
        self.add_blind(name, take, heard);
        self.add_strokes(take, review, &mut failures);
        self.add_notes(take, review, &mut failures);
        self.add_figures(take, review);
        self.add_levels(take, review);
        self.add_tuning(take, review, &mut failures);
        self.add_stops(take, review, &mut failures);
        self.add_rolls(take, review, &mut failures);
        self.add_passages(take, review, &mut failures);
        self.add_metronome(take, review, &mut failures);
        self.failures.append(&mut failures.list);
    }

    fn add_strokes(&mut self, take: &MadeTake, review: &Review, failures: &mut Failures) {
        let truth = merged(&take.truth.strokes);
        let told = merged_times(review.strokes.iter().map(|s| s.time_s));
        self.within_25.merge(Found::count(&truth, &told, 0.025));
        self.within_10.merge(Found::count(&truth, &told, 0.010));
        let plain: Vec<&TrueStroke> = truth
            .iter()
            .copied()
            .filter(|s| !rolling(take, s.time_s))
            .collect();
        let plain_told: Vec<f64> = told
            .iter()
            .copied()
            .filter(|&t| !rolling(take, t))
            .collect();
        self.outside_rolls_25
            .merge(Found::count(&plain, &plain_told, 0.025));
        self.outside_rolls_10
            .merge(Found::count(&plain, &plain_told, 0.010));

        let times: Vec<f64> = truth.iter().map(|s| s.time_s).collect();
        let pairs = onsets::pairs(&times, &told, 0.025);
        add_stroke_failures(take, &truth, &told, &pairs, failures);
        let before = self.times.len();
        for &(i, j) in &pairs {
            let sd = review
                .strokes
                .iter()
                .find(|s| (s.time_s - told[j]).abs() < 1e-9)
                .map_or(f64::NAN, |s| s.time_sd_ms / 1000.0);
            if truth[i].stand_out_db >= AUDIBLE_DB && !truth[i].in_roll && !truth[i].grace {
                self.times.push((told[j] - truth[i].time_s, sd));
            }
        }
        let own = &self.times[before..];
        let lag = lag_s(own).unwrap_or(0.0);
        self.times_in_take.extend(own.iter().map(|t| t.0 - lag));
    }

    /// Counts what was heard without the part: candidates likelier than not.
    /// [`Tally::add`] does it too.
    pub fn add_blind(&mut self, name: &str, take: &MadeTake, heard: &Heard) {
        let truth = merged(&take.truth.strokes);
        let likely: Vec<_> = heard
            .candidates
            .iter()
            .filter(|c| c.log_odds > 0.0)
            .collect();
        let told = merged_times(likely.iter().map(|c| c.time_s));
        self.blind.merge(Found::count(&truth, &told, 0.025));
        self.blind_10.merge(Found::count(&truth, &told, 0.010));
        let times: Vec<f64> = truth.iter().map(|s| s.time_s).collect();
        let pairs = onsets::pairs(&times, &told, 0.025);
        for &(i, j) in &pairs {
            let stroke = truth[i];
            let sd = likely
                .iter()
                .find(|c| (c.time_s - told[j]).abs() < 1e-9)
                .map_or(f64::NAN, |c| c.time_sd_s);
            if stroke.stand_out_db >= AUDIBLE_DB && !stroke.in_roll && !stroke.grace {
                self.blind_times.push((told[j] - stroke.time_s, sd));
            }
        }
        let mut failures = Failures {
            take: name,
            list: Vec::new(),
        };
        add_stroke_failures(take, &truth, &told, &pairs, &mut failures);
        self.blind_failures.append(&mut failures.list);
        self.add_reliability(take, heard);
    }

    fn add_reliability(&mut self, take: &MadeTake, heard: &Heard) {
        let times: Vec<f64> = take.truth.strokes.iter().map(|s| s.time_s).collect();
        let candidates: Vec<f64> = heard.candidates.iter().map(|c| c.time_s).collect();
        let pairs = onsets::pairs(&times, &candidates, 0.025);
        for (j, candidate) in heard.candidates.iter().enumerate() {
            let probability = 1.0 / (1.0 + (-candidate.log_odds).exp());
            let bin = &mut self.reliability[((probability * 10.0) as usize).min(9)];
            bin.0 += probability;
            bin.1 += usize::from(pairs.iter().any(|p| p.1 == j));
            bin.2 += 1;
        }
    }

    fn add_notes(&mut self, take: &MadeTake, review: &Review, failures: &mut Failures) {
        let tempo = &take.truth.tempo;
        for (index, note) in take.truth.notes.iter().enumerate() {
            let Some(told) = review.notes.iter().find(|n| n.index == index) else {
                continue;
            };
            let written = &take.part.notes[index];
            let place = kettlemark::part::quarters_f64(written.at);
            let about_s = note
                .time_s
                .unwrap_or_else(|| tempo.iter().find(|k| k.0 >= place).map_or(0.0, |k| k.1));
            let audible = note.stand_out_db.is_some_and(|db| db >= AUDIBLE_DB);
            if audible || matches!(note.fate, Fate::Missed | Fate::NotReached) {
                self.right.add(told.outcome == outcome(note.fate));
            }
            let say = |what: &str| format!("note {index} {what}, called {:?}", told.outcome);
            match note.fate {
                Fate::Played if audible => {
                    let wrong = matches!(told.outcome, Outcome::Missed | Outcome::OtherDrum);
                    let unsure = matches!(told.outcome, Outcome::Unsure | Outcome::NotReached);
                    self.accused.add(wrong);
                    self.unsure.add(unsure);
                    if wrong || unsure {
                        failures.add(about_s, say("played"), note.stand_out_db);
                    }
                }
                Fate::Missed => {
                    self.missed_found.add(told.outcome == Outcome::Missed);
                    if told.outcome != Outcome::Missed {
                        failures.add(about_s, say("missed"), None);
                    }
                }
                Fate::OtherDrum if audible => {
                    self.other_found.add(told.outcome == Outcome::OtherDrum);
                    if told.outcome != Outcome::OtherDrum {
                        failures.add(about_s, say("on another drum"), note.stand_out_db);
                    }
                }
                Fate::NotReached => {
                    if told.outcome != Outcome::NotReached {
                        failures.add(about_s, say("outside the run"), None);
                    }
                }
                Fate::Played | Fate::OtherDrum => {}
            }
        }
        self.add_triplets(take, review);
    }

    /// Intervals between neighbours a third or a sixth of a beat apart, both
    /// played and heard.
    fn add_triplets(&mut self, take: &MadeTake, review: &Review) {
        let heard = |index: usize| -> Option<f64> {
            let note = review.notes.iter().find(|n| n.index == index)?;
            let stroke = review.strokes.get(note.stroke?)?;
            (note.outcome == Outcome::Played).then_some(stroke.time_s)
        };
        let notes = &take.part.notes;
        for index in 1..notes.len() {
            let step = notes[index].at - notes[index - 1].at;
            let rolled = notes[index].roll || notes[index - 1].roll;
            if !matches!((*step.numer(), *step.denom()), (1, 3 | 6)) || rolled {
                continue;
            }
            let truth = &take.truth.notes;
            if let (Some(a), Some(b), Some(c), Some(d)) = (
                truth[index - 1].time_s,
                truth[index].time_s,
                heard(index - 1),
                heard(index),
            ) {
                self.triplets.push((d - c) - (b - a));
            }
        }
    }

    /// Intervals and unevenness of figures without chords, all of whose notes
    /// were struck.
    fn add_figures(&mut self, take: &MadeTake, review: &Review) {
        let notes = &take.part.notes;
        for figure in &review.figures {
            let Some(places) = row_of(figure, notes.len()) else {
                continue;
            };
            let chord = places.windows(2).any(|w| notes[w[0]].at == notes[w[1]].at);
            let truth: Option<Vec<f64>> =
                places.iter().map(|&n| take.truth.notes[n].time_s).collect();
            let told: Option<Vec<&StrokeFacts>> = places
                .iter()
                .map(|&n| review.strokes.get(review.notes[n].stroke?))
                .collect();
            let (Some(truth), Some(told)) = (truth, told) else {
                continue;
            };
            if chord {
                continue;
            }
            let intervals: Vec<f64> = truth.windows(2).map(|w| 1e3 * (w[1] - w[0])).collect();
            for (pair, interval) in told.windows(2).zip(&intervals) {
                let heard = 1e3 * (pair[1].time_s - pair[0].time_s);
                let sd = pair[0].time_sd_ms.hypot(pair[1].time_sd_ms);
                self.intervals.push((heard - interval, sd));
            }
            if let Some((ms, sd)) = figure.unevenness_ms.zip(figure.unevenness_sd_ms) {
                let mean = intervals.iter().sum::<f64>() / intervals.len() as f64;
                let square = intervals.iter().map(|d| (d - mean).powi(2)).sum::<f64>();
                let truth = (square / intervals.len() as f64).sqrt();
                self.unevenness.push((ms - truth, sd));
            }
        }
    }

    /// Levels of single strokes outside rolls, of one drum at a time.
    fn add_levels(&mut self, take: &MadeTake, review: &Review) {
        if review.dynamics.levels.is_empty() {
            return;
        }
        let truth: Vec<f64> = take.truth.strokes.iter().map(|s| s.time_s).collect();
        let told: Vec<f64> = review.strokes.iter().map(|s| s.time_s).collect();
        let apart = |i: usize| {
            let near = |j: usize| {
                let other = take.truth.strokes.get(j);
                other.is_some_and(|o| (o.time_s - truth[i]).abs() < 0.08)
            };
            let before = i.checked_sub(1).is_some_and(near);
            !before && !near(i + 1) && !take.truth.strokes[i].in_roll
        };
        let mut by_setting = vec![Vec::new(); take.truth.settings.len()];
        for (i, j) in onsets::pairs(&truth, &told, 0.025) {
            let (stroke, struck) = (&review.strokes[j], &take.truth.strokes[i]);
            if apart(i) && struck.stand_out_db >= AUDIBLE_DB {
                let off_db = stroke.level_db - take.levels_db[i];
                by_setting[struck.setting].push((off_db, stroke.level_sd_db));
            }
        }
        for off in by_setting.iter().filter(|o| o.len() >= LEVEL_STROKES) {
            let middle = quantile(off.iter().map(|o| o.0), 0.5).unwrap_or(0.0);
            self.levels.extend(off.iter().map(|o| (o.0 - middle, o.1)));
        }
    }

    fn add_tuning(&mut self, take: &MadeTake, review: &Review, failures: &mut Failures) {
        let settings = take.part.settings();
        let first_s = take.truth.strokes.first().map_or(0.0, |s| s.time_s);
        for (place, (setting, truth)) in settings.iter().zip(&take.truth.settings).enumerate() {
            let strokes = take
                .truth
                .strokes
                .iter()
                .filter(|s| s.setting == place && s.stand_out_db >= AUDIBLE_DB)
                .count();
            let told = review
                .drums
                .iter()
                .filter(|d| d.drum == setting.drum)
                .flat_map(|d| &d.settings)
                .find(|s| s.pitch == setting.pitch);
            let cents = told.and_then(|t| t.cents.zip(t.cents_sd));
            if strokes >= TUNABLE_STROKES {
                self.tuned.add(cents.is_some());
            }
            if truth.blur_cents > CLEAR_CENTS {
                self.blurred += usize::from(strokes >= TUNABLE_STROKES);
                continue;
            }
            if let Some((cents, sd)) = cents {
                self.tuning.push((cents - truth.cents, sd));
                if (cents - truth.cents).abs() > 10.0 {
                    let pitch = setting.pitch;
                    let what = format!("{pitch} told {cents:+.1}, is {:+.1} cents", truth.cents);
                    failures.add(first_s, what, None);
                }
            }
        }
        for (stroke, truth) in stroke_pairs(take, review) {
            if let Some((cents, sd)) = stroke.cents.zip(stroke.cents_sd)
                && stroke.drum == Some(settings[truth.setting].drum)
            {
                let tone = &take.truth.settings[truth.setting];
                if tone.blur_cents <= CLEAR_CENTS {
                    self.stroke_cents.push((cents - tone.cents, sd));
                }
            }
        }
    }

    fn add_stops(&mut self, take: &MadeTake, review: &Review, failures: &mut Failures) {
        for truth in &take.truth.stops {
            let note = &take.truth.notes[truth.note];
            let Some(told) = review.stops.iter().find(|s| s.note == truth.note) else {
                continue;
            };
            // A roll is followed from its last stroke.
            let roll = take.truth.rolls.iter().find(|r| r.note == truth.note);
            let Some(struck_s) = roll.map(|r| r.to_s).or(note.time_s) else {
                continue;
            };
            let stopped = truth.at_s.is_some();
            self.stop_unsure.add(told.state == StopState::Unsure);
            if told.state != StopState::Unsure {
                let right = (told.state == StopState::Stopped) == stopped;
                self.stop_kind.add(right);
                if !right {
                    let what = format!(
                        "stop after note {}: {:?}, true {:?}",
                        truth.note, told.state, truth.at_s
                    );
                    failures.add(struck_s, what, None);
                }
            }
            if let (Some(after), Some(at)) = (told.stopped_after_ms, truth.at_s) {
                let error = after / 1000.0 - (at - struck_s);
                self.stops.push(error);
                let sd = told.stopped_after_sd_ms.unwrap_or(0.0) / 1000.0;
                self.stops_within.add(error.abs() <= 2.0 * sd);
                if error.abs() > 0.1 {
                    let what = format!(
                        "stop after note {} is {:+.0} ms off",
                        truth.note,
                        1000.0 * error
                    );
                    failures.add(struck_s, what, None);
                }
            }
        }
    }

    fn add_rolls(&mut self, take: &MadeTake, review: &Review, failures: &mut Failures) {
        for truth in &take.truth.rolls {
            let told = review.rolls.iter().find(|r| r.note == truth.note);
            let rate = told.and_then(|r| r.strokes_per_s);
            let right = rate.is_some_and(|r| (r / truth.strokes_per_s - 1.0).abs() <= 0.05);
            self.rolls.add(right);
            if let Some((roll, rate)) = told.zip(rate) {
                self.rolls_told.add(right);
                let sd = roll.strokes_per_s_sd.unwrap_or(0.0);
                self.rolls_within
                    .add((rate - truth.strokes_per_s).abs() <= 2.0 * sd);
            }
            if let Some(gap) = told.and_then(|r| r.gap_ms.zip(r.gap_sd_ms)) {
                self.add_gap(take, truth, gap);
            }
            if !right {
                let what = format!("roll rate {rate:.2?}, is {:.2}", truth.strokes_per_s);
                failures.add(truth.from_s, what, None);
            }
        }
    }

    fn add_gap(&mut self, take: &MadeTake, roll: &TrueRoll, (told_ms, sd_ms): (f64, f64)) {
        let notes = &take.part.notes;
        let end = notes[roll.note].at + notes[roll.note].length;
        let next = notes.iter().position(|n| n.at == end);
        let Some(next_s) = next.and_then(|n| take.truth.notes[n].time_s) else {
            return;
        };
        let gap_ms = 1e3 * (next_s - roll.to_s - 1.0 / roll.strokes_per_s);
        let untold = told_ms == 0.0 && gap_ms <= LEAST_GAP_MS + 2.0 * sd_ms;
        self.gaps_within
            .add(untold || (told_ms - gap_ms).abs() <= 2.0 * sd_ms);
    }

    fn add_passages(&mut self, take: &MadeTake, review: &Review, failures: &mut Failures) {
        for truth in &take.truth.passages {
            let bar = |note: usize| take.part.bars[take.part.notes[note].bar].number;
            let bars = (bar(truth.notes.0), bar(truth.notes.1));
            let told = review.passages.iter().find(|p| {
                let overlap = p.to_s.min(truth.to_s) - p.from_s.max(truth.from_s);
                overlap > 0.5 * (truth.to_s - truth.from_s)
            });
            let right =
                told.is_some_and(|p| (p.from_bar, p.to_bar) == bars && p.counted == truth.counted);
            self.passages.add(right);
            if !right {
                let told = told.map(|p| (p.from_bar, p.to_bar, p.counted));
                let what = format!("bars {bars:?}, counted {}: told {told:?}", truth.counted);
                failures.add(truth.from_s, what, None);
            }
        }
    }

    fn add_metronome(&mut self, take: &MadeTake, review: &Review, failures: &mut Failures) {
        let clicks = &take.truth.clicks_s;
        let told = review.metronome.as_ref();
        let (Some(first), Some(last)) = (clicks.first(), clicks.last()) else {
            self.metronome_false.add(told.is_some());
            if let Some(told) = told {
                let what = format!("no metronome, told {:.1}", told.clicks_per_min);
                failures.add(told.from_s, what, None);
            }
            return;
        };
        self.metronome.add(told.is_some());
        let Some(told) = told else {
            failures.add(*first, "metronome not found".to_owned(), None);
            return;
        };
        let period_s = (last - first) / (clicks.len() - 1) as f64;
        let ratio = 60.0 / told.clicks_per_min / period_s;
        self.click_ppm.push(1e6 * (ratio - 1.0));
        self.metronome_kept.add(told.quarters == Some(1.0));
        for told_s in [told.from_s, told.to_s] {
            let number = ((told_s - first) / period_s).round();
            let error_ms = 1e3 * (told_s - first - number * period_s);
            self.click_times.push((error_ms, told.time_sd_ms));
        }
        for (note, truth) in review.notes.iter().zip(&take.truth.notes) {
            let told = note.click_deviation_ms.zip(note.click_deviation_sd_ms);
            let click = take.truth.tempo.iter().find(|k| k.0 >= note.at - 1e-9);
            if let (Some((ms, sd)), Some(time_s), Some(click)) = (told, truth.time_s, click)
                && (click.0 - note.at).abs() < 1e-9
            {
                let error_ms = ms - 1e3 * (time_s - click.1);
                self.against_clicks.push((error_ms, sd));
            }
        }
    }

    /// Adds another tally.
    pub fn merge(&mut self, other: Self) {
        self.takes += other.takes;
        self.unjudged.merge(other.unjudged);
        self.blind.merge(other.blind);
        self.blind_10.merge(other.blind_10);
        self.blind_times.extend(other.blind_times);
        self.blind_failures.extend(other.blind_failures);
        self.within_25.merge(other.within_25);
        self.within_10.merge(other.within_10);
        self.outside_rolls_25.merge(other.outside_rolls_25);
        self.outside_rolls_10.merge(other.outside_rolls_10);
        self.times.extend(other.times);
        self.times_in_take.extend(other.times_in_take);
        self.triplets.extend(other.triplets);
        self.intervals.extend(other.intervals);
        self.unevenness.extend(other.unevenness);
        self.levels.extend(other.levels);
        self.right.merge(other.right);
        self.accused.merge(other.accused);
        self.unsure.merge(other.unsure);
        self.missed_found.merge(other.missed_found);
        self.other_found.merge(other.other_found);
        self.tuning.extend(other.tuning);
        self.blurred += other.blurred;
        self.tuned.merge(other.tuned);
        self.stroke_cents.extend(other.stroke_cents);
        self.stops.extend(other.stops);
        self.stops_within.merge(other.stops_within);
        self.stop_kind.merge(other.stop_kind);
        self.stop_unsure.merge(other.stop_unsure);
        self.rolls.merge(other.rolls);
        self.rolls_told.merge(other.rolls_told);
        self.rolls_within.merge(other.rolls_within);
        self.gaps_within.merge(other.gaps_within);
        self.passages.merge(other.passages);
        self.metronome.merge(other.metronome);
        self.metronome_false.merge(other.metronome_false);
        self.metronome_kept.merge(other.metronome_kept);
        self.click_ppm.extend(other.click_ppm);
        self.click_times.extend(other.click_times);
        self.against_clicks.extend(other.against_clicks);
        for (a, b) in self.reliability.iter_mut().zip(other.reliability) {
            *a = (a.0 + b.0, a.1 + b.1, a.2 + b.2);
        }
        self.failures.extend(other.failures);
    }

    /// The constant lag of all heard strokes, seconds.
    pub fn lag_s(&self) -> Option<f64> {
        lag_s(&self.times)
    }

    /// A quantile of the error in time without the lag, seconds.
    pub fn time_error_s(&self, q: f64) -> Option<f64> {
        error_without_lag_s(&self.times, q)
    }

    /// The same of what was heard without the part.
    pub fn blind_time_error_s(&self, q: f64) -> Option<f64> {
        error_without_lag_s(&self.blind_times, q)
    }

    /// Share of true times within two told standard uncertainties.
    pub fn times_within(&self) -> Share {
        let lag = self.lag_s().unwrap_or(0.0);
        within(self.times.iter().map(|t| (t.0 - lag, t.1)))
    }
}

struct Failures<'a> {
    take: &'a str,
    list: Vec<Failure>,
}

impl Failures<'_> {
    fn add(&mut self, time_s: f64, what: String, stand_out_db: Option<f64>) {
        self.list.push(Failure {
            take: self.take.to_owned(),
            time_s,
            what,
            stand_out_db,
        });
    }
}
