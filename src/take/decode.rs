//! From a file's packets to frames in their right places.
//!
//! Every packet is placed by its time stamp, never by counting, because
//! damaged packets vanish silently and everything after them would move.

use super::codec::{Decoder, codec_name, decoder, with_true_width};
use super::mp4::{Edit, Index};
use super::trace::Trace;
use symphonia::core::codecs::CodecParameters;
use symphonia::core::codecs::audio::well_known as codecs;
use symphonia::core::errors::Error as LibraryError;
use symphonia::core::formats::{FormatReader, TrackType};
use symphonia::core::packet::Packet;
use symphonia::core::units::TimeBase;

/// Decoders make room for a whole packet, so it must be a credible one.
const MOST_PACKET_FRAMES: u64 = 1 << 20;
const MOST_CHANNELS: usize = 255;
const BREAKS_OFF: &str = "the file breaks off before its end";
/// Frames of silence handed on at a time while a gap is filled.
const FILL_BLOCK: u64 = 1 << 16;
/// No more silence than this is filled in, all gaps together: a jump of the
/// time stamps beyond it is not a gap but a wrong stamp.
const LONGEST_GAP_S: u64 = 600;
/// Time stamps in Matroska are rounded to milliseconds.
const STAMP_SLACK_S: f64 = 0.003;
/// More than this many packets that cannot be decoded, with nothing that can,
/// and the rest is not tried.
const HOPELESS_PACKETS: u64 = 2000;

/// The upper half of HE-AAC is put together with this delay, in frames of the
/// core: a player sounds the whole that much later than the core alone comes
/// out. (The Fraunhofer encoder states a delay of 5058 frames of the full rate
/// with, and of 4096 without that of the decoder's upper half.)
const SBR_DELAY: i64 = 481;

/// Errors in a row from a demuxer, after which it is not asked again.
const MOST_READ_FAULTS: u32 = 16;

/// Reads one audio track.
pub(super) struct Decoding {
    reader: Box<dyn FormatReader>,
    track: u32,
    time_base: Option<TimeBase>,
    decoder: Decoder,
    edit: Option<Edit>,
    /// Frames that the encoder put before the beginning, where the header
    /// says so and no edit list does.
    lead: Option<i64>,
    in_mkv: bool,
    /// The stamps count from an arbitrary origin.
    free_origin: bool,
    /// Stamp of the track's first packet, damaged or not.
    first_stamp: Option<i64>,
    /// Frames to add to a stamp to have its place in the take.
    begin: Option<i64>,
    /// Of the decoded samples; 0 before the first.
    pub(super) rate_hz: u32,
    pub(super) channels: usize,
    /// Frames handed on.
    cursor: i64,
    fill: u64,
    /// Frames of silence so far that stand for what was lost.
    filled: i64,
    waiting: Vec<Vec<f32>>,
    pub(super) codec: String,
    pub(super) offset_known: bool,
    /// Frames that the header promises.
    promised: Option<u64>,
    /// How long the whole file is said to last, seconds; pictures included.
    whole_s: Option<f64>,
    /// The share of its promise that the file holds.
    share: Option<f64>,
    header_rate_hz: Option<u32>,
    is_mp3: bool,
    /// For streams without time stamps.
    trace: Option<Trace>,
    /// Ticks that were lost without the time stamps knowing of it.
    skipped: i64,
    /// Errors in a row from the demuxer.
    read_faults: u32,
    lost: Vec<(i64, i64)>,
    good_packets: u64,
    bad_packets: u64,
    pub(super) remarks: Vec<String>,
    ended: bool,
}

/// What a step of decoding gave.
pub(super) enum Step {
    /// Frames were put into the buffers.
    Frames,
    End,
}

