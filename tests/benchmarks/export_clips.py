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
from cuetrack.sound.tones import tone_samples
from cuetrack.speech.cache import ClipCache
from cuetrack.speech.speak import speak


def main(plan: Path, timeline: Path, folder: Path) -> None:
    document = json.loads(timeline.read_text(encoding="utf-8"))
    rate_hz, cues = document["sample_rate"], document["cues"]
    texts = [cue["text"] for cue in cues if cue["text"] is not None]
    spoken = speak(texts, build.compile_plan(plan).voice, rate_hz, cache=ClipCache())
    (folder / "16-bit").mkdir(parents=True)
    clips = []
    for index, cue in enumerate(cues):
        is_tone = cue["text"] is None
        samples = tone_samples(cue["name"], rate_hz) if is_tone else spoken[cue["text"]].samples
        if len(samples) != cue["frames"]:
            raise SystemExit(f"cue {index} has {len(samples)} frames and not {cue['frames']}")
        name = f"{index:04}.wav"
        soundfile.write(folder / name, samples, rate_hz, "FLOAT")
        soundfile.write(folder / "16-bit" / name, samples, rate_hz, "PCM_16")
        clips.append({"file": name, "start_frame": cue["start_frame"]})
    (folder / "clips.json").write_text(json.dumps(clips), encoding="utf-8")


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:]))
