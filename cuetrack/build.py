"""The whole way, in one place: plan file → timeline → speech → arrangement → mix → files.

Every command calls one function here; what is computed is computed in the rooms.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby, product, zip_longest
from math import ceil, inf
from pathlib import Path
from typing import TYPE_CHECKING

from cuetrack.conform.arrangement import Arrangement
from cuetrack.conform.fit import Shortening, arranged
from cuetrack.conform.tightest_fits import Fit, tightest_fits
from cuetrack.document.beside import file_beside
from cuetrack.errors import (
    Diagnostic,
    NamedFileError,
    Place,
    PlanError,
    SpeechError,
    UsageError,
    did_you_mean,
)
from cuetrack.limits import BYTES_PER_GB, MOST_GB, MOST_HOURS, most_bytes, most_hours
from cuetrack.plan.fields import MixName
from cuetrack.plan.house import DEFAULT_LANGUAGE, read_in_house
from cuetrack.plan.levels import other_levels
from cuetrack.plan.model import Session
from cuetrack.plan.series import Day, on_day
from cuetrack.review.review import reviewed, short_form
from cuetrack.speech.installed import default_voice
from cuetrack.speech.length import SpokenLength
from cuetrack.speech.phrases.language import Style, Wordings
from cuetrack.speech.phrases.own import OwnPhrase, own_phrases
from cuetrack.speech.phrases.wording import LANGUAGES
from cuetrack.speech.speaker import Estimator, Manner, Speaker
from cuetrack.speech.voices import Voice, find_voice, is_path, refuse_language, voice_names
from cuetrack.timebase import Duration, Instant, clock_text, duration_text
from cuetrack.timeline.bed import FilesSource
from cuetrack.timeline.compile import Timeline, compiled
from cuetrack.timeline.cues import Phrase, Wordless
from cuetrack.timeline.mixes import mix_of
from cuetrack.timeline.phases import Phase
from cuetrack.timeline.promise import Chosen, ChosenRounds, Needed
from cuetrack.timeline.totals import Totals, totals_by_part, totals_of
from cuetrack.writers.chapters import chapters_of
from cuetrack.writers.tags import Tags, read_picture

if TYPE_CHECKING:
    from cuetrack.build_mixes import Balanced
    from cuetrack.build_papers import Papers
    from cuetrack.mix.audible import Heard
    from cuetrack.mix.blocks import Samples
    from cuetrack.mix.mastering import Loudness
    from cuetrack.writers.formats import Quality

DEFAULT_RATE_HZ = 48_000
# Room made for one phrase can move others; after so many times what fits is kept.
_MOST_TRIES = 6
# A page is made in memory, and a telephone has to open it.
_MOST_CARRIED_BYTES = 250_000_000

# Progress of a long task: the stage it is in, how much is done, and of how much.
Progress = Callable[[str, int, int], None]


@dataclass(frozen=True, slots=True)
class Compiled:
    """A plan without a mistake: its timeline, how it is spoken, and what its coach may want to know.

    `files` are the paths of what the plan names beside itself, by the names it gives.
    """

    timeline: Timeline
    manner: Manner
    files: Mapping[str, Path]
    warnings: tuple[Diagnostic, ...]


@dataclass(frozen=True, slots=True)
class Checked:
    """What a plan comes to; `tightest` is empty where no speech was measured, `heard` where no sound was.

    `chosen` and `rounds` are what became of times and rounds that the plan leaves open, `review` the
    weightiest suggestions.
    `heard` are the cues of the mix that have a bed under them, `loudness` is that of the mix.
    """

    session: str
    parts: tuple[Totals, ...]
    whole: Totals
    chosen: tuple[Chosen, ...]
    rounds: tuple[ChosenRounds, ...]
    review: tuple[str, ...]
    tightest: tuple[Fit, ...]
    heard: tuple[Heard, ...]
    loudness: Loudness | None
    warnings: tuple[Diagnostic, ...]


@dataclass(frozen=True, slots=True)
class RenderedMix:
    """One mix that a render wrote: its track, its loudness before and after mastering, its cues."""

    name: MixName
    track: Path
    cues: int
    loudness: Loudness


@dataclass(frozen=True, slots=True)
class Rendered:
    """What a render wrote, and the plan that it was made of."""

    files: tuple[Path, ...]
    compiled: Compiled
    arrangement: Arrangement
    mixes: tuple[RenderedMix, ...]
    warnings: tuple[Diagnostic, ...]


def compile_plan(
    plan: Path,
    *,
    level: str | None = None,
    voice: str | None = None,
    mixes: Sequence[MixName] = (),
    day: Day | None = None,
    allow_outside: bool = False,
) -> Compiled:
    """The timeline of the plan file, with `level` and `voice` in place of the plan's own if given.

    What the plan does not say, the house style beside it says. As a `day` of a series the plan is as the
    series says, and numbered. If one of `mixes` holds prompts, so does the timeline. Unless
    `allow_outside`, files that the plan names have to lie in its folder.

    Raises:
        PlanError: with every mistake in the plan.
    """
    session = read_in_house(plan, allow_outside=allow_outside)
    if day is not None:
        session = on_day(session, day)
    if level is not None:
        session = session.model_copy(update={"level": level})
    faults: list[Diagnostic] = []
    timeline, manner, note = None, None, None
    try:
        language = _language(session)
        chosen, note = _voice(session, voice, language, plan.parent, allow_outside)
        manner = Manner(chosen, language, session.style, session.lexicon or {}, _own_wordings(session))
    except PlanError as error:
        faults += error.diagnostics
    try:
        prompts = any("prompt" in mix_of(session, name).contents for name in mixes)
        timeline = _timeline(session, manner, prompts, day)
    except PlanError as error:
        faults += error.diagnostics
    files = _files_beside(session, timeline, plan.parent, allow_outside, faults)
    if timeline is None or manner is None or faults:
        raise PlanError(faults)
    _refuse_too_long(timeline)
    warnings = [Diagnostic("warning", note)] if note else []
    warnings += (*_unkept_promises(timeline), *_out_of_step(session, timeline, manner, day))
    known = Compiled(timeline, manner, files, tuple(warnings))
    _refuse_unspeakable(known)
    return known


def _refuse_too_long(timeline: Timeline) -> None:
    """Raises `PlanError` if the session lasts longer than this user allows."""
    lasts, hours = timeline.end - Instant(Fraction(0)), most_hours()
    most = Duration(hours * 3600)
    if lasts > most:
        message = f"the session lasts {duration_text(lasts)}, and {MOST_HOURS} allows {duration_text(most)}"
        hint = f"split it into several plans, or set {MOST_HOURS} to more, 24 at most"
        raise PlanError([Diagnostic("error", message, timeline.session.place_of("parts"), hint)])


def _refuse_too_large(track_bytes: int, wanted: int, sound_inside: bool) -> None:
    """Raises `UsageError` if the sound files of a render, or a page that carries one, take too much."""
    if sound_inside and track_bytes > _MOST_CARRIED_BYTES:
        megabytes = [f"{size / 1e6:,.0f} MB" for size in (track_bytes, _MOST_CARRIED_BYTES)]
        raise UsageError(
            f"--sound-inside carries {megabytes[1]} at most, and this track may take {megabytes[0]}; "
            "write an MP3, or leave it out"
        )
    if wanted > (most := most_bytes()):
        gigabytes = [f"{size / BYTES_PER_GB:,.3g} GB" for size in (wanted, most)]
        raise UsageError(
            f"the sound files may take {gigabytes[0]}, and {MOST_GB} allows {gigabytes[1]}; "
            f"write an MP3, fewer mixes or no stems, or set {MOST_GB} to more"
        )


def _timeline(session: Session, manner: Manner | None, prompts: bool, day: Day | None) -> Timeline:
    """The session's timeline; times that are left open have room for what is said in them.

    How long that is, is estimated by the voice's usual pace: check and render choose alike. The words of
    all levels count, so that versions stay in step; only its own where the promise cannot be kept else.
    """
    others = [session.model_copy(update={"level": level}) for level in other_levels(session)]
    try:
        return _with_room(session, others, manner, prompts, day)
    except PlanError:
        if not others:
            raise
        return _with_room(session, (), manner, prompts, day)


def _with_room(
    session: Session, others: Sequence[Session], manner: Manner | None, prompts: bool, day: Day | None
) -> Timeline:
    """The session's timeline, its open times with room for its words and for those of its `others`."""
    needed: dict[Place | None, Duration] = {}
    for _ in range(_MOST_TRIES):
        timeline = compiled(session, prompts=prompts, needed=needed, day=day)
        if manner is None or not timeline.chosen:
            return timeline
        more = _needed_by(timeline, manner, needed)
        for other in others:
            with suppress(PlanError):  # a version that cannot be, of which nobody asked
                more = _needed_by(compiled(other, needed=needed, day=day), manner, more)
        if more == needed:
            return timeline
        needed = more
    return timeline


