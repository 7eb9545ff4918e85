"""The protocol of a speech engine, and the engine that a voice names."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from cuetrack.speech.voices import Voice


@dataclass(frozen=True, slots=True, eq=False)
class RawSpeech:
    """What an engine made of a text, silence around it included.

    Attributes:
        samples: float32, mono, shape (frames,), full scale 1.0.
        rate_hz: the engine's own sample rate.
    """

    samples: NDArray[np.float32]
    rate_hz: int


class Engine(Protocol):
    """Text → raw sound. The same identity, voice and text give the same samples, in any order."""

    def identity(self, voice: Voice) -> str:
        """Everything beside `voice` and the text that decides the samples, versions above all.

        Raises:
            VoiceMissingError: the engine is not on this machine.
        """
        ...

    def spoken(self, text: str, voice: Voice) -> RawSpeech:
        """The sound of `text`; called from several threads at once.

        Raises:
            VoiceMissingError: the engine is not on this machine.
            SpeechError: it cannot speak this text.
        """
        ...


def engine_of(voice: Voice) -> Engine:
    """The engine that speaks with `voice`."""
    match voice.engine:
        case "pyttsx3":
            from cuetrack.speech.engines.pyttsx3_engine import Pyttsx3Engine

            return Pyttsx3Engine()
