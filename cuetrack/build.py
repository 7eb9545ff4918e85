"""The whole way, in one place: plan file → timeline → speech → arrangement → mix → files.

Every command calls one function here; what is computed is computed in the rooms.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from cuetrack.conform.arrangement import Arrangement
from cuetrack.conform.fit import Shortening, arranged
from cuetrack.conform.fits import Fit, tightest_fits
from cuetrack.errors import Diagnostic, PlanError, SpeechError, UsageError, did_you_mean
from cuetrack.plan.model import Session
from cuetrack.plan.text import read_plan
from cuetrack.sound.tone_table import UNDER_WORDS_DB
from cuetrack.speech.installed import default_voice
from cuetrack.speech.length import SpokenLength
from cuetrack.speech.phrases.language import Style
from cuetrack.speech.phrases.wording import LANGUAGES
from cuetrack.speech.speaker import Estimator, Manner, Speaker
from cuetrack.speech.voices import Voice, find_voice, is_path, voice_names
from cuetrack.timebase import Duration, Instant, clock_text, duration_text, frame_seconds
from cuetrack.timeline.compile import Timeline, compiled
from cuetrack.timeline.cues import Phrase, Wordless
from cuetrack.timeline.totals import Totals, totals_by_part, totals_of

if TYPE_CHECKING:
    from cuetrack.mix.blocks import Samples
    from cuetrack.mix.peak import Peak

DEFAULT_LANGUAGE = "en"
DEFAULT_RATE_HZ = 48_000

# Progress of a long task: the stage it is in, how much is done, and of how much.
Progress = Callable[[str, int, int], None]


@dataclass(frozen=True, slots=True)
class Compiled:
    """A plan without a mistake: its timeline, how it is spoken, and what its coach may want to know."""

    timeline: Timeline
    manner: Manner
    warnings: tuple[Diagnostic, ...]


@dataclass(frozen=True, slots=True)
class Checked:
    """What a plan comes to; `tightest` is empty where no speech was measured."""

    session: str
    parts: tuple[Totals, ...]
    whole: Totals
    tightest: tuple[Fit, ...]
    warnings: tuple[Diagnostic, ...]


@dataclass(frozen=True, slots=True)
class Rendered:
    """What a render wrote."""

    files: tuple[Path, ...]
    arrangement: Arrangement
    warnings: tuple[Diagnostic, ...]


def compile_plan(plan: Path, *, level: str | None = None, voice: str | None = None) -> Compiled:
    """The timeline of the plan file, with `level` and `voice` in place of the plan's own if given.

    Raises:
        PlanError: with every mistake in the plan.
    """
    session = read_plan(plan)
    if level is not None:
        session = session.model_copy(update={"level": level})
    faults: list[Diagnostic] = []
    timeline, manner, note = None, None, None
    try:
        timeline = compiled(session)
    except PlanError as error:
        faults += error.diagnostics
    try:
        language = _language(session)
        chosen, note = _voice(session, voice, language, plan.parent)
        manner = Manner(chosen, language, session.style, session.lexicon or {})
    except PlanError as error:
        faults += error.diagnostics
    if timeline is None or manner is None:
        raise PlanError(faults)
    warnings = [Diagnostic("warning", note)] if note else []
    warnings += (*_unkept_promises(timeline), *_not_yet_done(session))
    known = Compiled(timeline, manner, tuple(warnings))
    _refuse_unspeakable(known)
    return known


def _refuse_unspeakable(known: Compiled) -> None:
    """Raises `PlanError` naming every cue whose words no voice could speak."""
    faults: dict[str, Diagnostic] = {}
    for cue in known.timeline.cues:
        if isinstance(cue, Wordless) or not (text := text_of(known, cue.phrase)) or text in faults:
            continue
        try:
            known.manner.said(text)
        except SpeechError as error:
            faults[text] = Diagnostic("error", str(error), cue.place)
    if faults:
        raise PlanError(faults.values())


def check(
    plan: Path, *, level: str | None = None, with_voice: bool = False, progress: Progress | None = None
) -> Checked:
    """The totals of a plan and everything that can be found in it.

    Without a voice the lengths of phrases are estimated; with it they are measured, and the tightest
    fits are told.

    Raises:
        PlanError: with every mistake in the plan; with a voice also for what does not fit.
        SpeechError: the voice cannot speak.
    """
    known = compile_plan(plan, level=level)
    phases, notes = known.timeline.phases, list[Diagnostic]()
    if with_voice:
        speaker = _speaker(known, DEFAULT_RATE_HZ, notes, progress or _silent)
        arrangement = _arranged(known, speaker.length, DEFAULT_RATE_HZ)
    else:
        arrangement = likely_arrangement(known, DEFAULT_RATE_HZ)
    warnings = (*known.warnings, *arrangement.warnings, *notes)
    name = known.timeline.session.session
    fits = tightest_fits(arrangement) if with_voice else ()
    return Checked(name, totals_by_part(phases), totals_of(name, phases), fits, warnings)


def _silent(stage: str, done: int, of: int) -> None:
    """Nobody is told."""


def _speaker(known: Compiled, rate_hz: int, notes: list[Diagnostic], tell: Progress) -> Speaker:
    """Everything that the plan says, spoken."""
    from cuetrack.speech.cache import ClipCache

    cache = ClipCache()
    speaker = Speaker(known.manner, rate_hz, cache, lambda text: notes.append(Diagnostic("warning", text)))
    speaker.speak(spoken_texts(known), progress=lambda done, of: tell("speaking", done, of))
    if cache.warning:
        notes.append(Diagnostic("warning", cache.warning))
    return speaker


def likely_arrangement(known: Compiled, rate_hz: int) -> Arrangement:
    """Where the cues will lie, by the estimated lengths of their texts; needs no voice."""
    return _arranged(known, Estimator(known.manner, rate_hz).length, rate_hz, estimated=True)


def spoken_texts(known: Compiled) -> tuple[str, ...]:
    """Each distinct text that the session speaks, in the order of first use."""
    cues = (cue for cue in known.timeline.cues if not isinstance(cue, Wordless))
    return tuple(dict.fromkeys(text for cue in cues if (text := text_of(known, cue.phrase))))


def text_of(known: Compiled, phrase: Phrase, style: Style | None = None) -> str:
    """What is said for `phrase`, in the plan's language, and its style or another."""
    return known.manner.text(phrase.key, phrase.slots, phrase.turn, style)


