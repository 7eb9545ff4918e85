"""A spoken phrase as sound: trimmed samples, their rate, and where in them the ear hears the beat."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cuetrack.sound.resample import resampled
from cuetrack.speech.length import SpokenLength
from cuetrack.timebase import Instant, frame_seconds

Samples = NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class SpeechClip:
    """Spoken samples, mono, full scale 1.0, without silence before and after.

    Attributes:
        samples: float32, shape (frames,), never written to.
        rate_hz: sample rate.
        onset_frames: perceived onset (P-centre), counted from the first frame.
    """

    samples: Samples
    rate_hz: int
    onset_frames: int

    def __post_init__(self) -> None:
        self.samples.flags.writeable = False

    @property
    def length(self) -> SpokenLength:
        """The measures by which the clip is placed."""
        return SpokenLength(len(self.samples), self.onset_frames)


def resampled_to(clip: SpeechClip, rate_hz: int) -> SpeechClip:
    """`clip` at another rate; its onset is rounded to the nearest frame, half up."""
    if clip.rate_hz == rate_hz:
        return clip
    onset = Instant(frame_seconds(clip.onset_frames, clip.rate_hz))
    samples = resampled(clip.samples, clip.rate_hz, rate_hz)
    return SpeechClip(samples, rate_hz, onset.to_frame(rate_hz))
