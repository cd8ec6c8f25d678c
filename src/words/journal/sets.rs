//! What is said of two sets of takes beside one another.

use super::{ALONE, in_95, measure, other_definition, other_settings, unit};
use crate::journal::compare::{Apart, Compared, Comparison, LeftOut};
use crate::journal::measures::{Better, Choice, Definition};
use crate::journal::stats::ALPHA;
use crate::journal::stats::difference::{Difference, FEWEST_EACH, MOST_MORE_TAKES};
use crate::number::{self, UNKNOWN, plain, short, signed, sized};
use crate::words::count;

pub const BESIDE: &str = "Beside one another";
pub const NOTHING_IN_COMMON: &str = "The two sets have no measure in common.";
pub const BAR_BY_BAR: &str = "Bar by bar";
pub const MEANS: &str = "Means of the takes";
pub const DIFFERENCE: &str = "Difference";
pub const MEDIANS: &str = "Time off the pulse, early negative, and unevenness: medians of the \
     takes ± their standard uncertainty; wrong notes are notes not heard or on another drum, a take";
pub const BAR: &str = "Bar";
pub const MS_OFF_PULSE: &str = "ms off pulse";
pub const MS_UNEVEN: &str = "ms uneven";
pub const NOTES_WRONG: &str = "wrong notes";
pub const SETS_RECKONED: &str = "Every take counts once. P says how often chance alone, dividing \
     the same takes anew, would part them as far (permutation test); the interval holds those \
     differences the test cannot refuse. The measures after the first are corrected for being \
     many. Takes that were reviewed with other settings than the newest of both sets, or, where \
     no day is known, than the last, are left out of those measures that depend on them. Where \
     there are so few takes that no division of them is rarer than one in twenty, as with three \
     of each, nothing can be settled, and no p is given.";

/// A value in a table with its uncertainty, where that is known; with a sign
/// or without.
pub fn estimate(value: Option<f64>, sd: Option<f64>, with_sign: bool) -> String {
    match (value, sd) {
        (Some(value), Some(_)) if with_sign => number::signed_with_sd(value, sd),
        (Some(value), Some(_)) => number::with_sd(value, sd),
        _ if with_sign => number::maybe_signed(value, 1),
        _ => number::maybe(value, 1),
    }
}

/// How many of something a take has: "2", or "1.5" as a mean of several.
pub fn a_take(mean: Option<f64>) -> String {
    mean.map_or_else(|| UNKNOWN.to_owned(), |mean| short(mean, 1))
}

/// "alternating and double".
pub fn two_sets(a: &str, b: &str) -> String {
    format!("{a} and {b}")
}

/// How many takes each set has.
pub fn takes_of_each(c: &Comparison) -> String {
    format!(
        "{}: {}; {}: {}.",
        c.a,
        count(c.takes_a, "take", "takes"),
        c.b,
        count(c.takes_b, "take", "takes")
    )
}

/// What is said of one measure in two sets.
pub fn compared(c: &Compared, (a, b): (&str, &str)) -> String {
    let d = &c.difference;
    let places = c.definition.decimals.max(1);
    let mut size = sized(&signed(d.difference, places), unit(c.definition));
    if let Some(i) = d.interval {
        size += &format!(" ({})", in_95(i, places));
    }
    let rare = |p: Option<f64>| p.is_some_and(|p| p <= ALPHA);
    let mut text = if rare(c.p_corrected) {
        let better = match c.definition.better {
            Better::Lower => Some(if d.difference < 0.0 { b } else { a }),
            Better::Higher => Some(if d.difference > 0.0 { b } else { a }),
            Better::Neither => None,
        };
        match better {
            Some(name) => format!("{name} is better; {b} against {a}: {size}."),
            None => format!("They differ; {b} against {a}: {size}."),
        }
    } else {
        let alone = if rare(d.p) {
            format!(" {ALONE}")
        } else {
            String::new()
        };
        let verdict = match d.p {
            None => "Not enough takes to settle it",
            Some(_) => "Not settled",
        };
        format!("{verdict}; {b} against {a}: {size}.{alone}{}", more(d))
    };
    if let Some(share) = c.share_b_below_a {
        let (name, share) = if share >= 0.5 {
            (b, share)
        } else {
            (a, 1.0 - share)
        };
        text += &format!(
            " In {} of 100 resamplings of the takes {name} is the more even.",
            plain(100.0 * share, 0)
        );
    }
    text + &left_out(c.left_out, c.definition)
}

/// How many more takes would settle it, with a space before; empty where that
/// is settled.
fn more(d: &Difference) -> String {
    let seen = " If what is seen is the true difference,";
    let fewest = FEWEST_EACH.saturating_sub(d.count_a.min(d.count_b));
    match d.more_each {
        Some(0) => String::new(),
        Some(n) => format!(
            "{seen} about {} of each would most likely show it.",
            count(n.max(fewest), "more take", "more takes")
        ),
        None if d.p.is_none() => " At least four takes of each are needed.".to_owned(),
        None if d.difference == 0.0 => {
            " No difference is seen that more takes could settle.".to_owned()
        }
        None => {
            format!("{seen} more than {MOST_MORE_TAKES} takes of each would be needed to show it.")
        }
    }
}

/// Takes that could not be set beside the others; empty for none.
fn left_out(takes: LeftOut, definition: &Definition) -> String {
    other_definition(takes.other_definition)
        + &other_settings(takes.other_settings, definition.choice)
}

/// Which measures of both sets are not compared, and why: one sentence for
/// each choice that they depend on.
pub fn apart(measures: &[Apart]) -> Vec<String> {
    let mut choices: Vec<Choice> = Vec::new();
    for apart in measures {
        if !choices.contains(&apart.definition.choice) {
            choices.push(apart.definition.choice);
        }
    }
    choices
        .into_iter()
        .map(|choice| {
            let mut names: Vec<&str> = Vec::new();
            let (mut definition, mut settings) = (0, 0);
            for apart in measures.iter().filter(|a| a.definition.choice == choice) {
                if !names.contains(&measure(apart.definition)) {
                    names.push(measure(apart.definition));
                }
                definition = definition.max(apart.left_out.other_definition);
                settings = settings.max(apart.left_out.other_settings);
            }
            format!(
                "Not compared: {}.{}{}",
                names.join("; "),
                other_definition(definition),
                other_settings(settings, choice)
            )
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::journal::stats::difference::difference;
    use crate::number::NBSP;

    #[test]
    fn how_many_more_takes_is_always_answered() {
        let told = |a: &[f64], b: &[f64]| more(&difference(a, b).unwrap()).replace(NBSP, " ");
        // One take each tells no scatter.
        assert_eq!(
            told(&[1.0], &[9.0]),
            " At least four takes of each are needed."
        );
        // Two far apart: the size alone would ask for one more.
        assert_eq!(
            told(&[1.0, 2.0], &[91.0, 92.0]),
            " If what is seen is the true difference, about 2 more takes of each would most \
             likely show it."
        );
        let a = [10.0, 14.0, 8.0, 12.0, 11.0];
        let nearly = a.map(|v| v + 0.05);
        assert_eq!(
            told(&a, &nearly),
            " If what is seen is the true difference, more than 200 takes of each would be \
             needed to show it."
        );
        assert_eq!(
            told(&a, &a),
            " No difference is seen that more takes could settle."
        );
        assert_eq!(told(&a, &a.map(|v| v + 90.0)), "");
    }
}
