"""A sound file → the same sound file, block by block: the least that writing a track can take.

    python block_copy.py SOURCE TARGET [--safe]

With `--safe` it waits until the copy is on the disk, as a render does before it renames its file.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

import soundfile

BLOCK_FRAMES = 65_536


def main(source: Path, target: Path, *options: str) -> None:
    with (
        soundfile.SoundFile(source) as reader,
        soundfile.SoundFile(target, "w", reader.samplerate, reader.channels, reader.subtype) as writer,
    ):
        for block in reader.blocks(BLOCK_FRAMES, dtype="int32"):
            writer.write(block)
    if "--safe" in options:
        with target.open("r+b") as file:
            os.fsync(file.fileno())


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]), *sys.argv[3:])
