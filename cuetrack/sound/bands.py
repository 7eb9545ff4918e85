"""The level of a sound in octave bands, and how far another stands over what it masks.

Octave bands with nominal centres as in IEC 61260-1, edges a factor of the square root of 2 from them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

CENTRES_HZ = (63, 125, 250, 500, 1000, 2000, 4000)
# MIL-STD-1472E 5.3: signals lie between 200 and 5000 Hz.
_LOWEST_HZ, _HIGHEST_HZ = 200, 5000
# ISO 7731, masked threshold in octave bands (second-hand): it falls by 7.5 dB an octave upwards.
_SPREAD_DB_PER_OCTAVE = 7.5
_ALLOWED = [band for band, centre_hz in enumerate(CENTRES_HZ) if _LOWEST_HZ <= centre_hz <= _HIGHEST_HZ]
# Where a signal has less than a hundredth of its power it is not heard by that; nine tenths are as good as
# all. Common practice, no source.
_SOME_POWER_DB, _AS_GOOD_AS_ALL_DB = 20.0, 0.5
# Octaves that lie over each edge of a band; so far away, in octaves, that its middle lies in no other. The
# second of the three is the band's own.
_SHIFTS, _OWN = (-0.6, 0.0, 0.6), 1
# What is softer than this is nothing.
_FLOOR_POWER = 1e-15
_TAPER_SECONDS = 0.005


def octave_levels_db(
    samples: NDArray[np.float32], rate_hz: int, *, excerpt: bool = False
) -> NDArray[np.float64]:
    """Mean-square level in each band of `CENTRES_HZ`; see `overlapping_levels_db`."""
    return overlapping_levels_db(samples, rate_hz, excerpt=excerpt)[:, _OWN]


def overlapping_levels_db(
    samples: NDArray[np.float32], rate_hz: int, *, excerpt: bool = False
) -> NDArray[np.float64]:
    """Mean-square level, the mean of all channels, in dB of full scale squared.

    Args:
        samples: shape (frames,) or (frames, channels), one frame or more.
        rate_hz: of the samples; bands above half of it hold nothing.
        excerpt: whether the sound goes on before and after them. Its ends are then tapered, and the rest
            counts for them: a low note that is cut off would seem to sound in all bands.

    Returns:
        Float64, shape (bands, 3): for each of `CENTRES_HZ` an octave over its lower edge, its own, and one
        over its upper edge.
    """
    frames = len(samples)
    sides = samples.reshape(frames, -1).astype(np.float64)
    if excerpt:
        sides *= _taper(frames, rate_hz)[:, np.newaxis]
    power = (np.abs(np.fft.rfft(sides, axis=0)) ** 2).mean(axis=1) / frames**2
    # A real signal's spectrum stands for two halves; zero and half the rate are in both only once.
    power[1 : (frames + 1) // 2] *= 2
    frequency_hz = np.arange(len(power)) * (rate_hz / frames)
    centres_hz = [centre * 2**shift for centre in CENTRES_HZ for shift in _SHIFTS]
    edges = np.searchsorted(frequency_hz, [centre * 2**half for centre in centres_hz for half in (-0.5, 0.5)])
    sums = np.concatenate([[0.0], np.cumsum(power)])
    bands = (sums[edges[1::2]] - sums[edges[::2]]).reshape(-1, len(_SHIFTS))
    return np.asarray(10 * np.log10(np.maximum(bands, _FLOOR_POWER)), np.float64)


def _taper(frames: int, rate_hz: int) -> NDArray[np.float64]:
    """Raised-cosine ends, at a mean power of 1."""
    nearest_end = np.minimum(np.arange(frames), np.arange(frames)[::-1]) + 0.5
    taper = np.sin(np.pi / 2 * np.minimum(nearest_end / (_TAPER_SECONDS * rate_hz), 1.0)) ** 2
    return np.asarray(taper / np.sqrt(np.mean(taper**2)), np.float64)


def over_masked_threshold_db(signal_db: NDArray[np.float64], noise_db: NDArray[np.float64]) -> float:
    """How far a signal stands over the masked threshold of a noise, in the band where it is furthest.

    Both as `overlapping_levels_db` gives them. Only bands that signals may use count, and only those in which
    this one has some of its power. Where a signal lies near a band's edge, noise just beyond it masks it
    too: the octave over that edge holds both, and the worse of the two figures counts.
    """
    over_db = signal_db - masked_threshold_db(noise_db)
    holds_it = signal_db >= signal_db[:, _OWN, np.newaxis] - _AS_GOOD_AS_ALL_DB
    worst_db = np.where(holds_it, over_db, np.inf).min(axis=1)[_ALLOWED]
    own_db = signal_db[_ALLOWED, _OWN]
    return float(worst_db[own_db >= own_db.max() - _SOME_POWER_DB].max())


def masked_threshold_db(noise_db: NDArray[np.float64]) -> NDArray[np.float64]:
    """The level that a noise masks in each band: its own there, or what is left of the band below's.

    >>> masked_threshold_db(np.array([0.0, -20.0, -5.0]))
    array([ 0. , -7.5, -5. ])
    """
    threshold_db = np.empty_like(noise_db)
    left_db = np.full_like(noise_db[0], -np.inf)
    for band, level_db in enumerate(noise_db):
        threshold_db[band] = left_db = np.maximum(level_db, left_db - _SPREAD_DB_PER_OCTAVE)
    return threshold_db
