"""Samples → 16 bits with dither, so that what is softer than a step is heard as itself and not as distortion.

Triangular noise of two steps' width, the sum of two even ones (Lipshitz, Wannamaker, Vanderkooy,
"Quantization and Dither", JAES 40(5), 1992; from memory). Exact silence stays silence.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

_STEPS = 2**15
_SEED = 16
_SILENT_FRAMES = 16


def dithered_16_bits(samples: NDArray[np.float32], chunk: int) -> NDArray[np.int16]:
    """The nearest of 2^16 values to each sample and its noise.

    Args:
        samples: float32, shape (frames, width).
        chunk: number of these samples among the chunks of a programme; the noise depends on it alone,
            so the same programme has the same bytes.
    """
    if not samples.any():
        return np.zeros(samples.shape, np.int16)
    # A generator that is addressed by a counter: no chunk needs the ones before it.
    noise = np.random.Generator(np.random.Philox(key=_SEED, counter=[0, 0, 0, chunk]))
    shape = (2, *samples.shape)
    first, second = noise.random(shape, np.float32)
    steps = np.rint(samples * np.float32(_STEPS) + first - second)
    for channel in range(samples.shape[1]):
        for start, end in _silences(samples[:, channel]):
            steps[start:end, channel] = 0
    return np.asarray(np.clip(steps, -_STEPS, _STEPS - 1), np.int16)


def _silences(samples: NDArray[np.float32]) -> Iterator[tuple[int, int]]:
    """Runs of zeros that are silence, and not a sound on its way through zero, half-open."""
    is_zero = np.concatenate([[False], samples == 0, [False]])
    edges = np.flatnonzero(is_zero[1:] != is_zero[:-1])
    for start, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        # One at an end may go on in the next chunk.
        if end - start >= _SILENT_FRAMES or start == 0 or end == len(samples):
            yield start, end
