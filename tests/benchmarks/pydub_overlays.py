"""Some of a folder's clips laid over silence by pydub, in 16 bits, at whole milliseconds.

    python pydub_overlays.py FOLDER TARGET FRAMES RATE_HZ OVERLAYS

FOLDER is what export_clips.py wrote. OVERLAYS of its clips, spread evenly, are overlaid one by one as
pydub's manual shows it. The seconds that the overlays alone took are printed, so that they can be
scaled to all clips.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path


def main(folder: Path, target: Path, frames: int, rate_hz: int, overlays: int) -> None:
    from pydub import AudioSegment  # of the extra `bench`: this module can be imported without it

    clips = json.loads((folder / "clips.json").read_text(encoding="utf-8"))
    chosen = [clips[index * len(clips) // overlays] for index in range(overlays)]
    track = AudioSegment.silent(frames * 1000 // rate_hz, rate_hz).set_channels(2)
    began = time.perf_counter()
    for clip in chosen:
        sound = AudioSegment.from_wav(folder / "16-bit" / clip["file"])
        track = track.overlay(sound, position=round(clip["start_frame"] * 1000 / rate_hz))
    print(time.perf_counter() - began)
    track.export(target, format="wav")


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]), *map(int, sys.argv[3:]))
