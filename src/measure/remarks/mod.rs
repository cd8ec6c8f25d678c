//! The remarks: at most three, most useful first.
//!
//! Every finding that lies beyond its uncertainty and beyond what an ear
//! notices is weighed: how many times the noticeable difference it is (capped,
//! so that one gross thing does not hide the rest), times how often it comes.
//! One remark a kind of finding.

mod endings;

use super::figures::{self, noticeable_ms};
use super::scene::Scene;
use super::{AGAINST_SDS, dynamics};
use crate::align::Outcome;
use crate::part::{Hand, quarters_f64};
use crate::pitch::Pitch;
use crate::review::{Figure, Remark, Review};
use crate::stats;
use crate::words::remarks::{self as words, Advice, ShapeFacts};

/// The most remarks a player can use at once.
const MOST: usize = 3;
/// No finding counts for more noticeable differences than this.
const CAP: f64 = 6.0;
/// Fewest figures behind a usual shape, and the share to the same side.
const LEAST_FIGURES: usize = 4;
const SAME_SIDE: f64 = 0.75;
/// Change of tempo over a passage worth a remark, per cent: twice the 2.5 %
/// that is noticed in an interval (Friberg & Sundberg 1995).
const DRIFT_PCT: f64 = 5.0;

struct Finding {
    weight: f64,
    kind: &'static str,
    bars: Vec<i32>,
    /// Notes to be played back.
    notes: (usize, usize),
    advice: Advice,
}

/// How much a finding weighs: its size in noticeable differences and how often
/// it comes.
fn weight(size: f64, count: usize) -> f64 {
    size.min(CAP) * (1.0 + (count.max(1) as f64).ln())
}

/// The remarks of a measured review.
pub fn remarks(scene: &Scene, review: &Review) -> Vec<Remark> {
    let mut findings = Vec::new();
    evenness(scene, review, &mut findings);
    outcomes(scene, &mut findings);
    tuning(scene, review, &mut findings);
    drift(scene, review, &mut findings);
    levels(scene, review, &mut findings);
    endings::stops(&review.stops, &mut findings);
    endings::rolls(&review.rolls, &mut findings);
    findings.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    let mut kinds = Vec::new();
    findings
        .into_iter()
        .filter(|f| {
            let new = !kinds.contains(&f.kind);
            kinds.push(f.kind);
            new
        })
        .take(MOST)
        .enumerate()
        .map(|(i, finding)| {
            let (from_s, to_s) = span(scene, finding.notes);
            Remark {
                rank: i + 1,
                kind: finding.kind.to_owned(),
                bars: finding.bars,
                text: finding.advice.text,
                practise: finding.advice.practise,
                from_s,
                to_s,
            }
        })
        .collect()
}

/// What to play to hear it: from a beat before the first note to a beat after
/// the last, twelve seconds at most.
fn span(scene: &Scene, notes: (usize, usize)) -> (f64, f64) {
    const LONGEST_S: f64 = 12.0;
    let time = |quarters: f64| scene.pulse().and_then(|p| p.time_s(quarters));
    let all = &scene.part.notes;
    let first = all.get(notes.0).map_or(0.0, |n| quarters_f64(n.at));
    let last = all
        .get(notes.1)
        .map_or(first, |n| quarters_f64(n.at + n.length));
    let from_s = time(first - 1.0).unwrap_or(0.0).max(0.0);
    let to_s = time(last + 1.0).unwrap_or(from_s);
    let end = scene.heard.take.duration_s.max(from_s);
    (from_s, to_s.min(from_s + LONGEST_S).min(end))
}

/// All bars from one to another; where the numbers return they may fall.
fn every_bar(from: i32, to: i32) -> Vec<i32> {
    (from.min(to)..=from.max(to)).collect()
}

/// Bars, rising, each once.
fn distinct(bars: impl Iterator<Item = i32>) -> Vec<i32> {
    let mut bars: Vec<i32> = bars.collect();
    bars.sort_unstable();
    bars.dedup();
    bars
}