impl Decoding {
    /// Chooses the track and its decoder. The error says what to do.
    /// `share`: how much of the promised sound data is there, below 1; `trace`
    /// follows packets in the file.
    pub(super) fn new(
        reader: Box<dyn FormatReader>,
        index: &Index,
        share: Option<f64>,
        trace: impl FnOnce() -> Trace,
    ) -> Result<Self, String> {
        let container = reader.format_info().short_name;
        let about = reader.media_info();
        let whole_s = about.duration.zip(about.time_base).map(|(duration, base)| {
            duration.get() as f64 * f64::from(base.numer.get()) / f64::from(base.denom.get())
        });
        let Some(track) = reader.default_track(TrackType::Audio) else {
            return Err(if reader.tracks().is_empty() {
                "it holds no sound that can be read; convert it with \
                 \"ffmpeg -i FILE take.wav\" and give that"
                    .to_owned()
            } else {
                "it holds no audio track that can be read (a video without sound, or a codec \
                 that is not known here); \"ffmpeg -i FILE take.wav\" may still find one"
                    .to_owned()
            });
        };
        let Some(CodecParameters::Audio(params)) = &track.codec_params else {
            return Err("its audio track does not say how it is coded".to_owned());
        };
        let in_mp4 = container.contains("mp4");
        let in_mkv = container.contains("mkv") || container.contains("matroska");
        let codec = codec_name(params);
        let params = &with_true_width(params, index.big_endian.contains(&track.id));
        if params.max_frames_per_packet.unwrap_or(0) > MOST_PACKET_FRAMES
            || params
                .channels
                .as_ref()
                .is_some_and(|c| c.count() > MOST_CHANNELS)
        {
            return Err(
                "its header is damaged (packets longer, or channels more, than there can be); \
                 copy it again from the recorder"
                    .to_owned(),
            );
        }
        let decoder = decoder(params, in_mp4, &codec)?;
        let edit = index.edits.iter().find(|e| e.track == track.id).copied();
        let pre_skip = match &decoder {
            Decoder::Opus(opus) => opus.pre_skip.map(i64::from),
            Decoder::Library(_) => None,
        };
        let raw_aac = params.codec == codecs::CODEC_ID_AAC;
        let is_mp3 = params.codec == codecs::CODEC_ID_MP3;
        // An edit list that begins at 0 knows nothing of the encoder's delay,
        // which these codecs always have.
        let offset_known = if raw_aac || is_mp3 {
            edit.is_some_and(|e| e.from > 0) || track.delay.is_some_and(|d| d > 0)
        } else if params.codec == codecs::CODEC_ID_OPUS {
            pre_skip.is_some() || track.delay.is_some_and(|d| d > 0)
        } else {
            true
        };
        let bare = ["mp3", "aac"].contains(&container);
        let mut remarks = Vec::new();
        if edit.is_some_and(|e| e.more) {
            remarks.push("the file was cut in an editor; only its first stretch is read".into());
        }
        Ok(Self {
            track: track.id,
            time_base: track.time_base,
            decoder,
            edit,
            lead: pre_skip.filter(|_| edit.is_none()),
            in_mkv,
            free_origin: in_mkv || (in_mp4 && edit.is_none()),
            first_stamp: None,
            begin: None,
            rate_hz: 0,
            channels: 0,
            cursor: 0,
            fill: 0,
            filled: 0,
            waiting: Vec::new(),
            codec,
            offset_known,
            // Streams without a header of their own promise a guess.
            promised: track
                .num_frames
                .filter(|_| !bare || (is_mp3 && offset_known)),
            trace: bare.then(trace),
            whole_s: whole_s.filter(|_| !bare),
            share,
            header_rate_hz: params.sample_rate,
            is_mp3,
            skipped: 0,
            read_faults: 0,
            lost: Vec::new(),
            good_packets: 0,
            bad_packets: 0,
            remarks,
            ended: false,
            reader,
        })
    }

    /// Puts the next frames into `planar`, one vector a channel.
    pub(super) fn next(&mut self, planar: &mut Vec<Vec<f32>>) -> Step {
        loop {
            if self.fill > 0 {
                let frames = self.fill.min(FILL_BLOCK);
                self.fill -= frames;
                self.cursor += frames as i64;
                planar.resize_with(self.channels, Vec::new);
                for channel in planar {
                    channel.clear();
                    channel.resize(frames as usize, 0.0);
                }
                return Step::Frames;
            }
            if self.waiting.first().is_some_and(|c| !c.is_empty()) {
                std::mem::swap(planar, &mut self.waiting);
                for channel in &mut self.waiting {
                    channel.clear();
                }
                self.cursor += planar[0].len() as i64;
                return Step::Frames;
            }
            if self.ended {
                return Step::End;
            }
            self.read_packet();
        }
    }

    fn read_packet(&mut self) {
        match self.reader.next_packet() {
            Ok(Some(packet)) => {
                self.read_faults = 0;
                if packet.track_id == self.track {
                    self.take(&packet);
                }
            }
            Ok(None) => self.end(false),
            Err(LibraryError::IoError(_)) => self.end(true),
            Err(_) => {
                self.read_faults += 1;
                if self.read_faults > MOST_READ_FAULTS {
                    self.end(true);
                }
            }
        }
    }

