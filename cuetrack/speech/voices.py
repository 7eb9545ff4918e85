"""A voice's name, or a path → its settings; reads no sound and loads no numpy.

The voices of this installation are files `voices/NAME.yaml`, inside the installed package or at the
top of a checkout. A path leads to another voice file, to a piper model with its `.onnx.json` beside
it, or to a folder of recorded clips.
"""

from __future__ import annotations

import json
import os
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field

import cuetrack
from cuetrack.document.beside import followed
from cuetrack.document.located import LocatedMap, Report
from cuetrack.document.model import Node, read_document, refused
from cuetrack.document.source import read_source
from cuetrack.errors import (
    Diagnostic,
    NamedFileError,
    PlanError,
    SpeechError,
    VoiceMissingError,
    did_you_mean,
)
from cuetrack.speech.phrases.language import primary_subtag
from cuetrack.speech.phrases.wording import LANGUAGES, phrase_text

ANY_LANGUAGE = "*"
SPEECH_LOUDNESS_LUFS = -18.0  # AES TD1008 for speech
PEAK_CEILING_DBFS = -3.0  # of each clip; common practice, no source

# What pyttsx3 sets where a voice names no pace.
_OWN_WORDS_PER_MINUTE = 200

# The shape of a BCP 47 tag, language and region: en, en-GB.
_LANGUAGE_TAG = re.compile(r"[A-Za-z]{2,3}(-[A-Za-z0-9]{2,8})*")
_LOUDNESS = re.compile(r"(-?\d+(?:\.\d+)?) ?LUFS")
_SOFTEST_LUFS, _LOUDEST_LUFS = -30.0, -14.0
# Such as en, es-419, cmn-latn-pinyin.
_ESPEAK_VOICE = re.compile(r"[A-Za-z0-9_-]{2,40}")
_MOST_SETTINGS_BYTES = 1_000_000  # those of a model take some thousand
_SHA256 = re.compile(r"[0-9a-f]{64}")

EngineName = Literal["pyttsx3", "piper", "recorded"]

# Which settings an engine has, beside those of every voice; those it cannot do without come first.
_NEEDED: Mapping[str, tuple[str, ...]] = {"pyttsx3": (), "piper": ("model",), "recorded": ("folder",)}
_POSSIBLE: Mapping[str, tuple[str, ...]] = {
    "pyttsx3": ("words per minute", "pitch"),
    "piper": ("package", "sha256", "words per minute", "natural words per minute"),
    "recorded": ("words per minute", "fallback"),
}


@dataclass(frozen=True, slots=True)
class Voice:
    """Who speaks, and how. What an engine has no use for is None.

    Attributes:
        languages: tags of what it speaks; ("*",) is every language that its engine has.
        words_per_minute: the pace, on eSpeak NG's scale; None for the engine's own.
        natural_words_per_minute: piper: the pace of the model at its length scale 1.
        pitch: pyttsx3 with eSpeak NG: 0 to 99, its middle is 50.
        loudness_lufs: what each phrase is brought to, played on both front channels.
        model: piper: the model file; inside `package` if that is named, else an absolute path.
        sha256: piper: what the model file has to be.
        folder: recorded: where the clips lie.
        fallback: recorded: the voice for phrases without a clip; None for the default voice.
        within: the folder that nothing it leads to may lie outside of; None for a voice that is trusted.
    """

    name: str
    description: str
    engine: EngineName
    languages: tuple[str, ...]
    words_per_minute: int | None
    licence: str
    origin: str
    audition: str
    loudness_lufs: float = SPEECH_LOUDNESS_LUFS
    pitch: int | None = None
    natural_words_per_minute: int | None = None
    package: str | None = None
    model: str | None = None
    sha256: str | None = None
    folder: Path | None = None
    fallback: str | None = None
    within: Path | None = None

    @property
    def expected_words_per_minute(self) -> int:
        """The pace to estimate lengths with."""
        return self.words_per_minute or self.natural_words_per_minute or _OWN_WORDS_PER_MINUTE

    def speaks(self, language: str) -> bool:
        """Whether it speaks `language`; the region does not matter."""
        wanted = primary_subtag(language)
        return any(tag == ANY_LANGUAGE or primary_subtag(tag) == wanted for tag in self.languages)


def refuse_language(voice: Voice, language: str) -> None:
    """Raise `SpeechError` if `voice` does not speak `language`."""
    if not voice.speaks(language):
        spoken = ", ".join(voice.languages)
        raise SpeechError(
            f"voice {voice.name!r} speaks {spoken}, not {language}; "
            "take another voice, such as 'system', or a language that it speaks"
        )


def _language_tag(text: str) -> str:
    if not _LANGUAGE_TAG.fullmatch(text):
        raise refused(f"{text!r} is no language", "write a tag such as en or en-GB")
    return text


def _languages(value: Any) -> Any:
    return () if value == "any" else value


def _loudness_lufs(value: Any) -> float:
    found = _LOUDNESS.fullmatch(str(value))
    if not found or not _SOFTEST_LUFS <= float(found[1]) <= _LOUDEST_LUFS:
        allowed = f"from {_SOFTEST_LUFS:g} LUFS to {_LOUDEST_LUFS:g} LUFS"
        raise refused(f"{str(value)!r} is no loudness of speech", f"write one {allowed}, such as -18 LUFS")
    return float(found[1])


