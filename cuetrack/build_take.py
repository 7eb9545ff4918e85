"""A plan or a timeline, and a sound file → the file held against it, or lined up with it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from math import ceil
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal, get_args

from cuetrack import build
from cuetrack.build_papers import PAPER_ENDINGS, film_paper, refuse_missing
from cuetrack.conform.arrangement import Arrangement
from cuetrack.errors import Diagnostic, SpeechError, TakeError, UsageError
from cuetrack.plan.fields import MixName
from cuetrack.plan.series import Day
from cuetrack.timebase import Duration
from cuetrack.writers.atomic import atomic_files

if TYPE_CHECKING:
    from cuetrack.build_mixes import Balanced
    from cuetrack.mix.blocks import Samples
    from cuetrack.take.actual import ActualMove
    from cuetrack.take.align import Alignment
    from cuetrack.take.expected import Expected
    from cuetrack.take.timeline_file import TimelineFile
    from cuetrack.take.verification import Verification


@dataclass(frozen=True, slots=True)
class Source:
    """What a file is held against: a plan, or the timeline of a render, and how it was rendered.

    `mix`, `level` and `day` are for a plan; `voice` speaks instead of the one that it names. Unless
    `allow_outside`, links in `home`, the folder of `path` if None, lead no file that is written out of it.
    """

    path: Path
    mix: MixName = "class"
    level: str | None = None
    voice: str | None = None
    day: Day | None = None
    allow_outside: bool = False
    home: Path | None = None

    @property
    def is_timeline(self) -> bool:
        """Whether it is a timeline and no plan, by its name."""
        return self.path.suffix.casefold() == ".json"


@dataclass(frozen=True, slots=True)
class Programme:
    """What has to be heard.

    `arrangement` is where everything lies in the mix that is looked for, for a plan only; `balanced` that
    mix, if it was asked for. `is_rounded` says that its frames were counted at another rate.
    """

    expected: Expected
    gain_db: float | None
    warnings: tuple[Diagnostic, ...]
    arrangement: Arrangement | None = None
    balanced: Balanced | None = None
    is_rounded: bool = False


TakePaperName = Literal["captions", "chapters", "markers", "cuts", "picture", "track", "actual"]
TAKE_PAPER_NAMES: tuple[TakePaperName, ...] = get_args(TakePaperName)
LAID_ENDING = ".laid.wav"

# The files of each, behind the recording's name.
TAKE_ENDINGS: Mapping[TakePaperName, tuple[str, ...]] = MappingProxyType(
    {
        "captions": PAPER_ENDINGS["captions"],
        "chapters": PAPER_ENDINGS["chapters"],
        "markers": PAPER_ENDINGS["markers"],
        "cuts": (".cuts.csv", ".cuts.otio"),
        "picture": (".take.png",),
        "track": (LAID_ENDING,),
        "actual": (".actual.csv",),
    }
)
_FROM_PLAN = frozenset(
    ending for name in ("captions", "chapters", "markers") for ending in PAPER_ENDINGS[name]
)


@dataclass(frozen=True, slots=True)
class TakePapers:
    """What is written of an alignment: a file for each of `endings`, whose names begin as `base` does."""

    base: Path
    endings: tuple[str, ...] = ()

    def paths(self) -> dict[str, Path]:
        """The files by their endings."""
        return {ending: self.base.parent / f"{self.base.name}{ending}" for ending in self.endings}


@dataclass(frozen=True, slots=True)
class Aligned:
    """What became of a recording: `moves` only if they were asked for, `files` what was written."""

    alignment: Alignment
    moves: tuple[ActualMove, ...] | None
    files: tuple[Path, ...]
    warnings: tuple[Diagnostic, ...]


def verify(
    source: Source, audio: Path, *, within: Duration | None = None, progress: build.Progress | None = None
) -> tuple[Verification, tuple[Diagnostic, ...]]:
    """The file `audio` held against its plan, and what is to be told beside it.

    A cue may be off by `within`; by nothing if None, or by one frame where a timeline of another rate says
    its place.

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
            for block in known.balanced.mastered():
                whole.append(block.mean(axis=1))
        gain = None if known.gain_db is None else db_to_linear(known.gain_db)
        frames = 0 if within is None else ceil(within.seconds * heard.rate_hz)
        if known.is_rounded:
            frames = max(1, frames)
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
    source: Source,
    recording: Path,
    papers: TakePapers | None = None,
    *,
    with_actual: bool = False,
    progress: build.Progress | None = None,
) -> Aligned:
    """Where the programme runs in a recording; what `papers` asks for is written, all of it or nothing.

    Raises:
        PlanError, TimelineError, SoundError: as `verify`.
        TakeError: files are wanted, but the programme is not heard in the recording.
        UsageError: a file that is wanted needs the plan, or is the recording itself.
        MediaMissingError: a file that is wanted needs what is not on this machine.
        WriteError: a file cannot be written, or is a link out of the plan's folder, and not `allow_outside`.
    """
    from cuetrack.take.actual import actual_moves
    from cuetrack.take.align import aligned
    from cuetrack.take.pieces import DETECTOR_RATE_HZ
    from cuetrack.take.recording import recorded

    tell, wanted = progress or build.silent, papers or TakePapers(recording)
    refuse_take_papers(source, recording, wanted)
    tell("reading the recording", 0, 1)
    with recorded(recording, DETECTOR_RATE_HZ) as heard:
        with_track = LAID_ENDING in wanted.endings
        known = programme(source, build.DEFAULT_RATE_HZ, 2, tell, with_balance=with_track)
        found = aligned(known.expected, heard, lambda done, of: tell("listening for the track", done, of))
        moves = actual_moves(found, heard.samples) if with_actual else None
    files = wanted.paths()
    if files:
        if not found.stretches:
            raise TakeError(f"nothing is written: {found.why}")
        strange = None if source.allow_outside else source.home or source.path.parent
        with atomic_files(*files.values(), strange=strange) as hidden:
            for ending, path in zip(files, hidden, strict=True):
                tell("writing", 0, 1)
                _write_take_paper(ending, path, found, known, recording.name, moves)
    return Aligned(found, moves, tuple(files.values()), known.warnings)


