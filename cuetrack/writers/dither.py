"""Samples → 16 bits with dither, so that what is softer than a step is heard as itself and not as distortion.

Triangular noise of two steps' width, the sum of two even ones (Lipshitz, Wannamaker, Vanderkooy,
"Quantization and Dither", JAES 40(5), 1992; from memory). Exact silence stays silence.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_STEPS = 2**15
_SEED = 16


def dithered_16_bits(samples: NDArray[np.float32], chunk: int) -> NDArray[np.int16]:
    """The nearest of 2^16 values to each sample and its noise.

    Args:
        samples: float32, shape (frames, width).
        chunk: number of these samples among the chunks of a programme; the noise depends on it alone,
            so the same programme has the same bytes.
    """
    # A generator that is addressed by a counter: no chunk needs the ones before it.
    noise = np.random.Generator(np.random.Philox(key=_SEED, counter=[0, 0, 0, chunk]))
    shape = (2, *samples.shape)
    first, second = noise.random(shape, np.float32)
    steps = np.rint(samples * np.float32(_STEPS) + first - second)
    steps[samples == 0] = 0
    return np.asarray(np.clip(steps, -_STEPS, _STEPS - 1), np.int16)
