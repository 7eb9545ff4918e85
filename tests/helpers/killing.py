"""Renders and batches that are killed → what lies in their folder then, and after they run again.

Each runs in a process of its own, forked from one that has loaded the program: what is killed is the work,
not the start of the interpreter. A plan's version before, whose files lie there already in part of the runs,
lasts longer, so that its files and the new ones cannot be taken for each other. The same plan gives the same
bytes, so a file is whole if it is, byte for byte, one that an undisturbed run has made, and that was decoded
and verified.
"""

from __future__ import annotations

import json
import multiprocessing
import os
import random
import shutil
import signal
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from hashlib import sha256
from multiprocessing.process import BaseProcess
from pathlib import Path

from cuetrack.batch.manifest import read_manifest
from tests.helpers.decode import decoded_blocks

SOUND_ENDINGS = (".wav", ".flac", ".mp3", ".m4a", ".opus")
PAPERS = "captions,sheet,chapters"
MANIFEST = "cuetrack-batch.jsonl"
BATCH_PLANS = 6
_LONGEST_SECONDS, _ENDING_SECONDS = 300, 20
# What a render loads, so that a forked process has it.
_LOADED = (
    *("cuetrack.cli.commands", "cuetrack.build_mixes", "cuetrack.build_take", "cuetrack.speech.speak"),
    *("cuetrack.writers.sheet_pdf", "cuetrack.writers.index_page", "mutagen.mp4", "mutagen.oggopus"),
    *("soundfile", "scipy.signal", "soxr", "joblib.externals.loky", "filelock", "imageio_ffmpeg"),
)
_PLAN = """\
session: Quay start {number}
calls: {{start: {{count: 0, sound: plain}}, finish: {{warn: off, count: 0, by: tones}}}}
parts:
  - part: Row
    steps:
      - {{move: Row, work: {work_seconds}s}}
      - {{rest: {rest_seconds}s}}
"""


@dataclass(frozen=True, slots=True)
class Kind:
    """What is run: one render in a format, with or without papers, or a batch (`ending` is None)."""

    ending: str | None
    with_papers: bool = False

    def __str__(self) -> str:
        if self.ending is None:
            return "batch"
        return f"render {self.ending[1:]}{' with papers' if self.with_papers else ''}"

    def arguments(self) -> list[str]:
        """The call, in a folder with `plans` and `tracks`."""
        if self.ending is None:
            return ["batch", "plans", "-o", "tracks", "--processes", "2", "--json"]
        papers = ["--with", PAPERS] if self.with_papers else []
        return ["render", "plans/quay-0.yaml", "-o", f"tracks/quay-0{self.ending}", *papers]


BATCH = Kind(None)
RENDERS = tuple(Kind(ending, papers) for ending in SOUND_ENDINGS for papers in (False, True))


@dataclass
class Killed:
    """One run that was killed, and the same once more.

    `when` is "before" any file, "writing" or "after" all were there. `files`, `sounds` and `verified` count
    what was looked at, `hidden` what was left over; `faults` are in words. `kept` tracks of `listed` ones in
    the manifest were not made anew. `of_two` tracks and timelines were of two renders: whole files, killed
    between two renames. `temporary` counts what is left in the system's folder for temporary files.
    """

    kind: Kind
    over_old: bool
    whole_group: bool
    share: float
    when: str = ""
    files: int = 0
    sounds: int = 0
    verified: int = 0
    hidden: int = 0
    hidden_at_end: int = 0
    listed: int = 0
    kept: int = 0
    of_two: int = 0
    temporary: int = 0
    outlived: int = 0
    faults: list[str] = field(default_factory=list)


@dataclass
class _Undisturbed:
    """The digests of what an undisturbed run makes, by name, where they lie, and how long it took."""

    folder: Path
    digests: dict[str, str]
    seconds: float