fn evenness(scene: &Scene, review: &Review, findings: &mut Vec<Finding>) {
    for kind in &review.figure_kinds {
        let members: Vec<&Figure> = review
            .figures
            .iter()
            .filter(|f| f.kind == kind.kind && f.unevenness_ms.is_some())
            .collect();
        let shaped = groups(&members)
            .iter()
            .filter_map(|group| shape(scene, &kind.kind, group))
            .max_by(|a, b| a.weight.total_cmp(&b.weight));
        if let Some(finding) = shaped {
            findings.push(finding);
        } else {
            findings.extend(uneven(scene, &kind.kind, &members));
        }
        findings.extend(hands(scene, &kind.kind, &members));
    }
}

/// One hand later than the other.
fn hands(scene: &Scene, kind: &str, members: &[&Figure]) -> Option<Finding> {
    let right = figures::hand(scene, members, Hand::Right)?;
    let left = figures::hand(scene, members, Hand::Left)?;
    let intervals: Vec<f64> = members.iter().filter_map(|f| f.interval_ms).collect();
    let limit = noticeable_ms(stats::median(&intervals)?, scene.settings);
    let (apart, sd) = (right.value - left.value, right.sd.hypot(left.sd));
    let sure = apart.abs() - AGAINST_SDS * sd > limit;
    (sure && members.len() >= LEAST_FIGURES).then(|| Finding {
        weight: weight(apart.abs() / limit, members.len()) * 0.6,
        kind: "hands",
        bars: distinct(members.iter().map(|f| f.bar)),
        notes: notes_of(&members[..1]),
        advice: words::hands(kind, apart, sd, limit),
    })
}

fn notes_of(members: &[&Figure]) -> (usize, usize) {
    let all = || members.iter().flat_map(|f| f.notes.iter().copied());
    let first = all().min().unwrap_or(0);
    (first, all().max().unwrap_or(first))
}

/// All figures, and every stretch of them with no more than one bar between.
fn groups<'a>(members: &[&'a Figure]) -> Vec<Vec<&'a Figure>> {
    let mut stretches: Vec<Vec<&Figure>> = Vec::new();
    for figure in members {
        match stretches.last_mut() {
            Some(last) if last.last().is_some_and(|f| figure.bar - f.bar <= 2) => {
                last.push(figure);
            }
            _ => stretches.push(vec![figure]),
        }
    }
    let mut groups = vec![members.to_vec()];
    if stretches.len() > 1 {
        groups.extend(stretches);
    }
    groups
}

fn shape(scene: &Scene, kind: &str, group: &[&Figure]) -> Option<Finding> {
    if group.len() < LEAST_FIGURES {
        return None;
    }
    let intervals: Vec<f64> = group.iter().filter_map(|f| f.interval_ms).collect();
    let limit = noticeable_ms(stats::median(&intervals)?, scene.settings);
    let places = figures::usual_shape(scene, group);
    let (k, place) = places
        .iter()
        .enumerate()
        .max_by(|a, b| a.1.ms.abs().total_cmp(&b.1.ms.abs()))?;
    let sure = place.ms.abs() - AGAINST_SDS * place.sd_ms > limit;
    let often = place.same_side as f64 >= SAME_SIDE * place.count as f64;
    if !sure || !often || place.count < LEAST_FIGURES {
        return None;
    }
    // Only where it was so is it told.
    let so: Vec<&Figure> = figures::alike(scene, group)
        .into_iter()
        .filter(|f| figures::displacement(f, k + 1) * place.ms > 0.0)
        .collect();
    let bars = distinct(so.iter().map(|f| f.bar));
    Some(Finding {
        weight: weight(place.ms.abs() / limit, place.count),
        kind: "evenness",
        notes: notes_of(&so),
        advice: words::shape(&ShapeFacts {
            kind,
            bars: &bars,
            stroke: k + 1,
            strokes: place.strokes,
            ms: place.ms,
            sd_ms: place.sd_ms,
            same_side: place.same_side,
            count: place.count,
            noticeable_ms: limit,
        }),
        bars,
    })
}

