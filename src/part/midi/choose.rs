//! Which track and channels of a MIDI file are the timpani.

use super::super::read::{Fault, ReadOptions};
use midly::{MetaMessage, MidiMessage, Smf, TrackEventKind};
use std::collections::BTreeMap;

/// General MIDI Level 1: program 48, counted from 1, is timpani.
const TIMPANI: u8 = 47;
const WORDS: [&str; 5] = ["timp", "pauk", "kettle", "timbale", "pavuk"];

/// One track, and the channels of it that belong to the part.
pub(super) struct Voice {
    pub track: usize,
    channels: Vec<u8>,
}

impl Voice {
    pub fn has(&self, channel: u8) -> bool {
        self.channels.contains(&channel)
    }
}

/// Notes of one channel in one track.
struct Sounding {
    track: usize,
    channel: u8,
    program: Option<u8>,
    name: String,
}

impl Sounding {
    fn is_named(&self) -> bool {
        let name = self.name.to_lowercase();
        WORDS.iter().any(|w| name.contains(w))
    }

    fn told(&self) -> String {
        format!(
            "\"{}\" (track {}, channel {})",
            self.name,
            self.track + 1,
            self.channel + 1
        )
    }
}

/// The part to read: the one that is named, else the only one, else the one for
/// timpani by its program or the name of its track.
pub(super) fn choose(smf: &Smf, options: &ReadOptions) -> Result<Voice, Fault> {
    let all = sounding(smf);
    if all.is_empty() {
        return Err(Fault::new(
            "the MIDI data",
            "holds no notes; export the part again",
        ));
    }
    let place = "the tracks";
    let list = |which: &[&Sounding]| {
        let told: Vec<String> = which.iter().map(|s| s.told()).collect();
        told.join(", ")
    };
    let everything: Vec<&Sounding> = all.iter().collect();
    let wanted = options.part_name.as_deref().map(str::to_lowercase);
    let fitting: Vec<&Sounding> = match &wanted {
        Some(wanted) => all
            .iter()
            .filter(|s| s.name.to_lowercase().contains(wanted))
            .collect(),
        None if all
            .iter()
            .all(|s| s.track == all[0].track && s.program == all[0].program) =>
        {
            everything.clone()
        }
        // A program says more than the name of a track with several channels.
        None if all.iter().any(|s| s.program == Some(TIMPANI)) => {
            all.iter().filter(|s| s.program == Some(TIMPANI)).collect()
        }
        None => all.iter().filter(|s| s.is_named()).collect(),
    };
    let Some(first) = fitting.first() else {
        return Err(Fault::new(
            place,
            format!(
                "none is {}; name one with --part-name, or export the timpani alone: {}",
                wanted.map_or("for timpani".to_owned(), |w| format!("called \"{w}\"")),
                list(&everything)
            ),
        ));
    };
    if fitting.iter().any(|s| s.track != first.track) {
        return Err(Fault::new(
            place,
            format!(
                "several fit; choose one with --part-name, or export it alone: {}",
                list(&fitting)
            ),
        ));
    }
    Ok(Voice {
        track: first.track,
        channels: fitting.iter().map(|s| s.channel).collect(),
    })
}

/// The name of the whole file where its first track has one and no notes, else
/// that of the track that is read.
pub(super) fn title(smf: &Smf, voice: &Voice) -> String {
    let named = |track: usize| smf.tracks.get(track).map_or(String::new(), |t| name_of(t));
    let first = named(0);
    let conducts = voice.track != 0 && sounding(smf).iter().all(|s| s.track != 0);
    if conducts && !first.is_empty() {
        first
    } else {
        named(voice.track)
    }
}

fn name_of(track: &[midly::TrackEvent]) -> String {
    let mut instrument = String::new();
    for event in track {
        match event.kind {
            TrackEventKind::Meta(MetaMessage::TrackName(name)) => {
                return plain(name);
            }
            TrackEventKind::Meta(MetaMessage::InstrumentName(name)) => {
                instrument = plain(name);
            }
            _ => {}
        }
    }
    instrument
}

/// Text of a file, which may hold any bytes, as one line.
fn plain(bytes: &[u8]) -> String {
    let text = String::from_utf8_lossy(bytes);
    let shown = text.chars().filter(|c| !c.is_control());
    shown.collect::<String>().trim().to_owned()
}

fn sounding(smf: &Smf) -> Vec<Sounding> {
    let mut found = Vec::new();
    for (track, events) in smf.tracks.iter().enumerate() {
        let mut programs: BTreeMap<u8, u8> = BTreeMap::new();
        let mut channels: BTreeMap<u8, Option<u8>> = BTreeMap::new();
        for event in events {
            if let TrackEventKind::Midi { channel, message } = event.kind {
                let channel = channel.as_int();
                match message {
                    MidiMessage::ProgramChange { program } => {
                        programs.insert(channel, program.as_int());
                    }
                    MidiMessage::NoteOn { vel, .. } if vel.as_int() > 0 => {
                        channels
                            .entry(channel)
                            .or_insert_with(|| programs.get(&channel).copied());
                    }
                    _ => {}
                }
            }
        }
        let name = name_of(events);
        found.extend(channels.into_iter().map(|(channel, program)| Sounding {
            track,
            channel,
            program,
            name: name.clone(),
        }));
    }
    found
}