class Killing:
    """Runs in folders below `folder`, whose random instants follow from `seed`."""

    def __init__(self, folder: Path, seed: int) -> None:
        self._folder = folder
        self._random = random.Random(seed)
        self._numbers = 0
        self._undisturbed: dict[tuple[Kind, bool], _Undisturbed] = {}
        self._whole: set[str] = set()
        self._verified: set[tuple[str, str]] = set()
        self._context = multiprocessing.get_context("forkserver")
        self._context.set_forkserver_preload([*_LOADED, __name__])

    def run(self, kind: Kind, *, over_old: bool, whole_group: bool) -> Killed:
        """One run of a kind, killed, looked at, and run once more."""
        new = self._reference(kind, is_old=False)
        old = self._reference(kind, is_old=True) if over_old else None
        made = Killed(kind, over_old, whole_group, self._random.random())
        place = self._new_folder(is_old=False)
        if old is not None:
            shutil.copytree(old.folder / "tracks", place / "tracks", dirs_exist_ok=True)
        before = _names(place / "tracks")

        process = self._started(kind, place)
        if kind is BATCH:
            self._wait_for_tracks(process, place / "tracks", int(made.share * BATCH_PLANS))
        else:
            process.join(made.share * new.seconds)
        has_ended = not process.is_alive()
        _kill(process, whole_group=whole_group)
        self._look(made, place, new, old, before, has_ended)

        listed = _listed(place / "tracks") if kind is BATCH and made.when == "writing" else {}
        again = self._started(kind, place)
        again.join(_LONGEST_SECONDS)
        if again.exitcode != 0:
            made.faults.append(f"the second run ended with {again.exitcode}: {_said(place, again)}")
        elif kind is BATCH:
            made.listed, made.kept = (
                len(listed),
                _kept(place / "tracks", listed, _said(place, again, "answer"), made.faults),
            )
        made.outlived = _outlived(process)
        made.hidden_at_end = len(_hidden(place / "tracks"))
        made.faults += [f"left at the end: {path.name}" for path in _hidden(place / "tracks")]
        made.temporary = len(list((place / "temporary").iterdir()))
        for name, digest in _digests(place / "tracks").items():
            if name != MANIFEST and digest != new.digests.get(name):
                made.faults.append(f"after the second run {name} is another file")
        made.faults += [
            f"after the second run {name} is missing"
            for name in new.digests
            if name not in _names(place / "tracks")
        ]
        shutil.rmtree(place)
        return made

    def _look(
        self,
        made: Killed,
        place: Path,
        new: _Undisturbed,
        old: _Undisturbed | None,
        before: set[str],
        has_ended: bool,
    ) -> None:
        """Everything that lies there after a kill."""
        folder = place / "tracks"
        digests = _digests(folder)
        made.hidden = len(_hidden(folder))
        is_new = {name for name in new.digests if digests.get(name) == new.digests[name]}
        if has_ended or (len(is_new) == len(new.digests) and not made.hidden):
            made.when = "after"
        else:
            made.when = "writing" if made.hidden or is_new else "before"
        made.faults += [f"{name} was there and is gone" for name in before - digests.keys()]
        for name, digest in digests.items():
            made.files += 1
            if name == MANIFEST:
                made.faults += _manifest_faults(folder / name)
                continue
            if digest not in (new.digests.get(name), old and old.digests.get(name)):
                made.faults.append(f"{name} is neither the old file nor the new one")
            self._look_into(folder / name, digest, made)
        for name in digests:
            timeline = f"{name.rpartition('.')[0]}.timeline.json"
            if not name.endswith(SOUND_ENDINGS) or timeline not in digests:
                continue
            if (name in is_new) != (timeline in is_new):
                made.of_two += 1
            else:
                self._verify(folder, name, timeline, digests, made)

    def _look_into(self, path: Path, digest: str, made: Killed) -> None:
        """A sound is decoded to its end, JSON is parsed; each content once."""
        made.sounds += path.suffix in SOUND_ENDINGS
        if digest in self._whole:
            return
        try:
            if path.suffix in SOUND_ENDINGS:
                frames = sum(len(block) for block in decoded_blocks(path, 2))
                # A last packet of a lossy format may be given out whole by ffmpeg.
                planned = _planned_frames(path)
                if planned is not None and not planned <= frames <= planned + 2048:
                    made.faults.append(f"{path.name} has {frames} frames, not {planned}")
            elif path.suffix == ".json":
                json.loads(path.read_text("utf-8"))
        except Exception as error:  # whatever a decoder says of it
            made.faults.append(f"{path.name} is damaged: {error!r}")
        self._whole.add(digest)

    def _verify(self, folder: Path, name: str, timeline: str, digests: dict[str, str], made: Killed) -> None:
        from cuetrack.build_take import Source, verify

        pair = (digests[name], digests[timeline])
        if pair not in self._verified:
            found, _ = verify(Source(folder / timeline), folder / name)
            if not found.passed:
                made.faults.append(f"{name} is not as its timeline says: {', '.join(found.faults)}")
            self._verified.add(pair)
        made.verified += 1

    def _wait_for_tracks(self, process: BaseProcess, tracks: Path, number: int) -> None:
        """Until a batch has made so many, and a moment more: most of a small one's time is no making."""
        until = time.monotonic() + _LONGEST_SECONDS
        while process.is_alive() and time.monotonic() < until:
            manifest = read_manifest(tracks)
            if len(manifest.since if manifest.unended else ()) >= number:
                break
            time.sleep(0.002)
        process.join(0.1 * self._random.random())

    def _reference(self, kind: Kind, *, is_old: bool) -> _Undisturbed:
        """What a kind makes when nobody disturbs it; looked at, as all else is."""
        known = self._undisturbed.get((kind, is_old))
        if known is not None:
            return known
        place = self._new_folder(is_old=is_old)
        process = self._started(kind, place)
        started = time.perf_counter()
        process.join(_LONGEST_SECONDS)
        seconds = time.perf_counter() - started
        if process.exitcode != 0:
            raise RuntimeError(f"{kind} ended undisturbed with {process.exitcode}: {_said(place, process)}")
        digests = _digests(place / "tracks")
        digests.pop(MANIFEST, None)
        self._undisturbed[kind, is_old] = known = _Undisturbed(place, digests, seconds)
        made = Killed(kind, False, False, 1.0)
        self._look(made, place, known, None, set(), True)
        if made.faults or made.verified != (BATCH_PLANS if kind is BATCH else 1):
            raise RuntimeError(f"{kind} is wrong undisturbed: {made}")
        return known

    def _new_folder(self, *, is_old: bool) -> Path:
        self._numbers += 1
        place = self._folder / f"run-{self._numbers}"
        for name in ("tracks", "temporary"):
            (place / name).mkdir(parents=True)
        write_plans(place / "plans", is_old=is_old)
        return place

    def _started(self, kind: Kind, place: Path) -> BaseProcess:
        """The process of a run, which has a group of its own by now, unless it has ended."""
        process = self._context.Process(target=_run, args=(kind.arguments(), str(place)))
        process.start()
        with suppress(ProcessLookupError):
            while process.pid is not None and os.getpgid(process.pid) != process.pid:
                time.sleep(0.001)
        return process


