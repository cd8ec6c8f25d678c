//! Two sets of takes beside one another: two stickings, two pairs of
//! mallets, two tempi, or a student's take beside the teacher's.
//!
//! The unit is the take. The first measure, the evenness of the figure
//! played most, is tested for itself; the others are corrected for being
//! many (Holm).

use super::charts::{self, Row, WIDTHS};
use super::measures::{
    self, Choice, DEFINITIONS, Definition, MOST_SHOWN, Measure, definition_of, is_charted,
    is_triplet, place_of, sd_of_median, standing,
};
use super::stats::difference::{Difference, FEWEST_EACH, difference, share_b_below_a};
use super::stats::{Interval, holm};
use crate::align::Outcome;
use crate::number::{UNKNOWN, maybe_signed, plain};
use crate::report::html::{self, Cell, Scripts, foreign, numbers, words};
use crate::report::lettering::harmless;
use crate::review::{NoteFacts, Review};
use crate::settings::Settings;
use crate::stats::{mean, median, sd};
use crate::words::journal as text;
use maud::{Markup, html};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// One take of a set.
#[derive(Clone, Debug)]
pub struct Take {
    pub name: String,
    /// When, if the log knows; later texts are later.
    pub recorded: Option<String>,
    pub settings: Settings,
    pub measures: Vec<Measure>,
    /// Figure kind and unevenness, ms.
    pub figures: Vec<(String, f64)>,
    /// By bar that was reached: notes not heard, notes on another drum.
    pub wrong: BTreeMap<i32, [usize; 2]>,
}

impl Take {
    /// What a comparison needs of a review that the log has not: measured by
    /// the present definitions. `None` where it was not judged.
    pub fn of(review: &Review, name: &str) -> Option<Self> {
        Self::kept(review, name, measures::of_review(review), None)
    }

    /// The same of a kept review, with its measures as the log has them, each
    /// of its own version.
    pub fn kept(
        review: &Review,
        name: &str,
        measures: Vec<Measure>,
        recorded: Option<String>,
    ) -> Option<Self> {
        let present = measures::of_review(review);
        let measures = measures
            .into_iter()
            .map(|m| with_uncertainty(m, &present))
            .collect();
        review.judged.then(|| Self {
            name: name.to_owned(),
            recorded,
            settings: review.settings.clone(),
            measures,
            figures: review
                .figures
                .iter()
                .filter_map(|f| f.unevenness_ms.map(|ms| (f.kind.clone(), ms)))
                .collect(),
            wrong: wrong(review),
        })
    }
}

/// Logs kept bars without their uncertainties once; the review has them.
fn with_uncertainty(mut kept: Measure, present: &[Measure]) -> Measure {
    let same = |m: &&Measure| {
        (&m.scope, &m.key, &m.name) == (&kept.scope, &kept.key, &kept.name)
            && m.version == kept.version
    };
    kept.sd = kept.sd.or_else(|| present.iter().find(same)?.sd);
    kept
}

fn wrong(review: &Review) -> BTreeMap<i32, [usize; 2]> {
    let mut bars: BTreeMap<i32, [usize; 2]> = BTreeMap::new();
    let reached = |n: &&NoteFacts| n.outcome != Outcome::NotReached;
    for note in review.notes.iter().filter(reached) {
        let [missed, other] = bars.entry(note.bar).or_default();
        *missed += usize::from(note.outcome == Outcome::Missed);
        *other += usize::from(note.outcome == Outcome::OtherDrum);
    }
    bars
}

/// A set of takes and what it is called.
#[derive(Clone, Debug)]
pub struct Set {
    pub name: String,
    pub takes: Vec<Take>,
}

/// One measure in both sets.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Compared {
    pub measure: &'static str,
    pub unit: &'static str,
    /// Which figure kind or drum; empty for the whole take.
    pub of: String,
    pub difference: Difference,
    /// P of the test, corrected for the number of measures that have one.
    /// `None`: not enough takes.
    pub p_corrected: Option<f64>,
    /// In which share of resamplings of the takes B came out lower than A,
    /// for evenness; `None` below four takes a set.
    pub share_b_below_a: Option<f64>,
    pub left_out: LeftOut,
    #[serde(skip)]
    pub definition: &'static Definition,
    #[serde(skip)]
    rows: [Row; 2],
}

/// Takes whose number cannot be set beside the others.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct LeftOut {
    /// Measured by an earlier definition.
    pub other_definition: usize,
    /// Reviewed with other settings than the newest of both sets, of those
    /// that the measure depends on.
    pub other_settings: usize,
}

/// A measure that both sets have, but in no takes that can be compared.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Apart {
    pub measure: &'static str,
    /// Which figure kind or drum; empty for the whole take.
    pub of: String,
    pub left_out: LeftOut,
    #[serde(skip)]
    pub definition: &'static Definition,
}