/// Many figures beyond the limit without a common shape.
fn uneven(scene: &Scene, kind: &str, members: &[&Figure]) -> Option<Finding> {
    let not_clean: Vec<&Figure> = members
        .iter()
        .copied()
        .filter(|f| f.clean == Some(false))
        .collect();
    let judged = members.iter().filter(|f| f.clean.is_some()).count();
    if not_clean.len() < 3 || not_clean.len() * 3 < judged {
        return None;
    }
    let (sizes, sds): (Vec<f64>, Vec<f64>) = not_clean
        .iter()
        .filter_map(|f| f.unevenness_ms.zip(f.unevenness_sd_ms))
        .unzip();
    let usual = stats::median_with_sd(&sizes, &sds)?;
    let interval = stats::median(
        &not_clean
            .iter()
            .filter_map(|f| f.interval_ms)
            .collect::<Vec<_>>(),
    )?;
    let limit = noticeable_ms(interval, scene.settings);
    let bars = distinct(not_clean.iter().map(|f| f.bar));
    Some(Finding {
        weight: weight(usual.value / limit, not_clean.len()) * 0.8,
        kind: "evenness",
        notes: notes_of(&not_clean[..1]),
        advice: words::uneven(
            kind,
            &bars,
            (usual.value, usual.sd, limit),
            (not_clean.len(), judged),
        ),
        bars,
    })
}

fn outcomes(scene: &Scene, findings: &mut Vec<Finding>) {
    let Some(passage) = scene.counted() else {
        return;
    };
    let of = |outcome| -> Vec<usize> {
        (passage.notes.0..)
            .zip(&passage.matches)
            .filter(|(_, m)| m.outcome == outcome)
            .map(|(note, _)| note)
            .collect()
    };
    let missed = of(Outcome::Missed);
    if let Some(&first) = missed.first() {
        let bars = distinct(missed.iter().map(|&n| scene.note_bar(n)));
        findings.push(Finding {
            weight: weight(3.0, missed.len()),
            kind: "missed",
            notes: (first, first),
            advice: words::missed(&bars, missed.len()),
            bars,
        });
    }
    let other = of(Outcome::OtherDrum);
    if let Some(&first) = other.first() {
        let bars = distinct(other.iter().map(|&n| scene.note_bar(n)));
        let mut pitches: Vec<Pitch> = other.iter().map(|&n| scene.part.notes[n].pitch).collect();
        pitches.sort();
        pitches.dedup();
        findings.push(Finding {
            weight: weight(4.0, other.len()),
            kind: "other-drum",
            notes: (first, first),
            advice: words::other_drum(&bars, other.len(), &pitches),
            bars,
        });
    }
}

fn tuning(scene: &Scene, review: &Review, findings: &mut Vec<Finding>) {
    let limit = scene.settings.tune_bands_cents[0].max(1.0);
    let measured: Vec<(u8, &crate::review::SettingFacts)> = review
        .drums
        .iter()
        .flat_map(|d| d.settings.iter().map(|s| (d.drum, s)))
        .filter(|(_, s)| s.cents.is_some())
        .collect();
    // Surely beyond the inner band, be it "noticeable" or "off".
    let off = |s: &crate::review::SettingFacts| {
        s.cents
            .zip(s.cents_sd)
            .is_some_and(|(cents, sd)| cents.abs() - AGAINST_SDS * sd > limit)
    };
    let cents: Vec<f64> = measured.iter().filter_map(|(_, s)| s.cents).collect();
    let agree = review
        .intervals
        .iter()
        .all(|i| i.cents.abs() + i.cents_sd <= limit);
    if measured.len() >= 2
        && agree
        && measured.iter().filter(|(_, s)| off(s)).count() * 2 > measured.len()
        && let (Some(middle), Some(sd)) = (
            stats::median(&cents),
            stats::median(
                &measured
                    .iter()
                    .filter_map(|(_, s)| s.cents_sd)
                    .collect::<Vec<_>>(),
            ),
        )
    {
        findings.push(Finding {
            weight: weight(middle.abs() / limit, 1),
            kind: "tuning",
            bars: Vec::new(),
            notes: scene.counted().map_or((0, 0), |p| (p.notes.0, p.notes.0)),
            advice: words::whole_set(middle, sd, measured.len()),
        });
        return;
    }
    for (drum, setting) in measured {
        let (Some(cents), Some(sd)) = (setting.cents, setting.cents_sd) else {
            continue;
        };
        if !off(setting) {
            continue;
        }
        let struck = review
            .notes
            .iter()
            .find(|n| n.drum == drum && n.pitch == setting.pitch && n.stroke.is_some())
            .map_or(0, |n| n.index);
        findings.push(Finding {
            weight: weight(cents.abs() / limit, setting.strokes.min(8)),
            kind: "tuning",
            bars: every_bar(setting.from_bar, setting.to_bar),
            notes: (struck, struck),
            advice: words::tuning(
                (drum, setting.pitch),
                (setting.from_bar, setting.to_bar),
                (cents, sd),
                scene.settings.tune_bands_cents[0],
            ),
        });
    }
}

