//! The take at a glance: the player and the strip of strokes.

use super::{Around, Audio};
use crate::report::charts::overview::{self, Layout, NAMES};
use crate::report::svg::{Svg, n, n_fine};
use crate::review::Review;
use crate::words::{self, page as text};
use maud::{Markup, PreEscaped, html};

/// Width of one printed line of the strip.
const SLICE: f64 = 900.0;

pub fn section(review: &Review, around: &Around) -> Markup {
    // Where nothing was followed, nobody knows where a bar begins.
    let has_bars = review.written.bars.iter().any(|b| b.time_s.is_some());
    let keys = if has_bars {
        text::KEYS
    } else {
        text::KEYS_WITHOUT_BARS
    };
    html! {
        section.listen #glance {
            h2 { (text::GLANCE) }
            @match &around.audio {
                Some(audio) => { (player(audio, has_bars)) }
                None => { p.note { (text::NO_AUDIO) } }
            }
            (strip(review))
            p #status.note.script-only aria-live="polite" { "\u{a0}" }
            ul.key aria-label=(text::STRIP_KEY) {
                @for (shape, meaning) in overview::key(review) {
                    li {
                        svg.chart width="16" height="16" aria-hidden="true" { (PreEscaped(shape)) }
                        (meaning)
                    }
                }
            }
            @if around.audio.is_some() { p.note.script-only { (keys) } }
            @if review.passages.len() > 1 {
                h3 { (text::PASSAGES) }
                @for (i, passage) in review.passages.iter().enumerate() {
                    p {
                        (text::passage(i + 1, passage)) " "
                        (super::play_link(around, passage.from_s, passage.to_s))
                    }
                }
            }
        }
    }
}

fn player(audio: &Audio, has_bars: bool) -> Markup {
    html! {
        audio controls preload="metadata" src=(audio.src) data-starts=(n_fine(audio.starts_s))
            aria-label=(text::PLAYER) data-missing=(text::AUDIO_MISSING) {}
        p.note {
            @if audio.inside {
                (text::AUDIO_INSIDE)
            } @else {
                (text::AUDIO_BESIDE) " " a href=(audio.src) { (shown(&audio.src)) }
            }
        }
        div.controls.script-only {
            button #toggle type="button" data-pause=(text::PAUSE) { (text::PLAY) }
            @if has_bars {
                button #back type="button" { (text::BAR_BACK) }
                button #on type="button" { (text::BAR_ON) }
            }
            label {
                (text::SPEED) " "
                select #speed {
                    @for percent in [100, 90, 80, 70, 60, 50] {
                        option value=(percent) { (percent) "\u{a0}%" }
                    }
                }
            }
            span.nowrap {
                button #loop type="button" aria-pressed="false" { (text::LOOP) }
                @if has_bars {
                    " "
                    label { (text::LOOP_FROM) " " input #loop-from type="number"; }
                    " "
                    label { (text::LOOP_TO) " " input #loop-to type="number"; }
                }
            }
        }
    }
}

/// The address as a person reads it.
fn shown(src: &str) -> Markup {
    html! { bdi { (crate::report::audio::readable(src)) } }
}

fn strip(review: &Review) -> Markup {
    let layout = Layout::of(review);
    let mut names = Svg::new("p-names", NAMES, "", "");
    overview::names(&mut names, review, &layout);
    let mut drawn = Svg::new("p-strip", layout.width, "", "");
    overview::strip(&mut drawn, review, &layout, true);
    let labels = |stretch: (f64, f64)| {
        let mut texts = Svg::new("p-labels", layout.width, "", "");
        overview::labels(&mut texts, review, &layout, stretch);
        PreEscaped(texts.body().to_owned())
    };
    let box_of = |width: f64| format!("0 0 {} {}", n(width), n(layout.height));
    html! {
        div.strip {
            svg.chart aria-hidden="true" viewBox=(box_of(NAMES)) width=(n(NAMES)) height=(n(layout.height)) {
                g #names.chart { (PreEscaped(names.body())) }
            }
            div.over tabindex="0" role="group" aria-label=(text::STRIP) {
                svg.chart role="group" aria-label=(words::overview_desc(review))
                    viewBox=(box_of(layout.width)) width=(n(layout.width)) height=(n(layout.height))
                    data-scale=(n_fine(layout.width / layout.time.to)) {
                    g #strip.chart { (PreEscaped(drawn.body())) }
                    g.chart { (labels((0.0, layout.width))) }
                    rect #stretch.wash y="0" width="0" height=(n(layout.height)) {}
                    line #playhead x1="0" x2="0" y1="0" y2=(n(layout.height)) visibility="hidden" {}
                }
            }
        }
        div.slices aria-hidden="true" {
            @for (from, to) in overview::stretches(review, &layout, SLICE) {
                svg.chart viewBox=(box_of(NAMES + SLICE)) {
                    use href="#names" {}
                    svg x=(n(NAMES)) width=(n(to - from)) height=(n(layout.height))
                        viewBox=(format!("{} 0 {} {}", n(from), n(to - from), n(layout.height))) {
                        use href="#strip" {}
                        g.chart { (labels((from, to))) }
                    }
                }
            }
        }
    }
}