def _needed_by(timeline: Timeline, manner: Manner, needed: Needed) -> dict[Place | None, Duration]:
    """What open times `needed` before, and what the words of this timeline need beyond that."""
    more = dict(needed)
    try:
        likely = likely_arrangement(Compiled(timeline, manner, {}, ()), DEFAULT_RATE_HZ, in_full=True)
    except SpeechError:  # told of later, with all its like
        return more
    for shortage in likely.shortages:
        phase = _open_phase(timeline, shortage.phase_index)
        if phase is not None:
            least = Duration(Fraction(ceil(phase.length.seconds + shortage.seconds)))
            more[phase.place] = max(least, more.get(phase.place, least))
    return more


def _open_phase(timeline: Timeline, index: int) -> Phase | None:
    """The phase whose length is left open: that of `index`, or one of the pauses before it."""
    for phase in reversed(timeline.phases[: index + 1]):
        if phase.flexible is not None and (phase.kind != "work" or phase.index == index):
            return phase
        if phase.kind == "work":
            return None
    return None


def _files_beside(
    session: Session, timeline: Timeline | None, folder: Path, allow_outside: bool, faults: list[Diagnostic]
) -> dict[str, Path]:
    """The paths of all files that the plan names, by their names; a fault for each that cannot be used."""
    sources = {span.source for span in timeline.bed} if timeline else set()
    named = {
        name: source.place for source in sources if isinstance(source, FilesSource) for name in source.files
    }
    if session.artwork is not None:
        named[session.artwork] = session.place_of("artwork")
    files = {}
    for name, place in named.items():
        try:
            files[name] = file_beside(name, folder, allow_outside=allow_outside)
            if name == session.artwork:
                read_picture(files[name])
        except NamedFileError as error:
            faults.append(Diagnostic("error", str(error), place, error.hint))
    return files


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
    plan: Path,
    *,
    level: str | None = None,
    with_voice: bool = False,
    with_sound: bool = False,
    mix: MixName = "class",
    voice: str | None = None,
    day: Day | None = None,
    allow_outside: bool = False,
    progress: Progress | None = None,
) -> Checked:
    """The totals of a plan and everything that can be found in it.

    Without a voice the lengths of phrases are estimated; with it they are measured, and the tightest
    fits are told. With sound, which takes a voice, `mix` is measured as it would be rendered.
    `voice` is that voice, or whose lengths are estimated; the plan's own if None.

    Raises:
        PlanError: with every mistake in the plan; with a voice also for what does not fit.
        SpeechError: the voice cannot speak.
    """
    known = compile_plan(plan, level=level, voice=voice, mixes=(mix,), day=day, allow_outside=allow_outside)
    phases, notes, tell = known.timeline.phases, list[Diagnostic](), progress or silent
    heard: tuple[Heard, ...] = ()
    loudness = None
    if with_sound:
        arrangement, sounds = sounded(known, DEFAULT_RATE_HZ, notes, tell)
        heard, loudness = _heard_in(mix, known, arrangement, sounds, notes, tell)
    elif with_voice:
        speaker = _speaker(known, DEFAULT_RATE_HZ, notes, tell)
        arrangement = _arranged(known, speaker.length, DEFAULT_RATE_HZ)
    else:
        arrangement = likely_arrangement(known, DEFAULT_RATE_HZ)
    warnings = (*known.warnings, *arrangement.warnings, *notes)
    name = known.timeline.session.session
    fits = tightest_fits(arrangement) if with_voice or with_sound else ()
    totals = totals_of(name, phases)
    parts, chosen, rounds = totals_by_part(phases), known.timeline.chosen, known.timeline.rounds
    suggestions = short_form(reviewed(known.timeline))
    return Checked(name, parts, totals, chosen, rounds, suggestions, fits, heard, loudness, warnings)


