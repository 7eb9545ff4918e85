"""A rendered file → files with one fault each, made as someone outside would, by cutting and adding."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from numpy.typing import NDArray

Sound = NDArray[np.float64]
Cue = dict[str, Any]

# Two rounds with a rest between, tones and a slate, no music and no words: quick to make, and zeros between.
TONES = """
session: Quay wall shuttles
lead-in: 4s
lead-out: 1s
calls: {announce: off, start: {count: 3, by: tones, sound: pips}, finish: {by: none}}
parts:
  - part: Main
    rounds: 3
    rest: 7s
    steps:
      - move: Shuttle
        work: 72/8.5 s
        cues: [{at: 2.5s, tone: soft}, {at: -1/7 s, tone: bright}, {at: 50%, tone: slate}]
"""
# Music under tones.
BED = f"bed: {{pulse: 120 bpm}}\n{TONES.strip()}\n"


def read(path: Path) -> tuple[Sound, int]:
    """Its samples, shape (frames, channels), and its rate."""
    samples, rate_hz = soundfile.read(path, always_2d=True)
    return samples, rate_hz


def write(path: Path, samples: Sound, rate_hz: int, subtype: str = "PCM_24") -> Path:
    """The file that was written."""
    soundfile.write(path, samples, rate_hz, subtype=subtype)
    return path


def without(samples: Sound, cue: Cue) -> Sound:
    """The sound with zeros where a cue was; for a cue that has nothing under it."""
    made = samples.copy()
    made[cue["start_frame"] : cue["start_frame"] + cue["frames"]] = 0
    return made


def with_again(samples: Sound, onto: Sound, cue: Cue, start_frame: int) -> Sound:
    """The sound `onto` with a cue of `samples` added on a frame."""
    made = onto.copy()
    made[start_frame : start_frame + cue["frames"]] += samples[
        cue["start_frame"] : cue["start_frame"] + cue["frames"]
    ]
    return made


def moved(samples: Sound, cue: Cue, by_frames: int) -> Sound:
    """The sound with a cue later by so many frames."""
    return with_again(samples, without(samples, cue), cue, cue["start_frame"] + by_frames)
