"""A plan or a timeline, and a sound file → the file held against it, or lined up with it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import ExitStack
from dataclasses import dataclass, replace
from math import ceil
from pathlib import Path
from typing import TYPE_CHECKING

from cuetrack import build
from cuetrack.conform.arrangement import Arrangement
from cuetrack.errors import Diagnostic, SpeechError, UsageError
from cuetrack.plan.fields import MixName
from cuetrack.plan.series import Day
from cuetrack.take.timeline_file import TimelineFile, is_timeline, read_timeline
from cuetrack.timebase import Duration

if TYPE_CHECKING:
    from cuetrack.build_mixes import Balanced
    from cuetrack.mix.blocks import Samples
    from cuetrack.take.align import Alignment
    from cuetrack.take.expected import Expected
    from cuetrack.take.verify import Verification


@dataclass(frozen=True, slots=True)
class Source:
    """What a file is held against: a plan, or the timeline of a render, and how it was rendered.

    `mix`, `level` and `day` are for a plan; `voice` speaks instead of the one that it names.
    """

    path: Path
    mix: MixName = "class"
    level: str | None = None
    voice: str | None = None
    day: Day | None = None
    allow_outside: bool = False

    @property
    def is_timeline(self) -> bool:
        """Whether it is a timeline."""
        return is_timeline(self.path)


@dataclass(frozen=True, slots=True)
class Programme:
    """What has to be heard; `balanced` and `arrangement` are there for a plan only."""

    expected: Expected
    gain_db: float | None
    warnings: tuple[Diagnostic, ...]
    balanced: Balanced | None = None

    @property
    def arrangement(self) -> Arrangement | None:
        """Where everything lies, in the mix that is looked for."""
        return self.balanced.programme.arrangement if self.balanced else None


def verify(
    source: Source, audio: Path, *, within: Duration | None = None, progress: build.Progress | None = None
) -> tuple[Verification, tuple[Diagnostic, ...]]:
    """The file `audio` held against its plan, and what is to be told beside it.

    A cue may be off by `within`; by nothing if None.

    Raises:
        PlanError: mistakes in the plan.
        TimelineError: the timeline is none.
        SoundError: the file is no sound.
    """
    from cuetrack.sound.units import db_to_linear
    from cuetrack.take.recording import recorded
    from cuetrack.take.samples import SampleFile
    from cuetrack.take.verify import verified

    tell = progress or build.silent
    tell("reading the sound", 0, 1)
    with ExitStack() as stack:
        heard = stack.enter_context(recorded(audio))
        channels = min(2, heard.channels)
        known = programme(source, heard.rate_hz, channels, tell)
        whole = None
        if known.balanced is not None:
            whole = stack.enter_context(SampleFile(heard.rate_hz))
            for block in _mastered(known.balanced):
                whole.append(block.mean(axis=1))
        gain = None if known.gain_db is None else db_to_linear(known.gain_db)
        frames = 0 if within is None else ceil(within.seconds * heard.rate_hz)
        found = verified(
            known.expected,
            heard,
            whole,
            gain,
            within_frames=frames,
            tell=lambda done, of: tell("looking for every cue", done, of),
        )
    return found, known.warnings


def align(
    source: Source, recording: Path, progress: build.Progress | None = None
) -> tuple[Alignment, Programme]:
    """Where the programme runs in a recording, and the programme itself.

    Raises:
        PlanError, TimelineError, SoundError: as `verify`.
    """
    from cuetrack.take.align import aligned
    from cuetrack.take.pieces import DETECTOR_RATE_HZ
    from cuetrack.take.recording import recorded

    tell = progress or build.silent
    tell("reading the recording", 0, 1)
    with recorded(recording, DETECTOR_RATE_HZ) as heard:
        known = programme(source, build.DEFAULT_RATE_HZ, 2, tell, with_balance=False)
        found = aligned(known.expected, heard, lambda done, of: tell("listening for the track", done, of))
    return found, known


def programme(
    source: Source, rate_hz: int, channels: int, tell: build.Progress, *, with_balance: bool = True
) -> Programme:
    """What has to be heard, at a rate; the bed and the loudness only `with_balance`."""
    if source.is_timeline:
        return _of_timeline(source, rate_hz, tell)
    from cuetrack.take.expected import expected_of
    from cuetrack.timeline.mixes import mix_of

    known = build.compile_plan(
        source.path,
        level=source.level,
        voice=source.voice,
        mixes=(source.mix,),
        day=source.day,
        allow_outside=source.allow_outside,
    )
    notes: list[Diagnostic] = []
    arrangement, sounds = build.sounded(known, rate_hz, notes, tell)
    session = known.timeline.session
    mix = mix_of(session, source.mix)
    own = arrangement.holding(mix.contents)
    warnings = (*known.warnings, *arrangement.warnings, *notes)
    balanced, gain_db = None, None
    if with_balance:
        (balanced,) = build.balanced_mixes(known, arrangement, sounds, (source.mix,), channels, tell)
        gain_db = balanced.loudness.gain_db
    has_bed = "bed" in mix.contents and bool(arrangement.timeline.bed)
    expected = expected_of(own, {one.sound: sounds[one.sound] for one in own.placed}, has_bed=has_bed)
    return Programme(expected, gain_db, tuple(dict.fromkeys(warnings)), balanced)


def _of_timeline(source: Source, rate_hz: int, tell: build.Progress) -> Programme:
    from cuetrack.sound.tones import tone_samples
    from cuetrack.take.expected import Expected

    if source.level or source.day or source.mix != "class":
        raise UsageError("--mix, --level and --day are for a plan; a timeline is of one mix")
    file = read_timeline(source.path, rate_hz)
    notes: list[Diagnostic] = []
    sounds = {key: tone_samples(name, rate_hz, gain_db=gain) for key, (name, gain) in file.tones.items()}
    sounds.update(_spoken_again(file, rate_hz, source.voice, notes, tell))
    cues = tuple(
        replace(cue, frames=len(sounds[cue.sound])) if cue.sound in sounds else cue for cue in file.cues
    )
    expected = Expected(file.session, rate_hz, file.frames, cues, file.phases, sounds, file.has_bed)
    return Programme(expected, file.gain_db, tuple(notes))


def _spoken_again(
    file: TimelineFile, rate_hz: int, voice: str | None, notes: list[Diagnostic], tell: build.Progress
) -> Mapping[str, Samples]:
    """The spoken cues of a timeline, each as long as it was; none of a voice that is not here."""
    if not file.spoken:
        return {}
    from cuetrack.speech.speaker import Manner
    from cuetrack.speech.voices import find_voice

    if file.speech is None:
        message = "the timeline does not say who speaks, so spoken cues are not compared"
        notes.append(Diagnostic("warning", message, None, "render it anew, or give the plan"))
        return {}
    name, language, lexicon = file.speech
    try:
        manner = Manner(find_voice(voice or name), language, "full", lexicon)
        texts = [spoken.text for spoken, _ in file.spoken.values()]
        speaker = build.speaking(manner, texts, rate_hz, notes, tell)
        clips = {key: speaker.clip(spoken.text, spoken.tempo) for key, (spoken, _) in file.spoken.items()}
    except SpeechError as error:
        message = f"spoken cues are not compared: {error}"
        notes.append(Diagnostic("warning", message, None, "give the plan, or its voice with --voice"))
        return {}
    import numpy as np

    from cuetrack.sound.units import db_to_linear

    frames = {cue.sound: cue.frames for cue in file.cues}
    made = {
        key: clip.samples * np.float32(db_to_linear(file.spoken[key][1]))
        for key, clip in clips.items()
        if abs(len(clip.samples) - frames[key]) <= 2
    }
    if len(made) < len(clips):
        message = f"{len(clips) - len(made)} phrases come out longer or shorter than they were rendered"
        notes.append(Diagnostic("warning", f"{message}, so they are not compared", None, "render it anew"))
    return made


def _mastered(one: Balanced) -> Iterator[Samples]:
    from cuetrack.mix.mastering import mastered

    return mastered(one.programme, one.loudness.gain_db)
