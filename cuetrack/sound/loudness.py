"""Loudness of a short clip after ITU-R BS.1770, and a clip brought to a loudness.

No gating: the standard's gates compare blocks of 400 ms, and a word or a tone is shorter than one.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import atan, sqrt, tan
from typing import TYPE_CHECKING

import numpy as np

from cuetrack.sound.units import db_to_linear, linear_to_db

if TYPE_CHECKING:
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Biquad:
    """A second-order filter: numerator `b` and denominator `a`, the delay growing to the right."""

    b: tuple[float, float, float]
    a: tuple[float, float, float]


# BS.1770-4 Annex 1: tables 1 and 2, for 48 kHz; equation 2.
K_WEIGHTING_RATE_HZ = 48_000
K_WEIGHTING_SHELF = Biquad(
    b=(1.53512485958697, -2.69169618940638, 1.19839281085285),
    a=(1.0, -1.69065929318241, 0.73248077421585),
)
K_WEIGHTING_HIGH_PASS = Biquad(
    b=(1.0, -2.0, 1.0),
    a=(1.0, -1.99004745483398, 0.99007225036621),
)
LOUDNESS_OFFSET_LU = -0.691

_SETTLE_SECONDS = 0.1  # by then the high-pass, the slower of the two, has died away by 200 dB


def k_weighted_loudness_lufs(samples: NDArray[np.float32], rate_hz: int, channels: int = 2) -> float:
    """Ungated loudness of a whole clip on front channels (weight 1.0).

    Args:
        samples: float32, shape (frames,) for one that is played, the same, on `channels` channels; or
            (frames, 1) for the same, or (frames, 2).
        rate_hz: any rate; the weighting is the standard's at every one.
        channels: two read 3.01 LU more than one.

    Returns:
        LUFS; minus infinity for silence and for an empty clip.
    """
    if not samples.any():
        return linear_to_db(0.0)
    sides = samples.reshape(len(samples), -1)
    energy = sum(_weighted_energy(side, rate_hz) for side in sides.T)
    mean_square = energy * channels / sides.size
    return LOUDNESS_OFFSET_LU + linear_to_db(sqrt(mean_square))


def _weighted_energy(samples: NDArray[np.float32], rate_hz: int) -> float:
    """Sum of the squared samples after K-weighting.

    Taken in the spectrum (Parseval's theorem), where the published filters can be read off at any
    frequency: no second set of coefficients for each rate, and no scipy, whose filters take a
    second and 100 MB to import. The zeros appended hold what rings on after the clip.
    """
    padded = _quick_length(samples.size + round(_SETTLE_SECONDS * rate_hz))
    power = np.abs(np.fft.rfft(samples.astype(np.float64), padded)) ** 2
    # A real signal's spectrum stands for two halves; zero and half the rate are in both only once.
    power[1 : (padded + 1) // 2] *= 2
    return float(np.sum(power * _k_weighting_power(padded, rate_hz)) / padded)


def _quick_length(least: int) -> int:
    """The next length, at least so long, whose Fourier transform is quick: 2, 3 or 5 times a power of 2."""
    return min(odd << max(0, (-(-least // odd) - 1).bit_length()) for odd in (1, 3, 5))


def k_weighting_at(rate_hz: int) -> tuple[Biquad, Biquad]:
    """The filters for another rate: the published ones, taken back to analogue and to digital again.

    Both ways by the bilinear transform, so at 48 kHz they are the published ones. Each keeps its corner
    frequency; the response is that of 48 kHz within 0.05 dB for 22.05 kHz and more, 0.3 dB at 8 kHz.
    """
    return _at_rate(K_WEIGHTING_SHELF, rate_hz), _at_rate(K_WEIGHTING_HIGH_PASS, rate_hz)


def _at_rate(section: Biquad, rate_hz: int) -> Biquad:
    # The corner of the filter, as the tangent of half its angle: s = j * corner there, see below.
    corner = sqrt(sum(section.a) / (section.a[0] - section.a[1] + section.a[2]))
    ratio = corner / tan(atan(corner) * K_WEIGHTING_RATE_HZ / rate_hz)

    def moved(digital: tuple[float, float, float]) -> tuple[float, float, float]:
        now, one, two = digital
        # In s, where s = (z - 1) / (z + 1) at 48 kHz, and ratio times as much at the other rate.
        flat, slope, bend = now + one + two, 2 * (now - two) * ratio, (now - one + two) * ratio**2
        return flat + slope + bend, 2 * (flat - bend), flat - slope + bend

    b, a = moved(section.b), moved(section.a)
    return Biquad((b[0] / a[0], b[1] / a[0], b[2] / a[0]), (1.0, a[1] / a[0], a[2] / a[0]))


@lru_cache(maxsize=8)
def _k_weighting_power(padded: int, rate_hz: int) -> NDArray[np.float64]:
    """Power gain of the K-weighting at each frequency of a real transform of `padded` frames.

    Above 24 kHz, where the standard ends, that of 24 kHz.
    """
    frequency_hz = np.arange(padded // 2 + 1) * (rate_hz / padded)
    # Of half the angle that the frequency is on the unit circle: the square of its sine.
    square = np.sin(np.pi * np.minimum(frequency_hz / K_WEIGHTING_RATE_HZ, 0.5)) ** 2
    power = np.ones_like(square)
    for section in (K_WEIGHTING_SHELF, K_WEIGHTING_HIGH_PASS):
        power *= _power(section.b, square)
        power /= _power(section.a, square)
    return power


def _power(taps: tuple[float, float, float], square: NDArray[np.float64]) -> NDArray[np.float64]:
    """The squared magnitude of three taps' response; so written that little is lost near frequency zero."""
    now, one, two = taps
    slope = -4 * (one * (now + two) + 4 * now * two)
    return (now + one + two) ** 2 + square * (slope + square * (16 * now * two))


def levelled(
    samples: NDArray[np.float32], rate_hz: int, *, target_lufs: float, peak_ceiling_dbfs: float
) -> NDArray[np.float32]:
    """The clip at `target_lufs`, or as near below it as its largest sample allows.

    Args:
        samples: float32, shape (frames,).
        rate_hz: rate of the clip.
        target_lufs: loudness of the clip when it is played on both front channels.
        peak_ceiling_dbfs: the largest sample may reach this level.

    Returns:
        float32, same shape. Silence and an empty clip come back as they are.
    """
    if not samples.any():
        return samples
    peak_dbfs = linear_to_db(float(np.abs(samples).max()))
    loudness_lufs = k_weighted_loudness_lufs(samples, rate_hz)
    gain_db = min(target_lufs - loudness_lufs, peak_ceiling_dbfs - peak_dbfs)
    return samples * np.float32(db_to_linear(gain_db))
