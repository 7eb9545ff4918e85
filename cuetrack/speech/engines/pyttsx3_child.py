"""One phrase spoken by pyttsx3, run as a program of its own: a request on stdin → a sound file.

The request is JSON: `{"language", "words_per_minute", "pitch", "text", "file"}`. Without a text the id of
the voice that would speak is printed, as the last line of stdout. Exit codes: 0 done, 3 the engine cannot
start here, 4 it has no voice for the language, 1 it could not speak; the last line of stderr says why.

It ends after one phrase because eSpeak NG keeps state between phrases: the second one in a process
has other samples than the same phrase alone.
"""

from __future__ import annotations

import json
import sys
from typing import Any

MISSING = 3
NO_VOICE = 4
_FAILED = 1
_OWN_VOICES = frozenset({"darwin", "win32"})


def main() -> int:
    """Do what the request says."""
    request = json.load(sys.stdin)
    try:
        engine = _started_engine()
    except Exception as error:  # whatever keeps the engine from starting is for the parent to tell
        return _refuse(MISSING, error)
    try:
        voice_id = _voice_id(engine, request["language"])
        if request["text"] is None:
            sys.stdout.write(f"{voice_id}\n")
        else:
            _speak(engine, voice_id, request)
    except NoVoiceError as error:
        return _refuse(NO_VOICE, error)
    except Exception as error:  # likewise
        return _refuse(_FAILED, error)
    return 0


def _started_engine() -> Any:
    if sys.platform in _OWN_VOICES:
        import pyttsx3

        return pyttsx3.init()
    _load_espeak()
    import pyttsx3
    from pyttsx3.drivers import _espeak

    engine = pyttsx3.init()
    # The first settings are still on their way to eSpeak NG's thread; none may overtake them.
    _espeak.Synchronize()
    return engine


def _load_espeak() -> None:
    """Put the packaged eSpeak NG where pyttsx3 will find it by its name."""
    import ctypes
    import os

    import espeakng_loader

    os.environ["ESPEAK_DATA_PATH"] = espeakng_loader.get_data_path()
    ctypes.CDLL(espeakng_loader.get_library_path(), mode=ctypes.RTLD_GLOBAL)


class NoVoiceError(Exception):
    """No voice of this machine speaks the language."""


def _voice_id(engine: Any, language: str) -> str:
    """The machine's default voice if it speaks `language`, else the first that does.

    Where the engine tells no languages at all, the default has to do.
    """
    default = str(engine.getProperty("voice"))
    wanted = _tag(language)
    told = [
        (tag, str(voice.id))
        for voice in engine.getProperty("voices")
        for tag in map(_tag, voice.languages or ())
    ]
    speaking = [
        (tag != wanted, tag != f"{wanted}-{wanted}", tag not in _tag(voice_id), voice_id)
        for tag, voice_id in told
        if f"{tag}-".startswith(f"{wanted}-")
    ]
    if told and not speaking:
        raise NoVoiceError(f"no voice of this machine speaks the language {language!r}")
    if not told or any(voice_id == default for *_, voice_id in speaking):
        return default
    # French is first that of France (fr-FR) and then that of Belgium. A system may list toy voices first;
    # ordinary ones tend to carry their language in their id.
    return min(speaking, key=lambda voice: voice[:3])[-1]


def _tag(language: object) -> str:
    return str(language).replace("_", "-").casefold()


def _speak(engine: Any, voice_id: str, request: Any) -> None:
    errors: list[object] = []
    engine.connect("error", lambda exception, **_: errors.append(exception))
    if voice_id != engine.getProperty("voice"):
        engine.setProperty("voice", voice_id)
    if request["words_per_minute"] is not None:
        engine.setProperty("rate", request["words_per_minute"])
    if request["pitch"] is not None and sys.platform not in _OWN_VOICES:
        engine.setProperty("pitch", request["pitch"])  # the other engines of pyttsx3 have none
    engine.save_to_file(request["text"], request["file"])
    if sys.platform in _OWN_VOICES:
        engine.runAndWait()
    else:
        # runAndWait asks eSpeak NG to stop before it has begun, and a setting that is still on its
        # way is then lost, now and then. This loop ends by itself when the file is written.
        engine.startLoop()
    if errors:
        raise RuntimeError(str(errors[0]))


def _refuse(code: int, error: Exception) -> int:
    reason = " ".join(str(error).split())
    sys.stderr.write(f"{type(error).__name__}: {reason}\n")
    return code


if __name__ == "__main__":
    sys.exit(main())
