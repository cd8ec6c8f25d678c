//! Remarks on how sounds end: drums stopped late or left to ring, rolls and the
//! gap behind them.

use super::{Finding, distinct, weight};
use crate::measure::AGAINST_SDS;
use crate::measure::stops::LATE_MS;
use crate::review::{Roll, Stop, StopState};
use crate::stats;
use crate::words::remarks as words;

/// A gap before the note after a roll, and unevenness of a roll, worth a
/// remark (common practice, no source).
const GAP_MS: f64 = 60.0;
const ROLL_PCT: f64 = 15.0;
/// So many drums left to ring, or the last one, are worth a remark.
const FEWEST_RINGING: usize = 2;

pub fn stops(stops: &[Stop], findings: &mut Vec<Finding>) {
    findings.extend(late_stops(stops));
    let sure: Vec<_> = stops
        .iter()
        .filter(|s| s.state != StopState::Unsure)
        .collect();
    let ringing: Vec<_> = sure
        .iter()
        .filter(|s| s.state == StopState::Ringing)
        .collect();
    let told = ringing.len() >= FEWEST_RINGING || ringing.iter().any(|s| s.expected == "final");
    if let Some(first) = ringing.first().filter(|_| told) {
        let bars = distinct(ringing.iter().map(|s| s.bar));
        findings.push(Finding {
            weight: weight(1.2, ringing.len()),
            kind: "stops",
            notes: (first.note, first.note),
            advice: words::ringing(&bars, ringing.len(), sure.len()),
            bars,
        });
    }
}

/// Stops that are surely late, taken together.
fn late_stops(stops: &[Stop]) -> Option<Finding> {
    let timed: Vec<(&Stop, f64, f64)> = stops
        .iter()
        .filter_map(|s| Some((s, s.late_ms?, s.stopped_after_sd_ms?)))
        .collect();
    let late: Vec<&(&Stop, f64, f64)> = timed
        .iter()
        .filter(|(_, ms, sd)| ms - AGAINST_SDS * sd > LATE_MS)
        .collect();
    let (ms, sds): (Vec<f64>, Vec<f64>) = late.iter().map(|(_, ms, sd)| (ms, sd)).unzip();
    let usual = stats::median_with_sd(&ms, &sds)?;
    let bars = distinct(late.iter().map(|(s, ..)| s.bar));
    let first = late.first()?.0.note;
    Some(Finding {
        weight: weight(usual.value / LATE_MS, late.len()),
        kind: "stops",
        notes: (first, first),
        advice: words::late_stops(
            &bars,
            (usual.value, usual.sd),
            (late.len(), timed.len()),
            LATE_MS,
        ),
        bars,
    })
}

pub fn rolls(rolls: &[Roll], findings: &mut Vec<Finding>) {
    for roll in rolls {
        if let Some((gap, sd)) = roll.gap_ms.zip(roll.gap_sd_ms)
            && gap - AGAINST_SDS * sd > GAP_MS
        {
            findings.push(Finding {
                weight: weight(gap / GAP_MS, 1),
                kind: "rolls",
                bars: vec![roll.bar],
                notes: (roll.note, roll.note + 1),
                advice: words::roll_gap(roll.bar, gap, sd),
            });
        }
        if let Some((pct, sd)) = roll.unevenness_pct.zip(roll.unevenness_sd_pct)
            && pct - AGAINST_SDS * sd > ROLL_PCT
        {
            findings.push(Finding {
                weight: weight(pct / ROLL_PCT, 1),
                kind: "rolls",
                bars: vec![roll.bar],
                notes: (roll.note, roll.note),
                advice: words::roll_uneven(roll.bar, pct, sd),
            });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn remarked(gap: (f64, f64), unevenness: (f64, f64)) -> Vec<String> {
        let roll = Roll {
            note: 4,
            bar: 2,
            from_s: 0.0,
            to_s: 1.2,
            strokes_per_s: Some(10.0),
            strokes_per_s_sd: Some(0.1),
            unevenness_pct: Some(unevenness.0),
            unevenness_sd_pct: Some(unevenness.1),
            level_curve_db: Vec::new(),
            start_accent_db: None,
            start_accent_sd_db: None,
            end_accent_db: None,
            end_accent_sd_db: None,
            gap_ms: Some(gap.0),
            gap_sd_ms: Some(gap.1),
        };
        let mut findings = Vec::new();
        rolls(&[roll], &mut findings);
        findings.into_iter().map(|f| f.advice.text).collect()
    }

    #[test]
    fn a_gap_behind_a_roll_is_remarked_only_beyond_its_uncertainty() {
        assert!(remarked((50.0, 1.5), (5.0, 1.0)).is_empty());
        assert!(remarked((100.0, 28.0), (5.0, 1.0)).is_empty());
        let told = remarked((100.0, 1.5), (5.0, 1.0));
        assert!(told[0].contains("a gap of 100.0 ± 1.5 ms"), "{told:?}");
    }

    #[test]
    fn a_roll_is_called_uneven_only_beyond_its_uncertainty() {
        assert!(remarked((0.0, 1.5), (18.0, 4.0)).is_empty());
        assert!(remarked((0.0, 1.5), (18.0, 1.5)).is_empty());
        let told = remarked((0.0, 1.5), (40.0, 9.0));
        assert!(told[0].contains("by 40 ± 9 %"), "{told:?}");
    }

    fn stop(bar: i32, late: Option<(f64, f64)>) -> Stop {
        Stop {
            note: bar as usize,
            bar,
            drum: 1,
            expected: "rest".to_owned(),
            state: StopState::Stopped,
            written_end_ms: Some(600.0),
            stopped_after_ms: late.map(|l| 600.0 + l.0),
            stopped_after_sd_ms: late.map(|l| l.1),
            late_ms: late.map(|l| l.0),
            ring_db_500ms: None,
            curve_db: Vec::new(),
            curve_hop_s: 0.02,
        }
    }

    #[test]
    fn late_stops_are_named_where_they_are_sure_and_told_with_their_uncertainty() {
        let stops = [
            stop(3, Some((240.0, 20.0))),
            stop(5, Some((300.0, 20.0))),
            // Late, but not surely.
            stop(7, Some((260.0, 60.0))),
            stop(9, Some((10.0, 20.0))),
            stop(11, None),
        ];
        let finding = late_stops(&stops).unwrap();
        assert_eq!(finding.bars, [3, 5]);
        // Scatter 1.4826 × 30 ms, over √2.
        let text = finding.advice.text;
        assert!(
            text.starts_with("In bars 3 and 5 the drum is stopped 270 ± 31 ms"),
            "{text}"
        );
        assert!(
            text.contains("2 of the 4 stops that could be timed"),
            "{text}"
        );
        assert!(text.contains("150 ms"), "{text}");
        assert!(late_stops(&stops[2..]).is_none());
    }
}
