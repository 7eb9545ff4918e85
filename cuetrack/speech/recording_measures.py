"""A recording → the figures by which it is judged: length, level, noise, flat tops."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from cuetrack.sound.loudness import k_weighted_loudness_lufs
from cuetrack.sound.trim import audible_span
from cuetrack.sound.units import db_to_linear, linear_to_db

# Our choices. Noise is looked for at both ends, in stretches longer than any consonant, so that the
# "s" of a closely cut "six" is not taken for hiss.
_WINDOW_SECONDS = 0.02
_END_SECONDS = 0.25
_QUIET_DB = -10.0  # every window of a stretch of noise lies this far under the speech
_SPEAKING_DB = -20.0  # windows this far under the loudest one still belong to the speech
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
        flat_tops: how often the sound stays at full scale for three samples or more.
    """

    start_frame: int
    end_frame: int
    seconds: float
    loudness_lufs: float
    noise_db: float | None
    flat_tops: int


def measured(channels: NDArray[np.float32], rate_hz: int) -> RecordingMeasures:
    """The figures of a recording, float32, shape (frames, channels)."""
    samples = channels.mean(axis=1, dtype=np.float32)
    noise_linear, speech_linear = _noise_and_speech(samples, rate_hz)
    start, end = audible_span(samples, rate_hz, _threshold_db(samples, noise_linear))
    told = noise_linear is not None and noise_linear > 0 and speech_linear > 0
    return RecordingMeasures(
        start,
        end,
        (end - start) / rate_hz,
        k_weighted_loudness_lufs(samples[start:end], rate_hz),
        linear_to_db((noise_linear or 0.0) / speech_linear) if told else None,
        max((_flat_tops(channel) for channel in channels.T), default=0),
    )


def _noise_and_speech(samples: NDArray[np.float32], rate_hz: int) -> tuple[float | None, float]:
    """RMS of the quieter end that holds no speech, None if both do, and RMS of the speech."""
    window = max(1, round(_WINDOW_SECONDS * rate_hz))
    whole = len(samples) // window
    power = (samples[: whole * window].astype(np.float64) ** 2).reshape(whole, window).mean(axis=1)
    if not power.size or not power.max() > 0:
        return None, 0.0
    speech_power = float(power[power >= power.max() * db_to_linear(_SPEAKING_DB) ** 2].mean())
    windows = round(_END_SECONDS / _WINDOW_SECONDS)
    quiet = [
        float(end.mean())
        for end in (power[:windows], power[-windows:])
        if whole > 2 * windows and end.max() < speech_power * db_to_linear(_QUIET_DB) ** 2
    ]
    return (sqrt(min(quiet)) if quiet else None), sqrt(speech_power)


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