def _heard_in(
    mix: MixName,
    known: Compiled,
    arrangement: Arrangement,
    sounds: Mapping[str, Samples],
    notes: list[Diagnostic],
    tell: Progress,
) -> tuple[tuple[Heard, ...], Loudness]:
    """How the cues of a mix are heard over its bed, and how loud it is."""
    (one,) = balanced_mixes(known, arrangement, sounds, (mix,), 2, tell)
    notes += one.notes
    return tuple(heard for heard in one.heard if heard.over_bed_db != inf), one.loudness


def silent(stage: str, done: int, of: int) -> None:
    """Nobody is told."""


def _speaker(known: Compiled, rate_hz: int, notes: list[Diagnostic], tell: Progress) -> Speaker:
    """Everything that the plan says, spoken."""
    return speaking(known.manner, spoken_texts(known), rate_hz, notes, tell)


def speaking(
    manner: Manner, texts: Iterable[str], rate_hz: int, notes: list[Diagnostic], tell: Progress
) -> Speaker:
    """A speaker that has spoken `texts`; `notes` gets what is to be told."""
    from cuetrack.speech.cache import ClipCache

    cache = ClipCache()
    speaker = Speaker(manner, rate_hz, cache, lambda text: notes.append(Diagnostic("warning", text)))
    speaker.speak(texts, progress=lambda done, of: tell("speaking", done, of))
    if cache.warning:
        notes.append(Diagnostic("warning", cache.warning))
    return speaker