    fn take(&mut self, packet: &Packet) {
        let stamp = packet.pts.get();
        if self.first_stamp.is_none() {
            // Matroska's own word for a lead is a stamp below zero.
            self.offset_known |= self.in_mkv && stamp < 0;
            self.first_stamp = Some(stamp);
        }
        if let Some(trace) = &mut self.trace {
            let missing = trace.missing_before(&packet.data);
            let packets = i64::try_from(missing).unwrap_or(0);
            let ticks = i64::try_from(packet.dur.get()).unwrap_or(0);
            self.skipped = self.skipped.saturating_add(packets.saturating_mul(ticks));
        }
        let mut buffers = std::mem::take(&mut self.waiting);
        let decoded = match &mut self.decoder {
            Decoder::Library(decoder) => decoder.decode(packet).ok().map(|buffer| {
                buffer.copy_to_vecs_planar::<f32>(&mut buffers);
                buffer.spec().rate()
            }),
            Decoder::Opus(decoder) => decoder.decode(packet, &mut buffers),
        };
        self.waiting = buffers;
        let frames = self.waiting.first().map_or(0, Vec::len);
        let Some(rate_hz) = decoded.filter(|rate| *rate > 0 && frames > 0) else {
            for channel in &mut self.waiting {
                channel.clear();
            }
            if decoded.is_some() {
                // Some codecs need a packet before they give a frame.
                if self.good_packets == 0 {
                    self.first_stamp = None;
                }
            } else {
                self.bad_packets += 1;
                if self.bad_packets > HOPELESS_PACKETS && self.good_packets == 0 {
                    self.ended = true;
                }
            }
            return;
        };
        self.good_packets += 1;
        if self.rate_hz == 0 {
            self.rate_hz = rate_hz;
            self.channels = self.waiting.len();
        } else if rate_hz != self.rate_hz || self.waiting.len() != self.channels {
            self.remarks.push(format!(
                "at {:.2} s the file changes its sample rate or its channels; what follows is \
                 left out",
                self.cursor as f64 / f64::from(self.rate_hz)
            ));
            self.waiting.clear();
            self.ended = true;
            return;
        }
        self.place(packet, frames);
    }

    /// Where the take begins: frames to add to every stamp.
    fn beginning(&mut self) -> i64 {
        if let Some(begin) = self.begin {
            return begin;
        }
        let first = self.to_frames(self.first_stamp.unwrap_or(0));
        let delay = if self.half_rate() { SBR_DELAY } else { 0 };
        let begin = delay
            + match (self.edit, self.lead) {
                (Some(edit), _) => -scaled(edit.from as i64, self.rate_hz, 1, edit.timescale),
                // Stamps in milliseconds know the lead only roughly.
                (None, Some(lead)) if self.free_origin => -lead - first,
                (None, Some(lead)) => -lead,
                (None, None) if self.free_origin => -first.max(0),
                (None, None) => 0,
            };
        self.begin = Some(begin);
        begin
    }

    /// HE-AAC of which the core is decoded.
    fn half_rate(&self) -> bool {
        self.codec == "aac" && self.header_rate_hz.is_some_and(|h| h == 2 * self.rate_hz)
    }

    /// The first frame that is no longer presented.
    fn presented_end(&self) -> Option<i64> {
        let edit = self.edit?;
        let units = i64::try_from(edit.to?.saturating_sub(edit.from)).ok()?;
        Some(scaled(units, self.rate_hz, 1, edit.timescale))
    }

    /// Cuts off what lies before the start, after the end or over what was
    /// handed on, and plans silence for what is missing.
    fn place(&mut self, packet: &Packet, frames: usize) {
        let trimmed = match self.decoder {
            Decoder::Library(_) => packet.trim_start.get() as i64,
            Decoder::Opus(_) => 0,
        };
        let stamp = self.to_frames(
            packet
                .pts
                .get()
                .saturating_add(trimmed)
                .saturating_add(self.skipped),
        );
        let end = self.presented_end().unwrap_or(i64::MAX);
        let position = stamp.saturating_add(self.beginning());
        if position >= end {
            self.waiting.iter_mut().for_each(Vec::clear);
            return;
        }
        let mut ahead = position - self.cursor;
        let slack = (STAMP_SLACK_S * f64::from(self.rate_hz)) as i64;
        let slack = slack.max(frames as i64 / 2);
        let most = (LONGEST_GAP_S as i64 * i64::from(self.rate_hz)).saturating_sub(self.filled);
        if ahead > slack && ahead > most {
            if self.good_packets > 1 {
                self.remarks.push(format!(
                    "at {:.2} s the file's time stamps jump; the jump is left out",
                    self.cursor as f64 / f64::from(self.rate_hz)
                ));
            }
            self.begin = Some(self.beginning().saturating_sub(ahead));
            ahead = 0;
        }
        if ahead > slack {
            self.fill = ahead as u64;
            self.filled += ahead;
            self.lost.push((self.cursor, position));
        } else if ahead > 0 && self.cursor == 0 {
            self.fill = ahead as u64;
        } else if ahead < 0 && (self.cursor == 0 || ahead < -slack) {
            let drop = usize::try_from(-ahead).map_or(frames, |n| n.min(frames));
            for channel in &mut self.waiting {
                channel.drain(..drop);
            }
        }
        let start = self.cursor + self.fill as i64;
        let left = usize::try_from(end - start).unwrap_or(0);
        for channel in &mut self.waiting {
            channel.truncate(left);
        }
    }

