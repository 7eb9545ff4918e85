"""A folder of plans or a series, in levels, voices and formats → every track of it.

What has to be made is known before anything is; what is made is kept in a manifest (`batch/manifest.py`), so
that a run goes on where the last one stopped.
"""

from __future__ import annotations

import json
import os
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass, field, replace
from functools import lru_cache, partial
from hashlib import sha256
from pathlib import Path
from typing import Any, Literal

from cuetrack import __version__
from cuetrack.batch.found import is_series, plans_below
from cuetrack.batch.lock import LOCK_FILE, folder_locked
from cuetrack.batch.manifest import MANIFEST_FILE, Made, Manifest, SpokenBy, read_manifest
from cuetrack.batch.pool import answers
from cuetrack.batch.stale import file_digest, sizes_and_times, why_stale
from cuetrack.build import (
    DEFAULT_RATE_HZ,
    Progress,
    Rendered,
    compile_plan,
    refuse_unknown_voice,
    render,
)
from cuetrack.build_papers import PaperName, chosen_papers
from cuetrack.document.beside import file_beside
from cuetrack.errors import (
    CuetrackError,
    Diagnostic,
    ExitCode,
    MachineError,
    NamedFileError,
    PlanError,
    UsageError,
)
from cuetrack.plan.fields import Level, MixName
from cuetrack.plan.house import DEFAULT_LANGUAGE, HOUSE_FILE, read_in_house
from cuetrack.plan.series import Day, days_of, name_on_day, read_series
from cuetrack.speech.installed import default_voice
from cuetrack.speech.voice_state import versions_of, voice_state
from cuetrack.speech.voices import find_voice, is_path
from cuetrack.writers.atomic import folder_made, refuse_links_out, remove_left_over
from cuetrack.writers.formats import Quality, format_of, programme_rate_hz

# What makes samples or files, beside this program.
_LIBRARIES = ("numpy", "scipy", "soxr", "soundfile", "imageio-ffmpeg")
_CACHE_VARIABLE = "CUETRACK_CACHE_DIR"
_UNSURE = "changed while it was used"

Tell = Callable[["Outcome", int, int], None]


@dataclass(frozen=True, slots=True)
class Asked:
    """What a batch is asked for, beside the plans.

    Without `levels` or `voices` the plans decide; `endings` pick the formats.
    """

    levels: tuple[Level, ...] = ()
    mixes: tuple[MixName, ...] = ("class",)
    voices: tuple[str, ...] = ()
    endings: tuple[str, ...] = (".wav",)
    quality: Quality = "good"
    rate_hz: int = DEFAULT_RATE_HZ
    channels: int = 2
    papers: tuple[PaperName, ...] = ()
    allow_outside: bool = False


@dataclass(frozen=True, slots=True)
class Work:
    """One call of `render`: a plan, in one level, voice and format, with all its mixes.

    `place` is what the call names: the folder of all plans, one plan, or the series of which `day` is one;
    `plan` is the plan's path from there, as it is written. `track` is the name below the folder of the
    tracks, with `/` between.
    """

    place: Path
    plan: str
    day: Day | None
    level: Level | None
    voice: str | None
    track: str


