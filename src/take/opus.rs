//! Opus packets (RFC 6716, header as in RFC 7845) through `ropus`.

use ropus::{Channels, DecodeMode, Decoder};
use symphonia::core::codecs::audio::AudioCodecParameters;
use symphonia::core::packet::Packet;

/// Opus decodes to this rate.
const RATE_HZ: u32 = 48_000;
/// The longest packet lasts 120 ms (RFC 6716, 3.2.5).
const LONGEST_FRAMES: usize = 5760;

/// A decoder for one or two channels.
pub(super) struct OpusDecoder {
    decoder: Decoder,
    channels: usize,
    /// Frames to leave out at the beginning, as the header has it; `None`
    /// where there is no header.
    pub(super) pre_skip: Option<u16>,
    interleaved: Vec<f32>,
}

impl OpusDecoder {
    /// The demuxer hands on the header as it stands in the file: with its
    /// magic and least significant bytes first (RFC 7845, 5.1), but in MP4
    /// most significant bytes first.
    pub(super) fn new(params: &AudioCodecParameters, in_mp4: bool) -> Result<Self, String> {
        let pre_skip = params
            .extra_data
            .as_ref()
            .filter(|head| head.starts_with(b"OpusHead"))
            .and_then(|head| Some([*head.get(10)?, *head.get(11)?]))
            .map(|bytes| {
                if in_mp4 {
                    u16::from_be_bytes(bytes)
                } else {
                    u16::from_le_bytes(bytes)
                }
            });
        let channels = params.channels.as_ref().map_or(1, |c| c.count());
        let layout = match channels {
            1 => Channels::Mono,
            2 => Channels::Stereo,
            more => {
                return Err(format!(
                    "it is Opus with {more} channels, and at most two are read here; mix it \
                     down with \"ffmpeg -i FILE -ac 2 take.wav\" and give that"
                ));
            }
        };
        let decoder = Decoder::new(RATE_HZ, layout)
            .map_err(|_| "the Opus decoder does not start".to_owned())?;
        Ok(Self {
            decoder,
            channels,
            pre_skip,
            interleaved: vec![0.0; LONGEST_FRAMES * channels],
        })
    }

    /// The rate, or `None` where the packet is damaged.
    pub(super) fn decode(&mut self, packet: &Packet, planar: &mut Vec<Vec<f32>>) -> Option<u32> {
        if packet.data.is_empty() {
            return None;
        }
        let frames = self
            .decoder
            .decode_float(&packet.data, &mut self.interleaved, DecodeMode::Normal)
            .ok()?;
        let frames = frames.saturating_sub(packet.trim_end.get() as usize);
        planar.resize_with(self.channels, Vec::new);
        for (c, channel) in planar.iter_mut().enumerate() {
            channel.clear();
            channel.extend(
                self.interleaved[..frames * self.channels]
                    .iter()
                    .skip(c)
                    .step_by(self.channels),
            );
        }
        Some(RATE_HZ)
    }
}
