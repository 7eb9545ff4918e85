"""Text → raw sound through piper, a neural voice read from a file; nothing leaves this machine.

piper-tts is an optional package, loaded only when something has to be spoken. Without its two noise
sources and with one thread an inference, a sentence has the same samples however many are spoken at
once and in whatever order. (With four threads an inference, samples differ: sums are cut otherwise.)
"""

from __future__ import annotations

import hashlib
import logging
import os
import threading
from functools import cached_property, lru_cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from cuetrack.errors import SpeechError, VoiceMissingError
from cuetrack.speech.engines.engine import SAY_OTHERWISE, RawSpeech, Utterance
from cuetrack.speech.installed import missing_for, model_file, repair_hint
from cuetrack.speech.phrases.wording import quoted
from cuetrack.speech.voices import Voice, settings_beside, settings_of

if TYPE_CHECKING:
    from piper import PiperVoice, SynthesisConfig

# Brackets in pairs would be read as phonemes.
_PHONEME_MARKS = str.maketrans({"[": "(", "]": ")"})

_loading = threading.Lock()


class PiperEngine:
    """The engine `piper`, with one model."""

    def __init__(self, voice: Voice) -> None:
        self.voice = voice

    def identity(self, utterance: Utterance) -> str:
        """The versions, the model and its settings by their SHA-256, and the pace.

        The SHA-256 that a voice names is believed here, and held against the model only when that is loaded
        to speak: where all clips are kept, nobody reads it.
        """
        return self._identity

    def spoken(self, utterance: Utterance) -> RawSpeech:
        """The sound of `utterance`; see `Engine.spoken`."""
        with _loading:
            model = self._model
        text = utterance.said.translate(_PHONEME_MARKS)
        try:
            sentences = [chunk.audio_float_array for chunk in model.synthesize(text, self._settings)]
        except Exception as error:  # whatever the engine trips over, the text is what a coach can change
            reason = " ".join(str(error).split())
            raise SpeechError(
                f"the speech engine could not speak {quoted(text)}: {reason}; {SAY_OTHERWISE}"
            ) from None
        return RawSpeech(_joined(sentences), int(model.config.sample_rate))

    @cached_property
    def _identity(self) -> str:
        model = self._file
        digest = self.voice.sha256 or _digest(model)
        try:
            versions = f"piper-tts {version('piper-tts')}, onnxruntime {version('onnxruntime')}"
        except PackageNotFoundError as error:
            raise self._missing(f"there is no package {error.name}") from None
        return f"{versions}, {digest}, {_digest(settings_beside(model))}, scale {self._length_scale!r}"

    @cached_property
    def _file(self) -> Path:
        missing, model = missing_for(self.voice), model_file(self.voice)
        if missing is not None or model is None:
            raise VoiceMissingError(f"voice {self.voice.name!r} is not installed: {missing}")
        return model

    @cached_property
    def _model(self) -> PiperVoice:
        model = self._file
        try:
            return _loaded(model, self.voice.sha256)
        except _WrongModelError:
            reason = f"{model} is damaged or another model: its SHA-256 is not the one of the voice"
            raise self._missing(f"{reason}; {repair_hint(self.voice)}") from None
        except ImportError as error:
            raise self._missing(f"a package cannot be loaded ({error})") from None
        except Exception as error:  # onnxruntime and the reader of the settings have errors of their own
            reason = " ".join(str(error).split())
            raise self._missing(f"{model} cannot be loaded ({reason}); {repair_hint(self.voice)}") from None

    @cached_property
    def _settings(self) -> SynthesisConfig:
        from piper import SynthesisConfig

        return SynthesisConfig(
            noise_scale=0.0, noise_w_scale=0.0, length_scale=self._length_scale, normalize_audio=False
        )

    @property
    def _length_scale(self) -> float | None:
        """How much longer than the model's own a sound lasts; None leaves it to the model's settings."""
        natural, wanted = self.voice.natural_words_per_minute, self.voice.words_per_minute
        return natural / wanted if natural and wanted else None

    def _missing(self, reason: str) -> VoiceMissingError:
        return VoiceMissingError(f"voice {self.voice.name!r}: {reason}")


class _WrongModelError(Exception):
    """The model file is not the one that the voice names."""


@lru_cache(maxsize=1)  # one model a process: it takes half a second, and memory
def _loaded(model: Path, digest: str | None) -> PiperVoice:
    """The model, after its file was found to be the right one."""
    if digest is not None and digest != _digest(model):
        raise _WrongModelError
    # Newer builds of onnxruntime send figures of use and keep a mark of the machine, from the moment that
    # they are loaded, unless they find this set then (its Privacy.md; seen in 1.32).
    os.environ["ORT_DISABLE_TELEMETRY"] = "1"
    # piper's own loader leaves the number of threads to onnxruntime.
    logging.getLogger("piper").addHandler(logging.NullHandler())  # its warnings are not for coaches
    from onnxruntime import InferenceSession, SessionOptions
    from piper import PiperVoice
    from piper.config import PiperConfig

    options = SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    options.log_severity_level = 4  # fatal only; what fails is raised as well
    config = PiperConfig.from_dict(settings_of(model))
    session = InferenceSession(str(model), options, providers=["CPUExecutionProvider"])
    return PiperVoice(session=session, config=config)


def _digest(path: Path) -> str:
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise VoiceMissingError(f"{path} cannot be read: {error.strerror or error}; check the file") from None


def _joined(sentences: list[NDArray[np.float32]]) -> NDArray[np.float32]:
    """The sentences one after the other; piper gives each its own pause."""
    return np.concatenate([np.atleast_1d(s) for s in sentences]) if sentences else np.zeros(0, np.float32)
