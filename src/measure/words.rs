//! Every sentence that measuring says to a player, kept together so that
//! another language needs this file alone.
//!
//! Kind, plain and exact: what was heard, where, how large, how often; never a
//! judgement of the person.

/// "bar 5", "bars 13-16", "bars 3, 7 and 12-14". Numbers rise.
pub fn bars(numbers: &[i32]) -> String {
    let mut sorted = numbers.to_vec();
    sorted.sort_unstable();
    sorted.dedup();
    let mut spans: Vec<(i32, i32)> = Vec::new();
    for number in sorted {
        match spans.last_mut() {
            Some(last) if last.1 + 1 == number => last.1 = number,
            _ => spans.push((number, number)),
        }
    }
    let texts: Vec<String> = spans
        .iter()
        .map(|&(a, b)| {
            if a == b {
                a.to_string()
            } else {
                format!("{a}-{b}")
            }
        })
        .collect();
    let word = if spans.len() == 1 && spans[0].0 == spans[0].1 {
        "bar"
    } else {
        "bars"
    };
    format!("{word} {}", list(&texts))
}

/// "a", "a and b", "a, b and c"; beyond six "a, b, c, d, e and 3 more".
pub fn list(items: &[String]) -> String {
    const MOST: usize = 6;
    match items {
        [] => String::new(),
        [one] => one.clone(),
        _ if items.len() > MOST => format!(
            "{} and {} more",
            items[..MOST - 1].join(", "),
            items.len() - (MOST - 1)
        ),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

/// "18 ± 3 ms": whole numbers, the uncertainty at least one.
fn plus_minus(value: f64, sd: f64, unit: &str) -> String {
    format!("{:.0} ± {:.0} {unit}", value.abs(), sd.max(1.0))
}

/// One decimal: "2.4 ± 0.6 dB".
fn plus_minus_fine(value: f64, sd: f64, unit: &str) -> String {
    format!("{value:.1} ± {:.1} {unit}", sd.max(0.1))
}

fn early_late(ms: f64) -> &'static str {
    if ms < 0.0 { "early" } else { "late" }
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars
        .next()
        .map(|c| c.to_uppercase().collect::<String>() + chars.as_str())
        .unwrap_or_default()
}

/// A kind of figure in running text: "triplet-eighths" as "triplets of
/// eighths".
pub fn figure_name(kind: &str) -> String {
    match kind.split_once('-') {
        Some(("triplet", "eighths")) => "triplets".to_owned(),
        Some((tuplet, value)) if tuplet.ends_with("plet") => format!("{tuplet}s of {value}"),
        Some(("dotted", value)) => format!("dotted {value}"),
        _ => kind.to_owned(),
    }
}

/// Which stroke of a figure: `k` from 0, `of` strokes.
pub fn stroke_name(k: usize, of: usize) -> String {
    const ORDINALS: [&str; 8] = [
        "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth",
    ];
    if of == 3 && k == 1 {
        return "middle note".to_owned();
    }
    if of > 2 && k + 1 == of {
        return "last note".to_owned();
    }
    ORDINALS
        .get(k)
        .map_or_else(|| format!("{}th note", k + 1), |o| format!("{o} note"))
}

/// One sentence with a way to practise it.
pub struct Advice {
    pub text: String,
    pub practise: String,
}

fn advice(text: String, practise: &str) -> Advice {
    Advice {
        text,
        practise: practise.to_owned(),
    }
}

/// One stroke of a kind of figure is usually to one side.
pub struct ShapeFacts<'a> {
    pub kind: &'a str,
    pub bars: &'a [i32],
    pub stroke: usize,
    pub strokes: usize,
    pub ms: f64,
    pub sd_ms: f64,
    pub same_side: usize,
    pub count: usize,
}

pub fn shape(facts: &ShapeFacts) -> Advice {
    let text = format!(
        "In {} the {} of the {} comes {} {} ({} of {} times).",
        bars(facts.bars),
        stroke_name(facts.stroke, facts.strokes),
        figure_name(facts.kind),
        plus_minus(facts.ms, facts.sd_ms, "ms"),
        early_late(facts.ms),
        facts.same_side,
        facts.count
    );
    advice(
        text,
        "Play the figure slowly over a metronome that sounds every note of it, each stroke from \
         the same height; then let the metronome sound the beat alone and bring the tempo back up \
         in small steps.",
    )
}

/// Figures that are uneven without a common shape.
pub fn uneven(kind: &str, numbers: &[i32], ms: f64, not_clean: usize, judged: usize) -> Advice {
    advice(
        format!(
            "In {} the {} are uneven by about {ms:.0} ms, each time in another way ({not_clean} \
             of {judged}).",
            bars(numbers),
            figure_name(kind)
        ),
        "Take one figure at half the tempo, four times without a break, and listen only to the \
         distances; go on when two rounds sound the same.",
    )
}

