//! `MusicXML` 3 and 4, partwise and timewise, plain or packed.
//!
//! The part for timpani is found by its name or instrument; tempo, rehearsal
//! marks and the signs of repetition are taken from every part of the score,
//! since full scores print them over the top stave only. Notes are read bar by
//! bar as written ([`bar`]), the order of playing is worked out ([`order`]),
//! and both together become a [`Part`] ([`build`]).

mod bar;
mod build;
mod choose;
mod direction;
mod mxl;
mod note;
mod order;
mod words;
mod written;

pub(super) use mxl::unpack;

use super::read::{Fault, ReadOptions};
use super::{Part, Quarters};
use roxmltree::{Document, Node, ParsingOptions};

/// One bar of one part: where its music stands, and what it is called.
#[derive(Clone, Copy)]
struct Measure<'a, 'input> {
    content: Node<'a, 'input>,
    number: Option<&'a str>,
    implicit: bool,
}

/// Elements and texts in one file; a large full score has two million.
const MOST_NODES: u32 = 40_000_000;
/// Elements inside elements; music needs eight.
const DEEPEST: usize = 200;

/// Reads a score.
pub(super) fn read(text: &str, options: &ReadOptions) -> Result<Part, Fault> {
    check_depth(text)?;
    let parsing = ParsingOptions {
        allow_dtd: true,
        nodes_limit: MOST_NODES,
        ..Default::default()
    };
    let document = Document::parse_with_options(text, parsing).map_err(|e| {
        let place = e.pos();
        Fault::new(
            format!("line {}, column {}", place.row, place.col),
            format!("the XML is broken: {e}; export the part again"),
        )
    })?;
    let root = document.root_element();
    let timewise = match root.tag_name().name() {
        "score-partwise" => false,
        "score-timewise" => true,
        other => {
            return Err(Fault::new(
                "the first element",
                format!("expected a MusicXML score, found <{other}>; export the part as MusicXML"),
            ));
        }
    };
    let listed = choose::parts(root);
    let chosen = choose::choose(&listed, options)?;
    let mut bars = Vec::new();
    for (index, part) in listed.iter().enumerate() {
        let measures = measures(root, &part.id, timewise);
        bar::read(&measures, index == chosen, &mut bars, options)?;
    }
    let order = order::order(&bars)?;
    for (place, what) in order.told {
        let bar = &mut bars[place];
        let event = written::Event::Unread(what.to_owned());
        bar.events.push((Quarters::from(0), event));
    }
    let mut part = build::build(&bars, &order.places)?;
    part.title = title(root);
    Ok(part)
}

/// Deep nesting is refused before the parser meets it, since no score nests and
/// a forged file must not exhaust the stack.
fn check_depth(text: &str) -> Result<(), Fault> {
    let (mut depth, mut line) = (0_usize, 1_usize);
    let bytes = text.as_bytes();
    for (i, &byte) in bytes.iter().enumerate() {
        match byte {
            b'\n' => line += 1,
            b'<' => match bytes.get(i + 1) {
                Some(b'/') => depth = depth.saturating_sub(1),
                Some(b'!' | b'?') | None => {}
                Some(_) => depth += 1,
            },
            b'/' if bytes.get(i + 1) == Some(&b'>') => depth = depth.saturating_sub(1),
            _ => {}
        }
        if depth > DEEPEST {
            return Err(Fault::new(
                format!("line {line}"),
                "elements are nested deeper than in any score; export the part again",
            ));
        }
    }
    Ok(())
}

fn measures<'a, 'input>(
    root: Node<'a, 'input>,
    id: &str,
    timewise: bool,
) -> Vec<Measure<'a, 'input>> {
    let is = |n: &Node, name: &str| n.has_tag_name(name);
    let measure = |outer: Node<'a, 'input>, content: Node<'a, 'input>| Measure {
        content,
        number: outer.attribute("number"),
        implicit: outer.attribute("implicit") == Some("yes"),
    };
    if timewise {
        root.children()
            .filter(|n| is(n, "measure"))
            .filter_map(|outer| {
                outer
                    .children()
                    .find(|n| is(n, "part") && n.attribute("id").unwrap_or("") == id)
                    .map(|content| measure(outer, content))
            })
            .collect()
    } else {
        root.children()
            .filter(|n| is(n, "part") && n.attribute("id").unwrap_or("") == id)
            .flat_map(|part| part.children().filter(|n| is(n, "measure")))
            .map(|m| measure(m, m))
            .collect()
    }
}

fn title(root: Node) -> String {
    ["work-title", "movement-title"]
        .iter()
        .filter_map(|name| {
            root.descendants()
                .take_while(|n| !n.has_tag_name("part"))
                .find(|n| n.has_tag_name(*name))
                .and_then(|n| n.text())
                .map(|t| t.split_whitespace().collect::<Vec<_>>().join(" "))
        })
        .filter(|t| !t.is_empty())
        .collect::<Vec<_>>()
        .join(", ")
}

/// The text of a child element, trimmed; `None` where there is none.
fn text_in<'a>(node: Node<'a, '_>, name: &str) -> Option<&'a str> {
    child(node, name).and_then(|n| n.text()).map(str::trim)
}

fn child<'a, 'input>(node: Node<'a, 'input>, name: &str) -> Option<Node<'a, 'input>> {
    node.children().find(|n| n.has_tag_name(name))
}