def refuse_take_papers(source: Source, recording: Path, papers: TakePapers) -> None:
    """Tells before any work is done that what is wanted cannot be written."""
    needs_plan = [ending for ending in papers.endings if ending in _FROM_PLAN]
    if needs_plan and source.is_timeline:
        raise UsageError(
            "captions, chapters and markers are made from the plan; give it instead of its timeline"
        )
    for ending in papers.endings:
        refuse_missing(ending)
    for path in papers.paths().values():
        for other in (recording, source.path):
            if path.exists() and other.exists() and path.samefile(other):
                raise UsageError(f"{path} would replace {other}; give another name with -o")


def _write_take_paper(
    ending: str,
    path: Path,
    found: Alignment,
    known: Programme,
    recording: str,
    moves: Sequence[ActualMove] | None,
) -> None:
    """Writes one file of an alignment."""
    from cuetrack.take.cuts import cuts_of

    match ending:
        case ".captions.vtt" | ".captions.srt" | ".chapters.txt" | ".markers.csv" | ".markers.otio":
            made = _retimed_paper(ending, found, known, recording)
        case ".cuts.csv":
            from cuetrack.writers.cuts import cuts_csv

            made = cuts_csv(cuts_of(found), found)
        case ".cuts.otio":
            from cuetrack.writers.cuts import cuts_otio

            made = cuts_otio(cuts_of(found), found, recording)
        case ".take.png":
            from cuetrack.writers.take_picture import take_picture

            made = take_picture(found, cuts_of(found))
        case ".actual.csv":
            from cuetrack.writers.take_report import actual_csv

            made = actual_csv(moves or ())
        case _:
            _write_laid_track(path, found, known)
            return
    path.write_bytes(made.encode("utf-8") if isinstance(made, str) else made)


def _retimed_paper(ending: str, found: Alignment, known: Programme, recording: str) -> str | bytes:
    """Captions, chapters or markers on the recording's time axis."""
    from cuetrack.take.retimed import retimed

    if known.arrangement is None:  # pragma: no cover -- refused before
        raise UsageError("this is made from the plan")
    return film_paper(retimed(known.arrangement, found), ending, recording, music=False)


def _write_laid_track(path: Path, found: Alignment, known: Programme) -> None:
    """The clean track, as long as the recording: the mix as it is rendered, or of a timeline its cues."""
    import numpy as np

    from cuetrack.sound.units import db_to_linear
    from cuetrack.take.laid import laid_blocks
    from cuetrack.take.samples import SampleFile
    from cuetrack.writers.audio import write_audio
    from cuetrack.writers.formats import AUDIO_FORMATS
    from cuetrack.writers.tags import Tags

    expected, balanced = known.expected, known.balanced
    channels = 1 if balanced is None else balanced.programme.width
    with SampleFile(expected.rate_hz, channels) as whole:
        if balanced is not None:
            for block in balanced.mastered():
                whole.append(block)

        def read(start: int, frames: int) -> Samples:
            if balanced is not None:
                return whole.read(start, frames)
            gain = db_to_linear(known.gain_db or 0.0)
            return (np.float32(gain) * expected.cue_samples(start, frames))[:, np.newaxis]

        write_audio(
            path,
            laid_blocks(found, read, expected.rate_hz, expected.frames, channels),
            rate_hz=found.rate_hz,
            channels=channels,
            frames=found.frames,
            audio_format=AUDIO_FORMATS[".wav"],
            tags=Tags(expected.session),
        )


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
    return Programme(expected, gain_db, tuple(dict.fromkeys(warnings)), own, balanced)


def _of_timeline(source: Source, rate_hz: int, tell: build.Progress) -> Programme:
    from cuetrack.sound.tones import tone_samples
    from cuetrack.take.expected import Expected
    from cuetrack.take.timeline_file import read_timeline

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
    return Programme(expected, file.gain_db, tuple(notes), is_rounded=file.rate_hz != rate_hz)


def _spoken_again(
    file: TimelineFile, rate_hz: int, voice: str | None, notes: list[Diagnostic], tell: build.Progress
) -> Mapping[str, Samples]:
    """The spoken cues of a timeline, each as long as it was; none of a voice that is not here."""
    if not file.spoken:
        return {}
    from cuetrack.speech.speaker import Manner
    from cuetrack.speech.voices import find_voice, load_voice

    if file.speech is None:
        message = "the timeline does not say who speaks, so spoken cues are not compared"
        notes.append(Diagnostic("warning", message, None, "render it anew, or give the plan"))
        return {}
    name, language, lexicon = file.speech
    try:
        # The timeline may come from a stranger, so what it calls a voice is a name and never a path.
        speaks = find_voice(voice) if voice else load_voice(name)
        manner = Manner(speaks, language, "full", lexicon)
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