/// One hand against the other.
pub fn hands(kind: &str, right_minus_left_ms: f64) -> Advice {
    let (first, then) = if right_minus_left_ms < 0.0 {
        ("right", "left")
    } else {
        ("left", "right")
    };
    advice(
        format!(
            "In the {} the {then} hand comes {:.0} ms later against the pulse than the {first} \
             hand.",
            figure_name(kind),
            right_minus_left_ms.abs()
        ),
        "Play the figure with each hand alone on its own notes against a metronome, then together.",
    )
}

/// Notes that were not heard.
pub fn missed(numbers: &[i32], count: usize) -> Advice {
    let notes = if count == 1 {
        "one note was".to_owned()
    } else {
        format!("{count} notes were")
    };
    advice(
        format!("In {} {notes} not heard.", bars(numbers)),
        "Say the bar aloud with its rests and sticking, play it at half the tempo, then with one \
         bar before and one bar after it.",
    )
}

/// Notes that were heard on another drum.
pub fn other_drum(numbers: &[i32], count: usize, pitches: &[String]) -> Advice {
    let notes = if count == 1 {
        "one note".to_owned()
    } else {
        format!("{count} notes")
    };
    advice(
        format!(
            "In {} {notes} written {} sounded on another drum.",
            bars(numbers),
            list(pitches)
        ),
        "Move through the bar without sound, stopping each stick above its drum; then play it \
         slowly with the same way round the drums.",
    )
}

fn sharp_flat(cents: f64) -> &'static str {
    if cents < 0.0 { "flat" } else { "sharp" }
}

/// One drum away from its pitch.
pub fn tuning(drum: u8, pitch: &str, numbers: (i32, i32), cents: f64, sd: f64) -> Advice {
    advice(
        format!(
            "Drum {drum} on {pitch} (bars {}-{}) sounds {} {}.",
            numbers.0,
            numbers.1,
            plus_minus(cents, sd, "cents"),
            sharp_flat(cents)
        ),
        "Sing the pitch from the reference before touching the pedal, come up to it from below, \
         and check it with a soft stroke at the playing spot.",
    )
}

/// All drums together away from the reference.
pub fn whole_set(cents: f64, sd: f64, drums: usize) -> Advice {
    advice(
        format!(
            "All {drums} tunings sound {} {} together; between the drums the intervals agree.",
            plus_minus(cents, sd, "cents"),
            sharp_flat(cents)
        ),
        "Take the first pitch from the reference that the ensemble uses, then tune the others \
         from it by interval as before.",
    )
}

/// The tempo moves over the passage.
pub fn drift(numbers: (i32, i32), change_pct: f64, sd_pct: f64) -> Advice {
    let word = if change_pct < 0.0 { "falls" } else { "rises" };
    advice(
        format!(
            "From bar {} to bar {} the tempo {word} by {} in all.",
            numbers.0,
            numbers.1,
            plus_minus(change_pct, sd_pct, "%")
        ),
        "Record the passage again with a metronome that sounds only the first beat of every \
         second bar, and listen whether you meet it.",
    )
}

/// Two marks in the wrong order.
pub fn order(softer: (&str, i32), louder: (&str, i32), excess_db: f64, sd_db: f64) -> Advice {
    advice(
        format!(
            "The {} from bar {} comes out {} louder than the {} from bar {}.",
            softer.0,
            softer.1,
            plus_minus_fine(excess_db, sd_db, "dB"),
            louder.0,
            louder.1
        ),
        "Play the last bar before the change and the first bar after it in turn, and set the \
         height of the sticks for each before the first stroke.",
    )
}

/// A hairpin that does not move, or moves the other way.
pub fn hairpin(written: &str, numbers: (i32, i32), change_db: f64, sd_db: f64) -> Advice {
    advice(
        format!(
            "The {written} in bars {}-{} changes the level by {}.",
            numbers.0,
            numbers.1,
            plus_minus_fine(change_db, sd_db, "dB")
        ),
        "Begin further away from the goal than feels right: softer for a crescendo, louder for a \
         diminuendo, and change the height of the sticks a little with every stroke.",
    )
}

/// Accents that do not stand out.
pub fn accents(numbers: &[i32], flat: usize, judged: usize) -> Advice {
    advice(
        format!(
            "In {} {flat} of {judged} accented notes do not stand out from their neighbours by as \
             much as an ear notices.",
            bars(numbers)
        ),
        "Keep the unaccented strokes lower rather than the accents higher: play the bar with the \
         accents alone, then add the others at half their height.",
    )
}

/// Drums stopped late.
pub fn late_stops(numbers: &[i32], median_ms: f64, count: usize, judged: usize) -> Advice {
    advice(
        format!(
            "In {} the drum is stopped about {median_ms:.0} ms after the written end ({count} of \
             {judged} stops).",
            bars(numbers)
        ),
        "Count the rest aloud and let the fingers come down on its first beat; for loud notes use \
         the heel of the hand as well.",
    )
}

