//! Which decoder a track takes, and what its codec is called.

use super::opus::OpusDecoder;
use symphonia::core::codecs::audio::well_known as codecs;
use symphonia::core::codecs::audio::{AudioCodecParameters, AudioDecoder, AudioDecoderOptions};

/// A decoder of either library.
pub(super) enum Decoder {
    Library(Box<dyn AudioDecoder>),
    Opus(Box<OpusDecoder>),
}

/// A decoder for a track. The error says what to do.
pub(super) fn decoder(
    params: &AudioCodecParameters,
    in_mp4: bool,
    codec: &str,
) -> Result<Decoder, String> {
    if params.codec == codecs::CODEC_ID_OPUS {
        return OpusDecoder::new(params, in_mp4).map(|d| Decoder::Opus(Box::new(d)));
    }
    symphonia::default::get_codecs()
        .make_audio_decoder(params, &AudioDecoderOptions::default())
        .map(Decoder::Library)
        .map_err(|why| {
            format!(
                "its sound is coded as {codec}, which is not read here ({why}); convert it with \
                 \"ffmpeg -i FILE take.wav\" and give that"
            )
        })
}

/// Parameters of bare samples as they are, where the library has them wrong.
pub(super) fn with_true_width(
    params: &AudioCodecParameters,
    big_endian: bool,
) -> AudioCodecParameters {
    let mut params = params.clone();
    if big_endian {
        params.codec = match params.codec {
            codecs::CODEC_ID_PCM_S24LE => codecs::CODEC_ID_PCM_S24BE,
            codecs::CODEC_ID_PCM_S32LE => codecs::CODEC_ID_PCM_S32BE,
            codecs::CODEC_ID_PCM_F32LE => codecs::CODEC_ID_PCM_F32BE,
            codecs::CODEC_ID_PCM_F64LE => codecs::CODEC_ID_PCM_F64BE,
            other => other,
        };
    }
    // These have one width only, and the library refuses the width that an
    // extensible WAV header states for them.
    if [
        codecs::CODEC_ID_PCM_ALAW,
        codecs::CODEC_ID_PCM_MULAW,
        codecs::CODEC_ID_PCM_F32LE,
        codecs::CODEC_ID_PCM_F32BE,
        codecs::CODEC_ID_PCM_F64LE,
        codecs::CODEC_ID_PCM_F64BE,
    ]
    .contains(&params.codec)
    {
        params.bits_per_sample = None;
        params.bits_per_coded_sample = None;
    }
    params
}

/// A short name for a codec.
pub(super) fn codec_name(params: &AudioCodecParameters) -> String {
    let known = [
        (codecs::CODEC_ID_AAC, "aac"),
        (codecs::CODEC_ID_ALAC, "alac"),
        (codecs::CODEC_ID_FLAC, "flac"),
        (codecs::CODEC_ID_MP3, "mp3"),
        (codecs::CODEC_ID_MP2, "mp2"),
        (codecs::CODEC_ID_MP1, "mp1"),
        (codecs::CODEC_ID_OPUS, "opus"),
        (codecs::CODEC_ID_VORBIS, "vorbis"),
        (codecs::CODEC_ID_AC3, "ac-3"),
        (codecs::CODEC_ID_EAC3, "e-ac-3"),
        (codecs::CODEC_ID_DCA, "dts"),
        (codecs::CODEC_ID_WMA, "wma"),
        (codecs::CODEC_ID_SPEEX, "speex"),
        (codecs::CODEC_ID_WAVPACK, "wavpack"),
        (codecs::CODEC_ID_ADPCM_MS, "adpcm-ms"),
        (codecs::CODEC_ID_ADPCM_IMA_WAV, "adpcm-ima"),
        (codecs::CODEC_ID_ADPCM_IMA_QT, "adpcm-ima"),
        (codecs::CODEC_ID_PCM_ALAW, "a-law"),
        (codecs::CODEC_ID_PCM_MULAW, "mu-law"),
        (codecs::CODEC_ID_PCM_F32LE, "pcm-f32"),
        (codecs::CODEC_ID_PCM_F32BE, "pcm-f32"),
        (codecs::CODEC_ID_PCM_F64LE, "pcm-f64"),
        (codecs::CODEC_ID_PCM_F64BE, "pcm-f64"),
        (codecs::CODEC_ID_PCM_U8, "pcm-u8"),
        (codecs::CODEC_ID_PCM_S8, "pcm-s8"),
        (codecs::CODEC_ID_PCM_S16LE, "pcm-s16"),
        (codecs::CODEC_ID_PCM_S16BE, "pcm-s16"),
        (codecs::CODEC_ID_PCM_S24LE, "pcm-s24"),
        (codecs::CODEC_ID_PCM_S24BE, "pcm-s24"),
        (codecs::CODEC_ID_PCM_S32LE, "pcm-s32"),
        (codecs::CODEC_ID_PCM_S32BE, "pcm-s32"),
    ];
    known
        .iter()
        .find(|(id, _)| *id == params.codec)
        .map_or_else(
            || format!("codec {}", params.codec),
            |(_, name)| (*name).to_owned(),
        )
}
