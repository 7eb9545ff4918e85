"""What the commands about voices need: an audition, the script of a recording, and what is wrong with one."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from cuetrack.build import DEFAULT_RATE_HZ, Compiled, compile_plan, text_of
from cuetrack.plan.house import DEFAULT_LANGUAGE
from cuetrack.plan.series import Day
from cuetrack.speech.clip_names import file_names_for
from cuetrack.speech.installed import FALLBACK, installed_voice, missing_for
from cuetrack.speech.phrases.language import Style
from cuetrack.speech.speaker import Manner, Speaker
from cuetrack.speech.voices import Voice, load_voice, voice_names
from cuetrack.timeline.cues import CountWord, Wordless

# A counted word has to be over before the next one begins.
_COUNT_ROOM_SECONDS = Fraction(9, 10)


@dataclass(frozen=True, slots=True)
class ScriptLine:
    """One phrase to be recorded, under which file name, and how long it may last (None: any length).

    A `spare` is a terse wording that is said only where the usual one does not fit.
    """

    text: str
    file: str
    room_seconds: Fraction | None
    spare: bool


def listed_voices() -> tuple[tuple[Voice, str | None], ...]:
    """Every voice of this installation, and what it lacks on this machine."""
    return tuple((voice, missing_for(voice)) for voice in map(load_voice, voice_names()))


@dataclass(frozen=True, slots=True)
class Audition:
    """The file that was written, and what is to be told about it."""

    file: Path
    notes: tuple[str, ...]


def audition(name: str, target: Path | None = None, *, text: str | None = None) -> Audition:
    """Writes the voice's sentence of audition, or `text`, to `target`, or to a file named after the voice.

    Raises:
        SpeechError, VoiceMissingError: there is no such voice here.
        UsageError, WriteError: the file cannot be.
    """
    from cuetrack.speech.cache import ClipCache
    from cuetrack.writers.atomic import atomic_files
    from cuetrack.writers.audio import write_audio
    from cuetrack.writers.formats import format_of, programme_rate_hz
    from cuetrack.writers.tags import Tags

    voice = installed_voice(name)
    target = target or Path(f"{voice.name}.wav")
    audio_format = format_of(target)
    rate_hz = programme_rate_hz(audio_format, DEFAULT_RATE_HZ)
    language = DEFAULT_LANGUAGE if voice.speaks(DEFAULT_LANGUAGE) else voice.languages[0]
    cache, notes = ClipCache(), list[str]()
    speaker = Speaker(Manner(voice, language, "full", {}), rate_hz, cache, notes.append)
    samples = speaker.clip(text or voice.audition).samples
    with atomic_files(target) as (path,):
        write_audio(
            path,
            [samples.reshape(-1, 1)],
            rate_hz=rate_hz,
            channels=1,
            frames=len(samples),
            audio_format=audio_format,
            tags=Tags(f"Voice {voice.name}"),
        )
    return Audition(target, (*notes, cache.warning) if cache.warning else tuple(notes))


def script(
    plan: Path, *, level: str | None = None, day: Day | None = None, allow_outside: bool = False
) -> tuple[ScriptLine, ...]:
    """Every phrase that a coach has to record for `plan`, in the order of first use, then the spare ones.

    Raises:
        PlanError: with every mistake in the plan.
    """
    # The words are the same whoever speaks them; the plan's own voice may not be recorded yet.
    known = compile_plan(plan, level=level, voice=FALLBACK, day=day, allow_outside=allow_outside)
    rooms = _rooms(known)
    spares = {text: room for text, room in _rooms(known, "terse").items() if text not in rooms}
    names = file_names_for([*rooms, *spares])
    return tuple(
        ScriptLine(text, names[text], room, spare)
        for phrases, spare in ((rooms, False), (spares, True))
        for text, room in phrases.items()
    )


def _rooms(known: Compiled, style: Style | None = None) -> dict[str, Fraction | None]:
    """By text, the seconds that its narrowest place has; in `style`, of what may be shortened to it."""
    rooms: dict[str, Fraction | None] = {}
    for cue in known.timeline.cues:
        if isinstance(cue, Wordless) or (style and (isinstance(cue, CountWord) or cue.gives_way)):
            continue
        if not (text := text_of(known, cue.phrase, style)):
            continue
        if isinstance(cue, CountWord):
            room = _COUNT_ROOM_SECONDS if cue.phrase.key == "number" else None
        else:
            room = (cue.window.latest_end - cue.window.earliest).seconds
        narrowest = rooms.get(text)
        rooms[text] = room if narrowest is None else min(narrowest, room or narrowest)
    return rooms