@dataclass(frozen=True, slots=True)
class Planned:
    """A work, and why it has to be done; None if its track stands."""

    work: Work
    why: str | None


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a work, and why it was done; `made` is what the manifest keeps of it."""

    work: Work
    result: Literal["made", "kept", "failed"]
    why: str | None
    diagnostics: tuple[Diagnostic, ...] = ()
    exit_code: ExitCode = ExitCode.DONE
    sound_seconds: float = 0.0
    size_bytes: int = 0
    took_seconds: float = 0.0
    made: Made | None = None


@dataclass(frozen=True, slots=True)
class _Task:
    """A work, and what the process that does it needs beside."""

    work: Work
    why: str
    asked: Asked
    folder: Path
    cache_folder: Path | None


@dataclass
class Batch:
    """All works of a folder of plans, a series or one plan, and the folder of their tracks.

    Raises:
        PlanError: the series has mistakes.
        UsageError: there is no plan, a format, a rate or a voice that cannot be, or two tracks of one name.
        WriteError: a link among the plans leads the tracks out of their folder.
    """

    place: Path
    folder: Path
    asked: Asked
    works: tuple[Work, ...] = field(init=False)

    def __post_init__(self) -> None:
        self.place, self.folder = self.place.absolute(), self.folder.absolute()
        # A path in a call starts from the working folder, which is another one elsewhere.
        voices = (
            str(Path(one).expanduser().absolute()) if is_path(one) else one for one in self.asked.voices
        )
        self.asked = replace(self.asked, voices=tuple(voices))
        for ending in self.asked.endings:
            programme_rate_hz(format_of(Path(f"track{ending}")), self.asked.rate_hz)
        for voice in self.asked.voices:
            refuse_unknown_voice(voice)
        if not self.asked.allow_outside:
            refuse_links_out(_home(self.place), [self.folder / name for name in (LOCK_FILE, MANIFEST_FILE)])
        self.works = tuple(self._works())
        _refuse_doubles(self.works)

    def planned(self, *, only_changed: bool) -> list[Planned]:
        """Every work, and why it has to be done; nothing is written.

        All have to be, unless only changed ones are asked for; but what an unended run like this one has
        made, stands.
        """
        return self._planned(read_manifest(self.folder), only_changed)

    def mistakes(
        self, planned: Sequence[Planned], progress: Progress | None = None
    ) -> tuple[Diagnostic, ...]:
        """What is wrong with the plans of all works that have to be done; no sound is made.

        Each version of a plan is compiled once, whatever it is told under; what only real speech shows, such
        as words that are too long for their place, is not among it.
        """
        works = (one.work for one in planned if one.why is not None)
        versions = {(one.plan, one.level, one.voice, one.day and one.day.number): one for one in works}
        found: list[Diagnostic] = []
        for done, work in enumerate(versions.values(), start=1):
            try:
                compile_plan(
                    _plan_of(work, self.asked.allow_outside),
                    level=work.level,
                    voice=work.voice,
                    mixes=self.asked.mixes,
                    day=work.day,
                    allow_outside=self.asked.allow_outside,
                )
            except PlanError as error:
                found += error.diagnostics
            except CuetrackError as error:
                found.append(_about(work, str(error)))
            if progress is not None:
                progress(work.plan, done, len(versions))
        return tuple(dict.fromkeys(found))

    def _planned(self, manifest: Manifest, only_changed: bool) -> list[Planned]:
        goes_on = manifest.since if manifest.unended == self._digest() else frozenset()
        found = []
        for work in self.works:
            made = manifest.made.get(work.track)
            why = why_stale(
                made,
                self.folder,
                options=_options(work, self.asked),
                versions=_versions(),
                voice_now=partial(self._voice_now, work),
                may_read=self._may_read,
            )
            if why is None and not only_changed and work.track not in goes_on:
                why = "all are asked for"
            found.append(Planned(work, why))
        return found

    def run(
        self,
        *,
        only_changed: bool = False,
        processes: int = 1,
        cluster: str | None = None,
        cache_folder: Path | None = None,
        tell: Tell = lambda outcome, done, of: None,
    ) -> list[Outcome]:
        """Makes what has to be made; each track appears whole, and one that fails stops no other.

        Args:
            only_changed: leave what is as it would be made now.
            processes: how many works at a time on this machine.
            cluster: the address of a Dask scheduler, to share the works out to its workers.
            cache_folder: where all processes keep spoken phrases; each machine's own if None.
            tell: told each outcome as it comes, how many there are by then, and of how many.

        Returns:
            What became of each work, in the order of `works`.

        Raises:
            WriteError: the folder cannot be written into, or another batch does.
            ClusterError: the cluster is not there or not fit.
        """
        with folder_made(self.folder), folder_locked(self.folder):
            remove_left_over(self.folder)
            try:
                return self._run(only_changed, processes, cluster, cache_folder, tell)
            finally:
                # Processes that are stopped, or die, leave what they were writing.
                remove_left_over(self.folder)

    def _run(
        self, only_changed: bool, processes: int, cluster: str | None, cache_folder: Path | None, tell: Tell
    ) -> list[Outcome]:
        manifest = read_manifest(self.folder)
        planned = self._planned(manifest, only_changed)
        outcomes: dict[str, Outcome] = {}

        def have(outcome: Outcome) -> None:
            outcomes[outcome.work.track] = outcome
            tell(outcome, len(outcomes), len(planned))

        tasks = []
        for one in planned:
            if one.why is None:
                have(Outcome(one.work, "kept", None))
            else:
                tasks.append(_Task(one.work, one.why, self.asked, self.folder, cache_folder))
        with manifest.running(self._digest()) as keep:
            for outcome in answers(_done, tasks, processes=processes, cluster=cluster, died=_died):
                if outcome.made is not None:
                    keep(outcome.made)
                have(outcome)
        return [outcomes[work.track] for work in self.works]

    def _voice_now(self, work: Work, voice: SpokenBy) -> str | None:
        """The state of the voice that the manifest tells of for a work; None if it is no longer there."""
        beside = (_home(self.place) / work.plan).parent
        is_free = work.voice is not None or self.asked.allow_outside
        return _state_of(voice.asked, beside, voice.language, None if is_free else beside)

    def _may_read(self, file: Path) -> bool:
        try:
            return self.asked.allow_outside or file.resolve().is_relative_to(_home(self.place).resolve())
        except (OSError, ValueError, RuntimeError):  # a name that cannot be, a loop of links
            return False

    def _digest(self) -> str:
        """Tells this call from others: the same once more goes on with what came to no end."""
        text = json.dumps([asdict(self.asked), str(self.place)], sort_keys=True)
        return sha256(text.encode("utf-8", "backslashreplace")).hexdigest()

    def _works(self) -> Iterator[Work]:
        if not self.place.exists():
            raise UsageError(f"there is nothing at {self.place}; name a folder of plans, a series or a plan")
        if is_series(self.place):
            for day in days_of(read_series(self.place)):
                yield from self._versions_of(day.entry.plan, day, name_on_day(self.place, day))
            return
        home, plans = _home(self.place), [self.place]
        if self.place.is_dir():
            plans = list(plans_below(home, but_not_in=self.folder, but_not=HOUSE_FILE))
        if not plans:
            hint = "a plan is a YAML file with `session:` and `parts:`; `cuetrack new` writes one"
            raise UsageError(f"there is no plan in {self.place}; {hint}")
        for plan in plans:
            name = plan.relative_to(home)
            yield from self._versions_of(str(name), None, name.with_suffix("").as_posix())

    def _versions_of(self, plan: str, day: Day | None, name: str) -> Iterator[Work]:
        asked = self.asked
        levels: tuple[Level | None, ...] = asked.levels or (None,)
        for level in levels:
            for voice in self._voices_for(plan):
                marks = [name]
                if level and len(levels) > 1:
                    marks.append(level)
                if voice and len(asked.voices) > 1:
                    marks.append(Path(voice).stem)
                for ending in asked.endings:
                    # Tracks of two formats would share the names of what goes with them.
                    folder = f"{ending[1:]}/" if len(asked.endings) > 1 else ""
                    track = f"{folder}{'.'.join(marks)}{ending}"
                    yield Work(self.place, plan, day, level, voice, track)

    def _voices_for(self, plan: str) -> Sequence[str | None]:
        """Of several voices those that speak a plan's language; where none does, rendering says so."""
        voices = self.asked.voices
        if len(voices) < 2:
            return voices or (None,)
        try:
            file = _plan_file(self.place, plan, self.asked.allow_outside)
            session = read_in_house(file, allow_outside=self.asked.allow_outside)
        except CuetrackError:  # told where it is rendered
            return voices[:1]
        language = session.language or DEFAULT_LANGUAGE
        return [one for one in voices if find_voice(one).speaks(language)] or voices[:1]


