"""Text → raw sound through pyttsx3: eSpeak NG on Linux, the system's own voices on macOS and Windows.

Each phrase is spoken in a process of its own. That keeps our stdout clean, turns an engine that hangs
or crashes into an error, and makes the samples independent of what was spoken before.
"""

from __future__ import annotations

import json
import platform
import subprocess
import sys
from dataclasses import dataclass
from functools import lru_cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import soundfile

from cuetrack.errors import SpeechError, VoiceMissingError
from cuetrack.speech.engines.engine import SAY_OTHERWISE, RawSpeech, Utterance
from cuetrack.speech.engines.pyttsx3_child import MISSING, NO_VOICE
from cuetrack.speech.phrases.wording import quoted
from cuetrack.speech.voices import Voice

_PROGRAM = Path(__file__).with_name("pyttsx3_child.py")


@dataclass(frozen=True, slots=True)
class Pyttsx3Engine:
    """The engine `pyttsx3`, with one voice in one language.

    `program` is the script that speaks one phrase; `timeout_seconds` is far above what a phrase takes
    (about 0.1 s on Linux).
    """

    voice: Voice
    language: str
    program: Path = _PROGRAM
    timeout_seconds: float = 60.0

    def identity(self, utterance: Utterance) -> str:
        """Versions, language, settings, and on macOS and Windows the system and the voice it has set."""
        settings = f"{self.language}, {self.voice.words_per_minute}, {self.voice.pitch}"
        if sys.platform not in {"darwin", "win32"}:
            versions = f"pyttsx3 {_version('pyttsx3')}, espeakng-loader {_version('espeakng-loader')}"
            return f"{versions}, {settings}"
        versions = f"pyttsx3 {_version('pyttsx3')}, {platform.platform()}"
        return f"{versions}, {_voice_id(self)}, {settings}"

    def voice_id(self) -> str:
        """What the engine calls the voice of this machine that would speak."""
        lines = self._answer(None, None).splitlines()
        return lines[-1] if lines else ""

    def spoken(self, utterance: Utterance) -> RawSpeech:
        """The sound of `utterance`; see `Engine.spoken`."""
        text = utterance.said
        try:
            with TemporaryDirectory(prefix="cuetrack-", ignore_cleanup_errors=True) as folder:
                # macOS writes AIFF whatever the name says; soundfile looks at what is inside.
                file = Path(folder) / "phrase.wav"
                self._answer(text, file)
                samples, rate_hz = soundfile.read(file, dtype="float32", always_2d=True)
        except (soundfile.SoundFileError, OSError) as error:
            reason = f"its sound cannot be kept or read: {error}"
            raise _unspoken(text, reason, "make room on the disk, or take another voice") from None
        return RawSpeech(samples.mean(axis=1, dtype=np.float32), rate_hz)

    def _answer(self, text: str | None, file: Path | None) -> str:
        """What the program prints when asked to speak `text` into `file`."""
        request = {
            "language": self.language,
            "words_per_minute": self.voice.words_per_minute,
            "pitch": self.voice.pitch,
            "text": text,
            "file": str(file),
        }
        # -P: a file in the working folder must not stand in for a module of the engine.
        command = [sys.executable, "-P", "-X", "utf8", str(self.program)]
        try:
            done = subprocess.run(
                command,
                input=json.dumps(request).encode("ascii"),
                capture_output=True,
                timeout=self.timeout_seconds,
                check=False,
            )
        except subprocess.TimeoutExpired:
            raise _unspoken(text, f"no answer within {self.timeout_seconds:g} s") from None
        except OSError as error:
            raise _missing(self.voice, str(error)) from None
        if done.returncode == 0:
            return done.stdout.decode("utf-8", errors="replace")
        said = done.stderr.decode("utf-8", errors="replace").strip()
        reason = said.splitlines()[-1] if said else f"it ended with code {done.returncode}"
        if done.returncode == NO_VOICE:
            hint = "add one in the settings of the system, or take another voice"
            raise VoiceMissingError(f"voice {self.voice.name!r}: {reason}; {hint}")
        raise _missing(self.voice, reason) if done.returncode == MISSING else _unspoken(text, reason)


@lru_cache(maxsize=8)  # asking starts a process
def _voice_id(engine: Pyttsx3Engine) -> str:
    return engine.voice_id()


def _version(package: str) -> str:
    try:
        return version(package)
    except PackageNotFoundError:
        hint = f"`python -m pip install {package}` installs it"
        raise VoiceMissingError(f"the speech engine needs {package}; {hint}") from None


def _missing(voice: Voice, reason: str) -> VoiceMissingError:
    packages = "pyttsx3" if sys.platform in {"darwin", "win32"} else "pyttsx3 espeakng-loader"
    return VoiceMissingError(
        f"voice {voice.name!r}: the speech engine cannot start here ({reason}); "
        f"`python -m pip install --force-reinstall {packages}` may repair it"
    )


def _unspoken(text: str | None, reason: str, hint: str = SAY_OTHERWISE) -> SpeechError:
    if text is None:
        return SpeechError(f"the speech engine does not name its voice: {reason}; take another voice")
    return SpeechError(f"the speech engine could not speak {quoted(text)}: {reason}; {hint}")
