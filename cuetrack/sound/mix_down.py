"""What each channel of a file gives to mono or stereo, after ITU-R BS.775-3, table 2."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

MOST_CHANNELS = 8
# Centre and surround go into a side 3 dB down, low-frequency effects nowhere.
_HALF_POWER = 0.5**0.5
_SIDES = {
    "left": (1.0, 0.0),
    "right": (0.0, 1.0),
    "centre": (_HALF_POWER, _HALF_POWER),
    "effects": (0.0, 0.0),
    "left surround": (_HALF_POWER, 0.0),
    "right surround": (0.0, _HALF_POWER),
    "surround": (0.5, 0.5),
}
_PAIR = ("left surround", "right surround")
# Where a file does not tell: the order of WAVE's channel mask, which FLAC and AIFF keep to.
_WAVE_ORDER = {
    2: ("left", "right"),
    3: ("left", "right", "centre"),
    4: ("left", "right", *_PAIR),
    5: ("left", "right", "centre", *_PAIR),
    6: ("left", "right", "centre", "effects", *_PAIR),
    7: ("left", "right", "centre", "effects", "surround", *_PAIR),
    8: ("left", "right", "centre", "effects", *_PAIR, *_PAIR),
}
# Vorbis I specification, section 4.3.9; RFC 7845 section 5.1.1.2 has the same for Opus.
_OGG_ORDER = {
    2: ("left", "right"),
    3: ("left", "centre", "right"),
    4: ("left", "right", *_PAIR),
    5: ("left", "centre", "right", *_PAIR),
    6: ("left", "centre", "right", *_PAIR, "effects"),
    7: ("left", "centre", "right", *_PAIR, "surround", "effects"),
    8: ("left", "centre", "right", *_PAIR, *_PAIR, "effects"),
}


def mix_down(found: int, wanted: int, *, is_ogg: bool) -> NDArray[np.float32]:
    """The factors that take `found` channels (1 to 8) to `wanted` (1 or 2), shape (found, wanted).

    Mono goes into both sides as it is. Mono is the mean of both sides.
    """
    if found == 1:
        return np.ones((1, wanted), np.float32)
    order = (_OGG_ORDER if is_ogg else _WAVE_ORDER)[found]
    sides = np.array([_SIDES[name] for name in order])
    factors = sides if wanted == 2 else sides.mean(axis=1, keepdims=True)
    return factors.astype(np.float32)
