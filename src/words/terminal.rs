//! The short summary for a terminal.

use super::{
    capital, charts, clean_share, interval_full, interval_size, kind_size, kind_title,
    metronome_line, page, played_line, stop_sentence, tempo_line, tune_verdict,
};
use crate::number;
use crate::report::lettering::harmless;
use crate::review::{Review, StopState};

/// A few lines: what was played, the main measures, what to practise.
pub fn summary(review: &Review) -> String {
    let mut lines = vec![format!(
        "{} · {} ({})",
        charts::title(review),
        harmless(&review.take.file),
        number::clock(review.take.duration_s)
    )];
    if review.judged {
        judged(review, &mut lines);
    } else {
        let reason = review.reason.as_deref().unwrap_or("no reason is known");
        lines.push(format!("Not judged: {}", harmless(reason)));
    }
    for doubt in &review.doubts {
        lines.push(format!("Doubt      {}", harmless(&doubt.text)));
    }
    for remark in &review.remarks {
        lines.push(String::new());
        lines.push(format!("{}. {}", remark.rank, harmless(&remark.text)));
        lines.push(format!(
            "   {} {}",
            page::TO_PRACTISE,
            harmless(&remark.practise)
        ));
    }
    let mut text = lines.join("\n");
    text.push('\n');
    text
}

fn judged(review: &Review, lines: &mut Vec<String>) {
    lines.push(format!("Played     {}", played_line(review)));
    lines.push(format!("Tempo      {}", tempo_line(&review.tempo)));
    if let Some(metronome) = &review.metronome {
        lines.push(format!("Metronome  {}", metronome_line(metronome)));
    }
    for kind in review.figure_kinds.iter().filter(|k| k.count > 0) {
        lines.push(format!(
            "Evenness   {}: {}, {}",
            kind_title(&kind.kind),
            kind_size(kind),
            clean_share(kind)
        ));
    }
    for drum in &review.drums {
        for setting in &drum.settings {
            let mut line = format!(
                "Tuning     {}: {}",
                charts::setting_label(drum.drum, setting.pitch),
                charts::setting_cents(setting)
            );
            if setting.cents.is_some() {
                line += &format!(", {}", tune_verdict(setting));
            }
            lines.push(line);
        }
    }
    for interval in &review.intervals {
        // Only where it is surely out: the uncertainty leaves no doubt.
        let near = review.settings.tune_bands_cents[0];
        if interval.cents.abs() - 2.0 * interval.cents_sd > near {
            lines.push(format!(
                "Interval   {}: {}",
                capital(&interval_full(interval)),
                interval_size(interval)
            ));
        }
    }
    let breaks = charts::order_breaks(review);
    lines.extend(breaks.iter().map(|b| format!("Dynamics   {b}")));
    if !review.rolls.is_empty() {
        lines.push(format!("Rolls      {}", charts::rolls_short(review)));
    }
    if !review.stops.is_empty() {
        lines.push(format!("Stops      {}", charts::stops_desc(review)));
    }
    for stop in review.stops.iter().filter(|s| s.expected == "final") {
        if stop.state != StopState::Unsure {
            lines.push(format!("           {}", stop_sentence(stop)));
        }
    }
}