/// One bar in both sets; medians over the takes.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Bar {
    pub bar: i32,
    /// Time against the pulse, ms, early negative.
    pub deviation_ms: [Option<f64>; 2],
    /// Standard uncertainties: what the takes' own give, or what the takes
    /// scatter where that is more.
    pub deviation_sd_ms: [Option<f64>; 2],
    pub unevenness_ms: [Option<f64>; 2],
    pub unevenness_sd_ms: [Option<f64>; 2],
    /// Notes not heard, mean of the takes that reached the bar.
    pub missed: [Option<f64>; 2],
    /// Notes on another drum than written, likewise.
    pub other_drum: [Option<f64>; 2],
}

/// All that is said of two sets.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Comparison {
    pub a: String,
    pub b: String,
    pub takes_a: usize,
    pub takes_b: usize,
    pub measures: Vec<Compared>,
    pub apart: Vec<Apart>,
    pub bars: Vec<Bar>,
}

impl Comparison {
    /// The measures that are said and drawn before all others.
    pub fn shown(&self) -> impl Iterator<Item = &Compared> {
        let charted = |c: &&Compared| is_charted(c.definition);
        self.measures.iter().filter(charted).take(MOST_SHOWN)
    }
}

/// Compares two sets.
pub fn compare(a: &Set, b: &Set) -> Comparison {
    let keys: BTreeSet<(usize, &str)> = a
        .takes
        .iter()
        .chain(&b.takes)
        .flat_map(|t| &t.measures)
        .filter(|m| m.scope != "bar")
        .filter_map(|m| Some((place_of(&m.name)?, m.key.as_str())))
        .collect();
    let (mut measures, mut apart) = (Vec::new(), Vec::new());
    for (place, key) in keys {
        match one(&DEFINITIONS[place], key, a, b) {
            Some(Ok(compared)) => measures.push(compared),
            Some(Err(found)) => apart.push(found),
            None => {}
        }
    }
    let takes = |c: &Compared| c.difference.count_a.min(c.difference.count_b);
    let played = |kind: &str| -> usize {
        let all = a.takes.iter().chain(&b.takes);
        all.flat_map(|t| &t.figures).filter(|f| f.0 == kind).count()
    };
    // Triplets lead where takes enough have them, else the figure played most.
    let main = measures
        .iter()
        .filter(|c| c.measure == DEFINITIONS[0].name)
        .max_by_key(|c| {
            let takes = takes(c).min(FEWEST_EACH);
            (takes, is_triplet(&c.of), played(&c.of))
        })
        .map(|c| c.of.clone());
    measures.sort_by_cached_key(|c| standing(c.definition, &c.of, main.as_deref()));
    let alone = usize::from(main.is_some());
    let tested: Vec<(usize, f64)> = (alone..measures.len())
        .filter_map(|i| Some((i, measures[i].difference.p?)))
        .collect();
    let p_values: Vec<f64> = tested.iter().map(|t| t.1).collect();
    for ((i, _), p) in tested.into_iter().zip(holm(&p_values)) {
        measures[i].p_corrected = Some(p);
    }
    Comparison {
        a: a.name.clone(),
        b: b.name.clone(),
        takes_a: a.takes.len(),
        takes_b: b.takes.len(),
        measures,
        apart,
        bars: bars(a, b),
    }
}

/// The row of a take for a measure, by whatever definition.
fn row_of<'a>(take: &'a Take, definition: &Definition, key: &str) -> Option<&'a Measure> {
    let is = |m: &&Measure| m.scope != "bar" && m.name == definition.name && m.key == key;
    take.measures.iter().find(is)
}

/// The newest take; of equals the last: where no day is known, that of B.
fn newest<'a>(takes: impl Iterator<Item = &'a Take>) -> Option<&'a Take> {
    takes.max_by(|x, y| x.recorded.cmp(&y.recorded))
}