def _sha256_hex(text: str) -> str:
    if not _SHA256.fullmatch(text.casefold()):
        raise refused(f"{text!r} is no SHA-256 digest", "write its 64 hexadecimal digits")
    return text.casefold()


def _package_name(text: str) -> str:
    # To look for `a.b`, Python runs what is in `a`.
    if not text.isidentifier():
        raise refused(f"{text!r} is no name of a package", "write one name without dots, as in `import NAME`")
    return text


class VoiceFile(Node):
    """The text form of a voice."""

    name: str
    description: str
    engine: EngineName
    languages: Annotated[
        tuple[Annotated[str, AfterValidator(_language_tag)], ...], BeforeValidator(_languages)
    ]
    # Below 80 eSpeak NG goes no slower; above 300 hardly anybody follows (from memory).
    words_per_minute: int | None = Field(None, alias="words per minute", ge=80, le=300)
    loudness: Annotated[float, BeforeValidator(_loudness_lufs)] = SPEECH_LOUDNESS_LUFS
    pitch: int | None = Field(None, ge=0, le=99)
    natural_words_per_minute: int | None = Field(None, alias="natural words per minute", ge=80, le=400)
    package: Annotated[str, AfterValidator(_package_name)] | None = None
    model: str | None = None
    sha256: Annotated[str, AfterValidator(_sha256_hex)] | None = None
    folder: str | None = None
    fallback: str | None = None
    licence: str
    origin: str
    audition: str

    @classmethod
    def prepared(cls, data: LocatedMap, report: Report) -> LocatedMap:
        """`data` without the settings of other engines, which are reported."""
        engine = data.get("engine")
        if not isinstance(engine, str) or engine not in _POSSIBLE:
            return data  # reported by the field itself
        needed, own = _NEEDED[engine], (*_NEEDED[engine], *_POSSIBLE[engine])
        if engine == "piper" and "words per minute" in data:
            needed = (*needed, "natural words per minute")
        for key in needed:
            if key not in data:
                hint = f"the engine {engine!r} needs a line `{key}: …`"
                report(Diagnostic("error", f"{key!r} is missing", data.place, hint))
        every = {key for keys in (*_NEEDED.values(), *_POSSIBLE.values()) for key in keys}
        for key in data:
            if key in every and key not in own:
                message = f"{key!r} is no setting of the engine {engine!r}"
                report(Diagnostic("error", message, data.key_places[key], f"it has: {', '.join(own)}"))
        return data


def voices_folder() -> Path:
    """Where the voice files of this installation lie."""
    package = Path(cuetrack.__file__).resolve().parent
    installed = package / "voices"
    return installed if installed.is_dir() else package.parent / "voices"


def voice_names() -> tuple[str, ...]:
    """The names of all voices, sorted."""
    return tuple(sorted(path.stem for path in voices_folder().glob("*.yaml")))


def load_voice(name: str) -> Voice:
    """The voice called `name`, whether or not this machine can speak with it.

    Raises:
        SpeechError: there is no such voice.
        PlanError: its file has mistakes; names each with its line.
    """
    names = voice_names()
    if name not in names:
        hint = "a path begins with ./ or ends with .yaml or .onnx"
        raise SpeechError(f"there is no voice {name!r}; {did_you_mean(name, names)} ({hint})")
    return read_voice(voices_folder() / f"{name}.yaml")


def is_path(text: str) -> bool:
    """Whether `text` names a voice by where it lies: it has a separator or a voice's file ending, or is `.`.

    >>> is_path("clear"), is_path("./clips"), is_path("quay.yaml"), is_path(".")
    (False, True, True, True)
    """
    separators = {"/", os.sep, os.altsep or "/"}
    dots = text in {os.curdir, os.pardir}
    return dots or any(mark in text for mark in separators) or text.endswith((".yaml", ".yml", ".onnx"))


def find_voice(text: str, beside: Path = Path(), *, within: Path | None = None) -> Voice:
    """The voice that `text` names or leads to.

    Args:
        text: a name, or the path of a voice file, of a piper model or of a folder of clips.
        beside: the folder that a path starts from: that of the plan, or the working folder.
        within: the folder in which all has to lie that a path leads to, links followed; None for anywhere.

    Raises:
        SpeechError: there is no such voice.
        NamedFileError: a path leads out of `within`, or cannot be.
        VoiceMissingError: a path leads nowhere.
        PlanError: the voice file has mistakes.
    """
    if not is_path(text):
        return load_voice(text)
    path = beside / Path(os.path.expanduser(text))  # noqa: PTH111 -- Path's own fails for an unknown user
    found = followed(text, path, within)
    if found.is_dir():
        return _folder_voice(path)
    if not found.exists():
        # What a terminal would not show, or act on, is shown as escapes.
        at = str(path) if str(path).isprintable() else repr(str(path))
        raise VoiceMissingError(f"there is no voice at {at}; check the path")
    return _model_voice(path, within) if path.suffix == ".onnx" else read_voice(path, within)


