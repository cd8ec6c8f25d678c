//! A line of a sheet and the place in it, for errors that show both.

use super::super::read::Fault;

/// Reads along one line.
pub(super) struct Line<'a> {
    pub number: usize,
    text: &'a str,
    chars: Vec<char>,
    pub at: usize,
}

impl<'a> Line<'a> {
    pub fn new(number: usize, text: &'a str) -> Self {
        Self {
            number,
            text,
            chars: text.chars().collect(),
            at: 0,
        }
    }

    pub fn peek(&self) -> Option<char> {
        self.chars.get(self.at).copied()
    }

    pub fn take(&mut self, wanted: char) -> bool {
        let found = self.peek() == Some(wanted);
        self.at += usize::from(found);
        found
    }

    pub fn skip_space(&mut self) {
        self.take_while(char::is_whitespace);
    }

    pub fn take_while(&mut self, fits: impl Fn(char) -> bool) -> String {
        let from = self.at;
        while self.peek().is_some_and(&fits) {
            self.at += 1;
        }
        self.chars[from..self.at].iter().collect()
    }

    /// The next word up to a space, after any spaces.
    pub fn word(&mut self) -> String {
        self.skip_space();
        self.take_while(|c| !c.is_whitespace())
    }

    /// Everything left, trimmed.
    pub fn rest(&mut self) -> String {
        let from = self.at;
        self.at = self.chars.len();
        self.chars[from..]
            .iter()
            .collect::<String>()
            .trim()
            .to_owned()
    }

    /// A text in double quotes, with `\"`, `\\` and `\n`.
    pub fn quoted(&mut self) -> Result<String, Fault> {
        self.skip_space();
        if !self.take('"') {
            return Err(self.fault("a text in double quotes", "write it as in \"oboe solo\""));
        }
        let mut text = String::new();
        loop {
            match self.peek() {
                None => {
                    return Err(self.fault("a closing double quote", "close the text with \""));
                }
                Some('"') => break,
                Some('\\') => {
                    self.at += 1;
                    match self.peek() {
                        Some('n') => text.push('\n'),
                        Some('r') => text.push('\r'),
                        Some(other) => text.push(other),
                        None => {}
                    }
                }
                Some(other) => text.push(other),
            }
            self.at += 1;
        }
        self.at += 1;
        Ok(text)
    }

    pub fn done(&mut self) -> bool {
        self.skip_space();
        self.at >= self.chars.len()
    }

    /// Refuses anything that is left.
    pub fn end(&mut self) -> Result<(), Fault> {
        if self.done() {
            Ok(())
        } else {
            Err(self.fault(
                "the end of the line",
                "remove the rest, or put it on its own line",
            ))
        }
    }

    /// What stands at the place: one word of it.
    fn found(&self) -> String {
        let word: String = self.chars[self.at.min(self.chars.len())..]
            .iter()
            .take_while(|c| !c.is_whitespace())
            .take(24)
            .collect();
        match (word.is_empty(), self.at >= self.chars.len()) {
            (true, true) => "the end of the line".to_owned(),
            (true, false) => "a space".to_owned(),
            _ => format!("'{word}'"),
        }
    }

    /// An error at the present place.
    pub fn fault(&self, expected: &str, help: &str) -> Fault {
        let found = self.found();
        self.message(&format!("expected {expected}, found {found}; {help}"))
    }

    /// An error at the present place in one's own words.
    pub fn message(&self, what: &str) -> Fault {
        let margin = self.number.to_string();
        let blank = " ".repeat(margin.len());
        // Long lines are shown around the place only.
        let from = self.at.saturating_sub(60);
        let shown: String = self.chars[from.min(self.chars.len())..]
            .iter()
            .take(76)
            .map(|&c| if c.is_control() { ' ' } else { c })
            .collect();
        debug_assert!(self.text.len() >= self.chars.len());
        Fault::new(
            format!("line {}, column {}", self.number, self.at + 1),
            format!(
                "{what}\n {margin} | {shown}\n {blank} | {}^",
                " ".repeat(self.at - from)
            ),
        )
    }
}
