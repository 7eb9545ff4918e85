"""A rendered track's plan and timeline.json → each of its cues as a sound file, for other mixers.

    python export_clips.py PLAN TIMELINE_JSON FOLDER

FOLDER gets NNNN.wav (32-bit float, the very samples that the track was mixed from), 16-bit/NNNN.wav
(for pydub) and clips.json, a list of `{"file": "NNNN.wav", "start_frame": …}` in the order of starts.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import soundfile

from cuetrack import build


def main(plan: Path, timeline: Path, folder: Path) -> None:
    rate_hz = json.loads(timeline.read_text(encoding="utf-8"))["sample_rate"]
    arrangement, sounds = build.sounded(build.compile_plan(plan), rate_hz)
    (folder / "16-bit").mkdir(parents=True)
    clips = []
    for index, placed in enumerate(arrangement.placed):
        name = f"{index:04}.wav"
        soundfile.write(folder / name, sounds[placed.sound], rate_hz, "FLOAT")
        soundfile.write(folder / "16-bit" / name, sounds[placed.sound], rate_hz, "PCM_16")
        clips.append({"file": name, "start_frame": placed.start_frame})
    (folder / "clips.json").write_text(json.dumps(clips), encoding="utf-8")


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:]))
