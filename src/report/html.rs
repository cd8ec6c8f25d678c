//! What every page shares: the frame, the style, the scripts, figures and
//! tables. A page is one file; it asks nothing of any network.

use super::lettering::harmless;
use super::svg::{self, Svg};
use maud::{DOCTYPE, Markup, PreEscaped, html};

/// The look of pages.
const STYLE: &str = include_str!("page.css");
/// Makes tables sortable by their heads.
const TABLE_SCRIPT: &str = include_str!("table.js");
/// Plays the take and follows it.
const PLAYER_SCRIPT: &str = include_str!("player.js");

/// Which scripts a page carries. Every page can be read without any.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scripts {
    Tables,
    TablesAndPlayer,
}

/// A whole page. `title` is the window's; `body` what stands in it.
pub fn page(title: &str, scripts: Scripts, body: &Markup) -> String {
    let markup = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="generator" content="kettlemark";
                meta name="color-scheme" content="light dark";
                // Nothing but what is in the file and the recording beside it.
                meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data:; media-src 'self' file: data: blob:";
                link rel="icon" href="data:,";
                title { (harmless(title)) }
                style { (PreEscaped(STYLE)) (PreEscaped(svg::STYLE)) }
            }
            body {
                (body)
                script { (PreEscaped(TABLE_SCRIPT)) }
                @if scripts == Scripts::TablesAndPlayer {
                    script { (PreEscaped(PLAYER_SCRIPT)) }
                }
            }
        }
    };
    markup.into_string()
}

/// Text from outside, held apart from what stands around it whatever its
/// direction of writing.
pub fn foreign(text: &str) -> Markup {
    html! { bdi { (harmless(text)) } }
}

/// A chart in a page: one drawing for wide and one for narrow windows. The
/// identifiers of the two must differ.
pub fn figure(wide: &Svg, narrow: &Svg, caption: &Markup) -> Markup {
    html! {
        figure {
            (PreEscaped(wide.inline("wide")))
            (PreEscaped(narrow.inline("narrow")))
            @if !caption.0.is_empty() { figcaption { (caption) } }
        }
    }
}

/// A chart in several drawings, as many as the width of the window asks for.
/// All identifiers must differ.
pub fn series(wide: &[Svg], narrow: &[Svg]) -> Markup {
    html! {
        figure.series {
            @for drawing in wide { (PreEscaped(drawing.inline("wide"))) }
            @for drawing in narrow { (PreEscaped(drawing.inline("narrow"))) }
        }
    }
}

/// A column of a table.
#[derive(Clone, Copy, Debug)]
pub struct Column<'a> {
    pub head: &'a str,
    /// What stands under the head, such as the unit; may be empty.
    pub unit: &'a str,
    /// Numbers stand to the right.
    pub number: bool,
}

/// A column of numbers with their unit.
pub fn numbers<'a>(head: &'a str, unit: &'a str) -> Column<'a> {
    Column {
        head,
        unit,
        number: true,
    }
}

/// A column of words.
pub fn words(head: &str) -> Column<'_> {
    Column {
        head,
        unit: "",
        number: false,
    }
}

/// One cell: what is shown, and what a sort goes by where that differs.
#[derive(Clone, Debug)]
pub struct Cell {
    pub shown: Markup,
    pub key: Option<f64>,
}

impl Cell {
    pub fn text(text: &str) -> Self {
        Self {
            shown: html! { (text) },
            key: None,
        }
    }

    pub fn markup(shown: Markup) -> Self {
        Self { shown, key: None }
    }

    /// A number as it is shown; it sorts by what it begins with.
    pub fn number(text: &str) -> Self {
        Self::text(text)
    }

    /// Something that does not sort by its text.
    pub fn sorted_by(text: &str, key: Option<f64>) -> Self {
        Self {
            shown: html! { (text) },
            key,
        }
    }
}

/// A table that reads without scripts and sorts with them. The first column
/// heads its row.
pub fn table(caption: &str, columns: &[Column], rows: &[Vec<Cell>]) -> Markup {
    html! {
        div.scroll tabindex="0" role="region" aria-label=(caption) {
            table.sortable {
                caption { (caption) }
                thead {
                    tr {
                        @for column in columns {
                            th scope="col" class=[(!column.number).then_some("w")] {
                                (column.head)
                                @if !column.unit.is_empty() { " " small { (column.unit) } }
                            }
                        }
                    }
                }
                tbody {
                    @for row in rows {
                        tr {
                            @for (place, (cell, column)) in row.iter().zip(columns).enumerate() {
                                (cell_markup(cell, column, place == 0))
                            }
                        }
                    }
                }
            }
        }
    }
}

fn cell_markup(cell: &Cell, column: &Column, heads: bool) -> Markup {
    let class = (!column.number).then_some("w");
    let key = cell.key.map(svg::n_fine);
    html! {
        @if heads {
            th scope="row" class=[class] data-k=[key] { (cell.shown) }
        } @else {
            td class=[class] data-k=[key] { (cell.shown) }
        }
    }
}