def likely_arrangement(known: Compiled, rate_hz: int, *, in_full: bool = False) -> Arrangement:
    """Where the cues will lie, by the estimated lengths of their texts; needs no voice.

    With `in_full` nothing is shortened so that it fits.
    """
    length = Estimator(known.manner, rate_hz).length
    return _arranged(known, length, rate_hz, estimated=True, in_full=in_full)


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
    in_full: bool = False,
) -> Arrangement:
    shortening = None if in_full else Shortening(lambda phrase: text_of(known, phrase, "terse"), length)
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
    mixes: Sequence[MixName] = ("class",),
    stems: bool = False,
    quality: Quality = "good",
    papers: Papers | None = None,
    day: Day | None = None,
    allow_outside: bool = False,
    home: Path | None = None,
    mix_ahead: bool = True,
    progress: Progress | None = None,
) -> Rendered:
    """Writes the cue track of `plan` to `target` and NAME.timeline.json beside it.

    The ending of `target` picks the format. Several mixes become NAME.MIX.ENDING each; with `stems`, what
    a mix is the sum of before mastering is written apart, too; with `papers`, what goes with the first
    mix. All files appear whole, at the end, or none. With `mix_ahead`, mixing and encoding may go on at once.
    Unless `allow_outside`, links in `home`, the plan's folder if None, lead no file out of it.

    Raises:
        PlanError: mistakes in the plan, or speech that does not fit.
        SpeechError: a phrase cannot be spoken, or the voice is not on this machine.
        UsageError: an ending, a rate or a target that cannot be, or a target that the plan is made of.
        WriteError: a file cannot be written.
        MediaMissingError: a format or a bed needs what is not on this machine.
    """
    # Arrays and codecs are loaded only where sound is made: checking a plan stays quick.
    from cuetrack.build_mixes import Delivery, mix_files, write_mix
    from cuetrack.build_papers import Papers, write_papers
    from cuetrack.mix.programme import STEMS
    from cuetrack.writers.atomic import atomic_files, refuse_links_out
    from cuetrack.writers.encoder import refuse_unwritable
    from cuetrack.writers.formats import (
        AUDIO_FORMATS,
        format_of,
        known_bytes,
        most_bytes_of,
        programme_rate_hz,
        rate_note,
    )

    audio_format, tell = format_of(target), progress or silent
    refuse_unwritable(audio_format)
    note = rate_note(audio_format, rate_hz)
    rate_hz = programme_rate_hz(audio_format, rate_hz)
    several = len(mixes) > 1
    possible = [
        file
        for name in mixes
        for file in mix_files(target, STEMS if stems else (), name if several else None).all
    ]
    strange = None if allow_outside else home or plan.parent
    refuse_own_plan(plan, *possible)
    if strange is not None:
        refuse_links_out(strange, possible)
    tell("reading the plan", 0, 1)
    known = compile_plan(plan, level=level, voice=voice, mixes=mixes, day=day, allow_outside=allow_outside)
    refuse_own_files(known, *possible)
    notes: list[Diagnostic] = []
    arrangement, sounds = sounded(known, rate_hz, notes, tell)
    chosen = balanced_mixes(known, arrangement, sounds, mixes, channels, tell)
    named = [
        mix_files(target, one.programme.stem_names() if stems else (), one.mix.name if several else None)
        for one in chosen
    ]
    tags, frames = _tags(known, arrangement), arrangement.frames
    delivery = Delivery(audio_format, quality, channels, tags, known.manner.record(), mix_ahead)
    needed_bytes = known_bytes(audio_format, frames, channels, quality) * len(chosen)
    sound, wanted = [file for files in named for file in files.all], papers or Papers()
    track_bytes = most_bytes_of(audio_format, frames, rate_hz, channels, quality)
    stem_bytes = most_bytes_of(AUDIO_FORMATS[".wav"], frames, rate_hz, channels, "best")
    in_all = len(named) * track_bytes + sum(len(files.stems) for files in named) * stem_bytes
    _refuse_too_large(track_bytes, in_all, wanted.sound_inside)
    targets = [*sound, *wanted.paths(target).values()]
    made: list[RenderedMix] = []
    with atomic_files(*targets, needed_bytes=needed_bytes, strange=strange) as paths:
        hidden = dict(zip(targets, paths, strict=True))
        for one, files in zip(chosen, named, strict=True):
            write_mix(
                one, files.moved(hidden), delivery, lambda done: tell("mixing and writing", done, frames)
            )
            cues = len(one.programme.arrangement.placed)
            made.append(RenderedMix(one.mix.name, files.track, cues, one.loudness))
            notes += one.notes
        notes += write_papers(chosen[0], wanted, hidden, target, sound, tell)
    if note:
        notes.append(Diagnostic("warning", note))
    warnings = (*known.warnings, *arrangement.warnings, *notes)
    return Rendered(tuple(targets), known, arrangement, tuple(made), tuple(dict.fromkeys(warnings)))


