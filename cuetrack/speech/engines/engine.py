"""The protocol of a speech engine, and the engine that a voice names."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from cuetrack.speech.voices import Voice

# What to do where an engine fails at a text.
SAY_OTHERWISE = "say it in other words, or take another voice"


@dataclass(frozen=True, slots=True)
class Utterance:
    """One thing to say: as it is written in plan and captions, and as an engine has to read it."""

    written: str
    said: str


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
    """One voice in one language. The same identity and utterance give the same samples, in any order.

    Both methods are called from several threads at once.
    """

    def identity(self, utterance: Utterance) -> str:
        """Everything beside the words that decides the samples: versions, files, settings, language.

        Found without loading what speaks, so that a run with all clips kept stays small.

        Raises:
            VoiceMissingError: the engine, or something that the voice needs, is not on this machine.
        """
        ...

    def spoken(self, utterance: Utterance) -> RawSpeech:
        """The sound of `utterance`; without samples if the engine makes nothing of it.

        Raises:
            VoiceMissingError: see `identity`.
            SpeechError: it cannot speak this text.
        """
        ...


def engine_of(voice: Voice, language: str) -> Engine:
    """The engine that speaks `language` with `voice`."""
    match voice.engine:
        case "pyttsx3":
            from cuetrack.speech.engines.pyttsx3_engine import Pyttsx3Engine

            return Pyttsx3Engine(voice, language)
        case "piper":
            from cuetrack.speech.engines.piper_engine import PiperEngine

            return PiperEngine(voice)
        case "recorded":
            from cuetrack.speech.engines.recorded_engine import RecordedEngine

            return RecordedEngine(voice)
