//! review.html: the page a player opens after practising and a teacher hands
//! back. Everything on it is there without scripts; scripts add playing,
//! following and sorting.

mod numbers;
mod sections;
mod strip;
mod tables;

use super::html::{self, Scripts, foreign};
use crate::number::bound;
use crate::review::Review;
use crate::words::{self, page as text};
use maud::{Markup, html};

/// The recording, as the page reaches it.
#[derive(Clone, Debug, PartialEq)]
pub struct Audio {
    /// A relative address, or a data address.
    pub src: String,
    /// Where in the take it begins, seconds.
    pub starts_s: f64,
    /// It is inside the page.
    pub inside: bool,
}

/// What a page needs besides the review.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Around {
    pub audio: Option<Audio>,
    /// When the take was recorded, as it is to be shown.
    pub recorded: Option<String>,
}

/// The whole page.
pub fn page(review: &Review, around: &Around) -> String {
    let title = format!(
        "{} · {}",
        words::title(review),
        super::lettering::harmless(&review.take.file)
    );
    let body = html! {
        main {
            (head(review, around))
            @if review.judged {
                (sections::practise(review, around))
                (strip::section(review, around))
                (sections::evenness(review))
                (sections::tuning(review))
                (sections::dynamics(review))
                (sections::rolls(review))
                (sections::stops(review))
                (sections::bars(review))
            } @else {
                (strip::section(review, around))
            }
            (sections::reading(review))
        }
        footer { p { (text::made_by(review)) } }
    };
    html::page(&title, Scripts::TablesAndPlayer, &body)
}

fn head(review: &Review, around: &Around) -> Markup {
    let recording = text::recording(&review.take);
    let fitness = if review.judged || !review.doubts.is_empty() {
        format!("{recording}: {}", text::fitness(review))
    } else {
        recording
    };
    html! {
        header {
            p.kicker { (text::KICKER) }
            h1 { (foreign(&words::title(review))) }
            @if !review.judged {
                p.refused {
                    strong { (text::NOT_JUDGED) } " "
                    (foreign(&bound(&words::sentence(review.reason.as_deref().unwrap_or_default()))))
                }
            }
            dl.facts {
                dt { (text::TAKE) } dd { (foreign(&review.take.file)) }
                @if let Some(recorded) = &around.recorded {
                    dt { (text::RECORDED) } dd { (foreign(recorded)) }
                }
                @if review.judged {
                    dt { (text::TEMPO) } dd { (words::tempo_line(&review.tempo)) }
                    @if let Some(metronome) = &review.metronome {
                        dt { (text::METRONOME) } dd { (words::metronome_line(metronome)) }
                    }
                    dt { (text::PLAYED) } dd { (words::played_line(review)) }
                }
                dt { (text::RECORDING) } dd { (fitness) }
            }
            @if !review.doubts.is_empty() {
                div.doubts {
                    p { (text::DOUBTS) }
                    ul {
                        @for doubt in &review.doubts {
                            li {
                                (foreign(&bound(&doubt.text)))
                                @if let Some(limits) = words::doubt_limits(doubt) {
                                    " " span.note { (limits) }
                                }
                            }
                        }
                    }
                }
            }
            @if review.judged { (contents()) }
        }
    }
}

fn contents() -> Markup {
    html! {
        nav.contents aria-label=(text::CONTENTS) {
            ul {
                @for (id, name) in [
                    ("practise", text::PRACTISE),
                    ("glance", text::GLANCE),
                    ("evenness", text::EVENNESS),
                    ("tuning", text::TUNING),
                    ("dynamics", text::DYNAMICS),
                    ("rolls", text::ROLLS),
                    ("stops", text::STOPS),
                    ("bars", text::BARS),
                    ("reading", text::READING),
                ] {
                    li { a href={ "#" (id) } { (name) } }
                }
            }
        }
    }
}

/// A link that plays a stretch; without scripts it opens the recording
/// there (W3C, Media Fragments URI 1.0).
fn play_link(around: &Around, from_s: f64, to_s: f64) -> Markup {
    let label = text::play_span(from_s, to_s);
    let (from, to) = (super::svg::n_fine(from_s), super::svg::n_fine(to_s));
    let href = match &around.audio {
        Some(audio) if !audio.inside => format!("{}#t={from},{to}", audio.src),
        _ => "#glance".to_owned(),
    };
    html! {
        @if around.audio.is_some() {
            a.play href=(href) data-from=(from) data-to=(to) { (label) }
        }
    }
}