def write_plans(folder: Path, *, is_old: bool = False) -> None:
    """The plans of a batch; the first is also that of a render."""
    folder.mkdir(parents=True)
    for number in range(BATCH_PLANS):
        text = _PLAN.format(number=number, work_seconds=6 + number, rest_seconds=5 if is_old else 3)
        (folder / f"quay-{number}.yaml").write_text(text, encoding="utf-8")


def whole_tracks(folder: Path) -> int:
    """How many WAVs there are, each of which can be decoded and is as long as its timeline says."""
    tracks = sorted(folder.glob("*.wav"))
    return sum(sum(map(len, decoded_blocks(track, 2))) == _planned_frames(track) for track in tracks)


def _run(arguments: Sequence[str], place: str) -> None:
    """In the process of a run: the command, as `cuetrack` runs it."""
    os.setsid()
    os.chdir(place)
    for number, name in enumerate(("answer", "errors"), start=1):
        with Path(f"{os.getpid()}-{name}.txt").open("wb") as said:
            os.dup2(said.fileno(), number)
    os.environ["TMPDIR"] = tempfile.tempdir = str(Path(place, "temporary"))
    from cuetrack.cli.commands import run

    # A process of `multiprocessing` would wait at its end for those of a batch, whom nobody tells to end.
    os._exit(run(arguments))


