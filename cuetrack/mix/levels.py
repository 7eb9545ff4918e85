"""A programme → how loud its voice, its tones and its bed are at each moment, for a picture of it."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from cuetrack.mix.programme import Programme
from cuetrack.sound.meter import STEPS_PER_SECOND, LoudnessMeter

# From one value to the next, as the meter gives momentary loudness.
STEP_SECONDS = 1 / STEPS_PER_SECOND
_STEMS = {"voice": ("voice",), "tones": ("tones", "clicks", "slate"), "bed": ("bed",)}


def levels_of(programme: Programme, gain_db: float) -> Mapping[str, NDArray[np.float64]]:
    """Momentary loudness in LUFS, `gain_db` added, of what the programme has of voice, tones and bed.

    Each reads its stems once. The value at `i` is that of the window that begins at `i` steps; minus
    infinity where there is silence.
    """
    held, levels = programme.stem_names(), dict[str, NDArray[np.float64]]()
    for name, stems in _STEMS.items():
        windows = [_momentary_lufs(programme, stem) for stem in stems if stem in held]
        if windows:
            # Stems of one kind hardly sound at once: the louder one is what is heard.
            levels[name] = np.maximum.reduce(windows) + gain_db
    return levels


def _momentary_lufs(programme: Programme, stem: str) -> NDArray[np.float64]:
    width = programme.width if stem == "bed" else 1
    meter = LoudnessMeter(programme.arrangement.rate_hz, [programme.channels / width] * width)
    for block in programme.stem(stem):
        meter.add(block)
    return meter.momentary_lufs()
