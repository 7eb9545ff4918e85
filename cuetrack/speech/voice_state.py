"""A voice → a digest of all on this machine that decides how it sounds, without starting what speaks.

By it a batch knows that what was spoken is still what would be spoken. What the system's own voice is made
of is known by the versions of what calls it only.
"""

from __future__ import annotations

import platform
import sys
from collections.abc import Iterable, Iterator, Mapping
from hashlib import sha256
from importlib.metadata import PackageNotFoundError, metadata
from pathlib import Path

from cuetrack.errors import CuetrackError
from cuetrack.speech.installed import default_voice, model_file
from cuetrack.speech.voices import EngineName, Voice, find_voice, settings_beside

_PACKAGES: Mapping[EngineName, tuple[str, ...]] = {
    "piper": ("piper-tts", "onnxruntime"),
    "pyttsx3": ("pyttsx3", "espeakng-loader"),
    "recorded": ("soundfile",),
}


def voice_state(voice: Voice, language: str) -> str:
    """The digest, 64 hexadecimal digits, of `voice` as it speaks `language`."""
    return sha256("\n".join(_facts(voice, language)).encode("utf-8", "backslashreplace")).hexdigest()


def _facts(voice: Voice, language: str) -> Iterator[str]:
    yield repr((voice.name, voice.engine, voice.languages, voice.words_per_minute, voice.loudness_lufs))
    yield repr((voice.pitch, voice.natural_words_per_minute, voice.package, voice.sha256, voice.fallback))
    yield from versions_of(_PACKAGES[voice.engine])
    match voice.engine:
        case "piper":
            if (model := model_file(voice)) is not None:
                yield from (_known(model), _known(settings_beside(model)))
        case "recorded":
            yield from _clips(voice.folder)
            yield from _facts_of_fallback(voice, language)
        case "pyttsx3":
            # On Linux the engine comes along; elsewhere it is the system's.
            yield "" if sys.platform.startswith("linux") else platform.platform()


def _facts_of_fallback(voice: Voice, language: str) -> Iterator[str]:
    """Who says what there is no clip of; that nobody can is no fault while there is a clip of everything."""
    try:
        other = (
            find_voice(voice.fallback, within=voice.within) if voice.fallback else default_voice(language)[0]
        )
    except CuetrackError:
        yield f"no {voice.fallback}"
        return
    if other.engine != "recorded":
        yield from _facts(other, language)


def versions_of(packages: Iterable[str]) -> Iterator[str]:
    """Name and version of each package, or that it is not on this machine or does not tell it."""
    for package in packages:
        try:
            # `version` is at odds with itself, from one Python to the next, where it cannot be read.
            told = metadata(package).get_all("Version")
        except PackageNotFoundError:
            told = None
        yield f"{package} {told[0]}" if told else f"no {package}"


def _clips(folder: Path | None) -> Iterator[str]:
    """The files among which clips are looked for; tracks in a folder below are made and change nothing."""
    from cuetrack.speech.clip_folder import ClipFolder  # here, because it loads numpy

    if folder is not None and folder.is_dir():
        yield from map(_known, ClipFolder.at(folder).files)


def _known(file: Path) -> str:
    """A file by its name, size and time of change; models are too large to be read each time."""
    try:
        found = file.stat()
    except OSError:
        return f"no {file.name}"
    return f"{file.name} {found.st_size} {found.st_mtime_ns}"