/// `None` where a set has no such measure at all.
fn one(
    definition: &'static Definition,
    key: &str,
    a: &Set,
    b: &Set,
) -> Option<Result<Compared, Apart>> {
    let having = |set: &Set| -> usize {
        let has = |t: &&Take| row_of(t, definition, key).is_some();
        set.takes.iter().filter(has).count()
    };
    let all = having(a) + having(b);
    if having(a).min(having(b)) == 0 {
        return None;
    }
    let defined =
        |t: &&Take| row_of(t, definition, key).is_some_and(|m| m.version == definition.version);
    let choice = |t: &Take| definition.choice.made(&t.settings);
    let by_definition: Vec<&Take> = a.takes.iter().chain(&b.takes).filter(defined).collect();
    let newest = newest(by_definition.iter().copied()).map(choice);
    let alike = |t: &&Take| defined(t) && Some(choice(t)) == newest;
    let (of_a, of_b): (Vec<&Take>, Vec<&Take>) = (
        a.takes.iter().filter(alike).collect(),
        b.takes.iter().filter(alike).collect(),
    );
    let left_out = LeftOut {
        other_definition: all - by_definition.len(),
        other_settings: by_definition.len() - of_a.len() - of_b.len(),
    };
    let values = |takes: &[&Take]| -> Vec<(String, f64)> {
        let of = |t: &&Take| Some((t.name.clone(), row_of(t, definition, key)?.value));
        takes.iter().filter_map(of).collect()
    };
    let (va, vb) = (values(&of_a), values(&of_b));
    let bare = |v: &[(String, f64)]| v.iter().map(|v| v.1).collect::<Vec<_>>();
    let Some(difference) = difference(&bare(&va), &bare(&vb)) else {
        return Some(Err(Apart {
            measure: definition.name,
            of: key.to_owned(),
            left_out,
            definition,
        }));
    };
    let figures = |takes: &[&Take]| -> Vec<Vec<f64>> {
        takes
            .iter()
            .map(|t| {
                let here = t.figures.iter().filter(|f| f.0 == key);
                here.map(|f| f.1).collect::<Vec<_>>()
            })
            .filter(|v| !v.is_empty())
            .collect()
    };
    let share = (definition.name == DEFINITIONS[0].name)
        .then(|| share_b_below_a(&figures(&of_a), &figures(&of_b)))
        .flatten();
    let row = |set: &Set, values: Vec<(String, f64)>, mark: f64| Row {
        name: set.name.clone(),
        band: sd(&bare(&values)).map(|sd| {
            let of_mean = sd / (values.len() as f64).sqrt();
            Interval {
                low: mark - of_mean,
                high: mark + of_mean,
            }
        }),
        values,
        mark: Some(mark),
    };
    Some(Ok(Compared {
        measure: definition.name,
        unit: definition.unit,
        of: key.to_owned(),
        difference,
        p_corrected: difference.p,
        share_b_below_a: share,
        left_out,
        definition,
        rows: [row(a, va, difference.mean_a), row(b, vb, difference.mean_b)],
    }))
}

fn bars(a: &Set, b: &Set) -> Vec<Bar> {
    type Values = Vec<(f64, Option<f64>)>;
    /// Of one bar and set.
    #[derive(Default)]
    struct Found {
        deviation: Values,
        uneven: Values,
        wrong: Vec<[usize; 2]>,
    }
    let mut found: BTreeMap<i32, [Found; 2]> = BTreeMap::new();
    let choice = |t: &Take| Choice::AccuseRatio.made(&t.settings);
    let newest = newest(a.takes.iter().chain(&b.takes)).map(choice);
    for (side, set) in [a, b].into_iter().enumerate() {
        for m in set.takes.iter().flat_map(|t| &t.measures) {
            let present = definition_of(&m.name).is_some_and(|d| d.version == m.version);
            if let (true, Ok(bar)) = (m.scope == "bar" && present, m.key.parse()) {
                let here = &mut found.entry(bar).or_default()[side];
                if m.name == "unevenness" {
                    here.uneven.push((m.value, m.sd));
                } else {
                    here.deviation.push((m.value, m.sd));
                }
            }
        }
        for take in set.takes.iter().filter(|t| Some(choice(t)) == newest) {
            for (bar, wrong) in &take.wrong {
                found.entry(*bar).or_default()[side].wrong.push(*wrong);
            }
        }
    }
    let middle = |values: &Values| {
        let bare: Vec<f64> = values.iter().map(|v| v.0).collect();
        let sds: Option<Vec<f64>> = values.iter().map(|v| v.1).collect();
        let own = sds.and_then(|s| sd_of_median(&s));
        let scattered = sd(&bare).and_then(|s| sd_of_median(&vec![s; bare.len()]));
        let uncertainty = match (own, scattered) {
            (Some(own), Some(scattered)) => Some(own.max(scattered)),
            (own, scattered) => own.or(scattered),
        };
        (median(&bare), uncertainty)
    };
    let each = |wrong: &[[usize; 2]], which: usize| {
        mean(&wrong.iter().map(|w| w[which] as f64).collect::<Vec<_>>())
    };
    found
        .into_iter()
        .map(|(bar, sides)| {
            let deviation = sides.each_ref().map(|s| middle(&s.deviation));
            let uneven = sides.each_ref().map(|s| middle(&s.uneven));
            Bar {
                bar,
                deviation_ms: deviation.map(|d| d.0),
                deviation_sd_ms: deviation.map(|d| d.1),
                unevenness_ms: uneven.map(|u| u.0),
                unevenness_sd_ms: uneven.map(|u| u.1),
                missed: sides.each_ref().map(|s| each(&s.wrong, 0)),
                other_drum: sides.each_ref().map(|s| each(&s.wrong, 1)),
            }
        })
        .collect()
}

