"""The whole way, in one place: plan file → timeline → speech → arrangement → mix → files.

Every command calls one function here. Nothing in this module computes a time or a sample itself.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from cuetrack.conform.arrangement import SPEECH_KEY, TONE_KEY, Arrangement
from cuetrack.conform.fit import arranged
from cuetrack.errors import Diagnostic, PlanError, UsageError, did_you_mean
from cuetrack.plan.model import Session
from cuetrack.plan.text import read_plan
from cuetrack.speech.length import SpokenLength, estimated_seconds
from cuetrack.speech.phrases.wording import phrase_text
from cuetrack.speech.voices import Voice, load_voice, voice_names
from cuetrack.timebase import Duration, Instant, clock_text, duration_text, frame_seconds
from cuetrack.timeline.compile import Timeline, compiled
from cuetrack.timeline.cues import Phrase, Wordless
from cuetrack.timeline.totals import Totals, totals_by_part, totals_of

if TYPE_CHECKING:
    from cuetrack.mix.blocks import Samples
    from cuetrack.mix.peak import Peak
    from cuetrack.speech.cache import ClipCache

DEFAULT_VOICE = "clear"
DEFAULT_RATE_HZ = 48_000

# Progress of a long task: the stage it is in, how much is done, and of how much.
Progress = Callable[[str, int, int], None]


@dataclass(frozen=True, slots=True)
class Compiled:
    """A plan without a mistake: its timeline, its voice, and what its coach may want to know."""

    timeline: Timeline
    voice: Voice
    warnings: tuple[Diagnostic, ...]


@dataclass(frozen=True, slots=True)
class Checked:
    """What a plan comes to; found without making a sound."""

    session: str
    parts: tuple[Totals, ...]
    whole: Totals
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
    timeline = compiled(session)
    chosen = _voice(session, voice)
    return Compiled(timeline, chosen, (*_unkept_promises(timeline), *_not_yet_done(session)))


def check(plan: Path, *, level: str | None = None) -> Checked:
    """The totals of a plan and everything that can be found in it without a voice."""
    known = compile_plan(plan, level=level)
    phases = known.timeline.phases
    likely = likely_arrangement(known, DEFAULT_RATE_HZ)
    warnings = (*known.warnings, *likely.warnings)
    name = known.timeline.session.session
    return Checked(name, totals_by_part(phases), totals_of(name, phases), warnings)


def likely_arrangement(known: Compiled, rate_hz: int) -> Arrangement:
    """Where the cues will lie, by the estimated lengths of their texts; needs no voice."""
    lengths = {}
    for text in spoken_texts(known):
        seconds = estimated_seconds(text, known.voice.expected_words_per_minute)
        lengths[text] = SpokenLength(Instant(seconds).to_frame(rate_hz), _LIKELY_ONSET.to_frame(rate_hz))
    return arranged(known.timeline, _wording(known.voice), lengths, rate_hz, estimated=True)


# The mean over "one" to "ten" of the first voice; used only where lengths are estimated.
_LIKELY_ONSET = Instant(Fraction(19, 200))


def spoken_texts(known: Compiled) -> tuple[str, ...]:
    """Each distinct text that the session speaks, in the order of first use."""
    wording = _wording(known.voice)
    cues = (cue for cue in known.timeline.cues if not isinstance(cue, Wordless))
    return tuple(dict.fromkeys(text for cue in cues if (text := wording(cue.phrase))))


def _wording(voice: Voice) -> Callable[[Phrase], str]:
    language = voice.language.split("-")[0]
    return lambda phrase: phrase_text(phrase.key, phrase.slots, language)


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
    from cuetrack.speech.cache import ClipCache
    from cuetrack.writers.atomic import atomic_files
    from cuetrack.writers.audio import write_audio
    from cuetrack.writers.formats import format_of, known_bytes, programme_rate_hz, rate_note
    from cuetrack.writers.timeline_json import timeline_text

    audio_format = format_of(target)
    note = rate_note(audio_format, rate_hz)
    rate_hz = programme_rate_hz(audio_format, rate_hz)
    beside = target.with_suffix(".timeline.json")
    _refuse_own_plan(plan, target, beside)
    tell = progress or (lambda stage, done, of: None)
    tell("reading the plan", 0, 1)
    known = compile_plan(plan, level=level, voice=voice)
    cache = ClipCache()
    arrangement, sounds = _arrangement_and_sounds(known, rate_hz, cache, tell)
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
    notes = [Diagnostic("warning", text) for text in (note, cache.warning) if text]
    if meter.peak.frames_over:
        notes.append(_too_loud(meter.peak, rate_hz))
    return Rendered((target, beside), arrangement, (*known.warnings, *arrangement.warnings, *notes))


def _arrangement_and_sounds(
    known: Compiled, rate_hz: int, cache: ClipCache, tell: Progress
) -> tuple[Arrangement, dict[str, Samples]]:
    """Every sound at `rate_hz`, by its key, and where each lies."""
    from cuetrack.sound.tones import tone_samples
    from cuetrack.speech.speak import speak

    clips = speak(
        spoken_texts(known),
        known.voice,
        rate_hz,
        cache=cache,
        progress=lambda done, of: tell("speaking", done, of),
    )
    lengths = {text: clip.length for text, clip in clips.items()}
    arrangement = arranged(known.timeline, _wording(known.voice), lengths, rate_hz)
    sounds = {SPEECH_KEY + text: clip.samples for text, clip in clips.items()}
    for tone in {placed.tone for placed in arrangement.placed if placed.tone}:
        sounds[TONE_KEY + tone] = tone_samples(tone, rate_hz)
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


def _voice(session: Session, override: str | None) -> Voice:
    name = override or session.voice or DEFAULT_VOICE
    names = voice_names()
    if name in names:
        return load_voice(name)
    message, hint = f"there is no voice {name!r}", did_you_mean(name, names)
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
