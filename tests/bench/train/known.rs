//! Is a candidate a stroke, now that the drums of the take are known? The
//! weights of `src/listen/known.rs`.

use crate::{KINDS, fit, loss, over};
use kettlemark::listen::{self, Logistic, Voices, known};
use kettlemark::pipeline;
use kettlemark::settings::Settings;
use kettlemark_test_support::conditions::Kind;
use kettlemark_test_support::kit::Instrument;
use kettlemark_test_support::onsets::pairs;
use kettlemark_test_support::takes::make_coded;
use std::ops::Range;

/// Seeds for fitting and for the table; all below the first judging seed.
const FIT: Range<u64> = 0..16;
const CHECK: Range<u64> = 500..508;

/// The candidates of a take, with whether each is a stroke; strokes that hardly
/// stand out are left out.
fn labelled(kind: Kind, instrument: Instrument, seed: u64) -> Vec<(known::Signs, bool)> {
    let take = make_coded(kind, instrument, seed);
    let recording = take.recording();
    let heard = listen::listen(recording).expect("samples are at hand");
    let settings = Settings::default();
    let first = pipeline::first(&heard, &take.part, &settings);
    let voices = Voices::learn(&heard, &take.part, &first, settings.a4_hz);
    let signs = known::signs(&heard, &take.part, &first, &voices);
    let again = listen::again(&heard, &take.part, &first, settings.a4_hz);
    let mut order: Vec<usize> = (0..signs.len()).collect();
    let time_s = |&i: &usize| again.candidates[i].time_s;
    order.sort_by(|a, b| time_s(a).total_cmp(&time_s(b)));
    let times: Vec<f64> = order.iter().map(time_s).collect();
    let truth: Vec<f64> = take.truth.strokes.iter().map(|s| s.time_s).collect();
    let mut labels = vec![Some(false); signs.len()];
    for (t, h) in pairs(&truth, &times, 0.025) {
        let plain = take.truth.strokes[t].stand_out_db >= 3.0;
        labels[order[h]] = plain.then_some(true);
    }
    let both = signs.into_iter().zip(labels);
    both.filter_map(|(signs, label)| signs.zip(label)).collect()
}

/// The weights that suit the takes for fitting.
pub fn fitted() -> Logistic<{ known::SIGN_NAMES.len() }> {
    let all = over(&KINDS, FIT, labelled);
    let rows: Vec<(&known::Signs, bool)> = all.iter().map(|(s, label)| (s, *label)).collect();
    fit(&rows)
}

/// Log loss a candidate on other takes, with the log odds that knew nothing of
/// the part (the second sign) and with those of the model.
pub fn check(model: &Logistic<{ known::SIGN_NAMES.len() }>) {
    println!("kind: candidates, strokes among them; log loss before, after");
    for kind in KINDS {
        let all = over(&[kind], CHECK, labelled);
        let each = |odds: &dyn Fn(&known::Signs) -> f64| loss(&all, odds) / all.len() as f64;
        println!(
            "{}: {}, {}; {:.4}, {:.4}",
            kind.name(),
            all.len(),
            all.iter().filter(|(_, stroke)| *stroke).count(),
            each(&|signs| f64::from(signs[1])),
            each(&|signs| model.log_odds(signs)),
        );
    }
}