def _home(place: Path) -> Path:
    """The folder that all plans of a batch came in."""
    return place if place.is_dir() else place.parent


def _refuse_doubles(works: Sequence[Work]) -> None:
    """Two tracks of one name would replace each other; on some systems, also where only capitals differ."""
    known: dict[str, Work] = {}
    for work in works:
        other = known.setdefault(work.track.casefold(), work)
        if other is not work:
            both = " and ".join(dict.fromkeys((other.plan, work.plan)))
            raise UsageError(f"two tracks of {both} would be called {work.track}; give one another name")


def _options(work: Work, asked: Asked) -> dict[str, Any]:
    """What is asked of a track, as plain values that come back equal from JSON."""
    day = work.day
    return {
        "level": work.level,
        "voice": work.voice,
        "mixes": list(asked.mixes),
        "quality": asked.quality,
        "rate_hz": asked.rate_hz,
        "channels": asked.channels,
        "papers": list(asked.papers),
        "day": None if day is None else [day.number, day.of, day.is_said, day.entry.model_dump(mode="json")],
    }


@lru_cache(maxsize=1)
def _versions() -> str:
    """Of this program, and of the libraries that make samples and files."""
    return ", ".join([f"cuetrack {__version__}", *versions_of(_LIBRARIES)])


@lru_cache(maxsize=1_000)
def _state_of(asked: str | None, beside: Path, language: str, within: Path | None) -> str | None:
    try:
        if asked is None:
            return voice_state(default_voice(language)[0], language)
        return voice_state(find_voice(asked, beside, within=within), language)
    except CuetrackError:
        return None