    fn to_frames(&self, ticks: i64) -> i64 {
        match self.time_base {
            Some(base) => scaled(ticks, self.rate_hz, base.numer.get(), base.denom.get()),
            None => ticks,
        }
    }

    fn end(&mut self, broken: bool) {
        self.ended = true;
        let broken = broken || self.trace.as_mut().is_some_and(Trace::breaks_off);
        let rate = i64::from(self.rate_hz);
        let Some(end) = self.promised_end(broken).filter(|_| rate > 0) else {
            if broken {
                self.remarks.push(BREAKS_OFF.into());
            }
            return;
        };
        let missing = end - self.cursor;
        // MP3 counts its packets, so what is lost cannot be placed.
        if self.is_mp3 && !broken && missing > rate / 20 {
            self.remarks.push(format!(
                "about {:.1} s of sound are missing somewhere in the file, so times may be early \
                 by up to that",
                missing as f64 / rate as f64
            ));
        } else if missing > rate / 10 {
            self.lost.push((self.cursor, end));
        } else if broken && missing > rate / 100 {
            self.remarks.push(BREAKS_OFF.into());
        }
    }

    /// Where the take should end by what the file says, frames.
    fn promised_end(&self, broken: bool) -> Option<i64> {
        if let Some(share) = self.share {
            return Some((self.cursor as f64 / share) as i64);
        }
        // Stated at the header's rate, decoded at ours.
        let header_rate_hz = self.header_rate_hz.unwrap_or(self.rate_hz).max(1);
        let frames = self
            .promised
            .and_then(|frames| i64::try_from(frames).ok())
            .map(|frames| scaled(frames, self.rate_hz, 1, header_rate_hz));
        let whole = self.whole_s.filter(|_| broken && frames.is_none());
        let end = match (frames, whole) {
            (Some(frames), _) => frames.saturating_add(self.begin.unwrap_or(0)),
            (None, Some(seconds)) => (seconds * f64::from(self.rate_hz)) as i64,
            (None, None) => return None,
        };
        // A recorder that writes as it goes states the largest length it can.
        let day = i64::from(self.rate_hz) * 86_400;
        let plausible = end < day && end < i64::from(u32::MAX) / 8;
        plausible.then(|| end.min(self.presented_end().unwrap_or(i64::MAX)))
    }

    /// Spans that were lost, seconds.
    pub(super) fn gaps(&self) -> Vec<(f64, f64)> {
        let rate = f64::from(self.rate_hz.max(1));
        let mut gaps: Vec<(f64, f64)> = Vec::new();
        for &(from, to) in &self.lost {
            gaps.push((from as f64 / rate, to as f64 / rate));
        }
        gaps
    }

    /// What there is to say once everything was read.
    pub(super) fn last_remarks(&mut self) -> Vec<String> {
        let mut remarks = std::mem::take(&mut self.remarks);
        if self.bad_packets > 0 {
            remarks.push(format!(
                "{} of {} packets of the file are damaged and were left out",
                self.bad_packets,
                self.bad_packets + self.good_packets
            ));
        }
        if self.half_rate() {
            remarks.push(
                "HE-AAC: the half-rate core was decoded, so there is nothing above a quarter of \
                 the stated sample rate"
                    .into(),
            );
        }
        remarks
    }
}

/// `ticks * numer / denom` seconds in frames, rounded.
fn scaled(ticks: i64, rate_hz: u32, numer: u32, denom: u32) -> i64 {
    let wide = i128::from(ticks) * i128::from(numer) * i128::from(rate_hz);
    let denom = i128::from(denom.max(1));
    let frames = (wide + denom / 2).div_euclid(denom);
    frames.clamp(-(1 << 60), 1 << 60) as i64
}