def balanced_mixes(
    known: Compiled,
    arrangement: Arrangement,
    sounds: Mapping[str, Samples],
    mixes: Sequence[MixName],
    channels: int,
    tell: Progress = silent,
) -> list[Balanced]:
    """The mixes of a plan, each with its bed ducked under its own cues, and measured.

    Raises:
        PlanError: a file of the bed is no sound, on the coach's line.
        MediaMissingError: a file of the bed needs what is not on this machine.
    """
    from cuetrack.build_mixes import balanced, bed_sounds

    session = known.timeline.session
    wanted = [mix_of(session, name) for name in mixes]
    bed = (
        bed_sounds(arrangement, known.files, channels) if any("bed" in mix.contents for mix in wanted) else {}
    )
    speech_lufs = known.manner.voice.loudness_lufs
    return [
        balanced(
            arrangement,
            sounds,
            mix,
            bed,
            channels=channels,
            speech_lufs=speech_lufs,
            measuring=lambda done: tell("measuring the loudness", done, arrangement.frames),
        )
        for mix in wanted
    ]


def _tags(known: Compiled, arrangement: Arrangement) -> Tags:
    """What the sound file says about itself."""
    session = known.timeline.session
    picture = read_picture(known.files[session.artwork]) if session.artwork else None
    chapters = chapters_of(arrangement)
    return Tags(session.session, session.coach or "", session.comment or "", picture, chapters)


def sounded(
    known: Compiled, rate_hz: int, notes: list[Diagnostic] | None = None, tell: Progress = silent
) -> tuple[Arrangement, dict[str, Samples]]:
    """Where every sound of a plan lies, and its samples by its key; `notes` gets what is to be told.

    Raises:
        ConformError: speech that does not fit.
        SpeechError: a phrase cannot be spoken, or the voice is not on this machine.
    """
    import numpy as np

    from cuetrack.sound.tones import tone_samples
    from cuetrack.sound.units import db_to_linear

    speaker = _speaker(known, rate_hz, [] if notes is None else notes, tell)
    arrangement = _arranged(known, speaker.length, rate_hz)
    sounds = {}
    for placed in arrangement.placed:
        if placed.sound in sounds:
            continue
        if placed.text is not None:
            samples = speaker.clip(placed.text, placed.tempo).samples
            sounds[placed.sound] = (
                samples * np.float32(db_to_linear(placed.gain_db)) if placed.gain_db else samples
            )
        elif placed.tone is not None:
            sounds[placed.sound] = tone_samples(placed.tone, rate_hz, gain_db=placed.gain_db)
    return arrangement, sounds