def _arranged(
    known: Compiled,
    length: Callable[[str, Fraction], SpokenLength],
    rate_hz: int,
    *,
    estimated: bool = False,
) -> Arrangement:
    shortening = Shortening(lambda phrase: text_of(known, phrase, "terse"), length)
    lengths = {text: length(text, Fraction(1)) for text in spoken_texts(known)}
    return arranged(
        known.timeline,
        lambda phrase: text_of(known, phrase),
        lengths,
        rate_hz,
        shortening=shortening,
        estimated=estimated,
    )


def render(
    plan: Path,
    target: Path,
    *,
    rate_hz: int = DEFAULT_RATE_HZ,
    channels: int = 2,
    level: str | None = None,
    voice: str | None = None,
    progress: Progress | None = None,
) -> Rendered:
    """Writes the cue track of `plan` to `target` and NAME.timeline.json beside it.

    The ending of `target` picks the format. Both files appear whole, at the end, or not at all.

    Raises:
        PlanError: mistakes in the plan, or speech that does not fit.
        SpeechError: a phrase cannot be spoken, or the voice is not on this machine.
        UsageError: an ending, a rate or a target that cannot be.
        WriteError: a file cannot be written.
    """
    # Arrays and codecs are loaded only where sound is made: checking a plan stays quick.
    from cuetrack.mix.blocks import mixed_blocks
    from cuetrack.mix.peak import PeakMeter
    from cuetrack.writers.atomic import atomic_files
    from cuetrack.writers.audio import write_audio
    from cuetrack.writers.formats import format_of, known_bytes, programme_rate_hz, rate_note
    from cuetrack.writers.timeline_json import timeline_text

    audio_format = format_of(target)
    note = rate_note(audio_format, rate_hz)
    rate_hz = programme_rate_hz(audio_format, rate_hz)
    beside = target.with_suffix(".timeline.json")
    _refuse_own_plan(plan, target, beside)
    tell = progress or _silent
    tell("reading the plan", 0, 1)
    known, notes = compile_plan(plan, level=level, voice=voice), list[Diagnostic]()
    arrangement, sounds = sounded(known, rate_hz, notes, tell)
    meter, frames = PeakMeter(), arrangement.frames
    with atomic_files(target, beside, needed_bytes=known_bytes(audio_format, frames, channels)) as paths:
        write_audio(
            paths[0],
            meter.watched(mixed_blocks(arrangement, sounds)),
            rate_hz=rate_hz,
            channels=channels,
            frames=frames,
            audio_format=audio_format,
            title=known.timeline.session.session,
            progress=lambda done: tell("mixing and writing", done, frames),
        )
        paths[1].write_text(timeline_text(arrangement), encoding="utf-8")
    if note:
        notes.append(Diagnostic("warning", note))
    if meter.peak.frames_over:
        notes.append(_too_loud(meter.peak, rate_hz))
    return Rendered((target, beside), arrangement, (*known.warnings, *arrangement.warnings, *notes))


