"""Two sound files → how far apart they are: their largest difference, full scale 1.0.

python largest_difference.py ONE OTHER
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import soundfile

BLOCK_FRAMES = 65_536


def main(one: Path, other: Path) -> None:
    with soundfile.SoundFile(one) as first, soundfile.SoundFile(other) as second:
        shapes = [(file.frames, file.channels, file.samplerate) for file in (first, second)]
        if shapes[0] != shapes[1]:
            raise SystemExit(f"frames, channels and rate are {shapes[0]} and {shapes[1]}")
        largest = loudest = 0.0
        # float64 holds every 24-bit sample exactly.
        while len(block := first.read(BLOCK_FRAMES, always_2d=True)):
            apart = np.abs(block - second.read(BLOCK_FRAMES, always_2d=True))
            largest, loudest = max(largest, float(apart.max())), max(loudest, float(np.abs(block).max()))
    if not loudest:
        raise SystemExit("both files are silent: they show nothing")
    print(largest)


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:]))