fn drift(scene: &Scene, review: &Review, findings: &mut Vec<Finding>) {
    let Some(passage) = scene.counted() else {
        return;
    };
    let tempo = &review.tempo;
    let (Some(slope), Some(sd)) = (tempo.drift_pct_per_min, tempo.drift_sd_pct_per_min) else {
        return;
    };
    let minutes = (passage.to_s - passage.from_s) / 60.0;
    let (change, change_sd) = (slope * minutes, sd * minutes);
    if change.abs() - AGAINST_SDS * change_sd > DRIFT_PCT {
        let bars = (
            scene.note_bar(passage.notes.0),
            scene.note_bar(passage.notes.1),
        );
        findings.push(Finding {
            weight: weight(change.abs() / DRIFT_PCT, 4),
            kind: "tempo",
            bars: every_bar(bars.0, bars.1),
            notes: passage.notes,
            advice: words::drift(bars, change, change_sd),
        });
    }
}

fn levels(scene: &Scene, review: &Review, findings: &mut Vec<Finding>) {
    let in_bar = |bar: i32| {
        review
            .notes
            .iter()
            .find(|n| n.bar == bar)
            .map_or(0, |n| n.index)
    };
    for order in &review.dynamics.order_breaks {
        findings.push(Finding {
            weight: weight(order.excess_db / dynamics::NOTICEABLE_DB, 2),
            kind: "dynamics",
            bars: distinct([order.softer_bar, order.louder_bar].into_iter()),
            notes: (
                in_bar(order.softer_bar.min(order.louder_bar)),
                in_bar(order.softer_bar.max(order.louder_bar)),
            ),
            advice: words::order(
                (&order.softer_mark, order.softer_bar),
                (&order.louder_mark, order.louder_bar),
                order.excess_db,
                order.excess_sd_db,
            ),
        });
    }
    for hairpin in &review.dynamics.hairpins {
        let (Some(change), Some(sd)) = (hairpin.change_db, hairpin.change_sd_db) else {
            continue;
        };
        let up = if hairpin.written == "crescendo" {
            change
        } else {
            -change
        };
        if up + AGAINST_SDS * sd < dynamics::NOTICEABLE_DB {
            findings.push(Finding {
                weight: weight(2.0 - up.min(0.0), 1),
                kind: "hairpin",
                bars: every_bar(hairpin.from_bar, hairpin.to_bar),
                notes: (in_bar(hairpin.from_bar), in_bar(hairpin.to_bar)),
                advice: words::hairpin(
                    &hairpin.written,
                    (hairpin.from_bar, hairpin.to_bar),
                    change,
                    sd,
                ),
            });
        }
    }
    let judged: Vec<_> = review
        .dynamics
        .accents
        .iter()
        .filter_map(|a| a.contrast_db.zip(a.contrast_sd_db).map(|c| (a, c)))
        .collect();
    let flat: Vec<_> = judged
        .iter()
        .filter(|(_, (db, sd))| db + AGAINST_SDS * sd < dynamics::NOTICEABLE_DB)
        .map(|(a, _)| *a)
        .collect();
    if flat.len() >= 2 && flat.len() * 3 >= judged.len() {
        let bars = distinct(flat.iter().map(|a| scene.note_bar(a.note)));
        findings.push(Finding {
            weight: weight(1.5, flat.len()),
            kind: "accents",
            notes: (flat[0].note, flat[0].note),
            advice: words::accents(&bars, flat.len(), judged.len()),
            bars,
        });
    }
}
