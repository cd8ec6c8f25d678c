"""Onsets by librosa.

Standard input, JSON: files [path, ...]. Standard output, JSON: for each file two
lists of seconds: onset_detect at its defaults (22 050 Hz), and onset_detect on
the maximum-filtered spectral flux of librosa's own example after Boeck and
Widmer 2013 (44 100 Hz, 138 mel bands from 27.5 Hz to 16 kHz, hop 10 ms).
"""
import json
import sys

import librosa


def default(path):
    samples, rate = librosa.load(path, sr=22050)
    return librosa.onset.onset_detect(y=samples, sr=rate, units="time").tolist()


def max_filtered(path):
    samples, rate = librosa.load(path, sr=44100)
    hop = rate // 100
    mel = librosa.feature.melspectrogram(
        y=samples, sr=rate, n_fft=2048, hop_length=hop, fmin=27.5, fmax=16000.0, n_mels=138
    )
    strength = librosa.onset.onset_strength(
        S=librosa.power_to_db(mel), sr=rate, hop_length=hop, lag=2, max_size=3
    )
    return librosa.onset.onset_detect(
        onset_envelope=strength, sr=rate, hop_length=hop, units="time"
    ).tolist()


json.dump([[default(path), max_filtered(path)] for path in json.load(sys.stdin)["files"]], sys.stdout)
