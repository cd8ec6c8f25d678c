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
    interleaved: Vec<f32>,
}

impl OpusDecoder {
    /// The pre-skip is not read here: in Ogg and Matroska the time stamps
    /// begin below zero by it, and in MP4 the edit list tells it.
    pub(super) fn new(
        params: &AudioCodecParameters,
        _delay: Option<u32>,
        _in_mp4: bool,
    ) -> Result<Self, String> {
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
