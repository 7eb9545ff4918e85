"""A voice's name → its settings, read from `voices/NAME.yaml`; reads no sound and loads no numpy.

The folder lies inside the installed package, or at the top of a checkout.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

from pydantic import AfterValidator, Field

import cuetrack
from cuetrack.document.model import Node, read_document, refused
from cuetrack.document.source import read_source
from cuetrack.errors import Diagnostic, PlanError, SpeechError, did_you_mean

# What pyttsx3 sets where a voice names no pace.
_OWN_WORDS_PER_MINUTE = 200

# The shape of a BCP 47 tag, language and region: en, en-GB.
_LANGUAGE_TAG = re.compile(r"[A-Za-z]{2,3}(-[A-Za-z0-9]{2,8})*")

EngineName = Literal["pyttsx3"]


@dataclass(frozen=True, slots=True)
class Voice:
    """Who speaks, and how.

    `words_per_minute` is None where the engine's own pace is wanted.
    """

    name: str
    description: str
    engine: EngineName
    language: str
    words_per_minute: int | None
    licence: str
    origin: str
    audition: str

    @property
    def expected_words_per_minute(self) -> int:
        """The pace to estimate lengths with."""
        return self.words_per_minute or _OWN_WORDS_PER_MINUTE


def _language_tag(text: str) -> str:
    if not _LANGUAGE_TAG.fullmatch(text):
        raise refused(f"{text!r} is no language", "write a tag such as en or en-GB")
    return text


class VoiceFile(Node):
    """The text form of a voice."""

    name: str
    description: str
    engine: EngineName
    language: Annotated[str, AfterValidator(_language_tag)]
    # Below 80 eSpeak NG goes no slower; above 300 hardly anybody follows (from memory).
    words_per_minute: int | None = Field(default=None, alias="words per minute", ge=80, le=300)
    licence: str
    origin: str
    audition: str


def voices_folder() -> Path:
    """Where the voice files of this installation lie."""
    package = Path(cuetrack.__file__).resolve().parent
    installed = package / "voices"
    return installed if installed.is_dir() else package.parent / "voices"


def voice_names() -> tuple[str, ...]:
    """The names of all voices, sorted."""
    return tuple(sorted(path.stem for path in voices_folder().glob("*.yaml")))


def load_voice(name: str) -> Voice:
    """The voice called `name`.

    Raises:
        SpeechError: there is no such voice.
        PlanError: its file has mistakes; names each with its line.
    """
    names = voice_names()
    if name not in names:
        raise SpeechError(f"there is no voice {name!r}; {did_you_mean(name, names)}")
    return read_voice(voices_folder() / f"{name}.yaml")


def read_voice(path: Path) -> Voice:
    """The voice in the file at `path`, which has to be named after it.

    Raises:
        PlanError: the file has mistakes; names each with its line.
    """
    file = read_document(read_source(path), VoiceFile)
    if file.name != path.stem:
        message = f"voice {file.name!r} lies in a file named {path.name!r}"
        hint = f"name the file {file.name}.yaml, or the voice {path.stem}"
        raise PlanError([Diagnostic("error", message, file.place_of("name"), hint)])
    return Voice(**file.model_dump(by_alias=False))
