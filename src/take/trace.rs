//! Where in the file the packets of a bare stream came from.
//!
//! MP3 and ADTS carry no time stamps: their demuxers count packets, skip what
//! is damaged without a word, and everything after it comes early. The packets
//! that arrive are therefore found again in the file, and what lies between
//! two that should follow each other tells how many are missing.

use std::fs::File;
use std::io::{Read, Seek, SeekFrom};

/// An ADTS header that is left out of the packet has 7 or 9 bytes; an MP3
/// packet has its header inside (ISO/IEC 13818-7, 6.2).
const MOST_HEADER: usize = 9;
/// How far a packet is looked for, bytes: at first behind tags and pictures.
const FIRST_REACH: usize = 16 << 20;
const REACH: usize = 1 << 20;
/// Packets that may be lost from sight before the search is given up.
const MOST_FAILURES: u32 = 20;

/// Follows the packets of one file.
pub(super) struct Trace {
    file: File,
    length: u64,
    /// Where the next packet should begin.
    next: u64,
    begun: bool,
    failures: u32,
    packets: u64,
    bytes: u64,
    window: Vec<u8>,
}

impl Trace {
    pub(super) fn new(file: File, length: u64) -> Self {
        Self {
            file,
            length,
            next: 0,
            begun: false,
            failures: 0,
            packets: 0,
            bytes: 0,
            window: Vec::new(),
        }
    }

    /// How many packets are missing right before this one, by the room they
    /// would take.
    pub(super) fn missing_before(&mut self, packet: &[u8]) -> u64 {
        if packet.len() < 8 || self.failures > MOST_FAILURES {
            return 0;
        }
        let reach = match (self.begun, self.failures) {
            (false, _) => FIRST_REACH,
            (true, 0) => MOST_HEADER,
            (true, _) => REACH,
        };
        let mut found = self.find(packet, reach);
        if found.is_none() && reach < REACH {
            found = self.find(packet, REACH);
        }
        let Some(ahead) = found else {
            self.failures += 1;
            return 0;
        };
        self.failures = 0;
        let own = (packet.len() + ahead.min(MOST_HEADER)) as u64;
        let missing = if self.begun && ahead > MOST_HEADER && self.packets > 0 {
            let usual = self.bytes as f64 / self.packets as f64;
            (ahead as f64 / usual).round().max(1.0) as u64
        } else {
            self.packets += u64::from(self.begun);
            self.bytes += if self.begun { own } else { 0 };
            0
        };
        self.begun = true;
        self.next += (ahead + packet.len()) as u64;
        missing
    }

    /// Whether another packet begins behind the last one, and is not whole.
    /// (What follows the sound in a file begins otherwise.)
    pub(super) fn breaks_off(&mut self) -> bool {
        let mut sync = [0; 2];
        self.begun
            && self.file.seek(SeekFrom::Start(self.next)).is_ok()
            && self.file.read_exact(&mut sync).is_ok()
            && sync[0] == 0xFF
            && sync[1] & 0xE0 == 0xE0
    }

    /// How many bytes behind the expected place the packet begins.
    fn find(&mut self, packet: &[u8], reach: usize) -> Option<usize> {
        let room = usize::try_from(self.length.saturating_sub(self.next)).unwrap_or(usize::MAX);
        let wanted = (packet.len() + reach).min(room);
        self.window.resize(wanted, 0);
        self.file.seek(SeekFrom::Start(self.next)).ok()?;
        self.file.read_exact(&mut self.window).ok()?;
        let last = wanted.checked_sub(packet.len())?;
        (0..=last).find(|&at| self.window[at..].starts_with(packet))
    }
}
