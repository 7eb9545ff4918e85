"""Speech at another pace and at the same pitch.

Method: waveform similarity overlap-add, Verhelst & Roelands, "An overlap-add technique based on
waveform similarity (WSOLA) for high quality time-scale modification of speech", ICASSP 1993. Windowed
stretches of the input are added at half a window's distance; each is taken from where, near its place,
the input best continues the stretch before it. The lengths are our choice: a window holds two periods
of the lowest voices (70 Hz), the search covers one period to either side.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

_WINDOW_SECONDS = 0.03
_SEARCH_SECONDS = 0.01


def hastened(samples: NDArray[np.float32], rate_hz: int, tempo: Fraction) -> NDArray[np.float32]:
    """`samples` spoken `tempo` times as fast.

    Args:
        samples: float32, mono, shape (frames,).
        rate_hz: their rate.
        tempo: above zero; 1 gives the samples themselves back.

    Returns:
        float32, shape (frames / tempo,), rounded half up; no louder than the input at its loudest.
    """
    if tempo == 1 or not samples.size:
        return samples
    hop = max(1, round(_WINDOW_SECONDS * rate_hz / 2))
    search = round(_SEARCH_SECONDS * rate_hz)
    frames = int(len(samples) / tempo + Fraction(1, 2))
    stretches = -(-frames // hop) + 1
    # Silence around the input, so that every stretch and every search lies inside.
    before = hop + search
    after = before + 3 * hop + round(float(tempo) * hop)
    source = np.pad(samples.astype(np.float64), (before, after))
    window = np.hanning(2 * hop + 1)[:-1]  # two of them, half a window apart, add up to one
    output = np.zeros((stretches + 1) * hop)
    # The first stretch lies half before the clip, so that the second, at its start, has its full level.
    taken = before - hop
    for index in range(stretches):
        if index > 0:
            planned = before + int((index - 1) * hop * tempo)
            taken = _best_start(source, taken + hop, planned, search, 2 * hop)
        output[index * hop : (index + 2) * hop] += window * source[taken : taken + 2 * hop]
    return output[hop : hop + frames].astype(np.float32)


def _best_start(source: NDArray[np.float64], natural: int, planned: int, search: int, length: int) -> int:
    """Where, at most `search` frames from `planned`, the source is most like what it has at `natural`.

    Likeness is the cross-correlation over the energy of the candidate; the natural continuation itself
    wins where it lies within reach, and the planned place in silence.
    """
    if abs(natural - planned) <= search:
        return natural
    template = source[natural : natural + length]
    region = source[planned - search : planned + search + length]
    likeness = np.correlate(region, template, "valid")
    energy = np.concatenate(([0.0], np.cumsum(region**2)))
    candidate_energy = energy[length:] - energy[:-length]
    # A floor far below anything audible: what is next to silence must not win by being divided by it.
    scores = likeness / np.sqrt(candidate_energy + 1e-6 * length)
    if not scores.max() > 0.0:
        return planned
    return planned - search + int(np.argmax(scores))