def read_voice(path: Path, within: Path | None = None) -> Voice:
    """The voice in the file at `path`, which has to be named after it.

    Raises:
        PlanError: the file has mistakes; names each with its line.
    """
    file = read_document(read_source(path), VoiceFile)
    if file.name != path.stem:
        message = f"voice {file.name!r} lies in a file named {path.name!r}"
        hint = f"name the file {file.name}.yaml, or the voice {path.stem}"
        raise PlanError([Diagnostic("error", message, file.place_of("name"), hint)])
    if file.package and _climbs(file.model or ""):
        message = f"{file.model!r} leads out of the package {file.package!r}"
        raise PlanError([Diagnostic("error", message, file.place_of("model"), "write a path inside it")])
    settings = file.model_dump(by_alias=False)
    settings["languages"] = file.languages or (ANY_LANGUAGE,)
    settings["loudness_lufs"] = settings.pop("loudness")
    settings["within"] = within
    home = path.resolve().parent
    if file.model and not file.package:
        model = home / file.model
        for part in (model, settings_beside(model)):
            _refuse_outside(file, "model", part, within)
        settings["model"] = str(model)
    if file.folder:
        settings["folder"] = home / file.folder
        _refuse_outside(file, "folder", home / file.folder, within)
    if file.fallback and is_path(file.fallback):
        settings["fallback"] = str(home / file.fallback)
        _refuse_outside(file, "fallback", home / file.fallback, within)
    return Voice(**settings)


def _refuse_outside(file: VoiceFile, key: str, path: Path, within: Path | None) -> None:
    """Raises `PlanError` at `key` if `path`, to which that leads, lies outside of `within`."""
    try:
        followed(getattr(file, key), path, within)
    except NamedFileError as error:
        raise PlanError([Diagnostic("error", str(error), file.place_of(key), error.hint)]) from None


def _climbs(inside: str) -> bool:
    path = PurePosixPath(inside.replace("\\", "/"))
    return path.is_absolute() or ".." in path.parts or ":" in inside


GET_MODEL_AGAIN = "get the model and its .onnx.json again, and put both into one folder"
_UNTOLD = "Nobody has written it down here."


def _folder_voice(path: Path) -> Voice:
    return Voice(
        name=path.resolve().name,
        description=f"Recorded clips in {path}.",
        engine="recorded",
        languages=(ANY_LANGUAGE,),
        words_per_minute=None,
        licence=_UNTOLD,
        origin="Recorded clips.",
        audition=_audition("en"),
        folder=path.resolve(),
    )


def _model_voice(path: Path, within: Path | None) -> Voice:
    followed(settings_beside(path).name, settings_beside(path), within)
    language = _model_language(path)
    return Voice(
        name=path.stem,
        description=f"The piper model {path}.",
        engine="piper",
        languages=(language,),
        words_per_minute=None,
        licence=_UNTOLD,
        origin=f"The piper model {path.name}.",
        audition=_audition(language),
        model=str(path.absolute()),  # a link keeps its name, by which its settings are found
    )


def _audition(language: str) -> str:
    """What a voice without a sentence of its own says: a call and a count in its language."""
    if primary_subtag(language) not in LANGUAGES:
        return "5, 4, 3, 2, 1."  # which every engine can read out
    count = ", ".join(phrase_text("number", {"n": str(number)}, language) for number in (5, 4, 3, 2, 1))
    return f"{phrase_text('change-sides', {'side': 'left'}, language)} {count}."


def settings_beside(model: Path) -> Path:
    """Where the settings of a piper model lie."""
    return model.with_name(f"{model.name}.json")


def settings_of(model: Path) -> Any:
    """The settings beside a piper model, as JSON has them.

    Raises:
        OSError, ValueError, RecursionError: they are not there, no ordinary file, too large, or no JSON.
    """
    beside = settings_beside(model)
    # A pipe or a device would be read for ever.
    if beside.exists() and not beside.is_file():
        raise ValueError("it is no ordinary file")
    with beside.open("rb") as file:
        text = file.read(_MOST_SETTINGS_BYTES + 1)
    if len(text) > _MOST_SETTINGS_BYTES:
        raise ValueError(f"the settings have more than {_MOST_SETTINGS_BYTES:,} bytes")
    return json.loads(text)


def _model_language(model: Path) -> str:
    """The language that a piper model names in the settings beside it."""
    beside = settings_beside(model)
    try:
        spoken = str(settings_of(model)["espeak"]["voice"])
        if not _ESPEAK_VOICE.fullmatch(spoken):
            raise ValueError("what it calls a voice of eSpeak is none")
    except FileNotFoundError:
        raise VoiceMissingError(
            f"{model.name} needs its settings {beside.name} beside it; put both into one folder"
        ) from None
    except (OSError, ValueError, KeyError, TypeError, RecursionError) as error:
        reason = " ".join(str(error).split())
        raise VoiceMissingError(
            f"{beside} cannot be read as the settings of a piper model: {reason}; {GET_MODEL_AGAIN}"
        ) from None
    return spoken