/// Drums left to ring where silence is written.
pub fn ringing(numbers: &[i32], count: usize, judged: usize) -> Advice {
    advice(
        format!(
            "In {} the drum rings on after the written end ({count} of {judged}). Where that is \
             meant, mark the part so.",
            bars(numbers)
        ),
        "Play the last note before the rest and stop it, alone, until the stop is silent and in \
         time; then from two bars before.",
    )
}

/// A gap between a roll and the note it leads to.
pub fn roll_gap(number: i32, gap_ms: f64) -> Advice {
    advice(
        format!(
            "In bar {number} there is a gap of {gap_ms:.0} ms between the end of the roll and the \
             next note."
        ),
        "Play the roll into the next note and hold back everything after it, until the note is \
         the roll's own last stroke.",
    )
}

/// A roll whose strokes come unevenly.
pub fn roll_uneven(number: i32, pct: f64) -> Advice {
    advice(
        format!(
            "In bar {number} the distances between the strokes of the roll vary by {pct:.0} % \
             of their length."
        ),
        "Roll slowly enough to hear both hands apart, match their sound and height, and let the \
         speed grow only as long as you still hear no difference.",
    )
}

// Why a take was not judged.

pub fn no_notes() -> String {
    "the part holds no notes".to_owned()
}

pub fn empty_take() -> String {
    "the recording holds no sound".to_owned()
}

pub fn silence() -> String {
    "the recording is silent".to_owned()
}

pub fn no_strokes() -> String {
    "no drum strokes were heard in the recording".to_owned()
}

pub fn no_passage() -> String {
    "no stretch of the recording follows this part".to_owned()
}

pub fn too_few_strokes(found: usize) -> String {
    match found {
        0 => "no stroke could be matched with this part".to_owned(),
        1 => "only one stroke could be matched with this part".to_owned(),
        _ => format!("only {found} strokes could be matched with this part"),
    }
}

pub fn other_piece() -> String {
    "the recording does not seem to be of this part".to_owned()
}

// Doubts.

pub fn clipping(share: f64) -> String {
    format!(
        "The recording is overdriven ({:.2} % of its samples): loud strokes are louder than they \
         appear, so levels are not compared. Record with a lower level or from further away.",
        100.0 * share
    )
}

pub fn gain_control() -> String {
    "The recorder steered the level by itself, so nothing is said about dynamics. Switch the \
     automatic level off if it can be."
        .to_owned()
}

pub fn bass_cut(hz: f64) -> String {
    format!(
        "The recorder takes away the bass below about {hz:.0} Hz: the low drums are heard by their \
         upper tones, and their tuning and stops are less sure."
    )
}

pub fn noise(below_peak_db: f64) -> String {
    format!(
        "The background is only {below_peak_db:.0} dB below the loudest moment: soft strokes and \
         the ends of notes may be hidden."
    )
}

pub fn gaps(spans: &[(f64, f64)]) -> String {
    let texts: Vec<String> = spans
        .iter()
        .map(|(a, b)| format!("{a:.1}-{b:.1} s"))
        .collect();
    format!(
        "Parts of the file could not be read ({}): what was played there is not judged.",
        list(&texts)
    )
}

pub fn start_offset() -> String {
    "The file does not say how much silence its encoder put before the sound: all times may be \
     late by the same amount, up to about 0.05 s. Distances between strokes are not touched."
        .to_owned()
}

pub fn narrow(bandwidth_hz: f64) -> String {
    format!(
        "The recording holds nothing above {bandwidth_hz:.0} Hz: the moment of contact is less \
         sharp."
    )
}

pub fn uncertain_piece(same_piece: f64) -> String {
    format!(
        "It is not quite sure that the recording is of this part ({:.0} % likely).",
        100.0 * same_piece
    )
}

pub fn many_unsure(count: usize, of: usize) -> String {
    format!(
        "{count} of {of} notes could not be told: they may have been played and covered by other \
         sound. They are not counted either way."
    )
}

pub fn click_track(period_s: f64) -> String {
    format!(
        "A regular click sounds along, every {period_s:.2} s. It is not taken for strokes; soft \
         strokes that fall on it may be hidden."
    )
}

pub fn many_extras(count: usize) -> String {
    format!(
        "{count} strokes were heard that stand nowhere in the part. They may be other sounds, or \
         the part may differ from what was played."
    )
}

pub fn part_only(from_bar: i32, to_bar: i32) -> String {
    format!("Only bars {from_bar}-{to_bar} are heard; nothing is said about the others.")
}

pub fn too_few(what: &str, count: usize, of: usize) -> String {
    capital(&format!(
        "{what}: {count} of {of} could not be measured, because too few sure strokes stand \
         behind them."
    ))
}

pub fn stops_unsure(count: usize, of: usize) -> String {
    format!(
        "Stops: at {count} of {of} places it cannot be told whether the drum was stopped, because \
         other strokes, the room or noise cover its end."
    )
}
