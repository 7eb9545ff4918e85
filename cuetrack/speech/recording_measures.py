"""A recording → the figures by which it is judged: length, level, noise, flat tops."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from cuetrack.sound.loudness import k_weighted_loudness_lufs
from cuetrack.sound.trim import audible_span
from cuetrack.sound.units import db_to_linear, linear_to_db
from cuetrack.speech.clip_folder import mono

# Our choices. Noise is looked for at both ends, in stretches longer than any consonant, so that the
# "s" of a closely cut "six" is not taken for hiss.
_WINDOW_SECONDS = 0.02
_END_SECONDS = 0.25
_QUIET_DB = -10.0  # every window of a stretch of noise lies this far under the speech
_SPEAKING_DB = -20.0  # windows this far under the loudest one still belong to the speech
# Noise that is louder shows at no end: it leaves no quiet moment. Speech does, even without a stop ("We
# were away a year ago"): there the natural voice comes down to -18 dB, measured over the same time.
_PAUSE_SECONDS = 0.04
_DROWNED_DB = -12.0
_DROWNED_SECONDS = 1.0  # in less, a word may be one vowel
_ABOVE_NOISE_DB = 6.0  # speech begins where it rises this far above the noise
_SOFTEST_DB = -50.0  # and without any noise, here under the loudest sample
_FULL_SCALE_DBFS = -0.01
_FLAT_TOP_FRAMES = 3


@dataclass(frozen=True, slots=True)
class RecordingMeasures:
    """What was found in one recording.

    Attributes:
        start_frame, end_frame: half-open range of what is audible; both 0 for silence.
        seconds: its length.
        loudness_lufs: of what is audible, played on both front channels.
        noise_db: level of the noise relative to the speech; None where no end is quiet enough to tell.
        drowned: the noise leaves no quiet moment; nothing tells where the speech begins and ends.
        flat_tops: how often the sound stays at full scale for three samples or more.
    """

    start_frame: int
    end_frame: int
    seconds: float
    loudness_lufs: float
    noise_db: float | None
    drowned: bool
    flat_tops: int


def measured(channels: NDArray[np.float32], rate_hz: int) -> RecordingMeasures:
    """The figures of a recording, float32, shape (frames, channels)."""
    samples = mono(channels)
    power = _window_power(samples, rate_hz)
    noise_linear, speech_linear = _noise_and_speech(power)
    start, end = audible_span(samples, rate_hz, _threshold_db(samples, noise_linear))
    told = noise_linear is not None and noise_linear > 0 and speech_linear > 0
    noise_db = linear_to_db((noise_linear or 0.0) / speech_linear) if told else None
    quietest_db = _quietest_db(power, speech_linear)
    drowned = noise_linear is None and quietest_db > _DROWNED_DB
    return RecordingMeasures(
        start,
        end,
        (end - start) / rate_hz,
        k_weighted_loudness_lufs(samples[start:end], rate_hz),
        quietest_db if drowned else noise_db,
        drowned,
        max((_flat_tops(channel) for channel in channels.T), default=0),
    )


def _window_power(samples: NDArray[np.float32], rate_hz: int) -> NDArray[np.float64]:
    """Mean square of each whole window, in order."""
    window = max(1, round(_WINDOW_SECONDS * rate_hz))
    whole = len(samples) // window
    squares = np.square(samples[: whole * window], dtype=np.float64)
    power: NDArray[np.float64] = squares.reshape(whole, window).mean(axis=1)
    return power


def _noise_and_speech(power: NDArray[np.float64]) -> tuple[float | None, float]:
    """RMS of the quieter end that holds no speech, None if both do, and RMS of the speech."""
    if not power.size or not power.max() > 0:
        return None, 0.0
    speech_power = float(power[power >= power.max() * db_to_linear(_SPEAKING_DB) ** 2].mean())
    windows = round(_END_SECONDS / _WINDOW_SECONDS)
    quiet = [
        float(end.mean())
        for end in (power[:windows], power[-windows:])
        if power.size > 2 * windows and end.max() < speech_power * db_to_linear(_QUIET_DB) ** 2
    ]
    return (sqrt(min(quiet)) if quiet else None), sqrt(speech_power)


def _quietest_db(power: NDArray[np.float64], speech_linear: float) -> float:
    """Level of the quietest moment relative to the speech; minus infinity for too short a clip."""
    windows = round(_PAUSE_SECONDS / _WINDOW_SECONDS)
    if power.size < round(_DROWNED_SECONDS / _WINDOW_SECONDS) or not speech_linear:
        return linear_to_db(0.0)
    moments = np.lib.stride_tricks.sliding_window_view(power, windows).mean(axis=1)
    return linear_to_db(sqrt(float(moments.min())) / speech_linear)


def _threshold_db(samples: NDArray[np.float32], noise_linear: float | None) -> float:
    """The level from which on the recording is taken for speech, relative to its loudest sample."""
    if not noise_linear:
        return _SOFTEST_DB
    peak = float(np.abs(samples).max())
    return max(_SOFTEST_DB, linear_to_db(noise_linear / peak) + _ABOVE_NOISE_DB)


def _flat_tops(channel: NDArray[np.float32]) -> int:
    full = np.abs(channel) >= db_to_linear(_FULL_SCALE_DBFS)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], full.astype(np.int8), [0]))))
    return int(np.count_nonzero(edges[1::2] - edges[::2] >= _FLAT_TOP_FRAMES))
