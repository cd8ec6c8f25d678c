//! What all measures look at: the counted passage, with every lookup done
//! once.

use crate::align::{Alignment, Match, Outcome, Passage, Pulse};
use crate::listen::{Heard, Stroke};
use crate::part::{Note, Part, Quarters, Setting, quarters_f64};
use crate::settings::Settings;
use std::collections::BTreeMap;

/// One take against one part, ready to be measured.
#[derive(Debug)]
pub struct Scene<'a> {
    pub heard: &'a Heard,
    pub part: &'a Part,
    pub alignment: &'a Alignment,
    /// In order of time.
    pub strokes: &'a [Stroke],
    pub settings: &'a Settings,
    /// [`Part::settings`].
    pub tunings: Vec<Setting>,
    /// [`Part::note_settings`].
    pub note_tunings: Vec<Option<usize>>,
    /// Place in `strokes` of each candidate that became one.
    by_candidate: BTreeMap<usize, usize>,
    /// Place in `strokes` of every stroke inside each roll, in order of time.
    in_rolls: BTreeMap<usize, Vec<usize>>,
}

impl<'a> Scene<'a> {
    pub fn new(
        heard: &'a Heard,
        part: &'a Part,
        alignment: &'a Alignment,
        strokes: &'a [Stroke],
        settings: &'a Settings,
    ) -> Self {
        let by_candidate = strokes
            .iter()
            .enumerate()
            .map(|(i, s)| (s.candidate, i))
            .collect();
        let mut scene = Self {
            heard,
            part,
            alignment,
            strokes,
            settings,
            tunings: part.settings(),
            note_tunings: part.note_settings(),
            by_candidate,
            in_rolls: BTreeMap::new(),
        };
        scene.in_rolls = scene.find_rolls();
        scene
    }

    /// The passage that counts.
    pub fn counted(&self) -> Option<&'a Passage> {
        self.alignment
            .counted
            .and_then(|i| self.alignment.passages.get(i))
    }

    /// The pulse of the passage that counts.
    pub fn pulse(&self) -> Option<&'a Pulse> {
        self.counted().map(|p| &p.pulse)
    }

    /// What became of a note in a passage; `None` outside the passage.
    pub fn match_in(passage: &'a Passage, note: usize) -> Option<&'a Match> {
        note.checked_sub(passage.notes.0)
            .and_then(|i| passage.matches.get(i))
    }

    /// What became of a note in the passage that counts.
    pub fn matched(&self, note: usize) -> Option<&'a Match> {
        self.counted().and_then(|p| Self::match_in(p, note))
    }

    /// Place in `strokes` of a candidate.
    pub fn stroke_place(&self, candidate: usize) -> Option<usize> {
        self.by_candidate.get(&candidate).copied()
    }

    /// The stroke that surely plays a note of a passage, on whichever drum:
    /// outcomes played and other-drum.
    pub fn sure_stroke(&self, passage: &Passage, note: usize) -> Option<&'a Stroke> {
        let found = note
            .checked_sub(passage.notes.0)
            .and_then(|i| passage.matches.get(i))?;
        matches!(found.outcome, Outcome::Played | Outcome::OtherDrum)
            .then_some(found.stroke)
            .flatten()
            .and_then(|c| self.stroke_place(c))
            .map(|i| &self.strokes[i])
    }

    /// The stroke that plays a note of the counted passage on its own drum.
    pub fn played(&self, note: usize) -> Option<&'a Stroke> {
        let passage = self.counted()?;
        let found = Self::match_in(passage, note)?;
        (found.outcome == Outcome::Played)
            .then_some(found.stroke)
            .flatten()
            .and_then(|c| self.stroke_place(c))
            .map(|i| &self.strokes[i])
    }

    /// Places in `strokes` of all strokes of a roll, in order of time.
    pub fn roll_strokes(&self, note: usize) -> &[usize] {
        self.in_rolls.get(&note).map_or(&[], Vec::as_slice)
    }

    /// The strokes each roll of the counted passage owns, by the matching or
    /// by what the hearing says of a stroke.
    fn find_rolls(&self) -> BTreeMap<usize, Vec<usize>> {
        let mut rolls: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
        let Some(passage) = self.counted() else {
            return rolls;
        };
        for (note, found) in (passage.notes.0..).zip(&passage.matches) {
            if !self.part.notes.get(note).is_some_and(|n| n.roll) {
                continue;
            }
            let mut places: Vec<usize> = found
                .stroke
                .iter()
                .chain(&found.further)
                .filter_map(|&c| self.stroke_place(c))
                .collect();
            let within = self.strokes.iter().enumerate().filter(|(_, s)| {
                s.note == Some(note) && (passage.from_s..=passage.to_s + 1.0).contains(&s.time_s)
            });
            places.extend(within.map(|(i, _)| i));
            places.sort_unstable();
            places.dedup();
            rolls.insert(note, places);
        }
        rolls
    }

    /// The printed number of the bar at a place in `Part::bars`.
    pub fn bar_number(&self, bar: usize) -> i32 {
        self.part.bars.get(bar).map_or(0, |b| b.number)
    }

    /// The printed number of a note's bar.
    pub fn note_bar(&self, note: usize) -> i32 {
        self.bar_number(self.part.notes[note].bar)
    }

    /// Quarter notes from 1 at the bar line.
    pub fn note_beat(&self, note: &Note) -> f64 {
        if note.bar < self.part.bars.len() {
            quarters_f64(self.part.beat(note.bar, note.at))
        } else {
            1.0
        }
    }

    /// Place in `Part::bars` of the bar in which a moment falls, the last one
    /// for moments after the end.
    pub fn bar_at(&self, at: Quarters) -> usize {
        self.part
            .bars
            .partition_point(|b| b.at <= at)
            .saturating_sub(1)
    }

    /// The tempo is free here: a fermata within the span, its ends included.
    pub fn fermata_within(&self, from: Quarters, to: Quarters) -> bool {
        self.part.fermatas.iter().any(|&f| f >= from && f <= to)
    }

    /// The tempo is to change gradually somewhere within the span.
    pub fn gradual_within(&self, from: Quarters, to: Quarters) -> bool {
        let tempi = &self.part.tempi;
        tempi.iter().enumerate().any(|(i, mark)| {
            let until = tempi.get(i + 1).map(|next| next.at);
            mark.gradual && mark.at < to && until.is_none_or(|u| u > from)
        })
    }

    /// The recording does not keep levels as they were played: it steers its
    /// own level, or it is overdriven.
    pub fn levels_spoilt(&self) -> bool {
        let fitness = &self.heard.take.fitness;
        fitness.gain_control == Some(true) || fitness.clipped_share >= super::doubts::CLIPPED
    }

    /// A lost span of the file touches this span of time.
    pub fn gap_within(&self, from_s: f64, to_s: f64) -> bool {
        self.heard
            .take
            .fitness
            .gaps
            .iter()
            .any(|&(a, b)| a < to_s && b > from_s)
    }
}