def refuse_own_plan(plan: Path, *targets: Path) -> None:
    """A render must never replace the plan it was made from."""
    _refuse_replacing([plan], "the plan itself", targets)


def refuse_own_files(known: Compiled, *targets: Path) -> None:
    """Nor the music or the artwork that the plan names."""
    _refuse_replacing(known.files.values(), "a file that the plan uses", targets)


def _refuse_replacing(files: Iterable[Path], what: str, targets: Iterable[Path]) -> None:
    for file, target in product(files, targets):
        if target.exists() and file.exists() and target.samefile(file):
            raise UsageError(f"{target} is {what}; give the track another name with -o NAME.mp3")


def _language(session: Session) -> str:
    language = session.language or DEFAULT_LANGUAGE
    if language not in LANGUAGES:
        hint = did_you_mean(language, LANGUAGES)
        message = f"there are no phrases in the language {language!r}"
        raise PlanError([Diagnostic("error", message, session.place_of("language"), hint)])
    return language


def _own_wordings(session: Session) -> Mapping[str, Wordings]:
    """The wordings that the plan, or its house, gives in place of the built-in ones."""
    if session.phrases is None:
        return {}
    place_of = session.phrases.place_of
    written = session.phrases.written()
    return own_phrases(OwnPhrase(key, own.full, own.terse or (), place_of(key)) for key, own in written)


def _voice(
    session: Session, override: str | None, language: str, beside: Path, allow_outside: bool
) -> tuple[Voice, str | None]:
    """Who speaks, and a note about it; a path in the plan starts from the plan's folder, `beside`."""
    if override is not None:
        return _voice_of_call(override, language), None
    if session.voice is None:
        return default_voice(language)
    text, place, names = session.voice, session.place_of("voice"), voice_names()
    if not is_path(text) and text not in names:
        hint = did_you_mean(text, names)
        raise PlanError([Diagnostic("error", f"there is no voice {text!r}", place, hint)])
    try:
        voice = find_voice(text, beside, within=None if allow_outside else beside)
    except NamedFileError as error:
        raise PlanError([Diagnostic("error", str(error), place, error.hint)]) from None
    except SpeechError as error:
        raise type(error)(f"{place}: {error}") from None
    try:
        refuse_language(voice, language)
    except SpeechError as error:
        raise PlanError([Diagnostic("error", str(error), place)]) from None
    return voice, None


def refuse_unknown_voice(text: str) -> None:
    """Raises `UsageError` if a call asks for a voice by a name that none has."""
    names = voice_names()
    if not is_path(text) and text not in names:
        raise UsageError(f"there is no voice {text!r}; {did_you_mean(text, names)}")


def _voice_of_call(text: str, language: str) -> Voice:
    """The voice that speaks instead of the plan's own; a path starts from the working folder."""
    refuse_unknown_voice(text)
    voice = find_voice(text)
    try:
        refuse_language(voice, language)
    except SpeechError as error:
        raise UsageError(f"{error}; the language is the plan's") from None
    return voice


def _out_of_step(
    session: Session, timeline: Timeline, manner: Manner, day: Day | None
) -> Iterator[Diagnostic]:
    """Whether a level leaves the standard version, so that both cannot be done on one floor."""
    if session.level == "standard":
        return
    try:
        standard = _timeline(session.model_copy(update={"level": "standard"}), manner, False, day).phases
    except PlanError:  # a standard version that cannot be, of which nobody asked
        return
    for own, other in zip_longest(_without_stages(timeline.phases), _without_stages(standard)):
        if own is None or other is None or (own[0].kind, own[1]) != (other[0].kind, other[1]):
            phase = own[0] if own else None
            at = clock_text((phase or other[0]).start)
            message = f"from {at} on the {session.level} version is not in step with the standard one"
            hint = "give it the same times in all, or teach it apart"
            yield Diagnostic("warning", message, phase.place if phase else None, hint)
            return


def _without_stages(phases: Iterable[Phase]) -> Iterator[tuple[Phase, Instant]]:
    """What begins and ends for everybody on one floor: the first phase of each stretch, and its end."""
    for _, same in groupby(phases, key=lambda phase: (phase.kind, phase.turn, phase.side)):
        first, *more = same
        yield first, (more[-1] if more else first).end


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
