//! Text that comes from outside (titles, file names, cues) and the room it
//! takes: made harmless, measured, shortened.

/// The same text without characters that would disturb what stands around
/// it: control characters (terminal sequences, characters XML forbids) and
/// the marks that override or embed writing directions. Line ends become
/// spaces.
pub fn harmless(text: &str) -> String {
    text.chars()
        .filter_map(|c| match c {
            '\n' | '\r' | '\t' | '\u{2028}' | '\u{2029}' => Some(' '),
            c if c.is_control() => None,
            // Marks of direction, then what Unicode calls noncharacters.
            '\u{200e}'
            | '\u{200f}'
            | '\u{202a}'..='\u{202e}'
            | '\u{2066}'..='\u{2069}'
            | '\u{fdd0}'..='\u{fdef}'
            | '\u{fffe}'
            | '\u{ffff}' => None,
            c => Some(c),
        })
        .collect()
}

/// Text for XML and HTML, in element content and in quoted attributes.
pub fn escape(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for c in harmless(text).chars() {
        match c {
            '&' => escaped.push_str("&amp;"),
            '<' => escaped.push_str("&lt;"),
            '>' => escaped.push_str("&gt;"),
            '"' => escaped.push_str("&quot;"),
            '\'' => escaped.push_str("&#39;"),
            c => escaped.push(c),
        }
    }
    escaped
}

/// A cell of a CSV file that no spreadsheet takes for a formula: a text that
/// begins like one gets an apostrophe before it (the advice of OWASP, "CSV
/// Injection").
pub fn csv_cell(text: &str) -> String {
    let text = harmless(text);
    match text.trim_start().chars().next() {
        Some('=' | '+' | '-' | '@' | '＝' | '＋' | '－' | '＠') => format!("'{text}"),
        _ => text,
    }
}

/// How wide a text is when set in a common sans-serif face of `size`, same
/// unit as `size`. An estimate on the wide side: the reader's own fonts are
/// not known.
pub fn width(text: &str, size: f64) -> f64 {
    text.chars().map(em).sum::<f64>() * size
}

fn em(c: char) -> f64 {
    match c {
        'i' | 'j' | 'l' | '.' | ',' | ':' | ';' | '|' | '\'' | '!' => 0.30,
        'f' | 't' | 'r' | '(' | ')' | '[' | ']' | '-' | '/' | ' ' | '\u{a0}' => 0.38,
        'm' | 'w' | 'M' | 'W' | '%' | '@' | '—' | '…' => 0.95,
        '0'..='9' | 'a'..='z' => 0.60,
        'A'..='Z' => 0.72,
        '\u{0300}'..='\u{036f}' | '\u{200b}'..='\u{200d}' | '\u{fe00}'..='\u{fe0f}' => 0.0,
        c if is_wide(c) => 1.05,
        c if u32::from(c) < 0x250 => 0.66,
        _ => 0.74,
    }
}

/// East Asian wide characters and pictographs (the blocks that Unicode
/// Standard Annex 11 gives as wide).
fn is_wide(c: char) -> bool {
    matches!(u32::from(c),
        0x1100..=0x115f | 0x2e80..=0xa4cf | 0xac00..=0xd7a3 | 0xf900..=0xfaff
        | 0xfe30..=0xfe6f | 0xff00..=0xff60 | 0xffe0..=0xffe6
        | 0x1f300..=0x1faff | 0x20000..=0x3fffd)
}

/// The text, or as much of its beginning as fits into `room`, with an
/// ellipsis.
pub fn fit(text: &str, size: f64, room: f64) -> String {
    let text = harmless(text);
    if width(&text, size) <= room {
        return text;
    }
    let mut left = room - em('…') * size;
    let mut kept = String::new();
    for c in text.chars() {
        left -= em(c) * size;
        if left < 0.0 {
            break;
        }
        kept.push(c);
    }
    format!("{}…", kept.trim_end())
}

/// The text in lines no wider than `room`, at most `most` of them; what does
/// not fit is shortened. Words too long for a line, and scripts without
/// spaces, break anywhere.
pub fn wrap(text: &str, size: f64, room: f64, most: usize) -> Vec<String> {
    let text = harmless(text);
    let mut rest = text.trim();
    let mut lines = Vec::new();
    while !rest.is_empty() && lines.len() < most {
        if lines.len() + 1 == most {
            lines.push(fit(rest, size, room));
            break;
        }
        let mut used = 0.0;
        let fits = rest
            .char_indices()
            .find(|(_, c)| {
                used += em(*c) * size;
                used > room - 1e-6
            })
            .map_or(rest.len(), |(i, _)| i);
        let first = rest.chars().next().map_or(0, char::len_utf8);
        let hard = fits.max(first);
        let cut = if fits == rest.len() {
            fits
        } else {
            rest[..hard].rfind(' ').filter(|&i| i > 0).unwrap_or(hard)
        };
        lines.push(rest[..cut].trim_end().to_owned());
        rest = rest[cut..].trim_start();
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_would_disturb_is_taken_out() {
        assert_eq!(harmless("a\u{1b}[31mb\u{202e}c\nd\u{0}"), "a[31mbc d");
        assert_eq!(escape("<script>'\"&"), "&lt;script&gt;&#39;&quot;&amp;");
    }

    #[test]
    fn a_cell_is_never_a_formula() {
        assert_eq!(csv_cell("=1+1"), "'=1+1");
        assert_eq!(csv_cell(" @SUM(A1)"), "' @SUM(A1)");
        assert_eq!(csv_cell("Lantern"), "Lantern");
    }

    #[test]
    fn lines_never_exceed_their_room() {
        let long = "Шествие фонарей 提灯の行進曲 Процессия-которая-не-кончается-никогда-вовсе";
        let lines = wrap(long, 12.0, 120.0, 9);
        assert!(lines.len() > 2);
        assert!(lines.iter().all(|l| width(l, 12.0) <= 120.0));
        let letters = |s: &str| s.chars().filter(|c| *c != ' ').collect::<String>();
        assert_eq!(letters(&lines.concat()), letters(long));
        assert!(wrap(long, 12.0, 120.0, 2)[1].ends_with('…'));
    }
}