def sounded(
    known: Compiled, rate_hz: int, notes: list[Diagnostic] | None = None, tell: Progress = _silent
) -> tuple[Arrangement, dict[str, Samples]]:
    """Where every sound of a plan lies, and its samples by its key; `notes` gets what is to be told.

    Raises:
        ConformError: speech that does not fit.
        SpeechError: a phrase cannot be spoken, or the voice is not on this machine.
    """
    from cuetrack.sound.tones import tone_samples

    speaker = _speaker(known, rate_hz, [] if notes is None else notes, tell)
    arrangement = _arranged(known, speaker.length, rate_hz)
    sounds = {}
    for placed in arrangement.placed:
        if placed.text is not None:
            sounds[placed.sound] = speaker.clip(placed.text, placed.tempo).samples
        elif placed.tone is not None and placed.sound not in sounds:
            gain_db = UNDER_WORDS_DB if placed.under_words else 0.0
            sounds[placed.sound] = tone_samples(placed.tone, rate_hz, gain_db=gain_db)
    return arrangement, sounds


def _too_loud(peak: Peak, rate_hz: int) -> Diagnostic:
    first = Instant(frame_seconds(peak.first_over_frame or 0, rate_hz))
    message = (
        f"{peak.frames_over} samples pass full scale and are cut off, the first at {clock_text(first, 1)}"
    )
    return Diagnostic("warning", message, hint="fewer tones at the same instant")


def _refuse_own_plan(plan: Path, *targets: Path) -> None:
    """A render must never replace the plan it was made from."""
    for target in targets:
        if target.exists() and plan.exists() and target.samefile(plan):
            raise UsageError(f"{target} is the plan itself; give the track another name with -o NAME.mp3")


def _language(session: Session) -> str:
    language = session.language or DEFAULT_LANGUAGE
    if language not in LANGUAGES:
        hint = did_you_mean(language, LANGUAGES)
        message = f"there are no phrases in the language {language!r}"
        raise PlanError([Diagnostic("error", message, session.place_of("language"), hint)])
    return language


def _voice(session: Session, override: str | None, language: str, beside: Path) -> tuple[Voice, str | None]:
    """Who speaks, and a note about it; a path in the plan starts from the plan's folder, `beside`."""
    text = override or session.voice
    if text is None:
        return default_voice(language)
    names = voice_names()
    if override is not None and (is_path(text) or text in names):
        return find_voice(text, Path()), None
    if is_path(text) or text in names:
        try:
            return find_voice(text, beside), None
        except SpeechError as error:
            raise type(error)(f"{session.place_of('voice')}: {error}") from None
    message, hint = f"there is no voice {text!r}", did_you_mean(text, names)
    if override is not None:
        raise UsageError(f"{message}; {hint}")
    raise PlanError([Diagnostic("error", message, session.place_of("voice"), hint)])


def _unkept_promises(timeline: Timeline) -> Iterator[Diagnostic]:
    """Whether the session comes to the length that was promised."""
    session = timeline.session
    if session.length is None:
        return
    lasts = timeline.end - Instant(Fraction(0))
    over = lasts - session.length.length
    if over:
        by = duration_text(Duration(abs(over.seconds)))
        word = "longer" if over.seconds > 0 else "shorter"
        message = f"the session lasts {duration_text(lasts)}, {by} {word} than promised"
        hint = f"change times by {by}, or write `length: {duration_text(lasts)}`"
        yield Diagnostic("warning", message, session.place_of("length"), hint)


def _not_yet_done(session: Session) -> Iterator[Diagnostic]:
    """Words of the plan that this version reads but does not act on."""
    for key, what in (("bed", "no bed is mixed"), ("loudness", "the mix is not brought to a loudness")):
        value = getattr(session, key)
        if value is not None and value != "off":
            message = f"`{key}` is read, but in this version {what}"
            yield Diagnostic("warning", message, session.place_of_key(key))