/// compare.html and the charts beside it, by name.
pub fn files(comparison: &Comparison) -> Vec<(String, String)> {
    let names = (comparison.a.as_str(), comparison.b.as_str());
    let mut files = Vec::new();
    let mut figures = Vec::new();
    for (i, c) in comparison.shown().enumerate() {
        let title = text::measure_of(c.definition, &c.of);
        let unit = text::unit(c.definition);
        let draw = |id: &str, width| {
            charts::rows(id, width, (&title, unit), &c.rows, &text::rows_key(&c.rows))
        };
        let (id, id_narrow) = (format!("compare{i}"), format!("compare{i}n"));
        if let (Some(wide), Some(narrow)) = (draw(&id, WIDTHS[0]), draw(&id_narrow, WIDTHS[1])) {
            let caption = html! { (foreign(&text::compared(c, names))) };
            figures.push(html::figure(&wide, &narrow, &caption));
            files.push((format!("compare-{}.svg", i + 1), wide.file()));
        }
    }
    let body = html! {
        header {
            p.kicker { (text::BESIDE) }
            h1 { (foreign(&text::two_sets(names.0, names.1))) }
        }
        main {
            p { (foreign(&text::takes_of_each(comparison))) }
            @if comparison.measures.is_empty() {
                p { (text::NOTHING_IN_COMMON) }
            }
            @for figure in &figures { (figure) }
            h2 { (text::ALL_MEASURES) }
            (measure_table(comparison))
            @for apart in text::apart(&comparison.apart) { p { (foreign(&apart)) } }
            h2 { (text::BAR_BY_BAR) }
            (bar_table(comparison))
            h2 { (text::RECKONED) }
            p { (text::SETS_RECKONED) }
        }
        footer { (text::made_by()) }
    };
    let title = text::two_sets(names.0, names.1);
    let page = html::page(&title, Scripts::Tables, &body);
    files.push(("compare.html".to_owned(), page));
    files
}

fn measure_table(comparison: &Comparison) -> Markup {
    let (a, b) = (harmless(&comparison.a), harmless(&comparison.b));
    let columns = [
        words(text::MEASURE),
        numbers(&a, ""),
        numbers(&b, ""),
        numbers(text::DIFFERENCE, ""),
        words(text::IN_95),
        numbers(text::PROBABILITY, ""),
    ];
    let rows: Vec<Vec<Cell>> = comparison
        .measures
        .iter()
        .map(|c| {
            let d = &c.difference;
            let places = c.definition.decimals.max(1);
            let title = text::measure_of(c.definition, &c.of);
            let name = text::with_unit(&title, text::unit(c.definition));
            let interval = d.interval;
            vec![
                Cell::markup(foreign(&name)),
                Cell::number(&plain(d.mean_a, places)),
                Cell::number(&plain(d.mean_b, places)),
                Cell::number(&maybe_signed(Some(d.difference), places)),
                Cell::text(&interval.map_or(UNKNOWN.to_owned(), |i| text::range(i, places))),
                Cell::sorted_by(&text::probability_or_why_not(c.p_corrected), c.p_corrected),
            ]
        })
        .collect();
    html::table(text::MEANS, &columns, &rows)
}

fn bar_table(comparison: &Comparison) -> Markup {
    let (a, b) = (harmless(&comparison.a), harmless(&comparison.b));
    let columns = [
        numbers(text::BAR, ""),
        numbers(&a, text::MS_OFF_PULSE),
        numbers(&b, text::MS_OFF_PULSE),
        numbers(&a, text::MS_UNEVEN),
        numbers(&b, text::MS_UNEVEN),
        numbers(&a, text::NOTES_WRONG),
        numbers(&b, text::NOTES_WRONG),
    ];
    let wrong = |missed: Option<f64>, other: Option<f64>| {
        let both = missed.zip(other).map(|(missed, other)| missed + other);
        Cell::number(&text::a_take(both))
    };
    let rows: Vec<Vec<Cell>> = comparison
        .bars
        .iter()
        .map(|bar| {
            let deviation = |side: usize| {
                let (ms, sd) = (bar.deviation_ms[side], bar.deviation_sd_ms[side]);
                Cell::number(&text::estimate(ms, sd, true))
            };
            let uneven = |side: usize| {
                let (ms, sd) = (bar.unevenness_ms[side], bar.unevenness_sd_ms[side]);
                Cell::number(&text::estimate(ms, sd, false))
            };
            vec![
                Cell::number(&bar.bar.to_string()),
                deviation(0),
                deviation(1),
                uneven(0),
                uneven(1),
                wrong(bar.missed[0], bar.other_drum[0]),
                wrong(bar.missed[1], bar.other_drum[1]),
            ]
        })
        .collect();
    html::table(text::MEDIANS, &columns, &rows)
}