def _said(place: Path, process: BaseProcess, name: str = "errors") -> str:
    return (place / f"{process.pid}-{name}.txt").read_text("utf-8", "replace")


def _kill(process: BaseProcess, *, whole_group: bool) -> None:
    """The process alone, as a system without memory kills it; or all that it has started, as a power cut."""
    assert process.pid is not None
    with suppress(ProcessLookupError):
        if whole_group:
            os.killpg(process.pid, signal.SIGKILL)
        elif process.is_alive():
            os.kill(process.pid, signal.SIGKILL)
    process.join()
    if whole_group:
        _outlived(process)


def _outlived(process: BaseProcess) -> int:
    """How many processes of a run's group do not end by themselves, and are ended here.

    A process of joblib whose starter is killed before it has said what to do waits for that for ever.
    """
    until = time.monotonic() + _ENDING_SECONDS
    while alive := _alive_in(process.pid):
        if time.monotonic() > until:
            for number in alive:
                with suppress(ProcessLookupError):
                    os.kill(number, signal.SIGKILL)
            return len(alive)
        time.sleep(0.02)
    return 0


def _alive_in(group: int | None) -> list[int]:
    """The processes of a group that are no zombies (`man 5 proc_pid_stat`: state and group are 3 and 5)."""
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdecimal():
            with suppress(OSError):
                state, _, in_group, *_ = (entry / "stat").read_text().rpartition(")")[2].split()
                if int(in_group) == group and state not in "ZX":
                    found.append(int(entry.name))
    return found


def _files(folder: Path) -> Iterator[Path]:
    return (path for path in sorted(folder.rglob("*")) if path.is_file())


def _hidden(folder: Path) -> list[Path]:
    return [path for path in _files(folder) if path.name.startswith(".") and path.suffix == ".part"]


def _names(folder: Path) -> set[str]:
    return set(_digests(folder))


def _digests(folder: Path) -> dict[str, str]:
    """Of all files that are not hidden, by their names below the folder."""
    return {
        path.relative_to(folder).as_posix(): sha256(path.read_bytes()).hexdigest()
        for path in _files(folder)
        if not path.name.startswith(".")
    }


def _planned_frames(track: Path) -> int | None:
    timeline = track.with_name(f"{track.stem}.timeline.json")
    return int(json.loads(timeline.read_text("utf-8"))["frames"]) if timeline.exists() else None


def _manifest_lines(path: Path) -> list[str]:
    """The lines that came to their end."""
    return [line for line in path.read_text("utf-8").splitlines(keepends=True) if line.endswith("\n")]


def _manifest_faults(path: Path) -> Iterator[str]:
    for number, line in enumerate(_manifest_lines(path), start=1):
        try:
            json.loads(line)
        except ValueError as error:
            yield f"line {number} of the manifest is damaged: {error}"


def _listed(folder: Path) -> dict[str, int]:
    """The tracks that a run which was killed had noted down, and when each was changed, in ns.

    Empty if that run came to its end: the next one then makes all anew, as it is asked to.
    """
    path = folder / MANIFEST
    found: dict[str, int] = {}
    for line in _manifest_lines(path) if path.exists() else ():
        values = json.loads(line)
        if "run" in values or "ended" in values:
            found = {}
        elif "track" in values:
            found[values["track"]] = (folder / values["track"]).stat().st_mtime_ns
    return found


def _kept(folder: Path, listed: dict[str, int], said: str, faults: list[str]) -> int:
    """How many of the listed tracks a second run left alone; those that it made anew are faults."""
    results = {one["track"]: one["result"] for one in json.loads(said)["tracks"]}
    kept = 0
    for track, changed_ns in listed.items():
        if results[track] == "kept" and (folder / track).stat().st_mtime_ns == changed_ns:
            kept += 1
        else:
            faults.append(f"{track} was listed and is {results[track]} in the second run")
    return kept