# Called in a process of its own, maybe on another machine.


def _done(task: _Task) -> Outcome:
    """A work done. Every error is part of the answer, so that it stops no other work."""
    if task.cache_folder is not None:
        os.environ[_CACHE_VARIABLE] = str(task.cache_folder)
    started = time.perf_counter()
    try:
        outcome = _made(task)
    except PlanError as error:
        outcome = Outcome(task.work, "failed", task.why, error.diagnostics, error.exit_code)
    except CuetrackError as error:
        outcome = _failed(task, str(error), error.exit_code)
    except MemoryError:
        outcome = _failed(task, "there is too little memory; give the batch fewer --processes")
    except OSError as error:
        outcome = _failed(task, str(MachineError(error)))
    except Exception as error:  # a fault of ours must not cost the other tracks
        outcome = _failed(task, f"a fault in cuetrack itself ({type(error).__name__}: {error}); report it")
    return replace(outcome, took_seconds=time.perf_counter() - started)


def _failed(task: _Task, why: str, code: ExitCode = ExitCode.ERRORS) -> Outcome:
    return Outcome(task.work, "failed", task.why, (_about(task.work, why),), code)


def _about(work: Work, why: str) -> Diagnostic:
    return Diagnostic("error", f"{work.plan}: {why}")


def _died(task: _Task) -> Outcome:
    return _failed(task, "its process was killed; if memory is short, give the batch fewer --processes")


def _made(task: _Task) -> Outcome:
    work, asked = task.work, task.asked
    began_ns = time.time_ns()
    plan = _plan_of(work, asked.allow_outside)
    target, home = task.folder / work.track, _home(work.place)
    if not asked.allow_outside:
        refuse_links_out(home, [target])  # before a folder is made behind a link
    target.parent.mkdir(parents=True, exist_ok=True)
    rendered = render(
        plan,
        target,
        rate_hz=asked.rate_hz,
        channels=asked.channels,
        level=work.level,
        voice=work.voice,
        mixes=asked.mixes,
        quality=asked.quality,
        papers=chosen_papers(asked.papers) if asked.papers else None,
        day=work.day,
        allow_outside=asked.allow_outside,
        home=home,
        mix_ahead=False,  # other tracks keep the cores busy
    )
    made = _as_made(task, plan, rendered, began_ns)
    return Outcome(
        work,
        "made",
        task.why,
        rendered.warnings,
        sound_seconds=rendered.arrangement.frames / rendered.arrangement.rate_hz,
        size_bytes=sum(size for size, _ in made.files.values()),
        made=made,
    )


def _plan_of(work: Work, allow_outside: bool) -> Path:
    """The plan's file; one that leads out of the folder that all came in is a stranger's trick."""
    try:
        return _plan_file(work.place, work.plan, allow_outside)
    except NamedFileError as error:
        where = work.day.entry.place_of("plan") if work.day else None
        raise PlanError([Diagnostic("error", str(error), where, error.hint)]) from None


def _plan_file(place: Path, plan: str, allow_outside: bool) -> Path:
    """The file of a plan; the one that the call itself names is taken as it is."""
    if place.name == plan and not place.is_dir() and not is_series(place):
        return place
    return file_beside(plan, _home(place), allow_outside=allow_outside)


def _as_made(task: _Task, plan: Path, rendered: Rendered, began_ns: int) -> Made:
    """What the manifest keeps of a track. A file that was changed since it was begun counts as another."""
    work, folder, known = task.work, task.folder, rendered.compiled
    manner = known.manner
    inputs: dict[str, str | None] = {}
    for file in (plan, plan.parent / HOUSE_FILE, *known.files.values()):
        is_new = file.exists() and file.stat().st_mtime_ns >= began_ns
        inputs[_from(folder, file)] = _UNSURE if is_new else file_digest(file)
    voice = known.timeline.session.voice if work.voice is None else work.voice
    return Made(
        track=work.track,
        options=_options(work, task.asked),
        inputs=inputs,
        voice=SpokenBy(voice, manner.language, voice_state(manner.voice, manner.language)),
        versions=_versions(),
        files=sizes_and_times(folder, [_from(folder, file) for file in rendered.files]),
    )


def _from(folder: Path, file: Path) -> str:
    """The path of a file from a folder, with `/`, so that both may move together."""
    try:
        return Path(os.path.relpath(file, folder)).as_posix()
    except ValueError:  # on another drive
        return file.as_posix()
