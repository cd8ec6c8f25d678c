//! One format for every number a person reads.
//!
//! A true minus sign, no thousands separator, a point for decimals, and no
//! more decimals than the uncertainty bears. Files for programs do not come
//! through here.

/// The sign of negative numbers, U+2212.
pub const MINUS: char = '\u{2212}';
/// What stands where nothing is known, U+2013.
pub const UNKNOWN: &str = "\u{2013}";
/// A space that does not break, U+00A0.
pub const NBSP: char = '\u{a0}';

/// A number with a fixed count of decimals. Anything that is not finite is
/// [`UNKNOWN`]; a rounded zero has no sign.
pub fn plain(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        return UNKNOWN.to_owned();
    }
    let digits = format!("{:.decimals$}", value.abs());
    let is_zero = digits.bytes().all(|b| matches!(b, b'0' | b'.'));
    if value < 0.0 && !is_zero {
        format!("{MINUS}{digits}")
    } else {
        digits
    }
}

/// The same without zeros at the end of its decimals: "48", "44.1".
pub fn short(value: f64, most_decimals: usize) -> String {
    let text = plain(value, most_decimals);
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// The same with a plus sign before positive numbers.
pub fn signed(value: f64, decimals: usize) -> String {
    let text = plain(value, decimals);
    let is_zero = text.bytes().all(|b| matches!(b, b'0' | b'.'));
    if value.is_finite() && value > 0.0 && !is_zero {
        format!("+{text}")
    } else {
        text
    }
}

/// The decimals that a standard uncertainty bears: one digit of it above 2,
/// two below.
pub fn decimals_for(sd: f64) -> usize {
    match sd {
        sd if !sd.is_finite() || sd >= 1.95 => 0,
        sd if sd >= 0.195 => 1,
        _ => 2,
    }
}

/// The least uncertainty that two decimals show.
const LEAST_SD: f64 = 0.01;

/// "18 ± 3": the value and its standard uncertainty. Without one the value
/// stands alone.
pub fn with_sd(value: f64, sd: Option<f64>) -> String {
    spread(value, sd, plain)
}

/// "+18 ± 3": the same with the sign always written.
pub fn signed_with_sd(value: f64, sd: Option<f64>) -> String {
    spread(value, sd, signed)
}

fn spread(value: f64, sd: Option<f64>, format: fn(f64, usize) -> String) -> String {
    match sd {
        Some(sd) => {
            let decimals = decimals_for(sd);
            // No uncertainty is rounded to nothing.
            let sd = if sd < LEAST_SD { LEAST_SD } else { sd };
            format!(
                "{}{NBSP}±{NBSP}{}",
                format(value, decimals),
                plain(sd, decimals)
            )
        }
        None => format(value, 0),
    }
}

/// "18 ± 3 ms": a number as it is shown, and its unit. No line ends between
/// the two, nor inside the number; with no unit the number stands alone.
pub fn sized(number: &str, unit: &str) -> String {
    match unit {
        "" => number.to_owned(),
        unit => format!("{number}{NBSP}{unit}"),
    }
}

/// What stands behind a number and belongs to it.
const UNITS: [&str; 9] = ["±", "ms", "s", "dB", "Hz", "kHz", "%", "cents", "cent"];
/// What stands before a number and belongs to it.
const BEFORE: [&str; 3] = ["±", "bar", "bars"];

/// A text with common spaces, as review.json holds it, made ready to be shown:
/// no line ends between a number and its uncertainty, its unit or the word
/// "bar" before it.
pub fn bound(text: &str) -> String {
    let mut words = text.split(' ').peekable();
    let mut bound = String::with_capacity(text.len() + 16);
    while let Some(word) = words.next() {
        bound.push_str(word);
        if let Some(next) = words.peek() {
            bound.push(if together(word, next) { NBSP } else { ' ' });
        }
    }
    bound
}

fn together(word: &str, next: &str) -> bool {
    let open = word.trim_start_matches('(').to_lowercase();
    let closed = next.trim_end_matches([',', '.', ';', ':', ')']);
    let ends = word.ends_with(|c: char| c.is_ascii_digit());
    let begins = next.trim_start_matches([MINUS, '+']);
    (ends && UNITS.contains(&closed))
        || (begins.starts_with(|c: char| c.is_ascii_digit()) && BEFORE.contains(&open.as_str()))
}

/// A number that may be absent.
pub fn maybe(value: Option<f64>, decimals: usize) -> String {
    value.map_or_else(|| UNKNOWN.to_owned(), |v| plain(v, decimals))
}

/// A signed number that may be absent.
pub fn maybe_signed(value: Option<f64>, decimals: usize) -> String {
    value.map_or_else(|| UNKNOWN.to_owned(), |v| signed(v, decimals))
}

/// A number that may be absent, with its uncertainty.
pub fn maybe_with_sd(value: Option<f64>, sd: Option<f64>) -> String {
    value.map_or_else(|| UNKNOWN.to_owned(), |v| with_sd(v, sd))
}

/// A signed number that may be absent, with its uncertainty.
pub fn maybe_signed_with_sd(value: Option<f64>, sd: Option<f64>) -> String {
    value.map_or_else(|| UNKNOWN.to_owned(), |v| signed_with_sd(v, sd))
}

/// An instant in a take as minutes and seconds: "0:07", "12:40".
pub fn clock(seconds: f64) -> String {
    let whole = seconds.max(0.0).round() as u64;
    format!("{}:{:02}", whole / 60, whole % 60)
}

/// The same with tenths of a second: "0:07.3".
pub fn clock_tenths(seconds: f64) -> String {
    let tenths = (seconds.max(0.0) * 10.0).round() as u64;
    format!("{}:{:02}.{}", tenths / 600, tenths / 10 % 60, tenths % 10)
}

/// "bar 9", "bars 9–12", "bars 3, 5 and 9–12": runs are drawn together.
pub fn bars(numbers: &[i32]) -> String {
    bars_up_to(usize::MAX, numbers)
}

/// The same with no more than six runs: "bars 1, 3, 5, 7, 9 and 4 more".
pub fn few_bars(numbers: &[i32]) -> String {
    bars_up_to(FEW, numbers)
}

/// Bars from one to another: "bars 3–9", "bar 4".
pub fn bar_span(from: i32, to: i32) -> String {
    if from == to {
        format!("bar{NBSP}{}", plain(f64::from(from), 0))
    } else {
        format!(
            "bars{NBSP}{}–{}",
            plain(f64::from(from), 0),
            plain(f64::from(to), 0)
        )
    }
}

fn bars_up_to(most: usize, numbers: &[i32]) -> String {
    let mut sorted = numbers.to_vec();
    sorted.sort_unstable();
    sorted.dedup();
    let mut runs: Vec<(i32, i32)> = Vec::new();
    for bar in &sorted {
        match runs.last_mut() {
            Some((_, last)) if *last + 1 == *bar => *last = *bar,
            _ => runs.push((*bar, *bar)),
        }
    }
    match runs.as_slice() {
        [] => String::new(),
        [(first, last)] => bar_span(*first, *last),
        _ => {
            let names: Vec<String> = runs
                .iter()
                .map(|(first, last)| match last - first {
                    0 => plain(f64::from(*first), 0),
                    _ => format!(
                        "{}–{}",
                        plain(f64::from(*first), 0),
                        plain(f64::from(*last), 0)
                    ),
                })
                .collect();
            format!("bars{NBSP}{}", joined(&names, most))
        }
    }
}

/// So many things are named before the rest is only counted.
const FEW: usize = 6;

/// "a", "a and b", "a, b and c"; beyond six "a, b, c, d, e and 3 more".
pub fn list(items: &[String]) -> String {
    joined(items, FEW)
}

fn joined(items: &[String], most: usize) -> String {
    match items {
        [] => String::new(),
        [one] => one.clone(),
        _ if items.len() > most => format!(
            "{} and {} more",
            items[..most - 1].join(", "),
            items.len() - (most - 1)
        ),
        [before @ .., last] => format!("{} and {last}", before.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rounded_zero_has_no_sign_and_the_minus_is_a_minus() {
        assert_eq!(plain(-0.04, 1), "0.0");
        assert_eq!(signed(0.04, 1), "0.0");
        assert_eq!(plain(-3.25, 1), "\u{2212}3.2");
        assert_eq!(signed(3.0, 0), "+3");
        assert_eq!(plain(f64::NAN, 1), UNKNOWN);
    }

    #[test]
    fn the_uncertainty_decides_the_decimals() {
        assert_eq!(with_sd(18.42, Some(3.1)), "18\u{a0}±\u{a0}3");
        assert_eq!(with_sd(18.42, Some(0.61)), "18.4\u{a0}±\u{a0}0.6");
        assert_eq!(
            signed_with_sd(-0.123, Some(0.05)),
            "\u{2212}0.12\u{a0}±\u{a0}0.05"
        );
        assert_eq!(with_sd(18.42, None), "18");
        assert_eq!(with_sd(0.001, Some(0.002)), "0.00\u{a0}±\u{a0}0.01");
    }

    #[test]
    fn no_line_ends_inside_a_number_with_its_unit() {
        assert_eq!(sized("18", "ms"), "18\u{a0}ms");
        assert_eq!(sized("18", ""), "18");
        assert_eq!(
            bound(
                "In bars 3, 5 and 9–12 it comes \u{2212}16.0 ± 1.8 ms early (9 of 10); up to 4 %."
            ),
            "In bars\u{a0}3, 5 and 9–12 it comes \u{2212}16.0\u{a0}±\u{a0}1.8\u{a0}ms early \
             (9 of 10); up to 4\u{a0}%."
        );
        assert_eq!(bound("bar  and 3 strokes "), "bar  and 3 strokes ");
    }

    #[test]
    fn instants_read_as_on_a_clock() {
        assert_eq!(clock(59.6), "1:00");
        assert_eq!(clock_tenths(61.25), "1:01.3");
        assert_eq!(clock(-0.2), "0:00");
    }

    #[test]
    fn runs_of_bars_are_drawn_together() {
        assert_eq!(bars(&[9]), "bar\u{a0}9");
        assert_eq!(bars(&[13, 14, 15, 16]), "bars\u{a0}13–16");
        assert_eq!(bars(&[5, 3, 9, 10, 3]), "bars\u{a0}3, 5 and 9–10");
        assert_eq!(bars(&[]), "");
        let odd: Vec<i32> = (1..18).step_by(2).collect();
        assert_eq!(few_bars(&odd), "bars\u{a0}1, 3, 5, 7, 9 and 4 more");
        assert_eq!(bars(&odd), "bars\u{a0}1, 3, 5, 7, 9, 11, 13, 15 and 17");
        assert_eq!(bar_span(4, 4), "bar\u{a0}4");
    }
}
